"""Read points from a text table: x, y, z in mm, one point a line."""

from __future__ import annotations

import io
import os
import re

import numpy as np
from numpy.typing import NDArray

from clearturn.errors import FileProblem
from clearturn.scan.sniff import foreign_content, looks_like_text
from clearturn.scan.source import open_source

LARGEST_MM = 1.0e7  # as for meshes
HEAD = 4096  # bytes looked at to tell what a file is
_NAMES = re.compile(r'"?\s*([xyz])\s*(?:_mm|\(mm\)|\[mm\]|mm)?\s*"?', re.IGNORECASE)
_MEND = "write one point a line as x,y,z with decimal points"


def read_points(path: str | os.PathLike[str]) -> NDArray[np.float64]:
    """Read an (n, 3) array of points, mm, from a text table.

    Columns are parted by commas, semicolons, tabs or blanks.  A first line of names may stand
    above them and tells which columns are x, y and z; without it there must be three columns.
    Empty lines and lines that begin with # are passed over.

    Raises
    ------
    FileProblem
        If the file is no such table; the message names the line.
    """
    source = open_source(path)
    head = source.head(HEAD)
    if not looks_like_text(head) or head.lstrip().startswith((b"{", b"<")):
        what = foreign_content(head) or "not text"
        raise FileProblem("this is not a table of points", file=source.file, found=what, mend=_MEND)
    try:
        text = source.data.tobytes().decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise FileProblem(
            "this is not a table of points",
            file=source.file,
            place=f"line {source.line_at(problem.start)}",
            found="bytes that are no text",
            mend=_MEND,
        ) from None
    lines = text.splitlines()
    first = next((k for k, line in enumerate(lines) if _counts(line)), None)
    if first is None:
        raise FileProblem("this table holds no points", file=source.file, mend=_MEND)
    split = _separator(lines[first])
    columns, begin = _columns(source.file, lines, first, split)
    if not any(_counts(line) for line in lines[begin:]):
        raise FileProblem("this table holds no points", file=source.file, mend=_MEND)
    points = _fast(lines[begin:], columns, split)
    if points is None:
        points = _slow(source.file, lines, begin, columns, split)
    far = np.abs(points).max(axis=1) > LARGEST_MM
    if far.any() or not np.isfinite(points).all():
        points = _slow(source.file, lines, begin, columns, split)
    return np.ascontiguousarray(points)


def _counts(line: str) -> bool:
    text = line.strip()
    return bool(text) and not text.startswith("#")


def _separator(line: str) -> str | None:
    for sign in (";", "\t", ","):
        if sign in line:
            return sign
    return None


def _cells(line: str, split: str | None) -> list[str]:
    return [cell.strip() for cell in line.strip().split(split)]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _columns(
    file: str, lines: list[str], first: int, split: str | None
) -> tuple[tuple[int, int, int], int]:
    """Return which columns are x, y, z and the first line of points."""
    cells = _cells(lines[first], split)
    place = f"line {first + 1}"
    if any(_is_number(cell) for cell in cells):
        if split != "," and any("," in cell for cell in cells):
            raise _decimal_comma(file, place, lines[first])
        if len(cells) != 3:
            raise FileProblem(
                "the table has no line of names and not three columns",
                file=file,
                place=place,
                found=f"{len(cells)} columns",
                mend="put a line x,y,z above the columns that are meant, " + _MEND,
            )
        return (0, 1, 2), first
    found: dict[str, int] = {}
    for k, cell in enumerate(cells):
        match = _NAMES.fullmatch(cell)
        if match:
            found.setdefault(match[1].lower(), k)
    if len(found) < 3:
        if re.search(r"\d,\d", lines[first]):
            raise _decimal_comma(file, place, lines[first])
        raise FileProblem(
            "this is neither a point nor a line of names with x, y and z",
            file=file,
            place=place,
            found=repr(lines[first].strip()[:60]),
            mend=_MEND,
        )
    return (found["x"], found["y"], found["z"]), first + 1


def _decimal_comma(file: str, place: str, line: str) -> FileProblem:
    return FileProblem(
        "numbers are written with a decimal comma",
        file=file,
        place=place,
        found=repr(line.strip()[:60]),
        mend="write decimal points",
    )


def _fast(
    lines: list[str], columns: tuple[int, int, int], split: str | None
) -> NDArray[np.float64] | None:
    try:
        return np.loadtxt(
            io.StringIO("\n".join(line for line in lines if _counts(line))),
            delimiter=split,
            usecols=columns,
            ndmin=2,
            comments=None,
        )
    except (ValueError, IndexError):
        return None


def _slow(
    file: str, lines: list[str], begin: int, columns: tuple[int, int, int], split: str | None
) -> NDArray[np.float64]:
    """Read line by line, to name the first line that is wrong."""
    rows = []
    for k, line in enumerate(lines[begin:], begin):
        if not _counts(line):
            continue
        cells = _cells(line, split)
        place = f"line {k + 1}"
        if len(cells) <= max(columns):
            raise FileProblem(
                "a point needs three numbers",
                file=file,
                place=place,
                found=repr(line.strip()[:60]),
                mend=_MEND,
            )
        row = []
        for column in columns:
            cell = cells[column]
            if not _is_number(cell):
                if re.fullmatch(r"[-+]?\d+,\d*", cell):
                    raise _decimal_comma(file, place, line)
                raise FileProblem(
                    "not a number", file=file, place=place, found=repr(cell[:40]), mend=_MEND
                )
            value = float(cell)
            if not abs(value) <= LARGEST_MM:
                raise FileProblem(
                    "a coordinate is not a finite number of sensible size",
                    file=file,
                    place=place,
                    found=cell[:40],
                    allowed=f"at most {LARGEST_MM:g} mm",
                    mend="check the unit and the export",
                )
            row.append(value)
        rows.append(row)
    return np.array(rows, dtype=np.float64).reshape(-1, 3)
