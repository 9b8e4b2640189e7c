"""The march of a cure against a fine scan in the meridian plane, done by another library.

A block that stands square to its radius and a body of revolution have plane images: a rectangle
and a polygon.  shapely gives their distance and whether they overlap; the first amount that clears
is read off a scan in hundredths.  The bodies' facets lie off the circle by at most
200 mm · (1 − cos(π / 720)) = 0.002 mm, for which the requirement is taken 0.004 mm less and more.
"""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest
import shapely
from gap_shapes import box, lathe

from clearturn.corner.pairs import PairSpec
from clearturn.gap import State
from clearturn.job.judging import AllowanceEntry, CureLimits, VerdictSettings
from clearturn.result import Motion, PlacedPart, Verdict
from clearturn.verdict import judge_pairs
from clearturn.verdict.after import STEP_MM, after, margin_after
from clearturn.verdict.changes import Change, Move, changes_for
from clearturn.verdict.cures import march
from clearturn.verdict.every import judge_all

MOST = 25.0


def sector(name, kind, low, high):
    """A fixed block at clock 90°."""
    return PlacedPart(name, kind, Motion.FIXED, box(low, high), "dimensions")


def turned(name, kind, profile, turns=96):
    """A turning body of revolution."""
    return PlacedPart(name, kind, Motion.TURNS, lathe(profile, turns), "dimensions")


def settings(**limits):
    return VerdictSettings(cures=CureLimits(**limits), wheel_parts=("spokes", "barrel"))


def image(low, high, inward=0.0, axial=0.0, radial=0.0):
    """The rectangle a block sweeps, moved along its radius, along the axis or trimmed."""
    outer = math.hypot(high[0] - inward, high[1])
    r0, r1 = low[0] - inward - radial, outer - radial
    return shapely.box(r0, low[2] + axial, r1, high[2] + axial)


def first_clear(block, profile, required, word):
    """The first amount in hundredths at which the images keep the requirement, or None."""
    body = shapely.Polygon(profile)
    for s in np.arange(0.0, MOST + 0.005, 0.01):
        moved = {
            "spacer": {"axial": -s},
            "trim caliper": {"radial": s},
            "move caliper inward": {"inward": s},
        }[word]
        there = image(*block, **moved)
        if not there.intersects(body) and there.distance(body) >= required:
            return float(s)
    return None


def tapered(rng):
    """A barrel that narrows inboard, with a groove: it crosses the block and opens on the way."""
    r0, r1 = rng.uniform(178, 186), rng.uniform(188, 200)
    at, wide = rng.uniform(-6, 4), rng.uniform(3, 9)
    deep = rng.uniform(4, 14)
    slope = (r1 - r0) / 130

    def inner(z):
        return r0 + slope * (z + 90)

    groove = [(inner(at), at), (inner(at) + deep, at + 0.3 * wide), (inner(at) + deep, at + wide),
              (inner(at + 1.3 * wide), at + 1.3 * wide)]  # fmt: skip
    profile = [(r0, -90), *groove, (r1, 40), (225, 40), (225, -90)]
    block = ([150, -3, 16], [inner(17) + rng.uniform(0.5, 5), 3, rng.uniform(17, 19)])
    return "barrel", profile, block


def humped(rng):
    """A spoke's back with a hump over the block's outboard face."""
    z, hump = rng.uniform(12, 18), rng.uniform(1, 8)
    at = rng.uniform(120, 160)
    profile = [(70, z), (at - 20, z), (at, z - hump), (at + 20, z), (190, z - 2), (190, 40),
               (70, 40)]  # fmt: skip
    block = ([at - 15, -4, -30], [at + rng.uniform(5, 30), 4, rng.uniform(14, 24)])
    return "spokes", profile, block


