"""Hostile input for the command line: one sentence, exit 2, no traceback, no hang, nothing left.

The expected values are the contract of the command line (docs/manual/command-line.md, exit codes),
not numbers.  Each row stands for a fault that once hung, crashed or was passed over in silence.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

Run = Callable[..., Any]
Write = Callable[..., Path]
HEAD = '{"format": "clearturn job", "version": 1, "name": "n"'
SECONDS = 8.0


def refused(answer: Any, *words: str) -> None:
    """Check the contract of exit 2 and that the sentence holds these words."""
    assert (answer.code, answer.out) == (2, ""), answer
    assert answer.err.count("\n") == 1, answer.err
    assert "Traceback" not in answer.err
    assert len(answer.err) < 2500
    for word in words:
        assert word in answer.err, (word, answer.err)


# What the text holds after HEAD (or the whole text), and words of the sentence.
TEXTS: dict[str, tuple[str, list[str]]] = {
    "a million numbers": (
        f'{HEAD}, "axles": [{"1," * 1_000_000}1]}}', ["too much for a job file", "200,000"],
    ),
    "a million lists": (
        f'{HEAD}, "sums": {{"bolts": [{"[]," * 1_000_000}1]}}}}', ["too much for a job file"],
    ),
    "nested 300 deep": (f'{HEAD}, "axles": {"[" * 300}{"]" * 300}}}', ["nested too deeply"]),
    "nested 100 000 deep": ("[" * 100_000, ["nested too deeply"]),
    "half a surrogate": (HEAD.replace('"n"', '"\\ud800"') + "}", ["two-part"]),
    "NaN in line 3": (f'{HEAD},\n"notes": "NaN",\n"axles": NaN}}', ["line 3", "NaN"]),
    "NaN and more": (f'{HEAD}, "axles": NaNs}}', ["line 1", "NaN"]),
    "-Infinity": (f'{HEAD}, "axles": -Infinity}}', ["line 1", "-Infinity"]),
    "a key of 10 000 letters": (f'{HEAD}, "{"k" * 10_000}": 1}}', ["not known", "kkk…kkk"]),
    "a version of 400 digits": (HEAD.replace(": 1,", f": {'9' * 400},") + "}", ["newer program"]),
    "version null": (HEAD.replace(": 1,", ": null,") + "}", ["found null"]),
    "a list": ("[1, 2]", ["not a job file", "found a list of 2"]),
    "a job's name with a terminal's command": (
        HEAD.replace('"n"', '"a\\u001b[31m"') + "}", ["control signs", "\\x1b"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", TEXTS)
def test_hostile_text_is_refused_at_once(clearturn: Run, tmp_path: Path, case: str) -> None:
    text, words = TEXTS[case]
    job = tmp_path / "bad.clearturn.json"
    job.write_text(text, encoding="utf-8")
    start = time.monotonic()
    refused(clearturn("check", job, "--json"), str(job), *words)
    assert time.monotonic() - start < SECONDS
    assert sorted(tmp_path.iterdir()) == [job]


def corner() -> dict[str, Any]:
    """A corner with a scan that is never opened, since all rows are refused before."""
    return {
        "side": "left",
        "scans": [{"name": "k", "path": "k.stl", "sha256": "0" * 64}],
        "datums": [
            {"name": "face", "scan": "k", "feature": "plane", "seeds_mm": [[0, 0, 0]]},
            {"name": "axis", "scan": "k", "feature": "cylinder", "seeds_mm": [[1, 0, 0]]},
            {"name": "lug", "scan": "k", "feature": "cylinder", "seeds_mm": [[2, 0, 0]]},
        ],
        "hub_frame": {
            "plane": "face", "axis": "axis", "clocking": "lug", "clock_deg": 300,
            "outboard": [0, 0, 1],
        },
        "seat_stack": {"old_flange_mm": 6.5, "new_flange_mm": 8, "spacer_mm": 0},
        "parts": [
            {
                "name": name, "kind": "other", "motion": "fixed",
                "scan": {"scan": "k", "take": [{"by": "patch", "seed_mm": [0, 0, 0]}]},
            }
            for name in ("a", "b")
        ],
    }  # fmt: skip


def put(*steps: Any) -> Callable[[dict[str, Any]], None]:
    """Return an edit that puts the last of `steps` at the path of the others."""

    def edit(data: dict[str, Any]) -> None:
        here: Any = data
        for step in steps[:-2]:
            here = here[step]
        here[steps[-2]] = steps[-1]

    return edit


TAKE = ("parts", 0, "scan", "take", 0)
ALLOWANCE = {"name": "x", "value_mm": 1e308, "direction": "gap", "kind": "always costs"}
RULE = {"first": "a", "second": "b", "required_mm": 1.0, "reason": "r"}
SWAPPED = {"first": "b", "second": "a", "required_mm": 9.0, "reason": "r"}
FAR = [[1, 0, 0, 1e12], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]
CORNERS: dict[str, tuple[Callable[[dict[str, Any]], None], list[str]]] = {
    "spacer without end": (put("seat_stack", "spacer_mm", 1e300), ["spacer_mm", "1500"]),
    "spacer of 100 m": (put("seat_stack", "spacer_mm", 1e5), ["spacer_mm", "1500"]),
    "noise without end": (put("scans", 0, "noise_mm", 1e300), ["scans[0].noise_mm", "1e+07"]),
    "allowances without end": (
        put("allowances", [{**ALLOWANCE, "source": "s"}] * 2), ["allowances[0].value_mm"],
    ),
    "requirement without end": (
        put("pairs", [{**RULE, "required_mm": 1e308}]), ["pairs[0].required_mm"],
    ),
    "direction without end": (
        put("hub_frame", "outboard", [1e300, 0, 0]), ["hub_frame.outboard[0]"],
    ),
    "pose without end": (put("scans", 0, "hub_from_scan", FAR), ["hub_from_scan", "1e+07"]),
    "datum that may not bend": (put("datums", 0, "normal_deg", 0), ["datums[0].normal_deg", "180"]),
    "datum that bends back": (put("datums", 0, "normal_deg", 1e9), ["datums[0].normal_deg", "180"]),
    "datum without reach": (put("datums", 0, "limit_mm", 0), ["datums[0].limit_mm", "above 0"]),
    "patch without reach": (put(*TAKE, "limit_mm", 0), ["take[0].limit_mm", "above 0"]),
    "patch bending below zero": (put(*TAKE, "normal_deg", -1), ["take[0].normal_deg"]),
    "two rules for one pair": (put("pairs", [RULE, SWAPPED]), ["pairs[1]", "'a' and 'b'"]),
    "name with a line end": (put("parts", 0, "name", "a\nb"), ["parts[0].name", "\\n"]),
    "name of 10 000 letters": (put("parts", 0, "name", "n" * 10_000), ["10000 signs", "200"]),
    "path of 10 000 letters": (put("scans", 0, "path", "x" * 10_000), ["File name too long", "…"]),
    "hash of 10 000 letters": (put("scans", 0, "sha256", "x" * 10_000), ["not a hash", "…"]),
}  # fmt: skip


@pytest.mark.parametrize("case", CORNERS)
def test_hostile_corner_is_refused_with_line_and_key(
    clearturn: Run, tmp_path: Path, case: str
) -> None:
    edit, words = CORNERS[case]
    data = corner()
    edit(data)
    job = tmp_path / "bad.clearturn.json"
    axles = [{"name": "front", "corner": data}]
    whole = {"format": "clearturn job", "version": 1, "name": "n", "axles": axles}
    job.write_text(json.dumps(whole, indent=1), encoding="utf-8")
    answer = clearturn("check", job, "--json")
    refused(answer, f"{job}, line ", "axles[0].corner.", *words)


def test_names_of_every_alphabet_are_taken(clearturn: Run, tmp_path: Path) -> None:
    # Only what breaks lines is refused: the sentence is about the missing scan, not the name.
    data = corner()
    data["parts"][0]["name"] = "Träger / 支架 🛞 \u200d"
    job = tmp_path / "good.clearturn.json"
    axles = [{"name": "front", "corner": data}]
    whole = {"format": "clearturn job", "version": 1, "name": "n", "axles": axles}
    job.write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8")
    refused(clearturn("check", job), "there is no such file", "k.stl")


def test_folder_for_the_report_is_looked_at_before_the_work(
    clearturn: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("clearturn.check.check", lambda *_a, **_k: pytest.fail("worked already"))
    job = tmp_path / "job.clearturn.json"
    job.write_text(HEAD + "}")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    (tmp_path / "link").symlink_to("link")
    for out in (job, job / "in it", Path("/dev/full"), tmp_path / "link" / "x"):
        refused(clearturn("check", job, "--out", out, "--json"), str(out), "--out")


def test_fault_found_while_working_names_the_job(
    clearturn: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from clearturn.errors import GeometryProblem, InputError

    job = tmp_path / "job.clearturn.json"
    job.write_text(HEAD + "}")
    for error in (InputError("out of the table", place="rotor register"), GeometryProblem("none")):

        def fail(*_arguments: object, _error: Exception = error, **_options: object) -> None:
            raise _error

        monkeypatch.setattr("clearturn.kept.kept_check", fail)
        refused(clearturn("check", job, "--json"), str(job), str(error))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_for_readings_in_a_job_does_not_hang(clearturn: Run, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    job = tmp_path / "job.clearturn.json"
    job.write_text(HEAD + ', "sums": {"run_out": {"stud_count": 5, "readings_csv": "pipe.csv"}}}')
    refused(clearturn("sums", job, "--json"), "pipe.csv", "not in a file")


def test_readings_without_end_on_stdin_are_refused(
    clearturn: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import io

    job = tmp_path / "job.clearturn.json"
    job.write_text(HEAD + ', "sums": {"run_out": {"stud_count": 5}}}')
    monkeypatch.setattr(sys, "stdin", io.StringIO("rotor_mm\n" + "1\n" * 3_000_000))
    start = time.monotonic()
    refused(clearturn("sums", job, "--readings", "-"), "stdin", "too long", "1,000,000")
    assert time.monotonic() - start < SECONDS


def test_sums_leave_no_half_file(clearturn: Run, tmp_path: Path) -> None:
    readings = "0.01 0.02 0.01 0 0.01"
    job = tmp_path / "job.clearturn.json"
    job.write_text(HEAD + ', "sums": {"run_out": {"stud_count": 5}}}')
    out = tmp_path / "out"
    assert clearturn("sums", job, "--rotor", readings, "--out", out).code in (0, 1, 3)
    files = sorted(out.iterdir())
    assert files
    files[0].unlink()
    files[0].mkdir()  # stands in the way
    refused(clearturn("sums", job, "--rotor", readings, "--out", out, "--json"), str(files[0]))
    assert sorted(out.iterdir()) == files


GAPS: dict[str, tuple[list[str], list[str]]] = {
    "scale without end": (["--scale-first", "1e300"], ["--scale-first", "1e+06"]),
    "scale to nothing": (["--scale-second", "1e-300"], ["--scale-second", "1e-06"]),
    "scaled too large": (["--scale-first", "1e6"], ["--scale-first", "too large for a part"]),
    "axis far away": (["--turns", "second", "--axis-point", "1e12", "0", "0"], ["--axis-point"]),
    "axis without end": (
        ["--turns", "second", "--axis-direction", "1e300", "1e300", "0"],
        ["--axis-direction", "1e+07"],
    ),
}  # fmt: skip


@pytest.fixture
def triangle(tmp_path: Path, write_stl: Write) -> Path:
    return write_stl(tmp_path / "a.stl", [[[0, 0, 0], [60, 0, 0], [0, 60, 0]]])


@pytest.mark.parametrize("case", GAPS)
def test_hostile_numbers_of_a_gap_are_refused(clearturn: Run, triangle: Path, case: str) -> None:
    options, words = GAPS[case]
    refused(clearturn("gap", triangle, triangle, *options, "--json"), *words)


@pytest.mark.parametrize("points", ["0,0,0\n", "1,1,1\n" * 9, "0,0,0\n1,0,0\n2,0,0\n"])
def test_points_that_make_no_plane_are_told_with_their_file(
    clearturn: Run, tmp_path: Path, points: str
) -> None:
    table = tmp_path / "points.csv"
    table.write_text(points)
    refused(clearturn("fit", "plane", table, "--json"), f"clearturn: {table}")


def test_pose_that_shifts_out_of_sight_is_refused(
    clearturn: Run, triangle: Path, tmp_path: Path
) -> None:
    pose = tmp_path / "pose.txt"
    for far in ("1e300", "-1e9"):
        pose.write_text(f"1 0 0 {far}\n0 1 0 0\n0 0 1 0\n0 0 0 1\n")
        answer = clearturn("gap", triangle, triangle, "--pose-first", pose, "--json")
        refused(answer, str(pose), "shifts too far", "1e+07")


def test_pose_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    from clearturn.pose import read_pose

    pose = tmp_path / "pose.txt"
    for text in (
        "1 0 0 5\n0 1 0 0\n0 0 1 0\n0 0 0 1\n",
        "[[1,0,0,5],[0,1,0,0],[0,0,1,0],[0,0,0,1]]",
    ):
        pose.write_text("\ufeff" + text, encoding="utf-8")
        np.testing.assert_array_equal(read_pose(pose)[:, 3], [5.0, 0.0, 0.0, 1.0])


@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
def test_being_asked_to_end_cleans_up_like_an_interrupt(tmp_path: Path) -> None:
    code = f"""
import sys, time
from pathlib import Path
from clearturn_app.cli import scan
from clearturn_app.cli.main import main
from clearturn_app.cli.output import progress_bar

def work(args):
    with progress_bar() as progress:
        try:
            print("ready", flush=True)
            time.sleep(30)
        finally:
            Path({str(tmp_path / "cleaned")!r}).write_text(str(progress.cancelled))

scan.run = work
sys.exit(main(["scan", "x"]))
"""
    child = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    child.send_signal(signal.SIGTERM)
    _, told = child.communicate(timeout=20)
    assert (child.returncode, told) == (130, "cancelled\n")
    assert (tmp_path / "cleaned").read_text() == "True"
