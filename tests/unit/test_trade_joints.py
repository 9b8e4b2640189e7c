"""Bolts, studs and caliper bolts: hand sums, properties, nonsense."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearturn.errors import InputError
from clearturn.trade import bolts, joints, threads
from clearturn.trade.inputs import read_inputs
from clearturn.trade.joints import Bolts, CaliperBolts, Joint, Studs

SIZES = st.sampled_from(threads.names())
M12 = Joint("bolt", "M12", "10.9", 100.0)
PAIR = CaliperBolts("caliper", "bolt", "axial", 140.0, 3000.0, 150.0, 128.0, 70.0)
STUDS = Studs("studs", "M14×1.5", 42.0, 6.5, 8.0, 14.0, 20.0, 18.0)


@given(SIZES, st.floats(1, 500), st.floats(0.05, 0.3), st.floats(0.05, 0.3))
def test_torque_and_preload_are_each_others_inverse(
    name: str, torque: float, thread_mu: float, head_mu: float
) -> None:
    metric = threads.thread(name)
    force = bolts.preload_n(torque, metric, thread_mu, head_mu, bolts.mean_seat_mm(metric))
    seat = bolts.mean_seat_mm(metric)
    assert bolts.torque_nm(force, metric, thread_mu, head_mu, seat) == pytest.approx(torque)


@given(SIZES)
def test_name_of_a_thread_reads_back(name: str) -> None:
    assert threads.thread(name).name == name
    assert threads.thread(name.replace("×", "x")).name == name


@given(SIZES, st.floats(0.06, 0.2), st.floats(0.0, 0.1))
def test_more_friction_never_gives_more_preload(name: str, mu: float, more: float) -> None:
    metric = threads.thread(name)
    seat = bolts.mean_seat_mm(metric)
    least = bolts.preload_n(100.0, metric, mu + more, mu + more, seat)
    assert least <= bolts.preload_n(100.0, metric, mu, mu, seat)


@given(st.floats(0, 60), st.floats(0, 30), st.floats(0, 30))
def test_thicker_hat_or_spacer_never_gives_more_engagement(
    flange: float, spacer: float, more: float
) -> None:
    base = replace(STUDS, new_flange_mm=flange, spacer_mm=spacer)
    for thicker in (
        replace(base, new_flange_mm=flange + more),
        replace(base, spacer_mm=spacer + more),
    ):
        now, then = joints.studs_result(base), joints.studs_result(thicker)
        assert then.engaged_mm <= now.engaged_mm
        assert then.register_left_mm <= now.register_left_mm


def test_studs_lose_new_flange_plus_spacer_less_old_flange() -> None:
    left = joints.studs_result(replace(STUDS, spacer_mm=3.0))
    assert left.engaged_mm == pytest.approx(42 - 14 - 8 - 3)
    assert left.engaged_before_mm == pytest.approx(20.0)  # no more than the nut's thread
    assert left.register_left_mm == pytest.approx(7.0)
    assert left.wheel_moves_out_mm == pytest.approx(4.5)


def test_stack_longer_than_the_stud_engages_nothing() -> None:
    assert joints.studs_result(replace(STUDS, spacer_mm=50.0)).engaged_mm == 0.0


def test_axial_caliper_bolts_by_hand() -> None:
    # F = 3000/0.150 = 20 kN; couple 20·22/140 = 3.143, half 10: shear √(10² + 3.143²);
    # lift 20·70/140 = 10 kN.
    held = joints.caliper_bolts_result(PAIR, M12)
    assert held.reaction_n == pytest.approx(20_000.0)
    assert held.shear_n == pytest.approx(1e3 * math.hypot(10.0, 20.0 * 22.0 / 140.0))
    assert held.tension_n == pytest.approx(10_000.0)
    least = joints.joint_result(M12).least_preload_n
    assert held.clamp_left_n == pytest.approx(least - 0.7 * 10_000.0)
    assert held.slip_safety == pytest.approx(0.15 * held.clamp_left_n / held.shear_n)


def test_radial_mount_swaps_the_offsets() -> None:
    held = joints.caliper_bolts_result(replace(PAIR, mount="radial"), M12)
    assert held.shear_n == pytest.approx(1e3 * math.hypot(10.0, 20.0 * 70.0 / 140.0))
    assert held.tension_n == pytest.approx(20_000.0 * 22.0 / 140.0)


def test_engagement_needed_is_where_stripping_meets_breaking() -> None:
    metric = threads.thread("M12")
    shear = 0.6 * 310.0
    needed = bolts.engagement_needed_mm(metric, 1040.0, shear)
    breaking = 1040.0 * metric.stress_area_mm2
    assert bolts.stripping_load_n(metric, needed, shear) == pytest.approx(breaking)
    # The rule of thumb for aluminium is 1.5 to 2 d or more (common practice); 10.9 needs more.
    assert 2.0 < needed / 12.0 < 3.0


def test_aluminium_tightens_a_steel_bolt_when_hot_and_titanium_lets_go() -> None:
    def change(clamped: str) -> float:
        hot = replace(M12, grip_mm=30.0, clamped=clamped, bolt_hot_c=120.0, clamped_hot_c=120.0)
        return joints.joint_result(hot).hot_change_n or 0.0

    assert change("aluminium 7075-T6") > 0 > change("Ti-6Al-4V")
    assert change("steel 42CrMo4") == pytest.approx(0.0, abs=1e-6)


def test_hot_change_of_a_stiff_sleeve_is_that_of_a_bolt_held_at_its_length() -> None:
    # E As α ΔT · grip / free length, members rigid: the closed form.
    metric = threads.thread("M12")
    got = bolts.hot_change_n(metric, 40.0, 1e9, 22e-6, 100.0, 200.0, 12e-6, 100.0)
    free = 40.0 + 0.8 * 12.0
    expected = 200e3 * metric.stress_area_mm2 * 40.0 * 10e-6 * 100.0 / free
    assert got == pytest.approx(expected, rel=1e-6)


def test_greatest_torque_reaches_nine_tenths_of_yield_at_the_lowest_friction() -> None:
    greatest = joints.joint_result(M12).greatest_torque_nm
    again = joints.joint_result(replace(M12, torque_nm=greatest))
    assert again.utilisation == pytest.approx(0.9)


def test_loose_bolt_slips_and_the_sheet_says_so() -> None:
    weak = Bolts((replace(M12, torque_nm=10.0),), (), (PAIR,))
    assert joints.sheet(weak).word == "fails"


@pytest.mark.parametrize(
    ("content", "named"),
    [
        ({"joints": [{"name": "a", "thread": "M13", "property_class": "8.8", "torque_nm": 1}]},
         r"joints\[0\]\.thread: this thread is not in the table, found 'M13'"),
        ({"joints": [{"name": "a", "thread": "M12", "property_class": "9.8", "torque_nm": 1}]},
         r"joints\[0\]\.property_class: not one of the words"),
        ({"joints": [{"name": "a", "thread": "M12", "property_class": "8.8", "torque_nm": 0}]},
         r"joints\[0\]\.torque_nm: out of range, found 0"),
        ({"joints": [{"name": "a", "thread": "M12", "property_class": "8.8", "torque_nm": 9,
          "friction_low": 0.2}]}, r"joints\[0\]\.friction_low: the friction's range is upside"),
        ({"joints": [{"name": "a", "thread": "M12", "property_class": "8.8", "torque_nm": 9,
          "tapped_in": "Ti-6Al-4V"}]}, r"joints\[0\]\.engagement_mm: a key is missing"),
        ({"caliper_bolts": [{"name": "c", "joint": "x", "mount": "axial", "spacing_mm": 140,
          "brake_torque_nm": 3000, "effective_radius_mm": 150, "joint_radius_mm": 128,
          "axial_offset_mm": 70}]}, r"caliper_bolts\[0\]\.joint: there is no joint"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_by_name(content: object, named: str) -> None:
    with pytest.raises(InputError, match=named):
        read_inputs(Bolts, content)