@pytest.mark.parametrize("seed", range(24))
def test_march_equals_a_scan_in_hundredths(seed):
    rng = np.random.default_rng(seed)
    kind, profile, block = (tapered, humped)[seed % 2](rng)
    required = float(rng.choice([0.5, 1.5, 3.0]))
    parts = [sector("caliper", "caliper", *block), turned(kind, kind, profile, 720)]
    chosen = settings(spacer_most_mm=MOST, trim_most_mm=MOST, caliper_inward_most_mm=MOST)
    judged = judge_all(parts, [PairSpec("caliper", kind, kind, "turning", required)], chosen, {})
    assert judged[0].result.gap.state is State.INTERFERING
    outward = np.array([1.0, 0.0, 0.0])
    for change in changes_for((parts[0], parts[1]), outward, parts, chosen):
        if change.word not in ("spacer", "trim caliper", "move caliper inward"):
            continue
        found = march(judged, change, chosen)
        sooner = first_clear(block, profile, required - 0.004, change.word)
        later = first_clear(block, profile, required + 0.004, change.word)
        if found is None:
            assert later is None, change.word
            continue
        assert sooner is not None, change.word
        assert found >= sooner - 0.01, change.word
        if later is not None:
            assert found <= later + STEP_MM, change.word
        assert margin_after(judged[0], change, found, chosen) >= 0


def test_a_part_wholly_inside_is_marched_out():
    # A block z 10 … 30 inside a disc z 5 … 45: 30 + 4 − 5 = 29 mm of spacer free it by 4 mm.
    parts = [
        sector("caliper", "caliper", [100, -5, 10], [150, 5, 30]),
        turned("spokes", "spokes", [(70, 5), (180, 5), (180, 45), (70, 45)], 720),
    ]
    chosen = settings(spacer_most_mm=40.0)
    spec = PairSpec("caliper", "spokes", "caliper–spokes", "turning", 4.0)
    (found,) = judge_pairs(parts, [spec], chosen)
    assert found.gap.interference.contained == "first in second"
    (spacer,) = [cure for cure in found.would_clear if cure.change == "spacer"]
    assert spacer.amount_mm == pytest.approx(29.0, abs=0.01 + STEP_MM)


def test_a_groove_that_the_freeing_shift_passes_over_is_not_stepped_over():
    # A pip at z 12.9 … 13.1, r to 195, in a barrel of inner radius 190 with a groove of 198 at
    # heights −1 … 6: a spacer brings it over the pip from 13.1 − 6 + 1 = 8.1 mm on (1 mm asked).
    profile = [(190, -90), (190, -1), (198, -1), (198, 6), (190, 6), (190, 60), (208, 60),
               (208, -90)]  # fmt: skip
    parts = [
        sector("caliper", "caliper", [150, -1, 12.9], [195, 1, 13.1]),
        turned("barrel", "barrel", profile, 720),
    ]
    chosen = settings(spacer_most_mm=30.0)
    spec = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 1.0)
    (found,) = judge_pairs(parts, [spec], chosen)
    (spacer,) = [cure for cure in found.would_clear if cure.change == "spacer"]
    assert spacer.amount_mm == pytest.approx(8.1, abs=0.01 + STEP_MM)


def test_allowances_that_differ_by_direction_do_not_make_it_step_over():
    # As the groove passes, the nearest place is radial first and axial then; only radially an
    # eccentricity of 1.2 mm costs.  The scan is the same margin, in hundredths.
    profile = [(192, -90), (192, -1), (198, 0.5), (198, 6), (192, 8), (192, 60), (208, 60),
               (208, -90)]  # fmt: skip
    parts = [
        sector("caliper", "caliper", [150, -1, 10.9], [191, 1, 11.1]),
        turned("barrel", "barrel", profile, 96),
    ]
    off = AllowanceEntry("off centre", 1.2, "radial", "always costs", "test", part="barrel")
    chosen = replace(settings(spacer_most_mm=12.0), allowances=(off,))
    spec = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 1.0)
    judged = judge_all(parts, [spec], chosen, {})
    change = next(
        c for c in changes_for((parts[0], parts[1]), np.array([1.0, 0, 0]), parts, chosen)
        if c.word == "spacer"
    )  # fmt: skip
    amount = march(judged, change, chosen)
    clear = (
        float(s) for s in np.arange(0, 12, 0.01) if margin_after(judged[0], change, s, chosen) >= 0
    )
    first = next(clear)
    assert first - 0.01 - STEP_MM <= amount <= first + STEP_MM


