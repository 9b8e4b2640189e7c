"""A part moved along its freedom: the gaps of the made-up corner follow their closed forms."""

from __future__ import annotations

import importlib.util
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clearturn.check import check
from clearturn.corner.mirror import mirrored_mesh
from clearturn.drawing import swept_outline
from clearturn.envelope import caliper_mesh
from clearturn.errors import Cancelled, InputError
from clearturn.gap import State
from clearturn.job.edits import corner_of, put, with_corner
from clearturn.job.file import parse_job
from clearturn.job.model import Job, MeshFile
from clearturn.progress import Progress
from clearturn.result import CheckResult
from clearturn.trial import (
    Freedom,
    freedoms,
    gap_there,
    held_at,
    moved_by,
    moved_outlines,
    number_of,
    trial_gaps,
    tried,
)

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]

BARREL_GAP = made.BARREL_RADIUS - made.CALIPER_OUTER_RADIUS
SPOKE_GAP = made.FLANGE_MM + made.SPOKE_BACK_Z - (made.OUTBOARD_WIDTH_MM - made.HAT_OFFSET_MM)
WHEEL_CHORD_MM = made.BARREL_RADIUS * (1 - np.cos(np.pi / 169)) + 0.011  # and the caliper's own
STORED_MM = 2e-3  # STL's single precision, and the width of the certified interval


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("trial")


@pytest.fixture(scope="module")
def result(folder: Path) -> CheckResult:
    return check(parse_job(json.dumps(made.write_corner(folder))).job, folder=folder)


def freedom(result: CheckResult, name: str) -> Freedom:
    return next(one for one in freedoms(result) if one.name == name)


def gaps(result: CheckResult, name: str, by_mm: float) -> dict[tuple[str, str], Any]:
    found = trial_gaps(result, freedom(result, name), by_mm)
    return {(one.before.first, one.before.second): one for one in found}


def upper(found: dict[tuple[str, str], Any], *names: str) -> float:
    (one,) = [gap for pair, gap in found.items() if set(pair) == set(names)]
    return float(one.gap.gap_mm.upper)


def test_freedoms_are_those_of_caliper_rotor_and_wheel(result: CheckResult) -> None:
    found = {one.name: one for one in freedoms(result)}
    assert list(found) == ["caliper in and out", "rotor offset", "spacer"]
    assert found["caliper in and out"].parts == ("caliper",)
    assert found["rotor offset"].parts == ("rotor", "caliper")
    assert set(found["spacer"].parts) == {
        part.name for part in result.parts if part.kind in ("wheel", "barrel", "spokes")
    }


@pytest.mark.parametrize("by_mm", [-2.5, 0.0, 1.3, 9.0])
def test_caliper_moved_out_nears_the_barrel_by_as_much(result: CheckResult, by_mm: float) -> None:
    found = gaps(result, "caliper in and out", by_mm)
    one = next(gap for pair, gap in found.items() if "barrel" in " ".join(pair))
    if by_mm > BARREL_GAP:  # through the barrel's skin
        assert one.gap.state is State.TOUCHING
        return
    assert one.gap.gap_mm.upper == pytest.approx(BARREL_GAP - by_mm, abs=WHEEL_CHORD_MM)


@pytest.mark.parametrize("by_mm", [0.0, 2.0, 5.5])
def test_wheel_on_a_spacer_leaves_the_caliper_by_as_much(result: CheckResult, by_mm: float) -> None:
    found = gaps(result, "spacer", by_mm)
    assert upper(found, "caliper", "spokes") == pytest.approx(SPOKE_GAP + by_mm, abs=STORED_MM)


def test_offset_rotor_takes_a_caliper_made_from_dimensions_along(result: CheckResult) -> None:
    before, found = gaps(result, "rotor offset", 0.0), gaps(result, "rotor offset", 3.0)
    assert upper(found, "caliper", "spokes") == pytest.approx(SPOKE_GAP - 3.0, abs=STORED_MM)
    ring = upper(before, "caliper", "rotor")
    assert upper(found, "caliper", "rotor") == pytest.approx(ring, abs=STORED_MM)


@pytest.mark.parametrize(
    ("name", "by_mm"), [("spacer", 2.0), ("caliper in and out", 1.5), ("rotor offset", -2.0)]
)
def test_gap_tried_is_that_of_a_check_of_the_number_written(
    result: CheckResult, folder: Path, name: str, by_mm: float
) -> None:
    one = freedom(result, name)
    job = tried(result, result.job, one, by_mm)
    assert moved_by(result, job, one) == pytest.approx(by_mm, abs=1e-9)
    checked = {(p.first, p.second): p.gap.gap_mm for p in check(job, folder=folder).pairs}
    found = gaps(result, name, by_mm)
    assert len(found) >= 2
    for pair, gap in found.items():
        assert gap.gap.gap_mm.upper == pytest.approx(checked[pair].upper, abs=STORED_MM)


def test_parts_that_meet_are_told_as_touching_without_a_depth(result: CheckResult) -> None:
    found = gaps(result, "rotor offset", SPOKE_GAP + 3.0)
    one = next(gap for pair, gap in found.items() if set(pair) == {"caliper", "spokes"})
    assert one.gap.state is State.TOUCHING
    assert (one.estimate_mm, one.margin_mm) == (0.0, None)
    apart = gaps(result, "rotor offset", SPOKE_GAP - 0.02)
    assert upper(apart, "caliper", "spokes") == pytest.approx(0.02, abs=STORED_MM)


