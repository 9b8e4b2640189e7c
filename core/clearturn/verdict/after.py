"""How a pair stands with a change made, by the exact engine, and how far it is from clearing.

A gap changes by at most as much as a part is moved.  The shift that frees parts that cross says
nothing about the least one that clears; the deepest point found inside does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn.gap import Gap, State
from clearturn.job.judging import VerdictSettings
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.verdict.allowances import Applied, contributions, project, total_cost
from clearturn.verdict.changes import WHEEL_KINDS, Change
from clearturn.verdict.field import TOLERANCE_MM, Pair
from clearturn.verdict.judge import (
    TILT_REACH,
    Judged,
    allowances_at,
    governing_place,
    most_cost,
)
from clearturn.verdict.uncertainty import combine

Array = NDArray[np.float64]

STEP_MM = 0.002
"""Least step of the march; amounts are found to this."""


@dataclass(frozen=True, slots=True)
class After:
    """How a pair stands with a change made.

    Attributes
    ----------
    margin_mm : float
        Minus infinity where surfaces meet, a part lies in the other or its side is not known.
    missing_mm : float
        The change must go on at least so far before the pair can clear; 0 where it does.
    meets : bool
        Whether the surfaces meet or cross, or one part lies in the other.
    """

    margin_mm: float
    missing_mm: float
    meets: bool = False

    @property
    def clears(self) -> bool:
        """Whether the pair clears."""
        return self.missing_mm <= 0


def margin_after(
    one: Judged, change: Change, amount_mm: float, settings: VerdictSettings,
    progress: Progress | None = None,
) -> float:  # fmt: skip
    """Return a pair's margin with a change made: exact gap, allowances at its new place.

    For a pair so wide that the change cannot matter, a lower bound of it.

    The noise bias and its uncertainty are those of the pair as it stands.
    """
    if _left_alone(one, change) or change.reach(amount_mm) == 0:
        return one.result.margin_mm
    if (wide := _wide(one, change, amount_mm)) is not None:
        return wide
    pair, shifts = _changed(one, change, amount_mm)
    gap = pair.gap(progress, shift_first=shifts[0], shift_second=shifts[1])
    return _margin(one, change, pair, gap, shifts, settings, progress)


def after(
    one: Judged, change: Change, amount_mm: float, settings: VerdictSettings,
    progress: Progress | None = None,
) -> After:  # fmt: skip
    """Return how a pair stands with a change made, without asking how deep parts that meet are.

    A gap changes by at most the amount.  Parts that are d deep in each other must come that far
    and then by the least gap that could clear; parts that are apart lack what their margin lacks,
    less what allowances can give when the direction of the gap turns on the way there.
    """
    if _left_alone(one, change):
        margin = one.result.margin_mm
        return After(margin, 0.0 if margin >= 0 else math.inf)
    if change.removes_only and one.result.margin_mm >= 0:
        return After(one.result.margin_mm, 0.0)
    if (wide := _wide(one, change, amount_mm)) is not None:
        return After(wide, 0.0)
    needed, swing = _needed(one, settings)
    if change.reach(amount_mm) == 0:
        pair, shifts, gap = one.noise.pair, (np.zeros(3), np.zeros(3)), one.noise.gap
        inside = gap.interference
        depth = (inside.depth_mm.lower or 0.0) if inside is not None and inside.depth_mm else 0.0
    else:
        pair, shifts = _changed(one, change, amount_mm)
        gap, depth = pair.shallow_gap(progress, shift_first=shifts[0], shift_second=shifts[1])
    if gap.state is State.SIGN_UNKNOWN:
        return After(-math.inf, math.inf)
    meets = gap.state is not State.APART
    if meets and needed > TOLERANCE_MM:
        depth = max(depth, -(gap.gap_mm.upper or 0.0))
        return After(-math.inf, needed + depth - TOLERANCE_MM, True)
    if change.reach(amount_mm) == 0:
        margin = one.result.margin_mm
    elif meets:  # so little is asked that the depth decides
        margin = margin_after(one, change, amount_mm, settings, progress)
    else:
        margin = _margin(one, change, pair, gap, shifts, settings, progress)
    if margin >= 0:
        return After(margin, 0.0, meets)
    upper = max(gap.gap_mm.upper or 0.0, 0.0)
    # Going on by s turns the direction by at most 2 s / gap, for s up to half the gap.
    level = min(-margin / (1.0 + 2.0 * swing / upper), 0.5 * upper) if upper > 0 else 0.0
    level = -margin if swing == 0 and not meets else level
    return After(margin, max(level, needed - upper, depth, STEP_MM), meets)


def _left_alone(one: Judged, change: Change) -> bool:
    if one.spec.first not in change.moves and one.spec.second not in change.moves:
        return True
    return change.removes_only and not _faces_wheel(one, change)


def _wide(one: Judged, change: Change, amount_mm: float) -> float | None:
    """Return a lower bound of the margin where the change cannot bring it to its limit."""
    taken = 2.0 * change.reach(amount_mm) + room_of(one)
    # Neither part moves further than that.
    return one.result.margin_mm - taken if one.result.margin_mm > taken else None


def _changed(one: Judged, change: Change, amount_mm: float) -> tuple[Pair, tuple[Array, Array]]:
    """Return the pair as the change deforms it, and how far either part moves as a whole."""
    names, pair = (one.spec.first, one.spec.second), one.noise.pair
    pair = pair.with_meshes(
        first=change.mesh(names[0], pair.first, amount_mm),
        second=change.mesh(names[1], pair.second, amount_mm),
    )
    return pair, (change.shift(names[0], amount_mm), change.shift(names[1], amount_mm))


def _rest(one: Judged) -> float:
    base = one.noise.gap.gap_mm.lower
    estimate = one.noise.estimate_mm.lower
    return 0.0 if base is None or estimate is None else estimate - base


def _kept(one: Judged, applied: Sequence[Applied]) -> list[float]:
    """Return the standard uncertainties that no change of place alters."""
    random = len(contributions(applied, 0))
    before = [c.standard_mm for c in one.contributions]
    return before[: len(before) - random]


def _needed(one: Judged, settings: VerdictSettings) -> tuple[float, float]:
    """Return the least gap that clears in any direction, and how far directions can differ, mm."""
    _, applied = allowances_at(one.noise.pair, one.noise.gap, one.first, one.second, settings)
    least = swing = 0.0
    for entry in (each.entry for each in applied):
        if entry.direction == "gap":
            least += 0.0 if entry.kind == "random" else float(entry.value_mm)
            continue
        reach = abs(float(entry.value_mm)) * (TILT_REACH if entry.direction == "tilt" else 1.0)
        least -= reach if entry.kind == "shift" else 0.0
        swing += reach * (settings.coverage_factor if entry.kind == "random" else 1.0)
    expanded = settings.coverage_factor * combine(_kept(one, applied))
    return one.spec.required_mm + least + expanded - _rest(one), swing


def _margin(
    one: Judged,
    change: Change,
    pair: Pair,
    gap: Gap,
    shifts: tuple[Array, Array],
    settings: VerdictSettings,
    progress: Progress | None,
) -> float:
    """Return the margin of a gap found."""
    lower = gap.gap_mm.lower
    if lower is None or gap.state is State.SIGN_UNKNOWN:
        return -math.inf
    _, applied = allowances_at(pair, gap, one.first, one.second, settings)
    cost = float(total_cost(applied, 1)[0])
    random_now = [c.standard_mm for c in contributions(applied, 0)]
    expanded = settings.coverage_factor * combine([*_kept(one, applied), *random_now])
    margin = lower + _rest(one) - cost - expanded - one.spec.required_mm
    if margin >= 0 and margin < most_cost(applied) - cost:
        # Another place may be worse net of allowances; the nearest one is not enough to clear by.
        there = replace(one.noise, pair=pair.moved(*shifts), gap=gap)
        _, taken, wider = governing_place(one.first, one.second, there, settings, progress)
        margin += cost + wider - float(total_cost(taken, 1)[0])
        known = _at_first_place(one, change, pair, shifts, settings)
        margin = margin if known is None else min(margin, known - expanded)
    # The whole caliper is moved to see a trimmed one; what is only cut away takes from no gap.
    return max(margin, one.result.margin_mm) if change.removes_only else margin


def _at_first_place(
    one: Judged,
    change: Change,
    pair: Pair,
    shifts: tuple[Array, Array],
    settings: VerdictSettings,
) -> float | None:
    """Return what is left, before U, at the place judged before the change; None if it cannot.

    The search for the worst place samples surfaces and may miss between two samples what it found
    before; a place once known is never forgotten.
    """
    from_first = pair.turns != "first"
    own = one.spec.first if from_first else one.spec.second
    move = change.moves.get(own)
    if move is not None and move.deform is not None:
        return None
    mine, others = shifts if from_first else shifts[::-1]
    if pair.turns is not None and others[:2].any():
        return None
    clock, r = math.radians(one.result.clock_deg), one.result.r_mm
    point = np.array([[r * math.sin(clock), r * math.cos(clock), one.result.z_mm]])
    there = Mesh(point + mine - others, np.zeros((0, 3), np.int32))
    asked = pair.with_meshes(**{"first" if from_first else "second": there})
    field = asked.field(from_first, math.inf, np.zeros(1, np.int64))
    if len(field.vertices) == 0 or field.distance_mm[0] <= 0:
        return None
    every = project(settings.allowances, one.first, one.second, field.places, settings.wheel_parts)
    gap = float(field.distance_mm[0] - total_cost(every, 1)[0]) - TOLERANCE_MM
    return gap + _rest(one) - one.spec.required_mm


def room_of(one: Judged) -> float:
    """Return what allowances and uncertainty could take more at another place."""
    return sum(abs(a.value_mm) for a in one.result.allowances)


def _faces_wheel(one: Judged, change: Change) -> bool:
    # Trimming is only followed where the trimmed side faces: against the wheel.
    other = one.second if one.spec.first in change.moves else one.first
    return other.kind in WHEEL_KINDS
