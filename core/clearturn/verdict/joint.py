"""Two changes together, where one alone does not clear a pair without breaking another.

The first change is tried in the sizes it can be had; for each the second is marched to the first
amount at which the pair and all that clear now clear (`cures.march`), and taken up to what can be
had.  The least movement together is kept for each pair of changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations

from clearturn.gap import State
from clearturn.job.judging import VerdictSettings
from clearturn.progress import Progress, part, report
from clearturn.result import Cure, JointCure, PlacedPart, Verdict
from clearturn.verdict.after import after
from clearturn.verdict.changes import Change, Together, changes_for
from clearturn.verdict.cures import (
    march,
    offered_amount,
    side_effects,
    stack_effects,
)
from clearturn.verdict.judge import Judged, place_of

MOST = 3
"""So many joint cures of a pair are told, the least movement first."""
_TRIES = 8
_BOUGHT = ("spacer", "rotor offset", "move caliper inward", "smaller rotor", "trim caliper")


@dataclass(frozen=True, slots=True)
class _Found:
    """A joint cure with the amounts it moves."""

    base: Change
    base_mm: float
    own: Change
    own_mm: float

    @property
    def total_mm(self) -> float:
        """Both amounts."""
        return self.base_mm + self.own_mm


def find_joint_cures(
    judged: Sequence[Judged],
    alone: Sequence[tuple[Cure, ...]],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None = None,
) -> tuple[tuple[JointCure, ...], ...]:
    """Return for every pair the joint cures; none where a single change does.

    Parameters
    ----------
    alone : sequence of tuple of Cure
        The single cures of every pair.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    found: list[tuple[JointCure, ...]] = []
    for i, one in enumerate(judged):
        here = part(progress, i / max(len(judged), 1), (i + 1) / max(len(judged), 1))
        hopeless = one.result.gap.state is State.SIGN_UNKNOWN
        served = any(cure.keeps for cure in alone[i])
        if one.result.verdict is Verdict.CLEARS or hopeless or served:
            found.append(())
            continue
        report(here, 0.0, f"two changes for {one.spec.first} and {one.spec.second}")
        found.append(_of_pair(one, judged, parts, settings, here))
    return tuple(found)


def _of_pair(
    target: Judged,
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> tuple[JointCure, ...]:
    direction = place_of(target.noise.pair, target.noise.gap).directions[0]
    # Trimming shifts the caliper's whole image, which says nothing when made second or before.
    known = [
        one
        for one in changes_for((target.first, target.second), direction, parts, settings)
        if one.word in _BOUGHT and not one.removes_only
    ]
    best: dict[frozenset[str], _Found] = {}
    orders = [pair for pair in permutations(known, 2) if pair[0].word != pair[1].word]
    for k, (base, own) in enumerate(orders):
        here = part(progress, k / len(orders), (k + 1) / len(orders))
        names = frozenset({base.word, own.word})
        for amount in _tries(base):
            kept = best.get(names)
            if kept is not None and amount >= kept.total_mm:
                break
            found = _second(target, judged, base, amount, own, settings, here)
            if found is not None and (kept is None or found.total_mm < kept.total_mm - 1e-9):
                best[names] = found
    chosen = sorted(best.values(), key=lambda one: one.total_mm)[:MOST]
    return tuple(_told(one, judged, parts, settings, progress) for one in chosen)


def _tries(change: Change) -> tuple[float, ...]:
    """Return amounts of a change to try, ascending: those that can be had, at most a few."""
    had = [one for one in change.steps_mm if one <= change.most_mm + 1e-9]
    if not had:
        had = [change.most_mm * k / _TRIES for k in range(1, _TRIES + 1)]
    stride = max(1, -(-len(had) // _TRIES))
    return tuple(had[stride - 1 :: stride])


def _group(target: Judged, judged: Sequence[Judged], both: Change) -> list[Judged]:
    holding = [
        one
        for one in judged
        if one is not target
        and one.result.margin_mm >= 0
        and (one.spec.first in both.moves or one.spec.second in both.moves)
    ]
    return [target, *holding]


def _second(
    target: Judged,
    judged: Sequence[Judged],
    base: Change,
    base_mm: float,
    own: Change,
    settings: VerdictSettings,
    progress: Progress | None,
) -> _Found | None:
    both = Together.of(base, base_mm, own)
    group = _group(target, judged, both)
    amount = march(group, both, settings, progress)
    if amount is None or amount == 0:
        return None
    if own.steps_mm:
        amount = offered_amount(group, both, amount, settings, progress)
    return None if amount is None else _Found(base, base_mm, own, amount)


def _told(
    one: _Found,
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> JointCure:
    both = Together.of(one.base, one.base_mm, one.own)
    clears_all = all(after(pair, both, one.own_mm, settings, progress).clears for pair in judged)
    effects: list[str] = []
    for change, amount in ((one.base, one.base_mm), (one.own, one.own_mm)):
        if change.word == "spacer":
            effects += [f"spacer: {text}" for text in stack_effects(amount, settings)]
        else:
            told = side_effects(replace(change, steps_mm=()), amount, None, parts, settings)
            effects += [f"{change.word}: {text}" for text in told]
    return JointCure(
        (
            (one.base.word, one.base.sign * one.base_mm),
            (one.own.word, one.own.sign * one.own_mm),
        ),
        tuple(effects),
        clears_all,
    )
