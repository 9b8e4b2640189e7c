"""A sheet for each pair that does not clear, or for the closest one: picture, sum, cures."""

from __future__ import annotations

import math
from collections.abc import Sequence

from clearturn.gap.model import FreeingShift, State
from clearturn.report import figures
from clearturn.report.blocks import (
    Block,
    Cell,
    Column,
    Context,
    Facts,
    Figure,
    Head,
    Items,
    Section,
    Span,
    Split,
    Table,
    Text,
    Together,
)
from clearturn.report.lettering import foreign
from clearturn.report.names import SENTENCE_NAME, full_stop, pair_name, place, shown_pairs
from clearturn.report.pictures import Picture
from clearturn.result import Cure, JointCure, PairResult, Verdict

_LEFT = 0.56
_MOST_PLACES = 6
_MOST_ANGLES = 4
_GUTTER_MM = 6.0
_FRAME_MM = 0.4


def picture_file(index: int) -> str:
    """Return the file name of the picture of pair `index` (0-based)."""
    return f"gap-{index + 1:02d}.png"


def _picture(context: Context, index: int, picture: Picture) -> Figure:
    pair = context.result.pairs[index]
    width = (context.text_width_mm - _GUTTER_MM) * _LEFT - _FRAME_MM
    span = None
    if picture.first is not None and picture.second is not None:
        span = Span(picture.first, picture.second, figures.mm(pair.least_mm))
    return Figure(
        picture_file(index),
        width,
        width * picture.height_px / picture.width_px,
        picture.view,
        alt=f"Picture of the closest place between {pair.first} and {pair.second}.",
        span=span,
    )


def _sum(pair: PairResult) -> Table:
    u = pair.expanded_uncertainty_mm
    found, best = pair.gap.gap_mm.lower, pair.least_mm
    corrected = None if found is None or best is None else best - found
    steps = (
        ("Certified gap of the surfaces", figures.interval(pair.gap.gap_mm)),
        ("Correction for the scan’s noise", figures.signed_mm(corrected)),
        ("Best estimate at the place", figures.mm(pair.least_mm)),
        ("Allowances", figures.signed_mm(-pair.allowances_mm)),
    )
    after = (
        ("Expanded uncertainty U", figures.signed_mm(-u)),
        ("Asked", figures.signed_mm(-pair.required_mm)),
    )
    rows = [(Cell(name), Cell(value)) for name, value in steps]
    rows.append(
        (Cell("Net gap", strong=True), Cell(figures.mm(pair.net_gap_mm.lower), strong=True))
    )
    rows += [(Cell(name), Cell(value)) for name, value in after]
    margin = Cell(figures.signed_mm(pair.margin_mm), strong=True)
    return Table(
        (Column("How the margin comes about", share=1), Column("", align="right", unit="mm")),
        tuple(rows),
        foot=((Cell("Margin", strong=True), margin),),
        note=f"Net gap with everything at its worst at once: {figures.mm(pair.worst_case_mm)} mm.",
    )


def _facts(pair: PairResult) -> Facts:
    rows = [
        ("Closest", Cell(place(pair.clock_deg, pair.r_mm, pair.z_mm))),
        ("Judged as", Cell(f"{foreign(pair.kind, 48)}, {_motion(pair.motion)}")),
    ]
    if pair.gap.state is not State.APART:
        rows.append(("State", Cell(_state(pair))))
        inside = pair.gap.interference
        if inside is not None and inside.shifts:
            rows.append(("Free, as scanned, if", Cell(_moving(pair, inside.shifts))))
        if inside is not None and inside.hits_deg:
            rows.append(("Hits", Cell(_angles(inside.hits_deg))))
    if pair.settle_by:
        rows.append(("To settle it", Cell(foreign(pair.settle_by))))
    return Facts(tuple(rows))


def _state(pair: PairResult) -> str:
    """Return "interfering: the surfaces cross, 1.40 to 1.80 mm deep"."""
    inside = pair.gap.interference
    if inside is None:
        return str(pair.gap.state)
    said = []
    if inside.crossing:
        said.append("the surfaces cross")
    if inside.contained != "none":
        said.append(inside.contained)
    if inside.depth_mm is None:
        said.append("depth unknown, the surfaces are open")
    else:
        low, high = figures.mm(inside.depth_mm.lower), figures.mm(inside.depth_mm.upper)
        said.append(f"{low} to {high} mm deep")
    return f"{pair.gap.state}: {', '.join(said)}"


def _moving(pair: PairResult, shifts: Sequence[FreeingShift]) -> str:
    """Return "caliper moves inward by 2.42 mm or outboard by 3.10 mm"."""
    name = foreign(pair.first if shifts[0].moves == "first" else pair.second, 48)
    found = [(one.shift_mm.upper, one.way) for one in shifts if one.shift_mm.upper is not None]
    found.sort(key=lambda one: one[0])
    ways = [f"{way} by {figures.mm_up(least)} mm" for least, way in found]
    if not ways:
        return f"no short move of {name} along the axis or its radius frees it"
    return f"{name} moves {' or '.join(ways)}"


