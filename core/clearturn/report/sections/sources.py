"""What the answer rests on: files, parts, datums, doubts, and what nobody looked at."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.blocks import Block, Cell, Column, Context, Items, Section, Table, Text
from clearturn.report.exchange import all_findings
from clearturn.report.jobcard import job_card
from clearturn.report.lettering import breakable, foreign
from clearturn.report.sections.sizes import size_blocks
from clearturn.result import DatumResult, PlacedPart


def _digest(sha256: str) -> str:
    """Return a hash in two lines of 32 letters."""
    return f"{sha256[:32]}\n{sha256[32:]}" if len(sha256) == 64 else breakable(sha256)


def _part_row(part: PlacedPart) -> tuple[Cell, ...]:
    return (
        Cell(foreign(part.name, 120)),
        Cell(foreign(part.kind, 40)),
        Cell(str(part.motion)),
        Cell(foreign(part.source, 80)),
        Cell(figures.mm(part.sigma_mm, 3)),
        Cell(figures.count(len(part.mesh.faces))),
    )


def files_and_parts(context: Context) -> Section:
    """Return the files with their hashes and the parts made from them."""
    card = job_card(context.result.job)
    blocks: list[Block] = []
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    if card.files:
        columns = (
            Column("File", share=1),
            Column("Holds", share=0.8),
            Column("Unit"),
            Column("SHA-256 of its bytes"),
        )
        rows = tuple(
            (
                Cell(foreign(file.name, 120)),
                Cell(foreign(file.what, 60)),
                Cell(file.unit),
                Cell(_digest(file.sha256)),
            )
            for file in card.files
        )
        blocks.append(Table(columns, rows))
    else:
        blocks.append(Text("The job names no scan and no mesh file."))
    if context.result.parts:
        columns = (
            Column("Part", share=1),
            Column("Kind"),
            Column("Motion"),
            Column("From", share=0.9),
            Column("Noise", align="right", unit="σ, mm"),
            Column("Triangles", align="right"),
        )
        rows = tuple(_part_row(part) for part in context.result.parts)
        blocks.append(Table(columns, rows, note=_MOTIONS))
    else:
        blocks.append(Text("The job holds no part."))
    return Section("Files and parts", tuple(blocks))


_MOTIONS = (
    "turns: with the hub. fixed: to the knuckle. posed: true only in the steering and suspension "
    "position in which it was scanned."
)


def _datum_row(datum: DatumResult) -> tuple[Cell, ...]:
    worth = figures.number(datum.effective_points, 0)
    return (
        Cell(foreign(datum.name, 60), below=foreign(datum.part, 60)),
        Cell(datum.feature),
        Cell(figures.mm(datum.rms_mm, 3)),
        Cell(figures.mm(datum.form_mm, 3)),
        Cell(figures.count(datum.points), below=f"worth {worth}"),
        Cell(foreign(datum.standard_uncertainty)),
    )


def datums(context: Context) -> Section | None:
    """Return the fitted datums, how far to trust them, and what hand sizes say of the scans."""
    found = context.result.datums
    if not found:
        return Section("Datums", (Text("No datum was fitted."),))
    columns = (
        Column("Datum", share=0.8),
        Column("Feature"),
        Column("RMS", align="right"),
        Column("Form", align="right"),
        Column("Points", align="right"),
        Column("Standard uncertainty", share=1),
    )
    note = (
        "mm. Least squares fits. Form: peak to valley of what is left over. Neighbouring points of "
        "a scan share their error: “worth” is how many independent points they count for."
    )
    rows = tuple(_datum_row(datum) for datum in found)
    doubts = tuple(
        (foreign(datum.name, 60), foreign(finding.text))
        for datum in found
        for finding in datum.findings
    )
    blocks: tuple[Block, ...] = (Table(columns, rows, note=note),)
    if doubts:
        blocks += (Items(doubts),)
    return Section("Datums", (*blocks, *size_blocks(context.result)))


def findings(context: Context) -> Section | None:
    """Return every doubt about the data, errors first."""
    found = all_findings(context.result)
    if not found:
        return Section("Findings", (Text("There is no finding about the data."),))
    rank = {"error": 0, "warning": 1, "note": 2}
    ordered = sorted(found, key=lambda finding: rank[finding.severity])
    items = tuple((finding.severity.capitalize(), foreign(finding.text)) for finding in ordered)
    return Section("Findings", (Items(items),))


ALWAYS = (
    "brake hose and cables over the whole travel of steering and suspension",
    "deformation beyond the allowances listed (kerbs, potholes, hard cornering)",
    "strength, brake balance, heat and legality, unless a section of this report says otherwise",
)


def not_checked(context: Context) -> Section:
    """Return what the check did not look at: the job's own list first, then what it never does."""
    own = tuple(foreign(text) for text in context.result.not_checked)
    texts = dict.fromkeys((*own, *ALWAYS))
    lead = Text("Nobody has looked at the following. It is for the fitter to check on the vehicle.")
    return Section("What was not checked", (lead, Items(tuple(("", text) for text in texts))))
