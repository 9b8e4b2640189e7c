"""Dial readings typed, pasted, from csv: what is read, and every slip told in one sentence.

Expected values are the numbers in the text.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from clearturn.errors import InputError
from clearturn.job.file import load_job, parse_job
from clearturn.job.sums import job_sums, read_readings
from clearturn.trade import run_out
from clearturn.trade.inputs import read_inputs
from clearturn.trade.readings import parse_readings, readings_table
from clearturn.trade.run_out import RunOut


@pytest.mark.parametrize(
    "text",
    ["0.01 0.02 -0.03", "0.01\n0.02\n−0.03", "angle;reading\n0;0.01\n120;0.02\n240;-0.03",
     "0.01, 0.02, -0.03", "a b\n\n0.01\n0.02\n-3e-2\n"],
)  # fmt: skip
def test_readings_are_read_as_typed_or_pasted(text: str) -> None:
    assert parse_readings(text) == (0.01, 0.02, -0.03)


@pytest.mark.parametrize(
    "text", ["0,01\n0,02", "0.01 x 0.03", "0,01 0,02", "-0,01;0,02", "0,01", "0.01 ± 0.02"]
)
def test_doubtful_readings_are_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse_readings(text)


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_columns_may_stand_in_any_order_and_end_early(mark: str) -> None:
    rows = [["register_mm", "rotor_mm"], ["0.1", "1"], ["0.2", "2"], ["", "3"], ["", "-.5"]]
    text = "\r\n".join(mark.join(row) for row in rows) + "\n\n"
    assert readings_table(text) == {"rotor_mm": (1.0, 2.0, 3.0, -0.5), "register_mm": (0.1, 0.2)}


def test_written_angles_must_be_equal_steps() -> None:
    good = "angle_deg,rotor_mm\n0,1\n90,2\n180.5,3\n270,4\n"
    assert readings_table(good) == {"rotor_mm": (1.0, 2.0, 3.0, 4.0)}


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "the file is empty"),
        ("0.01\n0.02\n", "line 1: the first line must name the columns"),
        ("rotor_mm;hub_mm\n1;2\n", "line 1: this column is not known, found 'hub_mm'"),
        ("rotor_mm,rotor_mm\n1,2\n", "line 1: this column stands twice"),
        ("rotor_mm\n\n0.01\nO.02\n", "line 4, rotor_mm: not a number, found 'O.02'"),
        ("rotor_mm;hub_face_mm\n0,01;0,02\n", "line 2, rotor_mm: a decimal comma"),
        ("rotor_mm\n0,01\n", "line 2: more cells than columns, found 2, allowed: 1; write a dec"),
        ("rotor_mm;hub_face_mm\n1;2;3\n", "line 2: more cells than columns"),
        ("rotor_mm;hub_face_mm\n1;2\n1;\n1;2\n", "line 4, hub_face_mm: a reading is missing"),
        ("rotor_mm;hub_face_mm\n", "no readings stand below"),
        ("angle_deg;rotor_mm\n0;1\n90;1\n180;1\n", "the angles are not equal steps"),
        ("angle_deg;rotor_mm\n0;1\n90;1\n180;1\n270;1\n360;1\n", "a last reading that repeats"),
        ("angle_deg;rotor_mm\n0;1\n90;1\n180;1\n270;\n", "not as many readings as angles"),
    ],
)  # fmt: skip
def test_slips_in_a_csv_are_told_with_line_and_column(
    tmp_path: Path, text: str, named: str
) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_readings(path, "readings.csv")
    assert str(caught.value).startswith("readings.csv")
    assert named in str(caught.value)


def test_what_is_no_text_or_too_long_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_bytes(b"rotor_mm\n\xff\xfe")
    with pytest.raises(InputError, match="not a text file"):
        read_readings(path)
    path.write_bytes(b"rotor_mm\n" + b"0.01\n" * 300_000)
    with pytest.raises(InputError, match="too long"):
        read_readings(path)
    with pytest.raises(InputError, match="the readings cannot be read"):
        read_readings(tmp_path)


# --- in the job file -------------------------------------------------------------------------


def job_with(run_out_sum: dict[str, Any]) -> str:
    head = {"format": "clearturn job", "version": 1, "name": "a"}
    return json.dumps({**head, "sums": {"run_out": {"stud_count": 5, **run_out_sum}}})


def test_a_list_may_be_one_pasted_text() -> None:
    typed = read_inputs(RunOut, {"stud_count": 5, "rotor_mm": "0.01 0.02 0.01 0"})
    assert typed.rotor_mm == (0.01, 0.02, 0.01, 0.0)
    with pytest.raises(InputError, match="rotor_mm: a comma parts numbers here"):
        read_inputs(RunOut, {"stud_count": 5, "rotor_mm": "0,01 0,02 0,01 0,00"})


def test_csv_beside_the_job_is_read_by_sums_and_report_alike(tmp_path: Path) -> None:
    (tmp_path / "dial").mkdir()
    text = "rotor_mm\n0.00\n0.01\n0.03\n0.01\n"
    (tmp_path / "dial" / "r.csv").write_text(text, encoding="utf-8")
    path = tmp_path / "a.clearturn.json"
    path.write_text(job_with({"readings_csv": "dial/r.csv"}), encoding="utf-8")
    job = load_job(path)
    (sheet,) = job_sums(job, tmp_path).sheets
    assert sheet.values is not None
    assert sheet.values["rotor_total_mm"] == pytest.approx(0.03)
    assert any("dial/r.csv" in source for source in sheet.sources)
    assert job.sums["run_out"] == {"stud_count": 5, "readings_csv": "dial/r.csv"}


def test_readings_that_nobody_looked_at_are_told() -> None:
    (sheet,) = job_sums(parse_job(job_with({"readings_csv": "r.csv"})).job).sheets
    assert [finding.code for finding in sheet.findings] == ["readings-not-read"]


def test_readings_in_job_and_csv_are_refused(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text("rotor_mm\n0\n0.01\n0\n0\n", encoding="utf-8")
    both = {"readings_csv": "r.csv", "rotor_mm": [0.0, 0.01, 0.0, 0.0]}
    with pytest.raises(
        InputError, match=r"sums\.run_out\.rotor_mm: these readings stand in the job"
    ):
        job_sums(parse_job(job_with(both)).job, tmp_path)


@pytest.mark.parametrize("path", ["/etc/passwd", "C:/r.csv", "a\\b.csv"])
def test_path_of_the_csv_must_survive_a_move(path: str) -> None:
    with pytest.raises(InputError, match=r"sums\.run_out\.readings_csv"):
        parse_job(job_with({"readings_csv": path}))


def test_readings_in_hundredths_are_told_by_their_spread() -> None:
    with pytest.raises(InputError, match="too far apart for a run-out, found 7 mm"):
        RunOut(5, (1.0, 3.0, -4.0, 2.0))


def test_best_index_in_words() -> None:
    rotor = (0.01, 0.0, -0.01, 0.0)
    flat = RunOut(4, rotor, 150.0, (0.0, 0.0, 0.0, 0.0), 70.0)
    assert "best stud index" in {line.label for line in run_out.sheet(flat).lines}
    said = {line.label: line.value for line in run_out.sheet(flat).lines}
    assert said["best stud index"].startswith("as it sits")
