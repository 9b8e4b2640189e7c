"""Simple tools swept along a straight way, as closed convex bodies.

A convex tool moved straight covers the convex hull of where it begins and where it ends.  Round
tools are circumscribed, so that the body holds the true one; what it is too large by is stated.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull

from clearturn.envelope.sweep import Envelope
from clearturn.mesh import Mesh

Floats = NDArray[np.float64]
_SIDES = 48
_SWING_STEP_DEG = 5.0


def unit(vector: ArrayLike) -> Floats:
    """Return a vector of length one."""
    given = np.asarray(vector, dtype=np.float64)
    return np.asarray(given / np.linalg.norm(given))


def hull(points: Floats, name: str = "") -> Mesh:
    """Return the convex hull of points (n, 3) as a closed outward mesh."""
    found = ConvexHull(points)
    corners = points[found.simplices]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    inward = np.einsum("ij,ij->i", normal, found.equations[:, :3]) < 0
    faces = np.where(inward[:, None], found.simplices[:, ::-1], found.simplices)
    used, index = np.unique(faces, return_inverse=True)
    return Mesh(points[used], index.reshape(-1, 3).astype(np.int32), name)


def rod(
    begin: ArrayLike, along: ArrayLike, length_mm: float, diameter_mm: float, name: str = ""
) -> Envelope:
    """Return a cylinder that holds the true one: a socket drawn back, or a spanner's ring put on.

    Parameters
    ----------
    begin : (3,) array_like
        Middle of its first end.
    along : (3,) array_like
        Direction of its axis, any length.
    """
    axis = unit(along)
    side, up = _across(axis)
    out = diameter_mm / 2.0 / math.cos(math.pi / _SIDES)
    angles = math.tau * np.arange(_SIDES) / _SIDES
    ring = out * (np.cos(angles)[:, None] * side + np.sin(angles)[:, None] * up)
    start = np.asarray(begin, dtype=np.float64)
    points = np.concatenate([start + ring, start + length_mm * axis + ring])
    return Envelope(hull(points, name), out - diameter_mm / 2.0)


def swung_handle(
    at: ArrayLike,
    along: ArrayLike,
    toward: ArrayLike,
    *,
    length_mm: float,
    width_mm: float,
    height_mm: float,
    swing_deg: float,
    name: str = "",
) -> Envelope:
    """Return what a handle covers as it swings about an axis and is moved along it.

    Parameters
    ----------
    at : (3,) array_like
        Middle of the lower side, on the axis.
    along, toward : (3,) array_like
        Axis of the swing, and the middle of the swing as seen across it.
    height_mm : float
        Along the axis, its way included.
    swing_deg : float
        At most 180, half to each side.
    """
    axis = unit(along)
    given = np.asarray(toward, dtype=np.float64)
    ahead = unit(given - axis * float(given @ axis))
    side = np.cross(axis, ahead)
    steps = max(1, math.ceil(swing_deg / _SWING_STEP_DEG))
    half = math.radians(swing_deg) / 2.0
    # Corners between two steps lie on circles; the hull's chords are pushed out to hold them.
    grow = 1.0 / math.cos(half / steps) if swing_deg > 0 else 1.0
    flat = []
    for angle in np.linspace(-half, half, steps + 1):
        reach = np.cos(angle) * ahead + np.sin(angle) * side
        across = -np.sin(angle) * ahead + np.cos(angle) * side
        flat += [
            grow * (r * reach + w * across)
            for r in (0.0, length_mm)
            for w in (-width_mm / 2.0, width_mm / 2.0)
        ]
    base = np.asarray(at, dtype=np.float64) + np.array(flat)
    points = np.concatenate([base, base + height_mm * axis])
    return Envelope(hull(points, name), (grow - 1.0) * math.hypot(length_mm, width_mm / 2.0))


def moved_box(corners: Floats, way: ArrayLike, name: str = "") -> Envelope:
    """Return what a box of eight corners (8, 3) covers on its way (3,)."""
    step = np.asarray(way, dtype=np.float64)
    return Envelope(hull(np.concatenate([corners, corners + step]), name), 0.0)


def box_corners(
    clock_deg: float, r_mm: tuple[float, float], z_mm: tuple[float, float], width_mm: float
) -> tuple[Floats, Floats]:
    """Return the corners (8, 3) of a box about a radius, and the radius' direction (3,)."""
    clock = math.radians(clock_deg)
    radial = np.array([math.sin(clock), math.cos(clock), 0.0])
    across = np.array([math.cos(clock), -math.sin(clock), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    corners = [
        r * radial + z * up + w * across
        for r in r_mm
        for z in z_mm
        for w in (-width_mm / 2.0, width_mm / 2.0)
    ]
    return np.array(corners), radial


def _across(axis: Floats) -> tuple[Floats, Floats]:
    helper = np.zeros(3)
    helper[int(np.argmin(np.abs(axis)))] = 1.0
    side = unit(np.cross(axis, helper))
    return side, np.cross(axis, side)
