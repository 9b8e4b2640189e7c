"""``clearturn sums``: answers, files, exit codes, bad input."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from jsonschema import Draft202012Validator

from clearturn.samples import demo_job_file
from clearturn_app.cli.main import main

ROOT = Path(__file__).resolve().parents[2]


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["sums", *words])
    out, err = capsys.readouterr()
    return code, out, err


def job_file(tmp_path: Path, sums: dict[str, Any]) -> str:
    path = tmp_path / "a.clearturn.json"
    head = {"format": "clearturn job", "version": 1, "name": "a", "sums": sums}
    path.write_text(json.dumps(head), encoding="utf-8")
    return str(path)


def test_demo_as_json_fits_its_schema(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, str(demo_job_file()), "--json")
    answer = json.loads(out)
    schema = json.loads((ROOT / "docs/schema/sums.schema.json").read_text(encoding="utf-8"))
    assert list(Draft202012Validator(schema).iter_errors(answer)) == []
    assert (code, err, answer["verdict"]) == (0, "", "clears")


def test_schema_of_the_inputs_is_in_step_with_the_program() -> None:
    from clearturn.trade.sums import schema

    stored = json.loads((ROOT / "docs/schema/sums-input.schema.json").read_text(encoding="utf-8"))
    assert stored == schema(), (
        "run: python -m clearturn.trade.schema docs/schema/sums-input.schema.json"
    )


def test_text_names_every_sum_source_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, str(demo_job_file()))
    assert code == 0
    for name in ("kit", "bolts", "brake_balance", "heat", "run_out", "axle_sheet"):
        assert f"[{name}]" in out
    assert "common practice, no source" in out
    assert "do not replace" in out


def test_only_one_sum(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, str(demo_job_file()), "--only", "heat", "--json")
    assert [entry["name"] for entry in json.loads(out)["sums"]] == ["heat"]
    code, _, err = run(capsys, str(demo_job_file()), "--only", "wheels")
    assert code == 2
    assert "wheels" in err
    assert "heat" in err


def test_files_of_bracket_and_plots(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, _ = run(
        capsys, str(demo_job_file()), "--out", str(tmp_path / "new" / "out"), "--json"
    )
    assert code == 0
    files = [Path(name) for name in json.loads(out)["files"]]
    names = {path.name for path in files}
    assert {"bracket.dxf", "bracket.svg", "dummy.stl", "run_out-1.svg"} <= names
    assert all(path.stat().st_size > 500 for path in files)
    assert ezdxf.readfile(tmp_path / "new" / "out" / "bracket.dxf").modelspace()


@pytest.mark.parametrize(
    ("sums", "code"),
    [
        ({"kit": {"rim_code": 18, "ring_diameter_mm": 440}}, 1),
        ({"kit": {"rim_code": 18, "ring_diameter_mm": 408}}, 3),
        ({"kit": {"rim_code": 18, "ring_diameter_mm": 350}}, 0),
        ({}, 0),
    ],
)
def test_exit_code_follows_the_worst_word(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, sums: dict[str, Any], code: int
) -> None:
    assert run(capsys, job_file(tmp_path, sums))[0] == code


def test_bad_sum_is_one_sentence_and_exit_2(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = job_file(tmp_path, {"kit": {"rim_code": 18, "ring_diameter_mm": "big"}})
    code, out, err = run(capsys, path)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "sums.kit.ring_diameter_mm" in err
    assert path in err
