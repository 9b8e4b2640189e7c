"""What would clear a pair: first solutions, found by marching and checked on all pairs."""

import math
from dataclasses import replace

import numpy as np
import pytest

from clearturn.corner.pairs import PairSpec
from clearturn.job.judging import AllowanceEntry, CureLimits, SeatStack, Stud, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart, Verdict
from clearturn.verdict import judge_pairs
from clearturn.verdict.after import STEP_MM, margin_after
from clearturn.verdict.changes import Change, changes_for
from clearturn.verdict.cures import march
from clearturn.verdict.every import judge_all


def tube(profile, turns=96):
    """A closed body of revolution from a closed (r, z) polygon."""
    p = np.asarray(profile, float)
    a = 2 * np.pi * np.arange(turns) / turns
    points = np.concatenate(
        [np.stack([r * np.cos(a), r * np.sin(a), np.full(turns, z)], axis=1) for r, z in p]
    )
    faces = []
    for i in range(len(p)):
        j = (i + 1) % len(p)
        for k in range(turns):
            m = (k + 1) % turns
            q = [i * turns + k, i * turns + m, j * turns + m, j * turns + k]
            faces += [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]
    return Mesh(points, faces)


def turned(name, kind, profile, turns=96):
    return PlacedPart(name, kind, Motion.TURNS, tube(profile, turns), "dimensions")


