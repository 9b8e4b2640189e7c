"""Poses: rigid motions as 4 × 4 row-major matrices, read from files and checked."""

from __future__ import annotations

import json
import stat
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.errors import FileProblem, InputError
from clearturn.tolerances import POSE_RIGID

_MOST_BYTES = 65536  # sixteen numbers and a comment, a hundred times over
LARGEST_SHIFT_MM = 1.0e7  # as the coordinates of a mesh
_SHAPE = "four rows of four numbers, as text or as a JSON list of rows"


def read_pose(path: str | Path) -> NDArray[np.float64]:
    """Read a rigid pose.

    Parameters
    ----------
    path : path
        A text file with sixteen numbers, row by row, parted by blanks, commas or semicolons, with
        ``#`` before a comment; or JSON: a list of four rows of four numbers.

    Returns
    -------
    (4, 4) ndarray
        Row-major; points are moved as ``R @ p + t``.

    Raises
    ------
    FileProblem
        If the file cannot be read or holds anything else.
    InputError
        If the matrix is not a rigid motion.
    """
    text = _read_small(Path(path))
    stripped = text.lstrip(" \t\r\n")
    rows = _json_rows(stripped, path) if stripped.startswith(("[", "{")) else _text_rows(text, path)
    try:
        matrix = np.array(rows, dtype=np.float64)
    except (OverflowError, ValueError):  # rows of uneven length, or an endless integer
        raise FileProblem("not a 4 × 4 matrix", file=path, allowed=_SHAPE) from None
    if matrix.shape != (4, 4):
        found = " × ".join(str(n) for n in matrix.shape)
        raise FileProblem("not a 4 × 4 matrix", file=path, found=found, allowed=_SHAPE)
    return rigid(matrix, file=path)


def rigid(pose: ArrayLike, *, file: str | Path | None = None) -> NDArray[np.float64]:
    """Return `pose` if it is a rotation and a shift, rounded to the nearest exact rotation.

    Parameters
    ----------
    pose : (4, 4) array_like
    file : path, optional
        Named in the error.

    Raises
    ------
    InputError
        If it scales, shears, mirrors, projects or holds a number that is not finite.
    """
    matrix = np.array(pose, dtype=np.float64)
    if matrix.shape != (4, 4):
        raise InputError("a pose is a 4 × 4 matrix", file=file, found=f"shape {matrix.shape}")
    if not np.isfinite(matrix).all():
        raise InputError("a pose holds finite numbers only", file=file)
    if not np.array_equal(matrix[3], [0.0, 0.0, 0.0, 1.0]):
        transposed = np.array_equal(matrix[:, 3], [0.0, 0.0, 0.0, 1.0])
        raise InputError(
            "the last row of a pose is not 0 0 0 1",
            file=file,
            found=" ".join(f"{x:g}" for x in matrix[3]),
            mend="transpose it: the shift stands in the last column" if transposed else None,
        )
    _refuse_unless_rotation(matrix[:3, :3], file)
    far = float(np.abs(matrix[:3, 3]).max())
    if far > LARGEST_SHIFT_MM:
        raise InputError(
            "the pose shifts too far for a part", file=file, found=f"{far:g} mm",
            allowed=f"at most {LARGEST_SHIFT_MM:g} mm", mend="check its unit",
        )  # fmt: skip
    left, _, right = np.linalg.svd(matrix[:3, :3])
    matrix[:3, :3] = left @ right
    return matrix


def placed(shift_mm: ArrayLike, turn_deg: ArrayLike) -> NDArray[np.float64]:
    """Return the pose that turns a part about x, then y, then z, then shifts it.

    Parameters
    ----------
    shift_mm, turn_deg : (3,) array_like
        Along and about the axes that stand still.

    Returns
    -------
    (4, 4) ndarray
    """
    from scipy.spatial.transform import Rotation  # the window stands before it is read

    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_euler("xyz", turn_deg, degrees=True).as_matrix()
    pose[:3, 3] = shift_mm
    return pose


def place_of(pose: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return shift and turns of a pose, (3,) each, so that `placed` makes it again.

    Notes
    -----
    Where y is turned by 90° many turns make the same pose; that without a turn about z is told.
    """
    from scipy.spatial.transform import Rotation

    matrix = rigid(pose)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # the turns that SciPy chooses are good ones
        turn = Rotation.from_matrix(matrix[:3, :3]).as_euler("xyz", degrees=True)
    return matrix[:3, 3], np.asarray(turn)


def _refuse_unless_rotation(turn: NDArray[np.float64], file: str | Path | None) -> None:
    # Huge entries would overflow when squared; what is wrong with them shows all the same.
    lengths = np.array([np.hypot(np.hypot(*column[:2]), column[2]) for column in turn.T])
    if np.abs(lengths - 1.0).max() > POSE_RIGID:
        same = np.ptp(lengths) <= POSE_RIGID * lengths.max()
        raise InputError(
            "the pose is not rigid: its columns are not of length 1",
            file=file,
            found="lengths " + " ".join(f"{x:.7g}" for x in lengths),
            mend="give a scale with --scale-first or --scale-second, or write more digits"
            if same
            else "write the matrix with at least 7 digits",
        )
    skew = np.abs(turn.T @ turn - np.eye(3)).max()
    if skew > POSE_RIGID:
        raise InputError(
            "the pose is not rigid: its columns are not square to each other",
            file=file,
            found=f"cosine {skew:.2g}",
            allowed=f"at most {POSE_RIGID:g}",
        )
    if np.linalg.det(turn) < 0:
        raise InputError("the pose mirrors, which no rigid motion does", file=file)


def _read_small(path: Path) -> str:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise FileProblem("not a file", file=path, allowed=_SHAPE)
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        raise FileProblem("there is no such file", file=path) from None
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise FileProblem(f"cannot be read: {reason}", file=path) from None
    if len(data) > _MOST_BYTES:
        raise FileProblem("too long for a pose", file=path, allowed=_SHAPE)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileProblem("not a text file", file=path, allowed=_SHAPE) from None


def _json_rows(text: str, path: str | Path) -> Any:
    try:
        rows = json.loads(text)
    except (ValueError, RecursionError):
        raise FileProblem("not valid JSON", file=path, allowed=_SHAPE) from None
    numbers = isinstance(rows, list) and all(
        isinstance(row, list)
        and all(isinstance(x, int | float) and not isinstance(x, bool) for x in row)
        for row in rows
    )
    if not numbers:
        raise FileProblem("not a list of rows of numbers", file=path, allowed=_SHAPE)
    return rows


def _text_rows(text: str, path: str | Path) -> list[list[float]]:
    values = []
    for count, line in enumerate(text.splitlines(), start=1):
        for word in line.partition("#")[0].replace(",", " ").replace(";", " ").split():
            try:
                values.append(float(word))
            except ValueError:
                raise FileProblem(
                    "not a number", file=path, place=f"line {count}", found=repr(word[:40])
                ) from None
    if len(values) != 16:
        raise FileProblem(
            "not a 4 × 4 matrix", file=path, found=f"{len(values)} numbers", allowed=_SHAPE
        )
    return [values[i : i + 4] for i in range(0, 16, 4)]
