"""Datum systems: plane, axis and clocking give the hub frame and how sure it is (ISO 5459).

The face is the primary datum: rotor and wheel are clamped against it, and a register is too short
to give a direction.  The axis gives the place, the clocking datum the turn.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.datum.model import PlaneFit
from clearturn.datum.shape import frame_along
from clearturn.errors import FitProblem, InputError
from clearturn.findings import Finding

Array = NDArray[np.float64]


class AxisFit(Protocol):
    """What a frame needs of a fitted axis: cylinder, cone, circle, line or spin axis."""

    @property
    def point_mm(self) -> Array:
        """A point on the axis, (3,)."""

    @property
    def direction(self) -> Array | None:
        """Unit vector along it, (3,)."""

    @property
    def axes(self) -> Array:
        """Rows e1, e2, direction."""

    @property
    def axis_covariance(self) -> Array | None:
        """Of shifts along e1, e2 at the point and tilts to e1, e2, (4, 4)."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame in a scan and how sure it is.

    Attributes
    ----------
    hub_from_scan : (4, 4) ndarray
        Row-major; takes scan coordinates to hub coordinates.
    covariance : (6, 6) ndarray
        Of a small move (x, y, z, mm) and turn (about x, y, z, rad) of the frame, in the hub frame.
    findings : tuple of Finding
    """

    hub_from_scan: Array
    covariance: Array
    findings: tuple[Finding, ...]

    @property
    def scan_from_hub(self) -> Array:
        """The inverse, (4, 4)."""
        return _inverse(self.hub_from_scan)

    @property
    def standard_uncertainty(self) -> Array:
        """Standard uncertainties of the three moves (mm) and three turns (rad), (6,)."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))

    def point_covariance(self, point_mm: ArrayLike) -> Array:
        """Return the covariance the frame brings to a point in the hub frame, (3, 3), mm²."""
        x, y, z = np.asarray(point_mm, dtype=np.float64)
        # move + turn × point
        lever = np.array([[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]])
        rows = np.hstack([np.eye(3), lever])
        answer: Array = rows @ self.covariance @ rows.T
        return answer


def hub_frame(
    plane: PlaneFit,
    axis: AxisFit,
    clocking_point_mm: ArrayLike,
    clock_deg: float,
    outboard: ArrayLike,
    *,
    clocking_standard_mm: float = 0.0,
) -> Frame:
    """Return the hub frame: origin where the axis meets the face, Z outboard, Y up.

    Parameters
    ----------
    plane : PlaneFit
        The hub face; its normal is Z.
    axis : AxisFit
        Register, bearing housing or spin axis: where it meets the face is the origin.
    clocking_point_mm : (3,) array_like
        A point of the clocking datum, in the scan.
    clock_deg : float
        The clock position of that point, seen from outboard: 0 at the top, growing towards +X.
    outboard : (3,) array_like
        Any vector in the scan that points roughly outboard; only its side of the face counts.
    clocking_standard_mm : float
        Standard uncertainty of the clocking point across its radius.

    Raises
    ------
    FitProblem
        If the axis lies in the face, or the clocking point on the axis.
    InputError
        If `outboard` does not tell the side.
    """
    clocking = np.array(clocking_point_mm, dtype=np.float64)
    if clocking.shape != (3,) or not np.isfinite(clocking).all():
        raise InputError("the clocking point needs three finite numbers")
    if not math.isfinite(clock_deg):
        raise InputError("the clock position must be a number", found=str(clock_deg))
    side = _outboard_side(plane, outboard)
    sense = 1.0 if float(plane.axes[2] @ side) > 0.0 else -1.0

    def make(step: Array) -> Array:
        normal, height, point, line = _moved(plane, axis, sense, step)
        origin = _meet(normal, height, point, line)
        radial = clocking - origin
        radial = radial - (radial @ normal) * normal
        radius = float(np.linalg.norm(radial))
        if radius < 1.0:
            raise FitProblem(
                "the clocking point lies on the axis: it gives no turn",
                found=f"{radius:.3f} mm from it",
                mend="choose a point or bore away from the axis",
            )
        # Up is the clocking direction turned back by its clock position: a point at clock c
        # stands at (sin c, cos c), and (up, normal) make x = up × normal.
        across = np.cross(radial / radius, normal)
        turn = math.radians(clock_deg) + step[7] / radius
        up = math.cos(turn) * radial / radius - math.sin(turn) * across
        return _pose(origin, up, normal)

    findings = _square_findings(plane, axis)
    return _with_covariance(make, plane, axis, clocking_standard_mm, findings)


def wheel_frame(pad_plane: PlaneFit, bore_axis: AxisFit, outboard: ArrayLike) -> Frame:
    """Return a wheel's frame: origin where the bore's axis meets the pad, Z outboard.

    The wheel may be mounted at any turn, so Y is chosen freely and its turn is not uncertain.

    Raises
    ------
    FitProblem
        If the axis lies in the pad's plane.
    InputError
        If `outboard` does not tell the side.
    """
    side = _outboard_side(pad_plane, outboard)
    sense = 1.0 if float(pad_plane.axes[2] @ side) > 0.0 else -1.0
    up = frame_along(pad_plane.axes[2])[0]

    def make(step: Array) -> Array:
        normal, height, point, line = _moved(pad_plane, bore_axis, sense, step)
        origin = _meet(normal, height, point, line)
        return _pose(origin, up - (up @ normal) * normal, normal)

    return _with_covariance(make, pad_plane, bore_axis, 0.0, _square_findings(pad_plane, bore_axis))


