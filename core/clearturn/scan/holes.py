"""Find the rims of small holes and close them with invented surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn.mesh import Mesh
from clearturn.progress import Progress, check
from clearturn.scan import _kernels_clean as kernels
from clearturn.scan.inventory import sorted_edges, triangle_states

# A rim of more points is not closed: the work grows with their third power, and a hole that
# large is not a small one.
MOST_RIM_POINTS = 300


@dataclass(frozen=True, slots=True)
class Filling:
    """Triangles that close holes.

    Attributes
    ----------
    faces : (k, 3) int32
        Of the mesh's own vertices, wound as their neighbours are.
    holes : int
        Closed.
    left : int
        Small enough but not closed: rims of too many points, rims that do not close because
        triangles beside them are turned, and those with no skin that does not use an edge of the
        mesh again.
    area_mm2 : float
    """

    faces: NDArray[np.int32]
    holes: int
    left: int
    area_mm2: float


def close_holes(mesh: Mesh, up_to_mm: float, progress: Progress | None = None) -> Filling:
    """Close every hole whose rim fits a box of this diagonal.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    start, entries, single = sorted_edges(mesh, triangle_states(mesh, progress), progress)
    edges = np.empty((single, 2), np.int32)
    kernels.list_open_edges(start, entries, edges)
    rims, loose = _rims(mesh, edges)
    small = [rim for rim in rims if _diagonal(mesh, rim) <= up_to_mm]
    left = sum(_diagonal(mesh, rim) <= up_to_mm for rim in loose)
    used, triangles = _around(mesh, small)
    faces: list[NDArray[np.int32]] = []
    area = 0.0
    for rim in small:
        check(progress)
        # The rim of a single loose triangle is no hole.
        loose_one = len(rim) == 3 and tuple(sorted(rim)) in triangles
        skin = None if loose_one else _close(mesh, rim, used)
        if skin is None:
            left += 1
            continue
        faces.append(skin[0])
        area += skin[1]
    merged = np.concatenate(faces) if faces else np.empty((0, 3), np.int32)
    return Filling(merged, len(faces), left, area)


Fans = dict[int, dict[int, int]]
Edge = tuple[int, int]
Corners = tuple[int, int, int]


def _rims(mesh: Mesh, edges: NDArray[np.int32]) -> tuple[list[list[int]], list[list[int]]]:
    """Chain open edges to rings; return those and the chains that do not close.

    A hole runs along its rim against the direction of the triangles there.  Where rims touch in a
    point, a hole lies between two fans of triangles, so its rim arrives along one fan and leaves
    along another; and a ring is cut off as soon as the walk comes back to a point.
    """
    after: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        after.setdefault(b, []).append(a)
    crossings = {point for point, onward in after.items() if len(onward) > 1}
    fans = _fans(mesh, crossings)
    rings: list[list[int]] = []
    loose: list[list[int]] = []
    for first in sorted(after, key=lambda point: point in crossings):
        while after[first]:
            _walk(first, after, fans, rings, loose)
    return rings, loose


def _fans(mesh: Mesh, points: set[int]) -> Fans:
    """Number the fans of triangles around each point: point → neighbour → fan."""
    fans: Fans = {point: {} for point in points}
    if not points:
        return fans
    chosen = np.zeros(len(mesh.vertices), np.bool_)
    chosen[list(points)] = True
    for number, corners in enumerate(mesh.faces[chosen[mesh.faces].any(axis=1)].tolist()):
        for k in range(3):
            fan = fans.get(corners[k])
            if fan is None:
                continue
            first, second = corners[k - 1], corners[k - 2]
            old = {fan.get(first), fan.get(second)}
            fan[first] = fan[second] = number
            for neighbour, value in fan.items():
                if value in old:
                    fan[neighbour] = number
    return fans


def _walk(
    first: int,
    after: dict[int, list[int]],
    fans: Fans,
    rings: list[list[int]],
    loose: list[list[int]],
) -> None:
    path = [first]
    place = {first: 0}
    while True:
        onward = after.get(path[-1])
        if not onward:
            if len(path) > 1:
                loose.append(path)
            return
        at = onward.pop(_turn(path, onward, fans) if len(onward) > 1 else 0)
        if at not in place:
            place[at] = len(path)
            path.append(at)
            continue
        ring = path[place[at] :]
        (rings if len(ring) >= 3 else loose).append(ring)
        for gone in ring[1:]:
            del place[gone]
        del path[place[at] + 1 :]
        if len(path) == 1:
            return


def _turn(path: list[int], onward: list[int], fans: Fans) -> int:
    """Choose the way on that runs along another fan than the one the walk came along."""
    fan = fans.get(path[-1], {})
    if len(path) > 1:
        for k, at in enumerate(onward):
            if fan.get(at) != fan.get(path[-2]):
                return k
    return 0


def _diagonal(mesh: Mesh, rim: list[int]) -> float:
    return float(np.linalg.norm(np.ptp(mesh.vertices[rim], axis=0)))


def _around(mesh: Mesh, rims: list[list[int]]) -> tuple[set[Edge], set[Corners]]:
    """Return the mesh's edges and triangles between points of rims, corners sorted.

    A skin must not use them again.
    """
    on_rim = np.zeros(len(mesh.vertices), np.bool_)
    for rim in rims:
        on_rim[rim] = True
    corners = on_rim[mesh.faces]
    near = mesh.faces[corners.sum(axis=1) >= 2]
    pairs = np.concatenate([near[:, [0, 1]], near[:, [1, 2]], near[:, [2, 0]]])
    pairs = np.sort(pairs[on_rim[pairs].all(axis=1)], axis=1)
    whole = np.sort(mesh.faces[corners.all(axis=1)], axis=1)
    return {(p, q) for p, q in pairs.tolist()}, {(p, q, r) for p, q, r in whole.tolist()}


def _close(mesh: Mesh, rim: list[int], used: set[Edge]) -> tuple[NDArray[np.int32], float] | None:
    n = len(rim)
    if n > MOST_RIM_POINTS:
        return None
    taken = np.zeros((n, n), np.bool_)
    for i in range(n):
        for j in range(i + 2, n):
            taken[i, j] = (min(rim[i], rim[j]), max(rim[i], rim[j])) in used
    triangles = np.empty((n - 2, 3), np.int32)
    if not np.isfinite(kernels.close_rim(mesh.vertices[rim], taken, triangles)):
        return None
    faces = np.asarray(rim, np.int32)[triangles]
    for a, b, c in faces.tolist():
        used.update((min(p, q), max(p, q)) for p, q in ((a, b), (b, c), (c, a)))
    corners = mesh.vertices[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return faces, float(np.linalg.norm(normals, axis=1).sum()) / 2.0
