"""Several ways to one axis, and how far they differ."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.datum.frame import AxisFit
from clearturn.datum.model import PlaneFit
from clearturn.errors import InputError

Array = NDArray[np.float64]

EXPECTED = 2.0  # root mean square standard deviations of difference still called agreement


@dataclass(frozen=True, slots=True)
class AxisDifference:
    """Two datums of one axis, compared at one place.

    Attributes
    ----------
    first, second : str
    offset_mm : float or None
        Distance of the two axes at the place; None if one is a plane.
    tilt_rad : float
        Angle between them (a plane counts by its normal).
    offset_standard_mm, tilt_standard_rad : float
        What their uncertainties let expect: root of the summed variances in both directions.
    agree : bool
        Whether both differences are within twice that.
    """

    first: str
    second: str
    offset_mm: float | None
    tilt_rad: float
    offset_standard_mm: float | None
    tilt_standard_rad: float
    agree: bool


def compare_axes(
    datums: Mapping[str, AxisFit | PlaneFit], at_mm: ArrayLike
) -> tuple[AxisDifference, ...]:
    """Compare every two of several datums that should share one axis.

    Parameters
    ----------
    datums : mapping of name to fit
        Axes (cylinder, cone, circle, line, spin axis) and planes square to the axis.
    at_mm : (3,) array_like
        Where the axes are compared: the centre of the hub face, say.

    Raises
    ------
    InputError
        If fewer than two datums are given.
    """
    if len(datums) < 2:
        raise InputError("comparing axes needs at least two datums", found=str(len(datums)))
    place = np.array(at_mm, dtype=np.float64)
    return tuple(
        _difference(a, datums[a], b, datums[b], place) for a, b in itertools.combinations(datums, 2)
    )


def _difference(
    a: str, first: AxisFit | PlaneFit, b: str, second: AxisFit | PlaneFit, place: Array
) -> AxisDifference:
    cross = float(np.linalg.norm(np.cross(first.axes[2], second.axes[2])))
    tilt = math.asin(min(cross, 1.0))
    tilt_sure = math.sqrt(_tilt_variance(first) + _tilt_variance(second))
    agree = tilt <= EXPECTED * tilt_sure
    offset = offset_sure = None
    if not isinstance(first, PlaneFit) and not isinstance(second, PlaneFit):
        axis = first.axes[2]
        gap = _at(first, place, axis) - _at(second, place, axis)
        offset = float(np.linalg.norm(gap))
        offset_sure = math.sqrt(_shift_variance(first, place) + _shift_variance(second, place))
        agree = agree and offset <= EXPECTED * offset_sure
    return AxisDifference(a, b, offset, tilt, offset_sure, tilt_sure, agree)


def _tilt_variance(fit: AxisFit | PlaneFit) -> float:
    if isinstance(fit, PlaneFit):
        return float(np.trace(fit.covariance[1:3, 1:3]))
    return float(np.trace(_known(fit)[2:, 2:]))


def _known(fit: AxisFit) -> Array:
    covariance = fit.axis_covariance
    if covariance is None:
        raise InputError("a sphere has no axis", mend="compare cylinders, cones, circles or planes")
    return covariance


def _at(fit: AxisFit, place: Array, normal: Array) -> Array:
    """Return where the axis meets the plane through `place` square to `normal`."""
    line = fit.axes[2]
    meeting: Array = (
        fit.point_mm + float(normal @ (place - fit.point_mm)) / float(normal @ line) * line
    )
    return meeting


def _shift_variance(fit: AxisFit, place: Array) -> float:
    along = float((place - fit.point_mm) @ fit.axes[2])
    move = np.hstack([np.eye(2), along * np.eye(2)])
    return float(np.trace(move @ _known(fit) @ move.T))
