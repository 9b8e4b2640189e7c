"""The trade sums of the job: checks, numbers, plots, and what each takes for granted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.report.blocks import (
    Align,
    Block,
    Cell,
    Column,
    Context,
    Figure,
    Head,
    Section,
    Table,
    Text,
    Together,
)
from clearturn.report.lettering import foreign
from clearturn.report.names import full_stop
from clearturn.result import CheckResult, Verdict
from clearturn.trade.sheet import CAUTION

if TYPE_CHECKING:
    from clearturn.trade.sheet import Grid, Ruling, Sheet

_PLOT_MM = (170.0, 64.0)
_LEAD = (
    "From the numbers entered in the job under “sums”; they do not bear on the verdict of the "
    "gaps. "
)
_NUMBERS = (Column("Number", share=0.6), Column("Value", share=1.0))
_CHECKS = (
    Column("Check", share=1.1),
    Column("Found", share=1.2),
    Column("Needed", share=1.0),
    Column("Verdict"),
)


def plot_file(sheet: str, number: int) -> str:
    """Return the file name of a sum's plot."""
    return f"sum-{sheet.replace('_', '-')}-{number}.svg"


def plot_files(result: CheckResult) -> dict[str, bytes]:
    """Return every plot of the job's sums as SVG, by file name."""
    if not result.job.sums:
        return {}
    from clearturn.drawing import to_svg
    from clearturn.drawing.sum_plot import sum_plot
    from clearturn.job.sums import job_sums

    return {
        plot_file(sheet.name, i): to_svg(sum_plot(plot, _PLOT_MM), paper=False).encode()
        for sheet in job_sums(result.job).sheets
        for i, plot in enumerate(sheet.plots, start=1)
    }


def sums(context: Context) -> Section | None:
    """Return the sums, or None for a job without any."""
    if not context.result.job.sums:
        return None
    from clearturn.job.sums import job_sums

    found = job_sums(context.result.job)
    blocks: list[Block] = [Text(_LEAD + CAUTION, tone="caution")]
    blocks += [Text(full_stop(foreign(f.text)), tone="caution") for f in found.findings]
    for sheet in found.sheets:
        blocks += _sheet(sheet, context.text_width_mm)
    return Section("Sums", tuple(blocks))


def _sheet(sheet: Sheet, width_mm: float) -> list[Block]:
    verdict = Verdict(sheet.word) if sheet.rulings or sheet.word == "fails" else None
    head = Head(sheet.title, note=foreign(sheet.gist, 90), verdict=verdict)
    first: list[Block] = [head]
    rest: list[Block] = []
    if sheet.lines:
        rows = tuple((Cell(foreign(x.label, 60)), _noted(x.value, x.note)) for x in sheet.lines)
        first.append(Table(_NUMBERS, rows))
    if sheet.rulings:
        rest.append(Table(_CHECKS, tuple(_ruling(ruling) for ruling in sheet.rulings)))
    for grid in sheet.grids:
        rest += [Text(grid.title, tone="lead"), _grid(grid)]
    for number, plot in enumerate(sheet.plots, start=1):
        share = min(1.0, width_mm / _PLOT_MM[0])
        named = ", ".join(curve.name for curve in plot.curves)
        rest.append(
            Figure(
                plot_file(sheet.name, number), _PLOT_MM[0] * share, _PLOT_MM[1] * share,
                caption=f"{foreign(plot.title)}.",
                alt=f"{plot.title}: {plot.y_label} over {plot.x_label}; {named}.", framed=False,
            )
        )  # fmt: skip
    rest += [
        Text(
            full_stop(foreign(finding.text)),
            tone="note" if finding.severity == "note" else "caution",
        )
        for finding in sheet.findings
    ]
    told = [f"Taken for granted: {'; '.join(sheet.assumed)}."] if sheet.assumed else []
    told += [f"Sources: {'; '.join(sheet.sources)}."] if sheet.sources else []
    if told:
        rest.append(Text(foreign(" ".join(told)), tone="note"))
    return [Together(tuple(first)), *rest]


def _ruling(ruling: Ruling) -> tuple[Cell, ...]:
    verdict = Verdict(ruling.word)
    return (
        _noted(ruling.name, ruling.note),
        Cell(foreign(ruling.found)),
        Cell(foreign(ruling.needed)),
        Cell(verdict, verdict=verdict, strong=verdict is not Verdict.CLEARS),
    )


def _noted(text: str, note: str) -> Cell:
    return Cell(foreign(text), below=foreign(note) if note else "")


def _grid(grid: Grid) -> Table:
    def align(column: int) -> Align:
        return "left" if column in grid.text_columns else "right"

    columns = []
    for i, head in enumerate(grid.heads):
        name, _, unit = head.partition(", ")  # units are never set in capitals
        columns.append(Column(name, 1.0 if i == 0 else 0.0, align(i), unit))
    rows = tuple(tuple(Cell(foreign(text)) for text in row) for row in grid.rows)
    return Table(tuple(columns), rows, dense=len(columns) > 7)
