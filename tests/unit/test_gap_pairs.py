"""All pairs of a corner: true bounds, answers by bound alone, and what is kept."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from gap_shapes import bits, box, lathe, pose, random_soup, sphere, tube
from scipy.spatial import cKDTree

from clearturn.errors import Cancelled, InputError
from clearturn.gap import (
    Axis,
    GapPart,
    KeptGaps,
    State,
    pair_gaps,
    still_gap,
    turning_gap,
)
from clearturn.gap import pairs as pairs_module
from clearturn.gap.bound import few_boxes, image_bound, one_box, still_bound, turning_bound
from clearturn.gap.meridian import axis_frame, meridian_image
from clearturn.gap.still import inverse, rigid
from clearturn.mesh import Mesh
from clearturn.progress import Progress

TILTED = Axis.through((3.0, -7.0, 11.0), (0.3, -0.2, 0.9))


def random_mesh(rng) -> Mesh:
    centre = rng.uniform(-80, 80, 3)
    if rng.random() < 0.3:
        centre[:2] = rng.uniform(-4, 4, 2)  # across the axis
    kind = rng.integers(4)
    if kind == 0:
        return box(centre - rng.uniform(1, 30, 3), centre + rng.uniform(1, 30, 3))
    if kind == 1:
        return sphere(centre, rng.uniform(2, 30), 2)
    if kind == 2:
        inner = rng.uniform(5, 60)
        return tube(inner, inner + rng.uniform(1, 20), centre[2], centre[2] + 15, 48)
    return random_soup(rng, 300, centre, 12, 3)


def random_pose(rng):
    return pose(rng.uniform(-2, 2, 3), rng.uniform(-60, 60, 3))


def in_axis_frame(axis, mesh, at):
    rotation, shift = axis_frame(axis)
    return mesh.moved(at).vertices @ rotation.T + shift


@pytest.mark.parametrize("seed", range(120))
def test_bound_by_boxes_is_never_above_what_is_reached(seed):
    rng = np.random.default_rng(seed)
    a, b = random_mesh(rng), random_mesh(rng)
    p, q = random_pose(rng), random_pose(rng)
    axis = TILTED if seed % 2 else Axis.through(rng.uniform(-9, 9, 3), rng.normal(size=3))
    relative = inverse(q) @ p
    # Any two corners are an upper bound of the gap; looked for by scipy's k-d tree.
    space = cKDTree(b.moved(q).vertices).query(a.moved(p).vertices)[0].min()
    va, vb = in_axis_frame(axis, a, p), in_axis_frame(axis, b, q)
    mapped = [np.c_[np.hypot(v[:, 0], v[:, 1]), v[:, 2]] for v in (va, vb)]
    turned = cKDTree(mapped[1]).query(mapped[0])[0].min()
    still = still_gap(a, b, pose_first=p, pose_second=q)
    turn = turning_gap(a, b, axis=axis, pose_first=p, pose_second=q, depth=False)
    for boxes in ((one_box(a), one_box(b)), (few_boxes(a), few_boxes(b))):
        bound = still_bound(*boxes, relative)
        assert bound <= space
        if still.state is not State.INTERFERING:
            assert bound <= still.gap_mm.upper
        else:
            assert bound == 0 or not still.interference.crossing
        check_turning_bound(turning_bound(*boxes, axis, p, q), turned, turn)
    for enough in (5.0, 30.0, math.inf):
        bound = image_bound(b, meridian_image(a, axis, p), axis, q, enough_mm=enough)
        check_turning_bound(bound, turned, turn)
        bound = image_bound(a, meridian_image(b, axis, q), axis, p, enough_mm=enough)
        check_turning_bound(bound, turned, turn)


def check_turning_bound(bound, reached, gap):
    assert bound <= reached
    if gap.state is not State.INTERFERING:
        assert bound <= gap.gap_mm.upper


def test_bound_by_an_image_lies_a_few_mm_below_the_gap():
    ring, block = tube(100, 110, 0, 20, 400), box((70, -3, 5), (72, 3, 9))
    image = meridian_image(ring, pairs_module.Z_AXIS)
    bound = image_bound(block, image, pairs_module.Z_AXIS, np.eye(4))
    # The ring's facets dip 100 (1 − cos(π/400)) below 100, the block's corners lie at √(72² + 3²);
    # its leaf's ball has the radius of half a diagonal of 2 × 6 × 4.
    true = 100 * math.cos(math.pi / 400) - math.hypot(72, 3)
    assert true - 3 - math.sqrt(56) / 2 < bound <= true


def test_few_boxes_bound_better_than_one_and_hold_every_triangle():
    ring = tube(100, 110, 0, 20, 400)
    block = box((70, -10, 5), (80, 10, 15))
    boxes = few_boxes(ring)
    assert len(boxes) <= 128 + 7
    assert (boxes[:, 0] <= boxes[:, 1]).all()
    inside = np.zeros(len(ring.faces), bool)
    for low, high in boxes:
        inside |= ((ring.corners >= low) & (ring.corners <= high)).all(axis=(1, 2))
    assert inside.all()
    here = (pairs_module.Z_AXIS, np.eye(4), np.eye(4))
    assert turning_bound(one_box(ring), one_box(block), *here) == 0
    # The block's corners lie at √(80² + 10²) from the axis, the ring's at 100.
    assert 1 < turning_bound(boxes, few_boxes(block), *here) < 100 - math.hypot(80, 10)


def corner():
    """An invented corner: two that turn, two that do not, one far off."""
    return [
        GapPart("ring", tube(100, 110, 0, 20, 120), turns=True),
        GapPart("wheel", tube(200, 215, -90, 60, 120), turns=True),
        GapPart("block", box((115, -20, 5), (140, 20, 15))),
        GapPart("arm", box((0, -30, -60), (60, 30, -40)), pose=pose((0, 0, 0.2), (5, 1, -2))),
        GapPart("post", box((0, 0, 0), (10, 10, 10)), pose=pose((0.1, 0.2, 0), (0, 0, -900))),
    ]


def test_every_pair_is_answered_as_by_itself():
    parts = corner()
    found = pair_gaps(parts)
    names = [one.name for one in parts]
    assert [(one.first, one.second) for one in found] == list(itertools.combinations(names, 2))
    by_name = {one.name: one for one in parts}
    for one in found:
        a, b = by_name[one.first], by_name[one.second]
        given = {"pose_first": a.pose, "pose_second": b.pose}
        if a.turns == b.turns:
            alone = still_gap(a.mesh, b.mesh, **given)
        else:
            alone = turning_gap(a.mesh, b.mesh, turns="first" if a.turns else "second", **given)
        assert one.turning == (a.turns != b.turns)
        assert one.gap.gap_mm == alone.gap_mm
        assert one.gap.state is alone.state
        assert not one.by_bound


def test_pair_of_boxes_has_the_gap_of_their_faces():
    # 115 − 110 over the turn: a corner of the ring's facets passes the middle of the flat face
    found = pair_gaps(corner(), [("ring", "block")])[0]
    assert found.gap_mm.lower <= 5.0 <= found.gap_mm.upper + 1e-9


def test_far_pairs_are_answered_by_a_bound_that_is_below_their_gap(monkeypatch):
    parts = corner()
    exact = pair_gaps(parts)
    calls = counted(monkeypatch)
    found = pair_gaps(parts, enough_mm=30.0)
    by_bound = [one for one in found if one.by_bound]
    assert len(by_bound) >= 5
    assert len(calls) == len(found) - len(by_bound)
    for one, true in zip(found, exact, strict=True):
        assert one.gap_mm.lower <= true.gap_mm.upper
        if one.by_bound:
            assert one.gap_mm.lower >= 30.0
            assert one.gap_mm.upper is None
        else:
            assert one.gap_mm == true.gap_mm


@pytest.mark.parametrize("turns", [False, True])
def test_part_inside_a_hollow_one_is_never_answered_by_a_bound(turns):
    hollow = lathe([(0.5, -100), (100, -100), (100, 100), (0.5, 100)], 60)
    shell = GapPart("shell", sphere((0, 0, 0), 200, 4), turns=turns)
    found = pair_gaps([shell, GapPart("core", box((-5, -5, -5), (5, 5, 5)))], enough_mm=50.0)[0]
    assert found.gap.state is State.INTERFERING
    cup = GapPart("cup", hollow, turns=turns)
    grain = GapPart("grain", sphere((50, 0, 0), 5, 2))
    assert pair_gaps([cup, grain], enough_mm=20.0)[0].gap.state is State.INTERFERING


def test_part_in_an_open_one_is_told_as_sign_unknown_not_as_far():
    sleeve = tube(95, 100, -60, 60, 60)
    outside = np.flatnonzero((np.hypot(*sleeve.corners[..., :2].T) > 99).all(axis=0))
    sleeve = sleeve.part(outside)
    grain = GapPart("grain", box((-2, -2, -2), (2, 2, 2)))
    alone = still_gap(sleeve, grain.mesh)
    assert alone.state is State.SIGN_UNKNOWN
    found = pair_gaps([GapPart("sleeve", sleeve), grain], enough_mm=50.0)[0]
    assert found.gap.state is State.SIGN_UNKNOWN


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pairs": [("ring", "nut")]}, "'nut'"),
        ({"pairs": [("ring", "ring")]}, "itself"),
        ({"tolerance_mm": 0.0}, "tolerance"),
        ({"tolerance_mm": math.nan}, "tolerance"),
        ({"enough_mm": -1.0}, "enough"),
    ],
)
def test_bad_input_is_refused_by_name(change, words):
    given = {"parts": corner(), **change}
    with pytest.raises(InputError, match=words):
        pair_gaps(**given)


def test_bad_parts_are_refused_by_name():
    one = corner()[0]
    with pytest.raises(InputError, match="one name"):
        pair_gaps([one, one])
    empty = GapPart("nothing", Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), "nothing"))
    with pytest.raises(InputError, match="no triangles"):
        pair_gaps([one, empty])
    skew = dataclasses.replace(one, name="skew", pose=np.diag([1, 1, 1.1, 1]))
    with pytest.raises(InputError, match="rigid"):
        pair_gaps([one, skew])
    assert pair_gaps([]) == ()
    assert pair_gaps([one]) == ()


@pytest.mark.parametrize("scale", [1 + 4e-6, 1 - 4e-6, 1 + 1e-8])
def test_pose_with_a_hair_of_scale_is_not_taken_for_rigid(scale):
    # 4e-6 are 0.8 µm at 200 mm: more than a certified interval of 2 nm may hide
    scaled = np.diag([scale, scale, scale, 1.0])
    if abs(scale - 1) > 1e-6:
        with pytest.raises(InputError, match="rigid"):
            rigid(scaled)
    else:
        turn = rigid(scaled)[:3, :3]
        assert np.abs(turn @ turn.T - np.eye(3)).max() < 1e-14


@pytest.mark.parametrize("after", [0, 1, 4])
def test_cancelling_stops_between_pairs(after):
    told = []

    def listener(fraction, text):
        told.append(fraction)
        if len(told) > after:
            progress.cancel()

    progress = Progress(listener)
    kept = KeptGaps()
    with pytest.raises(Cancelled):
        pair_gaps(corner(), progress=progress, kept=kept)
    assert len(told) <= after + 2
    # What was found before holds, and the next call is not spoilt.
    again = pair_gaps(corner(), kept=kept)
    assert sum(one.was_kept for one in again) >= after
    assert [one.gap_mm for one in again] == [one.gap_mm for one in pair_gaps(corner())]


def test_progress_never_goes_back():
    told = []
    progress = Progress(lambda fraction, text: told.append(fraction))
    found = pair_gaps(corner(), progress=progress)
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert bits(found) == bits(pair_gaps(corner()))


def test_same_bits_on_one_and_two_threads(monkeypatch):
    answers = []
    for count in ("1", "2"):
        monkeypatch.setenv("CLEARTURN_THREADS", count)
        found = pair_gaps(corner(), enough_mm=40.0)
        answers.append(bits(found))
    assert answers[0] == answers[1]


# --- what is kept ------------------------------------------------------------------------------


def counted(monkeypatch) -> list[str]:
    """Record every call of the engine by the all-pairs call."""
    calls: list[str] = []
    for name, real in (("still_gap", still_gap), ("turning_gap", turning_gap)):

        def seen(*args, name=name, real=real, **given):
            calls.append(name)
            return real(*args, **given)

        monkeypatch.setattr(pairs_module, name, seen)
    return calls


def moved_part(part: GapPart, by: np.ndarray) -> GapPart:
    own = np.eye(4) if part.pose is None else np.asarray(part.pose)
    return dataclasses.replace(part, pose=by @ own)


def test_moved_part_costs_its_own_pairs_only(monkeypatch):
    calls, kept = counted(monkeypatch), KeptGaps()
    parts = corner()
    first = pair_gaps(parts, kept=kept)
    assert len(calls) == 10
    assert len(kept) == 10
    assert pair_gaps(parts, kept=kept) == tuple(
        dataclasses.replace(one, was_kept=True) for one in first
    )
    assert len(calls) == 10
    parts[2] = moved_part(parts[2], pose((0, 0, 0), (0, 0, 1.5)))
    again = pair_gaps(parts, kept=kept)
    assert len(calls) == 14
    assert [one.was_kept for one in again] == ["block" not in (o.first, o.second) for o in again]
    fresh = pair_gaps(parts)
    assert [one.gap_mm for one in again] == [one.gap_mm for one in fresh]


def test_equal_content_is_found_whatever_it_is_called(monkeypatch):
    calls, kept = counted(monkeypatch), KeptGaps()
    parts = corner()[:3]
    pair_gaps(parts, kept=kept)
    same = [
        GapPart(f"other {p.name}", Mesh(p.mesh.vertices.copy(), p.mesh.faces, "x"), p.turns)
        for p in parts
    ]
    assert all(one.was_kept for one in pair_gaps(same, kept=kept))
    assert len(calls) == 3


@pytest.mark.parametrize(
    "change",
    [
        lambda p, g: (
            [dataclasses.replace(p[0], mesh=tube(100, 110.01, 0, 20, 120)), p[1]],
            g,
        ),
        lambda p, g: ([moved_part(p[0], pose((0, 0, 0), (1e-6, 0, 0))), p[1]], g),
        lambda p, g: ([moved_part(p[0], pose((1e-7, 0, 0), (0, 0, 0))), p[1]], g),
        lambda p, g: ([moved_part(p[0], pose((0, 0, 0), (0, 0, 1e-6))), p[1]], g),
        lambda p, g: ([dataclasses.replace(p[0], turns=False), p[1]], g),
        lambda p, g: (
            [dataclasses.replace(p[0], turns=False), dataclasses.replace(p[1], turns=True)],
            g,
        ),
        lambda p, g: (p, {**g, "tolerance_mm": 2e-3}),
        lambda p, g: (p, {**g, "axis": Axis.through((1e-6, 0, 0), (0, 0, 1))}),
        lambda p, g: (p, {**g, "axis": Axis.through((0, 0, 0), (0, 1e-7, 1))}),
    ],
)
def test_every_input_that_matters_is_seen(change):
    kept = KeptGaps()
    parts = [corner()[0], corner()[2]]
    pair_gaps(parts, kept=kept)
    parts, given = change(parts, {})
    found = pair_gaps(parts, kept=kept, **given)[0]
    fresh = pair_gaps(parts, **given)[0]
    assert not found.was_kept
    assert found.gap_mm == fresh.gap_mm


def on_triangle(point, corners) -> float:
    """Distance of a point to a triangle (barycentric, Ericson 2005, 5.1.5, by least squares)."""
    a, b, c = corners
    weights, *_ = np.linalg.lstsq(np.stack([b - a, c - a], 1), point - a, rcond=None)
    u, v = weights
    assert min(u, v, 1 - u - v) > -1e-6
    return float(np.linalg.norm(a + u * (b - a) + v * (c - a) - point))


def check_carried(found, fresh, a, b, axis=pairs_module.Z_AXIS):
    """A gap that was carried over is certified where the parts are now."""
    assert found.was_kept
    gap, true = found.gap, fresh.gap
    assert gap.state is true.state
    assert gap.gap_mm.lower <= true.gap_mm.upper + 1e-12
    assert true.gap_mm.lower <= gap.gap_mm.upper + 1e-12
    assert gap.gap_mm.width <= true.gap_mm.width + 1e-3 + 4e-9
    step = gap.second_point_mm - gap.first_point_mm
    assert np.linalg.norm(step) == pytest.approx(gap.gap_mm.upper, abs=2e-6)
    assert gap.direction == pytest.approx(step / np.linalg.norm(step), abs=1e-6)
    for part, triangle, point in (
        (a, gap.first_triangle, gap.first_point_mm),
        (b, gap.second_triangle, gap.second_point_mm),
    ):
        corners = part.mesh.corners[triangle]
        at = np.eye(4) if part.pose is None else np.asarray(part.pose)
        if part.turns and found.turning:
            at = turn_about(axis, gap.turn_angle_deg) @ at
        assert on_triangle(point, corners @ at[:3, :3].T + at[:3, 3]) < 1e-6
    for rz, point in (
        (gap.first_rz_mm, gap.first_point_mm),
        (gap.second_rz_mm, gap.second_point_mm),
    ):
        if rz is not None:
            rotation, shift = axis_frame(axis)
            x, y, z = rotation @ point + shift
            assert rz == pytest.approx([math.hypot(x, y), z], abs=1e-6)


def turn_about(axis, degrees):
    """Rodrigues' rotation about a line, by scipy."""
    about = pose(np.radians(degrees) * axis.direction)
    about[:3, 3] = axis.point - about[:3, :3] @ axis.point
    return about


