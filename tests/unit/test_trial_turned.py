"""The wheel at one angle: gaps of simple blocks, and never less than over the full turn."""

from __future__ import annotations

import importlib.util
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from clearturn.check import check
from clearturn.errors import Cancelled, InputError
from clearturn.gap import turning_gap
from clearturn.job.file import parse_job
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.result import CheckResult, Motion, PairResult, PlacedPart
from clearturn.trial import gap_at_turn

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> CheckResult:
    folder = tmp_path_factory.mktemp("turned")
    return check(parse_job(json.dumps(made.write_corner(folder))).job, folder=folder)


def box(name: str, motion: Motion, low: tuple[float, ...], high: tuple[float, ...]) -> PlacedPart:
    shape = trimesh.creation.box(bounds=[low, high])
    return PlacedPart(name, "other", motion, Mesh(shape.vertices, shape.faces), "made up")


# A spoke along x, a block beside that line at y 20 to 40 and 20 mm inboard of it.
SPOKE = box("spoke", Motion.TURNS, (40.0, -10.0, 40.0), (200.0, 10.0, 60.0))
BLOCK = box("block", Motion.FIXED, (150.0, 20.0, -20.0), (180.0, 40.0, 20.0))


def of_blocks(result: CheckResult, *parts: PlacedPart) -> tuple[CheckResult, PairResult]:
    """The two parts as a checked corner, with their gap over the full turn."""
    first, second = parts
    turns = "first" if first.motion is Motion.TURNS else "second"
    gap = turning_gap(first.mesh, second.mesh, turns=turns)
    pair = replace(result.pairs[0], first=first.name, second=second.name, motion="turning",
                   gap=gap, estimate_mm=gap.gap_mm)  # fmt: skip
    return replace(result, parts=parts, pairs=(pair,)), pair


@pytest.mark.parametrize("parts", [(SPOKE, BLOCK), (BLOCK, SPOKE)], ids=["first", "second"])
@pytest.mark.parametrize(
    ("turn", "wanted"),
    [
        (0.0, math.hypot(10.0, 20.0)),
        (180.0, math.hypot(190.0, 10.0, 20.0)),
        (90.0, math.hypot(140.0, 0.0, 20.0)),  # along y, right-handed about z
        (-90.0, math.hypot(140.0, 60.0, 20.0)),
        (math.degrees(math.atan2(30.0, 165.0)), 20.0),  # over the block
    ],
)
def test_a_spoke_stands_off_a_block_by_its_closed_form(
    result: CheckResult, parts: tuple[PlacedPart, PlacedPart], turn: float, wanted: float
) -> None:
    corner, pair = of_blocks(result, *parts)
    found = gap_at_turn(corner, pair, turn)
    assert found.turn_deg == turn
    assert found.gap.gap_mm.lower <= wanted + 1e-9
    assert found.gap.gap_mm.upper == pytest.approx(wanted, abs=2e-3)
    assert found.estimate_mm == pytest.approx(wanted, abs=2e-3)
    # The places told are those of the parts as they stand, the spoke turned.
    apart = np.linalg.norm(found.gap.second_point_mm - found.gap.first_point_mm)
    assert apart == pytest.approx(wanted, abs=2e-3)


def test_parts_that_meet_at_some_angles_meet_there_and_nowhere_else(result: CheckResult) -> None:
    high = box("block", Motion.FIXED, (150.0, 20.0, -20.0), (180.0, 40.0, 45.0))
    corner, pair = of_blocks(result, SPOKE, high)
    assert gap_at_turn(corner, pair, 10.3).estimate_mm == 0.0
    away = gap_at_turn(corner, pair, 180.0)
    assert away.estimate_mm == pytest.approx(math.hypot(190.0, 10.0), abs=2e-3)


def test_at_no_angle_is_a_gap_less_than_over_the_turn(result: CheckResult) -> None:
    pairs = [one for one in result.pairs if one.motion == "turning" and one.margin_mm < 20.0]
    assert len(pairs) >= 3
    for pair in pairs:
        low, high = pair.estimate_mm.lower, pair.estimate_mm.upper
        least = (low + high) / 2
        worst = gap_at_turn(result, pair, pair.gap.turn_angle_deg)
        assert worst.estimate_mm == pytest.approx(least, abs=2e-3)
        for turn in range(0, 360, 40):
            found = gap_at_turn(result, pair, float(turn))
            assert found.gap.gap_mm.upper >= pair.gap.gap_mm.lower - 1e-9
            assert found.estimate_mm >= least - 2e-3


def test_what_does_not_turn_is_refused_and_it_can_be_cancelled(result: CheckResult) -> None:
    still = next(one for one in result.pairs if one.motion == "still")
    with pytest.raises(InputError, match="do not turn against each other"):
        gap_at_turn(result, still, 10.0)
    corner, pair = of_blocks(result, SPOKE, BLOCK)
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        gap_at_turn(corner, pair, 10.0, progress)
