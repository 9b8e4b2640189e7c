"""What the job declares and the answer takes for granted: weights, seats, pairs set apart."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

from clearturn.report import figures
from clearturn.report.blocks import Context, Items, Section, Text
from clearturn.report.lettering import foreign

if TYPE_CHECKING:
    from clearturn.job.judging import Requirements
    from clearturn.job.model import Axle, BalanceWeights, Corner, PairRule


def _weights(weights: BalanceWeights) -> str:
    band = f"z {figures.mm(weights.z_from_mm, 1)} to {figures.mm(weights.z_to_mm, 1)} of the wheel"
    thick = f"{figures.mm(weights.thickness_mm)} mm thick"
    if weights.where == "not in band":
        return (
            f"{band} is declared free of balance weights. A weight there takes up to "
            f"{figures.mm(weights.thickness_mm)} mm off a gap and voids this report."
        )
    if weights.where == "only in band":
        return f"only in {band}, {thick}; nowhere else on the barrel."
    return f"anywhere on the barrel, {thick}."


def _rule(rule: PairRule) -> tuple[str, str]:
    name = f"{foreign(rule.first, 48)} – {foreign(rule.second, 48)}"
    if not rule.judged:
        return name, f"not judged: {foreign(rule.reason)}"
    if rule.required_mm is not None:
        return name, f"{figures.mm(rule.required_mm)} mm asked: {foreign(rule.reason)}"
    return name, foreign(rule.reason)


def _changed(requirements: Requirements) -> list[str]:
    """Return the required gaps that differ from the program's own."""
    return [
        f"{field.name.removesuffix('_mm').replace('_', ' ')} "
        f"{figures.mm(getattr(requirements, field.name))} mm (else {figures.mm(field.default)})"
        for field in fields(requirements)
        if isinstance(field.default, float) and getattr(requirements, field.name) != field.default
    ]


def _of_corner(corner: Corner) -> list[tuple[str, str]]:
    items = [("Balance weights", _weights(corner.weights))]
    items += [
        (
            f"Seat “{foreign(seat.name, 48)}”",
            f"{foreign(seat.part, 48)} sits on {foreign(seat.on, 48)}: the seated faces and what "
            "lies within 3 mm of their rim are left out of the gap of these two.",
        )
        for seat in corner.seats
    ]
    items += [_rule(rule) for rule in corner.pairs]
    changed = _changed(corner.requirements)
    said = f"; changed in the job: {', '.join(changed)}" if changed else ""
    items.append(("Required gaps", f"common practice, no source{said}."))
    return items


def _of_axle(axle: Axle, several: bool) -> list[tuple[str, str]]:
    head = f"{axle.name}: " if several else ""
    return [(head + name, text) for name, text in _of_corner(axle.corner)]


def declared(context: Context) -> Section | None:
    """Return what the job declares, or None for a job without a corner."""
    axles = context.result.job.axles
    if not axles:
        return None
    items = [item for axle in axles for item in _of_axle(axle, len(axles) > 1)]
    lead = Text("The answer takes these for granted, because the job says so.")
    return Section("Declared in the job", (lead, Items(tuple(items))))
