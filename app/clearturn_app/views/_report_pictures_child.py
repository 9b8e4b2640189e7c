"""The child process of `report_pictures`: draws scenes handed over in a folder.

Knows numpy and VTK, and nothing of clearturn, so that it starts quickly and stands alone.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TONES = {"turns": "#e7d6b3", "fixed": "#b9c8d0", "posed": "#d5dccb"}
INK = "#1d2328"
BELOW = "#a8446c"  # surface below the requirement
FINER = 2  # drawn larger by this and averaged
LINE_PX = 2.0


def _draw_all(folder: Path) -> int:
    """Draw every scene that is not there yet; returns the exit code."""
    task = json.loads((folder / "task.json").read_text())
    with np.load(folder / "parts.npz") as arrays:
        loaded = {name: arrays[name] for name in arrays.files}
    parts = [
        _poly_data(loaded[f"vertices{k}"], loaded[f"faces{k}"]) for k in range(len(task["motions"]))
    ]
    for scene in task["scenes"]:
        target = folder / f"{scene['index']}.png"
        if target.exists():
            continue
        if not _draw(parts, loaded, task, scene, target):
            return 4  # a window that draws nothing
    return 0


def _poly_data(vertices: Floats, faces: NDArray[np.int32]) -> Any:
    """Return triangles as VTK holds them, with a place for the mark "below" on each."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData

    points = vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(vertices), deep=True))
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


def _draw(parts: list[Any], loaded: Any, task: Any, scene: Any, target: Path) -> bool:
    """Draw one scene into a file; returns whether anything can be seen in it."""
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401  (makes the classes below work)
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow, vtkWindowToImageFilter

    renderer = vtkRenderer()
    renderer.SetBackground(1.0, 1.0, 1.0)
    renderer.AutomaticLightCreationOff()
    renderer.SetUseFXAA(False)
    _light(renderer, scene)
    for k, (part, motion) in enumerate(zip(parts, task["motions"], strict=True)):
        below = loaded.get(f"below{scene['index']}") if scene.get("below_part") == k else None
        _add_part(renderer, part, motion, below, scene)
    _aim(renderer.GetActiveCamera(), scene)
    window = vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetMultiSamples(0)
    window.SetSize(*(FINER * side for side in task["size_px"]))
    window.AddRenderer(renderer)
    window.Render()
    grab = vtkWindowToImageFilter()
    grab.SetInput(window)
    grab.ReadFrontBufferOff()
    grab.Update()
    image = grab.GetOutput()
    seen = vtk_to_numpy(image.GetPointData().GetScalars())
    if seen.max() == seen.min():
        return False
    _save(image, task["size_px"], target)
    window.Finalize()
    return True


def _save(image: Any, size_px: tuple[int, int], target: Path) -> None:
    """Write a PNG under another name first, so that the parent never takes half a picture."""
    from vtkmodules.vtkImagingCore import vtkImageResize
    from vtkmodules.vtkIOImage import vtkPNGWriter

    smaller = vtkImageResize()  # averages: the smooth edges come from here
    smaller.SetInputData(image)
    smaller.SetOutputDimensions(*size_px, 1)
    smaller.InterpolateOn()
    writer = vtkPNGWriter()
    writer.SetCompressionLevel(9)
    unfinished = target.with_suffix(".part")
    writer.SetFileName(str(unfinished))
    writer.SetInputConnection(smaller.GetOutputPort())
    writer.Write()
    unfinished.replace(target)


def _aim(camera: Any, scene: Any) -> None:
    point, eye = np.array(scene["point"]), np.array(scene["eye"])
    camera.SetFocalPoint(*point)
    camera.SetPosition(*(point + 1000.0 * eye))
    camera.SetViewUp(*scene["up"])
    camera.ParallelProjectionOn()
    camera.SetParallelScale(scene["half_height_mm"])
    camera.SetClippingRange(100.0, 3000.0)


def _light(renderer: Any, scene: Any) -> None:
    from vtkmodules.vtkRenderingCore import vtkLight

    eye, up = np.array(scene["eye"]), np.array(scene["up"])
    point = np.array(scene["point"])
    left = np.cross(eye, up)
    for direction, strength in ((eye + 0.8 * up + 0.6 * left, 0.62), (eye - 0.5 * left, 0.3)):
        light = vtkLight()
        light.SetLightTypeToSceneLight()
        light.SetPosition(*(point + 1000.0 * direction))
        light.SetFocalPoint(*point)
        light.SetIntensity(strength)
        renderer.AddLight(light)


