"""The one entry of the verdict: all pairs of a corner, judged, with what would clear them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.job.judging import VerdictSettings
from clearturn.progress import Progress, part, report
from clearturn.result import PairResult, PlacedPart
from clearturn.verdict.cures import find_cures
from clearturn.verdict.judge import judge_all


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
    cures = find_cures(judged, parts, settings, part(progress, 0.6, 1.0))
    report(progress, 1.0, "judged")
    return tuple(
        replace(one.result, would_clear=found) for one, found in zip(judged, cures, strict=True)
    )
