"""The one entry: a job in, everything that was found out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from clearturn.corner.assemble import Assembled, assemble
from clearturn.corner.pairs import LEFT_OUT_BY_JOB
from clearturn.corner.sources import check_files
from clearturn.drawing import Drawing, turn_section
from clearturn.findings import Finding
from clearturn.job.file import check_job, job_sha256
from clearturn.job.model import Axle, Job
from clearturn.job.sums import job_sums
from clearturn.progress import Progress, part, report
from clearturn.result import (
    AccessResult,
    CheckResult,
    FitLimit,
    HubResult,
    Motion,
    PairResult,
    PlacedPart,
    Verdict,
)
from clearturn.steps import KeptSteps, kept_step
from clearturn.verdict import judge_corner
from clearturn.verdict.access import Setting, judge_access
from clearturn.verdict.decision import severity, worst

SECTION_MM = (180.0, 190.0)  # fills a page of the report, A4 or Letter

ALWAYS_OPEN = (
    "steering and suspension positions other than the scanned ones",
    "spare wheel, winter wheels and any wheel that is not in the job",
    "tyre to arch, strut and brake line",
    "access for tools and hands beyond the ways that are listed",
    "the parts as made: measure them before they are fitted",
)


def check(
    job: Job,
    *,
    folder: str | Path,
    progress: Progress | None = None,
    steps: KeptSteps | None = None,
) -> CheckResult:
    """Check a whole job.

    Parameters
    ----------
    job : Job
    folder : path
        Folder that the job's paths are relative to.
    progress : Progress, optional
    steps : KeptSteps, optional
        What earlier checks found, and where this one leaves what it finds: after an edit only
        what the edit bears on is worked out again.

    Returns
    -------
    CheckResult
        With the worst verdict of all pairs and hub diameters; a job or an axle without pairs, or
        with a scan that hand measurements show to be of the wrong size, is not proven.

    Raises
    ------
    InputError
        If the job, a file of it, a datum or a part cannot be used.
    Cancelled
    """
    check_job(job)
    if steps is not None:
        steps.begin()
    report(progress, 0.0, "checking the files")
    check_files(job, Path(folder), progress=progress)
    sums = job_sums(job, folder) if job.sums else None
    found = []
    for i, axle in enumerate(job.axles):
        low, high = i / len(job.axles), (i + 1) / len(job.axles)
        found.append(_check_axle(axle, Path(folder), part(progress, low, high), steps))
    report(progress, 1.0, "done")
    return replace(_joined(job, found, steps), sums=sums)


@dataclass(frozen=True, slots=True)
class _Checked:
    """One axle's corner with its judged pairs."""

    axle: Axle
    assembled: Assembled
    pairs: tuple[PairResult, ...]
    limits: tuple[FitLimit, ...]
    access: tuple[AccessResult, ...]


def _check_axle(
    axle: Axle, folder: Path, progress: Progress | None, steps: KeptSteps | None
) -> _Checked:
    assembled = assemble(axle.corner, folder, part(progress, 0.0, 0.4), steps)
    placed = assembled.placed
    pairs, limits = judge_corner(
        placed.parts,
        assembled.pairs,
        assembled.settings,
        frames_uncertainty=placed.uncertainty,
        progress=part(progress, 0.4, 0.9),
        steps=steps,
    )
    setting = Setting(
        placed.parts, placed.body_of, placed.uncertainty, assembled.settings, axle.corner.mirror
    )
    access = judge_access(axle.corner.access, setting, part(progress, 0.9, 0.98), steps)
    return _Checked(axle, assembled, pairs, limits, access)


