"""A corner put together: files read, datums fitted, parts placed, pairs listed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from clearturn.corner.frames import Frames, datum_results, find_frames, fit_datums
from clearturn.corner.hub import hub_results
from clearturn.corner.mirror import mirrored_allowance, mirrored_caliper
from clearturn.corner.pairs import NotJudged, PairSpec, pairs_of
from clearturn.corner.placement import Placed, place_parts
from clearturn.corner.sizes import size_checks
from clearturn.corner.sources import read_sources
from clearturn.corner.stack import stack_findings, stack_not_checked
from clearturn.findings import Finding
from clearturn.job import model
from clearturn.job.judging import AllowanceEntry, OwnAllowance, SeatStack, VerdictSettings
from clearturn.progress import Progress, part
from clearturn.result import DatumResult, HubResult, SizeCheck
from clearturn.steps import KeptSteps, kept_step


@dataclass(frozen=True, slots=True)
class Assembled:
    """All that is known of a corner before its gaps are computed."""

    corner: model.Corner
    frames: Frames
    placed: Placed
    pairs: tuple[PairSpec, ...]
    left_out: tuple[NotJudged, ...]
    settings: VerdictSettings
    datums: tuple[DatumResult, ...]
    hub: tuple[HubResult, ...]
    hub_not_checked: tuple[str, ...]
    findings: tuple[Finding, ...]
    size_checks: tuple[SizeCheck, ...] = ()


def assemble(
    corner: model.Corner,
    folder: Path,
    progress: Progress | None = None,
    steps: KeptSteps | None = None,
) -> Assembled:
    """Read, fit and place everything of one corner.

    Parameters
    ----------
    corner : Corner
        Of a job that passed `clearturn.job.file.check_job`.
    folder : path
        Folder of the job file.
    steps : KeptSteps, optional
        What earlier checks found.

    Raises
    ------
    InputError
        If a file, a datum or a part cannot be used.
    """
    sources = read_sources(unmeasured(corner), folder, part(progress, 0.0, 0.3), steps)
    fits = fit_datums(corner, sources, part(progress, 0.3, 0.7), steps)
    frames = find_frames(corner, fits)
    given = (placing_part(corner), sources, frames, folder)
    placed = kept_step(
        steps, "placing", lambda: place_parts(*given, part(progress, 0.7, 0.9)), *given
    )
    if steps is not None:
        # Parts that came out as before bring their trees along.
        parts = tuple(replace(one, mesh=steps.mesh(one.mesh)) for one in placed.parts)
        placed = replace(placed, parts=parts)
    pairs, left_out = pairs_of(placed.parts, corner, placed.body_of, part(progress, 0.9, 1.0))
    hub, hub_not_checked = hub_results(corner, fits)
    sizes, size_findings = size_checks(corner, sources, fits)
    read = [
        finding for source in sources.values() for finding in (*source.findings, *source.cleaning)
    ]
    return Assembled(
        corner,
        frames,
        placed,
        pairs,
        left_out,
        settings_of(corner, placed),
        datum_results(corner, fits),
        hub,
        (*hub_not_checked, *stack_not_checked(corner)),
        (*read, *placed.findings, *stack_findings(corner), *size_findings),
        sizes,
    )


def unmeasured(corner: model.Corner) -> model.Corner:
    """Return a corner without the hand measurements of its scans, which change no scan."""
    scans = tuple(replace(scan, size_check=()) for scan in corner.scans)
    return replace(corner, scans=scans)


def placing_part(corner: model.Corner) -> model.Corner:
    """Return a corner without what only judges its parts."""
    bare = model.Corner(corner.side)
    return replace(
        unmeasured(corner), pairs=bare.pairs, requirements=bare.requirements,
        allowances=bare.allowances, coverage_factor=bare.coverage_factor, cures=bare.cures,
        hub_checks=bare.hub_checks, access=bare.access, not_checked=bare.not_checked,
        stud=bare.stud,
    )  # fmt: skip


def settings_of(corner: model.Corner, placed: Placed) -> VerdictSettings:
    """Gather what the verdict needs: the job's allowances and those that follow from its parts."""
    allowances, caliper = _allowances(corner, placed), corner.caliper
    if corner.mirror:
        allowances = tuple(mirrored_allowance(entry) for entry in allowances)
        caliper = None if caliper is None else mirrored_caliper(caliper)
    return VerdictSettings(
        allowances=allowances,
        coverage_factor=corner.coverage_factor,
        cures=corner.cures,
        seat_stack=corner.seat_stack or SeatStack(0.0, 0.0),
        stud=corner.stud,
        rotor=corner.rotor,
        caliper=caliper,
        wheel_parts=placed.wheel_parts,
    )


def _allowances(corner: model.Corner, placed: Placed) -> tuple[AllowanceEntry, ...]:
    own = (OwnAllowance.of(entry, entry.part) for entry in placed.allowances)
    entries = (*corner.allowances, *own)
    return tuple(entry for one in entries for entry in (one, *_for_pieces(one, placed)))


def _for_pieces(entry: AllowanceEntry, placed: Placed) -> Iterator[OwnAllowance]:
    # What is said of a part holds for every piece it was cut into; a kind covers them already.
    for one in placed.parts:
        is_piece = placed.body_of[one.name] == entry.part != one.name
        by_kind = not isinstance(entry, OwnAllowance) and entry.part in (one.kind, "wheel")
        if is_piece and not by_kind:
            yield OwnAllowance.of(entry, one.name)
