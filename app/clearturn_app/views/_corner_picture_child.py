"""The child process of the corner picture: draws the corner when told to, from any side.

Reads one request a line on standard input (JSON) and answers each on standard output with one line
of JSON, followed for a picture by its pixels.  Knows numpy and VTK, and nothing of clearturn.  It
is a process of its own so that drawing never keeps the window waiting and a renderer that fails
takes nothing with it.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

_SHARP_DEG = 38.0  # edges sharper than this are drawn as lines
_SMOOTH_SAMPLES = 4
_HATCH_MM = 3.2
_MARK_WIDTHS = (1.0, 2.6, 1.7)  # of hatching, outline and lines of equal gap
_MANY = 100_000  # triangles of a part; a thinned copy of it is drawn while the view moves
_CELLS = 160  # of the thinned copy, along the longest side
_SHORTEST_MM = 30.0  # of a run of sharp edges; shorter ones are noise of the scan


class Picture:
    """The scene and the window it is drawn into."""

    def __init__(self) -> None:
        import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (makes the classes below work)
        from vtkmodules.vtkRenderingCore import vtkLight, vtkRenderer, vtkRenderWindow

        self.renderer = vtkRenderer()
        self.renderer.AutomaticLightCreationOff()
        self.lights = [vtkLight(), vtkLight()]
        for light, strength in zip(self.lights, (0.62, 0.32), strict=True):
            light.SetLightTypeToSceneLight()
            light.SetIntensity(strength)
            self.renderer.AddLight(light)
        self.window = vtkRenderWindow()
        self.window.SetOffScreenRendering(1)
        self.window.SetMultiSamples(_SMOOTH_SAMPLES)
        self.window.AddRenderer(self.renderer)
        self.parts: list[dict[str, Any]] = []
        self.below: dict[int, list[Any]] = {}
        self.lit: list[Any] = []
        self.lit_file = ""

    def take_scene(self, folder: Path) -> None:
        """Take the parts handed over in a folder in place of those that were there."""
        self.renderer.RemoveAllViewProps()
        told = json.loads((folder / "scene.json").read_text())
        with np.load(folder / "parts.npz") as arrays:
            loaded = {name: arrays[name] for name in arrays.files}
        self.parts, self.below = [], {}
        self.lit, self.lit_file = [], ""
        for k, motion in enumerate(told["motions"]):
            self.parts.append(self._part(loaded[f"vertices{k}"], loaded[f"faces{k}"], motion))
        for key, part in told["below"].items():
            bands = loaded.get(f"bands{key}", np.empty((0, 2, 3)))
            actors = self._marks(self.parts[part], loaded[f"below{key}"], bands)
            self.below[int(key)] = actors

    def _part(self, vertices: Any, faces: Any, motion: str) -> dict[str, Any]:
        from vtkmodules.vtkFiltersCore import vtkFeatureEdges, vtkPolyDataNormals
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper, vtkProperty

        poly = _poly_data(vertices, faces)
        normals = vtkPolyDataNormals()
        normals.SetInputData(poly)
        normals.SetFeatureAngle(_SHARP_DEG)
        normals.ConsistencyOff()
        normals.Update()
        surface = vtkPolyDataMapper()
        surface.SetInputData(normals.GetOutput())
        actor = vtkActor()
        actor.SetMapper(surface)
        actor.SetBackfaceProperty(vtkProperty())
        edges = vtkFeatureEdges()
        edges.SetInputData(poly)
        edges.SetFeatureAngle(_SHARP_DEG)
        edges.NonManifoldEdgesOff()
        edges.ColoringOff()
        edges.Update()
        lines = vtkActor()
        mapper = vtkPolyDataMapper()
        mapper.SetInputData(_long_runs(edges.GetOutput()))
        _in_front(mapper)
        lines.SetMapper(mapper)
        for one in (actor, lines):
            self.renderer.AddActor(one)
        return {"actor": actor, "lines": lines, "motion": motion, "poly": poly, "whole": surface,
                "thinned": None}  # fmt: skip

    def _shown(self, part: dict[str, Any], moving: bool) -> None:
        """Draw a part whole, or thinned while the view moves and it has many triangles."""
        if moving and part["poly"].GetNumberOfPolys() > _MANY:
            if part["thinned"] is None:
                part["thinned"] = _thinned(part["poly"])
            part["actor"].SetMapper(part["thinned"])
        else:
            part["actor"].SetMapper(part["whole"])

    def _marks(self, part: dict[str, Any], faces: Any, bands: Any) -> list[Any]:
        """Hatching and outline of some faces of a part, and lines of equal gap on them."""
        from vtkmodules.vtkCommonDataModel import vtkPlane
        from vtkmodules.vtkFiltersCore import vtkCutter, vtkFeatureEdges
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        area = _some_faces(part["poly"], faces)
        low = np.array(area.GetBounds()[::2])
        high = np.array(area.GetBounds()[1::2])
        slant = np.array([1.0, 1.0, 1.0]) / np.sqrt(3.0)
        plane = vtkPlane()
        plane.SetNormal(*slant)
        plane.SetOrigin(*low)
        cutter = vtkCutter()
        cutter.SetInputData(area)
        cutter.SetCutFunction(plane)
        length = float((high - low) @ slant)
        steps = max(2, min(400, int(length / _HATCH_MM)))
        cutter.GenerateValues(steps, 0.0, length)
        rim = vtkFeatureEdges()
        rim.SetInputData(area)
        rim.FeatureEdgesOff()
        rim.NonManifoldEdgesOff()
        rim.ColoringOff()
        made = []
        for source in (cutter, rim):
            source.Update()
        levels = _lines(bands.reshape(-1, 3), np.arange(2 * len(bands)).reshape(-1, 2))
        for lines in (cutter.GetOutput(), rim.GetOutput(), levels):
            mapper = vtkPolyDataMapper()
            mapper.SetInputData(lines)
            mapper.ScalarVisibilityOff()
            _in_front(mapper)
            actor = vtkActor()
            actor.SetMapper(mapper)
            actor.GetProperty().LightingOff()
            actor.VisibilityOff()
            self.renderer.AddActor(actor)
            made.append(actor)
        return [part["motion"], *made]

    def light(self, file: str) -> None:
        """Light up the faces handed over in a file, or none."""
        from vtkmodules.vtkFiltersCore import vtkFeatureEdges
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        if file == self.lit_file:
            return
        for actor in self.lit:
            self.renderer.RemoveActor(actor)
        self.lit, self.lit_file = [], file
        if not file:
            return
        with np.load(file) as arrays:
            area = _poly_data(arrays["vertices"], arrays["faces"])
        rim = vtkFeatureEdges()
        rim.SetInputData(area)
        rim.FeatureEdgesOff()
        rim.NonManifoldEdgesOff()
        rim.ColoringOff()
        rim.Update()
        for k, source in enumerate((area, rim.GetOutput())):
            mapper = vtkPolyDataMapper()
            mapper.SetInputData(source)
            mapper.ScalarVisibilityOff()
            mapper.SetResolveCoincidentTopologyToPolygonOffset()
            mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(-1.0 - k, -2.0 - 2 * k)
            mapper.SetRelativeCoincidentTopologyLineOffsetParameters(-2.0, -4.0)
            actor = vtkActor()
            actor.SetMapper(mapper)
            self.renderer.AddActor(actor)
            self.lit.append(actor)

    def draw(self, want: dict[str, Any]) -> tuple[dict[str, Any], bytes]:
        """Draw what is wanted and return what to tell about it, and its pixels."""
        from vtkmodules.util.numpy_support import vtk_to_numpy
        from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

        begin = time.perf_counter()
        width, height = int(want["w"]), int(want["h"])
        self.window.SetSize(width, height)
        self.light(want.get("lit", ""))
        self._colour(want["colours"], want["pixel"])
        self._place(want)
        self._aim(want)
        self.window.Render()
        pixels = vtkUnsignedCharArray()
        self.window.GetRGBACharPixelData(0, 0, width - 1, height - 1, 0, pixels)
        image = vtk_to_numpy(pixels).reshape(height, width, 4)[::-1]
        data = np.ascontiguousarray(image).tobytes()
        seconds = time.perf_counter() - begin
        head = {"id": want["id"], "w": width, "h": height, "bytes": len(data), "seconds": seconds}
        return head, data

    def _colour(self, colours: dict[str, str], pixel: float) -> None:
        self.renderer.SetBackground(*_rgb(colours["paper"]))
        for part in self.parts:
            tone = _rgb(colours[part["motion"]])
            look = part["actor"].GetProperty()
            look.SetColor(*tone)
            look.SetAmbient(0.5)
            look.SetDiffuse(0.62)
            look.SetSpecular(0.0)
            inside = part["actor"].GetBackfaceProperty()
            inside.SetColor(*_rgb(colours[part["motion"] + " inside"]))
            inside.SetAmbient(1.0)
            inside.SetDiffuse(0.0)
            lines = part["lines"].GetProperty()
            lines.SetColor(*_rgb(colours["ink"]))
            lines.SetLineWidth(0.9 * pixel)
            lines.LightingOff()
        for actor, name in zip(self.lit, ("lit", "ink"), strict=False):
            look = actor.GetProperty()
            look.SetColor(*_rgb(colours[name]))
            look.SetAmbient(0.8 if name == "lit" else 1.0)
            look.SetDiffuse(0.35 if name == "lit" else 0.0)
            look.SetLineWidth(2.4 * pixel)
        for marks in self.below.values():
            for actor, wide in zip(marks[1:], _MARK_WIDTHS, strict=True):
                actor.GetProperty().SetColor(*_rgb(colours["alert"]))
                actor.GetProperty().SetLineWidth(wide * pixel)

    def _place(self, want: dict[str, Any]) -> None:
        from vtkmodules.vtkCommonDataModel import vtkPlane

        plane = None
        if want["cut"] is not None:
            plane = vtkPlane()
            plane.SetOrigin(*want["cut"][:3])
            plane.SetNormal(*want["cut"][3:])
        for part in self.parts:
            self._shown(part, bool(want.get("moving")))
            turn = want["turn"] if part["motion"] == "turns" else 0.0
            for name in ("actor", "lines"):
                actor = part[name]
                actor.SetOrientation(0.0, 0.0, turn)
                mapper = actor.GetMapper()
                mapper.RemoveAllClippingPlanes()
                if plane is not None:
                    mapper.AddClippingPlane(plane)
        for key, marks in self.below.items():
            for actor in marks[1:]:
                actor.SetVisibility(key == want["below"])
                actor.SetOrientation(0.0, 0.0, want["turn"] if marks[0] == "turns" else 0.0)
                actor.GetMapper().RemoveAllClippingPlanes()
                if plane is not None:
                    actor.GetMapper().AddClippingPlane(plane)

    def _aim(self, want: dict[str, Any]) -> None:
        centre, eye, up = (np.array(want[key], dtype=float) for key in ("centre", "eye", "up"))
        camera = self.renderer.GetActiveCamera()
        camera.ParallelProjectionOn()
        camera.SetFocalPoint(*centre)
        camera.SetPosition(*(centre + 2000.0 * eye))
        camera.SetViewUp(*up)
        camera.SetParallelScale(float(want["half"]))
        camera.SetClippingRange(500.0, 3500.0)
        left = np.cross(eye, up)
        for light, way in zip(
            self.lights, (eye + 0.8 * up + 0.6 * left, eye - 0.5 * left), strict=True
        ):
            light.SetPosition(*(centre + 1000.0 * way))
            light.SetFocalPoint(*centre)


def _thinned(poly: Any) -> Any:
    """Return a mapper of a surface with its corners drawn together in cells."""
    from vtkmodules.vtkFiltersCore import vtkBinnedDecimation, vtkPolyDataNormals
    from vtkmodules.vtkRenderingCore import vtkPolyDataMapper

    sides = np.diff(np.array(poly.GetBounds()).reshape(3, 2), axis=1).ravel()
    cell = max(float(sides.max()), 1e-6) / _CELLS
    binned = vtkBinnedDecimation()
    binned.SetInputData(poly)
    binned.AutoAdjustNumberOfDivisionsOff()
    binned.SetNumberOfDivisions(*(max(1, int(np.ceil(side / cell))) for side in sides))
    normals = vtkPolyDataNormals()
    normals.SetInputConnection(binned.GetOutputPort())
    normals.SetFeatureAngle(_SHARP_DEG)
    normals.ConsistencyOff()
    normals.Update()
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(normals.GetOutput())
    mapper.ScalarVisibilityOff()
    return mapper


def _in_front(mapper: Any) -> None:
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyLineOffsetParameters(-1.0, -2.0)


def _rgb(colour: str) -> tuple[float, ...]:
    return tuple(int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))


def _poly_data(vertices: Any, faces: Any) -> Any:
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    points = vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(vertices, dtype=np.float32), deep=True))
    cells = vtkCellArray()
    offsets = np.arange(0, 3 * len(faces) + 1, 3, dtype=np.int64)
    cells.SetData(
        numpy_to_vtkIdTypeArray(offsets, deep=True),
        numpy_to_vtkIdTypeArray(np.ascontiguousarray(faces.ravel(), dtype=np.int64), deep=True),
    )
    poly = vtkPolyData()
    poly.SetPoints(points)
    poly.SetPolys(cells)
    return poly


def _long_runs(edges: Any) -> Any:
    """Return the edges that hang together over some length."""
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkFiltersCore import vtkPolyDataConnectivityFilter

    if edges.GetNumberOfLines() == 0:
        return edges
    runs = vtkPolyDataConnectivityFilter()
    runs.SetInputData(edges)
    runs.SetExtractionModeToAllRegions()
    runs.ColorRegionsOn()
    runs.Update()
    found = runs.GetOutput()
    region = vtk_to_numpy(found.GetPointData().GetArray("RegionId"))
    points = vtk_to_numpy(found.GetPoints().GetData())
    ends = vtk_to_numpy(found.GetLines().GetConnectivityArray()).reshape(-1, 2)
    lengths = np.linalg.norm(points[ends[:, 0]] - points[ends[:, 1]], axis=1)
    of_edge = region[ends[:, 0]]
    kept = ends[np.bincount(of_edge, weights=lengths)[of_edge] >= _SHORTEST_MM]
    return _lines(points, kept)


def _lines(points: Any, ends: Any) -> Any:
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    places = vtkPoints()
    places.SetData(numpy_to_vtk(np.ascontiguousarray(points), deep=True))
    cells = vtkCellArray()
    cells.SetData(
        numpy_to_vtkIdTypeArray(np.arange(0, 2 * len(ends) + 1, 2, dtype=np.int64), deep=True),
        numpy_to_vtkIdTypeArray(np.ascontiguousarray(ends.ravel(), dtype=np.int64), deep=True),
    )
    made = vtkPolyData()
    made.SetPoints(places)
    made.SetLines(cells)
    return made


def _some_faces(poly: Any, faces: Any) -> Any:
    from vtkmodules.util.numpy_support import vtk_to_numpy

    vertices = vtk_to_numpy(poly.GetPoints().GetData())
    corners = vtk_to_numpy(poly.GetPolys().GetConnectivityArray()).reshape(-1, 3)
    chosen = corners[np.asarray(faces, dtype=np.int64)]
    used, again = np.unique(chosen, return_inverse=True)
    return _poly_data(vertices[used], again.reshape(-1, 3))


def _answer(out: BinaryIO, head: dict[str, Any], data: bytes = b"") -> None:
    out.write(json.dumps(head).encode() + b"\n")
    out.write(data)
    out.flush()


def main() -> int:
    """Answer requests until the input ends."""
    # What a library prints must not get between our answers.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    picture = Picture()
    for line in sys.stdin:
        want = json.loads(line)
        if want["do"] == "scene":
            picture.take_scene(Path(want["folder"]))
            _answer(out, {"scene": want["folder"], "parts": len(picture.parts)})
        elif want["do"] == "draw":
            _answer(out, *picture.draw(want))
    return 0


if __name__ == "__main__":
    sys.exit(main())
