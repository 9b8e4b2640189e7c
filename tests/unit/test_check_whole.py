"""The one entry: joined axles, progress and cancelling, pickling, what was not checked."""

from __future__ import annotations

import copy
import importlib.util
import json
import pickle
from pathlib import Path
from typing import Any

import pytest

from clearturn.check import check
from clearturn.errors import Cancelled, InputError, JobProblem
from clearturn.job.edits import with_corner
from clearturn.job.file import parse_job
from clearturn.job.model import Job
from clearturn.progress import Progress
from clearturn.report import result_json
from clearturn.report.blocks import Context, Table
from clearturn.report.content import build_report
from clearturn.report.pictures import Pictures
from clearturn.report.sections.access import access
from clearturn.result import CheckResult, Verdict

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """Lug and rotor only: one pair, true gap 57 mm; the wheel is not in it."""
    folder = tmp_path_factory.mktemp("whole")
    data = made.write_corner(folder)
    corner = made.corner_of(data)
    corner["parts"] = [p for p in corner["parts"] if p["name"] in ("lug", "rotor")]
    corner["scans"] = corner["scans"][:1]
    corner["datums"] = corner["datums"][:4]
    corner["seats"] = []
    del corner["wheel_frame"]
    return folder, data


def job_of(data: dict[str, Any]) -> Job:
    return parse_job(json.dumps(data)).job


@pytest.fixture(scope="module")
def result(small: tuple[Path, dict[str, Any]]) -> CheckResult:
    return check(job_of(small[1]), folder=small[0])


def shown(result: CheckResult) -> tuple[Any, ...]:
    return tuple(
        (p.first, p.second, p.gap.gap_mm, p.net_gap_mm, p.expanded_uncertainty_mm, p.verdict)
        for p in result.pairs
    )


def test_one_pair_is_judged_and_the_worst_verdict_counts(result: CheckResult) -> None:
    (pair,) = result.pairs
    assert pair.verdict is Verdict.CLEARS
    assert pair.gap.gap_mm.upper == pytest.approx(57.0, abs=2e-3)
    # The register's bore is too small, and that is worse than the gap.
    assert result.verdict is Verdict.FAILS
    assert result.turn_section is not None


def test_way_that_is_blocked_fails_the_job_and_stands_in_result_and_report(
    small: tuple[Path, dict[str, Any]],
) -> None:
    folder, data = small
    blocked = copy.deepcopy(data)
    del made.corner_of(blocked)["hub_checks"]
    assert check(job_of(blocked), folder=folder).verdict is Verdict.CLEARS
    # A pad drawn through the ring that it does not touch by intent.
    made.corner_of(blocked)["access"] = [
        {"what": "pad out", "name": "pad", "own": "lug", "clock_deg": 0.0, "r_from_mm": 20.0,
         "r_to_mm": 40.0, "z_from_mm": -60.0, "z_to_mm": 20.0, "width_mm": 30.0,
         "direction": "outward", "way_mm": 200.0},
    ]  # fmt: skip
    found = check(job_of(blocked), folder=folder)
    assert {pair.verdict for pair in found.pairs} == {Verdict.CLEARS}
    (way,) = found.access
    assert (way.verdict, way.against) == (Verdict.FAILS, "rotor")
    assert found.verdict is Verdict.FAILS
    (told,) = result_json(found)["access"]
    assert (told["name"], told["verdict"], told["against"]) == ("pad", "fails", "rotor")
    context = Context(found, Pictures(), 170.0, 250.0)
    section = access(context)
    assert section is not None
    (table,) = section.blocks
    assert isinstance(table, Table)
    assert [row[0].text for row in table.rows] == ["pad"]
    assert "access (pad past rotor)" in build_report(context).sentence


