"""The outline of what a part sweeps over a full turn: its image under (x, y, z) → (r, z).

The image is the union of the images of its triangles.  A raster holds each node's distance from
that union; the line of equal distance one step away is found between the nodes and moved back by
that step, which keeps corners and is far nearer than the raster is fine.  A space that the image
encloses is material if the part's winding number there is at least ½: no face is passed on the
whole circle through such a place, so one point of the circle decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from contourpy import FillType, contour_generator
from numpy.typing import NDArray

from clearturn import threads
from clearturn.drawing._kernels import image, splat
from clearturn.gap.surface_map import winding
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check

Floats = NDArray[np.float64]

# A surface seen edge-on (an open scan of a barrel) has no width; it is drawn this wide.
SHEET_MM = 0.04
_MOST_WORK = 9_000_000
# Every triangle lowers the nodes around it, however coarse the raster, so a large scan is above any
# given amount of work: coarser than this nothing is won.
_COARSEST_MM = 0.6


@dataclass(frozen=True, slots=True)
class Outline:
    """What a part sweeps in the half plane.

    Attributes
    ----------
    area : shapely geometry
        Polygon or MultiPolygon; x is z (outboard), y is r, mm.
    accuracy_mm : float
        How far its border may stand from the true one: a step at a sharp inner corner, which comes
        out bevelled, and a fraction of that elsewhere.
    """

    area: shapely.Geometry
    accuracy_mm: float


def swept_outline(
    mesh: Mesh, resolution_mm: float = 0.12, *, progress: Progress | None = None
) -> Outline:
    """Return the outline of what a part sweeps when it turns about the z axis.

    Parameters
    ----------
    mesh : Mesh
        In the hub frame.
    resolution_mm : float
        Step of the raster; made coarser where it would take too long (a large scan gets about
        half a millimetre), which the result's accuracy tells.
    """
    return mesh.cached(
        ("swept outline", resolution_mm), lambda: _swept_outline(mesh, resolution_mm, progress)
    )


def _swept_outline(mesh: Mesh, step: float, progress: Progress | None) -> Outline:
    if len(mesh.faces) == 0:
        return Outline(shapely.Polygon(), 0.0)
    sag = 0.02
    flat = _once(meridian_triangles(mesh, sag))
    low, high = flat.min(axis=(0, 1)), flat.max(axis=(0, 1))
    work = _work(flat, high - low)
    while step < _COARSEST_MM and work(step) > _MOST_WORK:
        step = min(1.25 * step, _COARSEST_MM)
    check(progress)
    level = step  # the least at which both nodes beside the line have their true distance
    start = low - 3 * step
    shape = np.ceil((high - low) / step).astype(int) + 7
    field = distance_field(flat, start, (int(shape[1]), int(shape[0])), step, progress)
    area = _within(field, start, step, level)
    if low[1] < 2 * step:  # a shaft is closed by its other half
        area = shapely.union(area, shapely.transform(area, _other_half))
    area = _filled(area, mesh, level, step, progress)
    area = shapely.buffer(area, SHEET_MM / 2 - level, join_style="mitre", mitre_limit=2.0)
    area = shapely.simplify(shapely.make_valid(area), 0.04 * step)
    area = shapely.intersection(area, shapely.box(low[0] - step, 0.0, high[0] + step, high[1] + 1))
    return Outline(area, step + sag + SHEET_MM / 2)


def material_side(mesh: Mesh, depth_mm: float) -> shapely.Geometry:
    """Return a strip along the surfaces of an open scan, on the side of the material.

    A scan shows surfaces, not bodies.  The strip says on which side the metal is; it is for the eye
    alone.  Empty for a closed mesh, whose outline is filled already.

    Parameters
    ----------
    mesh : Mesh
        Faces outward, as scanners write them.
    depth_mm : float
        Width of the strip.
    """

    def make() -> shapely.Geometry:
        rim = _rim(mesh.faces, len(mesh.vertices))
        if len(rim) == 0:
            return shapely.Polygon()
        return _swept_outline(_shell(mesh, rim, depth_mm), 0.2 * depth_mm, None).area

    return mesh.cached(("material side", depth_mm), make)


def _rim(faces: NDArray[np.int32], count: int) -> NDArray[np.int64]:
    """Return the edges of one face only, (k, 2), in that face's sense."""
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
    low, high = edges.min(axis=1), edges.max(axis=1)
    _, first, times = np.unique(low * count + high, return_index=True, return_counts=True)
    rim: NDArray[np.int64] = edges[first[times == 1]]
    return rim


def _shell(mesh: Mesh, rim: NDArray[np.int64], depth_mm: float) -> Mesh:
    """Return the surface, its copy moved inwards, and the strips that join their rims."""
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    normals = np.cross(b - a, c - a)
    sums = np.stack(
        [
            np.bincount(mesh.faces.ravel(), np.repeat(normals[:, k], 3), len(mesh.vertices))
            for k in range(3)
        ],
        axis=1,
    )
    length = np.linalg.norm(sums, axis=1)
    inner = mesh.vertices - depth_mm * sums / np.where(length > 0, length, 1.0)[:, None]
    n = len(mesh.vertices)
    u, v = rim[:, 0], rim[:, 1]
    strips = np.concatenate([np.stack([v, u, u + n], 1), np.stack([v, u + n, v + n], 1)])
    faces = np.concatenate([mesh.faces, mesh.faces[:, ::-1] + n, strips])
    return Mesh(np.concatenate([mesh.vertices, inner]), faces)


