"""``clearturn sums``: answers, files, exit codes, bad input."""

from __future__ import annotations

import io
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
    assert (code, err, answer["verdict"]) == (1, "", "fails")  # the planted housing


def test_schema_of_the_inputs_is_in_step_with_the_program() -> None:
    from clearturn.trade.sums import schema

    stored = json.loads((ROOT / "docs/schema/sums-input.schema.json").read_text(encoding="utf-8"))
    assert stored == schema(), (
        "run: python -m clearturn.trade.schema docs/schema/sums-input.schema.json"
    )


def test_text_names_every_sum_source_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, str(demo_job_file()))
    assert code == 1
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
    assert code == 1
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
        ({}, 3),  # nothing is proven
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


# --- dial readings ----------------------------------------------------------------------------

ROTOR = "0.015 0.02 0.017 0.009 -0.001 -0.012 -0.02 -0.02 -0.011 0.003"


def total_reading(out: str) -> float:
    found: float = json.loads(out)["sums"][0]["values"]["rotor_total_mm"]
    return found


def only_run_out(*words: str) -> tuple[str, ...]:
    return (str(demo_job_file()), "--only", "run_out", "--json", *words)


def test_typed_readings_go_before_those_of_the_job(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, *only_run_out(f"--rotor={ROTOR.replace('0.02 ', '0.025 ', 1)}"))
    assert total_reading(out) == pytest.approx(0.045)  # 0.025 + 0.020


def test_pasted_and_csv_readings_say_the_same(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = "rotor_mm;hub_face_mm\n" + "".join(f"{r};0.001\n" for r in ROTOR.split())
    (tmp_path / "r.csv").write_text("\ufeff" + table, encoding="utf-8")  # a spreadsheet's mark
    _, from_file, _ = run(capsys, *only_run_out("--readings", str(tmp_path / "r.csv")))
    monkeypatch.setattr("sys.stdin", io.StringIO(table))
    _, pasted, _ = run(capsys, *only_run_out("--readings", "-"))
    assert from_file == pasted
    assert total_reading(pasted) == pytest.approx(0.04)


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("--rotor", "0,01 0,02 0,03 0,04"), "--rotor: a comma parts numbers here"),
        (("--rotor", "0.01 x 0.02 0.01"), "--rotor: not a number among the readings, found 'x'"),
        (("--rotor", "angle"), "--rotor: no number stands here"),
        (("--rotor", "0.01 0.02"), "run_out.rotor_mm: the number of readings"),
        (("--thickness", "3400 3401 3412 3400"), "lie too far apart for a run-out"),
        (("--readings", "nowhere.csv"), "nowhere.csv: the readings cannot be read"),
    ],
)
def test_bad_readings_are_one_sentence_and_exit_2(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], named: str
) -> None:
    code, out, err = run(capsys, *only_run_out(*words))
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert named in err


def test_readings_need_a_place_in_the_job(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    code, _, err = run(capsys, job_file(tmp_path, {}), "--rotor", ROTOR)
    assert code == 2
    assert "stud_count" in err


def test_readings_given_twice_are_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "r.csv").write_text("rotor_mm\n0.01\n0.02\n0.01\n0.0\n", encoding="utf-8")
    given = ("--readings", str(tmp_path / "r.csv"), "--rotor", ROTOR)
    code, _, err = run(capsys, *only_run_out(*given))
    assert code == 2
    assert "given twice" in err


def test_folder_that_cannot_be_written_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    code, _, err = run(capsys, str(demo_job_file()), "--out", str(tmp_path / "file" / "in"))
    assert (code, err.count("\n")) == (2, 1)
    assert "cannot be written" in err
