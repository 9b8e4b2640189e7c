"""``clearturn check`` and ``clearturn demo`` on a made-up corner: answers, files, exit codes."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from clearturn.errors import InputError
from clearturn.job.file import job_sha256, load_job
from clearturn_app.cli import check as command
from clearturn_app.cli.main import main
from clearturn_app.views.report_pictures import ChildPictureMaker

ROOT = Path(__file__).resolve().parents[2]
_spec = importlib.util.spec_from_file_location("job_cases", ROOT / "tests/unit/job_cases.py")
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]

LIMITS = ("spacer", "caliper_inward", "trim", "rotor_offset", "smaller_rotor")
NO_CURES = {f"{name}_most_mm": 0.0 for name in LIMITS}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The made-up corner's scans with a small job: lug, rotor, caliper and barrel."""
    folder = tmp_path_factory.mktemp("check")
    data = made.write_corner(folder, noise_mm=0.01)
    corner = made.corner_of(data)
    corner["parts"] = [
        p for p in corner["parts"] if p["name"] in ("lug", "rotor", "caliper", "barrel")
    ]
    corner["weights"] = {"where": "not in band", "z_from_mm": -500.0, "z_to_mm": 500.0}
    corner.update(seats=[], cures=NO_CURES)
    made.write_job(folder, data)
    return folder


