"""Dial readings as they come: typed, pasted, or a csv file with a column a place.

A csv file names its columns in the first line: `rotor_mm`, `hub_face_mm`, `thickness_mm`,
`register_mm`, and `angle_deg` if the angles are written down.  Columns may end early.  Numbers
have a decimal point: a comma would be read as two cells, and is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from clearturn.trade.inputs import SumProblem

COLUMNS = ("rotor_mm", "hub_face_mm", "thickness_mm", "register_mm")
ANGLE = "angle_deg"
MOST_BYTES = 1_000_000
_STEP_DEG = 1.0  # how far a written angle may stand off its equal step
_POINT = "write a decimal point"


def parse_readings(text: str) -> tuple[float, ...]:
    """Return readings typed or pasted: numbers parted by blanks, lines, semicolons or commas.

    Lines of text before the first number (a head) are passed over.  With two columns the last is
    read, as in "angle; reading".

    Raises
    ------
    SumProblem
        If something in between is no number, or a comma may be a decimal sign.
    """
    rows: list[list[str]] = []
    for line in text.splitlines():
        if _decimal_commas(line):
            raise SumProblem("a comma parts numbers here", found=_shown(line), mend=_POINT)
        cells = [cell for cell in re.split(r"[;,\s]+", line.strip()) if cell]
        if cells:
            rows.append(cells)
    while rows and not any(_number(cell) for cell in rows[0]):
        rows.pop(0)
    pairs = {len(row) for row in rows} == {2} and len(rows) > 1
    values = [cell for row in rows for cell in (row[-1:] if pairs else row)]
    for value in values:
        if not _number(value):
            raise SumProblem("not a number among the readings", found=_shown(value))
    return tuple(_value(value) for value in values)


def _decimal_commas(line: str) -> bool:
    if "." in line:
        return False
    # "0,015" alone or before a separator; "-0,015 0,020" with blanks between.
    words = [word for word in re.split(r"[;\s]+", line.strip()) if word]
    return bool(words) and any(re.fullmatch(r"[-+−]?0*\d,\d+", word) for word in words)


def _number(text: str) -> bool:
    return re.fullmatch(r"[-+−]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,2})?", text) is not None


def _value(text: str) -> float:
    return float(text.replace("−", "-"))


def _shown(text: str) -> str:
    return repr(text.strip()[:40])


def readings_table(text: str) -> dict[str, tuple[float, ...]]:
    """Return the readings of a csv file by the names of their columns.

    Cells are parted by semicolons, tabs or commas, whichever the first line has.

    Raises
    ------
    SumProblem
        For the first fault, its path the line and the column.
    """
    lines = [(n, line) for n, line in enumerate(text.splitlines(), start=1) if line.strip(" ;,\t")]
    if not lines:
        raise SumProblem("the file is empty", allowed=_told_columns())
    (number, head), *rows = lines
    separator = next((mark for mark in ";\t" if mark in head), ",")
    names = _names(head.split(separator), number)
    columns: dict[str, list[float]] = {name: [] for name in names}
    for number, line in rows:
        for name, value in _row(names, line.split(separator), number, separator):
            if value is None:
                continue
            before = max((len(columns[other]) for other in names), default=0)
            if len(columns[name]) < before - 1:
                raise SumProblem(
                    "a reading is missing above", f"line {number}", name,
                    allowed="empty cells at the end of a column", mend="fill the gap",
                )  # fmt: skip
            columns[name].append(value)
    found = {name: tuple(values) for name, values in columns.items() if values}
    if not found.keys() & set(COLUMNS):
        raise SumProblem("no readings stand below the names of the columns", f"line {lines[0][0]}")
    _check_angles(found)
    return {name: found[name] for name in COLUMNS if name in found}


def _names(cells: list[str], number: int) -> list[str]:
    names = [cell.strip().strip('"').lower() for cell in cells]
    while names and not names[-1]:
        names.pop()
    if all(_number(name.replace(",", ".")) for name in names):
        raise SumProblem(
            "the first line must name the columns", f"line {number}", found=_shown(",".join(names)),
            allowed=_told_columns(),
        )  # fmt: skip
    for i, name in enumerate(names):
        if name not in (*COLUMNS, ANGLE):
            raise SumProblem(
                "this column is not known", f"line {number}", found=repr(name),
                allowed=_told_columns(),
            )  # fmt: skip
        if name in names[:i]:
            raise SumProblem("this column stands twice", f"line {number}", found=repr(name))
    return names


def _told_columns() -> str:
    return ", ".join((*COLUMNS, ANGLE))


def _row(
    names: list[str], cells: list[str], number: int, separator: str
) -> Iterator[tuple[str, float | None]]:
    cells = [cell.strip().strip('"') for cell in cells]
    while len(cells) > len(names) and not cells[-1]:
        cells.pop()
    if len(cells) > len(names):
        mend = f"{_POINT}, not a comma" if separator == "," else "put one number into each cell"
        raise SumProblem(
            "more cells than columns", f"line {number}", found=str(len(cells)),
            allowed=str(len(names)), mend=mend,
        )  # fmt: skip
    for name, cell in zip(names, cells, strict=False):
        if re.fullmatch(r"[-+−]?\d+,\d+", cell):
            raise SumProblem(
                "a decimal comma", f"line {number}", name, found=_shown(cell), mend=_POINT
            )
        if cell and not _number(cell):
            raise SumProblem(
                "not a number", f"line {number}", name, found=_shown(cell), allowed="mm, as 0.015"
                if name != ANGLE else "degrees, as 36",
            )  # fmt: skip
        yield name, _value(cell) if cell else None


def _check_angles(found: dict[str, tuple[float, ...]]) -> None:
    angles = found.get(ANGLE)
    if angles is None:
        return
    count = len(angles)
    for name, values in found.items():
        if name != ANGLE and len(values) != count:
            raise SumProblem(
                "not as many readings as angles", name, found=str(len(values)), allowed=str(count)
            )
    for i, angle in enumerate(angles):
        wanted = angles[0] + 360.0 * i / count
        if abs(angle - wanted) > _STEP_DEG:
            raise SumProblem(
                "the angles are not equal steps of one turn", ANGLE, found=f"{angle:g}",
                allowed=f"{wanted:g} at reading {i + 1} of {count}; leave out a last reading that "
                "repeats the first",
            )  # fmt: skip
