"""The gap list: a row a pair."""

from __future__ import annotations

from clearturn.gap.model import State
from clearturn.report import figures
from clearturn.report.blocks import Cell, Column, Context, Section, Table, Text
from clearturn.report.lettering import foreign
from clearturn.report.names import pair_name, worst_first
from clearturn.result import PairResult, Verdict

_COLUMNS = (
    Column("No.", align="right"),
    Column("Between", share=1),
    Column("Least", align="right"),
    Column("Net", align="right"),
    Column("U", align="right"),
    Column("Asked", align="right"),
    Column("Margin", align="right"),
    Column("Verdict"),
    Column("At clock", align="right", unit="r · z"),
)

NOTE = (
    "mm, worst first; No. is the place in result.json. Least: best estimate of the least gap; "
    "below it the certified gap of the surfaces as scanned, noise and all. Net: best estimate less "
    "all allowances. U: expanded uncertainty. Margin = net − U − asked, worked out before "
    "rounding. Clock position seen from outboard, 12:00 is up; r from the spin axis; z from the "
    "hub face, outboard positive."
)


def _row(item: int, pair: PairResult) -> tuple[Cell, ...]:
    strong = pair.verdict is not Verdict.CLEARS
    return (
        Cell(str(item)),
        Cell(pair_name(pair), below=f"{foreign(pair.kind, 40)}, {pair.motion}"),
        Cell(figures.mm(pair.least_mm), below=_scanned(pair)),
        Cell(figures.mm(pair.net_gap_mm.lower)),
        Cell(figures.plus_minus(pair.expanded_uncertainty_mm)),
        Cell(figures.mm(pair.required_mm)),
        Cell(figures.signed_mm(pair.margin_mm), strong=strong),
        Cell(pair.verdict, verdict=pair.verdict, strong=strong),
        Cell(
            figures.clock(pair.clock_deg),
            below=f"r {figures.mm(pair.r_mm, 1)} · z {figures.mm(pair.z_mm, 1)}",
        ),
    )


def _scanned(pair: PairResult) -> str:
    found = figures.mm(pair.gap.gap_mm.lower)
    return f"scan {found}" if pair.gap.state is State.APART else str(pair.gap.state)


def gap_list(context: Context) -> Section:
    """Return the gap list, or the sentence that there is none."""
    pairs = context.result.pairs
    if not pairs:
        text = "No pair of parts was judged: the job holds none. Nothing about gaps is proven."
        return Section("Gaps", (Text(text),))
    rows = tuple(_row(index + 1, pair) for index, pair in worst_first(context.result))
    return Section("Gaps", (Table(_COLUMNS, rows, note=NOTE),))
