"""Brake balance: torque of each axle, share before and after, which axle locks first, the pedal.

    torque of a wheel   T = 2 µ p A r_e, A the pistons of ONE side of the caliper
    axle loads          N1 = P1 + z (h/E) P,  N2 = P2 − z (h/E) P
    adhesion used       f1 = φ z P/N1,  f2 = (1 − φ) z P/N2;  ideal where f1 = f2 = z
    locks together at   z* = (φ − P1/P) E/h: below it the front locks first

References
----------
Axle loads and adhesion: the symbols of the ECE method, formulas from memory.  Locking with
rolling resistance: Wong, Theory of Ground Vehicles, section 3.8.1, from memory.  Limits: UN R13-H
annex 5, from memory (z ≥ 0.1 + 0.85 (k − 0.2) for k 0.2 to 0.8, front curve above the rear for
z 0.15 to 0.8); the exception for z 0.3 to 0.45 read in Directive 71/320/EEC.  Vehicles with
approved anti-lock brakes follow annex 6 instead (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from clearturn.findings import Finding
from clearturn.trade.inputs import (
    Checked,
    Friction,
    GapMm,
    LengthMm,
    MassKg,
    NotNegative,
    Positive,
    Range,
    Share,
    SumProblem,
)
from clearturn.trade.sheet import (
    Curve,
    Grid,
    Line,
    Plot,
    Ruling,
    Sheet,
    at_most,
    num,
    plain_values,
)

GRAVITY = 9.80665  # m/s², standard value
_STEPS = tuple(round(0.15 + 0.01 * i, 2) for i in range(66))  # z from 0.15 to 0.8
PistonMm = Annotated[float, Range(5.0, 150.0)]
WheelbaseMm = Annotated[float, Range(500.0, 10_000.0)]
LineShare = Annotated[float, Range(0.05, 1.0)]
_INVERSION_FROM, _INVERSION_TO, _INVERSION_BY = 0.3, 0.45, 0.05


@dataclass(frozen=True, slots=True)
class AxleBrake(Checked):
    """The brakes of one axle, both wheels alike.

    Attributes
    ----------
    piston_diameters_mm : tuple of float
        Of ONE side of one caliper.
    line_share : float
        Of the line pressure that arrives (a valve).
    friction
        Of the pads.
    effective_radius_mm
        At which the pads pull.
    tyre_radius_mm
        Loaded.
    """

    piston_diameters_mm: tuple[PistonMm, ...]
    friction: Friction
    effective_radius_mm: LengthMm
    tyre_radius_mm: LengthMm
    line_share: LineShare = 1.0

    def check(self) -> None:
        """Refuse a caliper without pistons and a brake larger than its wheel."""
        if not self.piston_diameters_mm:
            raise SumProblem("a caliper needs pistons", "piston_diameters_mm", found="none")
        if self.effective_radius_mm >= self.tyre_radius_mm:
            raise SumProblem(
                "the pads lie outside the wheel", "effective_radius_mm",
                found=f"{self.effective_radius_mm:g}",
                allowed=f"less than tyre_radius_mm = {self.tyre_radius_mm:g}",
            )  # fmt: skip

    @property
    def piston_area_mm2(self) -> float:
        """Pistons of one side."""
        return sum(math.pi / 4.0 * d * d for d in self.piston_diameters_mm)


@dataclass(frozen=True, slots=True)
class LoadState(Checked):
    """A loading: whole mass, what stands on the front axle, height of the centre of gravity.

    Attributes
    ----------
    name
        As laden, unladen.
    mass_kg
        The whole vehicle.
    front_axle_kg
        What stands on the front axle.
    cg_height_mm
        Centre of gravity over the road.
    """

    name: str
    mass_kg: MassKg
    front_axle_kg: MassKg
    cg_height_mm: LengthMm

    def check(self) -> None:
        """Refuse a front axle that carries more than the vehicle."""
        if self.front_axle_kg >= self.mass_kg:
            raise SumProblem(
                "the front axle carries more than the vehicle", "front_axle_kg",
                found=f"{self.front_axle_kg:g}", allowed=f"less than mass_kg = {self.mass_kg:g}",
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pedal(Checked):
    """Pedal and master cylinder.

    Attributes
    ----------
    running_clearance_mm : float
        Of each pad.
    elastic_cm3 : float
        Hoses, pads and calipers at `pressure_bar`, all four wheels.
    stroke_mm : float
        Of the master cylinder.
    most_of_stroke : float
        Share of it that braking hard may use (common practice, no source).
    master_cylinder_mm
        Its bore.
    ratio
        Way of the pedal over that of the piston.
    pressure_bar
        Line pressure of braking hard.
    """

    master_cylinder_mm: LengthMm
    ratio: Positive
    stroke_mm: LengthMm
    pressure_bar: Positive = 100.0
    running_clearance_mm: GapMm = 0.25
    elastic_cm3: NotNegative = 3.0
    most_of_stroke: Share = 0.6


@dataclass(frozen=True, slots=True)
class BrakeBalance(Checked):
    """Inputs of the sum; a new axle left out stays as the old.

    Attributes
    ----------
    wheelbase_mm
        Between the axles.
    anti_lock
        Whether the vehicle has anti-lock brakes.
    """

    wheelbase_mm: WheelbaseMm
    old_front: AxleBrake
    old_rear: AxleBrake
    states: tuple[LoadState, ...]
    new_front: AxleBrake | None = None
    new_rear: AxleBrake | None = None
    pedal: Pedal | None = None
    anti_lock: bool = False

    def check(self) -> None:
        """Refuse a sum without a loading."""
        if not self.states:
            raise SumProblem("a loading is needed", "states", found="none")
        for i, state in enumerate(self.states):
            if state.cg_height_mm >= self.wheelbase_mm:
                raise SumProblem(
                    "higher than the wheelbase is long", "states", i, "cg_height_mm",
                    found=f"{state.cg_height_mm:g}",
                )  # fmt: skip


def wheel_torque_nm(brake: AxleBrake, line_bar: float) -> float:
    """Return the torque of one wheel's brake at a line pressure."""
    pressure_mpa = line_bar / 10.0 * brake.line_share
    newtons = pressure_mpa * brake.piston_area_mm2
    return 2.0 * brake.friction * newtons * brake.effective_radius_mm / 1000.0


