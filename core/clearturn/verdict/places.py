"""Where a pair is below its requirement: connected places, not one number.

One least gap hides the second-worst place, which the next change would lay open.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.result import Place
from clearturn.verdict.field import Field, Pair

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

COARSE_MM = 3.0
"""Faces with longer edges are split before distances are taken at their corners."""
_MOST_FACES = 400_000
_MOST_PLACES = 50


def clock_of(point: Array) -> float:
    """Return the clock position of a point, degrees: 0 at +Y, growing towards +X."""
    clock = math.degrees(math.atan2(float(point[0]), float(point[1]))) % 360.0
    return 0.0 if clock >= 360.0 else clock


def radius_of(point: Array) -> float:
    """Return the distance of a point from the spin axis, mm."""
    return math.hypot(float(point[0]), float(point[1]))


def places_below(
    pair: Pair,
    threshold_mm: float,
    faces_of_part: Indices,
    progress: Progress | None = None,
) -> tuple[Place, ...]:
    """Return the connected places of the first part nearer to the second than a threshold.

    Parameters
    ----------
    pair : Pair
    threshold_mm : float
        Distance below which a point belongs to a place.
    faces_of_part : (m,) int64
        For each face of ``pair.first`` its index in the whole part.
    progress : Progress, optional

    Returns
    -------
    tuple of Place
        The worst first.  A face counts by the share of its corners below the threshold.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    mesh, parent, near = refined_field(pair, threshold_mm, progress)
    if len(near.vertices) == 0:
        return ()
    distance = np.full(len(mesh.vertices), np.inf)
    distance[near.vertices] = near.distance_mm
    row_of = np.full(len(mesh.vertices), -1, np.int64)
    row_of[near.vertices] = np.arange(len(near.vertices))
    share = np.isfinite(distance)[mesh.faces].mean(axis=1)
    touched = np.flatnonzero(share > 0)
    label = _labels(mesh, touched, len(near.vertices), row_of)
    area = 0.5 * np.linalg.norm(
        np.cross(
            mesh.vertices[mesh.faces[touched, 1]] - mesh.vertices[mesh.faces[touched, 0]],
            mesh.vertices[mesh.faces[touched, 2]] - mesh.vertices[mesh.faces[touched, 0]],
        ),
        axis=1,
    )
    corner_rows = row_of[mesh.faces[touched]]
    face_label = label[corner_rows[np.arange(len(touched)), np.argmax(corner_rows >= 0, axis=1)]]
    found = []
    for one in range(int(label.max()) + 1):
        rows = np.flatnonzero(label == one)
        worst = rows[int(np.argmin(near.distance_mm[rows]))]
        mine = face_label == one
        point = near.places.points[worst]
        found.append(
            Place(
                worst_mm=float(near.distance_mm[worst]),
                area_mm2=float((area[mine] * share[touched[mine]]).sum()),
                clock_deg=clock_of(point),
                r_mm=radius_of(point),
                z_mm=float(point[2]),
                point_mm=point.copy(),
                faces=np.unique(faces_of_part[parent[touched[mine]]]).astype(np.int64),
            )
        )
    found.sort(key=lambda place: place.worst_mm)
    return tuple(found[:_MOST_PLACES])


def _labels(mesh: Mesh, touched: Indices, count: int, row_of: Indices) -> Indices:
    """Return the connected piece of every near vertex, (count,)."""
    rows = row_of[mesh.faces[touched]]
    one = np.concatenate([rows[:, 0], rows[:, 1], rows[:, 2]])
    two = np.concatenate([rows[:, 1], rows[:, 2], rows[:, 0]])
    both = (one >= 0) & (two >= 0)
    graph = sparse.coo_matrix(
        (np.ones(int(both.sum())), (one[both], two[both])), shape=(count, count)
    )
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64)


