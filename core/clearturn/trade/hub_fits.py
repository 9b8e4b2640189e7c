"""Hub diameters to the end: registers cold and hot, housing in hat, what is left of the metal.

A register that slides cold may seize or lose its centring hot, when hat and spigot are of
different metal.  The change of the diametral clearance is

    d (α_hole (T_hole − 20) − α_shaft (T_shaft − 20))

with both expansions linear from 20 °C.

References
----------
Limits: ISO 286-2 (`clearturn.trade.iso286`).  Reference temperature 20 °C: ISO 1 (from memory).
Thermal change: elementary.  Two jacking screws M8, 0.5 to 1.0 mm a side inside the hat, 5 mm of
metal beside a hole: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clearturn.findings import Finding
from clearturn.trade.inputs import (
    AngleDeg,
    Checked,
    Count,
    Expansion,
    GapMm,
    LengthMm,
    NotNegative,
    Positive,
    SumProblem,
    TempC,
)
from clearturn.trade.iso286 import fit, limits
from clearturn.trade.materials import material
from clearturn.trade.sheet import Grid, Line, Ruling, Sheet, at_least, num, plain_values, signed

COLD_C = 20.0


@dataclass(frozen=True, slots=True)
class Register(Checked):
    """A register: hole on spigot.

    Attributes
    ----------
    fit : str
        Classes, as "H7/g6"; rules where no measured sizes are given.
    hole_mm, shaft_mm : float or None
        Measured diameters at 20 °C; both or none.
    hole_uncertainty_mm, shaft_uncertainty_mm : float
        Expanded (k = 2), of the measured diameters.
    hole_hot_c, shaft_hot_c : float
        Temperatures in service.
    hole_expansion_per_mk, shaft_expansion_per_mk : float or None
        1e-6/K, instead of the material's.
    expansion_uncertainty_percent : float
        Of each expansion, expanded.
    greatest_hot_mm : float
        Clearance above which the register no longer centres.
    name
        Which register.
    nominal_mm
        Nominal diameter.
    hole_material, shaft_material
        For their expansion.
    """

    name: str
    nominal_mm: LengthMm
    hole_material: str
    shaft_material: str
    hole_hot_c: TempC
    shaft_hot_c: TempC
    fit: str = "H7/g6"
    hole_mm: LengthMm | None = None
    shaft_mm: LengthMm | None = None
    hole_uncertainty_mm: NotNegative = 0.0
    shaft_uncertainty_mm: NotNegative = 0.0
    hole_expansion_per_mk: Expansion | None = None
    shaft_expansion_per_mk: Expansion | None = None
    expansion_uncertainty_percent: NotNegative = 5.0
    greatest_hot_mm: Positive = 0.12

    def check(self) -> None:
        """Refuse half a measurement, sizes far off the nominal, unknown materials and fits."""
        if (self.hole_mm is None) != (self.shaft_mm is None):
            key = "hole_mm" if self.hole_mm is None else "shaft_mm"
            raise SumProblem("hole and shaft are measured both or neither", key, found="none")
        for key, value in (("hole_mm", self.hole_mm), ("shaft_mm", self.shaft_mm)):
            if value is not None and abs(value - self.nominal_mm) > 0.05 * self.nominal_mm:
                raise SumProblem(
                    "this size is not of this register", key, found=f"{value:g}",
                    allowed=f"within 5 % of nominal_mm = {self.nominal_mm:g}",
                )  # fmt: skip
        if self.hole_expansion_per_mk is None:
            material(self.hole_material, "hole_material")
        if self.shaft_expansion_per_mk is None:
            material(self.shaft_material, "shaft_material")
        try:
            fit(self.fit, self.nominal_mm)
        except SumProblem as problem:
            raise problem.under("fit") from None

    @property
    def hole_alpha_per_k(self) -> float:
        """Expansion of the hole's part, 1/K."""
        given = self.hole_expansion_per_mk
        return (material(self.hole_material).expansion_per_mk if given is None else given) * 1e-6

    @property
    def shaft_alpha_per_k(self) -> float:
        """Expansion of the spigot, 1/K."""
        given = self.shaft_expansion_per_mk
        return (material(self.shaft_material).expansion_per_mk if given is None else given) * 1e-6


