"""A job's run-out from a file of readings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearturn.errors import InputError
from clearturn.job.model import Job
from clearturn.job.sums import job_sums, with_readings_file

TYPED = {"stud_count": 5, "rotor_mm": [0.0, 0.01, 0.02, 0.01], "rotor_target_mm": 0.04}


def job() -> Job:
    return replace(Job("clearturn job", 1, "invented"), sums={"run_out": TYPED, "mass": {}})


def test_file_takes_the_place_of_typed_readings_and_leaves_the_rest(tmp_path):
    (tmp_path / "dial.csv").write_text("hub_face_mm\n0.00\n0.02\n0.04\n0.02\n")
    after = with_readings_file(job(), tmp_path, "dial.csv", {"hub_radius_mm": 60.0})
    assert after.sums == {
        "run_out": {
            "stud_count": 5, "rotor_target_mm": 0.04, "hub_radius_mm": 60.0,
            "readings_csv": "dial.csv",
        },
        "mass": {},
    }  # fmt: skip
    only = replace(after, sums={"run_out": after.sums["run_out"]})
    (sheet,) = job_sums(only, tmp_path).sheets
    # Greatest less least of 0.00, 0.02, 0.04, 0.02 is 0.04.
    assert any(ruling.found.startswith("0.040") for ruling in sheet.rulings)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("rotor_mm\n0.01\nabout two\n0.02\n", "about two"),
        ("rotor_mm\n0.01\n", "number of readings"),
        ("", "dial.csv"),
    ],
)
def test_file_without_sense_is_refused(tmp_path, text, told):
    (tmp_path / "dial.csv").write_text(text)
    with pytest.raises(InputError, match=told):
        with_readings_file(job(), tmp_path, "dial.csv", {})


def test_missing_file_is_refused_by_its_name(tmp_path):
    with pytest.raises(InputError, match="nowhere"):
        with_readings_file(job(), tmp_path, "nowhere.csv", {})
