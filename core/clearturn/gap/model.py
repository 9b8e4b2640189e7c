"""What the gap engine answers: never a bare number."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.errors import InputError
from clearturn.findings import Finding

Vector = NDArray[np.float64]


class State(StrEnum):
    """How two parts stand to each other (docs/methods/gap.md)."""

    APART = "apart"
    TOUCHING = "touching"
    INTERFERING = "interfering"
    SIGN_UNKNOWN = "sign unknown"


@dataclass(frozen=True, slots=True)
class Interval:
    """A closed interval in mm that provably holds a value; an end that is not known is None."""

    lower: float | None
    upper: float | None

    @property
    def width(self) -> float | None:
        """Upper minus lower, or None if one end is not known."""
        if self.lower is None or self.upper is None:
            return None
        return self.upper - self.lower

    def as_json(self) -> dict[str, float | None]:
        """Return the interval as the contract's JSON object."""
        return {"lower": self.lower, "upper": self.upper}


@dataclass(frozen=True, slots=True)
class Axis:
    """A line in space with a sense, about which a part turns.

    Attributes
    ----------
    point : (3,) ndarray
        A point on the line, mm.
    direction : (3,) ndarray
        Unit vector; positive turns are right-handed about it.
    """

    point: Vector
    direction: Vector

    @classmethod
    def through(cls, point: ArrayLike, direction: ArrayLike) -> Axis:
        """Return the axis through `point` along `direction` (any length but zero)."""
        p = np.array(point, dtype=np.float64)
        d = np.array(direction, dtype=np.float64)
        length = float(np.linalg.norm(d))
        if p.shape != (3,) or d.shape != (3,) or not np.isfinite(p).all():
            raise InputError("an axis needs a point and a direction of three finite numbers each")
        if not np.isfinite(length) or length <= 0:
            raise InputError("the axis direction has no length", found=str(d.tolist()))
        d /= length
        p.flags.writeable = False
        d.flags.writeable = False
        return cls(p, d)


Z_AXIS = Axis.through((0, 0, 0), (0, 0, 1))


@dataclass(frozen=True, slots=True)
class FreeingShift:
    """How far a part must be moved as a whole, one way, to come free of the other.

    Attributes
    ----------
    way : str
        "outboard" or "inboard" (along the axis and against it: +z and -z of the hub frame),
        "outward" or "inward" (away from the axis and towards it, along the part's own radius:
        that of the middle of its surface).
    moves : str
        "first" or "second": the part that is moved.  The one that stands of a turning pair, so
        that what turns stays true; the smaller of a pair that stands still to each other.
    direction : (3,) ndarray
        Unit vector in which that part moves.
    shift_mm : Interval
        Holds the least shift this way that leaves 0.01 mm between the parts (ten times the
        tolerance, if that is more).  An upper end that was not found is None.
    """

    way: str
    moves: str
    direction: Vector
    shift_mm: Interval

    def as_json(self) -> dict[str, object]:
        """Return the shift as the contract's JSON object."""
        return {
            "way": self.way,
            "moves": self.moves,
            "direction": [float(x) for x in self.direction],
            "shift_mm": self.shift_mm.as_json(),
        }


@dataclass(frozen=True, slots=True)
class Interference:
    """How two parts run into each other.

    Attributes
    ----------
    crossing : bool
        Whether the surfaces cross.
    contained : str
        "none", "first in second" or "second in first".
    depth_mm : Interval or None
        From the deepest point's distance to a shift verified to free the pair; None where open
        surfaces cross.
    freeing_direction : (3,) ndarray or None
        Unit direction in which the first part moves by ``depth_mm.upper`` to come free.  Of a
        turning pair the part that stands is the one to move; where the first turns, the second
        moves against the direction.
    shifts : tuple of FreeingShift
        Moving, each way; empty unless asked for and where surfaces are open.
    hits_deg : tuple of (float, float)
        From which angle to which a turning pair hits, as ``turn_angle_deg``, the second at most
        360 above the first; a hit shorter than 1° may be missing.  Empty unless asked for.
    """

    crossing: bool
    contained: str
    depth_mm: Interval | None
    freeing_direction: Vector | None
    shifts: tuple[FreeingShift, ...] = ()
    hits_deg: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Gap:
    """The least gap of two parts.

    Attributes
    ----------
    state : State
    gap_mm : Interval
        Certified for the meshes as given; negative when interfering.
    first_point_mm, second_point_mm : (3,) ndarray
        Closest points; the turning mesh already turned.
    first_triangle, second_triangle : int
        Face indices the points lie on.
    direction : (3,) ndarray
        Unit vector from first to second at the closest approach (zero where they coincide).
    turn_angle_deg : float or None
        Angle, right-handed about the axis, 0 ≤ angle < 360, by which the turning mesh was turned.
    first_rz_mm, second_rz_mm : (2,) ndarray or None
        Radius from the axis and height along it, from the axis point.
    interference : Interference or None
    findings : tuple of Finding
    """

    state: State
    gap_mm: Interval
    first_point_mm: Vector
    second_point_mm: Vector
    first_triangle: int
    second_triangle: int
    direction: Vector
    turn_angle_deg: float | None = None
    first_rz_mm: Vector | None = None
    second_rz_mm: Vector | None = None
    interference: Interference | None = None
    findings: tuple[Finding, ...] = field(default=())
