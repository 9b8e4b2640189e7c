"""The one entry of the verdict: all pairs of a corner, judged, with what would clear them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.gap import State
from clearturn.job.judging import VerdictSettings
from clearturn.progress import Progress, part, report
from clearturn.result import FitLimit, PairResult, PlacedPart
from clearturn.steps import KeptSteps, kept_step
from clearturn.verdict.cures import find_cures
from clearturn.verdict.every import judge_all
from clearturn.verdict.field import Pair
from clearturn.verdict.joint import find_joint_cures
from clearturn.verdict.judge import Judged
from clearturn.verdict.largest import find_limits

_MOST_SHIFT_MM = 30.0  # a part that must move farther to come free is another design


def judge_pairs(
    parts: Sequence[PlacedPart],
    pairs: Sequence[PairSpec],
    settings: VerdictSettings,
    *,
    frames_uncertainty: Mapping[str, FrameUncertainty] | None = None,
    progress: Progress | None = None,
) -> tuple[PairResult, ...]:
    """Judge all pairs of a corner.

    Parameters
    ----------
    parts : sequence of PlacedPart
        In the hub frame.
    pairs : sequence of PairSpec
        Which to judge, with requirement and seats.
    settings : VerdictSettings
        Allowances, coverage factor, limits of cures.
    frames_uncertainty : mapping of str to FrameUncertainty, optional
        By part name; a part that is not in it sits exactly.
    progress : Progress, optional

    Returns
    -------
    tuple of PairResult
        In the order of `pairs`.

    Raises
    ------
    InputError
        If a pair names a part that is not there, nothing of a part is left, or a setting cannot
        be used.
    Cancelled
        If `progress` was cancelled.
    """
    judged = judge_all(parts, pairs, settings, frames_uncertainty or {}, part(progress, 0.0, 0.6))
    found = _cured(judged, parts, settings, part(progress, 0.6, 0.9))
    return _freed(judged, found, part(progress, 0.9, 1.0), None)


def judge_corner(
    parts: Sequence[PlacedPart],
    pairs: Sequence[PairSpec],
    settings: VerdictSettings,
    *,
    frames_uncertainty: Mapping[str, FrameUncertainty] | None = None,
    progress: Progress | None = None,
    steps: KeptSteps | None = None,
) -> tuple[tuple[PairResult, ...], tuple[FitLimit, ...]]:
    """Judge all pairs of a corner, as `judge_pairs`, and find what else would fit.

    Parameters
    ----------
    steps : KeptSteps, optional
        What earlier checks found; pairs of which nothing has changed are not judged again.

    Raises
    ------
    InputError, Cancelled
        As `judge_pairs`.
    """
    frames = frames_uncertainty or {}
    judged = judge_all(parts, pairs, settings, frames, part(progress, 0.0, 0.5), steps)
    given = (judged, parts, settings)
    cured = kept_step(steps, "cures", lambda: _cured(*given, part(progress, 0.5, 0.75)), *given)
    found = _freed(judged, cured, part(progress, 0.75, 0.8), steps)
    limits = kept_step(
        steps, "limits", lambda: find_limits(*given, part(progress, 0.8, 1.0)), *given
    )
    return found, limits


def _freed(
    judged: Sequence[Judged],
    results: Sequence[PairResult],
    progress: Progress | None,
    steps: KeptSteps | None,
) -> tuple[PairResult, ...]:
    """Add to the pairs that interfere how far they must be moved; only what is told needs that."""
    told = []
    for i, (one, result) in enumerate(zip(judged, results, strict=True)):
        if result.gap.state is State.INTERFERING:
            given = (one.pair, result.gap, _MOST_SHIFT_MM)
            here = part(progress, i / len(results), (i + 1) / len(results))
            free = partial(Pair.freed, *given, here)
            told.append(replace(result, gap=kept_step(steps, "freed", free, *given)))
        else:
            told.append(result)
    return tuple(told)


def _cured(
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> tuple[PairResult, ...]:
    alone = find_cures(judged, parts, settings, part(progress, 0.0, 0.6))
    joint = find_joint_cures(judged, alone, parts, settings, part(progress, 0.6, 1.0))
    report(progress, 1.0, "judged")
    return tuple(
        replace(one.result, would_clear=one_by_one, would_clear_together=together)
        for one, one_by_one, together in zip(judged, alone, joint, strict=True)
    )
