"""Studs and bolts of the corner: every joint, the studs' and spigot's engagement, caliper bolts.

Two caliper bolts carry the brake's reaction F = T/r_e, tangential at the effective radius.  In the
joint's plane each bolt carries half of F, and the couple F·e/s of the in-plane offset e at the
spacing s; out of the plane the offset a lifts one bolt by F·a/s.

    axial mounts (bolts along the spin axis):  e = |r_e − r_joint|,  a = |z_ring − z_joint|
    radial mounts (bolts along the radius):    e = |z_ring − z_bolts|, a = |r_e − r_joint|

References
----------
Eccentric bolt groups, friction joints: elementary.  Slip safety 1.5, dry friction 0.15 to 0.20 of
steel on steel, with paint or oil 0.10, stud engagement of one diameter, 10 % of preload lost by
embedding: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from clearturn.trade import bolts
from clearturn.trade.inputs import (
    Checked,
    Count,
    Friction,
    GapMm,
    LengthMm,
    Positive,
    Share,
    SumProblem,
    TempC,
)
from clearturn.trade.materials import material
from clearturn.trade.sheet import (
    Grid,
    Ruling,
    Sheet,
    Word,
    at_least,
    at_most,
    num,
    plain_values,
    signed,
)
from clearturn.trade.threads import PropertyClass, strength, thread

COLD_C = 20.0
BOLT_YOUNG_GPA = 207.0
BOLT_EXPANSION_PER_K = 12.3e-6  # steel 4140, Callister app. B


@dataclass(frozen=True, slots=True)
class Joint(Checked):
    """A bolt of a joint and how it is tightened.

    Attributes
    ----------
    friction_low, friction_high : float
        Range of thread and head friction.
    tool_scatter : float
        Of the torque wrench, as a share.
    embedding : float
        Share of the preload lost by embedding.
    tapped_in : str or None
        Material of the tapped thread, with `engagement_mm` of it.
    tapped_shear_mpa : float or None
        Its shear strength, instead of the material's.
    grip_mm, clamped, bolt_hot_c, clamped_hot_c
        For the joint hot: clamped length and material, temperatures in service.
    name
        By which two-bolt joints ask for it.
    thread
        As M14×1.5 or M8.
    property_class
        Of the bolt, ISO 898-1.
    torque_nm
        Tightening torque.
    engagement_mm
        Thread that holds in the tapped part.
    """

    name: str
    thread: str
    property_class: PropertyClass
    torque_nm: Positive
    friction_low: Friction = 0.10
    friction_high: Friction = 0.16
    tool_scatter: Share = 0.05
    embedding: Share = 0.10
    tapped_in: str | None = None
    engagement_mm: LengthMm | None = None
    tapped_shear_mpa: Positive | None = None
    grip_mm: LengthMm | None = None
    clamped: str | None = None
    bolt_hot_c: TempC = COLD_C
    clamped_hot_c: TempC = COLD_C

    def check(self) -> None:
        """Refuse unknown threads and materials, and half of a pair."""
        thread(self.thread, "thread")
        if self.friction_low > self.friction_high:
            raise SumProblem(
                "the friction's range is upside down", "friction_low",
                found=f"{self.friction_low:g}",
                allowed=f"at most friction_high = {self.friction_high:g}",
            )  # fmt: skip
        if self.tapped_in is not None:
            if material(self.tapped_in, "tapped_in").shear_strength_mpa is None:
                raise SumProblem("no strength is known of it", "tapped_in", found=self.tapped_in)
            if self.engagement_mm is None:
                raise SumProblem("a key is missing", "engagement_mm")
        if self.clamped is not None:
            material(self.clamped, "clamped")
        if (self.grip_mm is None) != (self.clamped is None):
            missing = "grip_mm" if self.grip_mm is None else "clamped"
            raise SumProblem("a key is missing", missing)


@dataclass(frozen=True, slots=True)
class Studs(Checked):
    """The wheel's studs and spigot on the new stack: flange + spacer + wheel seat.

    Attributes
    ----------
    length_mm : float
        Of the stud from the hub face.
    nut_thread_mm : float
        Threaded length of the nut: no more can engage.
    register_length_mm : float
        Of the spigot that centres the wheel, from the hub face.
    least_engagement_diameters : float
        Least engagement over the thread's diameter.
    name
        Which studs.
    thread
        As M14×1.5.
    old_flange_mm, new_flange_mm
        Of the rotor's hat, before and now.
    wheel_seat_mm
        Wheel between its pad and the nut's seat.
    spacer_mm
        Between hat and wheel.
    least_register_mm
        Length on which the wheel must be centred.
    """

    name: str
    thread: str
    length_mm: LengthMm
    old_flange_mm: GapMm
    new_flange_mm: GapMm
    wheel_seat_mm: GapMm
    nut_thread_mm: LengthMm
    register_length_mm: GapMm
    spacer_mm: GapMm = 0.0
    least_engagement_diameters: Positive = 1.0
    least_register_mm: GapMm = 5.0

    def check(self) -> None:
        """Refuse unknown threads."""
        thread(self.thread, "thread")


@dataclass(frozen=True, slots=True)
class CaliperBolts(Checked):
    """A two-bolt joint under the brake's reaction: caliper on bracket, or bracket on knuckle.

    Attributes
    ----------
    joint : str
        Name of the bolt in `joints`.
    mount : {"axial", "radial"}
        Direction of the bolts.
    spacing_mm : float
        Between the two bolts, along the reaction.
    joint_radius_mm : float
        Of the joint: bolt line (axial mounts) or joint face (radial mounts).
    axial_offset_mm : float
        Along the spin axis from the ring's mid-plane to the joint face (axial mounts) or the bolt
        line (radial mounts).
    friction : float
        Between the clamped faces.
    spacer_mm : float
        Loose spacers between them, over which a bolt bends once the joint slips.
    bolt_share : float
        Of an outer tension, that the bolt takes.
    name
        Which joint.
    brake_torque_nm
        Greatest, of one wheel.
    effective_radius_mm
        Of the pads.
    interfaces
        Faces that must slip at once.
    least_slip_safety
        Asked against slip.
    """

    name: str
    joint: str
    mount: Literal["axial", "radial"]
    spacing_mm: LengthMm
    brake_torque_nm: Positive
    effective_radius_mm: LengthMm
    joint_radius_mm: LengthMm
    axial_offset_mm: GapMm
    friction: Friction = 0.15
    interfaces: Count = 1
    spacer_mm: GapMm = 0.0
    bolt_share: Share = 0.3
    least_slip_safety: Positive = 1.5


@dataclass(frozen=True, slots=True)
class Bolts(Checked):
    """Inputs of the sum."""

    joints: tuple[Joint, ...] = ()
    studs: tuple[Studs, ...] = ()
    caliper_bolts: tuple[CaliperBolts, ...] = ()

    def check(self) -> None:
        """Refuse joints of one name and caliper bolts whose joint is not there."""
        known = [joint.name for joint in self.joints]
        for i, name in enumerate(known):
            if name in known[:i]:
                raise SumProblem("two joints of one name", "joints", i, "name", found=repr(name))
        for i, pair in enumerate(self.caliper_bolts):
            if pair.joint not in known:
                raise SumProblem(
                    "there is no joint of this name", "caliper_bolts", i, "joint",
                    found=repr(pair.joint), allowed=", ".join(known) or "none are entered",
                )  # fmt: skip


@dataclass(frozen=True, slots=True)
class JointResult:
    """A bolt's preload, thread and joint hot, N and MPa.

    Attributes
    ----------
    greatest_torque_nm : float
        At which 90 % of yield is reached with the lowest friction and the tool's scatter.
    """

    name: str
    thread: str
    least_preload_n: float
    greatest_preload_n: float
    stress_mpa: float
    utilisation: float
    greatest_torque_nm: float
    stripping_load_n: float | None
    breaking_load_n: float
    engagement_needed_mm: float | None
    hot_change_n: float | None


@dataclass(frozen=True, slots=True)
class StudsResult:
    """Thread of the nut engaged and spigot left for the wheel, mm."""

    name: str
    engaged_mm: float
    engaged_before_mm: float
    register_left_mm: float
    wheel_moves_out_mm: float


@dataclass(frozen=True, slots=True)
class CaliperBoltsResult:
    """Forces on the worse bolt of a pair, N, and what holds them."""

    name: str
    reaction_n: float
    shear_n: float
    tension_n: float
    clamp_left_n: float
    slip_safety: float
    bolt_proof_factor: float
    slipped_stress_mpa: float
    yield_mpa: float


@dataclass(frozen=True, slots=True)
class BoltsResult:
    """Result of the sum."""

    joints: tuple[JointResult, ...]
    studs: tuple[StudsResult, ...]
    caliper_bolts: tuple[CaliperBoltsResult, ...]


def joint_result(joint: Joint) -> JointResult:
    """Return a bolt's preload over its friction, and what its thread holds."""
    metric = thread(joint.thread)
    strong = strength(joint.property_class, metric.diameter_mm)
    found = bolts.preload_range(
        joint.torque_nm, metric, strong, mu_low=joint.friction_low, mu_high=joint.friction_high,
        scatter=joint.tool_scatter,
    )  # fmt: skip
    full = bolts.tightening_force_n(metric, strong.yield_mpa, joint.friction_low)
    strips = needed = None
    if joint.tapped_in is not None and joint.engagement_mm is not None:
        shear = joint.tapped_shear_mpa or material(joint.tapped_in).shear_strength_mpa or 0.0
        strips = bolts.stripping_load_n(metric, joint.engagement_mm, shear)
        needed = bolts.engagement_needed_mm(metric, strong.ultimate_mpa, shear)
    return JointResult(
        name=joint.name,
        thread=f"{metric.name} {joint.property_class}",
        least_preload_n=found.least_n * (1.0 - joint.embedding),
        greatest_preload_n=found.greatest_n,
        stress_mpa=found.stress_mpa,
        utilisation=found.utilisation,
        greatest_torque_nm=bolts.torque_nm(
            full, metric, joint.friction_low, joint.friction_low, bolts.mean_seat_mm(metric)
        )
        / (1.0 + joint.tool_scatter),
        stripping_load_n=strips,
        breaking_load_n=strong.ultimate_mpa * metric.stress_area_mm2,
        engagement_needed_mm=needed,
        hot_change_n=_hot_change(joint),
    )