def refined_field(
    pair: Pair, threshold_mm: float, progress: Progress | None = None
) -> tuple[Mesh, Indices, Field]:
    """Split the coarse faces of the first part that may be near, and take distances there.

    Returns
    -------
    (Mesh, (m,) int64, Field)
        The split mesh, the parent face of each of its faces, and the field of its vertices nearer
        than the threshold.
    """
    mesh = pair.first
    parent = np.arange(len(mesh.faces), dtype=np.int64)
    coarse = _longest(mesh)
    reach = threshold_mm + float(coarse[coarse > COARSE_MM].max(initial=0.0))
    field = pair.field(True, reach, progress=progress)
    distance = np.full(len(mesh.vertices), np.inf)
    distance[field.vertices] = field.distance_mm
    while len(mesh.faces) < _MOST_FACES:
        longest = _longest(mesh)
        # A corner farther than threshold + longest edge keeps the whole face away.
        near = distance[mesh.faces].min(axis=1) <= threshold_mm + longest
        split = np.flatnonzero((longest > COARSE_MM) & near)
        if len(split) == 0:
            break
        known = len(mesh.vertices)
        mesh, parent = _split(mesh, parent, split)
        fresh = np.arange(known, len(mesh.vertices), dtype=np.int64)
        added = pair.with_meshes(first=mesh).field(True, reach, fresh, progress)
        distance = np.concatenate([distance, np.full(len(fresh), np.inf)])
        distance[added.vertices] = added.distance_mm
        field = field.joined(added)
    return mesh, parent, field.pick(field.distance_mm <= threshold_mm)


def _longest(mesh: Mesh) -> Array:
    corners = mesh.corners
    lengths = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    return np.asarray(lengths.max(axis=1, initial=0.0))


def _split(mesh: Mesh, parent: Indices, chosen: Indices) -> tuple[Mesh, Indices]:
    """Split the chosen faces in two across their longest edge, and neighbours with them."""
    corners = mesh.corners
    lengths = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    # Every edge of a chosen face that is coarse is halved in all faces that share it, so that
    # no crack opens and places stay connected.
    faces = mesh.faces.astype(np.int64)
    edges = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2)
    edges.sort(axis=2)
    key = edges[:, :, 0] * len(mesh.vertices) + edges[:, :, 1]
    wanted = np.unique(key[chosen][lengths[chosen] > COARSE_MM])
    slot = np.searchsorted(wanted, key)
    slot = np.minimum(slot, len(wanted) - 1)
    halved = wanted[slot] == key
    middle = 0.5 * (
        mesh.vertices[wanted // len(mesh.vertices)] + mesh.vertices[wanted % len(mesh.vertices)]
    )
    new = len(mesh.vertices) + slot
    out, parents = [], []
    count = halved.sum(axis=1)
    keep = count == 0
    out.append(faces[keep])
    parents.append(parent[keep])
    for turn in range(3):
        order = [(turn + i) % 3 for i in range(3)]
        f, h, m = faces[:, order], halved[:, order], new[:, order]
        one = (count == 1) & h[:, 0]
        out += [
            np.stack([f[one, 0], m[one, 0], f[one, 2]], axis=1),
            np.stack([m[one, 0], f[one, 1], f[one, 2]], axis=1),
        ]
        two = (count == 2) & ~h[:, 2]
        out += [
            np.stack([f[two, 0], m[two, 0], m[two, 1]], axis=1),
            np.stack([m[two, 0], f[two, 1], m[two, 1]], axis=1),
            np.stack([f[two, 0], m[two, 1], f[two, 2]], axis=1),
        ]
        parents += [parent[one]] * 2 + [parent[two]] * 3
    three = count == 3
    f, m = faces[three], new[three]
    out += [
        np.stack([f[:, 0], m[:, 0], m[:, 2]], axis=1),
        np.stack([m[:, 0], f[:, 1], m[:, 1]], axis=1),
        np.stack([m[:, 2], m[:, 1], f[:, 2]], axis=1),
        m.copy(),
    ]
    parents += [parent[three]] * 4
    return (
        Mesh(np.concatenate([mesh.vertices, middle]), np.concatenate(out), mesh.name),
        np.concatenate(parents),
    )
