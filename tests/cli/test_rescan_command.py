"""``clearturn rescan``: another scan of the demo's knuckle, in another pose with other noise."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from places import ROOT
from scipy.spatial.transform import Rotation

from clearturn.job.file import load_job

sys.path.insert(0, str(ROOT / "sample_meshes"))
import make_demo

SCHEMA = json.loads((ROOT / "docs/schema/rescan.schema.json").read_text(encoding="utf-8"))
TURN = Rotation.from_euler("xyz", [20, -35, 70], degrees=True).as_matrix()
SHIFT = np.array([12.0, -90.0, 33.0])
TURNED_OFF = 1.2  # of the bearing housing's radius, mm


@pytest.fixture(scope="module")
def second(tmp_path_factory: pytest.TempPathFactory) -> tuple[np.ndarray, np.ndarray]:
    """The knuckle again: other noise, the housing turned down, without its bench."""
    points, faces = make_demo.noisy_scan("knuckle", 77)
    pose = make_demo.part_from_scan("knuckle")
    hub = points @ pose[:3, :3].T + pose[:3, 3]
    r = np.hypot(hub[:, 0], hub[:, 1])
    housing = (np.abs(r - 82.4) < 0.6) & (hub[:, 2] > -50) & (hub[:, 2] < -18)
    hub[housing, :2] *= ((r[housing] - TURNED_OFF) / r[housing])[:, None]
    points = (hub - pose[:3, 3]) @ pose[:3, :3]
    return points @ TURN.T + SHIFT, faces


@pytest.fixture
def folder(tmp_path: Path, second: tuple[np.ndarray, np.ndarray]) -> Path:
    for name in ("knuckle_scan.stl", "wheel_scan.stl", "demo.clearturn.json"):
        shutil.copy(ROOT / "sample_meshes" / name, tmp_path / name)
    data = make_demo.stl_bytes(*second, "invented part, scanned again, mm")
    (tmp_path / "after.stl").write_bytes(data)
    points = np.array([[-215.0, 276.0, 252.0], [-7.0, 314.0, 277.0], [-190.0, 348.0, 189.0]])
    rows = np.hstack([points, points @ TURN.T + SHIFT + 1.0])
    np.savetxt(tmp_path / "touched.txt", rows, header="x y z on the first, x y z on the other")
    return tmp_path


@pytest.mark.slow
def test_a_turned_housing_is_told_and_the_scan_goes_into_the_job(
    clearturn: Callable[..., Any], folder: Path
) -> None:
    job = folder / "demo.clearturn.json"
    answer = clearturn(
        "rescan", job, folder / "after.stl", "--touched", folder / "touched.txt",
        "--accept", "after turning", "--json",
    )  # fmt: skip
    assert answer.code == 0
    jsonschema.Draft202012Validator(SCHEMA).validate(answer.json)
    laid = np.array(answer.json["first_from_second"])
    points = np.random.default_rng(1).uniform(-100, 300, (20, 3))
    back = (points @ TURN.T + SHIFT) @ laid[:3, :3].T + laid[:3, 3]
    assert np.abs(back - points).max() < 0.05
    housing = [
        one
        for one in answer.json["differences"]
        if one["on"] == "second" and abs(one["hub"]["r_mm"] - 82.4 + TURNED_OFF) < 0.5
    ]
    assert housing
    assert housing[0]["mean_mm"] == pytest.approx(-TURNED_OFF, abs=0.1)
    assert -52.0 < housing[0]["hub"]["z_mm"] < -16.0
    scans = {one.name: one for one in load_job(job).axles[0].corner.scans}
    added = scans["after turning"]
    assert added.path == "after.stl"
    # The demo's own limit, and what the laying adds.
    assert 0.03 < added.scanner_error_mm < 0.1
    true = np.array(make_demo.part_from_scan("knuckle"))
    moved = np.eye(4)
    moved[:3, :3], moved[:3, 3] = TURN, SHIFT
    off = np.array(added.hub_from_scan) @ moved @ np.linalg.inv(true)
    assert np.abs(off - np.eye(4)).max() < 0.05


@pytest.mark.slow
def test_other_side_is_compared_with_the_mirror_image(
    clearturn: Callable[..., Any], folder: Path, second: tuple[np.ndarray, np.ndarray]
) -> None:
    points, faces = second
    data = make_demo.stl_bytes(points * (-1, 1, 1), faces[:, ::-1], "invented other side, mm")
    (folder / "right.stl").write_bytes(data)
    job = folder / "demo.clearturn.json"
    answer = clearturn("rescan", job, folder / "right.stl", "--mirrored", "--json")
    assert answer.code == 0
    jsonschema.Draft202012Validator(SCHEMA).validate(answer.json)
    found = {one["code"]: one for one in answer.json["findings"]}
    assert "bleed nipples must be the highest place" in found["mirror-checked"]["text"]
    assert "directional vanes" in found["mirror-checked"]["text"]
    assert any(abs(one["mean_mm"] + TURNED_OFF) < 0.1 for one in answer.json["differences"])
    told = clearturn("rescan", job, folder / "right.stl", "--mirrored", "--accept", "right")
    assert told.code == 2
    assert "cannot stand in this corner" in told.err


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("1 2 3 4 5\n", "needs six numbers"),
        ("1 2 3 4 5 six\n", "needs six numbers"),
        ("# nothing\n", "in pairs"),
        ("1 2 3 4 5 6\n2 3 4 5 6 7\n3 4 5 6 7 8\n", "on one line"),
    ],
)
def test_bad_tables_of_touched_places_are_one_sentence(
    clearturn: Callable[..., Any], folder: Path, table: str, told: str
) -> None:
    (folder / "bad.txt").write_text(table, encoding="utf-8")
    job = folder / "demo.clearturn.json"
    answer = clearturn("rescan", job, folder / "after.stl", "--touched", folder / "bad.txt")
    assert answer.code == 2
    assert told in answer.err
    assert len(answer.err.strip().splitlines()) == 1


def test_a_scan_the_job_does_not_have_is_refused(
    clearturn: Callable[..., Any], folder: Path
) -> None:
    job = folder / "demo.clearturn.json"
    answer = clearturn("rescan", job, folder / "after.stl", "--onto", "bonnet")
    assert answer.code == 2
    assert "no scan to lay the other onto" in answer.err