def _hot_change(joint: Joint) -> float | None:
    if joint.grip_mm is None or joint.clamped is None:
        return None
    member = material(joint.clamped)
    return bolts.hot_change_n(
        thread(joint.thread), joint.grip_mm, member.young_gpa, member.expansion_per_mk * 1e-6,
        joint.clamped_hot_c - COLD_C, BOLT_YOUNG_GPA, BOLT_EXPANSION_PER_K,
        joint.bolt_hot_c - COLD_C,
    )  # fmt: skip


def studs_result(studs: Studs) -> StudsResult:
    """Return what engages on the new stack: new flange + spacer − old flange goes off."""
    stack = studs.new_flange_mm + studs.spacer_mm
    free = studs.length_mm - studs.wheel_seat_mm
    return StudsResult(
        name=studs.name,
        engaged_mm=min(max(free - stack, 0.0), studs.nut_thread_mm),
        engaged_before_mm=min(max(free - studs.old_flange_mm, 0.0), studs.nut_thread_mm),
        register_left_mm=max(studs.register_length_mm - stack, 0.0),
        wheel_moves_out_mm=stack - studs.old_flange_mm,
    )


def caliper_bolts_result(pair: CaliperBolts, joint: Joint) -> CaliperBoltsResult:
    """Return the forces on the worse of two bolts and the joint's safety against slip."""
    metric = thread(joint.thread)
    strong = strength(joint.property_class, metric.diameter_mm)
    bolt = joint_result(joint)
    reaction = pair.brake_torque_nm * 1000.0 / pair.effective_radius_mm
    radial = abs(pair.effective_radius_mm - pair.joint_radius_mm)
    axial = pair.axial_offset_mm
    in_plane, out_of_plane = (radial, axial) if pair.mount == "axial" else (axial, radial)
    shear = math.hypot(reaction / 2.0, reaction * in_plane / pair.spacing_mm)
    tension = reaction * out_of_plane / pair.spacing_mm
    cooled = min(0.0, bolt.hot_change_n or 0.0)
    clamp = bolt.least_preload_n + cooled - (1.0 - pair.bolt_share) * tension
    slip = max(0.0, clamp) * pair.friction * pair.interfaces / shear
    # Warm members may also stretch the bolt further than tightening did.
    greatest = bolt.greatest_preload_n + max(0.0, bolt.hot_change_n or 0.0)
    area = metric.stress_area_mm2
    proof = bolts.load_sharing(greatest, tension, pair.bolt_share, strong.proof_mpa, area)
    bend = 32.0 * (shear * pair.spacer_mm / 2.0) / (math.pi * metric.root_diameter_mm**3)
    slipped = math.hypot(proof.bolt_n / area + bend, math.sqrt(3.0) * shear / area)
    return CaliperBoltsResult(
        name=pair.name, reaction_n=reaction, shear_n=shear, tension_n=tension,
        clamp_left_n=clamp, slip_safety=slip, bolt_proof_factor=proof.proof_factor,
        slipped_stress_mpa=slipped, yield_mpa=strong.yield_mpa,
    )  # fmt: skip