def test_two_axles_stand_side_by_side_under_their_names(
    small: tuple[Path, dict[str, Any]], result: CheckResult
) -> None:
    job = job_of(small[1])
    both = check(with_corner(job, "rear", job.axles[0].corner), folder=small[0])
    assert [(p.first, p.second) for p in both.pairs] == [
        ("front lug", "front rotor"),
        ("rear lug", "rear rotor"),
    ]
    assert [p.gap.gap_mm for p in both.pairs] == [result.pairs[0].gap.gap_mm] * 2
    assert {p.name for p in both.parts} == {"front lug", "front rotor", "rear lug", "rear rotor"}
    assert len(both.hub) == 2 * len(result.hub)
    assert "front: the right side" in both.not_checked
    assert "rear: the right side" in both.not_checked


def test_progress_changes_nothing_and_runs_from_start_to_end(
    small: tuple[Path, dict[str, Any]], result: CheckResult
) -> None:
    seen: list[float] = []
    watched = check(
        job_of(small[1]), folder=small[0], progress=Progress(lambda f, _text: seen.append(f))
    )
    assert shown(watched) == shown(result)
    assert seen[0] == 0.0
    assert seen[-1] == 1.0
    assert len(seen) > 10


@pytest.mark.parametrize("after", [0, 3, 12])
def test_cancelling_stops_it_and_it_can_be_asked_again(
    small: tuple[Path, dict[str, Any]], result: CheckResult, after: int
) -> None:
    calls = 0

    def listen(_fraction: float, _text: str) -> None:
        nonlocal calls
        calls += 1
        if calls > after:
            progress.cancel()

    progress = Progress(listen)
    if after == 0:
        progress.cancel()
    with pytest.raises(Cancelled):
        check(job_of(small[1]), folder=small[0], progress=progress)
    assert calls <= after + 1
    assert shown(check(job_of(small[1]), folder=small[0])) == shown(result)


def test_result_survives_pickling(result: CheckResult) -> None:
    again = pickle.loads(pickle.dumps(result))
    assert shown(again) == shown(result)
    assert again.job == result.job
    assert [p.mesh.sha256 for p in again.parts] == [p.mesh.sha256 for p in result.parts]


def test_pair_left_out_by_the_job_is_told(small: tuple[Path, dict[str, Any]]) -> None:
    folder, data = small
    data = copy.deepcopy(data)
    made.corner_of(data)["pairs"] = [
        {"first": "rotor", "second": "lug", "judged": False, "reason": "seen by eye"}
    ]
    found = check(job_of(data), folder=folder)
    assert found.pairs == ()
    assert found.verdict is Verdict.NOT_PROVEN  # however the hub diameters stand
    assert any("lug to rotor" in text and "seen by eye" in text for text in found.not_checked)


def test_own_requirement_of_a_pair_is_used(small: tuple[Path, dict[str, Any]]) -> None:
    folder, data = small
    data = copy.deepcopy(data)
    made.corner_of(data)["pairs"] = [
        {"first": "lug", "second": "rotor", "required_mm": 60.0, "reason": "room for a hose"}
    ]
    (pair,) = check(job_of(data), folder=folder).pairs
    assert (pair.required_mm, pair.verdict) == (60.0, Verdict.FAILS)


def test_faults_of_job_and_files_are_told_before_any_work(
    small: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    folder, data = small
    with pytest.raises(JobProblem, match="no such file"):
        check(job_of(data), folder=tmp_path)
    broken = copy.deepcopy(data)
    made.corner_of(broken)["scans"][0]["sha256"] = "f" * 64
    with pytest.raises(JobProblem, match="changed since"):
        check(job_of(broken), folder=folder)


def test_scan_that_is_no_mesh_is_told_by_name(
    small: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    import hashlib

    text = b"this is no mesh\n" * 20
    (tmp_path / "knuckle.stl").write_bytes(text)
    data = copy.deepcopy(small[1])
    made.corner_of(data)["scans"][0]["sha256"] = hashlib.sha256(text).hexdigest()
    with pytest.raises(InputError) as caught:
        check(job_of(data), folder=tmp_path)
    assert "knuckle.stl" in str(caught.value)
    assert "\n" not in str(caught.value)
