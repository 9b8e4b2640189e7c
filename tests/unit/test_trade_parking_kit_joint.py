"""Parking brake, impossible kits, ring-to-hat joint and axle sheet."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearturn.errors import InputError
from clearturn.trade import axle_sheet, kit, parking, ring_joint
from clearturn.trade.axle_sheet import AxleSheet, Row
from clearturn.trade.inputs import read_inputs
from clearturn.trade.kit import Kit, NamedSize
from clearturn.trade.parking import Parking
from clearturn.trade.ring_joint import RingJoint

CAR = Parking(1600.0, 320.0, 130.0, actuator_n=20_000.0, travel_mm=3.0)
JOINT = RingJoint(
    circle_radius_mm=120.0, count=10, bobbin_diameter_mm=12.0, ring_thickness_mm=8.0,
    hat_thickness_mm=6.0, brake_torque_nm=4000.0, ring_material="carbon ceramic",
    hat_material="Ti-6Al-4V", bobbin_material="steel 42CrMo4", ring_hot_c=600.0, hat_hot_c=300.0,
    outward_mm=0.4, inward_mm=0.4, hat_expansion_per_mk=9.2,
)  # fmt: skip


def test_slope_of_20_percent_by_hand() -> None:
    # sin(atan 0.2) = 0.196116; 1600 · 9.80665 · 0.196116 = 3077.2 N; 492.4 N·m a wheel of two.
    result = parking.compute(CAR)
    assert result.slope_force_n == pytest.approx(3077.2, abs=0.05)
    assert result.torque_nm == pytest.approx(3077.2 * 0.32 / 2, abs=0.02)
    assert result.clamp_n == pytest.approx(result.torque_nm / (2 * 0.28 * 0.130))


def test_drum_uses_its_brake_factor() -> None:
    drum = replace(CAR, kind="drum", brake_factor=4.0)
    result = parking.compute(drum)
    assert result.clamp_n == pytest.approx(result.torque_nm / (4.0 * 0.130))


@given(st.floats(1, 60), st.floats(0.1, 39))
def test_steeper_slope_never_needs_less(slope: float, more: float) -> None:
    base, steeper = (replace(CAR, slope_percent=s) for s in (slope, slope + more))
    assert parking.compute(steeper).clamp_n > parking.compute(base).clamp_n


@given(st.floats(1, 20))
def test_lever_trades_force_for_way(ratio: float) -> None:
    plain, levered = parking.compute(CAR), parking.compute(replace(CAR, lever_ratio=ratio))
    work = plain.actuator_needed_n * plain.travel_needed_mm
    assert levered.actuator_needed_n * levered.travel_needed_mm == pytest.approx(work)


def test_weak_actuator_fails_and_disconnected_unit_is_told() -> None:
    sheet = parking.sheet(replace(CAR, actuator_n=2000.0, disconnected="the old unit"))
    assert sheet.word == "fails"
    assert [f.code for f in sheet.findings] == ["unit-disconnected"]
    unknown = parking.sheet(replace(CAR, actuator_n=None))
    assert [f.code for f in unknown.findings] == ["actuator-unknown"]


def test_ring_of_440_needs_480_and_a_rim_of_18_has_462() -> None:
    result = kit.compute(Kit(18, 440.0))
    assert result.needed_mm == pytest.approx(480.0)
    assert result.rim_mm == 462.0
    assert result.word == "fails"
    assert result.least_rim_code == 20  # 512.8 − 480 = 32.8 ≥ 18.4; 19: 7.4 is too little


@pytest.mark.parametrize(
    ("ring", "word"),
    [(350.0, "clears"), (402.0, "clears"), (408.0, "not proven"), (410.0, "fails")],
)
def test_kit_word_follows_wall_and_gap(ring: float, word: str) -> None:
    # Room 462 − 40 − ring: thinnest needs 13 mm, usual wall 18 mm (± 0.4 of the rim).
    assert kit.compute(Kit(18, ring)).word == word


def test_part_with_two_sizes_is_an_error_unless_tolerances_explain_it() -> None:
    sizes = (
        NamedSize("rotor", "ring diameter", 350.0, "order"),
        NamedSize("rotor", "ring diameter", 355.0, "drawing"),
        NamedSize("rotor", "hat diameter", 176.0, "drawing"),
    )
    found = kit.sheet(Kit(18, 350.0, sizes=sizes)).findings
    assert [f.code for f in found] == ["part-with-two-sizes"]
    loose = tuple(replace(size, tolerance_mm=2.5) for size in sizes)
    assert not kit.clashes(loose)


def test_joint_hot_by_hand() -> None:
    result = ring_joint.compute(JOINT)
    # Hat 120·9.2e-6·280 = 0.3091, ring 120·1.5e-6·580 = 0.1044.
    assert result.outward_left_mm == pytest.approx(0.4 - (0.1044 - 0.30912))
    assert result.inward_left_mm == pytest.approx(0.4 - (0.30912 - 0.1044))
    # First stop: the ring alone grows.  Soaked at 300 °C: ring 120·1.5e-6·280 = 0.0504.
    assert result.outward_first_stop_mm == pytest.approx(0.4 - 0.1044)
    assert result.inward_soaked_mm == pytest.approx(0.4 - (0.30912 - 0.0504))
    # 4000 N·m / 0.12 m over 5 of 10 bobbins: 6667 N; on 12 × 8 mm: 69.4 MPa.
    assert result.force_a_bobbin_n == pytest.approx(6666.67, abs=0.01)
    assert result.ring_bearing_mpa == pytest.approx(69.44, abs=0.01)
    assert result.bobbin_shear_mpa == pytest.approx(6666.67 / (math.pi * 36.0), abs=0.01)


def test_ring_without_room_is_bound_up() -> None:
    assert ring_joint.sheet(JOINT).word == "clears"
    assert ring_joint.sheet(replace(JOINT, inward_mm=0.15)).word == "fails"
    assert ring_joint.sheet(replace(JOINT, inward_mm=0.31)).word == "not proven"


def test_end_float_loses_what_the_lug_outgrows_the_bobbin() -> None:
    hot = replace(
        JOINT, ring_material="grey iron", bobbin_length_mm=8.0, lug_thickness_mm=8.0,
        end_float_mm=0.1, bobbin_hot_c=300.0,
    )  # fmt: skip
    expected = 0.1 + 8 * 12.3e-6 * 280 - 8 * 11.4e-6 * 580
    assert ring_joint.compute(hot).end_float_hot_mm == pytest.approx(expected)


@given(st.integers(6, 16), st.floats(1.0, 5.0))
def test_more_or_thicker_bobbins_never_carry_more_each(count: int, more: float) -> None:
    base = replace(JOINT, count=count)
    now = ring_joint.compute(base)
    assert (
        ring_joint.compute(replace(base, count=count + 1)).force_a_bobbin_n < now.force_a_bobbin_n
    )
    thicker = replace(base, bobbin_diameter_mm=12.0 + more)
    assert ring_joint.compute(thicker).ring_bearing_mpa < now.ring_bearing_mpa


def test_axle_sheet_keeps_what_was_entered_over_what_was_found() -> None:
    entered = AxleSheet(rows=(Row("ring", "mm", 312.0, 350.0),))
    found = (Row("ring", "mm", 1.0, 2.0, source="sum"), Row("mass", "kg", None, 20.0))
    sheet = axle_sheet.sheet(entered, found)
    assert [row[:4] for row in sheet.grids[0].rows] == [
        ("ring, mm", "312.0", "350.0", "+38.0"),
        ("mass, kg", "–", "20.0", "–"),
    ]


@pytest.mark.parametrize(
    ("kind", "content", "named"),
    [
        (Parking, {"mass_kg": 1600, "tyre_radius_mm": 320, "radius_mm": 330}, "radius_mm: the br"),
        (Parking, {"mass_kg": 1600, "tyre_radius_mm": 320, "radius_mm": 130, "kind": "drum"},
         "brake_factor: a key is missing"),
        (Parking, {"mass_kg": 1600, "tyre_radius_mm": 320, "radius_mm": 130, "efficiency": 0.0},
         "efficiency: out of range"),
        (Parking, {"mass_kg": 1600, "tyre_radius_mm": 320, "radius_mm": 130, "slope_percent": -1},
         "slope_percent: out of range, found -1"),
        (Kit, {"rim_code": 13, "ring_diameter_mm": 350}, "rim_code: out of range, found 13"),
        (Kit, {"rim_code": 18.5, "ring_diameter_mm": 350}, "rim_code: a whole number"),
        (Kit, {"rim_code": 18, "ring_diameter_mm": 350, "least_wall_mm": 9}, "least_wall_mm"),
        (AxleSheet, {"rows": [{"what": "a", "unit": "mm"}, {"what": "a", "unit": "mm"}]},
         r"rows\[1\]\.what: this row stands twice"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_by_name(kind: type, content: object, named: str) -> None:
    with pytest.raises(InputError, match=named):
        read_inputs(kind, content)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"ring_material": "glass"}, "ring_material"),
        ({"carrying_share": 0.05}, "carrying_share: less than one"),
        ({"count": 100}, "count: the bobbins do not fit"),
        ({"screw": "M6"}, "screw_torque_nm: a key is missing"),
        ({"lug_thickness_mm": 8.0}, "bobbin_length_mm: a key is missing"),
    ],
)
def test_nonsense_joint_is_refused_by_name(change: dict[str, object], named: str) -> None:
    with pytest.raises(InputError, match=named):
        replace(JOINT, **change)  # type: ignore[arg-type]