def test_pairs_left_out_keep_a_margin(result: CheckResult) -> None:
    found = gaps(result, "spacer", 1.0)
    for pair in result.pairs:
        if (pair.first, pair.second) not in found and {"spokes", "barrel"} & {
            pair.first, pair.second,
        }:  # fmt: skip
            assert pair.margin_mm - 1.0 >= 12.0


def test_moving_there_and_back_writes_the_number_it_had(result: CheckResult) -> None:
    for one in freedoms(result):
        there = tried(result, result.job, one, 1.7)
        assert there != result.job
        assert number_of(there, one) != number_of(result.job, one)
        assert tried(result, there, one, -1.7) == result.job


def test_spacer_cannot_become_thinner_than_nothing(result: CheckResult) -> None:
    with pytest.raises(InputError, match="thinner than nothing"):
        tried(result, result.job, freedom(result, "spacer"), -1.0)


def test_impossible_rotor_is_refused_before_it_is_drawn(result: CheckResult) -> None:
    with pytest.raises(InputError):
        moved_outlines(result, freedom(result, "rotor offset"), 60.0)
    with pytest.raises(InputError):
        list(trial_gaps(result, freedom(result, "rotor offset"), 60.0))


def test_moved_outline_is_that_of_the_part_made_anew(result: CheckResult) -> None:
    one = freedom(result, "caliper in and out")
    (moved,) = moved_outlines(result, one, 2.0)
    corner = corner_of(tried(result, result.job, one, 2.0), one.axle)
    anew = caliper_mesh(corner.caliper, ring_mid_z_mm=corner.rotor.ring_mid_z_mm).mesh
    points = np.concatenate([np.array(ring) for mark in moved.marks for ring in mark.rings])
    points = points + np.array(moved.step_mm)
    low_z, low_r, high_z, high_r = swept_outline(anew).area.bounds
    assert points.min(axis=0) == pytest.approx([low_z, low_r], abs=0.15)
    assert points.max(axis=0) == pytest.approx([high_z, high_r], abs=0.15)


def test_what_lies_under_the_pointer_is_taken_hold_of(result: CheckResult) -> None:
    choice = freedoms(result)
    middle_z = -made.HAT_OFFSET_MM
    assert held_at(result, choice, middle_z, 198.0, 0.5).name == "caliper in and out"
    assert held_at(result, choice, middle_z, 160.0, 0.5).name == "rotor offset"
    assert held_at(result, choice, made.FLANGE_MM + made.SPOKE_BACK_Z, 150.0, 0.5).name == "spacer"
    assert held_at(result, choice, -180.0, 20.0, 0.5) is None


def test_gap_at_a_place_is_that_from_the_still_to_the_turning_part(result: CheckResult) -> None:
    found = gap_there(result.parts, -made.HAT_OFFSET_MM, 204.0, 40.0)
    assert found is not None
    assert (found.still, found.turning) == ("caliper", found.turning)
    assert found.gap_mm == pytest.approx(BARREL_GAP, abs=0.15)
    assert gap_there(result.parts, -made.HAT_OFFSET_MM, 198.0, 40.0) is None
    assert gap_there(result.parts, 500.0, 500.0, 40.0) is None


def test_trial_stops_when_cancelled(result: CheckResult) -> None:
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        list(trial_gaps(result, freedom(result, "spacer"), 1.0, progress))


@pytest.mark.parametrize("mirror", [False, True])
def test_caliper_in_a_file_moves_along_its_own_radius(
    result: CheckResult, folder: Path, mirror: bool
) -> None:
    corner = result.job.axles[0].corner
    mesh = caliper_mesh(corner.caliper, ring_mid_z_mm=corner.rotor.ring_mid_z_mm).mesh
    spec = next(part for part in corner.parts if part.name == "caliper")
    spec = replace(spec, dimensions=None, mesh=MeshFile("caliper.stl", "0" * 64))
    job: Job = with_corner(result.job, "front", replace(put(corner, spec), mirror=mirror))
    shown = mirrored_mesh(mesh) if mirror else mesh
    parts = tuple(replace(p, mesh=shown) if p.name == "caliper" else p for p in result.parts)
    filed = replace(result, job=job, parts=parts)
    one = freedom(filed, "caliper in and out")
    moved = tried(filed, job, one, 2.0)
    part = next(p for p in moved.axles[0].corner.parts if p.name == "caliper")
    step = np.array(part.mesh.hub_from_mesh)[:3, 3]
    clock = np.radians(corner.caliper.clock_deg)
    assert step == pytest.approx([2 * np.sin(clock), 2 * np.cos(clock), 0.0], abs=1e-3)
    assert moved_by(filed, moved, one) == pytest.approx(2.0, abs=1e-3)
    if not mirror:
        found = gaps(filed, "caliper in and out", 2.0)
        pair = next(gap for pair, gap in found.items() if "barrel" in " ".join(pair))
        assert pair.gap.gap_mm.upper == pytest.approx(BARREL_GAP - 2.0, abs=WHEEL_CHORD_MM)
