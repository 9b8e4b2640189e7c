"""Sizes measured by hand, added to a corner and taken away."""

from __future__ import annotations

import importlib.util
import json
from dataclasses import replace
from pathlib import Path

import pytest

from clearturn.errors import InputError
from clearturn.job.edits import with_corner
from clearturn.job.file import check_job, parse_job
from clearturn.job.measured import measurable_sizes, with_hand_size, without_hand_size

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)


@pytest.fixture
def job(tmp_path):
    return parse_job(json.dumps(made.write_corner(tmp_path))).job


def test_round_datums_have_a_diameter_and_planes_of_one_scan_a_distance(job):
    corner = job.axles[0].corner
    lug_face = replace(corner.datums[0], name="lug face")
    corner = replace(corner, datums=(*corner.datums, lug_face))
    assert measurable_sizes(corner) == {
        "hub face to lug face, distance": ("knuckle", "distance", ("hub face", "lug face")),
        "register, diameter": ("knuckle", "diameter", ("register",)),
        "upper lug, diameter": ("knuckle", "diameter", ("upper lug",)),
        "housing, diameter": ("knuckle", "diameter", ("housing",)),
        "centre bore, diameter": ("wheel", "diameter", ("centre bore",)),
    }


def test_every_size_offered_makes_a_job_that_keeps_the_rules(job):
    corner = job.axles[0].corner
    for size, (scan, _, _) in measurable_sizes(corner).items():
        corner = with_hand_size(corner, size, 50.0, 0.02, "micrometer")
        corner = with_hand_size(corner, size, 50.0, 0.02, "caliper gauge")
        check_job(with_corner(job, job.axles[0].name, corner))
        corner = without_hand_size(corner, scan, f"{size} 2")
    assert [one.name for one in corner.scans[0].size_check] == [
        "register, diameter", "upper lug, diameter", "housing, diameter",
    ]  # fmt: skip
    for size, (scan, _, _) in measurable_sizes(corner).items():
        corner = without_hand_size(corner, scan, size)
    assert corner == job.axles[0].corner


def test_size_of_nothing_touched_is_refused(job):
    with pytest.raises(InputError, match="nothing of that name"):
        with_hand_size(job.axles[0].corner, "hub face, diameter", 1.0, 0.1, "rule")
