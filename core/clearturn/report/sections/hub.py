"""The four hub diameters and what to machine."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.blocks import Block, Cell, Column, Context, Section, Table, Text
from clearturn.report.lettering import foreign
from clearturn.report.names import hub_name, machining
from clearturn.result import HubResult, Verdict

_COLUMNS = (
    Column("Diameter", share=1.1),
    Column("Shaft", align="right"),
    Column("Hole", align="right"),
    Column("Clearance", align="right"),
    Column("Needed", share=1.05),
    Column("To machine", share=1.75),
    Column("Verdict"),
)

NOTE = (
    "mm, diameters; ± is the expanded uncertainty of each size; clearance is hole less shaft, on "
    "the diameter. A scan does not decide a fit: where a gauge reading is named, take it first."
)
NAMES = ("rotor register", "wheel register", "flange in hat", "housing in hat")


def _size(value: float, uncertainty: float, source: str) -> Cell:
    text = f"{figures.diameter(value)} {figures.plus_minus(uncertainty)}"
    return Cell(text, below=foreign(source, 40))


def _row(hub: HubResult) -> tuple[Cell, ...]:
    head, _, rest = hub_name(hub).partition(": ")
    return (
        Cell(head, below=rest),
        _size(hub.shaft_mm, hub.shaft_uncertainty_mm, hub.shaft_source),
        _size(hub.hole_mm, hub.hole_uncertainty_mm, hub.hole_source),
        Cell(figures.signed_mm(hub.clearance_mm)),
        Cell(foreign(hub.needed)),
        Cell(machining(hub) or "nothing", below=_remarks(hub)),
        Cell(hub.verdict, verdict=hub.verdict, strong=hub.verdict is not Verdict.CLEARS),
    )


def _remarks(hub: HubResult) -> str:
    lines = [f"First: {foreign(hub.gauge_first)}"] if hub.gauge_first else []
    lines += [f"Beware: {foreign(text)}" for text in hub.spoils]
    return "\n".join(lines)


def hub_diameters(context: Context) -> Section:
    """Return the hub diameters; those the job leaves out are named as not checked."""
    hub = context.result.hub
    missing = [name for name in NAMES if name not in {h.check for h in hub}]
    blocks: list[Block] = []
    if hub:
        blocks.append(Table(_COLUMNS, tuple(_row(h) for h in hub), note=NOTE))
    if missing:
        blocks.append(Text(f"Not checked, no sizes in the job: {figures.listed(missing)}."))
    return Section("Hub diameters", tuple(blocks))