def _joined(job: Job, found: Sequence[_Checked], steps: KeptSteps | None) -> CheckResult:
    several = len(found) > 1
    parts: list[PlacedPart] = []
    pairs: list[PairResult] = []
    limits: list[FitLimit] = []
    access: list[AccessResult] = []
    for one in found:
        head = f"{one.axle.name} " if several else ""
        parts += [replace(p, name=head + p.name) for p in one.assembled.placed.parts]
        pairs += [replace(p, first=head + p.first, second=head + p.second) for p in one.pairs]
        limits += [replace(f, what=head + f.what) for f in one.limits]
        access += [replace(a, name=head + a.name) for a in one.access]
    hub = tuple(
        _of_axle(h, one.axle.name) if several else h for one in found for h in one.assembled.hub
    )
    findings = _without_repeats(
        replace(f, text=f"{one.axle.name} axle: {f.text}") if several else f
        for one in found
        for f in one.assembled.findings
    )
    datums = [
        replace(d, part=f"{one.axle.name} {d.part}") if several else d
        for one in found
        for d in one.assembled.datums
    ]
    sizes = [
        replace(s, scan=f"{one.axle.name} {s.scan}") if several else s
        for one in found
        for s in one.assembled.size_checks
    ]
    verdicts = [p.verdict for p in pairs] + [h.verdict for h in hub] if pairs else []
    verdicts += [a.verdict for a in access]
    # Every gap to a scan of the wrong size is another one than was judged.
    verdicts += [Verdict.NOT_PROVEN for s in sizes if s.state == "off"]
    if not all(one.pairs for one in found):
        verdicts.append(Verdict.NOT_PROVEN)
    axles = tuple(axle.name for axle in job.axles)
    section = kept_step(
        steps, "section", lambda: _section(axles, parts, pairs), axles, parts, pairs
    )
    return CheckResult(
        job=job,
        job_sha256=job_sha256(job),
        verdict=worst(verdicts),
        parts=tuple(parts),
        datums=tuple(datums),
        pairs=tuple(pairs),
        hub=hub,
        turn_section=section,
        not_checked=_not_checked(found),
        findings=findings,
        limits=tuple(limits),
        access=tuple(access),
        size_checks=tuple(sizes),
    )


def _of_axle(hub: HubResult, axle: str) -> HubResult:
    # Two rotor hats go to the lathe: each must be named.
    machine = hub.machine
    if machine is not None:
        machine = replace(machine, part=f"{axle} {machine.part}")
    return replace(hub, axle=axle, machine=machine)


def _section(
    axles: Sequence[str], parts: Sequence[PlacedPart], pairs: Sequence[PairResult]
) -> Drawing | None:
    """Return the turn section; of two axles that with the worst pair, for they would overlap."""
    if not pairs:
        return None
    if len(axles) < 2:
        return turn_section(parts, pairs, size_mm=SECTION_MM)
    first = min(pairs, key=lambda p: (-severity(p.verdict), p.margin_mm)).first
    axle = next(axle for axle in axles if first.startswith(f"{axle} "))
    drawing = turn_section(
        [p for p in parts if p.name.startswith(f"{axle} ")],
        [p for p in pairs if p.first.startswith(f"{axle} ")],
        size_mm=SECTION_MM,
    )
    title = f"Turn section of the {axle} axle: r against z, full turn of the hub"
    return replace(drawing, title=title)


def _without_repeats(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(dict.fromkeys(findings))


def _not_checked(found: Sequence[_Checked]) -> tuple[str, ...]:
    told: list[str] = []
    for one in found:
        corner, assembled = one.axle.corner, one.assembled
        head = f"{one.axle.name}: " if len(found) > 1 else ""
        other = {"left": "right", "right": "left"}[corner.side]
        unseen = corner.side if corner.mirror else other
        told.append(f"{head}the {unseen} side")
        if head and not one.pairs:
            told.append(f"{head}every gap: the job holds no pair of parts for this axle")
        told += [head + text for text in assembled.hub_not_checked]
        told += [
            f"{head}the scale of the scan {scan.name!r}: no size of it was measured by hand"
            for scan in corner.scans
            if not scan.size_check
        ]
        told += [
            f"{head}{p.name} in any position but the scanned one"
            for p in assembled.placed.parts
            if p.motion is Motion.POSED
        ]
        told += [
            f"{head}{pair.first} to {pair.second}: {pair.reason}"
            for pair in assembled.left_out
            if pair.reason.startswith(LEFT_OUT_BY_JOB)
        ]
        told += [head + text for text in corner.not_checked]
    return tuple(dict.fromkeys([*told, *ALWAYS_OPEN]))
