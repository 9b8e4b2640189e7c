"""Minimum-zone form of plane and circle, and the contacting feature of a datum.

The zone is the least distance between two parallel planes, or two circles about one centre, that
hold all points between them (ISO 1101).  It is found as a row of linear programs, each about the
answer before, over only the points that can touch the zone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.datum.fit import Options, fit_feature
from clearturn.datum.model import CircleFit, Fit, PlaneFit, checked_points
from clearturn.datum.shape import Kind, frame_along
from clearturn.errors import FitProblem, GeometryProblem

Array = NDArray[np.float64]
Index = NDArray[np.int64]

ROUNDS = 40
START = 24  # points the first program holds on each side
ADD = 24  # points added on each side when others stick out
TOLERANCE = 1e-12  # of the points' spread: how far a point may stick out of the zone


@dataclass(frozen=True, slots=True)
class PlaneZone:
    """Two parallel planes with all points between them.

    Attributes
    ----------
    form_mm : float
        Their distance: the flatness.
    direction : (3,) ndarray
        Their common unit normal.
    low_mm, high_mm : float
        Their heights along the normal, from the coordinates' origin.
    """

    form_mm: float
    direction: Array
    low_mm: float
    high_mm: float


@dataclass(frozen=True, slots=True)
class CircleZone:
    """Two circles about one centre with all points between them.

    Attributes
    ----------
    form_mm : float
        Difference of their radii: the roundness.
    centre_mm : (3,) ndarray
    direction : (3,) ndarray
        Normal of the plane the points were seen along.
    low_mm, high_mm : float
        The two radii.
    """

    form_mm: float
    centre_mm: Array
    direction: Array
    low_mm: float
    high_mm: float


def minimum_zone_plane(points: ArrayLike) -> PlaneZone:
    """Return the minimum zone of a nominally flat face.

    Parameters
    ----------
    points : (n, 3) array_like
        mm; at least 3, not on one line.  Every point counts: remove outliers before.

    Raises
    ------
    FitProblem
        If the points do not determine a plane.
    """
    given = checked_points(points, 3, "plane")
    start = fit_feature(PlaneFit, Kind.PLANE, given, Options(correlation=False))
    centre = start.point_mm
    spread = math.sqrt(float(((given - centre) ** 2).sum(axis=1).mean()))
    local = (given - centre) / spread
    axes = start.axes
    best = (math.inf, axes)
    for _ in range(ROUNDS):
        a, b, t = (local @ axes.T).T
        answer = _chebyshev(np.column_stack([a, b]), t)
        heights = local @ axes[2]
        width = float(np.ptp(heights))
        if width < best[0]:
            best = (width, axes)
        tilt = answer[:2]
        if float(np.abs(tilt).max()) < 1e-13:
            break
        axes = frame_along(axes[2] - tilt[0] * axes[0] - tilt[1] * axes[1], axes[0])
    axes = best[1]
    heights = given @ axes[2]
    low, high = float(heights.min()), float(heights.max())
    return PlaneZone(best[0] * spread, axes[2], low, high)


def minimum_zone_circle(points: ArrayLike, direction: ArrayLike | None = None) -> CircleZone:
    """Return the minimum zone of a nominally round section.

    Parameters
    ----------
    points : (n, 3) array_like
        mm; at least 3, not on one line.  Every point counts: remove outliers before.
    direction : (3,) array_like, optional
        Axis along which the section is seen; the fitted circle's normal by default.

    Raises
    ------
    FitProblem
        If the points do not determine a circle.
    """
    given = checked_points(points, 3, "circle")
    start = fit_feature(CircleFit, Kind.CIRCLE, given, Options(correlation=False))
    axis = start.axes[2] if direction is None else np.asarray(direction, dtype=np.float64)
    if not float(np.linalg.norm(axis)) > 0.0:
        raise FitProblem("the direction of the section has no length")
    axes = frame_along(axis)
    spread = start.shape.radius
    flat = (given - start.point_mm) @ axes[:2].T / spread
    centre = np.zeros(2)
    best = (math.inf, centre)
    reach = 0.2
    for _ in range(ROUNDS):
        out = flat - centre
        r = np.linalg.norm(out, axis=1)
        width = float(np.ptp(r))
        if width < best[0]:
            best = (width, centre)
        elif width > best[0]:
            # The program is exact only near its start: a step that made the zone wider is cut.
            reach /= 4.0
            centre = best[1]
            out = flat - centre
            r = np.linalg.norm(out, axis=1)
        step = _chebyshev(out / np.maximum(r, 1e-300)[:, None], r, reach)[:2]
        if float(np.abs(step).max()) < 1e-14 or reach < 1e-12:
            break
        centre = centre + step
    r = np.linalg.norm(flat - best[1], axis=1) * spread
    place = start.point_mm + spread * (best[1] @ axes[:2])
    return CircleZone(float(np.ptp(r)), place, axes[2], float(r.min()), float(r.max()))


def _chebyshev(slopes: Array, values: Array, reach: float = math.inf) -> Array:
    """Return (x, y, c, h) with the least h such that |v - s·(x, y) - c| ≤ h for all points.

    Only points that can touch are in the program; others are added while they stick out.
    """
    n = len(values)
    middle = float(np.median(values))
    values = values - middle  # else digits are lost on what all values share
    unit = float(np.ptp(values))
    if unit < 1e-14:
        return np.array([0.0, 0.0, middle, 0.5 * unit])
    # Loaded when a zone is fitted: it is half a second of every start otherwise.
    from scipy.optimize import linprog

    order = np.argsort(values)
    chosen = np.unique(np.concatenate([order[:START], order[-START:], _spread_out(slopes, values)]))
    answer = np.zeros(4)
    for _ in range(200):
        s, v = slopes[chosen], values[chosen]
        ones = np.ones((len(v), 1))
        matrix = np.vstack([np.hstack([s, ones, -ones]), np.hstack([-s, -ones, -ones])])
        # Scaled, so that the program's own tolerance is far below the zone's width.
        result = linprog(
            [0.0, 0.0, 0.0, 1.0],
            A_ub=matrix,
            b_ub=np.concatenate([v, -v]) / unit,
            bounds=[(-reach / unit, reach / unit)] * 2 + [(None, None), (0, None)],
            method="highs",
        )
        if result.x is None:
            raise GeometryProblem("the minimum zone could not be found")
        answer = result.x * unit
        residual = values - slopes @ answer[:2] - answer[2]
        out = np.abs(residual) - answer[3]
        if float(out.max()) <= max(TOLERANCE, 1e-7 * answer[3]):
            break
        worst = np.argsort(out)[-2 * ADD :]
        more = np.union1d(chosen, worst[out[worst] > 0.0])
        if len(more) == len(chosen) or n == len(chosen):
            break
        chosen = more
    answer[2] += middle
    return answer


def _spread_out(slopes: Array, values: Array) -> Index:
    """Return the highest and lowest point of every sector of azimuth."""
    sector = np.floor((np.arctan2(slopes[:, 1], slopes[:, 0]) / (2 * math.pi) + 0.5) * START)
    order = np.lexsort((values, sector))
    edges = np.flatnonzero(np.diff(sector[order]))
    first = np.concatenate([[0], edges + 1])
    last = np.concatenate([edges, [len(values) - 1]])
    picked: Index = np.concatenate([order[first], order[last]])
    return picked


@dataclass(frozen=True, slots=True)
class Contact:
    """Where a flat gauge or mating part would touch, against the least-squares feature.

    Attributes
    ----------
    offset_mm : float
        From the least-squares feature to its highest point on the material's free side (plane:
        along `side`; spigot: outward; bore: inward).
    smoothed_mm : float
        The same after averaging each point with its nearest neighbours, which takes out most of
        the scanner's noise but no real high spot wider than they are.
    neighbours : int
    """

    offset_mm: float
    smoothed_mm: float
    neighbours: int


def contact_offset(
    fit: Fit, points: ArrayLike, *, side: ArrayLike | None = None, bore: bool = False
) -> Contact:
    """Return how far the high points stand above a least-squares datum.

    A datum feature touches with its high points (ISO 5459); a fit lies in the middle of the noise
    and of the form.

    Parameters
    ----------
    fit : Fit
        A plane, circle, cylinder, cone or sphere.
    points : (n, 3) array_like
        The points it was fitted to; outliers removed by the caller.
    side : (3,) array_like, optional
        For a plane: any vector pointing out of the material.
    bore : bool
        For round features: whether the material is outside.

    Raises
    ------
    FitProblem
        For a line, or a plane without `side`.
    """
    if fit.shape.kind in (Kind.LINE, Kind.CIRCLE):
        raise FitProblem(f"a {fit.feature} has no material side")
    given = checked_points(points, 1, fit.feature)
    sign = -1.0 if bore else 1.0
    if fit.shape.kind is Kind.PLANE:
        if side is None:
            raise FitProblem("a plane's contact needs the side that is free of material")
        sign = 1.0 if float(np.asarray(side, float) @ fit.axes[2]) > 0.0 else -1.0
    heights = sign * fit.residuals(given)
    count = _neighbours(fit, len(given))
    smooth = heights
    if count > 1:
        from scipy.spatial import cKDTree

        chosen = np.argsort(heights)[-min(len(given), 20_000) :]
        _, near = cKDTree(given).query(given[chosen], k=count)
        smooth = heights[near].mean(axis=1)
    return Contact(float(heights.max()), float(smooth.max()), count)


def _neighbours(fit: Fit, count: int) -> int:
    # About one patch of the residuals' correlation, at least nine points.
    each = count / max(fit.effective_points, 1.0)
    return int(min(max(9.0, each), count, 400))
