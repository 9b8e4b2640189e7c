"""The rotor: a body of revolution with holes through its flange."""

from __future__ import annotations

import math

import numpy as np

from clearturn.envelope.dimensions import RotorDimensions
from clearturn.envelope.flange import HolePattern, hole_walls, plate, plate_grid
from clearturn.envelope.sweep import (
    CHORD_ERROR_MM,
    Envelope,
    Floats,
    clock_points,
    full_circle_segments,
    sagitta,
    without_repeats,
)
from clearturn.mesh import Mesh

# Longest side of a cell over its shortest, about.
_ASPECT = 9.0


def rotor_profile(dims: RotorDimensions) -> Floats:
    """Return the rotor's section as a closed polygon, (k, 2): r and z in the hub frame.

    Counter-clockwise with r to the right and z upwards; the bolt holes are not in it.

    Raises
    ------
    InputError
        If the dimensions make no rotor.
    """
    dims.check()
    return without_repeats(_corners(dims))


def _corners(dims: RotorDimensions) -> Floats:
    """Corners of the section from the flange's inboard face round to its outboard face, (12, 2)."""
    bore, mid = dims.bore_diameter_mm / 2, dims.ring_mid_z_mm
    wall_in, wall_out = dims.hat_inner_diameter_mm / 2, dims.hat_outer_diameter_mm / 2
    ring_in, ring_out = dims.ring_inner_diameter_mm / 2, dims.ring_outer_diameter_mm / 2
    mount, ring = dims.mount_thickness_mm / 2, dims.ring_thickness_mm / 2
    top = dims.flange_thickness_mm
    inboard = [(bore, 0.0), (wall_in, 0.0), (wall_in, mid - mount), (ring_in, mid - mount)]
    rim = [(ring_in, mid - ring), (ring_out, mid - ring), (ring_out, mid + ring)]
    outboard = [(ring_in, mid + ring), (ring_in, mid + mount), (wall_out, mid + mount)]
    return np.array([*inboard, *rim, *outboard, (wall_out, top), (bore, top)])


def rotor_mesh(dims: RotorDimensions, *, place: str = "", name: str = "rotor") -> Envelope:
    """Return the rotor as one closed outward mesh in the hub frame.

    Parameters
    ----------
    dims : RotorDimensions
    place : str
        Where the dimensions stand in the job, for messages.

    Raises
    ------
    InputError
        If the dimensions make no rotor.
    """
    dims.check(place)
    ring = dims.ring_outer_diameter_mm / 2
    pattern = HolePattern(
        circle_radius_mm=dims.bolt_circle_diameter_mm / 2,
        hole_radius_mm=dims.bolt_hole_diameter_mm / 2,
        count=dims.bolt_count,
        inner_mm=dims.bore_diameter_mm / 2,
        outer_mm=dims.hat_inner_diameter_mm / 2,
    )
    least = full_circle_segments(ring, CHORD_ERROR_MM, 2 * dims.bolt_count)
    grid = plate_grid(pattern, least)
    clock = 2 * np.pi * np.arange(grid.segments) / grid.segments
    top = dims.flange_thickness_mm
    triangles = [
        _side_walls(_corners(dims), clock),
        plate(grid, dims.hat_inner_diameter_mm / 2, 0.0, up=False),
        plate(grid, dims.hat_outer_diameter_mm / 2, top, up=True),
        hole_walls(grid, 0.0, top),
    ]
    return Envelope(
        _welded(np.concatenate(triangles), name),
        max(sagitta(ring, 2 * math.pi / grid.segments), grid.rim_error_mm),
    )


def _side_walls(corners: Floats, clock: Floats) -> Floats:
    """Turn every side of the section but the flange's two flat faces; (t, 3, 3)."""
    around = np.append(clock, clock[0])  # the same numbers again, so that the seam welds
    sides = [(corners[i], corners[i + 1]) for i in range(1, len(corners) - 2)]
    sides.append((corners[-1], corners[0]))
    out = []
    for start, end in sides:
        length = float(np.hypot(*(end - start)))
        if length == 0.0:  # ring, mount and wall may end flush with each other
            continue
        step = _ASPECT * 2 * math.pi * max(start[0], end[0]) / len(clock)
        parts = max(1, math.ceil(length / step))
        nodes = start + np.outer(np.arange(parts + 1) / parts, end - start)
        nodes[-1] = end
        p = clock_points(nodes, around).reshape(len(around), parts + 1, 3)
        a, b, c, d = p[:-1, :-1], p[:-1, 1:], p[1:, 1:], p[1:, :-1]
        out += [np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)]
    return np.concatenate([t.reshape(-1, 3, 3) for t in out])


def _welded(triangles: Floats, name: str) -> Mesh:
    # Shared points are computed from the same numbers by the same sums, so equal means equal.
    points = triangles.reshape(-1, 3) + 0.0  # no −0.0
    order = np.lexsort((points[:, 0], points[:, 1], points[:, 2]))
    ordered = points[order]
    first = np.ones(len(points), dtype=bool)
    first[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    number = np.empty(len(points), dtype=np.int64)
    number[order] = np.cumsum(first) - 1
    return Mesh(ordered[first], number.reshape(-1, 3), name)
