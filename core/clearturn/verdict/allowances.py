"""What a gap may lose in service, projected on the gap's direction.

At a close place the unit direction n points from the first part to the second, and the gap grows by
n·δ when the second part moves by δ against the first (closed-form derivative of a distance).  Not
everything is such a signed displacement: an eccentric or axially running-out part passes through
every phase in one turn, so it always costs and never gains.

Costs are positive where they take something off the gap.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.errors import InputError
from clearturn.job.judging import OwnAllowance
from clearturn.result import Allowance
from clearturn.verdict.uncertainty import Contribution, within_limit

if TYPE_CHECKING:
    from clearturn.job.judging import AllowanceEntry
    from clearturn.result import PlacedPart

Array = NDArray[np.float64]

TILT_ARM_MM = 100.0
"""Lever arm at which the value of a "tilt" allowance is stated."""

_AXES: dict[str, tuple[float, float, float]] = {
    "outboard": (0.0, 0.0, 1.0),
    "inboard": (0.0, 0.0, -1.0),
    "up": (0.0, 1.0, 0.0),
    "down": (0.0, -1.0, 0.0),
    "+x": (1.0, 0.0, 0.0),
    "-x": (-1.0, 0.0, 0.0),
}


@dataclass(frozen=True, slots=True)
class Places:
    """Close places of one pair, in the hub frame.

    Attributes
    ----------
    points : (m, 3) ndarray
        Where, mm; with the turning part already turned.
    directions : (m, 3) ndarray
        Unit vectors from the first part to the second; a row of zeros where no direction is
        known, which makes every allowance cost in full.
    """

    points: Array
    directions: Array

    @classmethod
    def of(cls, points: ArrayLike, directions: ArrayLike) -> Places:
        """Return places from one point and direction or from many."""
        p = np.atleast_2d(np.asarray(points, dtype=np.float64))
        n = np.atleast_2d(np.asarray(directions, dtype=np.float64))
        return cls(p, n)

    def radial(self) -> Array:
        """Return the unit radius at every place, (m, 3); zero on the axis."""
        radius = np.hypot(self.points[:, 0], self.points[:, 1])
        safe = np.where(radius > 0, radius, 1.0)
        out = np.zeros_like(self.points)
        out[:, :2] = np.where(radius[:, None] > 0, self.points[:, :2] / safe[:, None], 0.0)
        return out

    def known(self) -> NDArray[np.bool_]:
        """Return where a direction is known, (m,)."""
        known: NDArray[np.bool_] = np.linalg.norm(self.directions, axis=1) > 0.5
        return known


@dataclass(frozen=True, slots=True)
class Applied:
    """An allowance at every place of a pair: cost (m,) mm; for "random" the limit instead."""

    entry: AllowanceEntry
    cost_mm: Array


def concerns(entry: AllowanceEntry, part: PlacedPart, wheel_parts: Sequence[str] = ()) -> bool:
    """Tell whether an allowance belongs to a part: by its name, its kind or as a wheel's part."""
    if isinstance(entry, OwnAllowance):
        return entry.part == part.name
    return entry.part in (part.name, part.kind) or (
        entry.part == "wheel" and part.name in wheel_parts
    )


def project(
    entries: Iterable[AllowanceEntry],
    first: PlacedPart,
    second: PlacedPart,
    places: Places,
    wheel_parts: Sequence[str] = (),
) -> tuple[Applied, ...]:
    """Project allowances on the gap at every place; those of other parts are left out.

    Parameters
    ----------
    entries : iterable of AllowanceEntry
    first, second : PlacedPart
        The pair.
    places : Places
    wheel_parts : sequence of str
        Names of parts that also answer to "wheel".

    Raises
    ------
    InputError
        If a direction or kind is unknown, or a value that may not be negative is.
    """
    found = []
    for entry in entries:
        on_first = concerns(entry, first, wheel_parts)
        on_second = concerns(entry, second, wheel_parts)
        if entry.part and not (on_first or on_second):
            continue
        found.append(Applied(entry, _cost(entry, places, on_first, on_second)))
    return tuple(found)


