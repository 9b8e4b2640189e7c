"""Pads, handing, balance and pedal: hand sums, properties, nonsense."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearturn.errors import InputError
from clearturn.trade import balance, pads
from clearturn.trade.balance import AxleBrake, BrakeBalance, LoadState, Pedal
from clearturn.trade.inputs import read_inputs
from clearturn.trade.pads import Pads

PADS = Pads(116.0, 172.0, 60.0, 222.0, 350.0, "clockwise", 270.0, 30.0)
FRONT = AxleBrake((30.0, 34.0, 38.0), 0.4, 145.0, 320.0)
REAR = AxleBrake((40.0,), 0.4, 130.0, 320.0)
STATE = LoadState("unladen", 1500.0, 800.0, 550.0)
radius = st.floats(10.0, 200.0)


@given(radius, st.floats(1.0, 100.0))
def test_effective_radius_lies_in_the_pad_and_new_ones_reach_further(
    inner: float, width: float
) -> None:
    wear = pads.uniform_wear_radius(inner, inner + width)
    even = pads.uniform_pressure_radius(inner, inner + width)
    assert inner < wear <= even + 1e-9 < inner + width


def test_thin_pad_has_its_radius_in_the_middle() -> None:
    assert pads.uniform_pressure_radius(100.0, 100.001) == pytest.approx(100.0005, abs=1e-6)


def test_pad_and_ring_edges() -> None:
    # Flat 112 … 174 with 1 mm chamfers; pad 116 … 172, 0.5 mm of play.
    result = pads.compute(PADS)
    assert result.overhang_outer_mm == pytest.approx(-1.5)
    assert result.overhang_inner_mm == pytest.approx(-3.5)
    assert result.uncovered_outer_mm == pytest.approx(2.0)
    assert result.uncovered_inner_mm == pytest.approx(4.0)
    over = pads.sheet(replace(PADS, pad_outer_radius_mm=174.0))
    assert over.word == "fails"


@pytest.mark.parametrize(
    ("clock", "offset", "below"),
    [(270.0, 30.0, 0.0), (270.0, -30.0, 60.0), (90.0, -30.0, 0.0), (0.0, 0.0, 0.0),
     (350.0, 20.0, 10.0), (-90.0, 30.0, 0.0)],
)  # fmt: skip
def test_bleed_nipple_below_the_highest_place(clock: float, offset: float, below: float) -> None:
    assert pads.bleed_below_top_deg(clock, offset, 60.0) == pytest.approx(below)


def test_caliper_of_the_other_side_is_told_by_nipple_pistons_and_vanes() -> None:
    right = replace(PADS, smaller_piston_offset_deg=-20.0, vanes="lean anticlockwise")
    assert not [f for f in pads.sheet(right).findings if "reversed" in f.code]
    assert pads.sheet(right).word == "clears"
    wrong = replace(
        PADS, bleed_offset_deg=-30.0, smaller_piston_offset_deg=20.0, vanes="lean clockwise"
    )
    codes = {finding.code for finding in pads.sheet(wrong).findings}
    assert {"pistons-reversed", "vanes-reversed"} <= codes
    assert pads.sheet(wrong).word == "fails"


def test_wheel_torque_by_hand() -> None:
    # 100 bar = 10 N/mm² on π/4·40² = 1256.64 mm²: 12 566 N; 2 · 0.4 · 12 566 · 0.130 m = 1306.9.
    assert balance.wheel_torque_nm(REAR, 100.0) == pytest.approx(1306.90, abs=0.01)


@given(
    st.lists(st.floats(10, 60), min_size=1, max_size=4), st.floats(0.2, 0.6), st.floats(10, 200),
    st.floats(1, 200), st.floats(0, 20),
)  # fmt: skip
def test_more_of_anything_never_gives_less_torque(
    pistons: list[float], friction: float, radius_mm: float, line: float, more: float
) -> None:
    brake = AxleBrake(tuple(pistons), friction, radius_mm, 320.0)
    base = balance.wheel_torque_nm(brake, line)
    larger = replace(brake, piston_diameters_mm=(*pistons, 10.0 + more))
    assert balance.wheel_torque_nm(larger, line) >= base
    assert balance.wheel_torque_nm(replace(brake, friction=friction + more / 20), line) >= base
    assert balance.wheel_torque_nm(brake, line + more) >= base


@given(st.floats(0.1, 1.0))
def test_at_the_ideal_share_both_axles_use_the_deceleration_itself(z: float) -> None:
    share = balance.ideal_front_share(STATE, 2700.0, z)
    assert balance.adhesion_used(STATE, 2700.0, share, z) == pytest.approx((z, z))
    assert balance.critical_deceleration(STATE, 2700.0, share) == pytest.approx(z)


@given(st.floats(0.3, 0.9), st.floats(0.1, 1.0))
def test_first_to_lock_agrees_with_the_critical_deceleration(share: float, grip: float) -> None:
    ahead, behind = balance.locking_deceleration(STATE, 2700.0, share, grip)
    critical = balance.critical_deceleration(STATE, 2700.0, share)
    if abs(min(ahead, behind) - critical) > 1e-9:
        assert (ahead < behind) == (min(ahead, behind) < critical)


def test_pedal_moves_the_fluid_of_all_pistons() -> None:
    pedal = Pedal(25.4, 4.0, 36.0, running_clearance_mm=0.25, elastic_cm3=0.0)
    found = balance.pedal_travel(pedal, REAR, REAR)
    # Two wheels an axle, two sides a caliper: 4 · (1256.64 + 1256.64) · 0.25 = 2513.3 mm³,
    # on a bore of 506.7 mm².
    assert found.volume_cm3 == pytest.approx(2.51327, abs=1e-4)
    assert found.master_travel_mm == pytest.approx(4.960, abs=0.001)
    assert found.pedal_travel_mm == pytest.approx(4 * found.master_travel_mm)


def test_rear_that_locks_first_fails_and_unchanged_brakes_keep_their_share() -> None:
    strong_rear = BrakeBalance(2700.0, FRONT, REAR, (STATE,), new_rear=FRONT)
    assert balance.sheet(strong_rear).word == "fails"
    same = balance.compute(BrakeBalance(2700.0, FRONT, REAR, (STATE,)))
    assert same.ratio_change == pytest.approx(1.0)
    assert same.old_share == same.new_share


@pytest.mark.parametrize(
    ("content", "named"),
    [
        ({"pad_outer_radius_mm": 100.0}, "pad_inner_radius_mm: the pad is inside out, found 116"),
        ({"ring_outer_diameter_mm": 200.0}, "ring_inner_diameter_mm: the ring is inside out"),
        ({"pad_angle_deg": 190.0}, "pad_angle_deg: not the angle of a pad"),
        ({"rotation": "forward"}, "rotation: not one of the words"),
        ({"pad_thickness_mm": 2.0}, "pad_thickness_mm: a new pad is thicker"),
    ],
)
def test_nonsense_pads_are_refused_by_name(content: dict[str, object], named: str) -> None:
    good: dict[str, object] = {
        "pad_inner_radius_mm": 116.0, "pad_outer_radius_mm": 172.0, "pad_angle_deg": 60.0,
        "ring_inner_diameter_mm": 222.0, "ring_outer_diameter_mm": 350.0,
        "rotation": "clockwise", "caliper_clock_deg": 270.0, "bleed_offset_deg": 30.0,
    }  # fmt: skip
    assert read_inputs(Pads, good) == PADS
    with pytest.raises(InputError, match=named):
        read_inputs(Pads, {**good, **content})


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (lambda: LoadState("a", 1000.0, 1000.0, 500.0), "front_axle_kg"),
        (lambda: replace(REAR, piston_diameters_mm=()), "piston_diameters_mm"),
        (lambda: replace(REAR, piston_diameters_mm=(-40.0,)), r"piston_diameters_mm\[0\]"),
        (lambda: replace(REAR, effective_radius_mm=400.0), "effective_radius_mm"),
        (lambda: BrakeBalance(2700.0, FRONT, REAR, ()), "states"),
        (lambda: BrakeBalance(500.0, FRONT, REAR, (STATE,)), r"states\[0\]\.cg_height_mm"),
    ],
)  # fmt: skip
def test_nonsense_balance_is_refused_by_name(change: object, named: str) -> None:
    with pytest.raises(InputError, match=named):
        change()  # type: ignore[operator]
