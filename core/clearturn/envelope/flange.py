"""A flat ring with a circle of holes, meshed in a polar grid with a fitted net about each hole.

Each hole gets a window of the polar grid.  Rays from the hole's centre to the window's nodes cut
the hole's rim, so rim and window have the same number of nodes and nothing crosses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from clearturn.envelope.sweep import CHORD_ERROR_MM, Floats, chord_angle, sagitta

# Longest side of a cell over its shortest, about.
_ASPECT = 8.0


@dataclass(frozen=True, slots=True)
class HolePattern:
    """Equal holes on a circle, the first at clock 0°, in a ring from `inner_mm` to `outer_mm`."""

    circle_radius_mm: float
    hole_radius_mm: float
    count: int
    inner_mm: float
    outer_mm: float


@dataclass(frozen=True, slots=True)
class PlateGrid:
    """A polar grid with a window for each hole.

    Attributes
    ----------
    segments : int
        Steps around.
    reach : int
        Steps of the window to each side of the hole.
    radii : (w,) ndarray
        Radial lines of the window, from its inner to its outer side.
    rim : (k, 2) ndarray
        Rim of the hole at clock 0°, x and y, in the order of `border`.
    border : (k, 2) ndarray
        Window's nodes about that hole.
    rim_error_mm : float
        Chord error of the rim.
    """

    pattern: HolePattern
    segments: int
    reach: int
    radii: Floats
    rim: Floats
    border: Floats
    rim_error_mm: float


def plate_grid(pattern: HolePattern, segments: int) -> PlateGrid:
    """Return the grid with at least `segments` steps that keeps the rim's chord error.

    `segments` is a multiple of twice the number of holes, and so is the result.
    """
    while True:
        grid = _grid(pattern, segments)
        if grid is not None and grid.rim_error_mm <= CHORD_ERROR_MM:
            return grid
        unit = 2 * pattern.count
        segments = unit * math.ceil(segments * 1.1 / unit)


def _grid(pattern: HolePattern, segments: int) -> PlateGrid | None:
    middle, hole = pattern.circle_radius_mm, pattern.hole_radius_mm
    step = 2 * math.pi / segments
    # A border node at distance h with spacing s gives a rim angle of about s / h, so a fine rim
    # needs a window of this size; it takes it, and at least 1.7 hole radii, where there is room.
    wanted = max(1.7 * hole, 1.15 * middle * step / chord_angle(hole, CHORD_ERROR_MM))
    room = min(middle - pattern.inner_mm, pattern.outer_mm - middle)
    half = wanted if wanted < room - 0.5 * hole else room
    # The window's sides lie on the ring's edges exactly where it fills the room.
    inner = pattern.inner_mm if half >= middle - pattern.inner_mm else middle - half
    outer = pattern.outer_mm if half >= pattern.outer_mm - middle else middle + half
    # Beyond the tangent from the hole's centre the inner side would hide behind itself.
    hidden = math.acos(inner / middle)
    needed = math.asin(hole / middle)
    angle = half / middle
    if not 1.1 * needed < angle < 0.9 * hidden:
        angle = 0.5 * (needed + hidden)
    reach = min(max(1, round(angle / step)), segments // (2 * pattern.count))
    if reach * step >= hidden or middle * math.sin(reach * step) <= hole:
        return None
    lines = max(2, math.ceil((outer - inner) / (middle * step)))
    radii = np.linspace(inner, outer, lines + 1)
    radii[0], radii[-1] = inner, outer
    border = _border(radii, reach, step)
    from_hole = border - [0.0, middle]
    unit = from_hole / np.linalg.norm(from_hole, axis=1)[:, None]
    turn = np.arctan2(unit[:, 1], unit[:, 0])
    jumps = np.mod(np.roll(turn, -1) - turn, 2 * math.pi)
    if jumps.max() > math.pi / 2:  # not star-shaped about the hole at this step
        return None
    rim = np.array([0.0, middle]) + hole * unit
    error = sagitta(hole, float(jumps.max()))
    return PlateGrid(pattern, segments, reach, radii, rim, border, error)


def _border(radii: Floats, reach: int, step: float) -> Floats:
    """Window's nodes about the hole at clock 0°, counter-clockwise seen from +z, (k, 2)."""
    k = np.arange(-reach, reach + 1)
    pieces = [
        _polar(radii[0], k[:-1], step),  # inner side, clock grows (x grows)
        _polar(radii[:-1], reach, step),  # side at +reach, outwards
        _polar(radii[-1], k[:0:-1], step),  # outer side, back
        _polar(radii[:0:-1], -reach, step),  # side at −reach, inwards
    ]
    return np.concatenate(pieces)


def _polar(r: ArrayLike, k: ArrayLike, step: float) -> Floats:
    r, k = np.broadcast_arrays(np.asarray(r, float), np.asarray(k))
    return np.stack([r * np.sin(k * step), r * np.cos(k * step)], axis=-1)


