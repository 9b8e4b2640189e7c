"""Holes told by their rims: round edges of flat surface, where the wall was not seen."""

from __future__ import annotations

import math

import numpy as np

from clearturn.datum.grow import surface
from clearturn.propose.view import Array, Index, View, Wall, components, flat_circle

FLAT = 0.97
LEAST_AREA_MM2 = 60.0
LEAST_EDGES = 8


def rims(seen: View, radius_mm: tuple[float, float]) -> list[Wall]:
    """Return the round inner edges of flat surface square to the view's axis.

    A scanner sees little of a deep thread's wall; its rim in the face is seen nearly always.

    Parameters
    ----------
    seen : View
    radius_mm : least and greatest radius
    """
    found = []
    for sense in (1, -1):
        for piece in components(seen, sense * seen.normals[:, 2] > FLAT):
            if float(seen.area[piece].sum()) >= LEAST_AREA_MM2:
                found += _inner_edges(seen, piece, radius_mm)
    return found


def _inner_edges(seen: View, piece: Index, radius_mm: tuple[float, float]) -> list[Wall]:
    mesh, faces = seen.mesh, seen.faces[piece]
    inside = np.zeros(len(mesh.faces), dtype=bool)
    inside[faces] = True
    across = surface(mesh).across[faces]
    open_side = (across < 0) | ~inside[np.maximum(across, 0)]
    row, side = np.nonzero(open_side)
    start = mesh.faces[faces[row], side]
    stop = mesh.faces[faces[row], (side + 1) % 3]
    follow: dict[int, int] = dict(zip(start.tolist(), stop.tolist(), strict=True))
    outer = float(np.ptp(seen.centres[piece, :2], axis=0).max())
    found = []
    while follow:
        first, here = follow.popitem()
        loop = [first]
        while here in follow:
            loop.append(here)
            here = follow.pop(here)
        if here != first or len(loop) < LEAST_EDGES:
            continue
        wall = _round(seen, np.array(loop), piece, radius_mm)
        if wall is not None and 2.2 * wall.radius_mm < outer:
            found.append(wall)
    return found


def _round(seen: View, loop: Index, piece: Index, radius_mm: tuple[float, float]) -> Wall | None:
    points = seen.local(seen.mesh.vertices[loop])
    circle = flat_circle(points[:, :2])
    if circle is None:
        return None
    centre, radius, rms = circle
    if not radius_mm[0] <= radius <= radius_mm[1] or rms > 0.12 * radius:
        return None
    # Round a hole the surface lies outside the edge: none of it within.
    off = np.linalg.norm(seen.centres[piece, :2] - centre, axis=1)
    if (off < 0.7 * radius).any():
        return None
    turn = np.arctan2(points[:, 1] - centre[1], points[:, 0] - centre[0]) / (2 * math.pi) + 0.5
    coverage = len(np.unique(np.minimum((turn * 16).astype(int), 15))) / 16
    if coverage < 0.8:
        return None
    z = float(np.median(points[:, 2]))
    faces = _wall_below(seen, centre, radius, z)
    if len(faces) < LEAST_EDGES:
        # The edge of the flat surface lies outside the hole by half a triangle or a chamfer.
        near = piece[off < 1.6 * radius]
        return Wall(centre, radius, max(rms, 0.1), True, z, z, coverage, near)
    core = flat_circle(seen.corners_of(faces)[:, :2])
    if core is not None and abs(core[1] - radius) < 0.25 * radius:
        centre, radius, rms = core
    ends = seen.z[faces]
    return Wall(centre, radius, rms, True, float(ends.min()), float(ends.max()), coverage, faces)


def _wall_below(seen: View, centre: Array, radius: float, z: float) -> Index:
    """Return the faces of a hole's wall near its rim, where it hangs together with other walls."""
    out = seen.centres[:, :2] - centre
    off = np.hypot(out[:, 0], out[:, 1])
    near = (np.abs(off - radius) < max(0.25 * radius, 1.0)) & (np.abs(seen.z - z) < 2.0 * radius)
    near &= np.abs(seen.normals[:, 2]) < 0.2
    inward = -(out * seen.normals[:, :2]).sum(axis=1) > 0.8 * np.maximum(off, 1e-9)
    return np.flatnonzero(near & inward)
