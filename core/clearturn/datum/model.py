"""What a fit answers: place, size, form, what it covers and how sure it is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from clearturn.datum.shape import Kind, Shape, residuals
from clearturn.errors import FitProblem
from clearturn.findings import Finding

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StandardUncertainty:
    """Standard uncertainties (one sigma) of what a fit is used for; None where it does not apply.

    Attributes
    ----------
    point_mm : float or None
        Of the place at ``point_mm`` in its least certain direction: along the normal of a plane,
        across the axis of a line or axis, anywhere for a centre.
    direction_rad : float or None
        Of the direction, about its least certain turn.
    radius_mm, half_angle_rad : float or None
    """

    point_mm: float | None = None
    direction_rad: float | None = None
    radius_mm: float | None = None
    half_angle_rad: float | None = None

    def as_json(self) -> dict[str, float]:
        """Return the parts that apply."""
        names = ("point_mm", "direction_rad", "radius_mm", "half_angle_rad")
        return {n: float(v) for n in names if (v := getattr(self, n)) is not None}


@dataclass(frozen=True)
class Fit:
    """A least-squares associated feature.

    Attributes
    ----------
    point_mm : (3,) ndarray
        On a plane, line or axis: its point nearest the points' centroid; else the centre.
    direction : (3,) ndarray or None
        Unit normal or axis; a cone's points to its opening, others have their largest component
        positive.
    axes : (3, 3) ndarray
        Rows e1, e2, direction of the local frame of `covariance`.
    radius_mm : float or None
        A cone's is the radius at ``point_mm``.
    half_angle_deg : float or None
    points : int
        Points given.
    used : int
        Points with weight (all of them unless robust): the inlier count.
    scale_mm : float or None
        Robust standard deviation of the inliers' distances; None if not robust.
    rms_mm : float
        √(Σd²/n) over the points used; d is the distance to the feature, for line and circle in
        space.
    form_mm : float
        Peak to valley: greatest minus least residual.
    min_residual_mm, max_residual_mm : float
    arc_deg, length_mm : float or None
        Turn covered about the axis (for a sphere: the cap's full opening) and length along it.
    effective_points : float
        How many independent points would say as much.
    correlation_mm : float or None
        Length over which residuals hang together; None if they were taken as independent.
    covariance : (k, k) ndarray
        Of the local parameters named in ``PARAMETERS``, mm and rad, at ``point_mm``; NaN where
        no point is left to judge the noise by.
    unit_covariance : (k, k) ndarray
        The same for independent noise of 1 mm in every point.
    findings : tuple of Finding
    """

    FEATURE: ClassVar[str] = ""
    PARAMETERS: ClassVar[tuple[str, ...]] = ()

    shape: Shape
    points: int
    used: int
    scale_mm: float | None
    rms_mm: float
    form_mm: float
    min_residual_mm: float
    max_residual_mm: float
    arc_deg: float | None
    length_mm: float | None
    effective_points: float
    correlation_mm: float | None
    covariance: Vector
    unit_covariance: Vector
    findings: tuple[Finding, ...]

    @property
    def feature(self) -> str:
        """The feature's name."""
        return self.FEATURE

    @property
    def point_mm(self) -> Vector:
        """The reference point, (3,)."""
        return self.shape.origin

    @property
    def direction(self) -> Vector | None:
        """Unit axis or normal, (3,); None for a sphere."""
        return None if self.shape.kind is Kind.SPHERE else self.shape.axes[2]

    @property
    def axes(self) -> Vector:
        """Rows e1, e2, direction."""
        return self.shape.axes

    @property
    def radius_mm(self) -> float | None:
        """The radius, for a cone at the reference point."""
        return None if self.shape.kind in (Kind.PLANE, Kind.LINE) else self.shape.radius

    @property
    def diameter_mm(self) -> float | None:
        """Twice the radius."""
        return None if self.radius_mm is None else 2.0 * self.radius_mm

    @property
    def half_angle_deg(self) -> float | None:
        """Half the opening of a cone."""
        if self.shape.kind is not Kind.CONE:
            return None
        return math.degrees(self.shape.half_angle)

    @property
    def inliers(self) -> int:
        """Points with weight."""
        return self.used

    @property
    def standard_uncertainty(self) -> StandardUncertainty:
        """Standard uncertainties from `covariance`."""
        return _standard(self.shape.kind, self.covariance)

    @property
    def unit_uncertainty(self) -> StandardUncertainty:
        """Standard uncertainties for independent noise of 1 mm in every point."""
        return _standard(self.shape.kind, self.unit_covariance)

    @property
    def axis_covariance(self) -> Vector | None:
        """Of shifts along e1, e2 and tilts to e1, e2 of the axis, (4, 4); None without an axis."""
        if self.shape.kind in (Kind.PLANE, Kind.SPHERE):
            return None
        rows = [0, 1, 3, 4] if self.shape.kind is Kind.CIRCLE else [0, 1, 2, 3]
        return self.covariance[np.ix_(rows, rows)]

    @property
    def dof(self) -> float:
        """Degrees of freedom for a coverage factor.

        Half of what the effective points leave: length and share of the correlation are judged
        from the same residuals (the half is our choice, held by the coverage simulation).
        """
        free = self.effective_points - self.shape.kind.parameters
        return max(free if self.correlation_mm is None else 0.5 * free, 1.0)

    @property
    def coverage_factor(self) -> float:
        """What a standard uncertainty is multiplied by for an interval that holds 95 %."""
        return float(stdtrit(self.dof, 0.975))

    def residuals(self, points: ArrayLike) -> Vector:
        """Return the distance of every point from the feature.

        Parameters
        ----------
        points : (n, 3) array_like
            mm, in the frame the fit was made in.

        Returns
        -------
        (n,) ndarray
            mm; positive outside (away from axis or centre) or on the normal's side; unsigned for
            line and circle.
        """
        return residuals(checked_points(points, 0, self.FEATURE), self.shape)

    def as_json(self) -> dict[str, Any]:
        """Return the contract's JSON object, with only the keys that apply."""
        answer: dict[str, Any] = {
            "feature": self.FEATURE,
            "points": self.points,
            "point_mm": [float(x) for x in self.point_mm],
        }
        if self.direction is not None:
            answer["direction"] = [float(x) for x in self.direction]
        numbers = {
            "radius_mm": self.radius_mm,
            "half_angle_deg": self.half_angle_deg,
            "rms_mm": self.rms_mm,
            "form_mm": self.form_mm,
            "min_residual_mm": self.min_residual_mm,
            "max_residual_mm": self.max_residual_mm,
            "arc_deg": self.arc_deg,
            "length_mm": self.length_mm,
        }
        answer |= {k: float(v) for k, v in numbers.items() if v is not None}
        standard = self.standard_uncertainty.as_json()
        answer["standard_uncertainty"] = {
            k: v if math.isfinite(v) else None for k, v in standard.items()
        }
        answer["effective_points"] = float(self.effective_points)
        if self.scale_mm is not None:
            answer["scale_mm"] = float(self.scale_mm)
            answer["inliers"] = self.used
        answer["findings"] = [finding.as_json() for finding in self.findings]
        return answer


def _worst(block: Vector) -> float:
    if not np.isfinite(block).all():
        return math.nan
    return math.sqrt(max(float(np.linalg.eigvalsh(block)[-1]), 0.0))


def _standard(kind: Kind, covariance: Vector) -> StandardUncertainty:
    c = covariance
    match kind:
        case Kind.PLANE:
            return StandardUncertainty(_worst(c[:1, :1]), _worst(c[1:3, 1:3]))
        case Kind.LINE:
            return StandardUncertainty(_worst(c[:2, :2]), _worst(c[2:4, 2:4]))
        case Kind.CIRCLE:
            return StandardUncertainty(_worst(c[:3, :3]), _worst(c[3:5, 3:5]), _worst(c[5:, 5:]))
        case Kind.CYLINDER:
            return StandardUncertainty(_worst(c[:2, :2]), _worst(c[2:4, 2:4]), _worst(c[4:, 4:]))
        case Kind.CONE:
            return StandardUncertainty(
                _worst(c[:2, :2]), _worst(c[2:4, 2:4]), _worst(c[5:, 5:]), _worst(c[4:5, 4:5])
            )
        case Kind.SPHERE:
            return StandardUncertainty(_worst(c[:3, :3]), None, _worst(c[3:, 3:]))


def checked_points(points: ArrayLike, least: int, feature: str) -> Vector:
    """Return `points` as an (n, 3) array of finite numbers.

    Raises
    ------
    FitProblem
        If the shape is wrong, a number is not finite or there are fewer than `least` points.
    """
    try:
        p = np.ascontiguousarray(points, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise FitProblem("points must be numbers, three a row") from problem
    if p.ndim != 2 or p.shape[1] != 3:
        raise FitProblem("points must be an (n, 3) array", found=f"shape {p.shape}")
    if not np.isfinite(p).all():
        row = int(np.flatnonzero(~np.isfinite(p).all(axis=1))[0])
        raise FitProblem("a coordinate is not a finite number", place=f"point {row}")
    if len(p) < least:
        raise FitProblem(
            f"too few points for a {feature}", found=str(len(p)), allowed=f"at least {least}"
        )
    return p


@dataclass(frozen=True)
class LineFit(Fit):
    """A straight line; residuals are distances in space."""

    FEATURE: ClassVar[str] = "line"
    PARAMETERS: ClassVar[tuple[str, ...]] = ("shift e1", "shift e2", "tilt to e1", "tilt to e2")


@dataclass(frozen=True)
class PlaneFit(Fit):
    """A plane; ``direction`` is its normal."""

    FEATURE: ClassVar[str] = "plane"
    PARAMETERS: ClassVar[tuple[str, ...]] = ("shift along normal", "tilt to e1", "tilt to e2")


@dataclass(frozen=True)
class CircleFit(Fit):
    """A circle in space; residuals are distances in space."""

    FEATURE: ClassVar[str] = "circle"
    PARAMETERS: ClassVar[tuple[str, ...]] = (
        "shift e1",
        "shift e2",
        "shift along normal",
        "tilt to e1",
        "tilt to e2",
        "radius",
    )


@dataclass(frozen=True)
class CylinderFit(Fit):
    """A cylinder."""

    FEATURE: ClassVar[str] = "cylinder"
    PARAMETERS: ClassVar[tuple[str, ...]] = (
        "shift e1",
        "shift e2",
        "tilt to e1",
        "tilt to e2",
        "radius",
    )


@dataclass(frozen=True)
class ConeFit(Fit):
    """A cone; ``direction`` points from the apex to the opening."""

    FEATURE: ClassVar[str] = "cone"
    PARAMETERS: ClassVar[tuple[str, ...]] = (
        "shift e1",
        "shift e2",
        "tilt to e1",
        "tilt to e2",
        "half angle",
        "radius",
    )

    @property
    def apex_mm(self) -> Vector:
        """The tip, (3,)."""
        back = self.shape.radius / math.tan(self.shape.half_angle)
        tip: Vector = self.point_mm - back * self.shape.axes[2]
        return tip


@dataclass(frozen=True)
class SphereFit(Fit):
    """A sphere."""

    FEATURE: ClassVar[str] = "sphere"
    PARAMETERS: ClassVar[tuple[str, ...]] = ("x", "y", "z", "radius")