def compute(inputs: Bolts) -> BoltsResult:
    """Return every joint's result."""
    by_name = {joint.name: joint for joint in inputs.joints}
    return BoltsResult(
        joints=tuple(joint_result(joint) for joint in inputs.joints),
        studs=tuple(studs_result(studs) for studs in inputs.studs),
        caliper_bolts=tuple(
            caliper_bolts_result(pair, by_name[pair.joint]) for pair in inputs.caliper_bolts
        ),
    )


def sheet(inputs: Bolts) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    rulings: list[Ruling] = []
    for joint in result.joints:
        rulings += _joint_rulings(joint)
    for studs, left in zip(inputs.studs, result.studs, strict=True):
        rulings += _stud_rulings(studs, left)
    for pair, held in zip(inputs.caliper_bolts, result.caliper_bolts, strict=True):
        rulings += _caliper_rulings(pair, held)
    heads = (
        "bolt", "thread", "torque, N·m", "at most, N·m", "friction", "preload, kN", "of yield, %",
        "change hot, kN",
    )  # fmt: skip
    rows = tuple(
        (
            joint.name,
            found.thread,
            num(joint.torque_nm, 0),
            num(found.greatest_torque_nm, 0),
            f"{joint.friction_low:g} … {joint.friction_high:g}",
            f"{num(found.least_preload_n / 1e3, 1)} … {num(found.greatest_preload_n / 1e3, 1)}",
            num(100.0 * found.utilisation, 0),
            "–" if found.hot_change_n is None else signed(found.hot_change_n / 1e3, 1),
        )
        for joint, found in zip(inputs.joints, result.joints, strict=True)
    )
    bad = [ruling.name for ruling in rulings if ruling.word != "clears"]
    return Sheet(
        name="bolts",
        title="Studs and bolts",
        gist=f"look at: {', '.join(bad)}" if bad else "joints hold",
        rulings=tuple(rulings),
        grids=(Grid("Preload of each bolt", heads, rows, (0, 1)),) if rows else (),
        assumed=(
            "least preload: highest friction, least torque, embedding taken off; greatest: the "
            "reverse",
            "the brake's reaction is tangential at the effective radius; both bolts share it "
            "equally, the couple of its offset loads both",
            "bolts are not to be re-used beyond their maker's word; torques are for the friction "
            "given, not for another grease",
        ),
        sources=(
            "torque and preload: form of VDI 2230, from memory, checked against published pairs",
            "strength: ISO 898-1, public transcriptions",
            "slip safety, friction of faces, engagement of one diameter: common practice, no "
            "source",
        ),
        values=plain_values(result),
    )


