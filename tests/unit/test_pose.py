"""Reading poses: rigid ones as they are, anything else refused with its reason."""

from __future__ import annotations

import json
import os
import warnings
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from clearturn.errors import InputError
from clearturn.pose import place_of, placed, read_pose, rigid


def some_pose() -> np.ndarray:
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_rotvec([0.3, -1.1, 0.7]).as_matrix()
    pose[:3, 3] = [12.5, -400.25, 3e-3]
    return pose


@pytest.mark.parametrize(
    "style",
    [
        lambda m: "\n".join(" ".join(map(repr, row)) for row in m.tolist()),
        lambda m: "# a pose\r\n" + "\r\n".join(", ".join(map(repr, row)) for row in m.tolist()),
        lambda m: ";".join(map(repr, m.ravel().tolist())) + "  # all on one line",
        lambda m: "\ufeff" + json.dumps(m.tolist()),
        lambda m: json.dumps(m.tolist(), indent=4),
    ],
    ids=["text", "commas and CRLF", "one line", "JSON with a mark", "JSON"],
)
def test_every_spelling_gives_the_same_pose(style: object, tmp_path: Path) -> None:
    path = tmp_path / "pose.txt"
    path.write_text(style(some_pose()), encoding="utf-8")  # type: ignore[operator]
    np.testing.assert_allclose(read_pose(path), some_pose(), rtol=0, atol=1e-14)


def test_rounded_pose_becomes_an_exact_rotation() -> None:
    rounded = np.round(some_pose(), 7)
    turn = rigid(rounded)[:3, :3]
    np.testing.assert_allclose(turn.T @ turn, np.eye(3), rtol=0, atol=1e-15)
    assert np.abs(turn - some_pose()[:3, :3]).max() < 1e-7


def wrong(change: object) -> np.ndarray:
    pose = some_pose()
    change(pose)  # type: ignore[operator]
    return pose


def sheared() -> np.ndarray:
    pose = np.eye(4)
    pose[:2, 1] = [0.1, np.sqrt(0.99)]
    return pose


@pytest.mark.parametrize(
    ("pose", "words"),
    [
        (some_pose() * [[25.4], [25.4], [25.4], [1]], "--scale-first"),
        (some_pose() * [[1, 1, 1.01, 1]], "length 1"),
        (some_pose() @ np.diag([1, 1, -1, 1]), "mirrors"),
        (np.round(some_pose(), 3), "7 digits"),
        (some_pose().T, "transpose"),
        (wrong(lambda p: p.__setitem__((3, 0), 1e-9)), "last row"),
        (wrong(lambda p: p.__setitem__((0, 3), np.nan)), "finite"),
        (wrong(lambda p: p.__setitem__((0, 0), np.inf)), "finite"),
        (np.zeros((4, 4)), "last row"),
        (np.diag([0.0, 0.0, 0.0, 1.0]), "length 1"),
        (np.diag([1e200, 1e200, 1e200, 1.0]), "length 1"),
        (np.diag([-1.0, -1.0, -1.0, 1.0]), "mirrors"),
        (sheared(), "square"),
        (np.eye(3), "4 × 4"),
    ],
)  # fmt: skip
def test_what_is_not_rigid_is_refused_with_its_reason(pose: np.ndarray, words: str) -> None:
    with pytest.raises(InputError, match=words):
        rigid(pose)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "found 0 numbers"),
        (b"1 2 3", "found 3 numbers"),
        (b"1 0 0 0\n0 1 x 0\n", "line 2: not a number, found 'x'"),
        (b"[[1,0,0,0],[0,1,0,0],[0,0,1,0]]", "not a 4 × 4 matrix, found 3 × 4"),
        (b"[[1,0,0,0],[0,1,0],[0,0,1,0],[0,0,0,1]]", "not a 4 × 4"),
        (b"[1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1]", "list of rows"),
        (b'[["1",0,0,0]]', "list of rows"),
        (b"[[true,0,0,0]]", "list of rows"),
        (b'{"pose": 1}', "list of rows"),
        (b"[[1, 0", "not valid JSON"),
        (b"[" * 60000, "not valid JSON"),
        (b"[[" + b"9" * 400 + b",0,0,0]]", "4 × 4"),
        (b"[[NaN,0,0,0],[0,1,0,0],[0,0,1,0],[0,0,0,1]]", "finite"),
        (b"\xff\xfe\x00", "not a text file"),
        (b"0 " * 40000, "too long"),
    ],
)
def test_what_is_no_matrix_is_refused_with_its_place(
    content: bytes, words: str, tmp_path: Path
) -> None:
    path = tmp_path / "pose.txt"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_pose(path)
    assert words in str(caught.value)
    assert str(path) in str(caught.value)


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    for name in (".", "pipe", "loop", "absent", "zero\0byte"):
        with pytest.raises(InputError):
            read_pose(f"{tmp_path}/{name}")


def test_placing_turns_about_standing_axes_and_is_read_back() -> None:
    pose = placed((1.0, 2.0, 3.0), (90.0, 0.0, 90.0))
    # About x: y goes to z.  Then about z: z stays.
    assert np.allclose(pose @ [0, 1, 0, 1], [1, 2, 4, 1])
    assert np.allclose(pose @ [1, 0, 0, 1], [1, 3, 3, 1])
    rng = np.random.default_rng(7)
    for _ in range(200):
        turn = rng.uniform((-180, -90, -180), (180, 90, 180))
        pose = placed(rng.uniform(-500, 500, 3), turn)
        assert np.allclose(placed(*place_of(pose)), pose, atol=1e-9)


@pytest.mark.parametrize("about_y", [90.0, -90.0])
def test_place_is_told_without_warnings_where_many_turns_make_it(about_y: float) -> None:
    pose = placed((0.0, 0.0, 0.0), (30.0, about_y, 20.0))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = place_of(pose)
    assert np.allclose(placed(*found), pose, atol=1e-9)
