"""The gap of a pair with the wheel at one angle."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from clearturn.errors import InputError
from clearturn.gap import Gap, State, still_gap
from clearturn.progress import Progress, check
from clearturn.result import CheckResult, PairResult
from clearturn.trial.freedom import placed_part, spec_of
from clearturn.trial.gaps import seated_faces, seats_of
from clearturn.verdict.field import TOLERANCE_MM, turning_side
from clearturn.verdict.judge import without_faces


@dataclass(frozen=True, slots=True)
class TurnedGap:
    """A turning pair's gap at one angle of what turns.

    Attributes
    ----------
    pair : PairResult
        As judged, over the full turn.
    turn_deg : float
        Right-handed about the hub's axis, outboard positive.
    gap : Gap
        Certified, at this angle.
    estimate_mm : float or None
        Gap as the gap list tells it: noise taken into account as it was judged; 0 where they meet,
        None where it is not known.
    """

    pair: PairResult
    turn_deg: float
    gap: Gap
    estimate_mm: float | None


def gap_at_turn(
    result: CheckResult, pair: PairResult, turn_deg: float, progress: Progress | None = None
) -> TurnedGap:
    """Return the gap of a turning pair at one angle; never less than that over the full turn.

    Parameters
    ----------
    result : CheckResult
        That the pair is of.
    turn_deg : float
        Counted as the pair's ``gap.turn_angle_deg``.

    Raises
    ------
    InputError
        If the pair's parts do not turn against each other.
    Cancelled
        If `progress` was cancelled.
    """
    parts = [placed_part(result, name) for name in (pair.first, pair.second)]
    turns = turning_side(*parts)
    if turns is None:
        raise InputError(f"{pair.first} and {pair.second} do not turn against each other")
    axle = next((one.name for one in result.job.axles if spec_of(result, one.name, pair.first)),
                None)  # fmt: skip
    seats = [] if axle is None else seats_of(result, axle, pair)
    meshes = []
    for one in parts:
        check(progress)
        meshes.append(without_faces(one, seated_faces(one, np.zeros(3), seats))[0])
    pose = np.eye(4)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    pose[:2, :2] = [[c, -s], [s, c]]
    gap = still_gap(
        meshes[0], meshes[1], tolerance_mm=TOLERANCE_MM, progress=progress,
        pose_first=pose if turns == "first" else None,
        pose_second=pose if turns == "second" else None,
    )  # fmt: skip
    least, here, told = pair.gap.gap_mm.lower, gap.gap_mm.lower, pair.least_mm
    if pair.gap.state is State.APART:  # at every angle, then, also where this one cannot tell
        if least is None or here is None or told is None:
            return TurnedGap(pair, turn_deg, gap, None)
        return TurnedGap(pair, turn_deg, gap, told + here - least)
    if gap.state is State.SIGN_UNKNOWN:
        return TurnedGap(pair, turn_deg, gap, None)
    return TurnedGap(pair, turn_deg, gap, here if gap.state is State.APART else 0.0)