def sector(name, kind, low, high):
    """A block by (r, half width, z): fixed, at clock 90°."""
    x = np.array([[a, b, c] for a in (0, 1) for b in (0, 1) for c in (0, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    points = np.asarray(low) + x * (np.asarray(high, float) - low)
    return PlacedPart(name, kind, Motion.FIXED, Mesh(points, faces), "dimensions")


def disc(z):  # spoke back at height z
    return turned("spokes", "spokes", [(70, z), (180, z), (180, z + 8), (70, z + 8)])


CALIPER = ([130, -5, -60], [190, 5, 20])  # outboard face at z 20, corner radius √(190² + 5²)
OUTSIDE = math.hypot(190, 5)
STUD = Stud(42.0, "M14×1.5", 10.0, 14.0, 18.0)


def settings(**limits):
    return VerdictSettings(
        cures=CureLimits(**limits),
        seat_stack=SeatStack(8.0, 8.0),
        stud=STUD,
        wheel_parts=("spokes", "barrel"),
    )


def straight_barrel(radius=200.0):
    return turned(
        "barrel", "barrel",
        [(radius, -90), (radius + 5, -90), (radius + 5, 60), (radius, 60)], 720,
    )  # fmt: skip


SPOKES = PairSpec("caliper", "spokes", "caliper–spokes", "turning", 4.0)
BARREL = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 3.0)


def cures_of(parts, pairs, chosen, index=0):
    found = judge_pairs(parts, pairs, chosen)
    return {c.change: c for c in found[index].would_clear}, found


def test_least_spacer_is_what_the_spokes_miss():
    parts = [sector("caliper", "caliper", *CALIPER), disc(22.2), straight_barrel()]
    cures, found = cures_of(parts, [SPOKES, BARREL], settings())
    assert found[0].verdict is Verdict.FAILS
    spacer = cures["spacer"]
    assert spacer.amount_mm == pytest.approx(1.8, abs=0.01 + STEP_MM)
    assert spacer.amount_mm >= 1.8
    assert spacer.clears_all
    text = " | ".join(spacer.side_effects)
    assert "3 mm is the least thickness on sale" in text
    # Thread left: 42 − (8 + 3) − 10 = 21; register: 18 − 11 = 7; track + 2 · 3.
    assert "21.0 mm of M14×1.5 thread" in text
    assert "7.0 mm of register" in text
    assert "track grows by 6.0 mm" in text


def test_trim_and_offset_clear_the_spokes_by_the_same_amount():
    ring = turned("rotor", "rotor", [(60, 8), (60, -55), (125, -55), (125, 0), (65, 0), (65, 8)])
    parts = [sector("caliper", "caliper", *CALIPER), disc(22.2), straight_barrel(), ring]
    cures, _ = cures_of(parts, [SPOKES, BARREL], settings())
    assert cures["trim caliper"].amount_mm == pytest.approx(1.8, abs=0.01 + STEP_MM)
    assert "outboard face" in cures["trim caliper"].side_effects[0]
    assert cures["rotor offset"].amount_mm == pytest.approx(1.8, abs=0.01 + STEP_MM)  # inboard: +
    assert "move caliper inward" not in cures  # moving along the radius opens no spoke back


def test_moving_inward_gains_only_the_cosine_where_trimming_gains_all():
    # Two pads at the ends of an arc, ± 37° from the caliper's clock 90°.
    ends = []
    for angle in (-37, 37):
        c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        mesh = sector("x", "caliper", [160, -2, -10], [196, 2, 10]).mesh
        turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
        ends.append(mesh.vertices @ turn.T)
    mesh = Mesh(np.concatenate(ends), np.concatenate([mesh.faces, mesh.faces + 8]))
    caliper = PlacedPart("caliper", "caliper", Motion.FIXED, mesh, "dimensions")
    parts = [caliper, straight_barrel(), disc(60)]
    # Requirement 5 mm: 200 − √(196² + 2²) = 3.9898 (less the facets' sagitta 0.0019).
    cures, found = cures_of(
        parts, [PairSpec("caliper", "barrel", "caliper–barrel", "turning", 5.0), SPOKES],
        settings(caliper_inward_most_mm=8.0),
    )  # fmt: skip
    missing = -found[0].margin_mm
    assert cures["trim caliper"].amount_mm == pytest.approx(missing, abs=0.01 + STEP_MM)
    assert "radius" in cures["trim caliper"].side_effects[0]
    inward = cures["move caliper inward"].amount_mm
    # √((ρ cos − s)² + (ρ sin)²) = ρ − missing at the outer corner of each end.
    rho = math.hypot(196, 2)
    angle = math.radians(37) + math.atan2(2, 196)
    b = rho * math.cos(angle)
    exact = b - math.sqrt(b * b - (2 * rho * missing - missing**2))
    assert inward == pytest.approx(exact, abs=0.01)
    assert inward > missing / math.cos(math.radians(37))
    assert any("arc" in effect for effect in cures["move caliper inward"].side_effects)


def dipped_barrel():
    """A barrel that a spacer first opens, then closes, over a caliper pip at z = 10.

    Inner radius at z − s: 196.5 for z ≤ 4, up to 200.5 at 8, back to 194 at 14 … in the wheel's
    own heights from low to high.
    """
    inner = [(196.0, -90), (196.0, -2), (201.0, 4), (201.0, 6), (196.0, 12), (196.0, 60)]
    return turned("barrel", "barrel", [*inner, (208, 60), (208, -90)], 720)


def test_marching_finds_the_first_spacer_where_bisection_misses():
    # A pip of radius 195 at z = 13 under a barrel that is wide only for wheel heights 4 … 6.
    pip = sector("caliper", "caliper", [150, -1, 12.9], [195, 1, 13.1])
    parts = [pip, dipped_barrel(), disc(80)]
    chosen = settings(spacer_most_mm=15.0)
    judged = judge_all(parts, [BARREL], chosen, {})
    direction = judged[0].result.gap.direction
    change = next(
        c for c in changes_for((parts[0], parts[1]), direction, parts, chosen) if c.word == "spacer"
    )
    margins = {s: margin_after(judged[0], change, s, chosen) for s in (0.0, 7.5, 15.0)}
    assert margins[0.0] < 0
    assert margins[15.0] < 0  # bisection starts from a bracket without a change of sign: none found
    amount = march([judged[0]], change, chosen)
    assert amount is not None
    # Dense sampling is the independent judge of "first".
    samples = np.arange(0.0, 15.0, 0.05)
    clear = [s for s in samples if margin_after(judged[0], change, float(s), chosen) >= 0]
    assert clear
    assert amount <= clear[0] + STEP_MM
    assert amount >= clear[0] - 0.05 - STEP_MM
    assert margin_after(judged[0], change, amount, chosen) >= 0


def test_march_never_steps_over_the_first_solution():
    pip = sector("caliper", "caliper", [150, -1, 12.9], [195, 1, 13.1])
    parts = [pip, dipped_barrel()]
    chosen = settings()
    judged = judge_all(parts, [BARREL], chosen, {})
    spacer = Change("spacer", 15.0, changes_spacer(parts, chosen))
    first = march([judged[0]], spacer, chosen)
    for s in np.linspace(0.0, first - 2 * STEP_MM, 40):
        assert margin_after(judged[0], spacer, float(s), chosen) < 0


def changes_spacer(parts, chosen):
    return next(
        c for c in changes_for((parts[0], parts[1]), np.array([1.0, 0, 0]), parts, chosen)
        if c.word == "spacer"
    ).moves  # fmt: skip


def test_spacer_that_closes_the_barrel_is_said_to_break_it():
    # The barrel narrows inboard: each mm of spacer brings a narrower part over the caliper.
    taper = turned(
        "barrel", "barrel",
        [(140.0, -90), (205.0, 40), (215.0, 40), (150.0, -90)], 720,
    )  # fmt: skip
    caliper = sector("caliper", "caliper", [130, -1, -5], [181, 1, 20])
    probe = [caliper, disc(20.5), taper]
    barrel = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 0.5)
    cures, found = cures_of(probe, [SPOKES, barrel], settings())
    assert found[1].verdict is Verdict.CLEARS
    spacer = cures["spacer"]
    assert spacer.amount_mm == pytest.approx(3.5, abs=0.01 + STEP_MM)
    assert not spacer.clears_all
    assert any("barrel would no longer clear" in effect for effect in spacer.side_effects)


def test_larger_wheel_comes_in_whole_rim_sizes():
    parts = [sector("caliper", "caliper", *CALIPER), straight_barrel(191.0), disc(40)]
    cures, _ = cures_of(parts, [BARREL, SPOKES], settings(trim_most_mm=1.0))
    assert cures["larger wheel"].amount_mm == 25.4
    assert "trim caliper" not in cures  # 1 mm is not enough


def test_smaller_rotor_takes_the_caliper_along_by_half():
    ring = turned("rotor", "rotor", [(111, -55), (175, -55), (175, -21), (111, -21)])
    caliper = sector("caliper", "caliper", [178, -5, -50], [198, 5, -25])
    parts = [caliper, straight_barrel(), ring]
    bridge = PairSpec("rotor", "caliper", "caliper bridge–ring", "turning", 2.0)
    cures, found = cures_of(parts, [BARREL, bridge], settings())
    missing = -found[0].margin_mm
    # The box lies square to its radius: 198 + x along clock 90, y = 5 at the corner.
    rho = math.hypot(198, 5)
    exact = 198 - math.sqrt((rho - missing) ** 2 - 25)
    assert cures["smaller rotor"].amount_mm == pytest.approx(2 * exact, abs=0.01)
    assert cures["smaller rotor"].clears_all


def test_no_cure_where_none_reaches():
    parts = [sector("caliper", "caliper", *CALIPER), straight_barrel(191.0), disc(40)]
    limits = {
        "spacer_most_mm": 0.0,
        "caliper_inward_most_mm": 0.5,
        "trim_most_mm": 0.5,
        "rotor_offset_most_mm": 0.0,
        "smaller_rotor_most_mm": 0.0,
    }
    cures, found = cures_of(parts, [BARREL], settings(**limits))
    assert found[0].verdict is Verdict.FAILS
    assert set(cures) == {"larger wheel"}


def test_a_pair_that_clears_needs_no_cure():
    parts = [sector("caliper", "caliper", *CALIPER), straight_barrel(), disc(30)]
    found = judge_pairs(parts, [SPOKES, BARREL], settings())
    assert [one.verdict for one in found] == [Verdict.CLEARS, Verdict.CLEARS]
    assert [one.would_clear for one in found] == [(), ()]


def test_amount_is_rounded_up_to_the_hundredths_it_is_told_in():
    # 4.0 asked less 22.2037 − 20 there: 1.7963 is missing, and 1.80 is told, never 1.79.
    parts = [sector("caliper", "caliper", *CALIPER), disc(22.2037), straight_barrel()]
    cures, _ = cures_of(parts, [SPOKES, BARREL], settings())
    for change in ("spacer", "trim caliper"):
        assert cures[change].amount_mm == pytest.approx(1.80, abs=1e-9)
    assert "1.80 mm" in cures["trim caliper"].side_effects[0]


def test_cure_is_held_against_the_place_that_is_worst_net_of_allowances():
    # A wheel in one piece: its disc is 3.00 mm off axially, its barrel 4.99 mm radially.  An
    # eccentricity of 3.5 mm leaves 1.49 mm radially, and 1.6 mm are asked; no spacer changes that.
    r = OUTSIDE + 4.99
    profile = [(60, 23), (r, 23), (r, -90), (206, -90), (206, 40), (60, 40)]
    parts = [sector("caliper", "caliper", *CALIPER), turned("wheel", "wheel", profile, 720)]
    off_centre = AllowanceEntry("off centre", 3.5, "radial", "always costs", "test", part="wheel")
    chosen = replace(settings(spacer_most_mm=3.0), allowances=(off_centre,))
    spec = PairSpec("caliper", "wheel", "caliper–spokes", "turning", 1.6)
    cures, found = cures_of(parts, [spec], chosen)
    assert found[0].margin_mm == pytest.approx(4.99 - 3.5 - 1.6, abs=0.01)
    assert "spacer" not in cures
