"""The swept outline of a part: the image of its surface under (x, y, z) → (r, z), filled inside."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from clearturn.drawing.outline import (
    SHEET_MM,
    distance_field,
    material_side,
    meridian_triangles,
    swept_outline,
)
from clearturn.envelope import CaliperDimensions, RotorDimensions, caliper_mesh, rotor_mesh
from clearturn.envelope.boxes import radial_box
from clearturn.envelope.sweep import revolved
from clearturn.gap.surface_map import winding
from clearturn.mesh import Mesh, join
from clearturn.progress import Progress

ROTOR = RotorDimensions(350.0, 222.0, 34.0, 38.0, 8.0, 176.0, 6.0, 64.0, 112.0, 5, 15.0)
CALIPER = CaliperDimensions(112.0, 200.0, 178.6, 68.0, 62.0, 27.0, 74.0, 270.0, 6.0)


def box(z_low: float, r_low: float, z_high: float, r_high: float) -> shapely.Geometry:
    return shapely.box(z_low, r_low, z_high, r_high)


def ring_mesh(z_low: float, r_low: float, z_high: float, r_high: float) -> Mesh:
    return revolved(
        np.array([(r_low, z_low), (r_high, z_low), (r_high, z_high), (r_low, z_high)]), 360
    )


def assert_near(found: shapely.Geometry, wanted: shapely.Geometry, within_mm: float) -> None:
    assert shapely.hausdorff_distance(shapely.boundary(found), shapely.boundary(wanted), 0.02) <= (
        within_mm
    )
    assert shapely.symmetric_difference(found, wanted).area <= 0.6 * within_mm * wanted.length


@pytest.mark.parametrize("step", [0.12, 0.5])
def test_a_rotor_shows_its_section(step: float) -> None:
    # Ring, mount disc, hat wall and flange as rectangles of the half plane
    wanted = shapely.union_all(
        [box(-55, 111, -21, 175), box(-41, 88, -35, 111), box(-41, 82, 8, 88), box(0, 32, 8, 82)]
    )
    found = swept_outline(rotor_mesh(ROTOR).mesh, step)
    assert_near(found.area, wanted, 1.2 * found.accuracy_mm)
    assert found.accuracy_mm <= step + 0.05


def test_a_caliper_shows_its_section_whatever_its_clock_position() -> None:
    block = box(-68, 112, 62, 200).buffer(-6).buffer(6, quad_segs=64)
    block = block.union(box(-68, 112, 62, 190))
    wanted = block.difference(box(-27, 0, 27, 178.6))
    for clock in (0.0, 137.0):
        dims = CaliperDimensions(112.0, 200.0, 178.6, 68.0, 62.0, 27.0, 74.0, clock, 6.0)
        found = swept_outline(caliper_mesh(dims).mesh)
        assert_near(found.area, wanted, 1.2 * found.accuracy_mm)


def test_a_flat_face_across_the_radius_bows_to_the_axis() -> None:
    # a plate 100 wide whose inner face is 60 from the axis: its image reaches down to r = 60 and
    # up to the far corner's radius, though every corner lies at √(60² + 50²) or beyond
    plate = radial_box(30.0, (60.0, 70.0), (-5.0, 5.0), 100.0)
    _, r_low, _, r_high = swept_outline(plate).area.bounds
    assert r_low == pytest.approx(60.0, abs=0.1)
    assert r_high == pytest.approx(math.hypot(70.0, 50.0), abs=0.1)


def test_two_large_triangles_bow_like_the_plate_they_make() -> None:
    corners = [(-50.0, 60.0, 0.0), (50.0, 60.0, 0.0), (50.0, 60.0, 10.0), (-50.0, 60.0, 10.0)]
    sheet = Mesh(corners, [[0, 1, 2], [0, 2, 3]])
    flat = meridian_triangles(sheet, 0.01)
    assert flat[..., 1].min() == pytest.approx(60.0, abs=0.01)
    assert flat[..., 1].max() == pytest.approx(math.hypot(60.0, 50.0))
    assert len(flat) > 2
    # and one through the axis still ends
    through = Mesh([(-50.0, 0.0, 0.0), (50.0, 0.0, 0.0), (50.0, 1.0, 9.0)], [[0, 1, 2]])
    assert meridian_triangles(through, 0.05)[..., 1].min() < 0.1


def test_a_hollow_solid_keeps_its_hollow() -> None:
    outer = ring_mesh(0.0, 100.0, 40.0, 140.0)
    inner = ring_mesh(10.0, 110.0, 30.0, 130.0)
    hollow = join([outer, Mesh(inner.vertices, inner.faces[:, ::-1])])
    wanted = box(0, 100, 40, 140).difference(box(10, 110, 30, 130))
    assert_near(swept_outline(hollow).area, wanted, 0.2)
    filled = swept_outline(outer).area
    assert_near(filled, box(0, 100, 40, 140), 0.2)


def test_an_open_scan_of_a_barrel_is_a_thin_line() -> None:
    n = 360
    turn = 2 * np.pi * np.arange(n) / n
    rows = np.stack([[200 * np.sin(turn), 200 * np.cos(turn), np.full(n, z)] for z in (0.0, 50.0)])
    vertices = rows.transpose(0, 2, 1).reshape(-1, 3)
    i = np.arange(n)
    j = (i + 1) % n
    faces = np.concatenate([np.stack([i, j, n + j], 1), np.stack([i, n + j, n + i], 1)])
    found = swept_outline(Mesh(vertices, faces))
    # chords of 1° stand 200 (1 − cos ½°) = 7.6 µm inside
    assert found.area.area == pytest.approx(50.0 * SHEET_MM, rel=0.35)
    z_low, r_low, z_high, r_high = found.area.bounds
    assert [z_low, z_high] == pytest.approx([0.0, 50.0], abs=0.05)
    assert [r_low, r_high] == pytest.approx([200.0, 200.0], abs=0.05)


def test_the_outline_holds_every_place_of_the_surface() -> None:
    mesh = join([caliper_mesh(CALIPER).mesh, radial_box(40.0, (90, 130), (-70, -20), 37.0)])
    found = swept_outline(mesh, 0.3)
    weight = np.random.default_rng(3).dirichlet((1, 1, 1), size=len(mesh.faces))
    p = np.einsum("ij,ijk->ik", weight, mesh.corners)
    images = shapely.points(p[:, 2], np.hypot(p[:, 0], p[:, 1]))
    assert shapely.distance(found.area, images).max() <= found.accuracy_mm


def test_turning_about_the_axis_changes_nothing_and_shifting_shifts() -> None:
    mesh = caliper_mesh(CALIPER).mesh
    a = math.radians(73.0)
    turn = np.eye(4)
    turn[:2, :2] = [[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]]
    turn[2, 3] = 12.5
    moved = shapely.transform(swept_outline(mesh).area, lambda p: p + np.array([12.5, 0.0]))
    assert_near(swept_outline(mesh.moved(turn)).area, moved, 0.2)


def test_raster_distances_equal_the_plain_ones() -> None:
    # twin of the kernel: shapely's distance of each node from the triangles' union
    draw = np.random.default_rng(5)
    triangles = draw.uniform(1.0, 9.0, size=(12, 3, 2))
    triangles[3, 1] = triangles[3, 0]  # a segment
    triangles[4] = triangles[4, 0]  # a point
    step = 0.25
    field = distance_field(triangles, np.zeros(2), (41, 41), step)
    x, y = np.meshgrid(step * np.arange(41), step * np.arange(41))
    shapes = [shapely.Polygon(t) for t in triangles if len(np.unique(t, axis=0)) == 3]
    shapes += [shapely.LineString(triangles[3]), shapely.Point(triangles[4, 0])]
    plain = np.min([shapely.distance(s, shapely.points(x, y)) for s in shapes], axis=0)
    near = plain < 2.0 * step
    assert field[near] == pytest.approx(plain[near], abs=1e-9)
    assert field[~near].min() >= 2.0 * step - 1e-9


def test_winding_number_is_one_inside_and_a_sixth_before_one_face_of_six() -> None:
    cube = radial_box(0.0, (5.0, 15.0), (-5.0, 5.0), 10.0)
    centre, outside = np.array([[0.0, 10.0, 0.0], [0.0, 30.0, 0.0]])
    assert np.abs(winding(np.array([centre, outside]), cube)) == pytest.approx([1, 0], abs=1e-12)
    # one of six faces of a cube subtends a sixth of the sphere from its centre
    low = cube.part(cube.corners[:, :, 2].max(axis=1) < -4.9)
    assert abs(winding(centre[None], low)[0]) == pytest.approx(1.0 / 6.0)


def test_a_scan_with_more_triangles_than_work_is_drawn_coarser(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """However coarse the raster, each triangle visits some nodes; the search for a step ends."""
    monkeypatch.setattr("clearturn.drawing.outline._MOST_WORK", 1_000)
    mesh = ring_mesh(0.0, 100.0, 40.0, 141.0)
    found = swept_outline(mesh)
    assert_near(found.area, box(0.0, 100.0, 40.0, 141.0), found.accuracy_mm)
    assert 0.6 < found.accuracy_mm < 0.7


def test_no_faces_give_no_outline_and_progress_can_stop_it() -> None:
    assert swept_outline(Mesh(np.zeros((0, 3)), np.zeros((0, 3), int))).area.is_empty
    progress = Progress()
    progress.cancel()
    from clearturn.errors import Cancelled

    with pytest.raises(Cancelled):
        swept_outline(ring_mesh(0.0, 100.0, 40.0, 141.0), progress=progress)


def test_material_strip_lies_inside_an_open_surface_only() -> None:
    solid = ring_mesh(0.0, 150.0, 50.0, 200.0)
    assert material_side(solid, 3.0).is_empty
    r = np.hypot(solid.corners[..., 0], solid.corners[..., 1])
    outside = solid.part((r > 199.0).all(axis=1))  # what a scanner sees from without
    strip = material_side(outside, 3.0)
    assert_near(strip, box(0, 197, 50, 200), 0.7)
    bore = solid.part((r < 151.0).all(axis=1))
    assert_near(material_side(bore, 3.0), box(0, 150, 50, 153), 0.7)


def test_a_shaft_is_filled_down_to_the_axis() -> None:
    n = 120
    turn = 2 * np.pi * np.arange(n) / n
    circle = np.stack([30 * np.sin(turn), 30 * np.cos(turn)], axis=1)
    ends = [np.column_stack([circle, np.full(n, z)]) for z in (-10.0, 40.0)]
    vertices = np.concatenate([*ends, [[0, 0, -10.0], [0, 0, 40.0]]])
    i, j = np.arange(n), (np.arange(n) + 1) % n
    low, high = np.full(n, 2 * n), np.full(n, 2 * n + 1)
    # (x, y) = (sin, cos) runs clockwise seen from +z
    faces = np.concatenate([
        np.stack([i, j, low], 1), np.stack([n + j, n + i, high], 1),
        np.stack([j, i, n + i], 1), np.stack([j, n + i, n + j], 1),
    ])  # fmt: skip
    shaft = Mesh(vertices, faces)
    assert_near(swept_outline(shaft).area, box(-10, 0, 40, 30), 0.2)
    half = shaft.part(np.arange(len(faces)) >= n)  # the inboard end was not scanned
    strip = material_side(half, 3.0).intersection(box(0, 0, 41, 31))
    wanted = box(0, 0, 40, 30).difference(box(-10, 0, 37, 27))
    # the moved copy is bevelled at the edge, since its corners move along mean normals
    assert shapely.symmetric_difference(strip, wanted).area < 0.15 * wanted.area
