"""Every sum by its name in the job file: read, checked, computed; sizes that must agree."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from clearturn.envelope.dimensions import CaliperDimensions, RotorDimensions
from clearturn.findings import Finding
from clearturn.trade import (
    axle_sheet,
    balance,
    bracket,
    heat,
    hub_fits,
    joints,
    kit,
    mass,
    pads,
    parking,
    ring_joint,
    run_out,
)
from clearturn.trade.axle_sheet import AxleSheet, Row
from clearturn.trade.inputs import SumProblem, read_inputs, schema_of
from clearturn.trade.kit import NamedSize
from clearturn.trade.sheet import Sheet, num, worst

_RADIUS_SLACK_MM = 2.0  # an effective radius is not known better
_HEIGHT_SLACK_MM = 0.05
# Of the bracket's peak torque, below which another joint is judged too lightly, and of the axle's
# load under braking, below which the bracket is.
_TORQUE_SHARE = 0.98
_AXLE_SHARE = 0.95


@dataclass(frozen=True, slots=True)
class Sum:
    """One sum: the class of its inputs and what shows it."""

    inputs: type
    sheet: Callable[[Any], Sheet]


# In the order of the route card.
SUMS: dict[str, Sum] = {
    "kit": Sum(kit.Kit, kit.sheet),
    "pads": Sum(pads.Pads, pads.sheet),
    "ring_joint": Sum(ring_joint.RingJoint, ring_joint.sheet),
    "bracket": Sum(bracket.Bracket, bracket.sheet),
    "hub_fits": Sum(hub_fits.HubFits, hub_fits.sheet),
    "bolts": Sum(joints.Bolts, joints.sheet),
    "brake_balance": Sum(balance.BrakeBalance, balance.sheet),
    "parking_brake": Sum(parking.Parking, parking.sheet),
    "heat": Sum(heat.Heat, heat.sheet),
    "run_out": Sum(run_out.RunOut, run_out.sheet),
    "mass": Sum(mass.Mass, mass.sheet),
    "axle_sheet": Sum(AxleSheet, axle_sheet.sheet),
}


def read_sum(name: str, content: object) -> Any:
    """Return the inputs of a sum from its object of the job file.

    Raises
    ------
    SumProblem
        If there is no sum of this name or its content makes no sense; the path begins with the
        sum's name.
    """
    if name not in SUMS:
        raise SumProblem(
            "there is no sum of this name", name, found=repr(name), allowed=", ".join(SUMS)
        )
    try:
        return read_inputs(SUMS[name].inputs, content)
    except SumProblem as problem:
        raise problem.under(name) from None


def problems(sums: Mapping[str, object]) -> Iterator[SumProblem]:
    """Yield the first fault of each sum of a job, at its path under ``sums``."""
    for name, content in sums.items():
        try:
            read_sum(name, content)
        except SumProblem as problem:
            yield problem


def schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a job file's ``sums``."""
    parts: dict[str, Any] = {}
    shared: dict[str, Any] = {}
    for name, entry in SUMS.items():
        part = schema_of(entry.inputs)
        shared |= part.pop("$defs", {})
        parts[name] = part
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Sums of a Clearturn job",
        "type": "object",
        "properties": parts,
        "additionalProperties": False,
        "$defs": shared,
    }


@dataclass(frozen=True, slots=True)
class SumsResult:
    """Every sum of a job, in the order of the route, and what disagrees between them."""

    sheets: tuple[Sheet, ...]
    findings: tuple[Finding, ...]

    @property
    def word(self) -> str:
        """The worst word of all sums."""
        words = tuple(sheet.word for sheet in self.sheets)
        failing = any(finding.severity == "error" for finding in self.findings)
        return "fails" if failing else worst(words)

    def as_json(self) -> dict[str, Any]:
        """Return all of it as plain lists, numbers and words."""
        return {
            "verdict": self.word if self.sheets else None,
            "sums": [sheet.as_json() for sheet in self.sheets],
            "findings": [finding.as_json() for finding in self.findings],
        }


