"""Least shifts that free a pair, each way, against closed forms and against steps with coal."""

from __future__ import annotations

import math

import numpy as np
import pytest
from collision_oracles import about_z, coal_distance, coal_model
from gap_shapes import box, lathe, sphere, tube

from clearturn.errors import Cancelled
from clearturn.gap import still_gap, turning_gap
from clearturn.gap.freeing import ROOM_MM
from clearturn.mesh import Mesh
from clearturn.progress import Progress

#: Width of the intervals where nothing is hard: twice the tolerance, and rounding.
NEAR_MM = 0.0021


def ways(gap):
    return {one.way: one.shift_mm for one in gap.interference.shifts}


def both_orders(part, other):
    yield turning_gap(part, other, freeing=True), "first"
    yield turning_gap(other, part, turns="first", freeing=True), "second"


def holds(shift, least, width=NEAR_MM):
    """Whether an interval is narrow and holds the least shift that leaves the room asked for."""
    assert shift.lower <= least + ROOM_MM + 1e-9
    assert shift.upper >= least + ROOM_MM - 1e-9
    assert shift.upper - shift.lower <= width


def test_block_in_a_barrel_is_freed_by_closed_forms_in_either_order():
    part, barrel = box((150, -5, -40), (202, 5, 40)), tube(200, 210, -50, 50, 360)
    dip = 200 * math.cos(math.pi / 360)  # the middle of a facet of the barrel's inside
    answers = []
    for gap, moves in both_orders(part, barrel):
        found = ways(gap)
        # Moved in by s a corner must pass at hypot(202 - s, 5) = dip - room.
        inward = 202 - math.sqrt((dip - ROOM_MM) ** 2 - 25)
        holds(found["inward"], inward - ROOM_MM)
        # Moved out the face at x = 150 + s must pass the barrel's outer corners at 210.
        holds(found["outward"], 60.0, width=0.01)
        # Along the axis one end of the block must pass the far end of the barrel: 40 + 50.
        holds(found["outboard"], 90.0)
        holds(found["inboard"], 90.0)
        assert {one.moves for one in gap.interference.shifts} == {moves}
        assert gap.interference.hits_deg == ((0.0, 360.0),)
        answers.append([(s.way, s.shift_mm, tuple(s.direction)) for s in gap.interference.shifts])
    assert answers[0] == answers[1]


def test_ball_in_the_wall_of_a_tube_must_leave_it_whole():
    ring, ball = tube(100, 200, 0, 100, 90), sphere((150, 0, 50), 10, level=2)
    top = ball.vertices[:, 2].max() - 50
    for gap, _ in both_orders(ball, ring):
        assert gap.interference.contained != "none"
        holds(ways(gap)["outboard"], 50 + top)
        holds(ways(gap)["inboard"], 50 + top)
        # All round, a part wholly in the other hits too though no surface crosses.
        assert gap.interference.hits_deg == ((0.0, 360.0),)


def test_rings_about_one_axis_come_free_along_it_alone():
    one, other = tube(60, 80, 0, 20, 200), tube(70, 90, 15, 40, 200)
    found = ways(turning_gap(one, other, freeing=True))
    assert set(found) == {"outboard", "inboard"}  # a turned part has no radius of its own
    holds(found["inboard"], 5.0)
    holds(found["outboard"], 40.0)


def test_block_in_a_groove_may_go_along_it_and_not_across():
    # A groove of 12 between flanges of a wheel, the block as wide as 13: in z either flange is in
    # the way until the block is past it, outward it is free once past the rim.
    wheel = lathe([(20, -30), (60, -30), (60, -6), (40, -6), (40, 6), (60, 6), (60, 30), (20, 30)],
                  360)  # fmt: skip
    block = box((45, -4, -6.5), (75, 4, 6.5))
    gap = turning_gap(block, wheel, freeing=True)
    found = ways(gap)
    holds(found["outboard"], 36.5)
    holds(found["inboard"], 36.5)
    # The block's inner face has y from -4 to 4: it is past the rim of 60 with its middle.
    holds(found["outward"], 15.0, width=0.02)


def test_block_between_still_parts_is_moved_along_the_axes_of_the_frame():
    gap = still_gap(box((0, 0, 0), (10, 10, 10)), box((7, -20, -20), (30, 30, 30)), freeing=True)
    holds(ways(gap)["outboard"], 30.0)
    holds(ways(gap)["inboard"], 30.0)
    # Towards the axis along the block's own radius, which lies at 45°: 3 / cos 45°.
    inward = ways(gap)["inward"]
    assert inward.lower <= 3 * math.sqrt(2) + ROOM_MM * math.sqrt(2) + 1e-9
    assert inward.upper >= 3 * math.sqrt(2) + ROOM_MM * math.sqrt(2) - 1e-9
    assert inward.upper - inward.lower < 0.02