def _angles(hits_deg: Sequence[tuple[float, float]]) -> str:
    """Return "turned by 12° to 40°", not less than the angles that hit."""
    if hits_deg[0][1] - hits_deg[0][0] >= 360.0:
        return "all round"
    told = [f"{math.floor(a)}° to {math.ceil(b)}°" for a, b in hits_deg[:_MOST_ANGLES]]
    more = len(hits_deg) - _MOST_ANGLES
    return f"turned by {', '.join(told)}" + (f" and {more} more" if more > 0 else "")


def _motion(motion: str) -> str:
    return "over a full turn" if motion == "turning" else "standing still to each other"


def cure_text(cure: Cure) -> tuple[str, str]:
    """Return what to change, and what else that does."""
    head = f"{cure.change[:1].upper()}{cure.change[1:]} by {figures.mm(cure.amount_mm)} mm"
    if cure.change == "spacer":
        head = f"Spacer of {figures.mm(cure.amount_mm)} mm"
    others = (
        "checked on all pairs: everything clears then"
        if cure.clears_all
        else "clears this pair; others then still do not clear"
    )
    return head, full_stop("; ".join([others, *(foreign(text) for text in cure.side_effects)]))


def joint_text(cure: JointCure) -> tuple[str, str]:
    """Return two changes that clear a pair together: what to do, and what that does elsewhere."""
    said = [f"{change} of {figures.mm(amount)} mm" for change, amount in cure.changes]
    head = " and ".join(said)
    others = (
        "checked on all pairs: everything clears then"
        if cure.clears_all
        else "clears this pair; others then still do not clear"
    )
    return f"{head[:1].upper()}{head[1:]}", full_stop(
        "; ".join([others, *(foreign(text) for text in cure.side_effects)])
    )


def _cures(pair: PairResult) -> list[Block]:
    if pair.verdict is Verdict.CLEARS:
        return []
    blocks: list[Block] = []
    if pair.would_clear:
        items = tuple(cure_text(cure) for cure in pair.would_clear)
        blocks += [Text("What would clear it", tone="lead"), Items(items)]
    if pair.would_clear_together:
        items = tuple(joint_text(cure) for cure in pair.would_clear_together)
        blocks += [Text("What would clear it together", tone="lead"), Items(items)]
    if not blocks:
        text = "No change within the limits of the job, and no two together, would clear this pair."
        return [Text(text)]
    return blocks


def _places(pair: PairResult) -> list[Block]:
    if len(pair.places) < 2:
        return []
    columns = (
        Column("Separate places below what is asked", share=1),
        Column("Least in scan", align="right", unit="mm"),
        Column("Area", align="right", unit="mm²"),
    )
    shown = sorted(pair.places, key=lambda p: p.worst_mm)[:_MOST_PLACES]
    rows = tuple(
        (
            Cell(place(p.clock_deg, p.r_mm, p.z_mm)),
            Cell(figures.mm(p.worst_mm)),
            Cell(figures.count(round(p.area_mm2))),
        )
        for p in shown
    )
    left_out = len(pair.places) - len(shown)
    note = f"and {figures.words(left_out, 'smaller place')}" if left_out else ""
    return [Table(columns, rows, note=note)]


def _sheet(context: Context, index: int) -> Together:
    pair = context.result.pairs[index]
    head = Head(
        pair_name(pair, SENTENCE_NAME),
        number=str(index + 1),
        note=foreign(pair.kind, 30),
        verdict=pair.verdict,
    )
    picture = context.pictures.made.get(index)
    told = dict.fromkeys(foreign(f.text) for f in (*pair.findings, *pair.gap.findings))
    findings = [Text(text, tone="note") for text in told]
    if picture is None:
        body: Block = Split((_sum(pair),), (_facts(pair),), share=_LEFT)
    else:
        body = Split((_picture(context, index, picture),), (_sum(pair), _facts(pair)), share=_LEFT)
    return Together((head, body, *_places(pair), *_cures(pair), *findings))


def pair_sheets(context: Context) -> Section | None:
    """Return the sheets of the pairs that need one."""
    shown = shown_pairs(context.result)
    if not shown:
        return None
    blocks: list[Block] = []
    if context.pictures.missing:
        blocks.append(Text(context.pictures.missing, tone="note"))
    blocks += [_sheet(context, index) for index in shown]
    if context.result.pairs[shown[0]].verdict is Verdict.CLEARS:
        return Section("The closest pair", tuple(blocks))
    return Section("Pairs that do not clear", tuple(blocks))