@pytest.mark.parametrize("seed", range(25))
def test_parts_that_move_together_keep_their_gap(seed):
    rng = np.random.default_rng(seed)
    kept = KeptGaps()
    a = GapPart("a", sphere((60, 5, 3), 12, 3), pose=random_pose(rng))
    b = GapPart(
        "b", box((0, 0, 0), (9, 8, 7)), pose=np.asarray(a.pose) @ pose((0, 0, 1), (20, 0, 4))
    )
    pair_gaps([a, b], kept=kept)
    by = random_pose(rng)
    both = [moved_part(a, by), moved_part(b, by)]
    check_carried(pair_gaps(both, kept=kept)[0], pair_gaps(both)[0], *both)


@pytest.mark.parametrize("first_turns", [True, False])
@pytest.mark.parametrize("seed", range(25))
def test_turning_pair_keeps_its_gap_about_and_along_the_axis(seed, first_turns):
    rng = np.random.default_rng(seed)
    kept = KeptGaps()
    a = GapPart("a", box((70, -9, 0), (95, 12, 9)), first_turns, pose((0.1, 0, 0.3), (1, 2, 3)))
    b = GapPart("b", sphere((60, 5, 33), 12, 3), not first_turns, pose((0, 0.1, 0), (4, 0, 0)))
    axis = Axis.through(rng.uniform(-5, 5, 3), (0.05, -0.02, 1.0))
    pair_gaps([a, b], axis=axis, kept=kept)
    along = np.eye(4)
    along[:3, 3] = rng.uniform(-40, 40) * axis.direction
    one = moved_part(a, along @ turn_about(axis, rng.uniform(0, 360)))
    two = moved_part(b, along @ turn_about(axis, rng.uniform(0, 360)))
    found = pair_gaps([one, two], axis=axis, kept=kept)[0]
    check_carried(found, pair_gaps([one, two], axis=axis)[0], one, two, axis)
    # the whole corner somewhere else, its axis with it
    by = random_pose(rng)
    away = Axis.through(by[:3, :3] @ axis.point + by[:3, 3], by[:3, :3] @ axis.direction)
    one, two = moved_part(a, by), moved_part(b, by)
    found = pair_gaps([one, two], axis=away, kept=kept)[0]
    check_carried(found, pair_gaps([one, two], axis=away)[0], one, two, away)


