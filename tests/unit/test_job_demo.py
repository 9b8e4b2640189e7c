"""The demo's job file: in step with its script, its scans, and the truth it may look at."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from typing import Any

import pytest

from clearturn.corner.sources import check_files
from clearturn.job.file import job_json, load_job, parse_job
from clearturn.samples import demo_job_file, samples_folder

SAMPLES = Path(__file__).resolve().parents[2] / "sample_meshes"


@pytest.fixture(scope="module")
def script() -> Any:
    spec = importlib.util.spec_from_file_location("make_job", SAMPLES / "make_job.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_job_is_what_its_script_writes(script: Any) -> None:
    stored = json.loads(demo_job_file().read_text(encoding="utf-8"))
    assert stored == script.job(), "run: python sample_meshes/make_job.py"


def test_scans_are_those_the_job_was_made_for() -> None:
    check_files(load_job(demo_job_file()), samples_folder())


def test_job_survives_being_saved_and_says_that_it_is_invented() -> None:
    job = load_job(demo_job_file())
    assert parse_job(job_json(job)).job == job
    assert job.invented


def test_script_never_looks_at_the_true_gaps(script: Any) -> None:
    assert "gaps" not in script.read_truth()
    assert "clearturn" not in {
        line.split()[1].split(".")[0]
        for line in (SAMPLES / "make_job.py").read_text(encoding="utf-8").splitlines()
        if line.startswith(("import ", "from "))
    }
