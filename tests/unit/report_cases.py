"""Invented results of a check, built from the result types, for the tests of the report.

The sums are done here by plain arithmetic, not by the program; vehicle and kit do not exist.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from clearturn.envelope import (
    BoxDimensions,
    CaliperDimensions,
    RimDimensions,
    RimStation,
    RotorDimensions,
    caliper_mesh,
    rim_mesh,
    rotor_mesh,
)
from clearturn.envelope.boxes import radial_box
from clearturn.findings import Finding
from clearturn.gap.model import FreeingShift, Gap, Interference, Interval, State
from clearturn.job.model import (
    FORMAT,
    Axle,
    BalanceWeights,
    Band,
    Corner,
    Job,
    MeshFile,
    PairRule,
    Part,
    Requirements,
    Scan,
    Seat,
    SignOff,
)
from clearturn.mesh import join
from clearturn.result import (
    Allowance,
    BudgetLine,
    CheckResult,
    Cure,
    DatumResult,
    HubResult,
    Machining,
    Motion,
    PairResult,
    Place,
    PlacedPart,
    Verdict,
)

SHA = "7c1e90ab5d3f2468ace013579bdf02468ace13579bdf00112233445566778899"
SCAN_SHA = "0123456789abcdeffedcba98765432100123456789abcdeffedcba9876543210"
WHEEL_SHA = "89abcdef0123456776543210fedcba9889abcdef0123456776543210fedcba98"
COVERAGE = 2.0

POSED = Finding(
    "posed-part",
    "warning",
    "“tie rod” is true only in the steering and suspension position in which it was scanned.",
)
HOLES = Finding(
    "open-edges",
    "note",
    "knuckle_scan.stl has 14 holes; the largest, 9.2 mm wide, lies 61 mm from any gap judged.",
)

ROTOR = RotorDimensions(350, 222, 34, 38, 8, 176, 6, 64, 112, 5, 15)
CALIPER = CaliperDimensions(
    112, 200, 178.6, 68, 62, 27, 74, 270, corner_radius_mm=6,
    boxes=(BoxDimensions("bleed nipple", 30, 196, 204, 30, 40, 8),),
)  # fmt: skip


def job(name: str = "Aurel 4, front left, kit K350-six", **changes: object) -> Job:
    """Return an invented job with two scans and one mesh file."""
    corner = Corner(
        side="left",
        scans=(
            Scan("knuckle", "scans/knuckle_scan.stl", SCAN_SHA),
            Scan("wheel", "scans/wheel_scan.stl", WHEEL_SHA),
        ),
        parts=(Part("hose clip", "other", "fixed", mesh=MeshFile("clip.step", SHA[::-1])),),
        weights=BalanceWeights("not in band", -60.0, -10.0),
        seats=(Seat("caliper on lugs", "caliper", "knuckle", Band(r_from_mm=140.0)),),
        pairs=(PairRule("rotor", "knuckle", "the shield stands between them", judged=False),),
        requirements=Requirements(caliper_spokes_mm=3.5),
    )
    base = Job(
        FORMAT, 1, name,
        axles=(Axle("front", corner),),
        vehicle="Aurel 4 (invented)",
        kit="K350-six (invented): six-piston caliper, 350 × 34 ring",
        invented=True,
        author="Workshop bench 2",
        sign_offs=(SignOff("10 Scans", "m. k.", "2025-11-24"),),
    )  # fmt: skip
    return replace(base, **changes)


@cache
def parts() -> tuple[PlacedPart, ...]:
    """Return placed parts with real meshes: wheel, rotor, caliper, housing, tie rod."""
    rim = rim_mesh(
        RimDimensions(
            tuple(
                RimStation(z, r)
                for z, r in ((-150, 222), (-135, 222), (-100, 207), (20, 207), (40, 214), (70, 222))
            ),
            wall_mm=6.0,
        ),
        wheel_z_mm=8.0,
    ).mesh
    spokes = [radial_box(36.0 * k, (70, 210), (26.2, 44), 26) for k in range(10)]
    pad = radial_box(0.0, (-74, 74), (8, 40), 148)
    wheel = join([rim, *spokes, pad], "wheel")
    caliper = caliper_mesh(CALIPER, ring_mid_z_mm=-38).mesh
    rotor = rotor_mesh(ROTOR).mesh
    housing = radial_box(0.0, (-58, 58), (-52, -16), 116, "bearing housing")
    rod = radial_box(200.0, (60, 190), (-104, -84), 20, "tie rod")
    return (
        PlacedPart("wheel", "wheel", Motion.TURNS, wheel, "scan wheel_scan.stl", 0.03),
        PlacedPart("rotor", "rotor", Motion.TURNS, rotor, "dimensions"),
        PlacedPart("caliper", "caliper", Motion.FIXED, caliper, "dimensions"),
        PlacedPart(
            "bearing housing", "bearing housing", Motion.FIXED, housing,
            "scan knuckle_scan.stl", 0.03,
        ),
        PlacedPart("tie rod", "tie rod", Motion.POSED, rod, "scan knuckle_scan.stl", 0.03),
    )  # fmt: skip


def allowances(eccentricity_n: float = 0.97) -> tuple[Allowance, ...]:
    """Return three invented allowances of the kinds there are."""
    return (
        Allowance("wheel eccentricity", "always costs", 0.3, "radial", 0.3 * eccentricity_n,
                  "run-out limit of the wheel's drawing, 0.6 total"),
        Allowance("rim deflection at 6 o'clock", "shift", 0.4, "up", 0.05,
                  "common practice, no source"),
        Allowance("caliper spread under pressure", "random", 0.2, "axial", 0.115,
                  "bench reading at 100 bar"),
    )  # fmt: skip


def budget(scale: float = 1.0) -> tuple[BudgetLine, ...]:
    """Return an invented budget."""
    return (
        BudgetLine("datums of the wheel scan", 0.041 * scale, "covariance of the fitted datums"),
        BudgetLine("datums of the knuckle scan", 0.032 * scale, "covariance of the fitted datums"),
        BudgetLine("scanner", 0.029 * scale, "maker's statement, ±0.05 mm (rectangular)"),
        BudgetLine("noise at the place", 0.012 * scale, "local surface fit"),
        BudgetLine("caliper spread under pressure", 0.115, "bench reading at 100 bar"),
    )


def gap(lower: float, *, state: State = State.APART, clock_deg: float = 271.4,
        r_mm: float = 178.2, z_mm: float = 24.0) -> Gap:  # fmt: skip
    """Return a gap whose points lie at a place of the hub frame, along z."""
    angle = math.radians(clock_deg)
    first = np.array([r_mm * math.sin(angle), r_mm * math.cos(angle), z_mm])
    second = first + np.array([0.0, 0.0, lower])
    inside = None
    if state is State.INTERFERING:
        inside = Interference(
            True, "none", Interval(-lower, -lower + 0.4), np.array([0, 0, -1.0]),
            shifts=(
                FreeingShift("inward", "first", np.array([-1.0, 0, 0]), Interval(31.0, None)),
                FreeingShift("outboard", "first", np.array([0, 0, 1.0]), Interval(7.0, 7.002)),
                FreeingShift("inboard", "first", np.array([0, 0, -1.0]), Interval(2.4, 2.4021)),
            ),
            hits_deg=((12.4, 40.2), (192.4, 220.2)),
        )  # fmt: skip
    return Gap(
        state, Interval(lower, lower + 0.0008), first, second, 10, 20, np.array([0, 0, 1.0]),
        turn_angle_deg=12.5, first_rz_mm=np.array([r_mm, z_mm]),
        second_rz_mm=np.array([r_mm, z_mm + lower]), interference=inside,
    )  # fmt: skip


def pair(first: str, second: str, kind: str, lower: float, required: float,
         **changes: object) -> PairResult:  # fmt: skip
    """Return one judged pair; the sum from gap to margin is done here in plain arithmetic."""
    found = gap(
        lower,
        state=changes.pop("state", State.APART),  # type: ignore[arg-type]
        clock_deg=changes.pop("clock_deg", 271.4),  # type: ignore[arg-type]
        r_mm=changes.pop("r_mm", 178.2),  # type: ignore[arg-type]
        z_mm=changes.pop("z_mm", 24.0),  # type: ignore[arg-type]
    )
    bias = -0.062
    entered = allowances()
    taken = sum(a.applied_mm for a in entered if a.kind != "random")
    lines = budget()
    u = COVERAGE * math.sqrt(sum(line.standard_mm**2 for line in lines))
    estimate = Interval(found.gap_mm.lower - bias, found.gap_mm.upper - bias)
    net = Interval(estimate.lower - taken, estimate.upper - taken)
    verdict = Verdict.NOT_PROVEN
    if net.lower - u >= required:
        verdict = Verdict.CLEARS
    elif net.upper + u < required:
        verdict = Verdict.FAILS
    made = PairResult(
        first=first, second=second, kind=kind, motion="turning", gap=found, noise_bias_mm=bias,
        estimate_mm=estimate, allowances=entered, allowances_mm=taken, net_gap_mm=net,
        budget=lines, expanded_uncertainty_mm=u, worst_case_mm=net.lower - 0.61,
        required_mm=required, margin_mm=net.lower - u - required, verdict=verdict,
        clock_deg=math.degrees(math.atan2(found.first_point_mm[0], found.first_point_mm[1])) % 360,
        r_mm=float(found.first_rz_mm[0]), z_mm=float(found.first_rz_mm[1]),
    )  # fmt: skip
    return replace(made, **changes)


def place(worst: float, clock_deg: float, area: float) -> Place:
    """Return one separate place below the requirement, without faces."""
    point = np.array([178.0 * math.sin(math.radians(clock_deg)), 0.0, 24.0])
    return Place(worst, area, clock_deg, 178.0, 24.0, point, np.arange(5))


def hub() -> tuple[HubResult, ...]:
    """Return the four hub diameters: one to open, one too large, two that clear."""
    return (
        HubResult("rotor register", 70.0, 0.01, "micrometer", 64.0, 0.02, "drawing",
                  "H7/g6: 0.010 to 0.059 mm", -6.0,
                  Machining("rotor bore", 70.0, 3.0, "H7 (+0.030 / 0)"),
                  "bore gauge and micrometer at 20 °C before the last cut", (), Verdict.FAILS),
        HubResult("wheel register", 70.0, 0.01, "micrometer", 70.1, 0.05, "scan wheel_scan.stl",
                  "0.05 to 0.20 mm on the diameter", 0.1, None, None, (), Verdict.CLEARS),
        HubResult("flange in hat", 148.0, 0.05, "scan knuckle_scan.stl", 164.0, 0.05, "dimensions",
                  "0.80 mm a side", 16.0, None, None, (), Verdict.CLEARS),
        HubResult("housing in hat", 164.8, 0.05, "scan knuckle_scan.stl", 164.0, 0.05,
                  "dimensions", "0.80 mm a side", -0.8,
                  Machining("bearing housing", 162.4, 1.2, "0 / −0.1"), None,
                  ("bearing out before turning; wall and seal land left to be measured",),
                  Verdict.FAILS),
    )  # fmt: skip


def datums() -> tuple[DatumResult, ...]:
    """Return invented datum fits, one with a doubt."""
    doubt = Finding("short-arc", "warning", "the lug bore is seen over 140° of its round only.")
    return (
        DatumResult("knuckle", "hub face", "plane", 0.029, 0.142, 18342, 212.4,
                    "±0.003 mm along the axis, ±0.05 mrad"),
        DatumResult("knuckle", "spigot", "cylinder", 0.031, 0.166, 9120, 96.0,
                    "axis ±0.006 mm, ±0.21 mrad"),
        DatumResult("knuckle", "upper lug bore", "cylinder", 0.034, 0.171, 2010, 22.1,
                    "clock ±0.012°", (doubt,)),
        DatumResult("wheel", "pad", "plane", 0.030, 0.151, 15876, 188.0,
                    "±0.004 mm along the axis, ±0.04 mrad"),
        DatumResult("wheel", "centre bore", "cylinder", 0.030, 0.149, 6655, 71.5,
                    "axis ±0.007 mm, ±0.19 mrad"),
    )  # fmt: skip


def spacer(amount: float = 3.0, *, clears_all: bool = True) -> Cure:
    """Return a spacer as cure."""
    return Cure(
        "spacer", amount,
        ("track grows by 6.00 mm", "18.0 mm thread left for the nut, 14.0 needed",
         "wheel is centred on 7.0 mm"),
        clears_all,
    )  # fmt: skip


def demo(**changes: object) -> CheckResult:
    """Return a corner like a real one: spokes fail, one pair is not proven, the rest clears."""
    pairs = (
        pair("caliper", "wheel", "caliper–barrel", 5.52, 3.0, r_mm=199.8, z_mm=-20.0,
             clock_deg=268.0),
        pair("caliper", "wheel", "caliper–spokes", 2.181, 4.0,
             would_clear=(spacer(), Cure("trim caliper", 2.4, ("wall over the outer pistons "
                          "shrinks; ask its maker",), False)),
             places=(place(2.181, 271.4, 310.0), place(2.9, 244.0, 42.0))),
        pair("caliper", "rotor", "caliper bridge–ring", 3.601, 3.0, clock_deg=290.0, z_mm=-38.0,
             settle_by="measure the bridge over the ring with a gauge to ±0.05 mm",
             r_mm=178.6, motion="turning"),
        pair("rotor", "knuckle", "rotor–knuckle", 9.3, 5.0, r_mm=150.0, z_mm=-70.0,
             clock_deg=91.0),
        pair("caliper", "bearing housing", "other fixed pair", 21.4, 2.0, motion="still",
             r_mm=112.0, z_mm=-60.0),
        pair("rotor", "tie rod", "turning–posed", 11.42, 5.0, r_mm=160.0, z_mm=-55.0,
             clock_deg=200.0, findings=(POSED,)),
    )  # fmt: skip
    result = CheckResult(
        job=job(), job_sha256=SHA, verdict=Verdict.FAILS, parts=parts(), datums=datums(),
        pairs=pairs, hub=hub(), turn_section=None,
        not_checked=("Winter wheel 17 × 7½ named in the notes of the job.",),
        findings=(HOLES, POSED),
    )  # fmt: skip
    return replace(result, **changes)


def clearing() -> CheckResult:
    """Return a corner where everything clears."""
    pairs = tuple(p for p in demo().pairs if p.verdict is Verdict.CLEARS)
    good = tuple(h for h in hub() if h.verdict is Verdict.CLEARS)
    return demo(pairs=pairs, hub=good, verdict=Verdict.CLEARS)


def empty() -> CheckResult:
    """Return a job with nothing in it."""
    return demo(
        job=job("Empty", axles=(), vehicle="", kit="", author="", sign_offs=(), invented=False),
        pairs=(), hub=(), parts=(), datums=(), not_checked=(), findings=(),
        verdict=Verdict.NOT_PROVEN,
    )  # fmt: skip


FOREIGN_NAMES = (
    "caliper #1 $x$ \\\\ *bold* _under_ `raw` @ref <label> ~ ' \" & // [x] #let",
    "#panic(\"no\") #include \"/etc/passwd\" {x}",
    "\u5236\u52d5\u5378\u5939 \u8eca\u8f2a",
    "\u0643\u0627\u0644\u064a\u0628\u0631 \u0623\u0645\u0627\u0645\u064a",
    "\u05e7\u05dc\u05d9\u05e4\u05e8",
    "\u0421\u0443\u043f\u043f\u043e\u0440\u0442 \u043f\u0435\u0440\u0435\u0434\u043d\u0438\u0439",
    "\u0394\u03b1\u03b3\u03ba\u03ac\u03bd\u03b1",
    "brake \U0001f9ef\U0001f697 \U0001f468\u200d\U0001f527",
    "evil\u202egpj.exe\x07\x00end",
    "x" * 300,
    "a_very-long.file/name\\with:breaks," * 8,
    "two\nlines\r\nand\ttab",
    "",
    "=HYPERLINK(\"x\")",
)  # fmt: skip


def many() -> CheckResult:
    """Return fourteen pairs with names that try to break the pages."""
    pairs = []
    for k, name in enumerate(FOREIGN_NAMES):
        lower = (-1.4, 0.0, 2.2, 3.5, 6.0, 7.0, 9.0)[k % 7]
        state = State.INTERFERING if lower < 0 else State.TOUCHING if lower == 0 else State.APART
        made = pair(name, FOREIGN_NAMES[-1 - k], name, lower, 3.0, state=state,
                    clock_deg=25.7 * k)  # fmt: skip
        if made.verdict is not Verdict.CLEARS:
            made = replace(made, would_clear=(Cure("spacer", 2.0, (name,), False),))
        pairs.append(made)
    name = " / ".join(FOREIGN_NAMES)
    return demo(
        job=job(name, vehicle=name, kit=name, author=name, notes=name),
        pairs=tuple(pairs),
        not_checked=FOREIGN_NAMES,
        findings=tuple(Finding("foreign", "warning", n or "-") for n in FOREIGN_NAMES),
    )


def unknowns() -> CheckResult:
    """Return a pair of open surfaces that cross: no lower end, no margin, no depth."""
    crossed = pair("caliper", "wheel", "caliper–spokes", -1.0, 4.0, state=State.INTERFERING)
    nothing = Interval(None, 0.0)
    crossed = replace(
        crossed,
        gap=replace(crossed.gap, gap_mm=nothing, direction=np.zeros(3),
                    interference=Interference(True, "none", None, None)),
        estimate_mm=nothing, net_gap_mm=nothing, margin_mm=-math.inf, worst_case_mm=-math.inf,
        noise_bias_mm=math.nan, budget=(), allowances=(), allowances_mm=0.0,
        verdict=Verdict.FAILS,
    )  # fmt: skip
    return demo(pairs=(crossed,), hub=(), verdict=Verdict.FAILS)