def _add_part(renderer: Any, part: Any, motion: str, below: Any, scene: Any) -> None:
    """Add what the cut leaves of a part, its cut face and the line around it."""
    from vtkmodules.vtkCommonDataModel import vtkPlane
    from vtkmodules.vtkFiltersCore import vtkClipPolyData, vtkCutter

    turned = _turned(part, scene["turn_deg"]) if motion == "turns" else part
    plane = vtkPlane()
    plane.SetOrigin(*scene["point"])
    plane.SetNormal(*scene["normal"])
    pieces = [(turned, TONES[motion])]
    if below is not None:
        pieces = [
            (_cells(turned, below, keep=False), TONES[motion]),
            (_cells(turned, below, keep=True), BELOW),
        ]
    for piece, tone in pieces:
        clip = vtkClipPolyData()
        clip.SetInputData(piece)
        clip.SetClipFunction(plane)
        clip.InsideOutOn()
        clip.Update()
        _show(renderer, clip.GetOutput(), tone)
    cutter = vtkCutter()
    cutter.SetInputData(turned)
    cutter.SetCutFunction(plane)
    cutter.Update()
    if cutter.GetOutput().GetNumberOfCells():
        outline = _joined(cutter.GetOutput())
        _show(renderer, _filled(outline), TONES[motion], flat=True)
        # Nearer to the eye, so that no surface hides half of the line; the place stays the same.
        _show(renderer, outline, INK, flat=True).AddPosition(*(0.5 * np.array(scene["eye"])))


def _turned(part: Any, angle_deg: float) -> Any:
    from vtkmodules.vtkCommonTransforms import vtkTransform
    from vtkmodules.vtkFiltersGeneral import vtkTransformFilter

    turn = vtkTransform()
    turn.RotateZ(angle_deg)
    move = vtkTransformFilter()
    move.SetInputData(part)
    move.SetTransform(turn)
    move.Update()
    return move.GetOutput()


def _cells(part: Any, chosen: NDArray[np.int64], *, keep: bool) -> Any:
    """Return a part with only the chosen triangles, or without them."""
    from vtkmodules.util.numpy_support import vtk_to_numpy

    faces = vtk_to_numpy(part.GetPolys().GetConnectivityArray()).reshape(-1, 3)
    mask = np.zeros(len(faces), dtype=bool)
    mask[chosen[chosen < len(faces)]] = True
    return _poly_data(vtk_to_numpy(part.GetPoints().GetData()), faces[mask if keep else ~mask])


def _joined(outline: Any) -> Any:
    """Return a cut with the ends of its lines made one where they meet."""
    from vtkmodules.vtkFiltersCore import vtkCleanPolyData

    clean = vtkCleanPolyData()
    clean.SetInputData(outline)
    clean.ToleranceIsAbsoluteOn()
    clean.SetAbsoluteTolerance(1e-5)
    clean.Update()
    return clean.GetOutput()


def _filled(outline: Any) -> Any:
    """Return the area inside the closed loops of a cut."""
    from vtkmodules.vtkFiltersGeneral import vtkContourTriangulator

    filler = vtkContourTriangulator()
    filler.SetInputData(outline)
    filler.TriangulationErrorDisplayOff()
    filler.Update()
    return filler.GetOutput()


def _show(renderer: Any, data: Any, tone: str, *, flat: bool = False) -> Any:
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(data)
    mapper.ScalarVisibilityOff()
    actor = vtkActor()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetColor(*(int(tone[k : k + 2], 16) / 255.0 for k in (1, 3, 5)))
    look.SetLineWidth(LINE_PX * FINER)
    look.SetAmbient(1.0 if flat else 0.55)
    look.SetDiffuse(0.0 if flat else 0.5)
    look.SetSpecular(0.0)
    look.SetInterpolationToFlat()
    look.SetLighting(not flat)
    renderer.AddActor(actor)
    return actor


if __name__ == "__main__":
    sys.exit(_draw_all(Path(sys.argv[1])))