def _outboard_side(plane: PlaneFit, outboard: ArrayLike) -> Array:
    side = np.array(outboard, dtype=np.float64)
    if side.shape != (3,) or not np.isfinite(side).all() or not np.linalg.norm(side) > 0.0:
        raise InputError("outboard must be a vector of three finite numbers, not zero")
    side /= np.linalg.norm(side)
    if abs(float(side @ plane.axes[2])) < 0.2:
        raise InputError(
            "the outboard vector lies in the face and does not tell its side",
            mend="give a vector that points away from the vehicle along the axle",
        )
    return side


def _moved(
    plane: PlaneFit, axis: AxisFit, sense: float, step: Array
) -> tuple[Array, Array, Array, Array]:
    """Return normal, point on the plane, point and direction of the axis after a small step.

    Steps: plane shift and two tilts, axis two shifts and two tilts (the fits' local parameters).
    """
    p1, p2, normal = plane.axes
    e1, e2, line = axis.axes
    moved = normal + step[1] * p1 + step[2] * p2
    moved = sense * moved / np.linalg.norm(moved)
    height = plane.point_mm + step[0] * normal
    point = axis.point_mm + step[3] * e1 + step[4] * e2
    line = line + step[5] * e1 + step[6] * e2
    return moved, height, point, line / np.linalg.norm(line)


def _meet(normal: Array, height: Array, point: Array, line: Array) -> Array:
    slope = float(normal @ line)
    if abs(slope) < 0.5:
        raise FitProblem(
            "axis and face do not belong together",
            found=f"{math.degrees(math.acos(min(abs(slope), 1.0))):.1f} degrees between the axis "
            "and the face's normal",
            mend="choose the face square to the spin axis and a bore or spigot about it",
        )
    meeting: Array = point + float(normal @ (height - point)) / slope * line
    return meeting


def _pose(origin: Array, up: Array, normal: Array) -> Array:
    y = up / np.linalg.norm(up)
    rows = np.stack([np.cross(y, normal), y, normal])
    pose = np.eye(4)
    pose[:3, :3] = rows
    pose[:3, 3] = -rows @ origin
    return pose


def _inverse(pose: Array) -> Array:
    back = np.eye(4)
    back[:3, :3] = pose[:3, :3].T
    back[:3, 3] = -pose[:3, :3].T @ pose[:3, 3]
    return back


def _square_findings(plane: PlaneFit, axis: AxisFit) -> tuple[Finding, ...]:
    if axis.direction is None:
        raise FitProblem("a sphere has no axis", mend="choose a cylinder, cone, circle or line")
    tilt = math.acos(min(abs(float(plane.axes[2] @ axis.axes[2])), 1.0))
    variance = _largest(plane.covariance[1:3, 1:3])
    if axis.axis_covariance is not None:
        variance += _largest(axis.axis_covariance[2:, 2:])
    sure = 3.0 * math.sqrt(max(variance, 0.0))
    if tilt <= max(sure, math.radians(0.05)):
        return ()
    return (
        Finding(
            "face-not-square",
            "warning",
            f"The axis stands {math.degrees(tilt):.3f}° off the face's normal, more than their "
            f"uncertainty of {math.degrees(sure):.3f}°: run-out, dirt, or the wrong surface.",
        ),
    )


def _largest(block: Array) -> float:
    # Fits without redundancy have no covariance: they cannot contradict anything either.
    return float(np.linalg.eigvalsh(block)[-1]) if np.isfinite(block).all() else math.inf


def _with_covariance(
    make: Callable[[Array], Array],
    plane: PlaneFit,
    axis: AxisFit,
    clocking_mm: float,
    findings: tuple[Finding, ...],
) -> Frame:
    """Return the frame with the covariance carried over by central differences."""
    pose = make(np.zeros(8))
    known = np.zeros((8, 8))
    known[:3, :3] = plane.covariance
    covariance = axis.axis_covariance
    if covariance is None:
        raise FitProblem("this feature has no axis")
    known[3:7, 3:7] = covariance
    known[7, 7] = clocking_mm**2
    steps = np.array([1e-4, 1e-6, 1e-6, 1e-4, 1e-4, 1e-6, 1e-6, 1e-4])
    slopes = np.zeros((6, 8))
    for k, step in enumerate(steps):
        delta = np.zeros(8)
        delta[k] = step
        slopes[:, k] = (
            _small(pose @ _inverse(make(delta))) - _small(pose @ _inverse(make(-delta)))
        ) / (2.0 * step)
    answer = slopes @ known @ slopes.T
    answer = (answer + answer.T) / 2.0
    pose.flags.writeable = False
    answer.flags.writeable = False
    return Frame(pose, answer, findings)


def _small(pose: Array) -> Array:
    """Return move and turn of a pose close to the identity, (6,)."""
    r = pose[:3, :3]
    turn = np.array([r[2, 1] - r[1, 2], r[0, 2] - r[2, 0], r[1, 0] - r[0, 1]]) / 2.0
    return np.concatenate([pose[:3, 3], turn])