def axle_force_n(brake: AxleBrake, line_bar: float) -> float:
    """Return the braking force of both wheels of an axle on the road."""
    return 2.0 * wheel_torque_nm(brake, line_bar) * 1000.0 / brake.tyre_radius_mm


def front_share(front: AxleBrake, rear: AxleBrake) -> float:
    """Return the front's share of the braking force at one pressure."""
    ahead = axle_force_n(front, 100.0)
    return ahead / (ahead + axle_force_n(rear, 100.0))


def _ratio(front: AxleBrake, rear: AxleBrake) -> float:
    return axle_force_n(front, 100.0) / axle_force_n(rear, 100.0)


def ratio_change(share_before: float, share_after: float) -> float:
    """Return by how much the front/rear ratio changes: 66/34 to 68/32 is 1.095."""
    return (share_after / (1.0 - share_after)) / (share_before / (1.0 - share_before))


def axle_loads(state: LoadState, wheelbase_mm: float, z: float) -> tuple[float, float]:
    """Return the loads on front and rear axle at a deceleration z g, kg."""
    moved = z * state.cg_height_mm / wheelbase_mm * state.mass_kg
    return state.front_axle_kg + moved, state.mass_kg - state.front_axle_kg - moved


def adhesion_used(
    state: LoadState, wheelbase_mm: float, share: float, z: float
) -> tuple[float, float]:
    """Return the adhesion that front and rear axle use at a deceleration z g."""
    ahead, behind = axle_loads(state, wheelbase_mm, z)
    rear = (1.0 - share) * z * state.mass_kg / behind if behind > 0 else math.inf
    return share * z * state.mass_kg / ahead, rear


def ideal_front_share(state: LoadState, wheelbase_mm: float, z: float) -> float:
    """Return the share at which both axles lock together at z g."""
    return axle_loads(state, wheelbase_mm, z)[0] / state.mass_kg


def critical_deceleration(state: LoadState, wheelbase_mm: float, share: float) -> float:
    """Return the deceleration, g, below which the front locks first and above which the rear."""
    lean = state.cg_height_mm / wheelbase_mm
    return (share - state.front_axle_kg / state.mass_kg) / lean


def locking_deceleration(
    state: LoadState, wheelbase_mm: float, share: float, grip: float, rolling: float = 0.0
) -> tuple[float, float]:
    """Return the decelerations, g, at which front and rear would lock on a road of given grip.

    The smaller one locks first.  Wong's form, with rolling resistance.
    """
    front = state.front_axle_kg / state.mass_kg
    lean = state.cg_height_mm / wheelbase_mm
    ahead_gives = share - grip * lean
    ahead = (grip * front + (1.0 - share) * rolling) / ahead_gives if ahead_gives > 0 else math.inf
    behind = (grip * (1.0 - front) + share * rolling) / (1.0 - share + grip * lean)
    return ahead, behind


