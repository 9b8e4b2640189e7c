"""Allowances projected on a gap, each against a hand calculation."""

import math

import numpy as np
import pytest

from clearturn.errors import InputError
from clearturn.job.judging import AllowanceEntry
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart
from clearturn.verdict import physics
from clearturn.verdict.allowances import Places, contributions, listed, project, total_cost

TRIANGLE = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
CALIPER = PlacedPart("six-piston", "caliper", Motion.FIXED, TRIANGLE, "dimensions")
BARREL = PlacedPart("barrel", "barrel", Motion.TURNS, TRIANGLE, "scan")
ROTOR = PlacedPart("ring", "rotor", Motion.TURNS, TRIANGLE, "dimensions")
KNUCKLE = PlacedPart("upright", "knuckle", Motion.FIXED, TRIANGLE, "scan")
C45 = math.sqrt(0.5)


def at_clock(clock_deg, r, z, n_r, n_z):
    a = math.radians(clock_deg)
    radial = np.array([math.sin(a), math.cos(a), 0.0])
    return Places.of(r * radial + [0, 0, z], n_r * radial + np.array([0, 0, n_z]))


def cost(entries, place, first=CALIPER, second=BARREL):
    if isinstance(entries, AllowanceEntry):
        entries = (entries,)
    applied = project(entries, first, second, place, wheel_parts=("barrel",))
    return float(total_cost(applied, 1)[0])


def entry(value, direction, kind="shift", part="barrel"):
    return AllowanceEntry("x", value, direction, kind, "by hand", part)


OUT = at_clock(90, 200, 10, 1.0, 0.0)  # caliper under the barrel at 3 o'clock
UP45 = at_clock(90, 200, 10, C45, C45)  # gap opens outwards and outboard


@pytest.mark.parametrize(
    ("one", "place", "expected"),
    [
        (entry(0.3, "gap"), OUT, 0.3),
        (entry(-0.3, "gap"), OUT, -0.3),
        (entry(0.3, "outward"), OUT, -0.3),  # the barrel moves away
        (entry(0.3, "inward"), OUT, 0.3),
        (entry(0.3, "outward", part="caliper"), OUT, 0.3),  # the caliper follows it
        (entry(0.3, "inboard"), UP45, 0.3 * C45),
        (entry(0.3, "outboard"), UP45, -0.3 * C45),
        (entry(-0.3, "outboard"), UP45, 0.3 * C45),
        (entry(0.3, "+x"), OUT, -0.3),  # clock 90 is +X
        (entry(0.3, "-x"), OUT, 0.3),
        (entry(0.3, "up"), OUT, 0.0),
        (entry(0.3, "inward", part=""), OUT, 0.3),  # whose shift is not known: it closes
        (entry(0.3, "outward", part=""), OUT, 0.3),
        (entry(0.3, "outward", part="wheel"), OUT, -0.3),  # a wheel part answers to "wheel"
        (entry(0.3, "outward", part="hose"), OUT, 0.0),  # not of this pair
        (entry(0.4, "radial", "always costs"), UP45, 0.4 * C45),
        (entry(0.4, "axial", "always costs"), UP45, 0.4 * C45),
        (entry(0.4, "radial", "always costs"), at_clock(90, 200, 10, -1, 0), 0.4),
        (entry(0.4, "gap", "always costs"), UP45, 0.4),
        (entry(0.4, "inboard", "always costs"), UP45, 0.4 * C45),  # closes
        (entry(0.4, "outboard", "always costs"), UP45, 0.0),  # opens: no gain
    ],
)
def test_allowance_takes_what_the_hand_calculation_says(one, place, expected):
    assert cost(one, place) == pytest.approx(expected, abs=1e-12)


def test_shift_of_both_parts_is_no_shift():
    both = entry(0.5, "outward", part="scan-made")
    first = PlacedPart("a", "scan-made", Motion.FIXED, TRIANGLE, "scan")
    second = PlacedPart("b", "scan-made", Motion.TURNS, TRIANGLE, "scan")
    assert cost(both, OUT, first, second) == 0.0


