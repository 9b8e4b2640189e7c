"""One test for each way a gap program can go wrong."""

from __future__ import annotations

import numpy as np
import pytest
from gap_shapes import box, lathe, pose, sphere, spoked_wheel, together, tube

from clearturn.errors import Cancelled, InputError
from clearturn.gap import Z_AXIS, Axis, State, still_gap, surface_distances, turning_gap
from clearturn.mesh import Mesh
from clearturn.progress import Progress


def test_clear_when_still_but_hit_by_a_spoke_on_turning():
    wheel = spoked_wheel(200, 5, 20, 20, 30)
    a = np.radians(36)  # between two spokes
    part = box((100, -5, 0), (120, 5, 25)).moved(pose((0, 0, a)))
    still = still_gap(part, wheel)
    assert still.state is State.APART
    assert still.gap_mm.lower > 20
    turning = turning_gap(part, wheel)
    assert turning.state is State.INTERFERING
    assert turning.gap_mm.upper <= -4.9  # 5 mm deep in z, as the spoke is wider than that
    assert turning.interference.crossing
    assert turning.interference.depth_mm.upper == pytest.approx(5.0, abs=0.02)
    assert np.allclose(np.abs(turning.interference.freeing_direction), [0, 0, 1])


def test_wholly_inside_solid_material_touching_no_surface():
    ring = tube(100, 200, 0, 100, 90)
    ball = sphere((150, 0, 50), 10, level=2)
    for gap in (still_gap(ball, ring), turning_gap(ball, ring)):
        assert gap.state is State.INTERFERING
        assert gap.interference.contained == "first in second"
        assert gap.gap_mm.upper < -39
    swapped = turning_gap(ring, ball, turns="first")
    assert swapped.interference.contained == "second in first"


def test_part_in_the_bore_of_a_ring_is_not_inside_it():
    gap = turning_gap(box((0, 0, 40), (20, 20, 60)), tube(100, 200, 0, 100, 90))
    assert gap.state is State.APART


def test_slanted_axis_far_from_the_origin():
    # The same corner 100 m away along a slanted axis: float64 leaves far less than a micron.
    move = pose((1.1, 0.2, -0.7), (60_000, -70_000, 40_000))
    axis = Axis.through(move[:3, 3] + 1000 * move[:3, 2], move[:3, 2])
    bore, part = tube(220, 230, -50, 50, 180), box((150, -40, -10), (200, 40, 10))
    near = turning_gap(part, bore)
    far = turning_gap(part.moved(move), bore.moved(move), axis=axis)
    assert far.gap_mm.upper == pytest.approx(near.gap_mm.upper, abs=1e-6)
    assert far.gap_mm.width <= 1.001e-3
    assert far.first_rz_mm[0] == pytest.approx(near.first_rz_mm[0], abs=1e-6)
    assert -1010 <= far.first_rz_mm[1] <= -990  # anywhere along the edge, from the axis point


def test_sixty_millimetre_edges_read_by_their_sagitta():
    # A flat face 60 mm wide at 200 mm: its middle is nearest the axis by 200 - sqrt(200² - 30²).
    part = box((200, -30, -5), (220, 30, 5))
    shaft = tube(100, 190, -20, 20, 2000)
    gap = turning_gap(part, shaft)
    assert gap.state is State.APART
    assert gap.gap_mm.lower <= 10 <= gap.gap_mm.upper + 1e-9
    assert gap.first_rz_mm[0] == pytest.approx(200, abs=2e-3)
    outside = tube(210, 240, -20, 20, 2000)
    inner = box((-100, -30, -5), (200, 30, 5))
    reach = float(np.hypot(200, 30))
    chord = 210 * np.cos(np.pi / 2000)
    assert turning_gap(inner, outside).gap_mm.upper == pytest.approx(chord - reach, abs=1e-3)


def test_triangles_in_a_plane_through_the_axis_are_answered_at_once():
    # Radial spoke walls and end caps: their xy area is zero, which must not mean "holds the axis".
    cap = Mesh([(50, 0, 0), (90, 0, 0), (90, 0, 40), (50, 0, 40)], [(0, 1, 2), (0, 2, 3)])
    wall = Mesh([(0, 95, 0), (0, 140, 0), (0, 140, 40), (0, 95, 40)], [(0, 1, 2), (0, 2, 3)])
    gap = turning_gap(cap, wall)
    assert gap.gap_mm.lower <= 5 <= gap.gap_mm.upper + 1e-12
    assert gap.gap_mm.width <= 1.001e-3