def test_absurd_limits_are_cut_to_the_size_of_the_corner():
    # A spoke back that a caliper's move along its radius never opens, with 100 km allowed.
    parts = [
        sector("caliper", "caliper", [130, -5, -60], [190, 5, 20]),
        turned("spokes", "spokes", [(0.5, 18), (250, 18), (250, 26), (0.5, 26)]),
        turned("rotor", "rotor", [(60, 8), (60, -55), (125, -55), (125, 0), (65, 0), (65, 8)]),
    ]
    far = 1e8
    chosen = settings(
        spacer_most_mm=far, caliper_inward_most_mm=far, trim_most_mm=far, rotor_offset_most_mm=far,
        smaller_rotor_most_mm=far,
    )  # fmt: skip
    spec = PairSpec("caliper", "spokes", "caliper–spokes", "turning", 4.0)
    start = time.process_time()
    (found,) = judge_pairs(parts, [spec], chosen)
    assert time.process_time() - start < 60.0
    by_word = {cure.change: cure for cure in found.would_clear}
    assert by_word["spacer"].amount_mm == pytest.approx(6.0, abs=0.01 + STEP_MM)
    assert "move caliper inward" not in by_word


def test_parts_that_meet_are_not_said_to_clear():
    parts = [
        sector("caliper", "caliper", [130, -5, -60], [190, 5, 20]),
        turned("spokes", "spokes", [(70, 18), (180, 18), (180, 26), (70, 26)]),
    ]
    chosen = settings()
    judged = judge_all(
        parts, [PairSpec("caliper", "spokes", "caliper–spokes", "turning", 4.0)], chosen, {}
    )
    assert judged[0].result.verdict is Verdict.FAILS
    spacer = Change("spacer", 15.0, {"spokes": Move(along=np.array([0.0, 0.0, 1.0]))})
    still_in = after(judged[0], spacer, 1.0, chosen)
    # 1 mm of the 2 mm overlap is left, and 4 mm are asked: at least 4 mm more, at most 5.
    assert still_in.meets
    assert not still_in.clears
    assert 3.99 <= still_in.missing_mm <= 5.0 + 1e-9


def test_shifts_that_free_are_told_of_pairs_that_meet_and_not_looked_for_elsewhere():
    parts = [
        sector("caliper", "caliper", [100, -5, 10], [150, 5, 30]),
        turned("spokes", "spokes", [(70, 25), (180, 25), (180, 45), (70, 45)], 720),
        turned("barrel", "barrel", [(160, -90), (170, -90), (170, 0), (160, 0)], 96),
    ]
    chosen = settings()
    specs = [
        PairSpec("caliper", "spokes", "caliper–spokes", "turning", 4.0),
        PairSpec("caliper", "barrel", "caliper–barrel", "turning", 3.0),
    ]
    meets, clear = judge_pairs(parts, specs, chosen)
    assert clear.gap.interference is None
    found = {one.way: one.shift_mm for one in meets.gap.interference.shifts}
    # The block's face at z 30 lies 5 mm inside the disc from z 25 on; 0.01 mm are left.
    assert found["inboard"].lower <= 5.01 <= found["inboard"].upper < 5.02
    # Outboard it must pass z 45 with its face at z 10: farther than is looked for.
    assert found["outboard"].upper is None
    assert found["outboard"].lower > 30.0
    # What judges pairs for cures, ways of tools and trials has no use for them.
    judged = judge_all(parts, specs, chosen, {})
    assert judged[0].result.gap.interference.shifts == ()
