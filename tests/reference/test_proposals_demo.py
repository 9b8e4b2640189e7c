"""Proposals on the demo's scans against its true dimensions and poses.

The truth is sample_meshes/true.json: computed from the construction, not from a mesh.
"""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from places import ROOT

from clearturn.propose import Proposals, propose_knuckle, propose_wheel
from clearturn.scan import read_scan

SAMPLES = ROOT / "sample_meshes"


@lru_cache
def truth() -> dict[str, Any]:
    answer: dict[str, Any] = json.loads((SAMPLES / "true.json").read_text(encoding="utf-8"))
    return answer


@lru_cache
def knuckle() -> Proposals:
    return propose_knuckle(read_scan(SAMPLES / "knuckle_scan.stl").mesh)


@lru_cache
def wheel() -> Proposals:
    return propose_wheel(read_scan(SAMPLES / "wheel_scan.stl").mesh)


def value(found: Proposals, name: str, key: str) -> Any:
    one = found.named(name)
    assert one is not None, name
    return one.values[key]


def test_frames_lie_where_the_construction_put_them() -> None:
    poses = truth()["poses"]
    for name, found, true in (
        ("knuckle", knuckle(), np.array(poses["knuckle"]["hub_from_scan"])),
        ("wheel", wheel(), np.array(poses["wheel"]["wheel_from_scan"])),
    ):
        off = found.part_from_scan @ np.linalg.inv(true)
        # The turn about the axis is free; origin and axis are not.
        assert np.abs(off[:3, 3]).max() < 0.05, name
        assert np.hypot(*off[:2, 2]) < 3e-4, name
        assert off[2, 2] > 0.0, name


def test_hub_registers_housing_and_flange() -> None:
    hub = truth()["hub"]
    register = value(knuckle(), "register", "radius_mm")
    assert 2 * register == pytest.approx(hub["rotor_register_diameter_mm"], abs=0.06)
    assert 2 * value(knuckle(), "bearing housing", "radius_mm") == pytest.approx(
        hub["housing_diameter_mm"], abs=0.06
    )
    assert 2 * value(knuckle(), "hub flange rim", "radius_mm") == pytest.approx(
        hub["hub_flange_diameter_mm"], abs=0.06
    )


def test_studs_and_bolt_circle() -> None:
    hub = truth()["hub"]
    circle = knuckle().named("bolt circle")
    assert circle is not None
    assert circle.values["count"] == hub["stud_count"]
    assert circle.values["kind"] == "studs"
    assert circle.values["circle_diameter_mm"] == pytest.approx(
        hub["stud_circle_diameter_mm"], abs=0.1
    )
    assert 2 * circle.values["radius_mm"] == pytest.approx(hub["stud_scanned_diameter_mm"], abs=0.1)


def test_caliper_lugs_with_their_faces() -> None:
    lugs = truth()["lugs"]
    assert value(knuckle(), "caliper lugs", "spacing_mm") == pytest.approx(
        lugs["spacing_mm"], abs=0.1
    )
    for number in (1, 2):
        bore = f"lug {number} bore"
        assert 2 * value(knuckle(), bore, "radius_mm") == pytest.approx(
            lugs["bore_diameter_mm"], abs=0.1
        )
        assert value(knuckle(), bore, "distance_mm") == pytest.approx(lugs["radius_mm"], abs=0.1)
        assert value(knuckle(), f"lug {number} outboard face", "height_mm") == pytest.approx(
            lugs["outboard_face_z_mm"], abs=0.1
        )


def test_split_lies_between_flange_and_housing() -> None:
    hub = truth()["hub"]
    z = value(knuckle(), "turning faces", "z_from_mm")
    assert hub["housing_z_mm"][1] < z < -hub["hub_flange_thickness_mm"]


def test_wheel_pad_bore_holes_and_rim() -> None:
    true = truth()["wheel"]
    assert 2 * value(wheel(), "wheel bore", "radius_mm") == pytest.approx(
        true["centre_bore_diameter_mm"], abs=0.1
    )
    circle = wheel().named("bolt circle")
    assert circle is not None
    assert circle.values["count"] == true["bolt_count"]
    assert circle.values["circle_diameter_mm"] == pytest.approx(
        true["bolt_circle_diameter_mm"], abs=0.1
    )
    assert 2 * circle.values["radius_mm"] == pytest.approx(true["bolt_hole_diameter_mm"], abs=0.1)
    rim = wheel().named("rim")
    assert rim is not None
    assert rim.values["seen_from"] == "brake side"
    assert rim.values["diameter_code"] == true["rim_diameter_code"]
    # ISO 4000-2: code 18 is 462.0 mm, not 18 × 25.4 = 457.2 mm.
    assert rim.values["specified_diameter_mm"] == true["specified_rim_diameter_mm"]
    assert rim.values["width_in"] == true["rim_width_in"]
    assert rim.values["inset_mm"] == pytest.approx(true["inset_mm"], abs=0.3)
    # The barrel's narrowest place towards the brake; true at z = -24, flat over some mm.
    barrel = wheel().named("barrel")
    assert barrel is not None
    least = true["barrel_least_radius_mm"]
    assert barrel.values["least_radius_mm"] == pytest.approx(least, abs=0.5)
    assert barrel.values["least_radius_z_mm"] == pytest.approx(
        true["barrel_least_radius_z_mm"], abs=10.0
    )


def test_nothing_is_ever_called_certain_and_reasons_are_told() -> None:
    for found in (knuckle(), wheel()):
        for one in found.proposed:
            assert 0.0 < one.confidence < 1.0
            assert one.why or one.doubts