@pytest.mark.parametrize(
    "corners",
    [
        [(-10, -10, 0), (12, -9, 0), (0, 11, 0)],  # the axis pierces it
        [(0, 0, 0), (10, 0, 0), (0, 10, 0)],  # a corner on the axis
        [(-10, 0, 0), (10, 0, 0), (0, 10, 0)],  # an edge across the axis
        [(0, 0, -5), (0, 0, 5), (10, 0, 0)],  # an edge along the axis
        [(0, 0, -5), (0, 0, 5), (0, 0, 1)],  # all on the axis, no area
        [(-10, 0, 3), (10, 0, 3), (5, 0, 9)],  # in a plane through the axis, across it
    ],
)
def test_triangles_on_the_axis(corners):
    piece = Mesh(corners, [(0, 1, 2)])
    pin = box((-1, -1, 20), (1, 1, 22))
    top = max(z for _, _, z in corners)
    gap = turning_gap(piece, pin)
    slow = 20 - top
    if corners[1][0] == 10 and top == 9:  # its highest corner is off the axis
        slow = float(np.hypot(5 - np.sqrt(2), 11))
    assert gap.gap_mm.lower <= slow + 1e-9
    assert gap.gap_mm.upper >= slow - 1e-9
    assert gap.gap_mm.width <= 1.001e-3


def test_touching_parts_are_answered_at_once():
    # Hat on hub face: two planes full of triangles at distance zero.
    hub, hat = tube(20, 74, -10, 0, 720), tube(30, 88, 0, 8, 720)
    for gap in (turning_gap(hub, hat), still_gap(hub, hat)):
        assert gap.state is State.TOUCHING
        assert gap.gap_mm.lower == 0.0
        assert gap.gap_mm.upper <= 1e-3


def test_a_gap_below_the_tolerance_is_touching_and_above_it_apart():
    ring = tube(100, 120, 0, 10, 90)
    for height, state in ((0.0005, State.TOUCHING), (0.002, State.APART)):
        plate = tube(50, 150, 10 + height, 20, 90)
        assert turning_gap(plate, ring).state is state
        assert still_gap(plate, ring).state is state


def test_a_crossing_of_two_microns_is_told_from_touching():
    ring = tube(100, 120, 0, 10, 90)
    plate = tube(50, 150, 10 - 0.002, 20, 90)
    assert turning_gap(plate, ring).state is State.INTERFERING
    assert still_gap(plate, ring).state is State.INTERFERING