@dataclass(frozen=True, slots=True)
class Housing(Checked):
    """The fixed bearing housing inside the turning hat: a clearance, not a fit.

    Attributes
    ----------
    wall_mm, seal_land_mm : float or None
        Radial metal of the housing over the bearing, and over the seal's seat, before turning.
    least_wall_mm, least_seal_land_mm : float
        What must stay.
    housing_mm, hat_inner_mm
        Diameters as they are.
    per_side_mm
        Room asked all round.
    uncertainty_mm
        Expanded (k = 2), of the room on the diameter.
    """

    housing_mm: LengthMm
    hat_inner_mm: LengthMm
    per_side_mm: GapMm = 0.8
    uncertainty_mm: NotNegative = 0.1
    wall_mm: LengthMm | None = None
    least_wall_mm: GapMm = 6.0
    seal_land_mm: LengthMm | None = None
    least_seal_land_mm: GapMm = 3.0


@dataclass(frozen=True, slots=True)
class StudHoles(Checked):
    """Metal between the opened bore and the stud holes of the hat's flange.

    Attributes
    ----------
    bore_mm
        Of the hat's flange, as it will be.
    bolt_circle_mm, hole_mm, count
        The holes for the studs.
    least_edge_mm
        Metal that must stay between.
    """

    bore_mm: LengthMm
    bolt_circle_mm: LengthMm
    hole_mm: LengthMm
    count: Count
    least_edge_mm: GapMm = 5.0

    def check(self) -> None:
        """Refuse holes that meet the bore or each other."""
        if self.bolt_circle_mm <= self.bore_mm + self.hole_mm:
            raise SumProblem(
                "the stud holes break into the bore", "bolt_circle_mm",
                found=f"{self.bolt_circle_mm:g}",
                allowed=f"more than bore_mm + hole_mm = {self.bore_mm + self.hole_mm:g}",
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class JackingHoles(Checked):
    """Tapped holes in the hat's flange that press the rotor off the hub.

    Attributes
    ----------
    thread_mm, count
        Size and number.
    circle_mm, first_deg
        Their circle, and the angle of the first from a stud hole.
    least_edge_mm
        Metal that must stay beside them.
    """

    thread_mm: LengthMm = 8.0
    count: Count = 2
    circle_mm: LengthMm = 90.0
    first_deg: AngleDeg = 36.0
    least_edge_mm: GapMm = 5.0


@dataclass(frozen=True, slots=True)
class HubFits(Checked):
    """Inputs of the sum."""

    registers: tuple[Register, ...] = ()
    housing: Housing | None = None
    stud_holes: StudHoles | None = None
    jacking_holes: JackingHoles | None = None


@dataclass(frozen=True, slots=True)
class RegisterResult:
    """Diametral clearance of a register; negative is interference.

    Attributes
    ----------
    cold_mm, hot_mm : (least, greatest)
        From the fit's limits, or the one measured value twice.
    change_mm : float
        Hot less cold.
    uncertainty_mm : float
        Expanded, of the hot clearance.
    """

    name: str
    cold_mm: tuple[float, float]
    hot_mm: tuple[float, float]
    change_mm: float
    uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class HousingResult:
    """What the housing must be turned to, and what stays of it."""

    clearance_per_side_mm: float
    largest_mm: float
    turn_off_per_side_mm: float
    wall_left_mm: float | None
    seal_land_left_mm: float | None


@dataclass(frozen=True, slots=True)
class HubFitsResult:
    """Result of the sum."""

    registers: tuple[RegisterResult, ...]
    housing: HousingResult | None
    stud_edge_mm: float | None
    jacking_edge_mm: float | None


def clearance_change_mm(
    diameter_mm: float,
    hole_alpha_per_k: float,
    hole_rise_k: float,
    shaft_alpha_per_k: float,
    shaft_rise_k: float,
) -> float:
    """Return how much a diametral clearance grows when both parts warm up."""
    return diameter_mm * (hole_alpha_per_k * hole_rise_k - shaft_alpha_per_k * shaft_rise_k)


def register_clearance(register: Register) -> RegisterResult:
    """Return the clearance of a register cold and hot."""
    hole_rise, shaft_rise = register.hole_hot_c - COLD_C, register.shaft_hot_c - COLD_C
    change = clearance_change_mm(
        register.nominal_mm,
        register.hole_alpha_per_k,
        hole_rise,
        register.shaft_alpha_per_k,
        shaft_rise,
    )
    share = register.expansion_uncertainty_percent / 100.0
    grown = (
        register.nominal_mm * register.hole_alpha_per_k * hole_rise,
        register.nominal_mm * register.shaft_alpha_per_k * shaft_rise,
    )
    spread = math.hypot(share * grown[0], share * grown[1])
    if register.hole_mm is not None and register.shaft_mm is not None:
        found = register.hole_mm - register.shaft_mm
        cold = (found, found)
        spread = math.hypot(spread, register.hole_uncertainty_mm, register.shaft_uncertainty_mm)
    else:
        wanted = fit(register.fit, register.nominal_mm)
        cold = (wanted.least_clearance_mm, wanted.greatest_clearance_mm)
    hot = (cold[0] + change, cold[1] + change)
    return RegisterResult(register.name, cold, hot, change, spread)


def housing_room(housing: Housing) -> HousingResult:
    """Return the room of the housing in the hat, and what turning it down leaves."""
    largest = housing.hat_inner_mm - 2.0 * housing.per_side_mm
    off = max(0.0, (housing.housing_mm - largest) / 2.0)
    return HousingResult(
        clearance_per_side_mm=(housing.hat_inner_mm - housing.housing_mm) / 2.0,
        largest_mm=largest,
        turn_off_per_side_mm=off,
        wall_left_mm=None if housing.wall_mm is None else housing.wall_mm - off,
        seal_land_left_mm=None if housing.seal_land_mm is None else housing.seal_land_mm - off,
    )


def stud_edge_mm(holes: StudHoles) -> float:
    """Return the least metal between bore and stud hole, or between two stud holes."""
    to_bore = (holes.bolt_circle_mm - holes.hole_mm - holes.bore_mm) / 2.0
    if holes.count < 2:
        return to_bore
    apart = holes.bolt_circle_mm * math.sin(math.pi / holes.count) - holes.hole_mm
    return min(to_bore, apart)


def jacking_edge_mm(jacks: JackingHoles, holes: StudHoles) -> float:
    """Return the least metal between a jacking hole and the bore or a stud hole (first at 0°)."""
    edges = [(jacks.circle_mm - jacks.thread_mm - holes.bore_mm) / 2.0]
    for i in range(jacks.count):
        angle = math.radians(jacks.first_deg) + math.tau * i / jacks.count
        place = (jacks.circle_mm / 2 * math.cos(angle), jacks.circle_mm / 2 * math.sin(angle))
        for k in range(holes.count):
            there = math.tau * k / holes.count
            radius = holes.bolt_circle_mm / 2
            stud = (radius * math.cos(there), radius * math.sin(there))
            edges.append(math.dist(place, stud) - (jacks.thread_mm + holes.hole_mm) / 2.0)
    return min(edges)


def compute(inputs: HubFits) -> HubFitsResult:
    """Return every hub diameter's result."""
    jacks, holes = inputs.jacking_holes, inputs.stud_holes
    return HubFitsResult(
        registers=tuple(register_clearance(register) for register in inputs.registers),
        housing=None if inputs.housing is None else housing_room(inputs.housing),
        stud_edge_mm=None if holes is None else stud_edge_mm(holes),
        jacking_edge_mm=jacking_edge_mm(jacks, holes) if jacks and holes else None,
    )


_STEPS = (
    "before turning a housing or spigot the bearing comes out; fit a new one, then measure the hub "
    "face's run-out again",
    "keep chips off the wheel-speed encoder and magnets away from it: iron chips and magnetic "
    "clamping spoil a magnetised ring",
    "expansions are linear from 20 °C; a part is taken to be as warm all through",
)


def sheet(inputs: HubFits) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    rulings: list[Ruling] = []
    findings: list[Finding] = []
    rows = []
    for register, found in zip(inputs.registers, result.registers, strict=True):
        rulings.append(_register_ruling(register, found))
        rows.append(_register_row(register, found))
        if found.hot_mm[1] - found.uncertainty_mm > register.greatest_hot_mm:
            text = (
                f"{register.name}: up to {num(found.hot_mm[1], 3)} mm of clearance hot; above "
                f"{num(register.greatest_hot_mm, 3)} mm it no longer centres"
            )
            findings.append(Finding("register-loosens", "warning", text))
    grids: tuple[Grid, ...] = ()
    if rows:
        heads = ("register", "fit", "cold, mm", "change, mm", "hot, mm", "U, mm")
        grids = (Grid("Registers, clearance on the diameter", heads, tuple(rows), (0, 1)),)
    lines = _housing(inputs, result, rulings) + _holes(inputs, result, rulings)
    seized = [r.name for r in rulings if r.word == "fails"]
    return Sheet(
        name="hub_fits",
        title="Hub diameters, cold and hot",
        gist=f"fails: {', '.join(seized)}" if seized else "registers and metal left hold",
        lines=tuple(lines),
        rulings=tuple(rulings),
        grids=grids,
        findings=tuple(findings),
        assumed=_STEPS,
        sources=(
            "limits: ISO 286-2, from public transcriptions",
            "expansions: materials table, or as entered",
            "room in the hat, metal beside holes, two jacking screws: common practice, no source",
        ),
        values=plain_values(result),
    )


def _register_ruling(register: Register, found: RegisterResult) -> Ruling:
    return Ruling(
        f"{register.name}, hot",
        f"least clearance {signed(found.hot_mm[0], 3)} ±{num(found.uncertainty_mm, 3)} mm",
        "at least 0: below it the parts seize",
        at_least(found.hot_mm[0], 0.0, found.uncertainty_mm),
        f"{register.hole_material} at {num(register.hole_hot_c, 0)} °C on "
        f"{register.shaft_material} at {num(register.shaft_hot_c, 0)} °C",
    )


def _register_row(register: Register, found: RegisterResult) -> tuple[str, ...]:
    def spread(pair: tuple[float, float]) -> str:
        low, high = signed(pair[0], 3), signed(pair[1], 3)
        return low if low == high else f"{low} … {high}"

    name = "measured" if register.hole_mm is not None else f"{register.nominal_mm:g} {register.fit}"
    return (
        register.name,
        name,
        spread(found.cold_mm),
        signed(found.change_mm, 3),
        spread(found.hot_mm),
        num(found.uncertainty_mm, 3),
    )


def _housing(inputs: HubFits, result: HubFitsResult, rulings: list[Ruling]) -> list[Line]:
    housing, room = inputs.housing, result.housing
    if housing is None or room is None:
        return []
    lines = [
        Line("housing may be at most", f"Ø {num(room.largest_mm)} mm"),
        Line("to turn off, a side", f"{num(room.turn_off_per_side_mm)} mm"),
    ]
    # U of the diameters; a side is half of it.
    half = housing.uncertainty_mm / 2.0
    off = room.turn_off_per_side_mm
    rulings.append(
        Ruling(
            "housing turns free in the hat, as it is",
            f"{signed(room.clearance_per_side_mm)} ±{num(half)} mm a side",
            f"at least {num(housing.per_side_mm)} mm",
            at_least(room.clearance_per_side_mm, housing.per_side_mm, half),
            f"turn it to Ø {num(room.largest_mm)} mm, {num(off)} mm a side" if off > 0 else "",
        )
    )
    after = "after turning" if room.turn_off_per_side_mm > 0 else "as it is"
    for name, left, least, key in (
        ("wall of the housing", room.wall_left_mm, housing.least_wall_mm, "wall_mm"),
        ("seal land", room.seal_land_left_mm, housing.least_seal_land_mm, "seal_land_mm"),
    ):
        if left is None:
            if room.turn_off_per_side_mm > 0:
                needed, why = f"at least {num(least)} mm", f"{key} is not entered: measure it"
                rulings.append(Ruling(f"{name} {after}", "unknown", needed, "not proven", why))
            continue
        rulings.append(
            Ruling(
                f"{name} {after}",
                f"{num(left)} ±{num(half)} mm",
                f"at least {num(least)} mm",
                at_least(left, least, half),
            )
        )
    return lines


def _holes(inputs: HubFits, result: HubFitsResult, rulings: list[Ruling]) -> list[Line]:
    holes, jacks = inputs.stud_holes, inputs.jacking_holes
    for name, edge, least in (
        ("metal beside stud holes", result.stud_edge_mm, holes.least_edge_mm if holes else 0.0),
        ("metal beside jacking holes", result.jacking_edge_mm, jacks.least_edge_mm if jacks else 0),
    ):
        if edge is not None:
            word = at_least(edge, least)
            rulings.append(Ruling(name, f"{num(edge)} mm", f"at least {num(least)} mm", word))
    if jacks is None:
        return []
    where = f"{jacks.count} × M{jacks.thread_mm:g} on Ø {num(jacks.circle_mm, 1)} mm"
    return [Line("jacking screws", where, "common practice, no source")]


def register_limits_mm(tolerance_class: str, nominal_mm: float) -> tuple[float, float]:
    """Return the least and greatest diameter of a class, mm."""
    found = limits(tolerance_class, nominal_mm)
    return nominal_mm + found.lower_um / 1000.0, nominal_mm + found.upper_um / 1000.0