def test_shift_is_the_derivative_of_a_distance():
    # Point against point: d|b + s·u − a|/ds at 0 is n·u; here numerically.
    a, b = np.array([120.0, 30.0, -20.0]), np.array([123.0, 34.0, -8.0])
    n = (b - a) / np.linalg.norm(b - a)
    place = Places.of(a, n)
    for word, unit in (("up", [0, 1, 0]), ("+x", [1, 0, 0]), ("inboard", [0, 0, -1])):
        h = 1e-6
        moved = np.linalg.norm(b + h * np.array(unit) - a) - np.linalg.norm(b - a)
        assert cost(entry(1.0, word), place) == pytest.approx(-moved / h, abs=1e-6)


def test_tilt_is_the_derivative_of_a_turn_about_the_horizontal_axis():
    a, b = np.array([10.0, 190.0, 30.0]), np.array([10.5, 194.0, 33.0])
    n = (b - a) / np.linalg.norm(b - a)
    angle = 1e-6
    turn = np.array(
        [
            [1, 0, 0],
            [0, math.cos(angle), -math.sin(angle)],
            [0, math.sin(angle), math.cos(angle)],
        ]
    )
    rate = (np.linalg.norm(turn @ b - a) - np.linalg.norm(b - a)) / angle
    (tilt,) = physics.cornering_tilt(0.002)
    # n·(ω × p) is the same at a and at b, since b − a is along n.
    assert cost(tilt, Places.of(a, n)) == pytest.approx(0.002 * abs(rate), rel=1e-4)


def test_tilt_acts_at_twelve_and_six_and_not_at_three():
    (tilt,) = physics.cornering_tilt(0.001)
    axial = [cost(tilt, at_clock(c, 180, 0, 0, 1)) for c in (0, 90, 180, 270)]
    assert axial == pytest.approx([0.18, 0.0, 0.18, 0.0], abs=1e-12)


def test_unknown_direction_costs_in_full():
    nowhere = Places.of([100.0, 0.0, 0.0], [0.0, 0.0, 0.0])
    assert cost(entry(0.3, "radial", "always costs"), nowhere) == pytest.approx(0.3)
    assert cost(entry(-0.3, "outward"), nowhere) == pytest.approx(0.3)


def test_place_on_the_axis_has_no_radial_share():
    on_axis = Places.of([0.0, 0.0, 5.0], [0.0, 0.0, 1.0])
    assert cost(entry(0.3, "radial", "always costs"), on_axis) == 0.0


def test_random_allowance_enters_the_budget_and_not_the_cost():
    one = entry(0.3, "radial", "random")
    applied = project((one,), CALIPER, BARREL, UP45)
    assert total_cost(applied, 1)[0] == 0.0
    (line,) = contributions(applied, 0)
    assert line.standard_mm == pytest.approx(0.3 * C45 / math.sqrt(3))
    assert line.limit_mm == pytest.approx(0.3 * C45)
    (shown,) = listed(applied, 0)
    assert shown.applied_mm == pytest.approx(line.standard_mm)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (entry(-0.1, "radial", "always costs"), "cannot be negative"),
        (entry(-0.1, "gap", "random"), "cannot be negative"),
        (entry(math.nan, "gap"), "finite"),
        (entry(0.1, "sideways"), "direction"),
        (entry(0.1, "gap", "sometimes"), "kind"),
    ],
)
def test_allowance_that_makes_no_sense_is_refused(bad, words):
    with pytest.raises(InputError, match=words):
        project((bad,), CALIPER, BARREL, OUT)


# -- the physics, each against a hand calculation ------------------------------------------------


def test_iron_ring_grows_by_hand_calculation():
    # 175 mm · 11.4e-6 /K · 500 K = 0.9975 mm; 17 mm thick half: 0.0969 mm; 38 mm aluminium hat at
    # +150 K: 38 · 23.6e-6 · 150 = 0.13452 mm inboard.
    hot = physics.thermal_growth(
        ring_radius_mm=175,
        ring_thickness_mm=34,
        hat_offset_mm=38,
        ring_material="iron",
        hat_material="aluminium",
        ring_rise_k=500,
        hat_rise_k=150,
    )
    radial = at_clock(90, 175, -38, 1.0, 0.0)
    inboard = at_clock(90, 150, -55, 0.0, -1.0)
    outboard = at_clock(90, 150, -21, 0.0, 1.0)
    assert cost(hot, radial, ROTOR, KNUCKLE) == pytest.approx(0.9975)
    assert cost(hot, inboard, ROTOR, KNUCKLE) == pytest.approx(0.0969 + 0.13452)
    assert cost(hot, outboard, ROTOR, KNUCKLE) == pytest.approx(0.0969)  # the hat gives nothing


