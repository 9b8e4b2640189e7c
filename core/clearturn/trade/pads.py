"""Pads on the ring, and the caliper the right way round.

Annular pad between r_i and r_o over the angle θ:

    uniform wear      r_e = (r_o + r_i)/2,  F = θ p_a r_i (r_o − r_i)
    uniform pressure  r_e = ⅔ (r_o³ − r_i³)/(r_o² − r_i²),  F = θ p_a (r_o² − r_i²)/2
    torque of one face  µ F r_e; a disc between two pads has twice that

New pads press evenly, worn ones follow the wear form; the truth lies between.

References
----------
Ugural, Mechanical Design, example 13.6 (wear form read there); Shigley's Mechanical Engineering
Design, example 16-3 (from memory, recomputed).  Bleed nipple highest, smaller piston at the
entering end, vanes that run backwards from inside to outside in the sense of rotation: common
practice, no source; the caliper's and rotor's maker decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from clearturn.findings import Finding
from clearturn.trade.inputs import AngleDeg, Checked, GapMm, LengthMm, NotNegative, SumProblem
from clearturn.trade.sheet import Line, Ruling, Sheet, at_least, at_most, num, plain_values, signed

Turn = Literal["clockwise", "anticlockwise"]


def uniform_wear_radius(inner: float, outer: float) -> float:
    """Return the effective radius of worn pads, in the radii's own unit."""
    return (outer + inner) / 2.0


def uniform_pressure_radius(inner: float, outer: float) -> float:
    """Return the effective radius of new pads, in the radii's own unit."""
    return 2.0 / 3.0 * (outer**3 - inner**3) / (outer**2 - inner**2)


def wear_force(angle_rad: float, greatest_pressure: float, inner: float, outer: float) -> float:
    """Return the force of a pad whose greatest pressure, at its inner edge, is given."""
    return angle_rad * greatest_pressure * inner * (outer - inner)


def pressure_force(angle_rad: float, pressure: float, inner: float, outer: float) -> float:
    """Return the force of a pad under even pressure."""
    return angle_rad * pressure * (outer**2 - inner**2) / 2.0


def face_torque(friction: float, force: float, effective_radius: float) -> float:
    """Return the torque of one pad on one face."""
    return friction * force * effective_radius


def force_line_radius(effective_radius: float, angle_rad: float) -> float:
    """Return the radius at which the force on a pad must act: r_e · sin(θ/2)/(θ/2)."""
    return effective_radius * math.sin(angle_rad / 2.0) / (angle_rad / 2.0)


