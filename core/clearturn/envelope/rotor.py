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
    bore, mid = dims.bore_diameter_mm / 2, dims.ring_mid_z_mm
    wall_in, wall_out = dims.hat_inner_diameter_mm / 2, dims.hat_outer_diameter_mm / 2
    ring_in, ring_out = dims.ring_inner_diameter_mm / 2, dims.ring_outer_diameter_mm / 2
    mount, ring = dims.mount_thickness_mm / 2, dims.ring_thickness_mm / 2
    top = dims.flange_thickness_mm
    return without_repeats(
        np.array(
            [
                (bore, 0.0),
                (wall_in, 0.0),
                (wall_in, mid - mount),
                (ring_in, mid - mount),
                (ring_in, mid - ring),
                (ring_out, mid - ring),
                (ring_out, mid + ring),
                (ring_in, mid + ring),
                (ring_in, mid + mount),
                (wall_out, mid + mount),
                (wall_out, top),
                (bore, top),
            ]
        )
    )


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
    profile = rotor_profile(dims)
    triangles = [
        _side_walls(profile, top, clock),
        plate(grid, dims.hat_inner_diameter_mm / 2, 0.0, up=False),
        plate(grid, dims.hat_outer_diameter_mm / 2, top, up=True),
        hole_walls(grid, 0.0, top),
    ]
    return Envelope(
        _welded(np.concatenate(triangles), name),
        max(sagitta(ring, 2 * math.pi / grid.segments), grid.rim_error_mm),
    )


def _side_walls(profile: Floats, top: float, clock: Floats) -> Floats:
    """Turn every side of the profile but the flange's two flat faces; (t, 3, 3)."""
    bore = profile[0, 0]
    around = np.append(clock, clock[0])  # the same numbers again, so that the seam welds
    out = []
    for start, end in zip(profile, np.roll(profile, -1, axis=0), strict=True):
        flat = start[1] == end[1]
        if flat and bore in (start[0], end[0]) and start[1] in (0.0, top):
            continue
        step = _ASPECT * 2 * math.pi * max(start[0], end[0]) / len(clock)
        parts = max(1, math.ceil(float(np.hypot(*(end - start))) / step))
        nodes = start + np.outer(np.arange(parts + 1) / parts, end - start)
        nodes[-1] = end
        p = clock_points(nodes, around).reshape(len(around), parts + 1, 3)
        a, b, c, d = p[:-1, :-1], p[:-1, 1:], p[1:, 1:], p[1:, :-1]
        out += [np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)]
    return np.concatenate([t.reshape(-1, 3, 3) for t in out])


def _welded(triangles: Floats, name: str) -> Mesh:
    # Shared points are computed from the same numbers by the same sums, so equal means equal.
    points, inverse = np.unique(triangles.reshape(-1, 3) + 0.0, axis=0, return_inverse=True)
    return Mesh(points, inverse.reshape(-1, 3), name)
