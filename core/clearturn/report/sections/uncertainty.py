"""What is taken off each gap and how uncertain it is, with the source of every number.

Both are printed as one matrix: a row per contribution, a column per pair, so that what weighs
most on which pair is seen at a glance.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

from clearturn.report import figures
from clearturn.report.blocks import Block, Cell, Column, Context, Section, Table, Text
from clearturn.report.lettering import foreign
from clearturn.report.names import worst_first
from clearturn.result import CheckResult, PairResult

_PAIRS_ABREAST = 11
Row = tuple[str, str]  # name and source: what tells one contribution from another
_Value = Callable[[PairResult], Mapping[Row, float]]


def _matrix(
    pairs: list[tuple[int, PairResult]],
    rows: Iterable[tuple[Row, str]],
    *,
    value: _Value,
    show: Callable[[float | None], str],
    feet: tuple[tuple[str, Callable[[PairResult], str]], ...],
    head: str,
) -> Table:
    values = [value(pair) for _, pair in pairs]
    columns = (
        Column(f"{head}, to gap No.", share=1),
        *(Column(str(item), align="right") for item, _ in pairs),
    )
    body = []
    for row, entered in rows:
        if not any(row in of_pair for of_pair in values):
            continue
        name, source = row
        below = "; ".join(part for part in (entered, f"source: {foreign(source)}") if part)
        cells = [Cell(show(v[row])) if row in v else Cell("–") for v in values]
        body.append((Cell(foreign(name, 60), below=below), *cells))
    foot = tuple(
        (Cell(name, strong=True), *(Cell(text(pair), strong=True) for _, pair in pairs))
        for name, text in feet
    )
    return Table(columns, tuple(body), foot=foot, dense=True)


def _abreast(result: CheckResult) -> list[list[tuple[int, PairResult]]]:
    numbered = [(index + 1, pair) for index, pair in worst_first(result)]
    return [numbered[k : k + _PAIRS_ABREAST] for k in range(0, len(numbered), _PAIRS_ABREAST)]


def _allowances_of(pair: PairResult) -> dict[Row, float]:
    found: dict[Row, float] = {}
    for a in pair.allowances:
        if a.kind != "random":
            row = (a.name, a.source)
            found[row] = found.get(row, 0.0) + a.applied_mm
    return found


def allowances(context: Context) -> Section | None:
    """Return what is taken off before a gap is judged."""
    pairs = context.result.pairs
    if not pairs:
        return None
    rows: dict[Row, str] = {}
    for pair in pairs:
        for a in pair.allowances:
            if a.kind != "random":
                entered = f"{a.kind}, {foreign(a.direction, 24)} {figures.mm(a.value_mm)}"
                rows.setdefault((a.name, a.source), entered)
    blocks: list[Block] = [
        Text(
            "Taken off the estimate before it is judged, mm. What always costs never adds to a "
            "gap, whichever way it points; a shift is projected on the direction of the gap, and "
            "a negative number gives room back."
        )
    ]
    if not rows:
        blocks.append(
            Text("No allowance is entered in the job: gaps are judged as they were found.")
        )
    else:
        feet = (("Taken off", lambda pair: figures.mm(pair.allowances_mm)),)
        blocks += [
            _matrix(
                group,
                rows.items(),
                value=_allowances_of,
                show=figures.mm,
                feet=feet,
                head="Allowance",
            )
            for group in _abreast(context.result)
        ]
    return Section("Allowances", tuple(blocks))


def _budget_of(pair: PairResult) -> dict[Row, float]:
    found: dict[Row, float] = {}
    for line in pair.budget:
        row = (line.name, line.source)
        found[row] = math.hypot(found.get(row, 0.0), line.standard_mm)
    return found


def coverage(pair: PairResult) -> float | None:
    """Return k of U = k u, or None where the budget is empty."""
    u = math.hypot(*(line.standard_mm for line in pair.budget))
    return pair.expanded_uncertainty_mm / u if u > 0 else None


def uncertainty(context: Context) -> Section | None:
    """Return the uncertainty budget of every pair."""
    pairs = context.result.pairs
    if not pairs:
        return None
    rows = dict.fromkeys(((line.name, line.source) for p in pairs for line in p.budget), "")
    blocks: list[Block] = [
        Text(
            "Standard uncertainties u, mm, combined by root sum of squares (JCGM 100). U = k · u "
            "covers about 95 %. Decision: ISO 14253-1. A pair clears if its net gap less U "
            "reaches what is asked, fails if net gap plus U stays below it; between the two it is "
            "not proven."
        )
    ]
    feet: tuple[tuple[str, Callable[[PairResult], str]], ...] = (
        (
            "Combined u",
            lambda pair: figures.mm(math.hypot(*(b.standard_mm for b in pair.budget)), 3),
        ),
        ("Coverage factor k", lambda pair: figures.number(coverage(pair))),
        ("Expanded uncertainty U", lambda pair: figures.mm(pair.expanded_uncertainty_mm)),
    )
    if not rows:
        blocks.append(Text("No contribution is known: the uncertainty stands as entered."))
    blocks += [
        _matrix(
            group,
            rows.items(),
            value=_budget_of,
            show=lambda v: figures.mm(v, 3),
            feet=feet,
            head="Contribution",
        )
        for group in _abreast(context.result)
    ]
    return Section("Uncertainty", tuple(blocks))
