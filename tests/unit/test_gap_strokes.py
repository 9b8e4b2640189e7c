"""Angles at which a turning part hits, against angles worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from gap_shapes import box, pose, together, tube

from clearturn.errors import InputError
from clearturn.gap import hitting_strokes


def spoke(angle_deg):
    return box((20, -5, 0), (100, 5, 10)).moved(pose((0, 0, math.radians(angle_deg))))


def test_a_post_is_hit_where_the_spoke_s_flanks_pass_its_corners():
    # A post 10 wide from r = 80 on has inner corners at (80, ±5), r = hypot(80, 5), and the spoke's
    # flanks run 5 mm from its middle line: the far corner is met asin(5 / r) + asin(5 / r) before
    # the middle.  The spoke's outer corners meet the post's flanks by the same sum with r =
    # hypot(100, 5), which is less.
    post = box((80, -5, 2), (120, 5, 8))
    (stroke,) = hitting_strokes(post, spoke(90), step_deg=2.0)
    reach = math.degrees(max(2 * math.asin(5 / math.hypot(80, 5)), 2 * math.asin(5 / 100.125)))
    assert stroke.from_deg == pytest.approx(270 - reach, abs=0.05)
    assert stroke.to_deg == pytest.approx(270 + reach, abs=0.05)


def test_five_spokes_make_five_strokes_and_turning_the_other_part_mirrors_them():
    post = box((80, -5, 2), (120, 5, 8))
    wheel = together([spoke(72 * k + 10) for k in range(5)])
    forth = hitting_strokes(post, wheel)
    middles = sorted(((s.from_deg + s.to_deg) / 2) % 360 for s in forth)
    assert middles == pytest.approx([62 + 72 * k for k in range(5)], abs=0.05)
    back = hitting_strokes(post, wheel, turns="first")
    middles = sorted(((s.from_deg + s.to_deg) / 2) % 360 for s in back)
    assert middles == pytest.approx([10 + 72 * k for k in range(5)], abs=0.05)


def test_a_ring_is_hit_all_round_and_a_free_one_nowhere():
    post = box((80, -5, 2), (120, 5, 8))
    (stroke,) = hitting_strokes(post, tube(90, 110, 0, 10, 120), step_deg=10)
    assert (stroke.from_deg, stroke.to_deg) == (0.0, 360.0)
    assert hitting_strokes(post, tube(130, 150, 0, 10, 120), step_deg=10) == ()


def test_a_step_that_is_no_step_is_refused():
    for step in (0.0, -1.0, 91.0, np.nan):
        with pytest.raises(InputError, match="step"):
            hitting_strokes(spoke(0), spoke(90), step_deg=step)
