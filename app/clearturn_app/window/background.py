"""What the window has done in the background; every function here runs on a thread of its own."""

from __future__ import annotations

import gc
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from clearturn.drawing import Drawing
from clearturn.job.model import Job
from clearturn.progress import Progress
from clearturn.result import CheckResult, Motion, PairResult, PlacedPart
from clearturn.steps import KeptSteps
from clearturn.trade.sums import SumsResult, compute_sums
from clearturn_app.views.report_pictures import ChildPictureMaker

if TYPE_CHECKING:
    from clearturn.report import ReportFiles


#: What the checks of this window found: an edit costs what it bears on.
_steps = KeptSteps()
_STRIP_REACH_MM = 30.0  # gaps beyond it do not matter to anyone


def _nothing() -> None:
    pass


#: Called when the engine has been read.
when_read: Callable[[], object] = _nothing


def checked(job: Job, folder: Path, progress: Progress) -> CheckResult:
    """Return the result of a job: that of an earlier run if job, files and program are the same."""
    # Among a hundred thousand new names Python looks for lost ones, and holds up every thread.
    gc.disable()
    try:
        from clearturn.kept import kept_check
        from clearturn.trial import freedoms, gap_there, trial_gaps

        when_read()
    finally:
        gc.enable()
    # What moving a part needs is brought in here, where nobody waits for it.
    _ = freedoms, gap_there, trial_gaps
    return kept_check(job, folder=folder, progress=progress, steps=_steps)


def sums(job: Job) -> SumsResult:
    """Return the job's trade sums."""
    corner = job.axles[0].corner if job.axles else None
    if corner is None:
        return compute_sums(job.sums)
    return compute_sums(job.sums, corner.rotor, corner.caliper)


def section(
    result: CheckResult, size_mm: tuple[float, float], dimensions: int, progress: Progress | None,
    unit: str = "mm",
) -> Drawing:  # fmt: skip
    """Return the turn section for a paper of a size, with so many dimensions at most."""
    from clearturn.drawing import turn_section

    return turn_section(
        result.parts, result.pairs, size_mm=size_mm, most_dimensions=dimensions, unit=unit,
        progress=progress,
    )  # fmt: skip


def strip(
    result: CheckResult, pair: PairResult, size_mm: tuple[float, float], progress: Progress,
    unit: str = "mm",
) -> Drawing | None:  # fmt: skip
    """Return the clock strip of a pair; None for one that does not turn against each other."""
    from clearturn.drawing import clock_strip
    from clearturn.gap import gaps_around

    both = [_part(result, pair.first), _part(result, pair.second)]
    still = [part for part in both if part is not None and part.motion is not Motion.TURNS]
    turning = [part for part in both if part is not None and part.motion is Motion.TURNS]
    if pair.motion != "turning" or len(still) != 1 or len(turning) != 1:
        return None
    reach = max(_STRIP_REACH_MM, 4.0 * pair.required_mm)
    gaps = gaps_around(still[0].mesh, turning[0].mesh, limit_mm=reach, progress=progress)
    names = (still[0].name, turning[0].name)
    return clock_strip(gaps, pair.required_mm, size_mm=size_mm, names=names, unit=unit)


def _part(result: CheckResult, name: str) -> PlacedPart | None:
    return next((part for part in result.parts if part.name == name), None)


def report(result: CheckResult, folder: Path, progress: Progress) -> ReportFiles:
    """Write the clearance report, the same as the command line's."""
    from clearturn.report import write_report

    return write_report(result, folder, picture_maker=ChildPictureMaker(), progress=progress)
