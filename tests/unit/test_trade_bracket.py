"""Bracket layout: places by trigonometry, spacer, loads, dummy and plan."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from clearturn.drawing import to_dxf
from clearturn.drawing.bracket_plan import bracket_plan
from clearturn.envelope import CaliperDimensions
from clearturn.errors import InputError
from clearturn.trade import bracket, dummy
from clearturn.trade.bracket import Bracket, CaliperMount, Load, Lug, Plate

LUGS = (Lug("upper", 303.0, 128.0, -112.5, 14.5), Lug("lower", 237.0, 128.0, -112.5, 14.5))
CASE = Bracket(
    lugs=LUGS,
    caliper=CaliperMount("axial", 270.0, 150.0, 170.0, 50.0, 12.5),
    plate=Plate(210.0, -25.0, 70.0, 24.0, "aluminium 7075-T6"),
    load=Load(1000.0, 1.1, 320.0, 145.0, 3000.0, 0.42, 120.0),
    ring_mid_z_mm=-38.0,
)


def test_holes_lie_where_trigonometry_puts_them() -> None:
    upper, lower, first, second = bracket.holes(CASE)
    # Lugs symmetric about clock 270° (−x): spacing 2·128·sin 33°, line at x = −128·cos 33°.
    half = 128.0 * math.sin(math.radians(33.0))
    assert (upper.u_mm, upper.v_mm) == pytest.approx((-half, 0.0), abs=1e-9)
    assert (lower.u_mm, lower.v_mm) == pytest.approx((half, 0.0), abs=1e-9)
    line = 128.0 * math.cos(math.radians(33.0))
    assert (upper.x_mm, upper.y_mm) == pytest.approx((-line, half))
    assert first.v_mm == second.v_mm == pytest.approx(150.0 - line)
    assert second.u_mm - first.u_mm == pytest.approx(170.0)
    # The upper lug is first, so u points down.
    assert first.y_mm == pytest.approx(85.0)
    assert second.y_mm == pytest.approx(-85.0)


def test_spacer_centres_the_caliper_on_the_ring() -> None:
    # Mount face wanted at −38 − 50 = −88; lug −112.5 + plate 24: 0.5 mm are missing.
    assert bracket.spacer_needed_mm(CASE) == pytest.approx(0.5)
    assert bracket.compute(CASE).off_centre_mm == pytest.approx(0.0)
    assert bracket.compute(replace(CASE, spacer_mm=1.5)).off_centre_mm == pytest.approx(1.0)
    radial = replace(CASE, caliper=replace(CASE.caliper, direction="radial"))
    assert bracket.spacer_needed_mm(radial) == pytest.approx(12.5)


@given(st.floats(-180, 180), st.floats(20, 120), st.floats(-60, 60))
def test_layout_turns_with_the_lugs(clock: float, span: float, offset: float) -> None:
    def made(turn: float) -> Bracket:
        lugs = (
            replace(LUGS[0], clock_deg=turn + span / 2),
            replace(LUGS[1], clock_deg=turn - span / 2),
        )
        mount = replace(CASE.caliper, clock_deg=turn, radius_mm=190.0)
        plate = Plate(600.0, -200.0, 250.0, 24.0, "aluminium 7075-T6")
        return replace(CASE, lugs=lugs, caliper=mount, plate=plate)

    here, there = bracket.holes(made(0.0)), bracket.holes(made(clock))
    for a, b in zip(here, there, strict=True):
        assert (a.u_mm, a.v_mm, a.w_mm) == pytest.approx((b.u_mm, b.v_mm, b.w_mm), abs=1e-9)
        assert math.hypot(a.x_mm, a.y_mm) == pytest.approx(math.hypot(b.x_mm, b.y_mm))


def test_leaning_lugs_taper_the_pads() -> None:
    lugs = (LUGS[0], replace(LUGS[1], face_z_mm=-112.3))
    result = bracket.compute(replace(CASE, lugs=lugs))
    apart = 256.0 * math.sin(math.radians(33.0))
    assert result.taper_mm == pytest.approx(0.2 / apart * 120.0)
    assert bracket.sheet(replace(CASE, lugs=lugs)).word == "fails"


def test_greater_of_grip_and_pressure_counts() -> None:
    # 500 kg · 9.80665 · 1.1 · 320/145 = 11 903 N; 2 · 0.42 · 12 · 3000 = 30 240 N.
    result = bracket.compute(CASE)
    assert result.force_from_grip_n == pytest.approx(11_903.2, abs=0.5)
    assert result.force_from_pressure_n == pytest.approx(30_240.0)


def test_stress_of_a_cantilever_by_hand() -> None:
    # 10 kN at 50 mm on 100 × 20: M = 5e5, Z = 20·100²/6 = 33 333: 15 MPa; shear 7.5 MPa.
    bending, shear = bracket.plate_stress_mpa(
        1e4, in_plane_lever_mm=50.0, out_of_plane_lever_mm=0.0, width_mm=100.0, height_mm=90.0,
        thickness_mm=20.0,
    )  # fmt: skip
    assert (bending, shear) == pytest.approx((15.0, 7.5))
    bending, _ = bracket.plate_stress_mpa(
        1e4, in_plane_lever_mm=0.0, out_of_plane_lever_mm=60.0, width_mm=100.0, height_mm=90.0,
        thickness_mm=20.0,
    )  # fmt: skip
    assert bending == pytest.approx(6e5 * 6 / (90 * 400))


def test_dummy_is_closed_and_as_large_as_the_plate_less_its_holes() -> None:
    mesh = dummy.bracket_mesh(CASE)
    solid = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert solid.is_watertight
    ring = 32 * math.sin(math.tau / 64) / math.cos(math.pi / 64) ** 2  # circumscribed 64-gon
    holes = ring * (2 * 7.25**2 + 2 * 6.25**2)
    assert solid.volume == pytest.approx((210.0 * 95.0 - holes) * 24.0)
    assert bracket.compute(CASE).mass_kg == pytest.approx(solid.volume * 2810e-9, rel=1e-3)
    low, high = mesh.bounds[:, 2]
    assert (low, high) == pytest.approx((-112.0, -88.0))


def test_stl_of_bracket_and_caliper_reads_back() -> None:
    caliper = CaliperDimensions(112, 201.9, 178.6, 68, 62, 27, 74, 270, 6)
    mesh = dummy.dummy_mesh(CASE, caliper, -38.0)
    back = trimesh.load(io.BytesIO(dummy.stl_bytes([mesh])), file_type="stl", process=False)
    assert len(back.faces) == len(mesh.faces)
    assert back.bounds == pytest.approx(mesh.bounds, abs=1e-4)
    assert np.isclose(back.volume, trimesh.Trimesh(mesh.vertices, mesh.faces).volume, rtol=1e-5)


@pytest.mark.parametrize("direction", ["axial", "radial"])
def test_plan_holds_every_hole_at_its_place_in_dxf(direction: str) -> None:
    case = replace(CASE, caliper=replace(CASE.caliper, direction=direction))
    document = ezdxf.read(io.StringIO(to_dxf(bracket_plan(case, words="demo"))))
    lines = list(document.modelspace().query("LWPOLYLINE"))
    middles = [np.mean([p[:2] for p in line.get_points()], axis=0) for line in lines]
    for hole in bracket.holes(case):
        if hole.direction == "axial":
            assert min(np.hypot(*(m - (hole.u_mm, hole.v_mm))) for m in middles) < 1e-6
    texts = {t.dxf.text for t in document.modelspace().query("TEXT")}
    assert {"lug upper", "caliper 2"} <= texts


def test_plan_says_from_which_side_it_is_seen() -> None:
    # Clock 303° then 237°: u down, v to −x; seen from outboard v would be left of u's left.
    def head(case: Bracket) -> str:
        return next(m.text for m in bracket_plan(case).marks if "BRACKET" in getattr(m, "text", ""))

    assert head(CASE).endswith("INBOARD")
    assert head(replace(CASE, lugs=(LUGS[1], LUGS[0]))).endswith("OUTBOARD")


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (lambda: replace(CASE, lugs=(LUGS[0], LUGS[0])), r"lugs\[1\]: both lugs"),
        (lambda: replace(CASE, plate=replace(CASE.plate, width_mm=100.0)), "plate: the plate does"),
        (lambda: replace(CASE.plate, v_from_mm=80.0), "v_from_mm: the plate is inside out"),
        (lambda: replace(CASE.plate, material="grey iron"), "material: no strength is known"),
        (lambda: replace(CASE.load, pressure_bar=-1.0), "pressure_bar: out of range"),
    ],
)
def test_nonsense_is_refused_by_name(change: object, named: str) -> None:
    with pytest.raises(InputError, match=named):
        change()  # type: ignore[operator]
