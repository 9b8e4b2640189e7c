"""What else would fit: the last sizes that clear wherever the corner clears now."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.blocks import Cell, Column, Context, Section, Table
from clearturn.report.lettering import foreign
from clearturn.result import FitLimit

_COLUMNS = (
    Column("What", share=1.2),
    Column("Size", align="right", unit="mm"),
    Column("Against now", align="right", unit="mm"),
    Column("Fails next", share=0.8),
)
_NOTE = (
    "Grown in sizes that can be had and judged on every pair that clears now. It does not replace "
    "checking the changed kit as a job of its own."
)


def limits(context: Context) -> Section | None:
    """Return what else would fit, or None if nothing was looked for."""
    found = context.result.limits
    if not found:
        return None
    return Section("What else would fit", (Table(_COLUMNS, tuple(map(_row, found)), note=_NOTE),))


def _row(one: FitLimit) -> tuple[Cell, ...]:
    return (
        Cell(one.what, below=foreign("; ".join(one.told), 300)),
        Cell("unknown" if one.size_mm is None else figures.mm(one.size_mm, 1)),
        Cell(figures.signed_mm(one.change_mm) if one.change_mm else "as now"),
        Cell(foreign(one.stopped_by, 60) if one.stopped_by else "nothing looked at"),
    )
