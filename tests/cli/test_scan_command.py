"""``clearturn scan``: the contract's answer, in JSON and on the terminal."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import jsonschema
import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = json.loads((ROOT / "docs/schema/scan.schema.json").read_text())

Run = Callable[..., SimpleNamespace]
Write = Callable[..., Path]

CUBE_POINTS = np.array([[x, y, z] for x in (0, 60) for y in (0, 60) for z in (0, 60)], np.float64)
CUBE = CUBE_POINTS[
    [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]
]  # fmt: skip


def asked(clearturn: Run, *arguments: object) -> Any:
    answer = clearturn("scan", *arguments, "--json")
    assert answer.code == 0, answer.err
    assert answer.err == ""
    jsonschema.validate(answer.json, SCHEMA)
    return answer.json


def codes(answer: Any) -> list[str]:
    return [finding["code"] for finding in answer["findings"]]


def test_a_cube_s_answer_is_the_contract_s(
    clearturn: Run, tmp_path: Path, write_stl: Write
) -> None:
    path = write_stl(tmp_path / "cube.stl", CUBE)
    answer = asked(clearturn, "cube.stl")
    assert answer == {
        "file": "cube.stl",
        "format": "STL, binary",
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "unit": "mm",
        "unit_source": "assumed",
        "triangles": 12,
        "vertices": 8,
        "pieces": 1,
        "open_edges": 0,
        "non_manifold_edges": 0,
        "degenerate_triangles": 0,
        "duplicate_triangles": 0,
        "flipped_pieces": 0,
        "bounds_mm": [[0, 0, 0], [60, 60, 60]],
        "area_mm2": pytest.approx(21600.0),
        "volume_mm3": pytest.approx(216000.0),
        "mean_edge_mm": pytest.approx(40 + 20 * 2**0.5),
        "findings": [],
    }


def test_open_edges_make_the_volume_unknown_and_say_so(
    clearturn: Run, tmp_path: Path, write_stl: Write
) -> None:
    write_stl(tmp_path / "open.stl", CUBE[1:])
    answer = asked(clearturn, "open.stl")
    assert (answer["volume_mm3"], answer["open_edges"], codes(answer)) == (None, 3, ["open-edges"])


@pytest.mark.parametrize(("unit", "to_mm"), [("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4)])
def test_unit_given_wins(
    clearturn: Run, tmp_path: Path, write_stl: Write, unit: str, to_mm: float
) -> None:
    write_stl(tmp_path / "a.stl", CUBE / 8)
    answer = asked(clearturn, "a.stl", "--unit", unit)
    assert (answer["unit"], answer["unit_source"]) == (unit, "given")
    assert answer["bounds_mm"][1] == pytest.approx([7.5 * to_mm] * 3)


@pytest.mark.parametrize(
    ("size", "unit", "proposed"), [(0.5, "mm", "the unit is m"), (500, "m", "the unit is mm")]
)
def test_a_wheel_of_half_a_millimetre_or_half_a_kilometre_proposes_its_unit(
    clearturn: Run, tmp_path: Path, write_stl: Write, *, size: float, unit: str, proposed: str
) -> None:
    write_stl(tmp_path / "wheel.stl", CUBE / 60 * size)
    answer = asked(clearturn, "wheel.stl", "--unit", unit)
    assert codes(answer) == ["odd-size"]
    assert proposed in answer["findings"][0]["text"]


def test_cleaning_shows_the_mesh_without_its_faults_and_leaves_the_file(
    clearturn: Run, tmp_path: Path, write_stl: Write
) -> None:
    flat = np.array([[[0, 0, 0], [60, 0, 0], [60, 0, 0]]])
    inside_out = CUBE[:, ::-1] * 0.5 + 100
    path = write_stl(tmp_path / "a.stl", np.concatenate([CUBE, CUBE[:2, ::-1], flat, inside_out]))
    before = path.read_bytes()
    raw = asked(clearturn, "a.stl")
    assert (raw["triangles"], raw["duplicate_triangles"], raw["degenerate_triangles"]) == (27, 2, 1)
    assert raw["flipped_pieces"] == 1
    clean = asked(clearturn, "a.stl", "--clean")
    assert (clean["triangles"], clean["vertices"], clean["pieces"]) == (24, 16, 2)
    for fault in ("duplicate_triangles", "degenerate_triangles", "flipped_pieces"):
        assert clean[fault] == 0
    assert clean["volume_mm3"] == pytest.approx(60**3 + 30**3)
    assert codes(clean) == ["triangles-left-out", "pieces-turned"]
    assert clean["sha256"] == raw["sha256"]
    assert path.read_bytes() == before


def test_terminal_shows_the_same_in_words(clearturn: Run, tmp_path: Path, write_stl: Write) -> None:
    write_stl(tmp_path / "open.stl", CUBE[1:])
    answer = clearturn("scan", "open.stl")
    assert answer.code == 0
    lines = answer.out.splitlines()
    assert lines[0] == "open.stl"
    for text in (
        "unit          mm (assumed)",
        "triangles     11",
        "open edges    3",
        "size          60.000 × 60.000 × 60.000 mm",
        "volume        not closed",
    ):
        assert f"  {text}" in lines
    assert answer.err.startswith("note: 3 edges are open (204.9 mm in all)")