def meridian_triangles(mesh: Mesh, tolerance_mm: float) -> Floats:
    """Return planar triangles that stand within `tolerance_mm` of the true image.

    The image of an edge bows towards the axis, by at most h²/(8 r0) for an edge of length h across
    the axis at least radius r0, and never by more than h/2; triangles with a larger bow are cut in
    four.

    Returns
    -------
    triangles : (k, 3, 2) ndarray
        z and r of the corners.
    """
    vertices, faces = mesh.vertices, mesh.faces
    done: list[Floats] = []
    for _ in range(12):
        flat = np.empty((len(faces), 6))
        bows = np.zeros(len(faces), dtype=np.bool_)
        image(vertices, faces, tolerance_mm, flat, bows)
        if not bows.any():
            break
        done.append(flat[~bows])
        a, b, c = np.moveaxis(vertices[faces[bows]], 1, 0)
        ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
        cut = [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        vertices = np.concatenate(cut).reshape(-1, 3)
        faces = np.arange(len(vertices), dtype=np.int32).reshape(-1, 3)
    return np.concatenate([*done, flat]).reshape(-1, 3, 2)


def _work(triangles: Floats, size: Floats) -> Callable[[float], float]:
    """Return how many nodes a raster of a step has and visits, as a function of the step."""
    width, height = (
        np.maximum(np.maximum(a, b), c) - np.minimum(np.minimum(a, b), c)
        for a, b, c in (triangles[:, :, 0].T, triangles[:, :, 1].T)
    )
    product, total = float(width @ height), float(width.sum() + height.sum())

    def work(step: float) -> float:
        # Σ (w/step + 4.2)(h/step + 4.2) over the triangles' boxes
        visits = product / step**2 + 4.2 * total / step + 4.2**2 * len(triangles)
        return visits + float(np.prod(size / step + 8))

    return work


def _once(triangles: Floats) -> Floats:
    """Return the triangles without copies: a turned part has each of them hundreds of times."""
    flat = triangles.reshape(-1, 6)
    factors = np.array(
        [
            0x9E3779B97F4A7C15,
            0xC2B2AE3D27D4EB4F,
            0x165667B19E3779F9,
            0x27D4EB2F165667C5,
            0xD6E8FEB86659FD93,
            0xA0761D6478BD642F,
        ],
        np.uint64,
    )
    key = np.zeros(len(flat), np.uint64)
    with np.errstate(over="ignore"):
        for column, factor in zip(flat.T, factors, strict=True):  # one at a time spares memory
            key += np.round(column * 1e5).astype(np.int64).view(np.uint64) * factor
        key ^= key >> np.uint64(31)
    first = np.unique(key, return_index=True)[1]
    return triangles[np.sort(first)]


def distance_field(
    triangles: Floats,
    start: Floats,
    shape: tuple[int, int],
    step: float,
    progress: Progress | None = None,
) -> Floats:
    """Return each node's distance from the union of planar triangles, at most 2.1 steps.

    Parameters
    ----------
    triangles : (m, 3, 2) ndarray
    start : (2,) ndarray
        Place of node (0, 0).
    shape : (rows, columns)
    """
    reach = 2.1 * step  # nodes beside the line of one step are within two
    field = np.full(shape, reach)
    flat = np.ascontiguousarray(triangles.reshape(-1, 6))
    x0, y0 = float(start[0]), float(start[1])

    def rows(first: int, last: int) -> None:
        splat(flat, field, x0, y0, step, reach, first, last)

    size = max(1, math.ceil(shape[0] / (2 * threads.thread_count())))
    threads.run(rows, threads.spans(shape[0], size), progress)
    return field


def _within(field: Floats, start: Floats, step: float, level: float) -> shapely.Geometry:
    rows, columns = field.shape
    made = contour_generator(
        x=start[0] + step * np.arange(columns),
        y=start[1] + step * np.arange(rows),
        z=field,
        fill_type=FillType.OuterOffset,
    ).filled(-1.0, level)
    polygons = []
    for points, offsets in zip(*made, strict=True):
        rings = [points[a:b] for a, b in pairwise(offsets)]
        polygons.append(shapely.Polygon(rings[0], [ring for ring in rings[1:] if len(ring) > 3]))
    return shapely.make_valid(shapely.MultiPolygon(polygons))


def _filled(
    area: shapely.Geometry, mesh: Mesh, level: float, step: float, progress: Progress | None
) -> shapely.Geometry:
    """Fill the enclosed spaces that are material, and those too small to be seen.

    Spaces are the pieces of the complement, since one may hold another outline within it.
    """
    paper = shapely.box(*area.bounds).buffer(step, join_style="mitre")
    fill: list[shapely.Geometry] = []
    large: list[shapely.Geometry] = []
    for space in shapely.get_parts(shapely.difference(paper, area)):
        if space.intersects(shapely.boundary(paper)):
            continue
        # the true space is larger by `level` all round
        seen = shapely.buffer(space, level).area >= (8 * step) ** 2
        (large if seen else fill).append(space)
    check(progress)
    places = [space.representative_point() for space in large]
    points = np.array([[0.0, abs(one.y), one.x] for one in places]).reshape(-1, 3)
    if large:
        inside = np.abs(winding(points, mesh, progress)) >= 0.5
        fill += [space for space, one in zip(large, inside, strict=True) if one]
    if not fill:
        return area
    return shapely.union_all([area, *(shapely.buffer(space, 1e-6) for space in fill)])


def _other_half(points: Floats) -> Floats:
    mirrored: Floats = points * np.array([1.0, -1.0])
    return mirrored
