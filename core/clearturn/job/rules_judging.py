"""What allowances and hub checks of a job must fulfil."""

from __future__ import annotations

import re
from collections.abc import Iterator

from clearturn.job.fault import Fault, unknown
from clearturn.job.judging import AllowanceEntry
from clearturn.job.model import Corner, HatCheck, RegisterCheck, Size
from clearturn.job.positions import JsonPath

_SHIFTS = ("gap", "outward", "inward", "outboard", "inboard", "up", "down", "+x", "-x")
_SPREADS = ("gap", "radial", "axial", "tilt")


def allowance_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    """Yield what is wrong with the allowances."""
    known = {part.name for part in corner.parts} | {part.kind for part in corner.parts}
    if known & {"barrel", "spokes"}:
        known.add("wheel")  # all its parts together
    for i, entry in enumerate(corner.allowances):
        yield from _one_allowance((*at, "allowances", i), entry, known)


def _one_allowance(at: JsonPath, entry: AllowanceEntry, known: set[str]) -> Iterator[Fault]:
    if entry.part:
        yield from unknown((*at, "part"), entry.part, sorted(known), "part or kind")
    allowed = {
        "shift": _SHIFTS,
        # With a sense of its own it costs where it closes the gap and never gains.
        "always costs": tuple(dict.fromkeys((*_SPREADS, *_SHIFTS))),
        "random": _SPREADS,
    }[entry.kind]
    if entry.direction not in allowed:
        yield Fault(
            (*at, "direction"),
            f"this direction does not go with {entry.kind!r}",
            found=repr(entry.direction),
            allowed=", ".join(repr(word) for word in allowed),
        )
    if entry.kind != "shift" and entry.value_mm < 0:
        yield Fault(
            (*at, "value_mm"),
            f"{entry.kind!r} takes off a gap and cannot be negative",
            found=f"{entry.value_mm:g}",
            allowed="0 or more",
        )
    if entry.kind == "shift" and entry.direction != "gap" and not entry.part:
        yield Fault((*at, "part"), "a shift needs the part that shifts")
    if not entry.source.strip():
        yield Fault((*at, "source"), "an allowance needs its source")


def hub_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    """Yield what is wrong with the hub checks."""
    checks = corner.hub_checks
    for key in ("rotor_register", "wheel_register", "flange_in_hat", "housing_in_hat"):
        check: RegisterCheck | HatCheck | None = getattr(checks, key)
        if check is None:
            continue
        here = (*at, "hub_checks", key)
        of_rotor = key != "wheel_register"
        yield from _size_faults((*here, "shaft"), check.shaft, corner, dimensions_serve=False)
        yield from _size_faults((*here, "hole"), check.hole, corner, dimensions_serve=of_rotor)
        if isinstance(check, RegisterCheck):
            yield from _fit_faults(here, check)


def _fit_faults(at: JsonPath, check: RegisterCheck) -> Iterator[Fault]:
    low, high = check.clearance_from_mm, check.clearance_to_mm
    if (low is None) != (high is None) or (low is not None and high is not None and low > high):
        yield Fault(
            (*at, "clearance_to_mm"),
            "a wanted clearance has two ends",
            found=f"{low} to {high}",
            allowed="clearance_from_mm not above clearance_to_mm, or neither",
        )
    if not re.fullmatch(r"[A-Z]{1,2}\d{1,2}/[a-z]{1,2}\d{1,2}", check.fit):
        yield Fault(
            (*at, "fit"), "not a fit", found=repr(check.fit), allowed="hole/shaft, as 'H7/g6'"
        )


def _size_faults(
    at: JsonPath, size: Size, corner: Corner, *, dimensions_serve: bool
) -> Iterator[Fault]:
    if size.source == "scan":
        datums = {datum.name: datum for datum in corner.datums}
        yield from unknown((*at, "datum"), size.datum or "", datums, "datum")
        if size.datum in datums and datums[size.datum].feature not in ("cylinder", "circle"):
            yield Fault(
                (*at, "datum"),
                "this feature has no diameter",
                found=f"a {datums[size.datum].feature}",
                allowed="cylinder or circle",
            )
    elif size.source == "dimensions":
        if not dimensions_serve or corner.rotor is None:
            yield Fault(
                (*at, "source"),
                "no dimensions of the corner hold this size",
                mend="give value_mm and uncertainty_mm",
            )
    elif size.value_mm is None or size.uncertainty_mm is None or size.value_mm <= 0:
        yield Fault(
            at,
            f"a size that is {size.source!r} needs its value and uncertainty",
            found=f"value_mm {size.value_mm}, uncertainty_mm {size.uncertainty_mm}",
            allowed="value_mm above 0 and uncertainty_mm 0 or more (expanded, k = 2)",
        )
