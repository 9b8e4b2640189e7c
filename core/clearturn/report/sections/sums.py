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
from clearturn.report.workshop import DUMMY_STL, PLAN_DXF
from clearturn.result import CheckResult, Verdict
from clearturn.trade.sheet import CAUTION

if TYPE_CHECKING:
    from clearturn.trade.bracket import Bracket
    from clearturn.trade.sheet import Grid, Ruling, Sheet
    from clearturn.trade.sums import SumsResult

_PLOT_MM = (170.0, 64.0)
_BRACKET_MM = (170.0, 90.0)
BRACKET_FILE = "sum-bracket-plan.svg"
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


def found_sums(result: CheckResult) -> SumsResult | None:
    """Return the sums of a result; of one made without the job's folder, without its csv."""
    if result.sums is not None or not result.job.sums:
        return result.sums
    from clearturn.job.sums import job_sums

    return job_sums(result.job)


def figure_files(result: CheckResult) -> dict[str, bytes]:
    """Return every plot of the job's sums and the bracket's plan as SVG, by file name."""
    found = found_sums(result)
    if found is None:
        return {}
    from clearturn.drawing import to_svg
    from clearturn.drawing.bracket_plan import bracket_figure
    from clearturn.drawing.sum_plot import sum_plot
    from clearturn.job.sums import job_bracket

    files = {}
    bracket = job_bracket(result.job)
    if bracket is not None:
        files[BRACKET_FILE] = to_svg(bracket_figure(bracket, *_BRACKET_MM), paper=False).encode()
    for sheet in found.sheets:
        for i, plot in enumerate(sheet.plots, start=1):
            drawn = to_svg(sum_plot(plot, _PLOT_MM), paper=False)
            files[plot_file(sheet.name, i)] = drawn.encode()
    return files


def sums(context: Context) -> Section | None:
    """Return the sums, or None for a job without any."""
    found = found_sums(context.result)
    if found is None:
        return None
    from clearturn.job.sums import job_bracket

    bracket = job_bracket(context.result.job)
    blocks: list[Block] = [Text(_LEAD + CAUTION, tone="caution")]
    blocks += [Text(full_stop(foreign(f.text)), tone="caution") for f in found.findings]
    for sheet in found.sheets:
        plan = [_bracket(bracket, context)] if bracket and sheet.name == "bracket" else []
        blocks += _sheet(sheet, context.text_width_mm, plan)
    return Section("Sums", tuple(blocks))


def _bracket(bracket: Bracket, context: Context) -> Figure:
    from clearturn.drawing.bracket_plan import bracket_figure, side_seen
    from clearturn.job.sums import first_axle

    axle = first_axle(context.result.job)
    dummy = "plate and caliper envelope" if axle and axle.corner.caliper else "the plate"
    drawing = bracket_figure(bracket, *_BRACKET_MM)
    share = min(1.0, context.text_width_mm / _BRACKET_MM[0])
    side = side_seen(bracket)
    caption = (
        f"The bracket's plate seen from {side}, about 1 : {1.0 / (drawing.scale * share):.2g}: do "
        f"not measure on it. {PLAN_DXF} beside this report holds it 1 : 1; {DUMMY_STL} is {dummy} "
        "to print and try on before metal is cut."
    )
    return Figure(
        BRACKET_FILE, drawing.bounds[2] * share, drawing.bounds[3] * share, caption=caption,
        alt=f"Plan of the bracket's plate with its holes, seen from {side}.", framed=False,
    )  # fmt: skip


def _sheet(sheet: Sheet, width_mm: float, more: list[Figure]) -> list[Block]:
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
    rest += more
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
