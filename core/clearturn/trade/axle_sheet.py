"""Axle sheet: old and new brake side by side, as entered and as the other sums found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clearturn.trade.inputs import Any_, Checked, SumProblem
from clearturn.trade.sheet import Grid, Sheet, num, plain_values, signed


@dataclass(frozen=True, slots=True)
class Row(Checked):
    """One number of the axle before and after; None: not known.

    Attributes
    ----------
    what, unit
        What the number is.
    old, new
        Before and after; none: not known.
    decimals
        It is written with.
    source
        Where it comes from.
    """

    what: str
    unit: str
    old: Any_ | None = None
    new: Any_ | None = None
    decimals: int = 1
    source: str = "entered"


@dataclass(frozen=True, slots=True)
class AxleSheet(Checked):
    """Inputs of the sum.

    Attributes
    ----------
    axle
        Which one, for the title.
    """

    axle: str = "front"
    rows: tuple[Row, ...] = ()

    def check(self) -> None:
        """Refuse a row that stands twice."""
        names = [row.what for row in self.rows]
        for i, name in enumerate(names):
            if name in names[:i]:
                raise SumProblem("this row stands twice", "rows", i, "what", found=repr(name))


def merged(rows: Sequence[Row], found: Sequence[Row]) -> tuple[Row, ...]:
    """Return the entered rows, then those of other sums that were not entered."""
    entered = {row.what for row in rows}
    return (*rows, *(row for row in found if row.what not in entered))


def sheet(inputs: AxleSheet, found: Sequence[Row] = ()) -> Sheet:
    """Return the sheet as it is shown.

    Parameters
    ----------
    found : sequence of Row
        What the other sums of the job found.
    """
    rows = merged(inputs.rows, found)
    cells = tuple((f"{row.what}, {row.unit}", *_values(row), row.source) for row in rows)
    heads = ("what", "old", "new", "change", "from")
    return Sheet(
        name="axle_sheet",
        title=f"Axle sheet, {inputs.axle}",
        gist=f"{len(rows)} numbers old against new",
        grids=(Grid("Old and new", heads, cells, (0, 4)),) if cells else (),
        values={"rows": plain_values(rows)},
    )


def _values(row: Row) -> tuple[str, str, str]:
    old = "–" if row.old is None else num(row.old, row.decimals)
    new = "–" if row.new is None else num(row.new, row.decimals)
    if row.old is None or row.new is None:
        return old, new, "–"
    return old, new, signed(row.new - row.old, row.decimals)