def compute_sums(
    sums: Mapping[str, object],
    rotor: RotorDimensions | None = None,
    caliper: CaliperDimensions | None = None,
) -> SumsResult:
    """Return every sum of a job.

    Parameters
    ----------
    sums : mapping of str to object
        As the job file holds them.
    rotor, caliper : dimensions of the corner, optional
        Their sizes must agree with those in the sums.

    Raises
    ------
    SumProblem
        For the first sum that makes no sense.
    """
    read = {name: read_sum(name, content) for name, content in sums.items()}
    sheets = {
        name: SUMS[name].sheet(read[name]) for name in SUMS if name in read and name != "axle_sheet"
    }
    if "axle_sheet" in read:
        sheets["axle_sheet"] = axle_sheet.sheet(read["axle_sheet"], found_rows(read))
    return SumsResult(tuple(sheets.values()), tuple(disagreements(read, rotor, caliper)))


def found_rows(read: Mapping[str, Any]) -> tuple[Row, ...]:
    """Return what the sums say of the axle, old against new."""
    rows: list[Row] = []
    if "brake_balance" in read:
        found = balance.compute(read["brake_balance"])
        source = "brake balance"
        rows += [
            Row(f"{axle} wheel's torque at 100 bar", "N·m", found.old_torque_nm[i],
                found.new_torque_nm[i], 0, source)
            for i, axle in enumerate(("front", "rear"))
        ]  # fmt: skip
        shares = (100 * found.old_share, 100 * found.new_share)
        rows.append(Row("front's share", "%", *shares, 1, source))
        if found.old_pedal and found.new_pedal:
            ways = (found.old_pedal.pedal_travel_mm, found.new_pedal.pedal_travel_mm)
            rows.append(Row("pedal travel", "mm", *ways, 0, source))
    if "mass" in read:
        weighed = mass.compute(read["mass"])
        rows.append(Row("mass of the corner", "kg", weighed.old_kg, weighed.new_kg, 2, "mass"))
        inertia = (weighed.old_inertia_kg_m2, weighed.new_inertia_kg_m2)
        rows.append(Row("inertia of what turns", "kg·m²", *inertia, 4, "mass"))
    if "heat" in read:
        rise = heat.compute(read["heat"]).rise_k[1]
        rows.append(Row("ring hotter after one stop by", "K", None, rise, 0, "heat"))
    return tuple(rows)


def disagreements(
    read: Mapping[str, Any], rotor: RotorDimensions | None, caliper: CaliperDimensions | None
) -> Iterator[Finding]:
    """Yield what one part is given with two values for, in the sums or against the corner."""
    for clash in kit.clashes(tuple(_sizes(read, rotor, caliper))):
        yield Finding(
            "part-with-two-sizes",
            "error",
            f"{clash.part}, {clash.what}: {num(clash.first_mm)} mm ({clash.first_where}) and "
            f"{num(clash.second_mm)} mm ({clash.second_where})",
        )
    if rotor is not None and "bracket" in read:
        height, wanted = read["bracket"].ring_mid_z_mm, rotor.ring_mid_z_mm
        if abs(height - wanted) > _HEIGHT_SLACK_MM:
            text = (
                f"the bracket takes the ring's middle at z {num(height)} mm, the corner's rotor "
                f"has it at {num(wanted)} mm"
            )
            yield Finding("part-with-two-sizes", "error", text)
    yield from _radii(read)
    yield from _loads(read)


def _axle_load(read: Mapping[str, Any], load: bracket.Load) -> Iterator[Finding]:
    """Yield that the axle carries more at the bracket's deceleration than its load takes."""
    if "brake_balance" not in read:
        return
    behind = "axle_sheet" in read and "rear" in read["axle_sheet"].axle.lower()
    car: balance.BrakeBalance = read["brake_balance"]
    for state in car.states:
        loads = balance.axle_loads(state, car.wheelbase_mm, load.deceleration_g)
        carried = loads[1 if behind else 0]
        if load.axle_kg < _AXLE_SHARE * carried:
            text = (
                f"the bracket's load takes {num(load.axle_kg, 0)} kg on the axle, {state.name} at "
                f"{num(load.deceleration_g)} g it carries {num(carried, 0)} kg"
            )
            yield Finding("load-disagrees", "warning", text)