def test_folded_slivers_do_not_turn_signs():
    # A noisy sphere with spikes folded back over their neighbours: signs by the nearest normal
    # go wrong far away, the winding number does not.
    ball = sphere((0, 0, 0), 50, level=4)
    rng = np.random.default_rng(5)
    v = ball.vertices.copy()
    fold = rng.choice(len(v), 60, replace=False)
    away = rng.normal(size=(60, 3))
    v[fold] += 4 * away / np.linalg.norm(away, axis=1)[:, None]
    noisy = Mesh(v, ball.faces)
    directions = rng.normal(size=(4000, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    radius = np.where(rng.random(4000) < 0.5, 40.0, 60.0)
    found = surface_distances(directions * radius[:, None], noisy)
    assert found.sign_known.all()
    assert ((found.distance_mm < 0) == (radius < 50)).all()


def test_open_shell_around_a_part_leaves_the_sign_unknown():
    whole = sphere((0, 0, 0), 100, level=3)
    bowl = whole.part(whole.corners[:, :, 2].max(axis=1) <= 1e-9)
    gap = still_gap(box((-5, -5, -15), (5, 5, -5)), bowl)
    assert gap.state is State.SIGN_UNKNOWN
    assert gap.gap_mm.lower > 0
    assert [f.code for f in gap.findings] == ["sign-unknown"]


def test_crossing_open_scans_have_no_depth():
    sheet = Mesh([(-50, -50, 0), (50, -50, 0), (50, 50, 0), (-50, 50, 0)], [(0, 1, 2), (0, 2, 3)])
    part = box((10, 10, -5), (20, 20, 5))
    for gap in (still_gap(part, sheet), turning_gap(part, sheet)):
        assert gap.state is State.INTERFERING
        assert gap.gap_mm.lower is None
        assert gap.gap_mm.upper == 0
        assert gap.interference.depth_mm is None
        assert [f.code for f in gap.findings] == ["open-crossing"]


@pytest.mark.parametrize("cuts", [1, 2])
def test_corners_exactly_on_the_other_surface_do_not_hide_a_crossing(cuts):
    # The sheet lies in a row of the part's own corners.
    lower, upper = box((10, 10, -5), (20, 20, 0)), box((10, 10, 0), (20, 20, 5))
    whole = lathe([(50, -5), (50, 0), (50, 5), (40, 5), (40, 0), (40, -5)], 24)
    part = whole if cuts == 2 else together([lower, upper])
    sheet = tube(20, 90, -0.0, 30, 40) if cuts == 2 else box((-50, -50, -1), (50, 50, 1))
    assert still_gap(part, sheet).state is State.INTERFERING
    assert turning_gap(part, sheet).state is State.INTERFERING


def test_depth_of_two_boxes_lies_in_its_interval():
    # 3 mm deep in x, 10 in y and z: the least freeing shift is 3 mm along x.
    gap = still_gap(box((0, 0, 0), (10, 10, 10)), box((7, -20, -20), (30, 30, 30)))
    assert gap.state is State.INTERFERING
    assert gap.gap_mm.lower <= -3 <= gap.gap_mm.upper
    assert gap.interference.depth_mm.upper == pytest.approx(3, abs=0.01)
    assert gap.interference.freeing_direction == pytest.approx([-1, 0, 0])


def test_depth_in_a_barrel_is_freed_by_moving_inward():
    barrel = tube(200, 210, -50, 50, 360)
    part = box((150, -5, -40), (202, 5, 40))
    gap = turning_gap(part, barrel)
    reach = float(np.hypot(202, 5))
    chord = 200 * np.cos(np.pi / 360)
    assert gap.state is State.INTERFERING
    # Moved inward by s the corner is at hypot(202 - s, 5): free at s with that equal to the chord.
    least = 202 - np.sqrt(chord**2 - 25)
    assert gap.interference.depth_mm.upper == pytest.approx(least, abs=0.01)
    assert gap.interference.freeing_direction == pytest.approx([-1, 0, 0], abs=0.05)
    assert -gap.gap_mm.upper <= reach - chord + 1e-6


def test_second_of_two_far_pieces_inside_is_found():
    outer = sphere((0, 0, 0), 60, level=3)
    two = together([box((100, 0, 0), (110, 10, 10)), box((-5, -5, -5), (5, 5, 5))])
    assert still_gap(two, outer).interference.contained == "first in second"


def test_zero_area_triangles_do_not_hurt():
    part = box((100, -5, 0), (120, 5, 15))
    faces = np.vstack([part.faces, [[0, 0, 0], [1, 1, 2], [0, 1, 0]]])
    gap = turning_gap(Mesh(part.vertices, faces), tube(150, 160, 0, 20, 90))
    assert gap.gap_mm.upper == pytest.approx(
        turning_gap(part, tube(150, 160, 0, 20, 90)).gap_mm.upper, abs=1e-3
    )


def test_empty_mesh_and_crooked_pose_are_refused_by_name():
    part = box((0, 0, 0), (1, 1, 1), "part")
    with pytest.raises(InputError, match="'nothing' has no triangles"):
        turning_gap(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), "nothing"), part)
    with pytest.raises(InputError, match="rigid"):
        still_gap(part, part, pose_first=np.diag([2.0, 1, 1, 1]))
    with pytest.raises(InputError, match="tolerance"):
        turning_gap(part, part, tolerance_mm=0)
    with pytest.raises(InputError, match="no length"):
        Axis.through((0, 0, 0), (0, 0, 0))


def test_cancelled_before_the_start_and_right_again_after():
    ring, part = tube(100, 200, 0, 100, 90), box((0, 0, 40), (20, 20, 60))
    stopped = Progress()
    stopped.cancel()
    with pytest.raises(Cancelled):
        turning_gap(part, ring, progress=stopped)
    with pytest.raises(Cancelled):
        still_gap(part, ring, progress=stopped)
    told = []
    watched = turning_gap(part, ring, progress=Progress(lambda f, t: told.append(f)))
    assert watched.gap_mm == turning_gap(part, ring).gap_mm


def test_same_bits_on_one_thread_and_on_two(monkeypatch):
    wheel = spoked_wheel(200, 5, 20, 20, 30)
    part = lathe([(150, -30), (150, 15), (100, 15), (100, -30)], 400)
    answers = []
    for count in ("1", "2"):
        monkeypatch.setenv("CLEARTURN_THREADS", count)
        a, b = Mesh(part.vertices, part.faces), Mesh(wheel.vertices, wheel.faces)
        gap, still = turning_gap(a, b), still_gap(a, b)
        answers.append((gap.gap_mm, gap.first_point_mm.tobytes(), gap.turn_angle_deg, still.gap_mm))
    assert answers[0] == answers[1]