@pytest.fixture
def run(
    clearturn: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, folder: Path
) -> Callable[..., Any]:
    """Run a command without 3D pictures, with a cache for this file's tests."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / "cache"))
    monkeypatch.setattr(ChildPictureMaker, "__call__", _no_pictures)
    return clearturn


def _no_pictures(*_arguments: object, **_options: object) -> Any:
    from clearturn.report import Pictures

    return Pictures(missing="Pictures are left out in this test.")


def test_answer_fits_the_schema_and_is_the_written_result(
    run: Callable[..., Any], folder: Path, tmp_path: Path
) -> None:
    answer = run("check", folder / "job.clearturn.json", "--out", tmp_path / "out", "--json")
    found = answer.json
    schema = json.loads((ROOT / "docs/schema/check.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(found)
    assert found == json.loads((tmp_path / "out/result.json").read_text(encoding="utf-8"))
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {
        "report.pdf", "result.json", "gaps.csv", "turn-section.svg",
    }  # fmt: skip
    assert found["job_sha256"] == job_sha256(load_job(folder / "job.clearturn.json"))
    # The bore is 6 mm too small for the register, so the job fails; the gaps all clear.
    assert answer.code == 1
    assert found["verdict"] == "fails"
    assert {pair["verdict"] for pair in found["pairs"]} == {"clears"}
    gaps = {frozenset((p["first"], p["second"])): p for p in found["pairs"]}
    barrel = gaps[frozenset(("caliper", "barrel"))]
    assert barrel["gap_mm"]["lower"] == pytest.approx(8.0, abs=0.1)
    assert barrel["margin_mm"] == pytest.approx(
        barrel["net_gap_mm"] - barrel["expanded_uncertainty_mm"] - barrel["required_mm"]
    )
    assert barrel["net_gap_mm"] == pytest.approx(barrel["estimate_mm"] - barrel["allowances_mm"])
    assert "the right side" in found["not_checked"]
    hub = {row["check"]: row for row in found["hub"]}
    assert hub["rotor register"]["machine"]["to_diameter_mm"] == pytest.approx(70.01, abs=0.01)
    assert hub["housing in hat"]["verdict"] == "clears"


def test_report_goes_beside_the_job_by_default_and_text_names_it(
    run: Callable[..., Any], folder: Path
) -> None:
    answer = run("check", folder / "job.clearturn.json")
    assert answer.code == 1
    assert (folder / "job-report" / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "made-up corner: FAILS" in answer.out
    assert "caliper – barrel" in answer.out or "barrel – caliper" in answer.out
    assert "rotor hat to Ø 70.01" in answer.out
    assert str(folder / "job-report" / "report.pdf") in answer.out


def test_second_run_uses_the_kept_result_and_fresh_does_not(
    run: Callable[..., Any], folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = folder / "job.clearturn.json"
    first = run("check", job, "--out", tmp_path / "a", "--json")

    def refuse(*_arguments: object, **_options: object) -> None:
        raise InputError("worked out again")

    monkeypatch.setattr("clearturn.check.check", refuse)
    again = run("check", job, "--out", tmp_path / "b", "--json")
    assert again.out == first.out
    fresh = run("check", job, "--out", tmp_path / "c", "--fresh")
    assert (fresh.code, "worked out again" in fresh.err) == (2, True)


def test_kept_results_that_are_damaged_or_unsafe_are_not_used(
    run: Callable[..., Any], folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = folder / "job.clearturn.json"
    assert run("check", job, "--out", tmp_path / "a").code == 1

    def worked_out(*_arguments: object, **_options: object) -> None:
        raise InputError("worked out again")

    monkeypatch.setattr("clearturn.check.check", worked_out)
    every = (folder / "cache/clearturn/results").glob("*.result")
    kept = max(every, key=lambda path: path.stat().st_size)
    content = kept.read_bytes()
    try:
        for damaged in (content[:1000], b"", b"text", content[:-1]):
            kept.write_bytes(damaged)
            assert "worked out again" in run("check", job, "--out", tmp_path / "b").err
        kept.write_bytes(content)
        kept.parent.chmod(0o777)
        assert "worked out again" in run("check", job, "--out", tmp_path / "c").err
        kept.parent.chmod(0o700)
        assert run("check", job, "--out", tmp_path / "d").code == 1
    finally:
        kept.parent.chmod(0o700)
        kept.write_bytes(content)


def test_changed_scan_is_refused_although_its_result_is_kept(
    run: Callable[..., Any], folder: Path, tmp_path: Path
) -> None:
    job = folder / "job.clearturn.json"
    assert run("check", job, "--out", tmp_path / "a").code == 1
    scan = folder / "wheel.stl"
    content = scan.read_bytes()
    try:
        scan.write_bytes(content + b"x")
        answer = run("check", job, "--out", tmp_path / "b")
        assert answer.code == 2
        assert "line " in answer.err
        assert "scans[1].sha256" in answer.err
        assert "Traceback" not in answer.err
        scan.unlink()
        answer = run("check", job, "--out", tmp_path / "b")
        assert (answer.code, "no such file" in answer.err) == (2, True)
    finally:
        scan.write_bytes(content)
    assert not (tmp_path / "b").exists()


def test_job_without_pairs_is_not_proven(
    run: Callable[..., Any], folder: Path, tmp_path: Path
) -> None:
    data = json.loads((folder / "job.clearturn.json").read_text(encoding="utf-8"))
    corner = made.corner_of(data)
    corner["parts"] = [p for p in corner["parts"] if p["name"] == "rotor"]
    corner["hub_checks"] = {}
    made.write_job(folder, data, "alone.clearturn.json")
    answer = run("check", folder / "alone.clearturn.json", "--out", tmp_path / "o", "--json")
    assert (answer.code, answer.json["verdict"]) == (3, "not proven")
    assert answer.json["pairs"] == []


def test_empty_job_is_not_proven(run: Callable[..., Any], tmp_path: Path) -> None:
    made.write_job(tmp_path, {"format": "clearturn job", "version": 1, "name": "empty"})
    answer = run("check", tmp_path / "job.clearturn.json", "--json")
    assert (answer.code, answer.json["verdict"]) == (3, "not proven")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("{", "line 1: not valid JSON"),
        ("solid x\n", "not valid JSON"),
        ('{"format": "clearturn job", "version": 1, "name": "n", "colour": 1}', "colour"),
    ],
)
def test_bad_job_files_are_told_in_one_line(
    run: Callable[..., Any], tmp_path: Path, content: str, says: str
) -> None:
    (tmp_path / "bad.clearturn.json").write_text(content)
    answer = run("check", tmp_path / "bad.clearturn.json", "--json")
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err
    assert answer.err.count("\n") == 1


def test_fault_found_while_working_names_the_job_file_and_the_part(
    run: Callable[..., Any], folder: Path, tmp_path: Path
) -> None:
    data = json.loads((folder / "job.clearturn.json").read_text(encoding="utf-8"))
    for item in made.corner_of(data)["parts"]:
        if item["name"] == "lug":
            item["scan"] = made.band(z_from_mm=900.0)
    job = made.write_job(folder, data, "faceless.clearturn.json")
    answer = run("check", job, "--out", tmp_path / "o")
    assert answer.code == 2
    assert answer.err.startswith(f"clearturn: {job}, part 'lug': the part has no faces")


def test_missing_job_and_folders_are_told(run: Callable[..., Any], tmp_path: Path) -> None:
    for path in (tmp_path / "missing.clearturn.json", tmp_path):
        answer = run("check", path)
        assert answer.code == 2
        assert str(path) in answer.err


def test_demo_without_its_scans_says_where_they_are(
    run: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    import clearturn.samples

    monkeypatch.setattr(clearturn.samples, "__file__", str(tmp_path / "a/b/c.py"))
    answer = run("demo")
    assert answer.code == 2
    assert "source checkout" in answer.err
    assert not (tmp_path / "clearturn-demo").exists()


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("a.clearturn.json", "a-report"),
        ("a.json", "a-report"),
        ("a", "a-report"),
        ("a.b.clearturn.json", "a.b-report"),
    ],
)
def test_report_folder_is_named_after_the_job_file(name: str, expected: str) -> None:
    assert command.report_folder(Path("x") / name) == Path("x") / expected


@pytest.mark.parametrize(("verdict", "code"), [("clears", 0), ("fails", 1), ("not proven", 3)])
def test_exit_code_follows_the_verdict(verdict: str, code: int) -> None:
    assert command.exit_code(verdict) == code  # type: ignore[arg-type]


def test_help_of_both_commands_is_short_and_names_the_exit_codes(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for name in ("check", "demo"):
        assert main([name, "--help"]) == 0
        assert "Exit code" in capsys.readouterr().out
