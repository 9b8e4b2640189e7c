"""What would clear a pair: the least change that does, checked on every pair it touches.

A gap changes by at most as much as a part is moved (it is 1-Lipschitz), so marching by what is
still missing at least (`after`) never steps over the first amount that clears.  Bisection may: a
spacer opens the spokes, but a tapered barrel closes again further out.  The shift that frees parts
that cross says nothing about the least one: only the deepest point found inside does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from clearturn.gap import State
from clearturn.job.judging import VerdictSettings
from clearturn.progress import Progress, check, part, report
from clearturn.result import Cure, PlacedPart, Verdict
from clearturn.verdict.after import STEP_MM, after
from clearturn.verdict.changes import Change, caliper_radius, changes_for
from clearturn.verdict.judge import Judged, place_of

_FINE_STEPS, _SWEEP = 400, 1000
"""After so many steps the least one is a hundredth, or such a share of all that is looked at."""
_TOLD_MM = 0.01


@dataclass(frozen=True, slots=True)
class _Corner:
    """All pairs as judged, and what they were judged by."""

    judged: Sequence[Judged]
    parts: Sequence[PlacedPart]
    settings: VerdictSettings


def find_cures(
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None = None,
) -> tuple[tuple[Cure, ...], ...]:
    """Return for every pair the changes that would clear it; none for pairs that clear.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    corner = _Corner(judged, parts, settings)
    found: list[tuple[Cure, ...]] = []
    for i, one in enumerate(judged):
        here = part(progress, i / max(len(judged), 1), (i + 1) / max(len(judged), 1))
        if one.result.verdict is Verdict.CLEARS or one.result.gap.state is State.SIGN_UNKNOWN:
            found.append(())
            continue
        report(here, 0.0, f"what would clear {one.spec.first} and {one.spec.second}")
        direction = place_of(one.noise.pair, one.noise.gap).directions[0]
        changes = changes_for((one.first, one.second), direction, parts, settings)
        cures = []
        for j, change in enumerate(changes):
            inner = part(here, j / len(changes), (j + 1) / len(changes))
            cure = _cure(corner, i, change, inner)
            if cure is not None:
                cures.append(cure)
        found.append(tuple(cures))
    return tuple(found)


def _cure(corner: _Corner, index: int, change: Change, progress: Progress | None) -> Cure | None:
    """Return the least amount of one change that clears a pair, or None."""
    settings = corner.settings
    target = corner.judged[index]
    touched = [
        one
        for one in corner.judged
        if one.spec.first in change.moves or one.spec.second in change.moves
    ]
    if target not in touched:
        return None
    holding = [one for one in touched if one.result.margin_mm >= 0]
    amount = march([target, *holding], change, settings, progress)
    alone = amount is None
    if amount is None:
        amount = march([target], change, settings, progress)
    if amount is None:
        return None
    amount = _in_hundredths([target] if alone else [target, *holding], change, amount, settings)
    effects = broken(holding, change, amount, settings, progress) if alone else []
    offered = (
        None if alone else offered_amount([target, *holding], change, amount, settings, progress)
    )
    effects += side_effects(change, amount, offered, corner.parts, settings)
    final = amount if offered is None else offered
    clears_all = all(after(one, change, final, settings, progress).clears for one in corner.judged)
    had = None if offered is None else change.sign * offered
    return Cure(change.word, change.sign * amount, tuple(effects), clears_all, had, not alone)


def _in_hundredths(
    group: Sequence[Judged], change: Change, least_mm: float, settings: VerdictSettings
) -> float:
    """Return an amount rounded up as it will be told, if it still clears so."""
    told = math.ceil(least_mm * 100.0 - 1e-6) / 100.0
    if told > change.most_mm or not all(after(one, change, told, settings).clears for one in group):
        return least_mm
    return told


def march(
    group: Sequence[Judged],
    change: Change,
    settings: VerdictSettings,
    progress: Progress | None = None,
) -> float | None:
    """Return the first amount at which every pair of the group clears, or None.

    Parameters
    ----------
    group : sequence of Judged
    change : Change
        Moves parts by at most its amount.
    settings : VerdictSettings

    Returns
    -------
    float or None
        Not past the first solution by more than `STEP_MM`; None if there is none up to the
        change's most.

    Notes
    -----
    Where a gap barely grows the steps never end at `STEP_MM`: after many, the least step is a
    hundredth or a thousandth of the most looked for, and a clear stretch narrower than that may be
    passed.  A pair whose side is not known at an amount on the way ends the search.
    """
    if change.steps_mm and change.word == "larger wheel":
        for step in change.steps_mm:
            if all(after(one, change, step, settings, progress).clears for one in group):
                return step
        return None
    amount, steps = 0.0, 0
    while amount <= change.most_mm:
        check(progress)
        missing = 0.0
        for one in group:  # the first that is missing something already tells how far to go
            missing = after(one, change, amount, settings, progress).missing_mm
            if missing > 0:
                break
        if missing <= 0:
            return amount
        steps += 1
        least = STEP_MM if steps <= _FINE_STEPS else max(_TOLD_MM, change.most_mm / _SWEEP)
        amount += max(missing, least)
    return None  # even the fastest gain comes too late


