"""Touching the corner as it stands: which part, where, and what is near."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from clearturn.corner.touched_part import touch_part
from clearturn.envelope.sweep import revolved
from clearturn.errors import Cancelled
from clearturn.gap.model import Gap, Interval, State
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.result import Motion, PairResult, PlacedPart, Verdict

# A barrel of inner radius 200; a block whose flat outer face lies at x = 180; a spoke at clock 90°
# before the wheel turns, its outboard face at z 60.
BARREL = PlacedPart(
    "barrel", "barrel", Motion.TURNS,
    revolved(np.array([(200.0, -50.0), (205.0, -50.0), (205.0, 60.0), (200.0, 60.0)]), 720),
    "made up",
)  # fmt: skip


def box(name: str, motion: Motion, low: tuple[float, ...], high: tuple[float, ...]) -> PlacedPart:
    made = trimesh.creation.box(bounds=[low, high])
    return PlacedPart(name, "other", motion, Mesh(made.vertices, made.faces), "made up")


BLOCK = box("block", Motion.FIXED, (150.0, -40.0, -20.0), (180.0, 40.0, 20.0))
SPOKE = box("spoke", Motion.TURNS, (40.0, -10.0, 40.0), (200.0, 10.0, 60.0))
PARTS = (BARREL, BLOCK, SPOKE)


def judged(first: PlacedPart, second: PlacedPart, motion: str) -> PairResult:
    one = np.zeros(3)
    gap = Gap(State.APART, Interval(1.0, 1.0), one, one, 0, 0, one)
    return PairResult(
        first.name, second.name, "other", motion, gap, 0.0, Interval(1.0, 1.0), (), 0.0,
        Interval(1.0, 1.0), (), 0.1, 1.0, 1.0, 1.0, Verdict.CLEARS, 0.0, 0.0, 0.0,
    )  # fmt: skip


PAIRS = (judged(BLOCK, BARREL, "turning"), judged(BLOCK, SPOKE, "turning"))


def test_a_face_of_a_standing_part_says_where_and_how_near_over_a_turn() -> None:
    # seen from above along −x, through the barrel's open end: the ray begins within the barrel
    found = touch_part(PARTS, PAIRS, (195.0, 30.0, 5.0), (-1.0, 0.0, 0.0))
    assert found is not None
    assert found.part is BLOCK
    assert found.place_mm == pytest.approx([180.0, 30.0, 5.0])
    assert found.r_mm == pytest.approx(math.hypot(180.0, 30.0))
    assert found.z_mm == pytest.approx(5.0)
    assert found.clock_deg == pytest.approx(math.degrees(math.atan2(180.0, 30.0)))
    assert found.proposal is not None
    assert found.proposal.feature == "plane"
    assert found.mesh.bounds[0] == pytest.approx([180.0, -40.0, -20.0])
    # 200 less its radius to the barrel; the spoke is 35 mm above it
    assert found.near is not None
    assert found.near.part == "barrel"
    assert found.near.turning
    assert found.near.distance_mm == pytest.approx(200.0 - math.hypot(180.0, 30.0), abs=0.003)


def test_a_turning_part_is_touched_where_it_is_seen() -> None:
    # turned by 90° right-handed about z the spoke points along y, to clock 0°
    assert touch_part((SPOKE,), PAIRS, (100.0, 0.0, 300.0), (0, 0, -1), turn_deg=90.0) is None
    found = touch_part(PARTS, PAIRS, (0.0, 120.0, 300.0), (0, 0, -1), turn_deg=90.0)
    assert found is not None
    assert found.part is SPOKE
    assert found.place_mm == pytest.approx([0.0, 120.0, 60.0])
    assert (found.r_mm, found.z_mm) == pytest.approx((120.0, 60.0))
    assert found.clock_deg % 360.0 == pytest.approx(0.0, abs=1e-9)
    assert found.mesh.bounds[0] == pytest.approx([-10.0, 40.0, 60.0])
    assert found.lines.outline is not None
    assert np.ptp(found.lines.outline[:, 1]) == pytest.approx(160.0)
    # the block turns past below: 40 mm from z 60 down to 20, at r ≥ 150 and so 30 mm farther out
    assert found.near is not None
    assert found.near.distance_mm == pytest.approx(math.hypot(30.0, 40.0), abs=0.01)


def test_only_what_is_judged_is_near_and_a_still_pair_is_not_turned() -> None:
    alone = touch_part(PARTS, (), (195.0, 30.0, 5.0), (-1.0, 0.0, 0.0))
    assert alone is not None
    assert alone.near is None
    other = box("clamp", Motion.FIXED, (180.0, 70.0, -20.0), (190.0, 80.0, 20.0))
    pairs = (judged(BLOCK, other, "still"),)
    found = touch_part((*PARTS, other), pairs, (195.0, 30.0, 5.0), (-1.0, 0.0, 0.0))
    assert found is not None
    assert found.near is not None
    assert not found.near.turning
    assert found.near.distance_mm == pytest.approx(40.0)


def test_what_is_cut_away_cannot_be_touched() -> None:
    origin, way = (165.0, 0.0, 300.0), (0.0, 0.0, -1.0)
    # kept is what lies below z 0: the block is met at the cut's far side, from within
    kept_below = (0.0, 0.0, 0.0, 0.0, 0.0, -1.0)
    found = touch_part(PARTS, PAIRS, origin, way, cut=kept_below)
    assert found is not None
    assert found.place_mm == pytest.approx([165.0, 0.0, -20.0])
    # kept is what lies above z 50: the line leaves it before the block, and meets the spoke alone
    found = touch_part(PARTS, PAIRS, origin, way, cut=(0.0, 0.0, 50.0, 0.0, 0.0, 1.0))
    assert found is not None
    assert found.part is SPOKE
    assert touch_part((BLOCK,), PAIRS, origin, way, cut=(0, 0, 50.0, 0, 0, 1.0)) is None
    # a line that begins in what is cut away and never leaves it
    assert touch_part(PARTS, PAIRS, origin, way, cut=(0, 0, 400.0, 0, 0, 1.0)) is None
    assert touch_part(PARTS, PAIRS, origin, way, cut=(200.0, 0, 0, 1.0, 0, 0)) is None


def test_beside_everything_nothing_is_touched_and_it_can_be_cancelled() -> None:
    assert touch_part(PARTS, PAIRS, (0.0, 0.0, 300.0), (0.0, 0.0, -1.0)) is None
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        touch_part(PARTS, PAIRS, (195.0, 30.0, 5.0), (-1.0, 0.0, 0.0), progress=progress)
