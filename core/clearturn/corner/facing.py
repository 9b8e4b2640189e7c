"""Which side of an open scan a part is on, told from the surfaces at the closest place.

A wheel is scanned where one can look; its shell stays open, and no winding number says what is
inside.  But a scanned triangle knows its outer side.  Where both surfaces show their outer sides
to each other at the closest approach, the room between them is air.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearturn.findings import Finding
from clearturn.gap.model import Gap, State
from clearturn.mesh import Mesh

Vector = NDArray[np.float64]

_ROUND_MM = 3.0  # normals are averaged over this: single scanned triangles tilt with the noise
_ENOUGH = 6  # faces to average; a mesh with fewer there is a coarse one without noise
_TOUCHES_MM = 1e-3
_LEAST_COSINE = 0.3


def settled_by_facing(gap: Gap, first: Mesh, second: Mesh, turns: str | None = None) -> Gap:
    """Return `gap` as apart if its sign is unknown and the surfaces face each other there.

    Parameters
    ----------
    gap : Gap
        Of the two meshes in the hub frame; anything but "sign unknown" is returned as it is.
    first, second : Mesh
        The meshes the gap's triangles are counted in.
    turns : {"first", "second"} or None
        Which of them the gap turned about the z axis.

    Returns
    -------
    Gap
        With the finding "sign-by-facing" in place of "sign-unknown", or `gap` itself.
    """
    lower = gap.gap_mm.lower
    if gap.state is not State.SIGN_UNKNOWN or lower is None or lower <= 0:
        return gap
    turn = _about_z(gap.turn_angle_deg or 0.0)
    still = np.eye(3)
    seen = _facing(
        first, gap.first_triangle, gap.first_point_mm, gap.direction,
        turn if turns == "first" else still,
    )  # fmt: skip
    met = _facing(
        second, gap.second_triangle, gap.second_point_mm, -gap.direction,
        turn if turns == "second" else still,
    )  # fmt: skip
    if min(seen, met) < _LEAST_COSINE:
        return gap
    finding = Finding(
        "sign-by-facing",
        "note",
        f"a scan is open around {first.name} and {second.name}; that they are apart is taken from "
        "their surfaces, which show their outer sides to each other at the closest place",
    )
    kept = tuple(one for one in gap.findings if one.code != "sign-unknown")
    return replace(gap, state=State.APART, findings=(*kept, finding))


def _facing(mesh: Mesh, triangle: int, point_mm: Vector, toward: Vector, turn: Vector) -> float:
    """Return the cosine between `toward` and the outer side of a mesh at a witness point."""
    home, toward = turn.T @ point_mm, turn.T @ toward
    near = np.flatnonzero(_middles_off(mesh, home) <= _ROUND_MM)
    if len(near) >= _ENOUGH:
        mean = _normals(mesh.vertices[mesh.faces[near]]).sum(axis=0)
        return float(mean @ toward / max(float(np.linalg.norm(mean)), 1e-300))
    corners = mesh.corners
    normals = _normals(corners)
    # At an edge or corner of a coarse mesh any of the faces that meet there may be the one seen.
    low, high = corners.min(axis=1) - _TOUCHES_MM, corners.max(axis=1) + _TOUCHES_MM
    touching = ((home >= low) & (home <= high)).all(axis=1)
    unit = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    height = np.abs(np.einsum("ij,ij->i", home - corners[:, 0], unit))
    touching &= height <= _TOUCHES_MM
    touching[triangle] = True
    return float((unit[touching] @ toward).max())


def _middles_off(mesh: Mesh, home: Vector) -> Vector:
    """Return how far every face's middle lies from a point, (m,) mm."""
    square = np.zeros(len(mesh.faces))
    # Column by column: nine times as fast, and a large scan is asked for every pair.
    a, b, c = (np.ascontiguousarray(one) for one in mesh.faces.T)
    for one, at in zip(mesh.vertices.T, home, strict=True):
        column = np.ascontiguousarray(one)
        square += ((column[a] + column[b] + column[c]) / 3.0 - at) ** 2
    return np.asarray(np.sqrt(square))


def _normals(corners: Vector) -> Vector:
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def _about_z(angle_deg: float) -> Vector:
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