def _cost(entry: AllowanceEntry, places: Places, on_first: bool, on_second: bool) -> Array:
    value = float(entry.value_mm)
    if not np.isfinite(value):
        raise InputError("an allowance must be a finite number", place=entry.name)
    if entry.kind == "shift":
        return _shift_cost(entry, value, places, on_first, on_second)
    if entry.kind not in ("always costs", "random"):
        raise InputError(
            "this kind of allowance is not known",
            place=entry.name,
            found=repr(entry.kind),
            allowed="shift, always costs, random",
        )
    if value < 0:
        raise InputError(
            f'an allowance that is "{entry.kind}" cannot be negative',
            place=entry.name,
            found=f"{value:g} mm",
            mend='use kind "shift" for a displacement with a sign',
        )
    one_sided = entry.kind == "always costs" and entry.direction not in _BOTH_WAYS
    if one_sided and on_first != on_second:
        # It happens at times and in one sense only: it costs where it closes the gap.
        return np.asarray(np.maximum(_shift_cost(entry, value, places, on_first, on_second), 0.0))
    return np.asarray(value * _share(entry, places))


_BOTH_WAYS = ("gap", "radial", "axial", "tilt")


def _share(entry: AllowanceEntry, places: Places) -> Array:
    # How much of a unit displacement of either sign bears on the gap.
    if entry.direction == "gap":
        return np.ones(len(places.points))
    share = np.abs(_along(entry, places))
    return np.asarray(np.where(places.known(), share, _lever(entry, places)))


def _shift_cost(
    entry: AllowanceEntry, value: float, places: Places, on_first: bool, on_second: bool
) -> Array:
    if on_first and on_second and entry.direction != "gap":
        return np.zeros(len(places.points))  # both move alike
    if entry.direction == "gap":
        return np.full(len(places.points), value)
    if entry.direction in ("radial", "axial", "tilt") or not (on_first or on_second):
        # Neither the sense nor the part that moves is known: take it as closing the gap.
        return np.asarray(abs(value) * _share(entry, places))
    along = _along(entry, places)
    signed = value * (along if on_first else -along)
    return np.asarray(np.where(places.known(), signed, abs(value)))


def _along(entry: AllowanceEntry, places: Places) -> Array:
    """Return n·(displacement of unit size), (m,)."""
    n = places.directions
    word = entry.direction
    if word in _AXES:
        return np.asarray(n @ np.array(_AXES[word]), dtype=np.float64)
    if word in ("radial", "outward"):
        return np.asarray(np.einsum("ij,ij->i", n, places.radial()), dtype=np.float64)
    if word == "inward":
        return np.asarray(-np.einsum("ij,ij->i", n, places.radial()), dtype=np.float64)
    if word == "axial":
        return np.asarray(n[:, 2], dtype=np.float64)
    if word == "tilt":
        # ω along x (a wheel leaning in a corner): ω × p = ω (0, −z, y).
        p = places.points / TILT_ARM_MM
        return np.asarray(-n[:, 1] * p[:, 2] + n[:, 2] * p[:, 1], dtype=np.float64)
    raise InputError(
        "this direction of an allowance is not known",
        place=entry.name,
        found=repr(word),
        allowed="gap, radial, axial, outward, inward, outboard, inboard, up, down, +x, -x, tilt",
    )


def _lever(entry: AllowanceEntry, places: Places) -> Array:
    if entry.direction == "tilt":
        return np.asarray(
            np.hypot(places.points[:, 1], places.points[:, 2]) / TILT_ARM_MM, dtype=np.float64
        )
    return np.ones(len(places.points))


def total_cost(applied: Iterable[Applied], count: int) -> Array:
    """Return the sum of all costs that are no random ones, (count,) mm."""
    total = np.zeros(count)
    for one in applied:
        if one.entry.kind != "random":
            total += one.cost_mm
    return total


def listed(applied: Iterable[Applied], place: int) -> tuple[Allowance, ...]:
    """Return the allowances as they act at one place; "random" ones with their standard."""
    out = []
    for one in applied:
        entry = one.entry
        amount = float(one.cost_mm[place])
        if entry.kind == "random":
            amount = within_limit(entry.name, amount, entry.source).standard_mm
        out.append(
            Allowance(entry.name, entry.kind, entry.value_mm, entry.direction, amount, entry.source)
        )
    return tuple(out)


def contributions(applied: Iterable[Applied], place: int) -> tuple[Contribution, ...]:
    """Return the random allowances at one place as contributions to the budget."""
    return tuple(
        within_limit(one.entry.name, float(one.cost_mm[place]), one.entry.source)
        for one in applied
        if one.entry.kind == "random"
    )