@dataclass(frozen=True, slots=True)
class Pads(Checked):
    """Inputs of the sum.

    Attributes
    ----------
    pad_inner_radius_mm, pad_outer_radius_mm, pad_angle_deg
        Outline of the friction face about the spin axis.
    ring_inner_diameter_mm, ring_outer_diameter_mm, ring_chamfer_mm
        The ring and the chamfer at both of its edges.
    play_mm : float
        How far pad and caliper may stand off radially.
    pad_thickness_mm, worn_thickness_mm, ring_wear_per_side_mm, piston_stroke_mm
        Lining new and worn out, wear of one face, stroke of a piston.
    rotation : {"clockwise", "anticlockwise"}
        Of the wheel driving forward, seen from outboard.
    caliper_clock_deg, bleed_offset_deg
        Clock position of the caliper's middle and, from there, of the nipple used for bleeding.
    bleed_within_deg : float
        How far the nipple may lie from the highest place of the caliper's ends.
    smaller_piston_offset_deg : float or None
        Where, from the caliper's middle, the smaller pistons sit; None: all alike.
    vanes : {"straight", "lean clockwise", "lean anticlockwise"}
        Which way, seen from outboard, a vane leans from its inner to its outer end.
    """

    pad_inner_radius_mm: LengthMm
    pad_outer_radius_mm: LengthMm
    pad_angle_deg: AngleDeg
    ring_inner_diameter_mm: LengthMm
    ring_outer_diameter_mm: LengthMm
    rotation: Turn
    caliper_clock_deg: AngleDeg
    bleed_offset_deg: AngleDeg
    ring_chamfer_mm: GapMm = 1.0
    play_mm: NotNegative = 0.5
    pad_thickness_mm: LengthMm | None = None
    worn_thickness_mm: GapMm = 3.0
    ring_wear_per_side_mm: GapMm = 1.0
    piston_stroke_mm: LengthMm | None = None
    bleed_within_deg: AngleDeg = 15.0
    smaller_piston_offset_deg: AngleDeg | None = None
    vanes: Literal["straight", "lean clockwise", "lean anticlockwise"] = "straight"

    def check(self) -> None:
        """Refuse a pad or ring turned inside out."""
        if self.pad_inner_radius_mm >= self.pad_outer_radius_mm:
            raise SumProblem(
                "the pad is inside out", "pad_inner_radius_mm",
                found=f"{self.pad_inner_radius_mm:g}",
                allowed=f"less than pad_outer_radius_mm = {self.pad_outer_radius_mm:g}",
            )  # fmt: skip
        if self.ring_inner_diameter_mm >= self.ring_outer_diameter_mm:
            raise SumProblem(
                "the ring is inside out", "ring_inner_diameter_mm",
                found=f"{self.ring_inner_diameter_mm:g}",
                allowed=f"less than ring_outer_diameter_mm = {self.ring_outer_diameter_mm:g}",
            )  # fmt: skip
        if not 0.0 < self.pad_angle_deg < 180.0:
            raise SumProblem(
                "not the angle of a pad", "pad_angle_deg", found=f"{self.pad_angle_deg:g}",
                allowed="more than 0, less than 180",
            )  # fmt: skip
        if self.pad_thickness_mm is not None and self.pad_thickness_mm <= self.worn_thickness_mm:
            raise SumProblem(
                "a new pad is thicker than a worn one", "pad_thickness_mm",
                found=f"{self.pad_thickness_mm:g}",
                allowed=f"more than worn_thickness_mm = {self.worn_thickness_mm:g}",
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class PadsResult:
    """Result of the sum, mm and degrees.

    Attributes
    ----------
    overhang_outer_mm, overhang_inner_mm : float
        How far the pad may pass the ring's flat at worst (negative: it stays inside).
    uncovered_outer_mm, uncovered_inner_mm : float
        Bands of the ring's flat that no pad wipes: they rust and grow proud.
    stroke_needed_mm : float or None
        A piston's way from new to all worn, at its side.
    bleed_below_top_deg : float
        How far the nipple lies below the caliper's highest place.
    """

    wear_radius_mm: float
    pressure_radius_mm: float
    force_line_radius_mm: float
    overhang_outer_mm: float
    overhang_inner_mm: float
    uncovered_outer_mm: float
    uncovered_inner_mm: float
    stroke_needed_mm: float | None
    bleed_below_top_deg: float
    smaller_piston_enters: bool | None
    vanes_pump_outward: bool | None


def compute(inputs: Pads) -> PadsResult:
    """Return pad radii, what overhangs, and whether the caliper is the right way round."""
    inner, outer = inputs.pad_inner_radius_mm, inputs.pad_outer_radius_mm
    flat_outer = inputs.ring_outer_diameter_mm / 2.0 - inputs.ring_chamfer_mm
    flat_inner = inputs.ring_inner_diameter_mm / 2.0 + inputs.ring_chamfer_mm
    over_outer, over_inner = outer - flat_outer, flat_inner - inner
    wear = uniform_wear_radius(inner, outer)
    stroke = None
    if inputs.pad_thickness_mm is not None:
        stroke = inputs.pad_thickness_mm - inputs.worn_thickness_mm + inputs.ring_wear_per_side_mm
    return PadsResult(
        wear_radius_mm=wear,
        pressure_radius_mm=uniform_pressure_radius(inner, outer),
        force_line_radius_mm=force_line_radius(wear, math.radians(inputs.pad_angle_deg)),
        overhang_outer_mm=over_outer + inputs.play_mm,
        overhang_inner_mm=over_inner + inputs.play_mm,
        uncovered_outer_mm=max(0.0, -over_outer),
        uncovered_inner_mm=max(0.0, -over_inner),
        stroke_needed_mm=stroke,
        bleed_below_top_deg=bleed_below_top_deg(
            inputs.caliper_clock_deg, inputs.bleed_offset_deg, inputs.pad_angle_deg
        ),
        smaller_piston_enters=_smaller_enters(inputs),
        vanes_pump_outward=_vanes_pump(inputs),
    )


def from_top_deg(clock_deg: float) -> float:
    """Return how far a clock position lies from the top, 0 to 180°."""
    return abs((clock_deg + 180.0) % 360.0 - 180.0)


def bleed_below_top_deg(caliper_clock_deg: float, offset_deg: float, angle_deg: float) -> float:
    """Return how far the nipple lies below the highest place over the pad's angle.

    Negative: it lies above.  Height follows the distance from the top of the circle.
    """
    middle = from_top_deg(caliper_clock_deg)
    highest = max(0.0, middle - angle_deg / 2.0)
    return from_top_deg(caliper_clock_deg + offset_deg) - highest


def _smaller_enters(inputs: Pads) -> bool | None:
    # A point of the ring meets the end with the smaller clock angle first when turning clockwise.
    offset = inputs.smaller_piston_offset_deg
    if offset is None or offset == 0:
        return None
    return (offset < 0) == (inputs.rotation == "clockwise")


def _vanes_pump(inputs: Pads) -> bool | None:
    # A vane swept back, its outer end trailing, throws air outwards.
    if inputs.vanes == "straight":
        return None
    return inputs.vanes.removeprefix("lean ") != inputs.rotation


def sheet(inputs: Pads) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    rulings = [
        Ruling(
            f"pad inside the ring's flat, {edge} edge",
            f"{signed(-over)} mm to spare with {num(inputs.play_mm)} mm of play",
            "at least 0",
            at_least(-over, 0.0),
        )
        for edge, over in (("outer", result.overhang_outer_mm), ("inner", result.overhang_inner_mm))
    ]
    rulings.append(
        Ruling(
            "bleed nipple highest",
            f"{num(abs(result.bleed_below_top_deg), 1)}° "
            f"{'below' if result.bleed_below_top_deg > 0 else 'above'} the pads' upper end",
            f"at most {num(inputs.bleed_within_deg, 1)}° below",
            at_most(result.bleed_below_top_deg, inputs.bleed_within_deg),
            "else air stays in; the caliper may be for the other side",
        )
    )
    if result.stroke_needed_mm is not None and inputs.piston_stroke_mm is not None:
        rulings.append(
            Ruling(
                "piston stroke",
                f"{num(result.stroke_needed_mm, 1)} mm to the end of pad and ring",
                f"at most {num(inputs.piston_stroke_mm, 1)} mm",
                at_most(result.stroke_needed_mm, inputs.piston_stroke_mm),
            )
        )
    bad = [ruling.name for ruling in rulings if ruling.word != "clears"]
    return Sheet(
        name="pads",
        title="Pads and the caliper's side",
        gist=f"look at: {', '.join(bad)}" if bad else f"r_e {num(result.wear_radius_mm, 1)} mm",
        lines=(
            Line("effective radius, worn", f"{num(result.wear_radius_mm, 1)} mm", "uniform wear"),
            Line(
                "effective radius, new", f"{num(result.pressure_radius_mm, 1)} mm",
                "uniform pressure",
            ),
            Line("line of the pad's force", f"{num(result.force_line_radius_mm, 1)} mm"),
            Line(
                "ring not wiped", f"outside {num(result.uncovered_outer_mm, 1)} mm, inside "
                f"{num(result.uncovered_inner_mm, 1)} mm of the flat",
            ),
        ),
        rulings=tuple(rulings),
        findings=_findings(inputs, result),
        assumed=("the pad is a sector about the spin axis", "clock seen from outboard, 0° on top"),
        sources=(
            "effective radii: Ugural, Shigley",
            "handing of pistons, vanes and nipples: common practice, no source",
        ),
        values=plain_values(result),
    )  # fmt: skip


_PROUD_MM = 3.0  # an unwiped band wider than this is told; common practice, no source


def _findings(inputs: Pads, result: PadsResult) -> tuple[Finding, ...]:
    found = []
    for edge, width in (
        ("outer", result.uncovered_outer_mm), ("inner", result.uncovered_inner_mm),
    ):  # fmt: skip
        if width > _PROUD_MM:
            text = (
                f"no pad wipes the ring's {edge} {num(width, 1)} mm: it rusts and stands proud; "
                "name it on the drawing or choose another pad"
            )
            found.append(Finding("ring-uncovered", "warning", text))
    if result.smaller_piston_enters is False:
        text = "the smaller pistons sit where the ring leaves the caliper: caliper of other side?"
        found.append(Finding("pistons-reversed", "warning", text))
    if result.vanes_pump_outward is False:
        text = (
            f"the vanes {inputs.vanes} with a wheel turning {inputs.rotation}: ring of other side?"
        )
        found.append(Finding("vanes-reversed", "warning", text))
    return tuple(found)
