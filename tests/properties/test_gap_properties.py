"""What must hold for any two meshes, whatever they look like."""

from __future__ import annotations

import numpy as np
import pytest
from gap_shapes import box, pose, random_soup
from hypothesis import given
from hypothesis import strategies as st

from clearturn.gap import Axis, State, still_gap, turning_gap
from clearturn.gap._reference import distance_by_halving
from clearturn.mesh import Mesh

SEEDS = st.integers(0, 2**32 - 1)
NUMBER = st.floats(-3, 3, allow_nan=False)


def pair(seed):
    """Two loose triangle soups, at least 8 mm apart along z and mixed in every other way."""
    rng = np.random.default_rng(seed)
    first = random_soup(rng, 12, (rng.uniform(0, 60), rng.uniform(-60, 60), 0), 10, 8)
    second = random_soup(rng, 12, (rng.uniform(-60, 60), 0, 44), 10, 8)
    return first, second


def span(gap):
    return gap.gap_mm.lower, gap.gap_mm.upper


@given(SEEDS)
def test_turning_interval_meets_the_slow_twin(seed):
    first, second = pair(seed)
    low, high = span(turning_gap(first, second))
    slow = distance_by_halving(first, second, turning=True, width_mm=0.02)
    assert low <= slow.upper + 1e-9
    assert high >= slow.lower - 1e-9


@given(SEEDS)
def test_still_interval_meets_the_slow_twin(seed):
    first, second = pair(seed)
    low, high = span(still_gap(first, second))
    slow = distance_by_halving(first, second, turning=False, width_mm=0.02)
    assert low <= slow.upper + 1e-9
    assert high >= slow.lower - 1e-9


@given(SEEDS)
def test_order_of_the_two_does_not_matter(seed):
    first, second = pair(seed)
    one, two = turning_gap(first, second), turning_gap(second, first, turns="first")
    assert span(one) == pytest.approx(span(two), abs=1e-3)
    assert one.state is two.state
    assert span(still_gap(first, second)) == pytest.approx(span(still_gap(second, first)), abs=1e-9)


@given(SEEDS)
def test_who_turns_does_not_matter(seed):
    first, second = pair(seed)
    one, two = turning_gap(first, second), turning_gap(first, second, turns="first")
    assert span(one) == span(two)


@given(SEEDS, st.tuples(NUMBER, NUMBER, NUMBER), st.tuples(NUMBER, NUMBER, NUMBER))
def test_moving_everything_changes_nothing(seed, turn, shift):
    first, second = pair(seed)
    move = pose(turn, np.array(shift) * 500)
    axis = Axis.through(move[:3, 3], move[:3, 2])
    here = turning_gap(first, second)
    there = turning_gap(first.moved(move), second.moved(move), axis=axis)
    assert there.gap_mm.lower <= here.gap_mm.upper + 1e-8
    assert there.gap_mm.upper >= here.gap_mm.lower - 1e-8
    still = still_gap(first, second).gap_mm.upper
    assert still_gap(first, second, pose_first=move, pose_second=move).gap_mm.upper == (
        pytest.approx(still, abs=1e-8)
    )


@given(SEEDS, st.floats(0, 360))
def test_turning_the_wheel_beforehand_changes_nothing(seed, degrees):
    first, second = pair(seed)
    low, high = span(turning_gap(first, second))
    turned = turning_gap(first, second.moved(pose((0, 0, np.radians(degrees)))))
    assert turned.gap_mm.lower <= high + 1e-9
    assert turned.gap_mm.upper >= low - 1e-9


@given(SEEDS, st.floats(0.01, 100))
def test_scaling_scales(seed, scale):
    first, second = pair(seed)
    tolerance = 1e-3
    low, high = span(turning_gap(first, second, tolerance_mm=tolerance))
    a, b = (Mesh(m.vertices * scale, m.faces) for m in (first, second))
    scaled = turning_gap(a, b, tolerance_mm=tolerance * scale)
    assert scaled.gap_mm.lower / scale <= high + 1e-7
    assert scaled.gap_mm.upper / scale >= low - 1e-7


@given(SEEDS, st.floats(0, 5), st.tuples(NUMBER, NUMBER, NUMBER))
def test_a_shift_takes_at_most_its_own_length_off_the_gap(seed, length, towards):
    first, second = pair(seed)
    step = np.array(towards)
    norm = np.linalg.norm(step)
    if norm < 1e-6:
        return
    moved = pose(shift=step / norm * length)
    for gap in (turning_gap, still_gap):
        before, after = gap(first, second), gap(first, second, pose_first=moved)
        assert after.gap_mm.upper >= before.gap_mm.lower - length - 1e-9
        assert after.gap_mm.lower <= before.gap_mm.upper + length + 1e-9


@given(SEEDS)
def test_full_turn_is_never_farther_than_standing_still(seed):
    first, second = pair(seed)
    turn, still = turning_gap(first, second), still_gap(first, second)
    assert turn.gap_mm.lower <= still.gap_mm.upper + 1e-9


@given(SEEDS, st.sampled_from([1e-1, 1e-2, 1e-4, 1e-7]))
def test_interval_is_as_narrow_as_asked(seed, tolerance):
    first, second = pair(seed)
    gap = turning_gap(first, second, tolerance_mm=tolerance)
    assert gap.state is State.APART
    assert gap.gap_mm.width <= tolerance * (1 + 1e-6) + 1e-11


@given(st.floats(0.2, 30), st.floats(0.2, 30))
def test_growing_a_box_by_d_takes_at_most_its_corner_off(grow, distance):
    # Every corner of the grown box moves by d * sqrt(3).
    still = box((0, 0, 0), (10, 10, 10))
    other = box((10 + distance, 0, 40), (30 + distance, 10, 60))
    grown = box((-grow, -grow, -grow), (10 + grow, 10 + grow, 10 + grow))
    before = turning_gap(still, other)
    after = turning_gap(grown, other)
    if after.state is State.APART:
        assert after.gap_mm.upper >= before.gap_mm.lower - grow * 3**0.5 - 1e-9
