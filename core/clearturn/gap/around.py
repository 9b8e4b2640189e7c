"""The gap of a part that stands to one that turns, clock position by clock position."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.errors import InputError
from clearturn.gap.model import Z_AXIS
from clearturn.gap.surface_map import turning_distances
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part

Floats = NDArray[np.float64]
Rows = NDArray[np.int64] | NDArray[np.bool_]
_SLICES = 360
#: How far a told gap may lie above the true one; less than a line is wide.
WITHIN_MM = 0.05
_PIECE = 100_000


@dataclass(frozen=True, slots=True)
class ClockGaps:
    """Least gap in each slice of the clock.

    Attributes
    ----------
    clock_deg : (n,) ndarray
        Middle of each slice, 0 ≤ clock < 360.
    gap_mm : (n,) ndarray
        Least distance there; NaN where the part is not, or not
        within reach.
    """

    clock_deg: Floats
    gap_mm: Floats


def clock_gaps(points: ArrayLike, distance_mm: ArrayLike, slices: int = _SLICES) -> ClockGaps:
    """Return the least of many distances in each slice of the clock.

    Parameters
    ----------
    points : (n, 3) array_like
        Places on the part that does not turn, hub frame.
    distance_mm : (n,) array_like
        Distance of each to the turning part (`surface_distances` with ``turning=True``); infinite
        or NaN entries do not count.
    slices : int
        How many slices the full clock is cut into.

    Raises
    ------
    InputError
        If there is not a distance for each point.
    """
    p = np.asarray(points, dtype=np.float64)
    d = np.asarray(distance_mm, dtype=np.float64)
    if p.ndim != 2 or p.shape[1] != 3 or d.shape != (len(p),):
        raise InputError(
            "the clock's gaps need a distance for each point", found=f"{p.shape} and {d.shape}"
        )
    least = np.full(slices, np.inf)
    _take(least, p, d)
    return _told(least)


def gaps_around(
    standing: Mesh,
    turning: Mesh,
    *,
    limit_mm: float,
    slices: int = _SLICES,
    progress: Progress | None = None,
) -> ClockGaps:
    """Return the least gap of a standing to a turning part in each slice of the clock.

    Faces and edges count as much as corners do: a coarse part is told as truly as a fine one, to
    within `WITHIN_MM` above the true gap and no more than 1 µm below it.

    Parameters
    ----------
    standing, turning : Mesh
        In the hub frame; `turning` turns about its z axis.
    limit_mm : float
        Gaps beyond it are not looked for.
    slices : int
        How many slices the full clock is cut into.
    progress : Progress, optional

    Raises
    ------
    InputError
        If `turning` has no triangles.
    Cancelled
        If `progress` was cancelled.

    Notes
    -----
    Over a full turn the distance d of a point x is that to a set of points, so d² − |x|² is the
    least of many functions linear in x, and concave.  With weights λ on a triangle's corners
    v: d²(x) ≥ Σ λ d²(v) − Σ λ |v − x|² ≥ min d²(v) − R², R the radius of the least circle that
    holds the triangle.  Triangles that may lie lower than the least known of their slices are
    halved; the others are done with.
    """
    if len(turning.faces) == 0:
        raise InputError(f"the mesh {turning.name!r} has no triangles")
    points, limit = np.ascontiguousarray(standing.vertices, dtype=np.float64), float(limit_mm)
    least = np.full(slices, np.inf)

    def distances(places: Floats, told: Progress | None) -> Floats:
        found = turning_distances(places, turning, Z_AXIS, limit, told, many=True)
        _take(least, places, found.distance_mm)
        return np.minimum(found.distance_mm, limit)

    known = distances(points, part(progress, 0.0, 0.9))
    open_ = _Triangles.none()
    for rows in np.array_split(standing.faces, max(1, len(standing.faces) // _PIECE)):
        fresh = _Triangles(points[rows], known[rows])
        open_ = open_.and_(fresh.only(fresh.may_be_lower(np.minimum(least, limit))))
    while len(open_.distance_mm):
        if progress is not None:
            progress.check()
        # Those that promise most come first: what they find settles many of the others.
        order = np.argsort(open_.lowest_mm(), kind="stable")
        halves = open_.only(order[:_PIECE]).halved(lambda places: distances(places, None))
        open_ = halves.and_(open_.only(order[_PIECE:]))
        open_ = open_.only(open_.may_be_lower(np.minimum(least, limit)))
    return _told(least)


@dataclass(frozen=True, slots=True)
class _Triangles:
    """Triangles, (n, 3, 3), and the distance at each corner, (n, 3)."""

    corners: Floats
    distance_mm: Floats

    @classmethod
    def none(cls) -> _Triangles:
        return cls(np.empty((0, 3, 3)), np.empty((0, 3)))

    def only(self, rows: Rows) -> _Triangles:
        return _Triangles(self.corners[rows], self.distance_mm[rows])

    def and_(self, others: _Triangles) -> _Triangles:
        return _Triangles(
            np.concatenate([self.corners, others.corners]),
            np.concatenate([self.distance_mm, others.distance_mm]),
        )

    def _sides_squared(self) -> Floats:
        """Return the squared lengths (n, 3), side k from corner k to the next."""
        sides = np.roll(self.corners, -1, axis=1) - self.corners
        return np.asarray(np.einsum("nks,nks->nk", sides, sides))

    def lowest_mm(self) -> Floats:
        """Return what no point of each is nearer than, (n,)."""
        a, b, c = np.sort(self._sides_squared(), axis=1).T
        # 16 area² by Heron; the circle round an acute triangle, else that on its longest side.
        area = 4.0 * b * c - (b + c - a) ** 2
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = np.where(a + b > c, np.minimum(a * b * c / area, c / 3.0), c / 4.0)
        least = self.distance_mm.min(axis=1) ** 2 - (1.0 + 1e-9) * reach
        return np.asarray(np.sqrt(np.maximum(least, 0.0)))

    def may_be_lower(self, least: Floats) -> NDArray[np.bool_]:
        """Return which may lie lower than `least` (slices,) in a slice that they reach, (n,)."""
        lowest = self.lowest_mm() + WITHIN_MM
        count = len(least)
        clock = np.arctan2(self.corners[:, :, 0], self.corners[:, :, 1])
        # Seen from its first corner, so that a triangle over 180° is no wider than it is.
        away = (clock - clock[:, :1] + np.pi) % (2 * np.pi) - np.pi
        slot = np.floor((clock[:, :1] + away) / (2 * np.pi) * count).astype(np.int64)
        first, last = slot.min(axis=1), slot.max(axis=1)
        # One that goes round the axis, or may, reaches every slice.
        last = np.where(last - first >= count // 2 - 1, first + count - 1, last)
        out = np.zeros(len(lowest), np.bool_)
        for k in range(int((last - first).max(initial=-1)) + 1):
            reached = np.flatnonzero(~out & (first + k <= last))
            out[reached] = lowest[reached] < least[(first[reached] + k) % count]
        return out

    def halved(self, distances: Callable[[Floats], Floats]) -> _Triangles:
        """Return both halves of each, cut across its longest side."""
        side = self._sides_squared().argmax(axis=1)
        turn = (side[:, None] + np.arange(3)) % 3
        corners = np.take_along_axis(self.corners, turn[:, :, None], axis=1)
        known = np.take_along_axis(self.distance_mm, turn, axis=1)
        middle = 0.5 * (corners[:, 0] + corners[:, 1])
        found = distances(middle)
        one, two = corners.copy(), corners.copy()
        known_one, known_two = known.copy(), known.copy()
        one[:, 1], known_one[:, 1] = middle, found
        two[:, 0], known_two[:, 0] = middle, found
        return _Triangles(one, known_one).and_(_Triangles(two, known_two))


def _take(least: Floats, points: Floats, distance_mm: Floats) -> None:
    """Lower the least of each slice to what lies in it."""
    known = np.isfinite(distance_mm)
    clock = np.arctan2(points[known, 0], points[known, 1]) / (2.0 * np.pi) % 1.0
    slot = np.minimum((clock * len(least)).astype(np.int64), len(least) - 1)
    np.minimum.at(least, slot, distance_mm[known])


def _told(least: Floats) -> ClockGaps:
    middle = (np.arange(len(least)) + 0.5) * 360.0 / len(least)
    return ClockGaps(middle, np.where(np.isfinite(least), least, np.nan))
