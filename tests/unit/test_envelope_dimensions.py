"""Bad dimensions are told by key, with what was found and what is allowed."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import Any

import pytest

from clearturn.envelope import (
    BoxDimensions,
    BracketDimensions,
    CaliperDimensions,
    RimDimensions,
    RimStation,
    RotorDimensions,
    ShieldDimensions,
    WeightBand,
    bracket_mesh,
    caliper_mesh,
    rim_mesh,
    rotor_mesh,
    shield_mesh,
)
from clearturn.errors import InputError

ROTOR = RotorDimensions(350.0, 222.0, 34.0, 38.0, 8.0, 176.0, 6.0, 64.0, 112.0, 5, 15.0)
CALIPER = CaliperDimensions(112.0, 200.0, 178.6, 68.0, 62.0, 27.0, 74.0, 270.0, 6.0)
BOX = BoxDimensions("nipple", 20.0, 190.0, 208.0, -60.0, -50.0, 10.0)

ROTOR_CASES: list[tuple[str, Any, str]] = [
    ("ring_outer_diameter_mm", -350.0, "more than 0, at most 1500"),
    ("ring_outer_diameter_mm", 13779.5, "at most 1500"),
    ("ring_inner_diameter_mm", 350.0, "inside ring_outer_diameter_mm"),
    ("ring_inner_diameter_mm", 170.0, "at most 170 (ring_inner_diameter_mm)"),
    ("ring_thickness_mm", 0.0, "more than 0"),
    ("mount_thickness_mm", 34.1, "at most 34 (ring_thickness_mm)"),
    ("hat_outer_diameter_mm", 222.5, "at most 222 (ring_inner_diameter_mm)"),
    ("hat_offset_mm", -5.5, "else the mount disc passes the flange"),
    ("flange_thickness_mm", -8.0, "more than 0"),
    ("bore_diameter_mm", 180.0, "less than hat_outer_diameter_mm = 176"),
    ("bore_diameter_mm", 98.0, "between bore, hat wall and the neighbouring hole"),
    ("hat_wall_mm", 60.0, "between bore_diameter_mm and hat_outer_diameter_mm"),
    ("hat_wall_mm", 0.0, "more than 0"),
    ("bolt_circle_diameter_mm", 60.0, "more than 64 (bore_diameter_mm)"),
    ("bolt_circle_diameter_mm", 170.0, "inside the hat's wall"),
    ("bolt_count", 2, "a whole number from 3 to 12"),
    ("bolt_count", 5.0, "a whole number from 3 to 12"),
    ("bolt_count", True, "a whole number from 3 to 12"),
    ("bolt_hole_diameter_mm", 48.0, "between bore, hat wall and the neighbouring hole"),
    ("bolt_hole_diameter_mm", 1.0, "at least 2"),
    ("material", "carbon", "iron, ceramic"),
]
CALIPER_CASES: list[tuple[str, Any, str]] = [
    ("inner_radius_mm", 0.0, "more than 0"),
    ("inner_radius_mm", 178.6, "inside bridge_inner_radius_mm"),
    ("bridge_inner_radius_mm", 200.0, "inside outer_radius_mm"),
    ("outer_radius_mm", 5000.0, "at most 1500"),
    ("inboard_width_mm", -68.0, "more than 0"),
    ("slot_half_width_mm", 62.0, "inside inboard_width_mm and outboard_width_mm"),
    ("slot_half_width_mm", 0.0, "more than 0"),
    ("arc_deg", 0.0, "at least 1, at most 330"),
    ("arc_deg", 360.0, "at least 1, at most 330"),
    ("clock_deg", math.inf, "a finite number"),
    ("corner_radius_mm", 35.1, "at most 35 (the caliper's leg)"),
    ("corner_radius_mm", -0.1, "at least 0"),
    ("inner_corner_radius_mm", 36.0, "the caliper's leg"),
]


@pytest.mark.parametrize(("key", "value", "allowed"), ROTOR_CASES)
def test_a_bad_rotor_is_refused_with_its_key(key: str, value: object, allowed: str) -> None:
    with pytest.raises(InputError) as told:
        rotor_mesh(replace(ROTOR, **{key: value}), place="axles[0].rotor")
    sentence = str(told.value)
    assert sentence.startswith("axles[0].rotor.")
    assert key in sentence or allowed in sentence
    assert allowed in sentence
    assert told.value.found is not None
    assert told.value.allowed is not None
    assert "\n" not in sentence


@pytest.mark.parametrize(("key", "value", "allowed"), CALIPER_CASES)
def test_a_bad_caliper_is_refused_with_its_key(key: str, value: object, allowed: str) -> None:
    with pytest.raises(InputError) as told:
        caliper_mesh(replace(CALIPER, **{key: value}), place="caliper")
    assert told.value.place == f"caliper.{key}"
    assert told.value.found is not None
    assert allowed in (told.value.allowed or "")


@pytest.mark.parametrize("dims", [ROTOR, CALIPER, BOX], ids=["rotor", "caliper", "box"])
@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, "350", None, True])
def test_every_length_must_be_a_finite_number(dims: Any, bad: object) -> None:
    for field in fields(dims):
        if not field.name.endswith(("_mm", "_deg")):
            continue
        with pytest.raises(InputError) as told:
            replace(dims, **{field.name: bad}).check("here")
        assert told.value.place == f"here.{field.name}", field.name


@pytest.mark.parametrize(
    ("key", "value"),
    [("r_to_mm", 190.0), ("z_to_mm", -60.0), ("width_mm", 0.0), ("r_from_mm", -1.0),
     ("clock_offset_deg", 181.0)],
)  # fmt: skip
def test_a_bad_box_is_told_with_its_number_and_name(key: str, value: float) -> None:
    boxes = (BOX, replace(BOX, name="pipe", **{key: value}))
    with pytest.raises(InputError) as told:
        caliper_mesh(replace(CALIPER, boxes=boxes), place="caliper")
    assert told.value.place == f"caliper.boxes[1] (pipe).{key}"


def test_bad_simple_parts_are_refused() -> None:
    with pytest.raises(InputError, match="z_to_mm"):
        WeightBand(10.0, 10.0).check("band")
    with pytest.raises(InputError, match="thickness_mm"):
        WeightBand(0.0, 10.0, 0.0).check("band")
    with pytest.raises(InputError, match=r"shield\.inner_radius_mm"):
        shield_mesh(ShieldDimensions(170.0, 170.0, 0.0, 1.0), place="shield")
    with pytest.raises(InputError, match="r_to_mm"):
        bracket_mesh(BracketDimensions(0.0, 10.0, 5.0, 0.0, 1.0, 3.0))
    with pytest.raises(InputError, match="at least 2"):
        rim_mesh(RimDimensions((RimStation(0.0, 200.0),)))
    with pytest.raises(InputError, match=r"stations\[1\]\.z_mm"):
        rim_mesh(RimDimensions((RimStation(0.0, 200.0), RimStation(0.0, 201.0))))


@pytest.mark.parametrize(
    "change",
    [
        {"ring_inner_diameter_mm": 176.0},
        {"mount_thickness_mm": 34.0},
        {"hat_offset_mm": -3.0},
        {"bolt_hole_diameter_mm": 2.0},
        {"bolt_count": 12},
        {"hat_wall_mm": 55.0 - 23.6, "bolt_circle_diameter_mm": 88.0},
    ],
)
def test_dimensions_at_their_limits_are_taken(change: dict[str, Any]) -> None:
    replace(ROTOR, **change).check()
