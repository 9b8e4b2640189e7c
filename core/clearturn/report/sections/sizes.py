"""Scans against sizes measured by hand: a table a scan, under the datums."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.blocks import Block, Cell, Column, Head, Table, Text
from clearturn.report.lettering import foreign
from clearturn.result import CheckResult, ComparedSize, SizeCheck

_COLUMNS = (
    Column("Measured by hand", share=1),
    Column("By hand", align="right"),
    Column("In the scan", align="right"),
    Column("Difference", align="right"),
    Column("Left by the factor", align="right"),
)
_NOTE = (
    "mm; ± is the expanded uncertainty (k = 2). Difference: scan less hand. The factor is what the "
    "scan must be multiplied by, by weighted least squares through zero with both uncertainties."
)
_STATES = {
    "agrees": "agrees",
    "off": "wrong size: no gap to this scan holds",
    "unclear": "the sizes contradict each other",
}
NONE = (
    "No size was measured by hand: a wrong scale or unit of a scan that is near the true one would "
    "not be seen."
)


def size_blocks(result: CheckResult) -> tuple[Block, ...]:
    """Return what the sizes measured by hand say of the scans."""
    if not result.size_checks:
        return (Text(NONE, tone="note"),)
    blocks = [block for check in result.size_checks for block in _one(check)]
    return (*blocks, Text(_NOTE, tone="note"))


def _one(check: SizeCheck) -> tuple[Block, ...]:
    spread = figures.number(check.off_uncertainty_mm)
    off = figures.signed_mm(check.off_mm)
    said = (
        f"Factor {figures.number(check.factor, 5)} "
        f"±{figures.number(check.expanded_uncertainty, 5)}: {off} ±{spread} mm at "
        f"{figures.number(check.radius_mm, 0)} mm from the scan’s middle."
    )
    head = Head(f"Size of the scan {foreign(check.scan, 60)}", note=_STATES[check.state])
    table = Table(_COLUMNS, tuple(_row(size) for size in check.sizes))
    return head, table, Text(said)


def _row(size: ComparedSize) -> tuple[Cell, ...]:
    of = f"{size.kind} of {foreign(' and '.join(size.datums), 80)}; {foreign(size.instrument, 60)}"
    return (
        Cell(foreign(size.name, 60), below=of),
        Cell(figures.mm(size.hand_mm, 3), below=f"±{figures.mm(size.hand_uncertainty_mm, 3)}"),
        Cell(figures.mm(size.scan_mm, 3), below=f"±{figures.mm(size.scan_uncertainty_mm, 3)}"),
        Cell(figures.signed_mm(size.difference_mm)),
        Cell(figures.signed_mm(size.residual_mm)),
    )
