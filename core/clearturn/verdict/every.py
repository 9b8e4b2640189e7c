"""All pairs of a corner judged, those of which nothing has changed as they were."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.job.judging import VerdictSettings
from clearturn.progress import Progress, part, report
from clearturn.result import PlacedPart
from clearturn.steps import KeptSteps, kept_step
from clearturn.verdict.allowances import concerns
from clearturn.verdict.judge import Judged, judge_one, part_named


def judge_all(
    parts: Sequence[PlacedPart],
    pairs: Sequence[PairSpec],
    settings: VerdictSettings,
    frames_uncertainty: Mapping[str, FrameUncertainty],
    progress: Progress | None = None,
    steps: KeptSteps | None = None,
) -> tuple[Judged, ...]:
    """Judge pairs in the order given; those that are kept from before are not judged again."""
    by_name = {placed.name: placed for placed in parts}
    judged = []
    for i, spec in enumerate(pairs):
        report(progress, i / len(pairs), f"{spec.first} and {spec.second}")
        here = part(progress, i / len(pairs), (i + 1) / len(pairs))
        judged.append(judge_kept(spec, by_name, settings, frames_uncertainty, here, steps))
    return tuple(judged)


def judge_kept(
    spec: PairSpec,
    parts: Mapping[str, PlacedPart],
    settings: VerdictSettings,
    frames_uncertainty: Mapping[str, FrameUncertainty],
    progress: Progress | None,
    steps: KeptSteps | None,
) -> Judged:
    """Judge one pair as `judge_one`, or return what that gave when all it looks at was the same."""
    names = (spec.first, spec.second)
    pair = [part_named(parts, name) for name in names]
    # Only what is handed on can bear on the result, so the rest may change without harm.
    seen = {one.name: one for one in parts.values() if _bears_on(one, pair)}
    narrow = pair_settings(settings, pair)
    frames = {name: frames_uncertainty[name] for name in names if name in frames_uncertainty}
    return kept_step(steps, "pair", lambda: judge_one(spec, seen, narrow, frames, progress),
        spec, seen, narrow, frames,
    )  # fmt: skip


def _bears_on(one: PlacedPart, pair: Sequence[PlacedPart]) -> bool:
    """Whether a part is one of the pair, or its scan's noise is told by all its parts together."""
    return any(
        one.name == own.name
        or (own.sigma_mm > 0 and own.correlation_mm is None and one.source == own.source)
        for own in pair
    )


def pair_settings(settings: VerdictSettings, pair: Sequence[PlacedPart]) -> VerdictSettings:
    """Return the settings that a pair's margin depends on, all others as if not given."""
    wheel = settings.wheel_parts
    return VerdictSettings(
        allowances=tuple(
            entry
            for entry in settings.allowances
            if not entry.part or any(concerns(entry, one, wheel) for one in pair)
        ),
        coverage_factor=settings.coverage_factor,
        wheel_parts=tuple(one.name for one in pair if one.name in wheel),
    )
