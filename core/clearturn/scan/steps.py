"""The recorded steps of cleaning.  A scan file is never changed; a step is what is kept of it.

Steps about a region take a triangle only if it lies *wholly* in it: no triangle is ever cut, so
every point of a cleaned scan is a point of the scan.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clearturn.errors import InputError
from clearturn.units import mm_per

Vec3 = tuple[float, float, float]
Z: Vec3 = (0.0, 0.0, 1.0)
ORIGIN: Vec3 = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class ChangeUnit:
    """Take the numbers in another unit than they were taken in.

    Attributes
    ----------
    was, is_ : {"mm", "cm", "m", "in"}
    """

    was: str
    is_: str

    def __post_init__(self) -> None:
        mm_per(self.was)
        mm_per(self.is_)


@dataclass(frozen=True, slots=True)
class DropBadTriangles:
    """Leave out degenerate triangles and all but the first of those with the same corners."""


@dataclass(frozen=True, slots=True)
class DropSmallPieces:
    """Leave out pieces below a size; at least one size is given, and either suffices.

    Attributes
    ----------
    below_triangles : int or None
    below_mm : float or None
        Diagonal of the piece's bounding box.
    """

    below_triangles: int | None = None
    below_mm: float | None = None

    def __post_init__(self) -> None:
        if self.below_triangles is None and self.below_mm is None:
            raise InputError("a step that drops small pieces needs a size", mend="give one")
        _finite("below_mm", self.below_mm)


@dataclass(frozen=True, slots=True)
class DropPiece:
    """Leave out the piece whose surface is nearest to a touched point."""

    seed_mm: Vec3

    def __post_init__(self) -> None:
        _finite("seed_mm", *self.seed_mm)


@dataclass(frozen=True, slots=True)
class DropBeyondPlane:
    """Leave out what lies wholly on the side of a plane its normal points to.

    Attributes
    ----------
    point_mm : point on the plane
    normal : of any length
    """

    point_mm: Vec3
    normal: Vec3

    def __post_init__(self) -> None:
        _finite("point_mm", *self.point_mm)
        _direction("normal", self.normal)


@dataclass(frozen=True, slots=True)
class KeepBox:
    """Keep only what lies wholly inside a box along the axes."""

    from_mm: Vec3
    to_mm: Vec3

    def __post_init__(self) -> None:
        _box(self.from_mm, self.to_mm)


@dataclass(frozen=True, slots=True)
class DropBox:
    """Leave out what lies wholly inside a box along the axes."""

    from_mm: Vec3
    to_mm: Vec3

    def __post_init__(self) -> None:
        _box(self.from_mm, self.to_mm)


@dataclass(frozen=True, slots=True)
class DropBand:
    """Leave out what lies wholly inside a body of revolution about an axis.

    Attributes
    ----------
    r_from_mm, r_to_mm, z_from_mm, z_to_mm : float or None
        Radius from the axis, height along it from its point; an end left out is open.
    """

    r_from_mm: float | None = None
    r_to_mm: float | None = None
    z_from_mm: float | None = None
    z_to_mm: float | None = None
    axis_point_mm: Vec3 = ORIGIN
    axis_direction: Vec3 = Z

    def __post_init__(self) -> None:
        ends = (self.r_from_mm, self.r_to_mm, self.z_from_mm, self.z_to_mm)
        _finite("the band", *ends, *self.axis_point_mm)
        _direction("axis_direction", self.axis_direction)
        if all(end is None for end in ends):
            raise InputError(
                "a band needs an end", allowed="at least one of r and z", mend="give it"
            )


@dataclass(frozen=True, slots=True)
class TurnFlippedPieces:
    """Turn pieces that are inside out for certain, so that their outside is outside."""


@dataclass(frozen=True, slots=True)
class FillHoles:
    """Close holes up to a size with invented surface, which stays marked.

    Attributes
    ----------
    up_to_mm : float
        Largest diagonal of the box around a hole's rim.
    """

    up_to_mm: float

    def __post_init__(self) -> None:
        _finite("up_to_mm", self.up_to_mm)
        if self.up_to_mm <= 0.0:
            raise InputError(
                "a hole's size must be above zero", place="up_to_mm", found=f"{self.up_to_mm:g}"
            )


Step = (
    ChangeUnit | DropBadTriangles | DropSmallPieces | DropPiece | DropBeyondPlane | KeepBox
    | DropBox | DropBand | TurnFlippedPieces | FillHoles
)  # fmt: skip

# What nobody misses: takes no measured surface away.
STANDARD_STEPS: tuple[Step, ...] = (DropBadTriangles(), TurnFlippedPieces())


def _finite(place: str, *values: float | None) -> None:
    for value in values:
        if value is not None and not math.isfinite(value):
            raise InputError("not a finite number", place=place, found=f"{value}")


def _direction(place: str, direction: Vec3) -> None:
    _finite(place, *direction)
    if not any(direction):
        raise InputError("a direction must not be zero", place=place, found=f"{direction}")


def _box(low: Vec3, high: Vec3) -> None:
    _finite("the box", *low, *high)
    if any(a > b for a, b in zip(low, high, strict=True)):
        raise InputError(
            "a box's first corner must be the lower one", found=f"{low} to {high}", mend="swap them"
        )
