"""Access: bolts, pads, spanners and the wheel on their ways."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.blocks import Cell, Column, Context, Section, Table
from clearturn.report.lettering import foreign
from clearturn.result import AccessResult, Verdict

_COLUMNS = (
    Column("Way", share=1.2),
    Column("Nearest", share=0.8),
    Column("Least", align="right"),
    Column("U", align="right"),
    Column("Asked", align="right"),
    Column("Margin", align="right"),
    Column("Verdict"),
    Column("At clock", align="right", unit="r · z"),
)
_NOTE = (
    "mm. Each tool is swept along its straight way and judged against every part that is there, "
    "cold and standing; margin = best estimate − U − asked. Tools are simple shapes; hands are not "
    "looked at."
)


def access(context: Context) -> Section | None:
    """Return the access items, or None for a job without any."""
    found = context.result.access
    if not found:
        return None
    return Section("Access", (Table(_COLUMNS, tuple(_row(one) for one in found), note=_NOTE),))


def _row(one: AccessResult) -> tuple[Cell, ...]:
    strong = one.verdict is not Verdict.CLEARS
    unknown = one.gap_mm is None or one.margin_mm is None
    return (
        Cell(foreign(one.name, 48), below=foreign("; ".join((one.what, *one.told)), 300)),
        Cell(foreign(one.against, 40) if one.against else "nothing"),
        Cell("unknown" if one.gap_mm is None else figures.mm(one.gap_mm.lower)),
        Cell(
            ""
            if one.expanded_uncertainty_mm is None
            else figures.plus_minus(one.expanded_uncertainty_mm)
        ),
        Cell(figures.mm(one.required_mm)),
        Cell("" if one.margin_mm is None else figures.signed_mm(one.margin_mm), strong=strong),
        Cell(one.verdict, verdict=one.verdict, strong=strong),
        Cell("")
        if unknown or one.clock_deg is None
        else Cell(
            figures.clock(one.clock_deg),
            below=f"r {figures.mm(one.r_mm, 1)} · z {figures.mm(one.z_mm, 1)}",
        ),
    )
