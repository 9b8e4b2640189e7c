"""Parts from dimensions are closed, outward, of the right volume and as near as they say.

Volumes are checked against Pappus's centroid theorem (volume of a turned section = area × path of
its centroid), distances against the surface written as a formula.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from clearturn.envelope import (
    BoxDimensions,
    BracketDimensions,
    CaliperDimensions,
    Envelope,
    RimDimensions,
    RimStation,
    RotorDimensions,
    ShieldDimensions,
    WeightBand,
    bracket_mesh,
    caliper_bodies,
    caliper_mesh,
    inner_profile,
    rim_mesh,
    rotor_mesh,
    rotor_profile,
    shield_mesh,
    weight_band_mesh,
)
from clearturn.errors import InputError
from clearturn.mesh import Mesh

ROTOR = RotorDimensions(
    ring_outer_diameter_mm=350.0,
    ring_inner_diameter_mm=222.0,
    ring_thickness_mm=34.0,
    hat_offset_mm=38.0,
    flange_thickness_mm=8.0,
    hat_outer_diameter_mm=176.0,
    hat_wall_mm=6.0,
    bore_diameter_mm=64.0,
    bolt_circle_diameter_mm=112.0,
    bolt_count=5,
    bolt_hole_diameter_mm=15.0,
)
CALIPER = CaliperDimensions(
    inner_radius_mm=112.0,
    outer_radius_mm=200.0,
    bridge_inner_radius_mm=178.6,
    inboard_width_mm=68.0,
    outboard_width_mm=62.0,
    slot_half_width_mm=27.0,
    arc_deg=74.0,
    clock_deg=270.0,
    corner_radius_mm=6.0,
    inner_corner_radius_mm=3.0,
    boxes=(
        BoxDimensions("bleed nipple", 20.0, 190.0, 208.0, -60.0, -50.0, 10.0),
        BoxDimensions("crossover pipe", 0.0, 150.0, 156.0, -70.0, 62.0, 6.0),
    ),
)

ROTORS = {
    "as given": ROTOR,
    "hub face in the ring's mid-plane": replace(ROTOR, hat_offset_mm=0.0),
    "mount flush with the flange's outboard face": replace(ROTOR, hat_offset_mm=-3.0,
                                                           flange_thickness_mm=6.0),
    "no mount disc": replace(ROTOR, ring_inner_diameter_mm=176.0),
    "mount as thick as the ring": replace(ROTOR, mount_thickness_mm=34.0),
    "three large holes": replace(ROTOR, bolt_count=3, bolt_hole_diameter_mm=44.0),
    "holes that nearly touch": replace(ROTOR, bolt_count=12, bolt_circle_diameter_mm=90.0,
                                       bolt_hole_diameter_mm=23.0),
    "hole nearly in the bore": replace(ROTOR, bolt_circle_diameter_mm=80.0,
                                       bolt_hole_diameter_mm=15.8),
    "hole nearly in the hat's wall": replace(ROTOR, bolt_circle_diameter_mm=150.0,
                                             bolt_hole_diameter_mm=13.8),
    "small holes": replace(ROTOR, bolt_hole_diameter_mm=2.0),
    "thin flange": replace(ROTOR, flange_thickness_mm=0.5, mount_thickness_mm=0.4),
    "large": replace(ROTOR, ring_outer_diameter_mm=1500.0),
}  # fmt: skip
CALIPERS = {
    "as given": CALIPER,
    "sharp corners": replace(CALIPER, corner_radius_mm=0.0, inner_corner_radius_mm=0.0, boxes=()),
    "corner as wide as the leg": replace(CALIPER, corner_radius_mm=35.0,
                                         inner_corner_radius_mm=35.0),
    "rounded all the way down": replace(CALIPER, corner_radius_mm=30.0, inner_radius_mm=148.0,
                                        inner_corner_radius_mm=22.0),
    "thin bridge under a round corner": replace(CALIPER, bridge_inner_radius_mm=199.0),
    "thin legs": replace(CALIPER, inboard_width_mm=27.2, outboard_width_mm=27.2,
                         corner_radius_mm=0.1, inner_corner_radius_mm=0.0),
    "small arc": replace(CALIPER, arc_deg=1.0),
    "large arc past the top": replace(CALIPER, arc_deg=330.0, clock_deg=-30.0),
    "to the axis": replace(CALIPER, inner_radius_mm=0.01),
}  # fmt: skip


def assert_closed_and_outward(mesh: Mesh) -> None:
    """Every directed edge once, and its reverse once; positive volume; no empty face."""
    edges = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
    there = edges[:, 0] * len(mesh.vertices) + edges[:, 1]
    back = edges[:, 1] * len(mesh.vertices) + edges[:, 0]
    assert len(np.unique(there)) == len(there)
    assert np.array_equal(np.sort(there), np.sort(back))
    assert len(np.unique(mesh.faces)) == len(mesh.vertices)
    assert volume_of(mesh) > 0
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    assert np.linalg.norm(np.cross(b - a, c - a), axis=1).min() > 0


def volume_of(mesh: Mesh) -> float:
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def area_of(mesh: Mesh) -> float:
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


def points_on(mesh: Mesh, count: int = 200_000) -> np.ndarray:
    """Points all over the faces: middles of sides and faces, and random ones."""
    corners = mesh.corners
    draw = np.random.default_rng(1)
    weight = draw.dirichlet((0.5, 0.5, 0.5), size=count)
    some = np.einsum("ij,ijk->ik", weight, corners[draw.integers(len(corners), size=count)])
    middles = (corners + np.roll(corners, 1, axis=1)).reshape(-1, 3) / 2
    return np.concatenate([some, middles, corners.mean(axis=1)])


def bar(r_low: float, r_high: float, z_low: float, z_high: float) -> float:
    """Volume of a turned rectangle."""
    return math.pi * (r_high**2 - r_low**2) * (z_high - z_low)


def rotor_volume(d: RotorDimensions) -> float:
    """Ring + mount + wall + flange inside the wall − holes."""
    mid, half = -d.hat_offset_mm, d.mount_thickness_mm / 2
    ring_out, ring_in = d.ring_outer_diameter_mm / 2, d.ring_inner_diameter_mm / 2
    hat_out = d.hat_outer_diameter_mm / 2
    hat_in = hat_out - d.hat_wall_mm
    return (
        bar(ring_in, ring_out, 0, d.ring_thickness_mm)
        + bar(hat_out, ring_in, 0, d.mount_thickness_mm)
        + bar(hat_in, hat_out, mid - half, d.flange_thickness_mm)
        + bar(d.bore_diameter_mm / 2, hat_in, 0, d.flange_thickness_mm)
        - d.bolt_count * bar(0, d.bolt_hole_diameter_mm / 2, 0, d.flange_thickness_mm)
    )


def caliper_volume(d: CaliperDimensions) -> float:
    """Rectangle − slot − what the four roundings take, each area times the path of its centroid."""
    arc = math.radians(d.arc_deg)
    width = d.inboard_width_mm + d.outboard_width_mm
    low, high = d.inner_radius_mm, d.outer_radius_mm
    bridge = d.bridge_inner_radius_mm
    body = arc / (2 * math.pi) * bar(low, high, 0, width)
    slot = arc / (2 * math.pi) * bar(low, bridge, 0, 2 * d.slot_half_width_mm)

    def rounding(radius: float, corner_r: float, sign: float) -> float:
        square, quarter = radius**2, math.pi * radius**2 / 4
        # first moments from the corner: square a/2, quarter disc a − 4a/(3π)
        moment = square * radius / 2 - quarter * (radius - 4 * radius / (3 * math.pi))
        return arc * ((square - quarter) * corner_r + sign * moment)

    corners = 2 * rounding(d.corner_radius_mm, high, -1)
    corners += 2 * rounding(d.inner_corner_radius_mm, low, +1)
    return body - slot - corners


@pytest.mark.parametrize("dims", ROTORS.values(), ids=ROTORS.keys())
def test_rotor_is_closed_and_has_the_volume_of_its_formula(dims: RotorDimensions) -> None:
    made = rotor_mesh(dims)
    assert_closed_and_outward(made.mesh)
    assert made.chord_error_mm <= 0.01
    # The mesh stays within its chord error of the surface, so the volume within area × error.
    assert volume_of(made.mesh) == pytest.approx(
        rotor_volume(dims), abs=area_of(made.mesh) * made.chord_error_mm
    )


@pytest.mark.parametrize("dims", CALIPERS.values(), ids=CALIPERS.keys())
def test_caliper_is_closed_and_has_the_volume_of_its_formula(dims: CaliperDimensions) -> None:
    made = caliper_mesh(dims, ring_mid_z_mm=-38.0)
    bodies = caliper_bodies(made.mesh, dims)
    assert len(bodies) == 1 + len(dims.boxes)
    for body in bodies:
        assert_closed_and_outward(body)
    assert made.chord_error_mm <= 0.01
    assert volume_of(bodies[0]) == pytest.approx(
        caliper_volume(dims), abs=area_of(bodies[0]) * made.chord_error_mm
    )
    for body, box in zip(bodies[1:], dims.boxes, strict=True):
        sides = (box.r_to_mm - box.r_from_mm) * (box.z_to_mm - box.z_from_mm) * box.width_mm
        assert volume_of(body) == pytest.approx(sides, rel=1e-12)


def rotor_distance(p: np.ndarray, d: RotorDimensions) -> np.ndarray:
    """Distance to the true surface: profile's sides where they are, and the holes' cylinders."""
    rz = np.stack([np.hypot(p[:, 0], p[:, 1]), p[:, 2]], axis=1)
    best = np.full(len(p), np.inf)
    profile = rotor_profile(d)
    for start, end in zip(profile, np.roll(profile, -1, axis=0), strict=True):
        along = end - start
        t = np.clip((rz - start) @ along / (along @ along), 0, 1)
        best = np.minimum(best, np.linalg.norm(rz - start - t[:, None] * along, axis=1))
    for k in range(d.bolt_count):
        clock = 2 * math.pi * k / d.bolt_count
        middle = d.bolt_circle_diameter_mm / 2 * np.array([math.sin(clock), math.cos(clock)])
        from_axis = np.hypot(*(p[:, :2] - middle).T)
        in_flange = (p[:, 2] >= 0) & (p[:, 2] <= d.flange_thickness_mm)
        wall = np.where(in_flange, abs(from_axis - d.bolt_hole_diameter_mm / 2), np.inf)
        best = np.minimum(best, wall)
    return best


def caliper_section_distance(p: np.ndarray, d: CaliperDimensions, mid: float) -> np.ndarray:
    """Signed distance, negative inside, to the turned section: rounded rectangle less slot."""
    r, z = np.hypot(p[:, 0], p[:, 1]), p[:, 2] - mid
    centre_z = (d.outboard_width_mm - d.inboard_width_mm) / 2
    centre_r = (d.inner_radius_mm + d.outer_radius_mm) / 2
    half_z = (d.outboard_width_mm + d.inboard_width_mm) / 2
    half_r = (d.outer_radius_mm - d.inner_radius_mm) / 2
    rounding = np.where(r > centre_r, d.corner_radius_mm, d.inner_corner_radius_mm)
    u, v = abs(r - centre_r) - half_r + rounding, abs(z - centre_z) - half_z + rounding
    outside = np.hypot(np.maximum(u, 0), np.maximum(v, 0))
    block = outside + np.minimum(np.maximum(u, v), 0) - rounding
    # slot open towards the axis: a rectangle that reaches far inside
    su, sv = r - d.bridge_inner_radius_mm, abs(z) - d.slot_half_width_mm
    slot = np.hypot(np.maximum(su, 0), np.maximum(sv, 0)) + np.minimum(np.maximum(su, sv), 0)
    return np.maximum(block, -slot)


@pytest.mark.parametrize("name", ["as given", "three large holes", "small holes"])
def test_rotor_stays_within_its_stated_chord_error(name: str) -> None:
    made = rotor_mesh(ROTORS[name])
    far = rotor_distance(points_on(made.mesh), ROTORS[name])
    assert far.max() <= made.chord_error_mm + 1e-9
    assert far.max() >= 0.8 * made.chord_error_mm  # stated, not merely bounded
    assert rotor_distance(made.mesh.vertices, ROTORS[name]).max() < 1e-9


@pytest.mark.parametrize("name", ["as given", "sharp corners", "corner as wide as the leg"])
def test_caliper_stays_within_its_stated_chord_error(name: str) -> None:
    dims, mid = CALIPERS[name], -38.0
    made = caliper_mesh(dims, mid)
    body = caliper_bodies(made.mesh, dims)[0]
    p = points_on(body)
    clock = np.degrees(np.arctan2(p[:, 0], p[:, 1])) - dims.clock_deg
    from_middle = abs((clock + 180) % 360 - 180)
    to_end = np.hypot(p[:, 0], p[:, 1]) * np.sin(np.radians(dims.arc_deg / 2 - from_middle))
    far = caliper_section_distance(p, dims, mid)
    on_side = to_end > 1e-6  # the flat ends lie inside the turned section
    assert abs(far[on_side]).max() <= made.chord_error_mm + 1e-9
    assert abs(far[on_side]).max() >= 0.6 * made.chord_error_mm
    assert far.max() <= made.chord_error_mm + 1e-9
    assert from_middle.max() <= dims.arc_deg / 2 + 1e-9


def test_caliper_lies_at_its_clock_position_and_height() -> None:
    made = caliper_mesh(replace(CALIPER, clock_deg=90.0, boxes=()), ring_mid_z_mm=-38.0)
    low, high = made.mesh.bounds
    # clock 90° is +x; an end of the arc lies 37° from it
    assert high[0] == pytest.approx(200.0, abs=0.01)
    assert low[0] == pytest.approx(112.0 * math.cos(math.radians(37)), abs=1e-9)
    assert [low[1], high[1]] == pytest.approx([-200 * math.sin(math.radians(37)),
                                               200 * math.sin(math.radians(37))])  # fmt: skip
    assert [low[2], high[2]] == pytest.approx([-38.0 - 68.0, -38.0 + 62.0])


def test_box_lies_radially_at_its_clock_position() -> None:
    box = BoxDimensions("nipple", 30.0, 200.0, 215.0, 40.0, 50.0, 8.0)
    dims = replace(CALIPER, clock_deg=240.0, boxes=(box,))
    body = caliper_bodies(caliper_mesh(dims, ring_mid_z_mm=-38.0).mesh, dims)[1]
    # 240° + 30° = 270° is −x
    assert body.bounds[0] == pytest.approx([-215.0, -4.0, 2.0])
    assert body.bounds[1] == pytest.approx([-200.0, 4.0, 12.0])


def test_first_bolt_hole_is_at_twelve_o_clock_and_goes_through() -> None:
    made = rotor_mesh(ROTOR)
    solid = trimesh.Trimesh(made.mesh.vertices, made.mesh.faces, process=False)
    clock = np.radians(np.arange(0, 360, 36))
    places = np.stack([56 * np.sin(clock), 56 * np.cos(clock), np.full(10, 4.0)], axis=1)
    winding = [
        np.arctan2(
            np.einsum("ij,ij->i", a, np.cross(b, c)),
            np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1) * np.linalg.norm(c, axis=1)
            + np.einsum("ij,ij->i", a, b) * np.linalg.norm(c, axis=1)
            + np.einsum("ij,ij->i", b, c) * np.linalg.norm(a, axis=1)
            + np.einsum("ij,ij->i", c, a) * np.linalg.norm(b, axis=1),
        ).sum()
        / (2 * np.pi)
        for a, b, c in (np.moveaxis(solid.triangles - p, 1, 0) for p in places)
    ]  # solid angle of every face (van Oosterom and Strackee 1983)
    assert winding == pytest.approx([0, 1] * 5, abs=1e-9)


def every_envelope() -> list[Envelope]:
    profile = np.array([[220.0, -30.0], [215.0, 0.0], [216.0, 30.0]])
    stations = (RimStation(-100.0, 230.0), RimStation(0.0, 205.0), RimStation(90.0, 225.0))
    return [
        rotor_mesh(ROTOR),
        caliper_mesh(replace(CALIPER, boxes=())),
        weight_band_mesh(WeightBand(-20.0, 20.0), profile, wheel_z_mm=12.0),
        shield_mesh(ShieldDimensions(80.0, 170.0, -70.0, -68.5, 200.0, 10.0)),
        shield_mesh(ShieldDimensions(80.0, 170.0, -70.0, -68.5)),
        bracket_mesh(BracketDimensions(270.0, 100.0, 200.0, -60.0, -48.0, 80.0)),
        rim_mesh(RimDimensions(stations, 5.0)),
    ]


def test_a_peer_library_finds_every_envelope_closed_with_the_same_volume() -> None:
    # trimesh, independent of our own edge count and volume sum
    for made in every_envelope():
        peer = trimesh.Trimesh(made.mesh.vertices, made.mesh.faces, process=False)
        assert peer.is_watertight
        assert peer.is_winding_consistent
        assert peer.volume == pytest.approx(volume_of(made.mesh), rel=1e-12)
        assert_closed_and_outward(made.mesh)


def test_simple_envelopes_have_the_volume_of_their_formula() -> None:
    _, _, band, shield, ring, plate, rim = every_envelope()
    # Frustum rings: ∫ π ((r)² − (r − t)²) dz = π t ∫ (2r − t) dz, r piecewise linear
    mean_band = (20 * (215 + 5 * 20 / 30 / 2) + 20 * (215 + 20 / 30 / 2)) / 40
    mean_rim = (100 * (230 + 205) / 2 + 90 * (205 + 225) / 2) / 190
    wanted = {
        "band": (band, math.pi * 4.5 * 40 * (2 * mean_band - 4.5)),
        "shield": (shield, 200 / 360 * bar(80, 170, 0, 1.5)),
        "ring": (ring, bar(80, 170, 0, 1.5)),
        "plate": (plate, 100.0 * 12.0 * 80.0),
        "rim": (rim, math.pi * 5 * 190 * (2 * mean_rim + 5)),
    }
    for name, (made, volume) in wanted.items():
        assert made.chord_error_mm <= 0.01
        error = area_of(made.mesh) * made.chord_error_mm + 1e-6
        assert volume_of(made.mesh) == pytest.approx(volume, abs=error), name


def test_meshes_stay_small_and_without_slivers() -> None:
    assert len(rotor_mesh(ROTOR).mesh.faces) <= 60_000
    made = caliper_mesh(CALIPER)
    assert len(made.mesh.faces) <= 60_000
    for mesh in (rotor_mesh(ROTOR).mesh, made.mesh):
        a, b, c = np.moveaxis(mesh.corners, 1, 0)
        longest = np.linalg.norm([b - a, c - b, a - c], axis=2).max(axis=0)
        height = np.linalg.norm(np.cross(b - a, c - a), axis=1) / longest
        assert (longest / height).max() < 30


def test_weight_band_follows_the_barrel() -> None:
    rim = rim_mesh(
        RimDimensions((RimStation(-60.0, 220.0), RimStation(60.0, 208.0)), 6.0), wheel_z_mm=0.0
    ).mesh
    profile = inner_profile(rim, -50.0, 50.0, least_radius_mm=150.0, step_mm=12.0)
    made = weight_band_mesh(WeightBand(-40.0, 40.0), profile)
    r = np.hypot(made.mesh.vertices[:, 0], made.mesh.vertices[:, 1])
    z = made.mesh.vertices[:, 2]
    assert [z.min(), z.max()] == [-40.0, 40.0]
    on_slope = 220.0 - 0.1 * (z + 60.0)
    # A slice tells its least radius, so the band may lie up to a slice's slope too far inwards.
    assert (on_slope - r).min() >= -0.61
    assert (on_slope - r).max() <= 4.5 + 1.3


def test_barrel_profile_needs_a_barrel() -> None:
    rim = rim_mesh(RimDimensions((RimStation(-60.0, 220.0), RimStation(60.0, 208.0)), 6.0)).mesh
    with pytest.raises(InputError, match="no barrel where the weight band lies"):
        inner_profile(rim, 40.0, 90.0, least_radius_mm=150.0)
    with pytest.raises(InputError, match="beyond the barrel's profile"):
        weight_band_mesh(WeightBand(-40.0, 40.0), np.array([[210.0, -30.0], [210.0, 60.0]]))
    with pytest.raises(InputError, match="in order of z"):
        weight_band_mesh(WeightBand(-1.0, 1.0), np.array([[210.0, 60.0], [210.0, -30.0]]))


def test_the_same_dimensions_give_the_same_mesh() -> None:
    assert rotor_mesh(ROTOR).mesh.sha256 == rotor_mesh(replace(ROTOR)).mesh.sha256
    assert caliper_mesh(CALIPER).mesh.sha256 == caliper_mesh(replace(CALIPER)).mesh.sha256