def _loads(read: Mapping[str, Any]) -> Iterator[Finding]:
    if "bracket" not in read:
        return
    load = read["bracket"].load
    yield from _axle_load(read, load)
    peak = max(bracket.force_from_grip_n(load), bracket.force_from_pressure_n(load))
    torque = peak * load.effective_radius_mm / 1000.0
    taken: list[tuple[str, float]] = []
    if "bolts" in read:
        taken += [(f"bolts of {b.name}", b.brake_torque_nm) for b in read["bolts"].caliper_bolts]
    if "ring_joint" in read:
        taken.append(("the ring-to-hat joint", read["ring_joint"].brake_torque_nm))
    for name, entered in taken:
        if entered < _TORQUE_SHARE * torque:
            text = (
                f"{name}: judged with {num(entered, 0)} N·m, the bracket's peak load is "
                f"{num(torque, 0)} N·m"
            )
            yield Finding("load-disagrees", "warning", text)


def _sizes(
    read: Mapping[str, Any], rotor: RotorDimensions | None, caliper: CaliperDimensions | None
) -> Iterator[NamedSize]:
    if rotor is not None:
        corner = "corner.rotor"
        yield NamedSize("rotor", "ring diameter", rotor.ring_outer_diameter_mm, corner)
        yield NamedSize("rotor", "ring's inner diameter", rotor.ring_inner_diameter_mm, corner)
        yield NamedSize("rotor", "bolt circle", rotor.bolt_circle_diameter_mm, corner)
        yield NamedSize("rotor", "hat's inner diameter", rotor.hat_inner_diameter_mm, corner)
    if "pads" in read:
        ring = read["pads"]
        outer, inner = ring.ring_outer_diameter_mm, ring.ring_inner_diameter_mm
        yield NamedSize("rotor", "ring diameter", outer, "sums.pads")
        yield NamedSize("rotor", "ring's inner diameter", inner, "sums.pads")
    if "kit" in read:
        entered = read["kit"]
        yield NamedSize("rotor", "ring diameter", entered.ring_diameter_mm, "sums.kit")
        if caliper is not None and rotor is not None:
            outer = entered.ring_diameter_mm + 2 * (entered.bridge_gap_mm + entered.bridge_mm)
            over = "diameter over the bridge"
            yield NamedSize("caliper", over, outer, "sums.kit", 0.5)
            yield NamedSize("caliper", over, 2 * caliper.outer_radius_mm, "corner.caliper", 0.5)
    if "hub_fits" in read and (holes := read["hub_fits"].stud_holes) is not None:
        yield NamedSize("rotor", "bolt circle", holes.bolt_circle_mm, "sums.hub_fits")
    if "hub_fits" in read and (housing := read["hub_fits"].housing) is not None:
        yield NamedSize("rotor", "hat's inner diameter", housing.hat_inner_mm, "sums.hub_fits")


def _radii(read: Mapping[str, Any]) -> Iterator[Finding]:
    if "pads" not in read:
        return
    found = pads.compute(read["pads"])
    low = found.wear_radius_mm - _RADIUS_SLACK_MM
    high = found.pressure_radius_mm + _RADIUS_SLACK_MM
    taken: list[tuple[str, float]] = []
    if "brake_balance" in read and (front := read["brake_balance"].new_front) is not None:
        taken.append(("the brake balance's new front", front.effective_radius_mm))
    if "bolts" in read:
        taken += [
            (f"bolts of {b.name}", b.effective_radius_mm) for b in read["bolts"].caliper_bolts
        ]
    if "bracket" in read:
        taken.append(("the bracket's load", read["bracket"].load.effective_radius_mm))
    for name, radius in taken:
        if not low <= radius <= high:
            text = (
                f"{name}: effective radius {num(radius, 1)} mm, the pads give "
                f"{num(found.wear_radius_mm, 1)} to {num(found.pressure_radius_mm, 1)} mm"
            )
            yield Finding("radius-disagrees", "warning", text)