@pytest.mark.parametrize("seed", range(3))
def test_no_step_below_the_interval_frees_and_its_upper_end_does(seed):
    """Source of truth: the general collision library coal, asked at steps of shift and angle."""
    rng = np.random.default_rng(seed)
    lobes = join_boxes(rng, 5)
    block = box((38, -6, -5), (60, 6, 5))
    gap = turning_gap(block, lobes, freeing=True)
    assert gap.interference is not None
    model = coal_model(lobes)
    angles = [about_z(math.radians(a)) for a in range(0, 360, 3)]

    def least(step):
        moved = coal_model(Mesh(block.vertices + step, block.faces))
        return min(coal_distance(moved, model, turn) for turn in angles)

    for one in gap.interference.shifts:
        if one.shift_mm.upper is not None:
            # Angles between the steps may come nearer, never farther.
            assert least(one.shift_mm.upper * one.direction) >= ROOM_MM - 1e-6
        ends = np.linspace(0.0, one.shift_mm.lower, 12)[:-1]
        for shift in ends:
            still = turning_gap(
                Mesh(block.vertices + shift * one.direction, block.faces), lobes, depth=False
            )
            assert (still.gap_mm.lower or 0.0) < ROOM_MM


def join_boxes(rng, count):
    """Blocks that stick out of a hub at several heights and angles."""
    from clearturn.mesh import join

    made = [tube(10, 20, -30, 30, 48)]
    for k in range(count):
        long = float(rng.uniform(35, 50))
        low = float(rng.uniform(-20, 10))
        spoke = box((15, -3, low), (long, 3, low + float(rng.uniform(4, 12))))
        turn = about_z(2 * math.pi * (k + float(rng.uniform(0, 0.5))) / count)
        made.append(Mesh(spoke.vertices @ turn.T, spoke.faces))
    return join(made)


def test_hits_are_told_where_spokes_pass_through():
    # Two thin blades at 0° and 180° against a block at 90° (+y): they hit when turned by ±90°.
    blade = box((20, -0.5, -5), (50, 0.5, 5))
    other = Mesh(blade.vertices * [-1, -1, 1], blade.faces)
    from clearturn.mesh import join

    block = box((-4, 40, -2), (4, 60, 2))
    gap = turning_gap(block, join([blade, other]), freeing=True)
    # A blade of half width 0.5 meets the block's corner (4, 40) at asin of 4 and 0.5 over it.
    reach = math.degrees(math.asin(4 / math.hypot(4, 40)) + math.asin(0.5 / math.hypot(4, 40)))
    (low, high), (low2, high2) = gap.interference.hits_deg
    assert (low, high) == pytest.approx((90 - reach, 90 + reach), abs=0.05)
    assert (low2, high2) == pytest.approx((270 - reach, 270 + reach), abs=0.05)


def test_shifts_longer_than_asked_are_told_as_at_least_so_long():
    from clearturn.gap import Z_AXIS
    from clearturn.gap.freeing import with_freeing

    part, barrel = box((150, -5, -40), (202, 5, 40)), tube(200, 210, -50, 50, 90)
    gap = turning_gap(part, barrel)
    same = np.eye(4)
    told = with_freeing(
        gap, part, barrel, same, same, ("second", Z_AXIS), tolerance_mm=1e-3, most_mm=20.0
    )
    found = ways(told)
    assert found["inward"].upper < 3
    for way in ("outward", "outboard", "inboard"):
        assert found[way].upper is None
        assert 20.0 < found[way].lower <= {"outward": 60.1}.get(way, 90.1)


def test_open_surfaces_have_angles_and_no_shift():
    sheet = Mesh([(-50, -50, 0), (50, -50, 0), (50, 50, 0), (-50, 50, 0)], [(0, 1, 2), (0, 2, 3)])
    inside = turning_gap(box((10, 10, -5), (20, 20, 5)), sheet, freeing=True).interference
    assert inside.shifts == ()
    assert inside.hits_deg == ((0.0, 360.0),)


def test_neither_is_told_unless_asked_for_nor_of_parts_apart():
    part, barrel = box((150, -5, -40), (202, 5, 40)), tube(200, 210, -50, 50, 90)
    inside = turning_gap(part, barrel).interference
    assert inside.shifts == inside.hits_deg == ()
    apart = turning_gap(box((150, -5, -40), (190, 5, 40)), barrel, freeing=True)
    assert apart.interference is None


def test_shifts_have_the_same_bits_on_one_and_two_threads(monkeypatch):
    rng = np.random.default_rng(7)
    lobes, block = join_boxes(rng, 4), box((30, -6, -5), (60, 6, 5))
    found = []
    for count in ("1", "2"):
        monkeypatch.setenv("CLEARTURN_THREADS", count)
        inside = turning_gap(block, lobes, freeing=True).interference
        found.append([(s.way, s.shift_mm, tuple(s.direction)) for s in inside.shifts])
        found[-1].append(inside.hits_deg)
    assert found[0] == found[1]


def test_looking_for_shifts_can_be_cancelled():
    part, barrel = box((150, -5, -40), (202, 5, 40)), tube(200, 210, -50, 50, 90)
    progress = Progress(lambda _fraction, text: progress.cancel() if "moved" in text else None)
    with pytest.raises(Cancelled):
        turning_gap(part, barrel, freeing=True, progress=progress)
