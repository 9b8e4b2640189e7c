"""The measurement that would settle a "not proven", and where to make it."""

from __future__ import annotations

from collections.abc import Sequence

from clearturn.result import PlacedPart
from clearturn.verdict.uncertainty import Contribution, combine, rectangular

GAUGE_LIMIT_MM = 0.05
"""What a feeler gauge in a careful hand may be off by, ± (common practice, no source)."""


def settle_sentence(
    first: PlacedPart,
    second: PlacedPart,
    *,
    clock_deg: float,
    r_mm: float,
    z_mm: float,
    required_mm: float,
    allowances_mm: float,
    contributions: Sequence[Contribution],
    coverage_factor: float,
    turns: bool,
    sign_unknown: bool,
) -> str:
    """Return what to measure, where, and which reading clears the pair.

    A gauge reading replaces the scan, its datums and its noise, so only the gauge's own
    uncertainty and the allowances of service stay in the sum.
    """
    where = f"clock {clock_deg:.0f}°, r {r_mm:.1f} mm, z {z_mm:.1f} mm from the hub face"
    if sign_unknown:
        return (
            f"Scan {first.name} and {second.name} again around {where}, so that the surface is "
            "closed there: with holes it cannot be told whether one lies inside the other"
        )
    needed = required_mm + allowances_mm + coverage_factor * rectangular(GAUGE_LIMIT_MM)
    made = [part.name for part in (first, second) if "dimensions" in part.source]
    how = (
        f"with {' and '.join(made)} in place as a plate cut to the outline"
        if made
        else "with both parts in place"
    )
    turn = ", turning the wheel through a full turn" if turns else ""
    return (
        f"Measure the gap at {where} with feeler gauges, {how}{turn}: the pair clears from "
        f"{needed:.2f} mm upwards{_biggest(contributions)}"
    )


def _biggest(contributions: Sequence[Contribution]) -> str:
    if not contributions:
        return ""
    biggest = max(contributions, key=lambda c: c.standard_mm)
    total = combine(c.standard_mm for c in contributions)
    if total <= 0:
        return ""
    share = (biggest.standard_mm / total) ** 2
    return f" (largest doubt now: {biggest.name}, {share:.0%} of the variance)"