def plate(grid: PlateGrid, outer_mm: float, z_mm: float, *, up: bool) -> Floats:
    """Return the flat ring from the pattern's inner radius to `outer_mm` with its holes.

    Parameters
    ----------
    outer_mm : float
        At least the window's outer radius.
    z_mm : float
        Height of the face.
    up : bool
        Whether it faces +z.

    Returns
    -------
    triangles : (t, 3, 3) ndarray
    """
    flat = np.concatenate([_ring_cells(grid, outer_mm), _hole_nets(grid)])
    u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    turn = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    wrong = (turn > 0) != up
    flat[wrong] = flat[wrong][:, ::-1]
    return np.concatenate([flat, np.full((*flat.shape[:2], 1), z_mm)], axis=2)


def _ring_cells(grid: PlateGrid, outer_mm: float) -> Floats:
    """Polar cells outside the windows, (t, 3, 2)."""
    n = grid.segments
    step = 2 * math.pi / n
    cell = _ASPECT * grid.pattern.circle_radius_mm * step
    inside = _spaced(grid.pattern.inner_mm, float(grid.radii[0]), cell)
    outside = _spaced(float(grid.radii[-1]), outer_mm, cell)
    radii = np.concatenate([inside[:-1], grid.radii, outside[1:]])
    clock = 2 * np.pi * np.arange(n) / n
    ring = np.stack(
        [np.outer(radii, np.sin(clock)), np.outer(radii, np.cos(clock))], axis=-1
    )  # (rows, n, 2)
    on = np.roll(ring, -1, axis=1)
    a, b, c, d = ring[:-1], ring[1:], on[1:], on[:-1]
    cells = np.stack([np.stack([a, b, c], 2), np.stack([a, c, d], 2)], axis=2)
    start = len(inside) - 1
    taken = np.zeros((len(radii) - 1, n), dtype=bool)
    around = np.arange(-grid.reach, grid.reach)
    for hole in range(grid.pattern.count):
        columns = (around + hole * n // grid.pattern.count) % n
        taken[start : start + len(grid.radii) - 1, columns] = True
    return cells[~taken].reshape(-1, 3, 2)


def _spaced(low: float, high: float, step: float) -> Floats:
    if high <= low:
        return np.array([low])
    parts = max(1, math.ceil((high - low) / step))
    out = np.linspace(low, high, parts + 1)
    out[0], out[-1] = low, high
    return out


def _hole_loops(grid: PlateGrid) -> list[tuple[Floats, Floats]]:
    """Rim and window of every hole; the window by the same sums as the polar cells use."""
    n, count = grid.segments, grid.pattern.count
    clock = 2 * np.pi * np.arange(n) / n
    sin, cos = np.sin(clock), np.cos(clock)
    k = np.arange(-grid.reach, grid.reach + 1)
    r = grid.radii
    out = []
    for hole in range(count):
        shift = hole * n // count
        columns = np.concatenate(
            [k[:-1], np.full(len(r) - 1, k[-1]), k[:0:-1], np.full(len(r) - 1, k[0])]
        )
        rows = np.concatenate(
            [np.full(len(k) - 1, r[0]), r[:-1], np.full(len(k) - 1, r[-1]), r[:0:-1]]
        )
        i = (columns + shift) % n
        border = np.stack([rows * sin[i], rows * cos[i]], axis=-1)
        s, c = sin[shift], cos[shift]
        x, y = grid.rim[:, 0], grid.rim[:, 1]
        out.append((np.stack([x * c + y * s, y * c - x * s], axis=-1), border))
    return out


def _hole_nets(grid: PlateGrid) -> Floats:
    """Net between each hole's rim and its window, (t, 3, 2)."""
    hole = grid.pattern.hole_radius_mm
    spacing = 2 * math.pi * hole / len(grid.rim)
    width = float(np.median(np.linalg.norm(grid.border - grid.rim, axis=1)))
    layers = max(1, min(8, round(width / (2 * spacing))))
    out = []
    for rim, border in _hole_loops(grid):
        t = (np.arange(layers + 1) / layers)[:, None, None]
        net = rim + t * (border - rim)
        net[0], net[-1] = rim, border
        on = np.roll(net, -1, axis=1)
        a, b, c, d = net[:-1], net[1:], on[1:], on[:-1]
        out.append(np.stack([np.stack([a, b, c], 2), np.stack([a, c, d], 2)], 2).reshape(-1, 3, 2))
    return np.concatenate(out)


def hole_walls(grid: PlateGrid, z_from_mm: float, z_to_mm: float) -> Floats:
    """Return the cylinder of every hole, facing its axis, (t, 3, 3)."""
    spacing = 2 * math.pi * grid.pattern.hole_radius_mm / len(grid.rim)
    levels = _spaced(z_from_mm, z_to_mm, _ASPECT * spacing)
    out = []
    for rim, _ in _hole_loops(grid):
        p = np.stack(
            [np.concatenate([rim, np.full((len(rim), 1), z)], axis=1) for z in levels]
        )  # (levels, k, 3)
        on = np.roll(p, -1, axis=1)
        # The rim runs counter-clockwise seen from +z; faces look inwards.
        a, b, c, d = p[:-1], p[1:], on[1:], on[:-1]
        out.append(np.stack([np.stack([a, b, c], 2), np.stack([a, c, d], 2)], 2).reshape(-1, 3, 3))
    return np.concatenate(out)
