"""Any dimensions that pass their check give a closed mesh of the right volume."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clearturn.envelope import (
    CaliperDimensions,
    RotorDimensions,
    caliper_mesh,
    caliper_section,
    rotor_mesh,
    rotor_profile,
)
from clearturn.errors import InputError
from clearturn.mesh import Mesh


def part_of(draw: st.DrawFn, low: float, high: float) -> float:
    return low + (high - low) * draw(st.floats(0.0, 1.0))


@st.composite
def rotors(draw: st.DrawFn) -> RotorDimensions:
    ring = draw(st.floats(100.0, 450.0))
    inner = part_of(draw, 0.4 * ring, ring - 0.3)
    hat = part_of(draw, 0.2 * ring, inner)
    bore = part_of(draw, 5.0, 0.8 * hat)
    wall = part_of(draw, 0.05, (hat - bore) / 2 - 0.3)
    room = hat - 2 * wall
    circle = part_of(draw, bore + 1.0, max(bore + 1.0, room - 1.0))
    count = draw(st.integers(3, 12))
    most = min(circle - bore, room - circle, circle * math.sin(math.pi / count)) - 0.2
    thick = part_of(draw, 1.0, 50.0)
    mount = part_of(draw, 0.5, thick)
    flange = part_of(draw, 0.5, 20.0)
    dims = RotorDimensions(
        ring, inner, thick, part_of(draw, max(-mount / 2, mount / 2 - flange), 80.0), flange, hat,
        wall, bore, circle, count, part_of(draw, 4.0, max(4.0, most)), mount,
    )  # fmt: skip
    try:
        dims.check()
    except InputError:
        assume(False)
    return dims


@st.composite
def calipers(draw: st.DrawFn) -> CaliperDimensions:
    outer = draw(st.floats(60.0, 300.0))
    bridge = part_of(draw, 0.3 * outer, outer - 0.2)
    inner = part_of(draw, 0.1 * outer, bridge - 0.2)
    slot = part_of(draw, 1.0, 40.0)
    inboard, outboard = (slot + part_of(draw, 0.2, 60.0) for _ in range(2))
    leg = min(inboard, outboard) - slot
    corner = part_of(draw, 0.0, min(leg, outer - inner))
    within = part_of(draw, 0.0, min(leg, outer - inner - corner))
    dims = CaliperDimensions(
        inner, outer, bridge, inboard, outboard, slot, draw(st.floats(1.0, 330.0)),
        draw(st.floats(-720.0, 720.0)), corner, within,
    )  # fmt: skip
    try:
        dims.check()
    except InputError:
        assume(False)
    return dims


def volume_area(mesh: Mesh) -> tuple[float, float]:
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    n = np.cross(b - a, c - a)
    return float(np.einsum("ij,ij->", a, n) / 6), float(np.linalg.norm(n, axis=1).sum() / 2)


def turned(section: np.ndarray, angle: float) -> float:
    """Pappus: ∮ section area × centroid radius × angle, by the polygon's first moment."""
    p, q = section, np.roll(section, -1, axis=0)
    cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
    return angle * float(((p[:, 0] + q[:, 0]) * cross).sum() / 6)


def assert_closed(mesh: Mesh) -> None:
    edges = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
    there = edges[:, 0] * len(mesh.vertices) + edges[:, 1]
    back = edges[:, 1] * len(mesh.vertices) + edges[:, 0]
    assert len(np.unique(there)) == len(there)
    assert np.array_equal(np.sort(there), np.sort(back))


@settings(max_examples=20, deadline=None)
@given(rotors())
def test_any_rotor_is_closed_with_its_volume(dims: RotorDimensions) -> None:
    made = rotor_mesh(dims)
    assert_closed(made.mesh)
    volume, area = volume_area(made.mesh)
    hole = math.pi * dims.bolt_hole_diameter_mm**2 / 4 * dims.flange_thickness_mm
    wanted = turned(rotor_profile(dims), 2 * math.pi) - dims.bolt_count * hole
    assert abs(volume - wanted) <= area * made.chord_error_mm
    assert made.chord_error_mm <= 0.01


@settings(max_examples=20, deadline=None)
@given(calipers())
def test_any_caliper_is_closed_with_its_volume(dims: CaliperDimensions) -> None:
    made = caliper_mesh(dims)
    assert_closed(made.mesh)
    volume, area = volume_area(made.mesh)
    wanted = turned(caliper_section(dims), math.radians(dims.arc_deg))
    assert abs(volume - wanted) <= area * made.chord_error_mm + 1e-9 * wanted
    assert made.chord_error_mm <= 0.01
