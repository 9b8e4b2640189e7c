"""`clearturn gap` as docs/manual/command-line.md has it: answers, options, refusals."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from scipy.spatial.transform import Rotation

Run = Callable[..., Any]
Write = Callable[..., Path]

SCHEMA = json.loads(
    (Path(__file__).resolve().parents[2] / "docs/schema/gap.schema.json").read_text()
)
CORNER_RADIUS = 20 * np.sqrt(2)


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> np.ndarray:
    """Twelve triangles (12, 3, 3) of a box, outward."""
    corners = np.array(
        [
            [x, y, z]
            for x in (low[0], high[0])
            for y in (low[1], high[1])
            for z in (low[2], high[2])
        ],
        dtype=float,
    )
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))]
    return corners[faces]


@pytest.fixture
def turning(tmp_path: Path, write_stl: Write) -> Path:
    """A square block on the z axis; over a turn its edges reach 20·√2."""
    return write_stl(tmp_path / "turning.stl", box((-20, -20, -5), (20, 20, 5)))


@pytest.fixture
def fixed(tmp_path: Path, write_stl: Write) -> Path:
    """A block whose inner face stands at x = 40."""
    return write_stl(tmp_path / "fixed.stl", box((40, -10, -5), (50, 10, 5)))


def answer_of(clearturn: Run, *arguments: object, code: int = 0) -> dict[str, Any]:
    """Run, check exit code, purity and schema, and return the object."""
    answer = clearturn("gap", *arguments, "--json")
    assert answer.code == code, answer.err
    assert answer.err == ""
    found: dict[str, Any] = answer.json
    Draft202012Validator(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER).validate(found)
    return found


def holds(answer: dict[str, Any], value: float, width: float = 0.001) -> bool:
    lower, upper = answer["gap_mm"]["lower"], answer["gap_mm"]["upper"]
    # Coordinates of up to 2 m, rounded to double precision some dozen times.
    return bool(lower - 1e-12 <= value <= upper + 1e-12 and upper - lower <= width + 1e-11)


def turned(point: list[float], angle_deg: float) -> np.ndarray:
    return Rotation.from_rotvec([0, 0, np.radians(angle_deg)]).apply(point)


def test_full_turn_is_the_corner_s_radius(clearturn: Run, fixed: Path, turning: Path) -> None:
    answer = answer_of(clearturn, fixed, turning, "--turns", "second")
    assert answer["state"] == "apart"
    assert holds(answer, 40 - CORNER_RADIUS)
    # The corner meets the inner face at y = 0; there r, z and the angle follow from the box.
    assert answer["first_point_mm"][0] == pytest.approx(40, abs=1e-3)
    assert answer["first_rz_mm"][0] == pytest.approx(40, abs=1e-3)
    assert answer["second_rz_mm"][0] == pytest.approx(CORNER_RADIUS, abs=1e-3)
    np.testing.assert_allclose(answer["direction"], [-1, 0, 0], atol=1e-3)
    between = np.subtract(answer["second_point_mm"], answer["first_point_mm"])
    assert np.linalg.norm(between) == pytest.approx(40 - CORNER_RADIUS, abs=1e-3)
    # Turned back by the angle, the second point lies on an edge of the block as it is in the file.
    back = turned(answer["second_point_mm"], -answer["turn_angle_deg"])
    np.testing.assert_allclose(np.abs(back[:2]), [20, 20], atol=2e-3)


def test_first_may_be_the_one_that_turns(clearturn: Run, fixed: Path, turning: Path) -> None:
    answer = answer_of(clearturn, turning, fixed, "--turns", "first")
    assert holds(answer, 40 - CORNER_RADIUS)
    np.testing.assert_allclose(answer["direction"], [1, 0, 0], atol=1e-3)


def test_still_is_the_plain_distance(clearturn: Run, fixed: Path, turning: Path) -> None:
    answer = answer_of(clearturn, fixed, turning)
    assert holds(answer, 20)
    assert answer["turn_angle_deg"] is None
    assert answer["first_rz_mm"] is None


def test_tolerance_bounds_the_width(clearturn: Run, fixed: Path, turning: Path) -> None:
    for tolerance in ("0.1", "1e-5"):
        answer = answer_of(
            clearturn, fixed, turning, "--turns", "second", "--tolerance-mm", tolerance
        )
        assert holds(answer, 40 - CORNER_RADIUS, float(tolerance))


def test_unit_then_scale_then_pose(
    clearturn: Run, fixed: Path, turning: Path, tmp_path: Path, write_stl: Write
) -> None:
    # In inches at half size, then moved 100 mm along x: the face at 4 stands at 2 in + 100 mm.
    write_stl(tmp_path / "inches.stl", box((4, -1, -1), (5, 1, 1)))
    (tmp_path / "pose.txt").write_text("1 0 0 100\n0 1 0 0\n0 0 1 0\n0 0 0 1\n")
    answer = answer_of(
        clearturn, "inches.stl", turning, "--unit-first", "in", "--scale-first", "0.5",
        "--pose-first", "pose.txt",
    )  # fmt: skip
    assert holds(answer, 2 * 25.4 + 100 - 20)


@pytest.mark.parametrize("side", ["first", "second"])
def test_slanted_axis_far_away_gives_the_same_gap(
    clearturn: Run, fixed: Path, turning: Path, tmp_path: Path, side: str
) -> None:
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_rotvec([1.0, -0.4, 2.0]).as_matrix()
    pose[:3, 3] = [1500, -700, 900]
    (tmp_path / "pose.json").write_text(json.dumps(pose.tolist()))
    point = pose[:3, 3] + 33 * pose[:3, 2]
    first, second = (fixed, turning) if side == "second" else (turning, fixed)
    answer = answer_of(
        clearturn, first, second, "--turns", side, "--pose-first", "pose.json",
        "--pose-second", "pose.json", "--axis-point", *point, "--axis-direction", *7 * pose[:3, 2],
    )  # fmt: skip
    assert holds(answer, 40 - CORNER_RADIUS)
    # Height is counted from the axis point.
    assert -38.01 <= answer["second_rz_mm"][1] <= -27.99


def test_reversed_axis_reverses_the_angle(clearturn: Run, fixed: Path, turning: Path) -> None:
    answer = answer_of(
        clearturn, fixed, turning, "--turns", "second", "--axis-direction", 0, 0, "-1e-3"
    )
    back = turned(answer["second_point_mm"], answer["turn_angle_deg"])
    np.testing.assert_allclose(np.abs(back[:2]), [20, 20], atol=2e-3)


def test_interfering_exits_1(
    clearturn: Run, turning: Path, tmp_path: Path, write_stl: Write
) -> None:
    # Clear when still (x from 25), hit by the corners (28.28) on turning.
    write_stl(tmp_path / "near.stl", box((25, -10, -5), (35, 10, 5)))
    assert answer_of(clearturn, "near.stl", turning)["state"] == "apart"
    answer = answer_of(clearturn, "near.stl", turning, "--turns", "second", code=1)
    assert answer["state"] == "interfering"
    assert answer["interference"]["crossing"] is True
    assert answer["gap_mm"]["upper"] < 0
    shifts = {one["way"]: one["shift_mm"] for one in answer["interference"]["shifts"]}
    # Past the turning corners at hypot(20, 20), leaving 0.01 mm.
    assert shifts["outward"]["upper"] == pytest.approx(math.hypot(20, 20) - 25 + 0.01, abs=0.003)
    assert {one["moves"] for one in answer["interference"]["shifts"]} == {"first"}
    assert answer["interference"]["hits_deg"]
    told = clearturn("gap", "near.stl", turning, "--turns", "second").out
    assert re.search(r"free if       the first moves outward by 3\.\d{4} to 3\.\d{4} mm", told)
    assert "hits          turned by " in told


def test_wholly_inside_exits_1(
    clearturn: Run, turning: Path, tmp_path: Path, write_stl: Write
) -> None:
    write_stl(tmp_path / "inside.stl", box((-1, -1, -1), (1, 1, 1)))
    answer = answer_of(clearturn, "inside.stl", turning, code=1)
    assert answer["interference"]["contained"] == "first in second"
    assert answer["interference"]["crossing"] is False


def test_touching_exits_0(clearturn: Run, turning: Path, tmp_path: Path, write_stl: Write) -> None:
    write_stl(tmp_path / "touching.stl", box((20, -10, -5), (30, 10, 5)))
    answer = answer_of(clearturn, "touching.stl", turning)
    assert answer["state"] == "touching"
    assert answer["direction"] is None or np.linalg.norm(answer["direction"]) == pytest.approx(1)


def test_unknown_sign_exits_3(clearturn: Run, tmp_path: Path, write_stl: Write) -> None:
    # A small block inside a shell that lacks half its faces: in or out cannot be known.
    write_stl(tmp_path / "shell.stl", box((-20, -20, -20), (20, 20, 20))[:6])
    write_stl(tmp_path / "inside.stl", box((-1, -1, -1), (1, 1, 1)))
    answer = answer_of(clearturn, "inside.stl", "shell.stl", code=3)
    assert answer["state"] == "sign unknown"
    assert answer["findings"]


def test_an_axis_without_turning_is_doubted(clearturn: Run, fixed: Path, turning: Path) -> None:
    answer = answer_of(clearturn, fixed, turning, "--axis-point", 0, 0, 1)
    assert "axis-not-used" in [f["code"] for f in answer["findings"]]


def test_findings_name_their_file(
    clearturn: Run, fixed: Path, tmp_path: Path, write_stl: Write
) -> None:
    write_stl(tmp_path / "tiny.stl", box((0, 0, 0), (1e-2, 1e-2, 1e-2)))
    answer = answer_of(clearturn, fixed, "tiny.stl")
    assert any(f["text"].startswith("tiny.stl: ") for f in answer["findings"])


def test_text_says_state_gap_and_angle(clearturn: Run, fixed: Path, turning: Path) -> None:
    answer = clearturn("gap", fixed, turning, "--turns", "second")
    assert answer.code == 0
    assert "apart" in answer.out
    assert "11.71" in answer.out  # 40 − 20·√2 = 11.7157…
    assert "turned by" in answer.out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--axis-direction", "0", "0", "0"], "no length"),
        (["--axis-point", "nan", "0", "0"], "finite"),
        (["--axis-point", "1", "2"], "--axis-point"),
        (["--axis-point", "1,5", "2", "3"], "decimal point"),
        (["--tolerance-mm", "0"], "--tolerance-mm"),
        (["--tolerance-mm", "-1"], "--tolerance-mm"),
        (["--tolerance-mm", "1e-9"], "1e-06 to 10 mm"),
        (["--tolerance-mm", "inf"], "finite"),
        (["--scale-first", "0"], "--scale-first"),
        (["--scale-second", "-1"], "--scale-second"),
        (["--unit-first", "ft"], "--unit-first"),
        (["--pose-first", "absent.txt"], "absent.txt"),
        (["--pose-second", "."], "not a file"),
        (["--turns", "third"], "--turns"),
    ],
)
def test_options_that_make_no_sense_are_refused(
    clearturn: Run, fixed: Path, turning: Path, options: list[str], words: str
) -> None:
    answer = clearturn("gap", fixed, turning, *options, "--json")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    assert words in answer.err


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize("content", [None, b"", b"solid", b"\x89PNG\r\n", b"x" * 100])
def test_files_that_are_no_mesh_are_refused_by_name(
    clearturn: Run, fixed: Path, tmp_path: Path, place: int, content: bytes | None
) -> None:
    if content is not None:
        (tmp_path / "bad.stl").write_bytes(content)
    files = [fixed, fixed]
    files[place] = Path("bad.stl")
    answer = clearturn("gap", *files)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    assert "bad.stl" in answer.err


def test_pose_that_scales_is_refused(
    clearturn: Run, fixed: Path, turning: Path, tmp_path: Path
) -> None:
    np.savetxt(tmp_path / "pose.txt", np.diag([25.4, 25.4, 25.4, 1]))
    answer = clearturn("gap", fixed, turning, "--pose-first", "pose.txt")
    assert answer.code == 2
    assert "--scale-first" in answer.err
