"""What slip 60 tells of working on the corner, and of what else would still fit."""

from __future__ import annotations

from collections.abc import Iterator

from clearturn.job.access import Access
from clearturn.job.model import Corner, Job
from clearturn.job.positions import JsonPath
from clearturn.result import AccessResult, CheckResult, FitLimit
from clearturn_app.sheets.fields import Fact, Field, Section
from clearturn_app.window.look import Look

_PRACTICE = "common practice, no source"
_LENGTHS = {
    "bolt_length_mm": ("bolt under its head", "The bolt is drawn out by its own length.", 0.0),
    "socket_diameter_mm": ("socket, diameter", "Outside, with all that stands straight behind it.",
                           0.0),
    "socket_length_mm": ("socket, length", "From the head's seat to its end.", 0.0),
    "r_from_mm": ("pad from r", "Inner edge, with its back plate.", 0.0),
    "r_to_mm": ("pad to r", "Outer edge, with its back plate.", 0.0),
    "z_from_mm": ("pad from z", "Inboard face.", -400.0),
    "z_to_mm": ("pad to z", "Outboard face.", -400.0),
    "width_mm": ("pad, width", "Along the circumference.", 0.0),
    "ring_diameter_mm": ("spanner's ring, diameter", "Outside.", 0.0),
    "ring_height_mm": ("spanner's ring, height", "Along the nipple.", 0.0),
    "handle_length_mm": ("spanner's handle, length", "From the nipple's axis.", 0.0),
    "handle_width_mm": ("spanner's handle, width", "As it lies.", 0.0),
    "way_mm": ("way", "From where it comes, or until it can be taken.", 0.0),
    "stud_hole_mm": ("wheel's stud holes, diameter", "Compared with the job's studs.", 0.0),
}  # fmt: skip


def axle_head(job: Job, at: JsonPath) -> str:
    """Return what a result puts before a name of this corner: "front ", or nothing."""
    return f"{job.axles[int(at[1])].name} " if len(job.axles) > 1 else ""


def access_sections(
    corner: Corner, at: JsonPath, result: CheckResult | None, look: Look
) -> Iterator[Section]:
    """Return what must be workable with its verdicts, then the numbers of each, folded."""
    if result is not None:
        head = axle_head(result.job, at)
        own = {head + item.name for item in corner.access}
        lines = [fact for one in result.access if one.name in own for fact in _judged(one, look)]
        if lines:
            yield Section("access", tuple(lines))
    for i, item in enumerate(corner.access):
        yield Section(item.name, tuple(_fields((*at, "access", i), item)), folded=True)


def _judged(one: AccessResult, look: Look) -> Iterator[Fact]:
    told = str(one.verdict)
    if one.against and one.gap_mm is not None:
        least = f"{look.length(one.gap_mm.lower)} ±{look.length(one.expanded_uncertainty_mm)}"
        told += f", {least} {look.unit} past {one.against}"
    yield Fact(one.name, told, True)
    for text in one.told:
        yield Fact("", look.sentence(text))
    for doubt in one.findings:
        yield Fact("    doubt", doubt.text)


def _fields(here: JsonPath, item: Access) -> Iterator[Fact | Field]:
    yield Field((*here, "required_mm"), f"{item.name}: asked", "Least gap along the whole way.",
                low=0, high=100, source=_PRACTICE)  # fmt: skip
    for key, (label, help_text, low) in _LENGTHS.items():
        if hasattr(item, key):
            yield Field((*here, key), f"{item.name}: {label}", help_text, low=low, high=2000,
                        optional=item.what == "wheel on", source="set in this job")  # fmt: skip
    if item.removed:
        yield Fact("taken off before", ", ".join(item.removed))


def limit_sections(at: JsonPath, result: CheckResult | None, look: Look) -> Iterator[Section]:
    """Return what else would still fit, as far as the check has found it."""
    if result is None:
        return
    several = len(result.job.axles) > 1
    head = axle_head(result.job, at)
    lines: list[Fact] = []
    for one in result.limits:
        if one.what.startswith(head):
            name = one.what.removeprefix(head) if several else one.what
            lines.append(Fact(name, limit_words(one, look), True))
            lines += [Fact("", look.sentence(text)) for text in one.told]
    if lines:
        yield Section("what else would fit", tuple(lines))


def limit_words(one: FitLimit, look: Look) -> str:
    """Return a limit as a phrase: its size, what that changes, and which pair fails next."""
    change = f"{look.length(one.change_mm, signed=True)} {look.unit}"
    change = "as now" if one.change_mm == 0 else change
    size = "" if one.size_mm is None else f"{look.length(one.size_mm)} {look.unit}, "
    stopped = f"; next fails {one.stopped_by}" if one.stopped_by else "; the search ended first"
    return f"{size}{change}{stopped}"