def test_depth_is_carried_with_its_direction():
    kept = KeptGaps()
    a, b = GapPart("a", box((0, 0, 0), (20, 20, 20))), GapPart("b", box((18, 3, 3), (40, 12, 12)))
    pair_gaps([a, b], kept=kept)
    by = pose((0.3, -0.7, 1.1), (5, 60, -7))
    both = [moved_part(a, by), moved_part(b, by)]
    found = pair_gaps(both, kept=kept)[0]
    assert found.was_kept
    inside = found.gap.interference
    # 2 mm deep along x; the first comes free against x
    assert inside.depth_mm.lower <= 2.0 <= inside.depth_mm.upper + 1e-6
    assert inside.freeing_direction == pytest.approx(-by[:3, 0], abs=1e-9)


def test_open_surface_turned_against_the_other_is_asked_anew():
    # what an open surface surrounds may be told otherwise at another angle
    soup = random_soup(np.random.default_rng(3), 200, (60, 0, 0), 10, 3)
    kept = KeptGaps()
    parts = [GapPart("soup", soup), GapPart("ring", tube(90, 95, -9, 9, 60), True)]
    pair_gaps(parts, kept=kept)
    about = turn_about(pairs_module.Z_AXIS, 40.0)
    turned = [moved_part(parts[0], about), parts[1]]
    assert not pair_gaps(turned, kept=kept)[0].was_kept
    both = [moved_part(one, about) for one in parts]
    assert pair_gaps(both, kept=kept)[0].was_kept


def test_what_is_kept_is_bounded():
    kept = KeptGaps(most_pairs=3)
    still = GapPart("still", box((0, 0, 0), (1, 1, 1)))
    others = [GapPart("b", box((5 + k, 0, 0), (6 + k, 1, 1))) for k in range(5)]
    for other in others:
        pair_gaps([still, other], kept=kept)
    assert len(kept) == 3
    assert pair_gaps([still, others[4]], kept=kept)[0].was_kept
    assert not pair_gaps([still, others[0]], kept=kept)[0].was_kept
    for k in range(50):
        pair_gaps([still, moved_part(others[0], pose((0, 0, 0), (k, 0, 0)))], kept=kept)
    assert len(kept) <= 3 * 8
