"""The sums of a job, checked against the dimensions of its corner."""

from __future__ import annotations

from clearturn.job.model import Axle, Job
from clearturn.trade.bracket import Bracket
from clearturn.trade.sums import SumsResult, compute_sums, read_sum


def job_sums(job: Job) -> SumsResult:
    """Return every sum of a job.

    The sums are those of the job's first axle: its rotor and caliper must agree with them.

    Raises
    ------
    SumProblem
        If a sum makes no sense; `load_job` has refused that already.
    """
    axle = first_axle(job)
    corner = axle.corner if axle else None
    return compute_sums(
        job.sums, corner.rotor if corner else None, corner.caliper if corner else None
    )


def first_axle(job: Job) -> Axle | None:
    """Return the axle the sums belong to."""
    return job.axles[0] if job.axles else None


def job_bracket(job: Job) -> Bracket | None:
    """Return the bracket of a job's sums, or None if it has none."""
    if "bracket" not in job.sums:
        return None
    bracket: Bracket = read_sum("bracket", job.sums["bracket"])
    return bracket
