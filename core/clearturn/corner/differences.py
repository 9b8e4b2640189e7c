"""Where two scans of the same part differ, once one is laid onto the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from clearturn.corner.registration import Registration
from clearturn.datum.grow import surface
from clearturn.gap.surface_map import surface_distances
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part

Array = NDArray[np.float64]

LEAST_MM = 0.1
LEAST_SIGMAS = 5.0  # of the unchanged surface's scale: noise of both scans alone is no change
LEAST_AREA_MM2 = 25.0
LEAST_INSIDE = 4  # vertices whose neighbours all differ
LIMIT_MM = 15.0  # surface farther from the other scan was not seen there, or is new
MOST = 20


@dataclass(frozen=True, slots=True)
class Difference:
    """One connected place where the scans differ.

    Attributes
    ----------
    on : {"first", "second"}
        Whose surface lies there: "first" is what the second lacks, "second" what it has more.
    area_mm2 : float
    greatest_mm : float
        Distance from the other scan, positive on its outer side; none nearer than `LIMIT_MM`
        counts as that.
    mean_mm : float
    place_mm : (3,) ndarray
        Where it is greatest, in the first scan's coordinates.
    alone : bool
        Whether most of it has no surface of the other scan within `LIMIT_MM`: not seen there, or
        a part put on or taken off.
    """

    on: str
    area_mm2: float
    greatest_mm: float
    mean_mm: float
    place_mm: Array
    alone: bool


def differences(
    first: Mesh,
    second: Mesh,
    laid: Registration,
    *,
    least_mm: float | None = None,
    progress: Progress | None = None,
) -> tuple[Difference, ...]:
    """Return the places where two scans differ, largest area first.

    Parameters
    ----------
    first, second : Mesh
        In their own coordinates.
    laid : Registration
    least_mm : float, optional
        Differences from here on are told; default 0.1 mm or five times the unchanged surface's
        scale, whichever is more.
    progress : Progress, optional
    """
    least = max(LEAST_MM, LEAST_SIGMAS * laid.scale_mm) if least_mm is None else least_mm
    moved = second.moved(laid.first_from_second)
    found = [
        *_one_way(moved, first, "second", least, part(progress, 0.0, 0.5)),
        *_one_way(first, moved, "first", least, part(progress, 0.5, 1.0)),
    ]
    found.sort(key=lambda one: -one.area_mm2)
    return tuple(found[:MOST])


def _one_way(
    mesh: Mesh, other: Mesh, name: str, least: float, progress: Progress | None
) -> list[Difference]:
    near = surface_distances(
        mesh.vertices, other, limit_mm=LIMIT_MM, signed=False, progress=progress
    )
    seen = surface(other)
    face = np.maximum(near.triangle, 0)
    normal = (
        seen.smooth[face] / np.maximum(np.linalg.norm(seen.smooth[face], axis=1), 1e-300)[:, None]
    )
    alone = near.triangle < 0
    signed = ((mesh.vertices - np.nan_to_num(near.nearest)) * normal).sum(axis=1)
    distance = np.where(alone, LIMIT_MM, np.sign(signed) * near.distance_mm)
    # At the other scan's open rims its surface merely ends.
    rim = ~alone & ~(seen.across[face] >= 0).all(axis=1)
    differs = (np.abs(distance) > least) & ~rim
    # Along sharp edges two meshes of one part differ by a row of triangles: no change.
    beside = np.zeros(len(differs), dtype=np.bool_)
    for a, b in ((0, 1), (1, 2), (2, 0)):
        beside[mesh.faces[:, a]] |= ~differs[mesh.faces[:, b]]
        beside[mesh.faces[:, b]] |= ~differs[mesh.faces[:, a]]
    faces = mesh.faces[differs[mesh.faces].all(axis=1)]
    return _patches(mesh, faces, distance, alone, differs & ~beside, name)


def _patches(
    mesh: Mesh,
    faces: NDArray[np.int32],
    distance: Array,
    alone: NDArray[np.bool_],
    inside: NDArray[np.bool_],
    name: str,
) -> list[Difference]:
    if len(faces) == 0:
        return []
    n = len(mesh.vertices)
    ends = faces[:, [0, 1, 1, 2]].reshape(-1, 2)
    graph = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    corners = mesh.vertices[faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = 0.5 * np.linalg.norm(cross, axis=1)
    piece = label[faces[:, 0]]
    area = np.bincount(piece, size)
    found = []
    for k in np.flatnonzero(area >= LEAST_AREA_MM2):
        mine = piece == k
        used = np.unique(faces[mine])
        if int(inside[used].sum()) < LEAST_INSIDE:
            continue
        far = distance[used]
        at = int(used[int(np.argmax(np.abs(far)))])
        found.append(
            Difference(
                on=name,
                area_mm2=float(area[k]),
                greatest_mm=float(distance[at]),
                mean_mm=float(far.mean()),
                place_mm=mesh.vertices[at].copy(),
                alone=float(alone[used].mean()) > 0.5,
            )
        )
    return found
