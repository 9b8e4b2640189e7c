"""Parking brake: what holds the vehicle on a slope, at the lever and at the cable.

    force along the slope  m g sin(atan s)
    torque of a wheel      force · tyre radius / wheels braked
    pads                   T = 2 µ F r_e
    shoes in a drum        T = C F r_drum, C the brake factor of both shoes

Cold linings hold worse than warm ones, and the ring shrinks as it cools: cold friction counts.

References
----------
Elementary.  20 % slope: common practice, no source (regulations differ by vehicle class: look
there).  Friction of cold linings 0.25 to 0.30: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Literal

from clearturn.findings import Finding
from clearturn.trade.balance import GRAVITY
from clearturn.trade.inputs import (
    Checked,
    Friction,
    GapMm,
    LengthMm,
    MassKg,
    Positive,
    Range,
    Share,
    SumProblem,
)
from clearturn.trade.sheet import Line, Ruling, Sheet, at_least, at_most, num, plain_values

Slope = Annotated[float, Range(0.0, 100.0, open_low=True)]
Wheels = Annotated[int, Range(1, 4)]


@dataclass(frozen=True, slots=True)
class Parking(Checked):
    """Inputs of the sum.

    Attributes
    ----------
    kind : {"pads", "drum"}
        A parking caliper on the ring, or shoes in the hat.
    radius_mm : float
        Effective radius of the pads, or inner radius of the drum.
    brake_factor : float
        Of a drum: torque over shoe force and radius, both shoes.
    actuator_n : float or None
        Greatest force of cable or motor at one brake.
    lever_ratio, efficiency : float
        From the actuator to the pads or shoes.
    clearance_mm, elastic_mm : float
        Way of the pads or shoes: to touch, and to give at full force.
    travel_mm : float or None
        Greatest way of cable or motor.
    disconnected : str
        What was disconnected for the conversion ("integrated unit of the old caliper").
    mass_kg
        Whole, as heavy as it may be.
    tyre_radius_mm
        Loaded.
    slope_percent
        On which it must hold.
    wheels
        That are held.
    cold_friction
        Of cold linings.
    least_safety
        Asked against rolling away.
    braked_axle_kg, tyre_grip
        Load on the held axle on level ground, and what grip may be counted on.
    """

    mass_kg: MassKg
    tyre_radius_mm: LengthMm
    radius_mm: LengthMm
    kind: Literal["pads", "drum"] = "pads"
    slope_percent: Slope = 20.0
    wheels: Wheels = 2
    cold_friction: Friction = 0.28
    brake_factor: Positive | None = None
    actuator_n: Positive | None = None
    lever_ratio: Positive = 1.0
    efficiency: Share = 0.9
    clearance_mm: GapMm = 0.4
    elastic_mm: GapMm = 0.3
    travel_mm: Positive | None = None
    least_safety: Positive = 1.2
    braked_axle_kg: MassKg | None = None
    tyre_grip: Friction = 0.8
    disconnected: str = ""

    def check(self) -> None:
        """Refuse a drum without its factor and brakes larger than the wheel."""
        if self.kind == "drum" and self.brake_factor is None:
            raise SumProblem("a key is missing", "brake_factor", mend="a drum needs it")
        if self.efficiency == 0:
            raise SumProblem("out of range", "efficiency", found="0", allowed="more than 0")
        if self.radius_mm >= self.tyre_radius_mm:
            raise SumProblem(
                "the brake is larger than the wheel", "radius_mm", found=f"{self.radius_mm:g}",
                allowed=f"less than tyre_radius_mm = {self.tyre_radius_mm:g}",
            )  # fmt: skip
        if self.braked_axle_kg is not None and self.braked_axle_kg > self.mass_kg:
            raise SumProblem(
                "the axle carries more than the vehicle", "braked_axle_kg",
                found=f"{self.braked_axle_kg:g}", allowed=f"at most mass_kg = {self.mass_kg:g}",
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class ParkingResult:
    """Result of the sum: N, N·m, mm.

    Attributes
    ----------
    clamp_n : float
        Needed of one brake, at its pads or shoes.
    safety : float or None
        Clamp there is over clamp needed.
    grip_needed : float or None
        Adhesion the braked axle's tyres must have.
    """

    slope_force_n: float
    torque_nm: float
    clamp_n: float
    actuator_needed_n: float
    travel_needed_mm: float
    safety: float | None
    grip_needed: float | None


def slope_force_n(mass_kg: float, slope_percent: float) -> float:
    """Return the force that pulls a vehicle down a slope."""
    return mass_kg * GRAVITY * math.sin(math.atan(slope_percent / 100.0))


def compute(inputs: Parking) -> ParkingResult:
    """Return what one brake must hold and what its actuator must do."""
    force = slope_force_n(inputs.mass_kg, inputs.slope_percent)
    torque = force * inputs.tyre_radius_mm / 1000.0 / inputs.wheels
    if inputs.kind == "pads":
        per_newton = 2.0 * inputs.cold_friction
    else:
        per_newton = inputs.brake_factor or 1.0
    clamp = torque * 1000.0 / (per_newton * inputs.radius_mm)
    needed = clamp / (inputs.lever_ratio * inputs.efficiency)
    grip = None
    if inputs.braked_axle_kg is not None:
        slope = math.atan(inputs.slope_percent / 100.0)
        grip = force / (inputs.braked_axle_kg * GRAVITY * math.cos(slope))
    return ParkingResult(
        slope_force_n=force,
        torque_nm=torque,
        clamp_n=clamp,
        actuator_needed_n=needed,
        travel_needed_mm=(inputs.clearance_mm + inputs.elastic_mm) * inputs.lever_ratio,
        safety=None if inputs.actuator_n is None else inputs.actuator_n / needed,
        grip_needed=grip,
    )


def sheet(inputs: Parking) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    rulings = []
    if result.safety is not None:
        rulings.append(
            Ruling(
                f"holds on {num(inputs.slope_percent, 0)} %",
                f"safety {num(result.safety)}",
                f"at least {num(inputs.least_safety)}",
                at_least(result.safety, inputs.least_safety),
                f"with cold friction {num(inputs.cold_friction)}",
            )
        )
    if inputs.travel_mm is not None:
        rulings.append(
            Ruling(
                "way of cable or motor",
                f"{num(result.travel_needed_mm, 1)} mm",
                f"at most {num(inputs.travel_mm, 1)} mm",
                at_most(result.travel_needed_mm, inputs.travel_mm),
            )
        )
    if result.grip_needed is not None:
        rulings.append(
            Ruling(
                "grip of the braked axle's tyres",
                f"needs {num(result.grip_needed)}",
                f"at most {num(inputs.tyre_grip)}",
                at_most(result.grip_needed, inputs.tyre_grip),
                "axle load taken as on the level",
            )
        )
    gist = f"clamp {num(result.clamp_n / 1e3, 1)} kN a brake"
    if result.safety is not None:
        gist = f"safety {num(result.safety)} on {num(inputs.slope_percent, 0)} %"
    return Sheet(
        name="parking_brake",
        title="Parking brake",
        gist=gist,
        lines=(
            Line("pull down the slope", f"{num(result.slope_force_n, 0)} N"),
            Line("torque of one brake", f"{num(result.torque_nm, 0)} N·m"),
            Line("clamp force of one brake", f"{num(result.clamp_n, 0)} N"),
            Line("actuator force", f"{num(result.actuator_needed_n, 0)} N"),
            Line("actuator way", f"{num(result.travel_needed_mm, 1)} mm"),
        ),
        rulings=tuple(rulings),
        findings=_findings(inputs, result),
        assumed=(
            "the vehicle stands straight on the slope, both brakes pull alike, cold and dry",
            "a ring that cools shrinks: apply again, or use an actuator that follows",
        ),
        sources=(
            "elementary; slope, cold friction and safety: common practice, no source: the rules "
            "for the vehicle's class go first",
        ),
        values=plain_values(result),
    )


def _findings(inputs: Parking, result: ParkingResult) -> tuple[Finding, ...]:
    found = []
    if inputs.disconnected:
        text = (
            f"{inputs.disconnected} is disconnected: its parking and service function, adjuster, "
            "warning lamp, control unit's error memory, workshop mode for pads and the legal "
            "second brake must each be replaced or settled"
        )
        found.append(Finding("unit-disconnected", "warning", text))
    if result.safety is None:
        text = "no actuator force is entered: nothing says that the vehicle stays"
        found.append(Finding("actuator-unknown", "warning", text))
    return tuple(found)
