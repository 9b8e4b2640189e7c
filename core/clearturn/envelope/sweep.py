"""Closed outward meshes by turning a section about the spin axis.

A section is a polygon in (r, z), counter-clockwise with r to the right and z upwards.  A point
(r, z) at clock position φ lies at (r sin φ, r cos φ, z).  Vertices lie on the true surface; the
chord error is how far the flat triangles stand from it at most, and is always stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from clearturn.mesh import Mesh

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

# Every curved surface of an envelope stays this close to the true one.
CHORD_ERROR_MM = 0.01
_LEAST_SEGMENTS = 24


@dataclass(frozen=True, slots=True)
class Envelope:
    """A part made from dimensions.

    Attributes
    ----------
    mesh : Mesh
        Closed, outward; several bodies may overlap.
    chord_error_mm : float
        Most the flat triangles stand from the true surface; belongs in the uncertainty budget.
    """

    mesh: Mesh
    chord_error_mm: float


def chord_angle(radius_mm: float, chord_error_mm: float) -> float:
    """Return the angle, rad, whose chord stands `chord_error_mm` from a circle: 2 acos(1 − e/r)."""
    if chord_error_mm >= radius_mm:
        return 2.0 * math.pi / _LEAST_SEGMENTS
    # acos(1 − x) written so that it keeps its digits for small x
    return 4.0 * math.asin(math.sqrt(chord_error_mm / (2.0 * radius_mm)))


def sagitta(radius_mm: float, angle: float) -> float:
    """Return how far a chord over `angle`, rad, stands from its circle at most, mm."""
    return 2.0 * radius_mm * math.sin(angle / 4.0) ** 2


def full_circle_segments(radius_mm: float, chord_error_mm: float, multiple: int = 4) -> int:
    """Return the least number of segments, a multiple of `multiple`, that keeps the error."""
    count = max(_LEAST_SEGMENTS, math.ceil(2 * math.pi / chord_angle(radius_mm, chord_error_mm)))
    return math.ceil(count / multiple) * multiple


def arc_segments(radius_mm: float, angle: float, chord_error_mm: float) -> int:
    """Return the least number of equal segments over `angle`, rad, that keeps the error."""
    return max(1, math.ceil(angle / chord_angle(radius_mm, chord_error_mm) - 1e-12))


def without_repeats(section: Floats) -> Floats:
    """Return a closed section without repeated points and points inside a straight side."""
    points = [p for i, p in enumerate(section) if not np.array_equal(p, section[i - 1])]
    kept = []
    for i, here in enumerate(points):
        back, on = here - points[i - 1], points[(i + 1) % len(points)] - here
        if abs(back[0] * on[1] - back[1] * on[0]) > 1e-12 * np.hypot(*back) * np.hypot(*on):
            kept.append(here)
    return np.array(kept)


def subdivided(section: Floats, longest_mm: float) -> Floats:
    """Return a closed section with its sides cut into equal parts of at most `longest_mm`."""
    pieces = []
    for start, end in zip(section, np.roll(section, -1, axis=0), strict=True):
        parts = max(1, math.ceil(float(np.hypot(*(end - start))) / longest_mm - 1e-9))
        pieces.append(start + np.outer(np.arange(parts) / parts, end - start))
    return np.concatenate(pieces)


def clock_points(section: Floats, clock: Floats) -> Floats:
    """Return the section at every clock angle, (len(clock) · len(section), 3)."""
    sin, cos = np.sin(clock)[:, None], np.cos(clock)[:, None]
    r, z = section[:, 0], section[:, 1]
    points = np.stack([r * sin, r * cos, np.broadcast_to(z, (len(clock), len(section)))], axis=-1)
    return points.reshape(-1, 3)


def _strips(nodes: int, stations: int, wrap: bool) -> Indices:
    here = np.arange(stations if wrap else stations - 1)[:, None] * nodes
    there = (here + nodes) % (stations * nodes)
    i = np.arange(nodes)[None, :]
    j = (i + 1) % nodes
    a, b, c, d = here + i, here + j, there + j, there + i
    # (r, z, clock) is a right-handed system, so a counter-clockwise section gives outward faces.
    return np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], axis=2).reshape(-1, 3)


def revolved(section: Floats, segments: int, name: str = "") -> Mesh:
    """Return a section turned full circle.

    Parameters
    ----------
    section : (k, 2) ndarray
        Closed polygon in (r, z), counter-clockwise, r > 0.
    segments : int
        Steps around; the first at clock 0°.
    """
    clock = 2.0 * np.pi * np.arange(segments) / segments
    faces = _strips(len(section), segments, wrap=True)
    return Mesh(clock_points(section, clock), faces, name)


def swept(
    section: Floats,
    arc_deg: tuple[float, float],
    segments: int,
    cap: tuple[Floats, Indices],
    name: str = "",
) -> Mesh:
    """Return a section turned over an arc, closed by flat ends in half planes through the axis.

    Parameters
    ----------
    section : (k, 2) ndarray
        Closed polygon in (r, z), counter-clockwise, r > 0.
    arc_deg : (middle, size)
        Clock position of the arc's middle and the arc's size.
    segments : int
        Steps along the arc.
    cap : (extra, triangles)
        As `section_triangles` returns them.
    """
    half = math.radians(arc_deg[1]) / 2
    clock = math.radians(arc_deg[0] % 360.0) + np.linspace(-half, half, segments + 1)
    extra, triangles = cap
    n, sides = len(section), (segments + 1) * len(section)
    first = np.where(triangles < n, triangles, triangles - n + sides)
    last = np.where(triangles < n, triangles + segments * n, triangles - n + sides + len(extra))
    points = [clock_points(section, clock), clock_points(extra, clock[[0, -1]])]
    faces = [_strips(n, segments + 1, wrap=False), first[:, ::-1], last]
    return Mesh(np.concatenate(points), np.concatenate(faces), name)


def section_triangles(
    section: Floats, fans: list[tuple[Floats, int, int]]
) -> tuple[Floats, Indices]:
    """Triangulate a section over its own points and the centres of its rounded corners.

    Parameters
    ----------
    section : (k, 2) ndarray
        Simple polygon, counter-clockwise.
    fans : list of (centre (2,), first, last)
        Rounded corners: the arc's nodes ``first … last`` are joined to its centre, so that the
        short chords of the arc do not make slivers across the whole section.

    Returns
    -------
    extra : (e, 2) ndarray
        Points to append to the section (the centres used).
    triangles : (t, 3) ndarray of int
        Counter-clockwise; index k and above are the extra points.
    """
    n = len(section)
    keep = np.ones(n, dtype=bool)
    triangles: list[tuple[int, int, int]] = []
    for number, (_, first, last) in enumerate(fans):
        keep[first + 1 : last] = False
        triangles += [(i, i + 1, n + number) for i in range(first, last)]
    points = np.concatenate([section, np.array([c for c, _, _ in fans]).reshape(-1, 2)])
    order: list[int] = []
    for i in range(n):
        if keep[i]:
            order.append(i)
            order += [n + k for k, (_, first, _) in enumerate(fans) if first == i]
    if not shapely.Polygon(points[order]).is_valid:  # the corners are larger than the section
        if fans:
            return section_triangles(section, [])
        raise ValueError("the section crosses itself")
    triangles += _constrained(points, order)
    return points[n:], np.array(triangles, dtype=np.int64)


def _constrained(points: Floats, order: list[int]) -> list[tuple[int, int, int]]:
    index = {(float(points[i, 0]), float(points[i, 1])): i for i in order}
    found = shapely.constrained_delaunay_triangles(shapely.Polygon(points[order]))
    out = []
    for triangle in shapely.get_parts(found):
        a, b, c = (index[(float(x), float(y))] for x, y in shapely.get_coordinates(triangle)[:3])
        u, v = points[b] - points[a], points[c] - points[a]
        out.append((a, b, c) if u[0] * v[1] - u[1] * v[0] > 0 else (a, c, b))
    return out
