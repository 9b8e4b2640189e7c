"""The four hub diameters: rotor register, wheel register, flange in hat, housing in hat.

They must not be mixed up.  A register is a fit and centres something; flange and bearing housing
need room to turn.  A scanned diameter cannot decide a fit of some hundredths, but it can decide
that a housing is millimetres too large.

Verdicts follow ISO 14253-1 with the expanded uncertainties of both sizes.

References
----------
Limits and fits: ISO 286-2.  Room inside the hat, 0.5–1.0 mm a side, and what a turned housing or
spigot spoils: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clearturn.errors import InputError
from clearturn.result import HubResult, Machining, Verdict
from clearturn.trade import iso286

ROTOR_REGISTER = "rotor register"
WHEEL_REGISTER = "wheel register"
FLANGE_IN_HAT = "flange in hat"
HOUSING_IN_HAT = "housing in hat"

# A reading may use up a tenth of the wanted range (common practice, no source) …
_GAUGE_SHARE = 10.0
# … but nobody needs better than a micrometer, nor worse than a sliding caliper.
_GAUGE_FINEST_MM, _GAUGE_COARSEST_MM = 0.002, 0.05
# Machining below a calculated largest size: common practice for a turned clearance, no source.
_TURNED_MM = 0.1
_EXACT = 1e-6  # of the last digit told: a number that is exact in decimals stays as it is
# Least material between an opened bore and the stud holes; common practice, no source.
LEAST_EDGE_MM = 5.0


@dataclass(frozen=True, slots=True)
class KnownSize:
    """A diameter, how sure it is (expanded, k = 2), and where it came from."""

    diameter_mm: float
    uncertainty_mm: float
    source: str

    def __post_init__(self) -> None:
        for value, least in ((self.diameter_mm, 1e-6), (self.uncertainty_mm, 0.0)):
            if not math.isfinite(value) or value < least:
                raise InputError(
                    "a diameter must be positive and its uncertainty not negative",
                    place=self.source,
                    found=f"{self.diameter_mm:g} ± {self.uncertainty_mm:g} mm",
                )


@dataclass(frozen=True, slots=True)
class Wanted:
    """The diametral clearance wanted, hole minus shaft, mm, and its name."""

    least_mm: float
    most_mm: float
    name: str

    @property
    def width_mm(self) -> float:
        """Greatest minus least clearance."""
        return self.most_mm - self.least_mm


def wanted_fit(nominal_mm: float, fit: str) -> Wanted:
    """Return the clearance of a fit, as "H7/g6", at a nominal diameter.

    Raises
    ------
    InputError
        If the class or the diameter is not in the table.
    """
    found = iso286.fit(fit, nominal_mm)
    return Wanted(found.least_clearance_mm, found.greatest_clearance_mm, f"{found.name}, ISO 286-2")


@dataclass(frozen=True, slots=True)
class _Sizes:
    """Clearance found, and how sure it is."""

    clearance_mm: float
    uncertainty_mm: float

    @property
    def low_mm(self) -> float:
        return self.clearance_mm - self.uncertainty_mm

    @property
    def high_mm(self) -> float:
        return self.clearance_mm + self.uncertainty_mm


def _compare(shaft: KnownSize, hole: KnownSize) -> _Sizes:
    return _Sizes(
        hole.diameter_mm - shaft.diameter_mm,
        math.hypot(shaft.uncertainty_mm, hole.uncertainty_mm),
    )


def judge_register(
    check: str,
    shaft: KnownSize,
    hole: KnownSize,
    wanted: Wanted,
    *,
    hole_part: str,
    also_centres: str = "",
    edge_mm: float | None = None,
) -> HubResult:
    """Judge a register in its bore, and say what to bore to which size.

    Parameters
    ----------
    check : str
        `ROTOR_REGISTER` or `WHEEL_REGISTER`.
    shaft, hole : KnownSize
        Spigot and bore.
    wanted : Wanted
        Clearance of the fit.
    hole_part : str
        The part whose bore may be opened ("rotor hat").
    also_centres : str
        What the spigot centres beside this; turning it down would spoil that.
    edge_mm : float, optional
        Radial material between the bore as it is and the stud holes.

    Returns
    -------
    HubResult
        "clears" if the clearance lies in the wanted range with U to spare on both ends, "fails"
        if it lies outside by more than U, else "not proven" with the gauge reading that decides.
    """
    sizes = _compare(shaft, hole)
    needed = (
        f"clearance {wanted.least_mm:.3f} to {wanted.most_mm:.3f} mm on diameter ({wanted.name})"
    )
    machine, spoils = None, []
    if sizes.high_mm < wanted.least_mm:
        verdict = Verdict.FAILS
        machine = _open_bore(shaft, hole, wanted, hole_part)
        spoils += _edge_spoils(machine.per_side_mm, edge_mm)
        if also_centres:
            spoils.append(
                f"do not turn the spigot down instead: it also centres the {also_centres}"
            )
    elif sizes.low_mm > wanted.most_mm:
        verdict = Verdict.FAILS
        needed += (
            f"; the bore is too large by {sizes.clearance_mm - wanted.most_mm:.3f} mm and cannot "
            "be machined back: a centring ring or another part is needed"
        )
    elif sizes.low_mm >= wanted.least_mm and sizes.high_mm <= wanted.most_mm:
        verdict = Verdict.CLEARS
    else:
        verdict = Verdict.NOT_PROVEN
    gauge = _register_gauge(shaft, hole, wanted, verdict, machine)
    return _result(check, shaft, hole, needed, sizes, machine, gauge, spoils, verdict)


def _open_bore(shaft: KnownSize, hole: KnownSize, wanted: Wanted, part: str) -> Machining:
    # Told in micrometres, rounded so that what is told lies within what is wanted.
    least = math.ceil((shaft.diameter_mm + wanted.least_mm) * 1000.0 - _EXACT) / 1000.0
    most = math.floor((shaft.diameter_mm + wanted.most_mm) * 1000.0 + _EXACT) / 1000.0
    return Machining(
        part,
        least,
        (least - hole.diameter_mm) / 2.0,
        f"+{max(most - least, 0.0):.3f} / 0 mm",
    )


def _edge_spoils(per_side_mm: float, edge_mm: float | None) -> list[str]:
    if edge_mm is None:
        return []
    left = edge_mm - per_side_mm
    if left < LEAST_EDGE_MM:
        return [
            f"leaves only {left:.1f} mm between bore and stud holes "
            f"({LEAST_EDGE_MM:g} mm is common practice)"
        ]
    return [f"leaves {left:.1f} mm between bore and stud holes"]


def _register_gauge(
    shaft: KnownSize,
    hole: KnownSize,
    wanted: Wanted,
    verdict: Verdict,
    machine: Machining | None,
) -> str | None:
    fine = _gauge_step(wanted.width_mm)
    if machine is not None:
        if shaft.uncertainty_mm <= wanted.width_mm / 4.0:
            return None
        return (
            f"measure the spigot with a micrometer to ±{fine:.3f} mm before boring (known to "
            f"±{shaft.uncertainty_mm:.3f} mm now) and bore to that reading "
            f"+{wanted.least_mm:.3f} … +{wanted.most_mm:.3f} mm"
        )
    if verdict is not Verdict.NOT_PROVEN:
        return None
    parts = []
    if shaft.uncertainty_mm > fine:
        parts.append(f"the spigot with a micrometer (known to ±{shaft.uncertainty_mm:.3f} mm now)")
    if hole.uncertainty_mm > fine:
        parts.append(f"the bore with a bore gauge (known to ±{hole.uncertainty_mm:.3f} mm now)")
    return f"measure {' and '.join(parts) or 'spigot and bore'}, each to ±{fine:.3f} mm"


def _gauge_step(width_mm: float) -> float:
    return min(max(width_mm / _GAUGE_SHARE, _GAUGE_FINEST_MM), _GAUGE_COARSEST_MM)


def judge_in_hat(
    check: str,
    shaft: KnownSize,
    hole: KnownSize,
    per_side_mm: float,
    *,
    shaft_part: str,
    wall_mm: float | None = None,
    least_wall_mm: float | None = None,
    spoils_if_turned: Sequence[str] = (),
) -> HubResult:
    """Judge something round inside the hat, and say what to turn down to which size.

    Parameters
    ----------
    check : str
        `FLANGE_IN_HAT` or `HOUSING_IN_HAT`.
    shaft, hole : KnownSize
        Outer diameter of the part, inner diameter of the hat.
    per_side_mm : float
        Radial clearance needed.
    shaft_part : str
        The part that would be turned down.
    wall_mm, least_wall_mm : float, optional
        Its wall as it is, and what must stay.
    spoils_if_turned : sequence of str
        What turning it down would spoil, whatever the amount.

    Returns
    -------
    HubResult
    """
    sizes = _compare(shaft, hole)
    need = 2.0 * per_side_mm
    # Told in hundredths, rounded down: a shaft of the size told has its room.
    largest = math.floor((hole.diameter_mm - need) * 100.0 + _EXACT) / 100.0
    needed = f"at least {per_side_mm:g} mm a side: at most Ø {largest:.2f} in Ø "
    needed += f"{hole.diameter_mm:.2f}"
    machine, gauge, spoils = None, None, []
    if sizes.low_mm >= need:
        verdict = Verdict.CLEARS
    elif sizes.high_mm < need:
        verdict = Verdict.FAILS
        machine = Machining(
            shaft_part, largest, (shaft.diameter_mm - largest) / 2.0, f"0 / −{_TURNED_MM:g} mm"
        )
        spoils = [*spoils_if_turned, *_wall_spoils(machine.per_side_mm, wall_mm, least_wall_mm)]
        if machine.per_side_mm < 2.0 * shaft.uncertainty_mm:
            gauge = _outer_gauge(shaft_part, shaft, hole)
        elif hole.uncertainty_mm > _GAUGE_COARSEST_MM:
            gauge = (
                f"measure the hat's inside to ±{_GAUGE_COARSEST_MM:g} mm before turning (known to "
                f"±{hole.uncertainty_mm:.3f} mm now) and turn the {shaft_part} to that reading "
                f"−{need:.2f} mm"
            )
    else:
        verdict = Verdict.NOT_PROVEN
        gauge = _outer_gauge(shaft_part, shaft, hole)
    return _result(check, shaft, hole, needed, sizes, machine, gauge, spoils, verdict)


def _outer_gauge(part: str, shaft: KnownSize, hole: KnownSize) -> str:
    if hole.uncertainty_mm > shaft.uncertainty_mm:
        return f"measure the hat's inside to ±0.05 mm (known to ±{hole.uncertainty_mm:.3f} mm now)"
    return f"measure the {part} to ±0.05 mm (known to ±{shaft.uncertainty_mm:.3f} mm now)"


def _wall_spoils(
    per_side_mm: float, wall_mm: float | None, least_wall_mm: float | None
) -> list[str]:
    if wall_mm is None:
        return ["the wall left after turning is not known: measure it with the bearing out"]
    left = wall_mm - per_side_mm
    told = f"leaves a wall of {left:.2f} mm of {wall_mm:.2f} mm"
    if least_wall_mm is None:
        return [told]
    if left < least_wall_mm:
        return [f"{told}, less than the {least_wall_mm:.2f} mm that must stay: do not turn it"]
    return [f"{told}; {least_wall_mm:.2f} mm must stay"]


HOUSING_SPOILS = (
    "the bearing must come out before turning; fit a new one and measure the hub face again",
    "check the seal's land and the wheel-speed sensor's place; keep chips off magnets",
)
FLANGE_SPOILS = ("the studs' edge distance and the flange's run-out must be checked again",)


def _result(
    check: str,
    shaft: KnownSize,
    hole: KnownSize,
    needed: str,
    sizes: _Sizes,
    machine: Machining | None,
    gauge: str | None,
    spoils: Sequence[str],
    verdict: Verdict,
) -> HubResult:
    return HubResult(
        check=check,
        shaft_mm=shaft.diameter_mm,
        shaft_uncertainty_mm=shaft.uncertainty_mm,
        shaft_source=shaft.source,
        hole_mm=hole.diameter_mm,
        hole_uncertainty_mm=hole.uncertainty_mm,
        hole_source=hole.source,
        needed=needed,
        clearance_mm=sizes.clearance_mm,
        machine=machine,
        gauge_first=gauge,
        spoils=tuple(spoils),
        verdict=verdict,
    )