def allowed_adhesion(z: float) -> float:
    """Return the greatest adhesion k with z ≥ 0.1 + 0.85 (k − 0.2) (UN R13-H, from memory)."""
    return (z - 0.1) / 0.85 + 0.2


@dataclass(frozen=True, slots=True)
class StateResult:
    """One loading with one share.

    Attributes
    ----------
    critical_g : float
        Below it the front locks first.
    rear_first_at_g : float or None
        Least deceleration from 0.15 to 0.8 g at which the rear uses more adhesion than the rule
        lets it.
    adhesion_breached_at_g : float or None
        Least deceleration at which an axle uses more than z ≥ 0.1 + 0.85 (k − 0.2) allows.
    """

    name: str
    share: float
    critical_g: float
    rear_first_at_g: float | None
    adhesion_breached_at_g: float | None


def state_result(state: LoadState, wheelbase_mm: float, share: float) -> StateResult:
    """Return what the regulation's curves say of one loading."""
    rear_first = breached = None
    for z in _STEPS:
        ahead, behind = adhesion_used(state, wheelbase_mm, share, z)
        excused = _INVERSION_FROM <= z <= _INVERSION_TO and behind <= z + _INVERSION_BY
        if behind > ahead and not excused and rear_first is None:
            rear_first = z
        used = max(ahead, behind)
        if breached is None and 0.2 <= used <= 0.8 and used > allowed_adhesion(z) + 1e-12:
            breached = z
    critical = critical_deceleration(state, wheelbase_mm, share)
    return StateResult(state.name, share, critical, rear_first, breached)


@dataclass(frozen=True, slots=True)
class PedalResult:
    """Fluid and travel at the pedal's pressure."""

    volume_cm3: float
    master_travel_mm: float
    pedal_travel_mm: float


def pedal_travel(pedal: Pedal, front: AxleBrake, rear: AxleBrake) -> PedalResult:
    """Return the travel that clearances and give take.

    A fixed caliper moves twice its one-side area by the clearance, a floating one that area by
    twice the clearance: the volume is the same.
    """
    area = front.piston_area_mm2 + rear.piston_area_mm2
    volume = 4.0 * area * pedal.running_clearance_mm / 1000.0 + pedal.elastic_cm3
    bore = math.pi / 4.0 * pedal.master_cylinder_mm**2
    travel = volume * 1000.0 / bore
    return PedalResult(volume, travel, travel * pedal.ratio)


@dataclass(frozen=True, slots=True)
class BalanceResult:
    """Result of the sum; torques of one wheel at 100 bar, N·m."""

    old_share: float
    new_share: float
    ratio_change: float
    old_torque_nm: tuple[float, float]
    new_torque_nm: tuple[float, float]
    states: tuple[StateResult, ...]
    old_states: tuple[StateResult, ...]
    old_pedal: PedalResult | None
    new_pedal: PedalResult | None


def _new(inputs: BrakeBalance) -> tuple[AxleBrake, AxleBrake]:
    return inputs.new_front or inputs.old_front, inputs.new_rear or inputs.old_rear


def compute(inputs: BrakeBalance) -> BalanceResult:
    """Return shares, adhesion and pedal, before and after."""
    front, rear = _new(inputs)
    before, after = front_share(inputs.old_front, inputs.old_rear), front_share(front, rear)
    pedal, base = inputs.pedal, inputs.wheelbase_mm
    return BalanceResult(
        old_share=before,
        new_share=after,
        ratio_change=_ratio(front, rear) / _ratio(inputs.old_front, inputs.old_rear),
        old_torque_nm=(
            wheel_torque_nm(inputs.old_front, 100.0), wheel_torque_nm(inputs.old_rear, 100.0),
        ),
        new_torque_nm=(wheel_torque_nm(front, 100.0), wheel_torque_nm(rear, 100.0)),
        states=tuple(state_result(state, base, after) for state in inputs.states),
        old_states=tuple(state_result(state, base, before) for state in inputs.states),
        old_pedal=pedal_travel(pedal, inputs.old_front, inputs.old_rear) if pedal else None,
        new_pedal=pedal_travel(pedal, front, rear) if pedal else None,
    )  # fmt: skip