def test_ceramic_ring_on_titanium_hat_grows_far_less():
    # 175 · 2e-6 · 700 = 0.245 mm; 38 · 8.6e-6 · 200 = 0.06536 mm; 17 · 4e-6 · 700 = 0.0476 mm.
    hot = physics.thermal_growth(
        ring_radius_mm=175,
        ring_thickness_mm=34,
        hat_offset_mm=38,
        ring_material="ceramic",
        hat_material="titanium",
        ring_rise_k=700,
        hat_rise_k=200,
    )
    assert [e.value_mm for e in hot] == pytest.approx([0.245, 0.0476, 0.06536])


def test_material_without_expansion_is_refused():
    with pytest.raises(InputError, match="thermal expansion"):
        physics.expansion_of("cheese")


def test_balance_weights_cost_their_thickness_towards_the_caliper_unless_ruled_out():
    assert cost(physics.balance_weights("barrel"), OUT) == pytest.approx(4.5)
    assert cost(physics.balance_weights("barrel"), UP45) == pytest.approx(4.5 * C45)
    assert physics.balance_weights("barrel", weight_free=True) == ()


@pytest.mark.parametrize(
    ("clock", "expected"), [(180, 1.2), (0, 0.0), (90, 0.0), (270, 0.0), (120, 0.6), (60, 0.0)]
)
def test_rim_deflection_is_largest_at_six_o_clock_and_never_gains(clock, expected):
    place = at_clock(clock, 200, 0, 1.0, 0.0)
    assert cost(physics.rim_deflection(1.2), place) == pytest.approx(expected, abs=1e-12)


def test_floating_caliper_costs_at_the_knuckle_when_worn_and_not_at_the_spokes():
    worn = physics.floating_caliper_travel(8.0, 0.5)
    to_spokes = at_clock(270, 150, 24, 0.0, 1.0)
    to_knuckle = at_clock(270, 150, -106, 0.0, -1.0)
    assert cost(worn, to_spokes) == 0.0
    assert cost(worn, to_knuckle, CALIPER, KNUCKLE) == pytest.approx(8.5)


def test_fixed_caliper_spreads_to_both_sides():
    spread = physics.fixed_caliper_spread(0.15)
    for n_z in (1.0, -1.0):
        assert cost(spread, at_clock(270, 150, 24, 0.0, n_z)) == pytest.approx(0.15)
    assert cost(spread, OUT) == pytest.approx(0.0, abs=1e-12)


def test_bearing_play_costs_half_its_play_and_its_tilt():
    # 0.05 mm play: ±0.025; 0.2 mrad at y = 180: 0.036 mm.
    loose = physics.bearing_play(0.05, 0.0002)
    place = at_clock(0, 180, 0, 0.0, 1.0)
    assert cost(loose, place) == pytest.approx(0.025 + 0.036)


def test_scanner_statement_grows_with_length():
    # ±(0.02 + 0.04 mm/m · 250 mm) = ±0.03 mm
    stated = physics.scanner_statement(0.02, 250.0, 0.04e-3)
    applied = project((stated,), CALIPER, BARREL, OUT)
    (line,) = contributions(applied, 0)
    assert line.standard_mm == pytest.approx(0.03 / math.sqrt(3))


@pytest.mark.parametrize(
    "make",
    [
        lambda: physics.rim_deflection(-1.0),
        lambda: physics.cornering_tilt(-0.1),
        lambda: physics.bearing_play(-0.1),
        lambda: physics.floating_caliper_travel(-1.0),
        lambda: physics.floating_caliper_travel(1.0, math.nan),
        lambda: physics.fixed_caliper_spread(-0.1),
        lambda: physics.balance_weights("barrel", thickness_mm=-1.0),
        lambda: physics.scanner_statement(-0.1, 100.0, 0.0),
    ],
)
def test_negative_physics_is_refused(make):
    with pytest.raises(InputError, match="zero or more"):
        make()