def test_bodies_of_revolution_do_not_make_every_pair_of_their_facets_tie():
    # 7 200 facets against 7 200, all at the same distance over a turn: one stands for all.
    from clearturn.gap.meridian import meridian_image

    ring, shell = tube(100, 150, -10, 10, 3600), tube(155, 160, -10, 10, 3600)
    gap = turning_gap(ring, shell)
    chord = 155 * np.cos(np.pi / 3600)
    assert gap.gap_mm.lower <= chord - 150 <= gap.gap_mm.upper + 1e-9
    assert len(np.unique(meridian_image(ring, Z_AXIS).order)) <= 16
    # Triangles that only look alike in (r, z) are kept: one is nearer by its longer chord.
    wide = Mesh([(10, -60, 0), (10, 60, 0), (80, 0, 5)], [(0, 1, 2)])
    deep = Mesh([(-60, 10, 0), (-60, 11, 0), (-80, 0, 5)], [(0, 1, 2)])
    pin = box((-1, -1, -2), (1, 1, 2))
    both = turning_gap(pin, together([wide, deep]))
    assert both.gap_mm.upper == pytest.approx(turning_gap(pin, wide).gap_mm.upper, abs=1e-3)


@pytest.mark.parametrize("count", [60, 8000])
def test_vertices_that_no_face_uses_are_no_part_of_the_surface(count):
    # A scan split by its faces can carry the rest of its vertices along; some lie in the way.
    ring, part = tube(100, 150, -10, 10, count), box((-20, -20, -5), (20, 20, 5))
    stray = np.array([[60.0, 0, 0], [0, 21, 0], [300, 0, 0]])
    wide = Mesh(np.vstack([stray, ring.vertices]), ring.faces + 3)
    more = Mesh(np.vstack([part.vertices, stray]), part.faces)
    for gap in (turning_gap, still_gap):
        clean = gap(part, ring)
        for a, b in ((part, wide), (more, ring), (more, wide)):
            assert gap(a, b).gap_mm.upper == pytest.approx(clean.gap_mm.upper, abs=1e-3)
    deep = box((90, -5, -5), (120, 5, 5))
    inside = Mesh(np.vstack([deep.vertices, [[125.0, 0, 0]]]), deep.faces)
    assert turning_gap(inside, ring).interference.depth_mm.lower <= 20 + 1e-6


def test_part_with_its_own_copy_interferes_although_no_surfaces_cross():
    cube = box((0, 0, 0), (100, 100, 100))
    found = still_gap(cube, cube)
    assert found.state is State.INTERFERING
    # Freed by no shift shorter than the cube's edge; what lies just below a face proves a part.
    assert found.gap_mm.upper < -1.0
    assert found.gap_mm.lower == pytest.approx(-100.0, abs=0.2)
    ring = tube(60.0, 80.0, 0.0, 10.0, 90)
    assert turning_gap(ring, ring).state is State.INTERFERING


def test_block_with_flush_sides_half_way_in_interferes():
    low, high = box((0, 0, 0), (100, 100, 100)), box((0, 0, 50), (100, 100, 150))
    found = still_gap(low, high)
    assert found.state is State.INTERFERING
    assert found.gap_mm.lower <= -50.0 + 1e-9 <= found.gap_mm.upper


def test_blocks_leaning_on_each_other_with_whole_faces_only_touch():
    low = box((0, 0, 0), (100, 100, 100))
    for other in (box((0, 0, 100), (100, 100, 150)), box((20, 20, 100), (60, 60, 150))):
        assert still_gap(low, other).state is State.TOUCHING
        assert still_gap(other, low).state is State.TOUCHING


@pytest.mark.parametrize("turning", [False, True])
@pytest.mark.parametrize("signed", [False, True])
def test_no_points_have_no_distances(turning: bool, signed: bool) -> None:
    """So it is where all of a part is too far off: one read in inch instead of mm for one."""
    mesh = Mesh([[10.0, 0, 0], [11, 0, 0], [10, 1, 0]], [[0, 1, 2]], "triangle")
    found = surface_distances(np.empty((0, 3)), mesh, turning=turning, signed=signed)
    assert found.distance_mm.shape == found.triangle.shape == found.sign_known.shape == (0,)
    assert found.nearest.shape == (0, 3)
