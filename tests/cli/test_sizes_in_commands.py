"""``clearturn datums`` and ``check`` on scans with hand measurements: text, JSON, exit codes."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from places import ROOT

from clearturn_app.views.report_pictures import ChildPictureMaker

_spec = importlib.util.spec_from_file_location("job_cases", ROOT / "tests/unit/job_cases.py")
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]


def hand(name: str, datum: str, value: float) -> dict[str, Any]:
    return {"name": name, "kind": "diameter", "datums": [datum], "value_mm": value,
            "uncertainty_mm": 0.02, "instrument": "micrometer"}  # fmt: skip


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The made-up corner without a wheel; the housing is Ø 160 mm, the register Ø 70 mm."""
    folder = tmp_path_factory.mktemp("sizes")
    data = made.write_corner(folder, noise_mm=0.01)
    corner = made.corner_of(data)
    corner["scans"][0]["size_check"] = [
        hand("housing", "housing", 160.0), hand("spigot", "register", 70.0),
    ]  # fmt: skip
    corner["parts"] = [p for p in corner["parts"] if p["name"] in ("lug", "rotor")]
    corner.update(seats=[], hub_checks={})
    return made.write_job(folder, data)


@pytest.fixture
def wrong(job: Path) -> Path:
    """The same, but a hand that found everything 0.2 % greater."""
    data = json.loads(job.read_text(encoding="utf-8"))
    for size in made.corner_of(data)["scans"][0]["size_check"]:
        size["value_mm"] *= 1.002
    return made.write_job(job.parent, data, "wrong.clearturn.json")


@pytest.fixture(autouse=True)
def no_pictures(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from clearturn.report import Pictures

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(ChildPictureMaker, "__call__", lambda *_a, **_k: Pictures(missing="none"))


def validated(answer: Any, schema: str) -> dict[str, Any]:
    text = (ROOT / f"docs/schema/{schema}.schema.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(json.loads(text)).validate(answer.json)
    found: dict[str, Any] = answer.json
    return found


def test_check_shows_sizes_that_agree(
    clearturn: Callable[..., Any], job: Path, tmp_path: Path
) -> None:
    answer = clearturn("check", job, "--out", tmp_path / "out")
    assert answer.code == 0
    assert "size of the scan knuckle: agrees with the sizes measured by hand" in answer.out
    assert "housing (micrometer)" in answer.out
    assert "160.000 ±0.020" in answer.out
    assert "note: the scan 'knuckle' has the sizes measured by hand" in answer.err
    found = validated(clearturn("check", job, "--out", tmp_path / "out", "--json"), "check")
    assert found == json.loads((tmp_path / "out/result.json").read_text(encoding="utf-8"))
    (one,) = found["size_checks"]
    assert (one["scan"], one["state"]) == ("knuckle", "agrees")
    assert one["factor"] == pytest.approx(1.0, abs=one["expanded_uncertainty"])


def test_check_of_a_scan_of_the_wrong_size_is_not_proven(
    clearturn: Callable[..., Any], wrong: Path, tmp_path: Path
) -> None:
    answer = clearturn("check", wrong, "--out", tmp_path / "out")
    assert answer.code == 3
    assert "NOT PROVEN" in answer.out
    assert "size of the scan knuckle: WRONG SIZE" in answer.out
    assert "error: the scan 'knuckle' must be multiplied by 1.002" in answer.err


def test_datums_compares_sizes_too(clearturn: Callable[..., Any], job: Path, wrong: Path) -> None:
    found = validated(clearturn("datums", job, "--scan", "knuckle", "--json"), "datums")
    assert [one["state"] for one in found["size_checks"]] == ["agrees"]
    assert "scale-agrees" in [one["code"] for one in found["findings"]]
    answer = clearturn("datums", wrong, "--scan", "knuckle")
    assert answer.code == 3
    assert "WRONG SIZE" in answer.out
    assert "error: the scan 'knuckle' must be multiplied by 1.002" in answer.err
    # A scan that is not asked for is not measured either.
    other = clearturn("datums", wrong, "--scan", "wheel", "--json")
    assert other.json["size_checks"] == []


def test_fault_of_a_size_names_file_and_place(clearturn: Callable[..., Any], job: Path) -> None:
    data = json.loads(job.read_text(encoding="utf-8"))
    made.corner_of(data)["scans"][0]["size_check"][1]["datums"] = ["hub face"]
    bad = made.write_job(job.parent, data, "bad.clearturn.json")
    for command in ("datums", "check"):
        answer = clearturn(command, bad)
        assert answer.code == 2
        assert "scans[0].size_check[1].datums[0]: this feature has no diameter" in answer.err
        assert str(bad) in answer.err
        assert answer.err.count("\n") == 1