def sheet(inputs: BrakeBalance) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    rulings = [ruling for state in result.states for ruling in _state_rulings(state)]
    if inputs.pedal and result.new_pedal and result.old_pedal:
        most = inputs.pedal.most_of_stroke * inputs.pedal.stroke_mm
        rulings.append(
            Ruling(
                f"master cylinder at {num(inputs.pedal.pressure_bar, 0)} bar",
                f"{num(result.new_pedal.master_travel_mm, 1)} mm (before "
                f"{num(result.old_pedal.master_travel_mm, 1)})",
                f"at most {num(most, 1)} mm of {num(inputs.pedal.stroke_mm, 1)}",
                at_most(result.new_pedal.master_travel_mm, most),
                f"pedal {num(result.new_pedal.pedal_travel_mm, 0)} mm, before "
                f"{num(result.old_pedal.pedal_travel_mm, 0)}",
            )
        )
    after = f"{num(100 * result.new_share, 1)} / {num(100 * (1 - result.new_share), 1)} %"
    before = f"{num(100 * result.old_share, 1)} / {num(100 * (1 - result.old_share), 1)} %"
    return Sheet(
        name="brake_balance",
        title="Brake balance and pedal",
        gist=f"front/rear {after}, before {before}",
        lines=(
            Line("front / rear before", before, "of the braking force at one line pressure"),
            Line("front / rear after", after),
            Line("front/rear ratio changes by", f"× {num(result.ratio_change, 3)}"),
        ),
        rulings=tuple(rulings),
        grids=(_torques(result), _states(result)),
        findings=_findings(inputs, result),
        assumed=(
            "pistons are those of one side of the caliper; friction is the same at any pressure, "
            "speed and heat",
            "the limits are those of passenger cars (M1)",
            "share is fixed: a valve or an electronic distribution changes it",
            "in a tandem cylinder both chambers' strokes add",
        ),
        sources=(
            "UN R13-H annex 5 limits: from memory, not read; check the regulation before relying "
            "on them",
            "use of the master cylinder's stroke: common practice, no source",
        ),
        plots=tuple(_plot(inputs, state, result.new_share) for state in inputs.states),
        values=plain_values(result),
    )


def _state_rulings(state: StateResult) -> list[Ruling]:
    told = f"front locks first below {num(state.critical_g)} g"
    first, breached = state.rear_first_at_g, state.adhesion_breached_at_g
    return [
        Ruling(
            f"{state.name}: front locks first, 0.15 to 0.8 g",
            told if first is None else f"rear uses more grip from {num(first)} g",
            "over the whole range (UN R13-H, from memory)",
            "clears" if first is None else "fails",
        ),
        Ruling(
            f"{state.name}: grip is used",
            "enough" if breached is None else f"too little at {num(breached)} g",
            "z ≥ 0.1 + 0.85 (k − 0.2) for k 0.2 to 0.8 (UN R13-H, from memory)",
            "clears" if breached is None else "fails",
        ),
    ]


def _torques(result: BalanceResult) -> Grid:
    rows = tuple(
        (name, num(old, 0), num(new, 0), num(100.0 * (new / old - 1.0), 1))
        for name, old, new in zip(
            ("front", "rear"), result.old_torque_nm, result.new_torque_nm, strict=True
        )
    )
    heads = ("axle", "before, N·m", "after, N·m", "change, %")
    return Grid("Torque of one wheel at 100 bar", heads, rows)


def _states(result: BalanceResult) -> Grid:
    rows = tuple(
        (new.name, num(old.critical_g), num(new.critical_g))
        for old, new in zip(result.old_states, result.states, strict=True)
    )
    heads = ("loading", "before, g", "after, g")
    return Grid("Deceleration at which both axles lock together", heads, rows)


def _findings(inputs: BrakeBalance, result: BalanceResult) -> tuple[Finding, ...]:
    found = []
    if inputs.anti_lock:
        text = "with approved anti-lock brakes annex 6 of UN R13-H counts instead (from memory)"
        found.append(Finding("anti-lock", "note", text))
    if abs(result.ratio_change - 1.0) > 0.1:
        text = (
            f"the front/rear ratio changes by × {num(result.ratio_change, 3)}: anti-lock and "
            "stability control were set up for the old one"
        )
        found.append(Finding("balance-moved", "warning", text))
    return tuple(found)


def _plot(inputs: BrakeBalance, state: LoadState, share: float) -> Plot:
    zs = [0.05 + 0.01 * i for i in range(91)]
    used = [(z, *adhesion_used(state, inputs.wheelbase_mm, share, z)) for z in zs]
    shown = [(z, f1, f2) for z, f1, f2 in used if f2 < 1.5]
    curves = (
        Curve("front", tuple((z, f1) for z, f1, _ in shown)),
        Curve("rear", tuple((z, f2) for z, _, f2 in shown), "dashed"),
        Curve("ideal", ((0.05, 0.05), (0.95, 0.95))),
        Curve("UN R13-H, from memory", ((0.1, 0.2), (0.61, 0.8)), "dashed"),
    )
    return Plot(f"Adhesion used, {state.name}", "deceleration, g", "adhesion used", curves)
