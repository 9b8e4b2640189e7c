"""The way all fits go: check, centre and scale, start, iterate, judge."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from clearturn.datum.correlation import LEAST_POINTS, MOST_POINTS, Correlation, correlate
from clearturn.datum.model import Fit, checked_points
from clearturn.datum.shape import (
    Array,
    Kind,
    Shape,
    Sums,
    coverage,
    frame_along,
    jacobian,
    sums,
)
from clearturn.datum.solve import SVD_POINTS, TUKEY, polish, principal, refine, refine_robust, start
from clearturn.errors import FitProblem
from clearturn.findings import Finding

F = TypeVar("F", bound=Fit)

# Below these arcs a fitted radius says more about the noise than about the part (own choice).
REFUSED_ARC_DEG = 8.0
DOUBTED_ARC_DEG = 60.0
FEW = 8  # fewer points than this are a sum on typed-in numbers: told of, not refused
FEW_EFFECTIVE = 12.0  # below it the correlation cannot be told from the form
EXACT = 1e-13  # rms, in units of the points' spread, that is rounding and no noise
SMALL = 2000  # points up to which the last steps are taken by an orthogonal factorisation
FLAT = 1e-9  # spread across relative to spread along below which points count as on one line


@dataclass(frozen=True, slots=True)
class Options:
    """What the callers of `fit_feature` may choose.

    Attributes
    ----------
    robust : bool
        Consensus start and Tukey weights instead of plain least squares.
    axis_hint : (3,) array or None
        A direction to try first for the axis of a cylinder or cone.
    least_arc_deg : float
        Arcs below it are refused (circle, cylinder, cone).
    correlation : bool
        Whether to judge the residuals' correlation, else they count as independent.
    """

    robust: bool = False
    axis_hint: Array | None = None
    least_arc_deg: float = REFUSED_ARC_DEG
    correlation: bool = True


def fit_feature(result: type[F], kind: Kind, points: ArrayLike, options: Options) -> F:
    """Fit one feature and judge it.

    Raises
    ------
    FitProblem
        If the points do not determine the feature.
    """
    name = result.FEATURE
    given = checked_points(points, least_points(kind), name)
    # By products: sums along the short rows of many points take ten times as long.
    centre = np.ones(len(given)) @ given / len(given)
    local = given - centre
    spread = math.sqrt(float(np.einsum("ij,ij->", local, local)) / len(given))
    _refuse_equal(name, given, centre, spread)
    local /= spread
    _refuse_degenerate(kind, local)
    hints = [] if options.axis_hint is None else [np.asarray(options.axis_hint, float)]
    shape = start(kind, local, options.robust, hints).nearest(np.zeros(3))
    used = local
    scale: float | None = None
    if options.robust:
        shape, weighted, scale, distances = refine_robust(local, shape)
        used = local.take(np.flatnonzero(np.abs(distances) < TUKEY * scale), axis=0)
        if len(used) < least_points(kind):
            raise FitProblem(
                f"too few points agree on a {name}",
                found=f"{len(used)} of {len(local)}",
                mend="choose a patch that lies on one surface",
            )
        variance = _robust_variance(kind, weighted)
    else:
        shape, now = refine(local, shape)
        if len(local) <= SMALL:
            shape = polish(local, shape)
            now = sums(local, shape)
        variance = _variance(kind, now)
    shape = _with_sense(shape)
    now = sums(used, shape)  # in the final local frame
    unit = _inverse(now, name)
    arc, length = _covered(kind, used, shape)
    _refuse_short_arc(kind, arc, len(given), options)
    units = np.where(_angles(kind), 1.0 / spread, 1.0)
    unit_covariance = _frozen(unit * np.outer(units, units))
    tied = _correlation(used, shape, now) if options.correlation else None
    if tied is not None:
        unit = tied.factor
    covariance = _frozen(unit * np.outer(units, units) * (variance * spread**2))
    rms = math.sqrt(now.sum_square / now.used) * spread
    final = shape.scaled(spread, centre)
    final.origin.flags.writeable = False
    final.axes.flags.writeable = False
    fitted = result(
        shape=final,
        points=len(given),
        used=now.used,
        scale_mm=None if scale is None else scale * spread,
        rms_mm=rms,
        form_mm=(now.greatest - now.least) * spread,
        min_residual_mm=now.least * spread,
        max_residual_mm=now.greatest * spread,
        arc_deg=arc,
        length_mm=None if length is None else length * spread,
        effective_points=float(now.used) if tied is None else tied.effective_points,
        correlation_mm=None if tied is None else tied.length * spread,
        covariance=covariance,
        unit_covariance=unit_covariance,
        findings=(),
    )
    return replace(fitted, findings=_findings(fitted))


def least_points(kind: Kind) -> int:
    """Return how many points determine the feature at all."""
    return (2, 3, 3, 5, 6, 4)[kind]


def _refuse_equal(name: str, points: Array, centre: Array, spread: float) -> None:
    if spread <= 1e-12 * max(float(points.max()), -float(points.min()), 1e-300):
        raise FitProblem(
            f"all points are equal: they do not determine a {name}",
            place=f"at {centre.round(6).tolist()}",
            mend="choose points spread over the surface",
        )


def _refuse_degenerate(kind: Kind, local: Array) -> None:
    """Refuse points on a line or in a plane; `local` is centred with a spread of 1."""
    name = kind.name.lower()
    values, _ = principal(local)
    least = (FLAT if len(local) <= SVD_POINTS else math.sqrt(FLAT) * 0.01) * values[0]
    if kind is not Kind.LINE and values[1] < least:
        raise FitProblem(
            f"the points lie on one straight line: they do not determine a {name}",
            mend="add points beside the line",
        )
    flat = len(values) < 3 or values[2] < least
    if kind in (Kind.SPHERE, Kind.CYLINDER, Kind.CONE) and flat:
        raise FitProblem(
            f"the points lie in one plane: they do not determine a {name}",
            mend="add points at other heights, or fit a circle",
        )


def _with_sense(shape: Shape) -> Shape:
    """Give the direction its sense: cones open along it, others have the largest part positive."""
    if shape.kind is Kind.SPHERE:
        return Shape(shape.kind, shape.origin, np.eye(3), shape.radius)
    if shape.kind is Kind.CONE:
        turn = shape.half_angle < 0.0
    else:
        axis = shape.axes[2]
        turn = axis[int(np.argmax(np.abs(axis)))] < 0.0
    if turn:
        shape = shape.flipped()
    return Shape(
        shape.kind, shape.origin, frame_along(shape.axes[2]), shape.radius, shape.half_angle
    )


def _inverse(now: Sums, name: str) -> Array:
    """Return (JᵀJ)⁻¹ in centred and scaled coordinates."""
    scale = np.sqrt(np.maximum(np.diag(now.normal), 1e-300))
    matrix = now.normal / np.outer(scale, scale)
    values = np.linalg.eigvalsh(matrix)
    if values[0] < 1e-15 * values[-1]:
        raise FitProblem(
            f"the points do not determine a {name}",
            found="a direction in which it can move without any distance changing",
            mend="add points at other heights or azimuths, or fit a simpler feature",
        )
    inverse: Array = np.linalg.inv(matrix) / np.outer(scale, scale)
    return inverse


def _variance(kind: Kind, now: Sums) -> float:
    """Return the noise variance per coordinate: Σd² over the degrees of freedom."""
    rows = now.used * (2 if kind.two_residuals else 1)
    dof = rows - kind.parameters
    return now.sum_square / dof if dof > 0 else math.nan


def _robust_variance(kind: Kind, weighted: Sums) -> float:
    """Return the variance that makes (JᵀJ)⁻¹ the covariance of an M-estimate.

    E[ψ²]/E[ψ']² with the small-sample factor n/(n-p) (Huber 1981, sec. 7.6; from memory).
    """
    parts = 2 if kind.two_residuals else 1
    n = weighted.used
    dof = n * parts - kind.parameters
    if dof <= 0 or weighted.sum_psi_slope <= 0.0:
        return math.nan
    psi_square = weighted.sum_psi_square / (n * parts)
    slope = weighted.sum_psi_slope / n
    return psi_square / slope**2 * (n * parts / dof)


def _correlation(used: Array, shape: Shape, now: Sums) -> Correlation | None:
    if len(used) < LEAST_POINTS or now.sum_square < EXACT**2 * now.used:
        return None
    if len(used) > MOST_POINTS:
        # Every so many in the order given would follow scan lines: a fixed-seed draw does not.
        rng = np.random.default_rng(80_141)
        chosen = np.sort(rng.choice(len(used), MOST_POINTS, replace=False))
        used = np.ascontiguousarray(used[chosen])
    rows, values = jacobian(used, shape)
    return correlate(used, rows, values)


def _angles(kind: Kind) -> Array:
    """Return which local parameters are angles."""
    return np.array(
        {
            Kind.LINE: [0, 0, 1, 1],
            Kind.PLANE: [0, 1, 1],
            Kind.CIRCLE: [0, 0, 0, 1, 1, 0],
            Kind.CYLINDER: [0, 0, 1, 1, 0],
            Kind.CONE: [0, 0, 1, 1, 1, 0],
            Kind.SPHERE: [0, 0, 0, 0],
        }[kind],
        dtype=bool,
    )


def _covered(kind: Kind, points: Array, shape: Shape) -> tuple[float | None, float | None]:
    """Return the arc about the axis and the length along it, where they apply."""
    if kind is Kind.PLANE:
        return None, None
    if kind is Kind.SPHERE:
        out = points - shape.origin
        out = out / np.maximum(np.linalg.norm(out, axis=1), 1e-300)[:, None]
        mean = out.mean(axis=0)
        size = float(np.linalg.norm(mean))
        if size < 0.05:
            return 360.0, None
        return 2.0 * math.degrees(math.acos(float(np.clip((out @ mean).min() / size, -1, 1)))), None
    arc, low, high = coverage(points, shape)
    if kind is Kind.CIRCLE:
        return arc, None
    return (None if kind is Kind.LINE else arc), high - low


def _refuse_short_arc(kind: Kind, arc: float | None, count: int, options: Options) -> None:
    if arc is None or arc >= options.least_arc_deg or count < FEW:
        return
    raise FitProblem(
        f"the points cover too short an arc to tell the {kind.name.lower()}'s radius",
        found=f"{arc:.1f} degrees",
        allowed=f"at least {options.least_arc_deg:g} degrees",
        mend="scan or choose more of the turn",
    )


def _findings(fitted: Fit) -> tuple[Finding, ...]:
    found = []
    standard = fitted.standard_uncertainty
    if not np.isfinite(fitted.covariance).all():
        found.append(
            Finding(
                "no-redundancy",
                "warning",
                f"{fitted.used} points only just determine a {fitted.feature}: nothing tells how "
                "sure it is.",
            )
        )
    if fitted.correlation_mm is not None and fitted.effective_points < FEW_EFFECTIVE:
        found.append(
            Finding(
                "few-effective-points",
                "warning",
                f"The residuals hang together over the whole patch: {fitted.used} points say no "
                f"more than {fitted.effective_points:.0f} independent ones, so the stated "
                "uncertainty is itself uncertain.",
            )
        )
    arc, radius = fitted.arc_deg, fitted.radius_mm
    if arc is not None and radius is not None and arc < DOUBTED_ARC_DEG:
        sure = standard.radius_mm
        text = "" if sure is None or not math.isfinite(sure) else f" ({radius:.4g} ± {sure:.2g} mm)"
        found.append(
            Finding(
                "short-arc",
                "warning" if arc >= REFUSED_ARC_DEG else "error",
                f"The points cover an arc of only {arc:.0f}°: do not trust the radius{text} or the "
                "place of the axis without a check.",
            )
        )
    return tuple(found)


def _frozen(array: Array) -> Array:
    array.flags.writeable = False
    return array
