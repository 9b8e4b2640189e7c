"""``clearturn fit`` as the contract has it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "schema" / "fit.schema.json").read_text(encoding="utf-8")
)
DATA = Path(__file__).parent.parent / "reference" / "data" / "fit"
KEYS = {
    "plane": {"direction"},
    "line": {"direction", "length_mm"},
    "circle": {"direction", "radius_mm", "arc_deg"},
    "cylinder": {"direction", "radius_mm", "arc_deg", "length_mm"},
    "cone": {"direction", "radius_mm", "half_angle_deg", "arc_deg", "length_mm"},
    "sphere": {"radius_mm", "arc_deg"},
}
COMMON = {
    "feature", "points", "point_mm", "rms_mm", "form_mm", "min_residual_mm", "max_residual_mm",
    "standard_uncertainty", "effective_points", "findings",
}  # fmt: skip
SURE = {
    "plane": {"point_mm", "direction_rad"},
    "line": {"point_mm", "direction_rad"},
    "circle": {"point_mm", "direction_rad", "radius_mm"},
    "cylinder": {"point_mm", "direction_rad", "radius_mm"},
    "cone": {"point_mm", "direction_rad", "radius_mm", "half_angle_rad"},
    "sphere": {"point_mm", "radius_mm"},
}
FILES = {
    "plane": "plane_1_hub_face.csv",
    "line": "line_1.csv",
    "circle": "circle_1_full.csv",
    "cylinder": "cylinder_1_full.csv",
    "cone": "cone_1_seat60.csv",
    "sphere": "sphere_1_full.csv",
}


@pytest.mark.parametrize("feature", list(FILES))
def test_json_has_the_keys_that_apply_and_no_others(
    clearturn: Callable[..., Any], feature: str
) -> None:
    answer = clearturn("fit", feature, DATA / FILES[feature], "--json")
    assert answer.code == 0
    assert set(answer.json) == COMMON | KEYS[feature]
    assert set(answer.json["standard_uncertainty"]) == SURE[feature]
    assert answer.json["feature"] == feature
    jsonschema.validate(answer.json, SCHEMA)
    robust = clearturn("fit", feature, DATA / FILES[feature], "--json", "--robust")
    jsonschema.validate(robust.json, SCHEMA)
    assert {"scale_mm", "inliers"} < set(robust.json)


def test_text_answer_and_findings_on_stderr(clearturn: Callable[..., Any]) -> None:
    answer = clearturn("fit", "cylinder", DATA / "cylinder_4_arc40.csv")
    assert answer.code == 0
    assert "radius" in answer.out
    assert "60.000000 mm" in answer.out  # the reference radius of this set
    assert "arc of only 40°" in answer.err


def test_robust_states_scale_and_inliers(clearturn: Callable[..., Any], tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(-30, 30, (400, 2)), rng.normal(0, 0.02, 400)])
    points[:80, 2] += 3.0
    table = tmp_path / "face.csv"
    np.savetxt(table, points, delimiter=",", header="x,y,z", comments="")
    answer = clearturn("fit", "plane", table, "--robust", "--json").json
    assert answer["inliers"] == pytest.approx(320, abs=3)
    assert answer["scale_mm"] == pytest.approx(0.02, rel=0.15)
    assert abs(answer["point_mm"][2]) < 0.01


def _stl(path: Path, vertices: np.ndarray, faces: np.ndarray) -> Path:
    record = np.zeros(len(faces), dtype=[("n", "<3f4"), ("v", "<9f4"), ("a", "<u2")])
    record["v"] = vertices[faces].reshape(len(faces), 9)
    path.write_bytes(b"\0" * 80 + np.uint32(len(faces)).tobytes() + record.tobytes())
    return path


def _box(path: Path) -> Path:
    # A box 40 × 30 × 20, each side a fine grid, so that a side can be grown from a seed.
    points, faces, offset = [], [], 0
    size = np.array([40.0, 30.0, 20.0])
    for axis in range(3):
        for high in (0.0, 1.0):
            u, v = np.meshgrid(np.linspace(0, 1, 11), np.linspace(0, 1, 11), indexing="ij")
            side = np.zeros((11, 11, 3))
            side[..., axis] = high
            side[..., (axis + 1) % 3] = u
            side[..., (axis + 2) % 3] = v
            points.append((side * size).reshape(-1, 3))
            i, j = np.meshgrid(np.arange(10), np.arange(10), indexing="ij")
            a = (i * 11 + j).ravel() + offset
            two = np.concatenate(
                [np.stack([a, a + 11, a + 12], 1), np.stack([a, a + 12, a + 1], 1)]
            )
            faces.append(two if high else two[:, ::-1])
            offset += 121
    return _stl(path, np.concatenate(points), np.concatenate(faces))


def test_a_mesh_with_a_seed_is_fitted_by_its_patch(
    clearturn: Callable[..., Any], tmp_path: Path
) -> None:
    box = _box(tmp_path / "box.stl")
    answer = clearturn("fit", "plane", box, "--seed", 20, 15, 21, "--json").json
    assert answer["point_mm"][2] == pytest.approx(20.0, abs=1e-5)
    assert abs(answer["direction"][2]) == pytest.approx(1.0)
    assert answer["form_mm"] < 1e-4


def test_a_mesh_without_a_seed_is_fitted_whole(
    clearturn: Callable[..., Any], tmp_path: Path
) -> None:
    box = _box(tmp_path / "box.stl")
    answer = clearturn("fit", "plane", box, "--json").json
    # Its vertices after welding: 6 sides of 11 × 11, less the shared rims.
    assert answer["points"] == 6 * 121 - 12 * 9 - 8 * 2
    assert answer["form_mm"] > 5.0


def test_unit_of_a_mesh_is_taken(clearturn: Callable[..., Any], tmp_path: Path) -> None:
    box = _box(tmp_path / "box.stl")
    answer = clearturn("fit", "plane", box, "--unit", "cm", "--seed", 200, 150, 200, "--json").json
    assert answer["point_mm"][2] == pytest.approx(200.0, abs=1e-4)


BAD = {
    "": "empty",
    "# nothing\n\n": "no points",
    "x,y,z\n": "no points",
    "x;y;z\n1,5;2,0;3,0\n": "decimal comma",
    "1,5 2,0 3,0\n": "decimal comma|line of names",
    "1;2,5;3\n": "decimal comma",
    "1,2\n3,4\n": "2 columns",
    "1,2,3,4\n": "4 columns",
    "x,y,z\n1,2,3\n4,five,6\n": "line 3.*not a number, found 'five'",
    "x,y,z\n1,2,3\n4,5\n": "line 3.*three numbers",
    "1,2,3\n1,2,nan\n": "line 2.*finite",
    "1,2,3\n1,2,inf\n": "line 2.*finite",
    "1,2,3\n1,2,1e300\n": "line 2.*sensible size",
    "a,b,c\n1,2,3\n": "line 1.*neither",
    '{"points": []}': "not a table",
}


@pytest.mark.parametrize("text", list(BAD), ids=range(len(BAD)))
def test_a_bad_table_exits_2_with_one_sentence(
    clearturn: Callable[..., Any], tmp_path: Path, text: str
) -> None:
    import re

    table = tmp_path / "points.csv"
    table.write_text(text, encoding="utf-8")
    answer = clearturn("fit", "plane", table, "--json")
    assert answer.code == 2
    assert answer.out == ""
    assert len(answer.err.strip().splitlines()) == 1
    assert "points.csv" in answer.err
    assert re.search(BAD[text], answer.err), answer.err


GOOD = [
    "x,y,z\r\n0,0,1\r\n1,0,1\r\n0,1,1\r\n1,1,1\r\n",
    "\ufeffx,y,z\n0,0,1\n1,0,1\n0,1,1\n1,1,1",
    "0 0 1\n1 0 1\n0 1 1\n1 1 1\n",
    "0\t0\t1\n1\t0\t1\n\n0\t1\t1\n1\t1\t1\n",
    "# made by hand\nn;Y_mm;Z [mm];X\na;0;1;0\nb;0;1;1\nc;1;1;0\nd;1;1;1\n",
    '"x", "y", "z"\n0, 0, 1\n1, 0, 1\n0, 1, 1\n1e0, 1, 1\n',
]


@pytest.mark.parametrize("text", GOOD, ids=range(len(GOOD)))
def test_tables_as_programs_write_them_are_read(
    clearturn: Callable[..., Any], tmp_path: Path, text: str
) -> None:
    table = tmp_path / "points.csv"
    table.write_bytes(text.encode("utf-8"))
    answer = clearturn("fit", "plane", table, "--json")
    assert answer.code == 0, answer.err
    assert answer.json["point_mm"] == pytest.approx([0.5, 0.5, 1.0])
    assert answer.json["direction"] == pytest.approx([0, 0, 1])


def test_other_bad_inputs_exit_2(clearturn: Callable[..., Any], tmp_path: Path) -> None:
    table = DATA / "plane_1_hub_face.csv"
    picture = tmp_path / "p.csv"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0")
    for arguments, said in (
        (("fit", "torus", table), "torus"),
        (("fit", "plane", tmp_path), "folder"),
        (("fit", "plane", tmp_path / "none.csv"), "no such file"),
        (("fit", "plane", picture), "PNG"),
        (("fit", "plane", table, "--seed", 1, 2, 3), "--seed"),
        (("fit", "plane", table, "--unit", "m"), "--unit"),
        (("fit", "plane", table, "--seed", 1, 2, "x"), "not a number"),
    ):
        answer = clearturn(*arguments)
        assert answer.code == 2, answer.err
        assert said in answer.err
        assert len(answer.err.strip().splitlines()) == 1
