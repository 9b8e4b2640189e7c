"""What to feel, press and tighten with the parts on the vehicle."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.blocks import Cell, Column, Context, Items, Section, Table, Text
from clearturn.report.names import pair_name, worst_first
from clearturn.result import PairResult, Verdict

CHECKS = (
    (
        "Clay",
        "Lay modelling clay, thicker than the gap expected, on the caliper at the places below. "
        "Fit the wheel, tighten all nuts, turn it slowly one full turn by hand, take it off, cut "
        "the clay and measure what is left.",
    ),
    (
        "Feeler gauge",
        "Where a gauge reaches, try the same places over one full turn with the wheel tightened.",
    ),
    (
        "Free turn",
        "Turn the wheel by hand, weights fitted, both ways: no touch, no scrape, no rubbed paint.",
    ),
    (
        "Whole travel",
        "Repeat lock to lock and from full droop to full bump. Hose and cables neither stretched, "
        "twisted nor touched.",
    ),
    (
        "Pressure",
        "Bleed, hold the pedal firmly for a minute, look at every joint. The first stop is made at "
        "walking pace.",
    ),
)
RETORQUE = (
    (
        "Wheel nuts",
        "Crosswise with a torque wrench to the vehicle maker’s value; again after 50 to 100 km "
        "(common practice, no source).",
    ),
    (
        "Caliper, bracket and hat bolts",
        "To the value on their drawing, with the locking named there; paint-mark them and look at "
        "the marks after the first drive.",
    ),
    (
        "Bedding",
        "As the pad and ring makers say. Where they say nothing: a series of moderate stops from "
        "medium speed without standing on the hot brake, then a drive to cool it; on a closed "
        "place, not in traffic (common practice, no source).",
    ),
    (
        "After the first drive",
        "Wheels off once more: look for rub marks on caliper, barrel, spoke backs and shield.",
    ),
)


_ELSEWHERE = "judged at another place"  # how the verdict's line begins
_FELT_MM = 15.0  # wider than that, clay and gauges tell less than the eye


def _is_to_feel(pair: PairResult) -> bool:
    lower = pair.least_mm
    return pair.verdict is not Verdict.CLEARS or lower is None or lower <= _FELT_MM


def on_the_stand_mm(pair: PairResult) -> float:
    """Return what a gauge must read at the place named: what is asked and all that it may lose.

    Where another place than the nearest is judged, a line of the allowances gives back how much
    wider the gap is there; a gauge at that place reads the wider gap already.
    """
    wider = sum(a.applied_mm for a in pair.allowances if a.name.startswith(_ELSEWHERE))
    return pair.required_mm + pair.allowances_mm - wider


def _row(item: int, pair: PairResult) -> tuple[Cell, ...]:
    after = "" if pair.verdict is Verdict.CLEARS else "after the cure"
    return (
        Cell(str(item)),
        Cell(pair_name(pair), below=after),
        Cell(
            figures.clock(pair.clock_deg),
            below=f"r {figures.mm(pair.r_mm, 1)} · z {figures.mm(pair.z_mm, 1)}",
        ),
        Cell(figures.mm_up(on_the_stand_mm(pair)), strong=True),
        Cell("", write_here=True),
        Cell("", write_here=True),
    )


def before_driving(context: Context) -> Section:
    """Return the physical checks, the places to feel, and the notes on torque and bedding."""
    lead = Text(
        "A calculation is no trial. Before the vehicle moves under its own power, someone who is "
        "competent for brakes does and signs the following."
    )
    pairs = worst_first(context.result)
    felt = [(k + 1, pair) for k, pair in pairs if _is_to_feel(pair)]
    columns = (
        Column("No.", align="right"),
        Column("Between", share=1),
        Column("At clock", align="right", unit="r · z"),
        Column("At least", align="right", unit="mm"),
        Column("Found", share=0.4, unit="mm"),
        Column("By, date", share=0.5),
    )
    note = (
        "At least: what is asked plus the allowances, since on the stand nothing has yet bent, "
        "worn or moved. Anything less: do not drive; find out why first."
    )
    wider = len(pairs) - len(felt)
    if wider:
        note += (
            f" {figures.words(wider, 'further gap')} of the list {'is' if wider == 1 else 'are'} "
            f"wider than {_FELT_MM:.0f} mm: look, nothing to measure."
        )
    table = Table(columns, tuple(_row(item, pair) for item, pair in felt), note=note)
    checks = Items(CHECKS, boxes=True)
    torque = (Text("Torque and bedding", tone="lead"), Items(RETORQUE, boxes=True))
    places = (table,) if felt else ()
    return Section("Before driving", (lead, checks, *places, *torque))
