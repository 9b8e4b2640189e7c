"""A rectangle drawn over a scan, as the box along the scan's axes that it means."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.corner.faces import clean
from clearturn.corner.sources import Source
from clearturn.errors import InputError
from clearturn.job.model import DropBox, Vec3
from clearturn.progress import Progress

Array = NDArray[np.float64]
Side = Literal["right", "left", "above", "below"]
_SQUARE = 1.0 - 1e-9
_BEYOND_MM = 1.0  # the whole depth ends beyond the scan, so that rounding leaves nothing over


@dataclass(frozen=True, slots=True)
class Boxed:
    """What a box would leave out of a scan.

    Attributes
    ----------
    step : DropBox
    faces : (k,) ndarray of int
        Kept faces of the scan that lie wholly in the box.
    left : int
        How many would be kept still.
    """

    step: DropBox
    faces: NDArray[np.int64]
    left: int


def square_view(eye: ArrayLike, up: ArrayLike) -> tuple[Array, Array]:
    """Return the view along an axis that is nearest to a view.

    Parameters
    ----------
    eye, up : (3,) array_like
        Directions to the eye and upwards, in the scan's coordinates, square to each other.

    Returns
    -------
    eye, up : (3,) ndarray
        Unit vectors along two of the scan's axes.
    """
    e = _axis_near(np.asarray(eye, dtype=np.float64))
    u = np.asarray(up, dtype=np.float64)
    return e, _axis_near(np.where(e == 0.0, u, 0.0))


def _axis_near(direction: Array) -> Array:
    k = int(np.argmax(np.abs(direction)))
    axis = np.zeros(3)
    axis[k] = 1.0 if direction[k] >= 0.0 else -1.0
    return axis


def view_from(eye: ArrayLike, up: ArrayLike, side: Side) -> tuple[Array, Array]:
    """Return the view a quarter turn on: of what is to one side in the picture now.

    Parameters
    ----------
    eye, up : (3,) array_like
        Unit vectors, square to each other.
    side : {"right", "left", "above", "below"}
    """
    e, u = np.asarray(eye, dtype=np.float64), np.asarray(up, dtype=np.float64)
    right = np.cross(u, e)
    views = {"right": (right, u), "left": (-right, u), "above": (u, -e), "below": (-u, e)}
    return views[side]


def box_drawn(
    bounds_mm: ArrayLike,
    eye: ArrayLike,
    corners_mm: ArrayLike,
    before: DropBox | None = None,
) -> DropBox:
    """Return the box that a rectangle means, drawn in a view along an axis of the scan.

    Parameters
    ----------
    bounds_mm : (2, 3) array_like
        Least and greatest coordinates of the scan.
    eye : (3,) array_like
        Direction to the eye.
    corners_mm : (2, 3) array_like
        A point on the line of sight through each of two opposite corners, at any depth.
    before : DropBox, optional
        A box drawn before: its ends along the line of sight are kept.  Without one the box goes
        through the whole scan.

    Returns
    -------
    DropBox
        Its ends to a hundredth of a millimetre.

    Raises
    ------
    InputError
        If the view is not along an axis: such a rectangle is no box along the axes.
    """
    way = np.asarray(eye, dtype=np.float64)
    way = np.abs(way / np.linalg.norm(way))
    depth = int(np.argmax(way))
    if way[depth] < _SQUARE:
        raise InputError(
            "a box can only be drawn on a view along an axis of the scan",
            mend="turn to such a view first",
        )
    ends = np.sort(np.asarray(corners_mm, dtype=np.float64), axis=0).round(2)
    if before is None:
        low, high = np.asarray(bounds_mm, dtype=np.float64)[:, depth]
        ends[:, depth] = np.floor(low) - _BEYOND_MM, np.ceil(high) + _BEYOND_MM
    else:
        ends[:, depth] = before.from_mm[depth], before.to_mm[depth]
    return DropBox("drop box", _vec(ends[0]), _vec(ends[1]))


def _vec(point: Array) -> Vec3:
    x, y, z = (float(value) + 0.0 for value in point)  # no negative zero
    return x, y, z


def boxed(source: Source, step: DropBox, progress: Progress | None = None) -> Boxed:
    """Return what a box would leave out of a scan as it is cleaned now."""
    stay = source.kept & clean(source.mesh, (step,), progress).kept
    return Boxed(step, np.flatnonzero(source.kept & ~stay), int(np.count_nonzero(stay)))


def box_edges(step: DropBox) -> Array:
    """Return the ends of a box's twelve edges, (12, 2, 3) in mm."""
    edges = []
    ends = np.array([step.from_mm, step.to_mm])
    for k in range(3):
        for first, second in product((0, 1), repeat=2):
            edge = np.empty((2, 3))
            edge[:, k] = ends[:, k]
            edge[:, k - 2] = ends[first, k - 2]
            edge[:, k - 1] = ends[second, k - 1]
            edges.append(edge)
    return np.array(edges)
