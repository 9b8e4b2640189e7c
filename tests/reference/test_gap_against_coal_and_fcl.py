"""The gap engine against two general collision libraries from the registries: coal and python-fcl.

Both step the turn.  A stepped minimum never lies below the true one, and above it by no more than
half a step of the wheel's outermost point: |gap(θ) - gap(θ')| ≤ r |θ - θ'|.
"""

from __future__ import annotations

import math

import coal
import numpy as np
import pytest
from collision_oracles import about_z, coal_distance, coal_model, fcl_distance
from gap_shapes import box, lathe, pose, spoked_wheel, together

from clearturn.gap import State, still_gap, turning_gap

STEPS = 3600


def caliper(seed):
    """A block with a tip, at a random place under the spokes."""
    rng = np.random.default_rng(seed)
    body = box((120, -40, -60), (180, 40, rng.uniform(8, 14)))
    tip = lathe([(0.01, 0), (2, 0), (0.01, rng.uniform(2, 5))], 12)
    at = (rng.uniform(130, 170), rng.uniform(-30, 30), body.vertices[:, 2].max() - 0.5)
    return together([body, tip.moved(pose(shift=at))]).moved(
        pose(rng.normal(0, 0.02, 3), rng.normal(0, 1, 3))
    )


@pytest.mark.parametrize("seed", range(6))
def test_full_turn_is_never_above_coal_and_below_it_by_no_more_than_the_step(seed):
    wheel = spoked_wheel(205, 5 + seed % 3, 22, 22, 34)
    part = caliper(seed)
    gap = turning_gap(part, wheel)
    assert gap.state is State.APART
    a, b = coal_model(part), coal_model(wheel)
    best = math.inf
    result = coal.DistanceResult()
    for k in range(STEPS):
        best = min(best, coal_distance(a, b, about_z(2 * math.pi * k / STEPS), result))
    reach = float(np.hypot(part.vertices[:, 0], part.vertices[:, 1]).max())
    bound = reach * math.pi / STEPS
    assert gap.gap_mm.lower <= best + 1e-9
    assert gap.gap_mm.upper >= best - bound - 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_at_the_witness_angle_coal_finds_the_same_gap(seed):
    wheel = spoked_wheel(205, 5, 22, 22, 34)
    part = caliper(seed)
    gap = turning_gap(part, wheel)
    there = coal_distance(
        coal_model(part), coal_model(wheel), about_z(math.radians(gap.turn_angle_deg))
    )
    assert gap.gap_mm.lower - 1e-9 <= there <= gap.gap_mm.upper + 1e-9


@pytest.mark.parametrize("seed", range(20))
def test_random_angles_in_coal_are_never_below_the_lower_end(seed):
    rng = np.random.default_rng(seed)
    wheel = spoked_wheel(205, 5, 22, 22, 34)
    part = caliper(100 + seed)
    lower = turning_gap(part, wheel).gap_mm.lower
    a, b = coal_model(part), coal_model(wheel)
    for angle in rng.uniform(0, 2 * math.pi, 30):
        assert coal_distance(a, b, about_z(angle)) >= lower - 1e-9


@pytest.mark.parametrize("seed", range(10))
def test_still_gap_equals_coal_and_fcl(seed):
    rng = np.random.default_rng(seed)
    wheel = spoked_wheel(205, 5, 22, 22, 34)
    turn = rng.uniform(0, 2 * math.pi)
    part = caliper(seed)
    ours = still_gap(part, wheel, pose_second=pose((0, 0, turn))).gap_mm
    theirs = coal_distance(coal_model(part), coal_model(wheel), about_z(turn))
    assert ours.lower <= theirs <= ours.upper + 1e-9
    assert ours.upper == pytest.approx(theirs, abs=1e-9)
    assert ours.upper == pytest.approx(fcl_distance(part, wheel, about_z(turn)), abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_verified_freeing_shift_frees_in_coal_and_a_shorter_one_than_the_depth_does_not(seed):
    wheel = spoked_wheel(205, 5, 22, 22, 34)
    part = caliper(seed).moved(pose(shift=(0, 0, 17 + seed)))
    gap = turning_gap(part, wheel)
    assert gap.state is State.INTERFERING
    depth = gap.interference.depth_mm
    step = gap.interference.freeing_direction * depth.upper
    b = coal_model(wheel)
    freed = coal_model(part.moved(pose(shift=step)))
    short = coal_model(part.moved(pose(shift=step / depth.upper * depth.lower * 0.98)))
    angles = [about_z(2 * math.pi * k / 720) for k in range(720)]
    assert min(coal_distance(freed, b, a) for a in angles) > 0
    assert min(coal_distance(short, b, a) for a in angles) <= 0