def offered_amount(
    group: Sequence[Judged],
    change: Change,
    least: float,
    settings: VerdictSettings,
    progress: Progress | None,
) -> float | None:
    """Return the least size on sale that clears the group; gaps are not monotone, so try each."""
    for size in change.steps_mm:
        if size >= least - 1e-9 and all(
            after(one, change, size, settings, progress).clears for one in group
        ):
            return size
    return None


def broken(
    holding: Sequence[Judged],
    change: Change,
    amount: float,
    settings: VerdictSettings,
    progress: Progress | None,
) -> list[str]:
    """Return which pairs that hold now a change would break, one sentence each."""
    found = []
    for one in holding:
        left = after(one, change, amount, settings, progress)
        if not left.clears:
            how = (
                f"margin {left.margin_mm:.2f} mm"
                if math.isfinite(left.margin_mm)
                else (
                    "they would meet" if left.meets else "it cannot be told on which side they lie"
                )
            )
            found.append(f"{one.spec.first} and {one.spec.second} would no longer clear ({how})")
    return found


def side_effects(
    change: Change,
    amount: float,
    offered: float | None,
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
) -> list[str]:
    """Return what a change does beside clearing the pair, one sentence each."""
    if change.word == "spacer":
        return [*_spacer_sold(offered, settings), *stack_effects(offered or amount, settings)]
    made = _made_to(change, amount, offered, settings)
    amount = amount if offered is None else offered
    if change.word == "move caliper inward":
        return [
            *made,
            f"gap between caliper bridge and ring shrinks by up to {amount:.2f} mm",
            f"pads sweep {amount:.2f} mm further in; check that they stay on the ring's band",
            f"bracket holes move inward by {amount:.2f} mm",
            *_arc_note(parts, settings),
        ]
    if change.word == "trim caliper":
        return [
            f"{amount:.2f} mm {change.note}; the wall gets thinner by that: ask the caliper's "
            "maker before cutting"
        ]
    if change.word == "rotor offset":
        return [
            *made,
            f"{change.note} by {amount:.2f} mm: a hat with another offset, and bracket and pads "
            "move with the ring",
        ]
    if change.word == "smaller rotor":
        return [*made, *_smaller_effects(change, amount, settings)]
    return [change.note] if change.note else []


def _arc_note(parts: Sequence[PlacedPart], settings: VerdictSettings) -> list[str]:
    caliper = next((p for p in parts if p.kind == "caliper"), None)
    if caliper is None:
        return []
    radial = caliper.mesh.vertices[:, :2]
    along = caliper_radius(caliper, settings)[:2]
    size = (radial**2).sum(axis=1) ** 0.5
    cosine = float((radial @ along / size.clip(1e-9)).min())
    return [f"the ends of its arc gain only {cosine:.0%} of the move"]


def _made_to(
    change: Change, amount: float, offered: float | None, settings: VerdictSettings
) -> list[str]:
    if offered is None:
        return []
    if change.word == "smaller rotor" and settings.rotor is not None:
        size = settings.rotor.ring_outer_diameter_mm - offered
        return [f"Ø {size:g} mm is the largest ring on sale that clears ({amount:.2f} mm suffice)"]
    return [f"made to {offered:g} mm ({amount:.2f} mm suffice)"]


def _spacer_sold(offered: float | None, settings: VerdictSettings) -> list[str]:
    if offered is not None:
        return [f"{offered:g} mm is the least thickness on sale that clears"]
    if settings.cures.spacers_mm:
        return ["no thickness on sale clears; one would have to be made"]
    return []


def stack_effects(used: float, settings: VerdictSettings) -> list[str]:
    """Return what a spacer takes from studs and register, and gives the track."""
    found = [f"track grows by {2 * used:.1f} mm when both sides get one"]
    pad = settings.seat_stack.pad_z_mm + used
    if settings.stud is not None:
        stud = settings.stud
        thread = stud.engagement_mm(pad)
        word = "enough" if thread >= stud.needed_engagement_mm else "too little: longer studs"
        found.append(
            f"{thread:.1f} mm of {stud.thread} thread left for the nut, "
            f"{stud.needed_engagement_mm:g} mm needed: {word}"
        )
        register = stud.register_mm(pad)
        word = "enough" if register >= stud.needed_register_mm else "too little: a hub-centred one"
        found.append(
            f"{max(register, 0.0):.1f} mm of register left to centre the wheel, "
            f"{stud.needed_register_mm:g} mm needed: {word}"
        )
    else:
        found.append(f"thread in the nut and register in the wheel shrink by {used:.1f} mm")
    found.append("tyre to arch and body: not checked")
    return found


def _smaller_effects(change: Change, amount: float, settings: VerdictSettings) -> list[str]:
    found = [f"{amount:.2f} mm {change.note}"]
    if settings.rotor is not None:
        outer = settings.rotor.ring_outer_diameter_mm
        inner = settings.rotor.ring_inner_diameter_mm
        before = (outer + inner) / 4.0
        after = before - amount / 2.0
        found.append(
            f"the pads sweep {amount / 2:.2f} mm further in; brake torque falls by about "
            f"{amount / 2 / before:.1%}" if after > 0 else "no ring is left"
        )  # fmt: skip
        found.append(
            f"ring band {(outer - inner) / 2:.1f} mm becomes {(outer - amount - inner) / 2:.1f} mm "
            "unless its inner diameter shrinks too"
        )
    return found
