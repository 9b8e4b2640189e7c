"""The four hub diameters and what to machine."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.blocks import Block, Cell, Column, Context, Items, Section, Table, Text
from clearturn.report.lettering import foreign
from clearturn.report.names import full_stop, hub_name, machining
from clearturn.result import HubResult, Verdict

_COLUMNS = (
    Column("Diameter", share=1.1),
    Column("Shaft", align="right"),
    Column("Hole", align="right"),
    Column("Clearance", align="right"),
    Column("Needed", share=1.3),
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
        Cell(hub.verdict, verdict=hub.verdict, strong=hub.verdict is not Verdict.CLEARS),
    )


def _work(hub: HubResult) -> tuple[str, str] | None:
    """Return what to machine or gauge for one diameter, with what to know before."""
    head = machining(hub)
    texts = [f"First: {full_stop(foreign(hub.gauge_first))}"] if hub.gauge_first else []
    texts += [f"Beware: {full_stop(foreign(text))}" for text in hub.spoils]
    if not head and not texts:
        return None
    return f"{full_stop(head) if head else 'Nothing to machine.'}", " ".join(
        [f"For the {hub.name}.", *texts]
    )


def hub_diameters(context: Context) -> Section:
    """Return the hub diameters; those the job leaves out are named as not checked."""
    hub = context.result.hub
    axles = [axle.name for axle in context.result.job.axles]
    wanted = [f"{a} {n}" for a in axles for n in NAMES] if len(axles) > 1 else NAMES
    missing = [name for name in wanted if name not in {h.name for h in hub}]
    blocks: list[Block] = []
    if hub:
        blocks.append(Table(_COLUMNS, tuple(_row(h) for h in hub), note=NOTE))
        work = tuple(item for item in map(_work, hub) if item is not None)
        lead = "What to machine" if work else "Nothing to machine"
        blocks.append(Text(lead, tone="lead"))
        if work:
            blocks.append(Items(work))
    if missing:
        blocks.append(Text(f"Not checked, no sizes in the job: {figures.listed(missing)}."))
    return Section("Hub diameters", tuple(blocks))