def _joint_rulings(joint: JointResult) -> list[Ruling]:
    word: Word = at_most(joint.utilisation, bolts.MOST_OF_YIELD)
    out = [
        Ruling(
            f"{joint.name}: tightening",
            f"{num(100.0 * joint.utilisation, 0)} % of yield at the lowest friction",
            f"at most {num(100.0 * bolts.MOST_OF_YIELD, 0)} % of yield",
            word,
            "" if word == "clears" else f"at most {num(joint.greatest_torque_nm, 0)} N·m",
        )
    ]
    if joint.stripping_load_n is not None and joint.engagement_needed_mm is not None:
        out.append(
            Ruling(
                f"{joint.name}: tapped thread",
                f"strips at {num(joint.stripping_load_n / 1e3, 1)} kN",
                f"above the bolt's breaking load {num(joint.breaking_load_n / 1e3, 1)} kN",
                at_least(joint.stripping_load_n, joint.breaking_load_n),
                f"needs {num(joint.engagement_needed_mm, 1)} mm of thread, or a steel insert",
            )
        )
    return out


def _stud_rulings(studs: Studs, left: StudsResult) -> list[Ruling]:
    metric = thread(studs.thread)
    least = studs.least_engagement_diameters * metric.diameter_mm
    moved = num(left.wheel_moves_out_mm)
    return [
        Ruling(
            f"{studs.name}: nut engagement",
            f"{num(left.engaged_mm, 1)} mm (before {num(left.engaged_before_mm, 1)})",
            f"at least {num(least, 1)} mm",
            at_least(left.engaged_mm, least),
            f"the wheel moves out by {moved} mm",
        ),
        Ruling(
            f"{studs.name}: spigot left for the wheel",
            f"{num(left.register_left_mm, 1)} mm",
            f"at least {num(studs.least_register_mm, 1)} mm",
            at_least(left.register_left_mm, studs.least_register_mm),
        ),
    ]


def _caliper_rulings(pair: CaliperBolts, held: CaliperBoltsResult) -> list[Ruling]:
    forces = f"shear {num(held.shear_n / 1e3, 1)} kN, lift {num(held.tension_n / 1e3, 1)} kN a bolt"
    return [
        Ruling(
            f"{pair.name}: slip",
            f"safety {num(held.slip_safety)}",
            f"at least {num(pair.least_slip_safety)}",
            at_least(held.slip_safety, pair.least_slip_safety),
            forces,
        ),
        Ruling(
            f"{pair.name}: joint stays closed",
            f"clamp left {num(held.clamp_left_n / 1e3, 1)} kN",
            "more than 0",
            at_least(held.clamp_left_n, 1.0),
        ),
        Ruling(
            f"{pair.name}: bolt, once the joint slipped",
            f"{num(held.slipped_stress_mpa, 0)} MPa with shear and bending",
            f"at most yield {num(held.yield_mpa, 0)} MPa",
            at_most(held.slipped_stress_mpa, held.yield_mpa),
            "the joint must not slip; this is what is left if it does",
        ),
    ]
