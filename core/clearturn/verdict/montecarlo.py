"""Monte Carlo on the exact engine: how the least net gap scatters, and which place is worst.

The linear budget looks at one place with one direction.  Here every trial moves the parts by drawn
errors of their datums, asks the engine again and projects the allowances at the place it finds
(propagation of distributions, JCGM 101).  Where one place dominates, both must agree; where
several compete, this is the answer.

Eccentricities and run-outs cost in every trial as they do in the budget: a full turn passes
through every phase, so drawing a phase would book gains that no turn gives.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn import threads
from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.gap import Z_AXIS, State
from clearturn.gap.meridian import meridian_image
from clearturn.gap.still import still_distance
from clearturn.gap.turning import Turns, turning_distance
from clearturn.job.judging import VerdictSettings
from clearturn.progress import Progress, check, part, report
from clearturn.result import PlacedPart
from clearturn.verdict.allowances import Places, project, total_cost
from clearturn.verdict.every import judge_all
from clearturn.verdict.field import Pair
from clearturn.verdict.judge import Judged
from clearturn.verdict.places import COARSE_MM, clock_of, radius_of, refined_field

Array = NDArray[np.float64]

TRIALS = 10_000
NEAR_MM = 2.0
"""Pairs whose margin is wider than this are left out: no trial can bring them near."""
SURELY_MM, SURELY_U = 0.5, 4.0
"""So are those whose margin is wider than both the length and so many times their own U: ten
standard uncertainties above the requirement, as k = 2 of them are in U already."""
_TOLERANCE_MM = 0.005
_SLICE = 50
_OTHER: dict[Turns | None, Turns | None] = {"first": "second", "second": "first", None: None}
_STEP_MM = 15.0
_MOST_GROUPS = 200


@dataclass(frozen=True, slots=True)
class WorstPlace:
    """A place of one pair and the share of trials in which it was the nearest."""

    clock_deg: float
    r_mm: float
    z_mm: float
    share: float


@dataclass(frozen=True, slots=True)
class PairScatter:
    """How one pair's net gap scatters.

    Attributes
    ----------
    first, second, kind : str
    net_mm : (trials,) ndarray
        Net gap of every trial, sorted.
    mean_mm, standard_mm : float
    low_mm, high_mm : float
        Ends of the probabilistically symmetric 95 % interval (JCGM 101, 7.7).
    below_required : float
        Share of trials below the requirement.
    linear_standard_mm : float
        Combined standard uncertainty of the linear budget.
    places : tuple of WorstPlace
        The most frequent first.
    """

    first: str
    second: str
    kind: str
    net_mm: Array
    mean_mm: float
    standard_mm: float
    low_mm: float
    high_mm: float
    below_required: float
    linear_standard_mm: float
    places: tuple[WorstPlace, ...]


@dataclass(frozen=True, slots=True)
class Scatter:
    """All near pairs of a corner under the same drawn errors.

    Attributes
    ----------
    pairs : tuple of PairScatter
    any_below : float
        Share of trials in which at least one pair is below its requirement.
    worst_pair : tuple of (str, float)
        How often each pair has the least margin, the most frequent first.
    not_apart : tuple of str
        Pairs that are near and not apart: they are left out.
    """

    pairs: tuple[PairScatter, ...]
    any_below: float
    worst_pair: tuple[tuple[str, float], ...]
    not_apart: tuple[str, ...] = ()


def scatter_of(
    parts: Sequence[PlacedPart],
    pairs: Sequence[PairSpec],
    settings: VerdictSettings,
    *,
    frames_uncertainty: Mapping[str, FrameUncertainty] | None = None,
    trials: int = TRIALS,
    seed: int = 1,
    progress: Progress | None = None,
) -> Scatter:
    """Draw errors, ask the engine again, and tell how the net gaps scatter.

    Parameters
    ----------
    parts, pairs, settings, frames_uncertainty
        As for `clearturn.verdict.judge_pairs`.
    trials : int
    seed : int
        The same seed gives the same answer on any number of threads.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    frames = frames_uncertainty or {}
    judged = judge_all(parts, pairs, settings, frames, part(progress, 0.0, 0.2))
    near = [one for one in judged if _is_near(one) and _is_apart(one)]
    rng = np.random.default_rng(seed)
    by_frame = {frame.frame: frame for frame in frames.values()}
    moves = {
        name: rng.standard_normal((trials, 6)) @ _root(by_frame[name].covariance).T
        for name in sorted(by_frame)
    }
    limits = {e: rng.uniform(-1, 1, trials) for e in settings.allowances if e.kind == "random"}
    found, margins = [], []
    for i, one in enumerate(near):
        low, high = 0.2 + 0.8 * i / len(near), 0.2 + 0.8 * (i + 1) / len(near)
        report(progress, low, f"trials of {one.spec.first} and {one.spec.second}")
        noise = rng.standard_normal(trials) * one.noise.standard_mm
        relative = _relative(one, frames, moves, trials)
        gaps, places = _trials(one.noise.pair, one, relative, part(progress, low, high))
        applied = project(settings.allowances, one.first, one.second, places, settings.wheel_parts)
        random = np.zeros(trials)
        for single in applied:
            if single.entry.kind == "random":
                random += single.cost_mm * limits[single.entry]
        rest = (one.noise.estimate_mm.upper or 0.0) - (one.noise.gap.gap_mm.upper or 0.0)
        net = gaps + rest + noise + random - total_cost(applied, trials)
        found.append(_summary(one, net, places, settings.coverage_factor))
        margins.append(net - one.spec.required_mm)
    crossing = tuple(
        f"{one.spec.first} and {one.spec.second}"
        for one in judged
        if _is_near(one) and not _is_apart(one)
    )
    return replace(_joined(near, found, margins, trials), not_apart=crossing)


def _is_near(one: Judged) -> bool:
    result = one.result
    surely = max(SURELY_MM, SURELY_U * result.expanded_uncertainty_mm)
    return result.margin_mm < min(NEAR_MM, surely)


def _is_apart(one: Judged) -> bool:
    # A trial's distance has no sign: where parts touch or cross there is nothing to scatter.
    return one.result.gap.state is State.APART and bool(one.result.gap.gap_mm.lower)


def _root(covariance: Array) -> Array:
    """Return a root of a covariance that may be singular: an exact datum has no scatter."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _relative(
    one: Judged, frames: Mapping[str, FrameUncertainty], moves: Mapping[str, Array], trials: int
) -> Array:
    """Return the drawn move of second against first, (trials, 6): t and turn about the origin."""
    first, second = frames.get(one.spec.first), frames.get(one.spec.second)
    total = np.zeros((trials, 6))
    if second is not None:
        total = total + moves[second.frame]
    if first is not None:
        total = total - moves[first.frame]
    return total


def _trials(
    pair: Pair, one: Judged, relative: Array, progress: Progress | None
) -> tuple[Array, Places]:
    """Return the gap and the closest place of every trial.

    The errors are fixed in space, as in the budget, so the part that does not turn is moved by
    the opposite; small moves commute to second order.
    """
    count = len(relative)
    moved_first = pair.turns != "first"
    small = -relative if moved_first else relative
    arm = max(float(np.abs(pair.first.bounds).max()), float(np.abs(pair.second.bounds).max()))
    shift = np.linalg.norm(small[:, :3], axis=1) + arm * np.linalg.norm(small[:, 3:], axis=1)
    usual = float(np.quantile(shift, 0.999)) if count else 0.0
    upper = one.noise.gap.gap_mm.upper or 0.0
    reach = upper + 2.0 * usual + 0.01
    cropped = _cropped(pair, reach)
    gaps = np.empty(count)
    points, directions = np.empty((count, 3)), np.zeros((count, 3))
    done = [0]

    def work(begin: int, end: int) -> None:
        for k in range(begin, end):
            # No face outside the crop can become the nearest unless a trial moves further.
            use = cropped if shift[k] <= usual else pair
            gaps[k], points[k], directions[k] = _one_trial(use, moved_first, small[k])
        done[0] += end - begin
        report(progress, done[0] / count)

    check(progress)
    for use in (cropped, pair):
        # What keeps its place is prepared once, by one thread.
        if use.turns is not None:
            meridian_image(use.second if moved_first else use.first, Z_AXIS, np.eye(4))
    if count:
        work(0, 1)
    threads.run(work, [(s + 1, e + 1) for s, e in threads.spans(count - 1, _SLICE)], progress)
    return gaps, Places(points, directions)


def _cropped(pair: Pair, reach_mm: float) -> Pair:
    """Return the pair with only those faces that may come nearer than a reach.

    Coarse faces are looked at in pieces, so that one long edge does not keep its whole
    neighbourhood.
    """
    meshes = []
    for from_first in (True, False):
        asked = pair if from_first else Pair(pair.second, pair.first, _OTHER[pair.turns])
        mesh, parent, near = refined_field(asked, reach_mm + COARSE_MM)
        distance = np.full(len(mesh.vertices), np.inf)
        distance[near.vertices] = near.distance_mm
        corners = mesh.corners
        longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
        # A face dips between its corners by no more than its longest edge.
        keep = distance[mesh.faces].min(axis=1) <= reach_mm + longest
        meshes.append(asked.first.part(np.unique(parent[keep]), asked.first.name))
    return pair.with_meshes(first=meshes[0], second=meshes[1])


def _one_trial(pair: Pair, moved_first: bool, small: Array) -> tuple[float, Array, Array]:
    """Return gap, place on the fixed part and direction from first to second."""
    pose = _small_pose(small)
    if pair.turns is None:
        gap, (one, two), _ = still_distance(
            pair.first, pair.second, pose, tolerance_mm=_TOLERANCE_MM
        )
    else:
        still = np.eye(4)
        found = turning_distance(
            pair.first, pair.second, Z_AXIS, *((pose, still) if moved_first else (still, pose)),
            tolerance_mm=_TOLERANCE_MM,
        )  # fmt: skip
        gap, (one, two) = 0.5 * (found.lower_mm + found.upper_mm), found.points_mm
        if pair.turns == "second":
            two = _into_half_plane(two, one)
        else:
            one = _into_half_plane(one, two)
    step = two - one
    length = float(np.linalg.norm(step))
    direction = step / length if length > 0 else np.zeros(3)
    place = two if pair.turns == "first" else one
    return gap, place, direction


def _into_half_plane(point: Array, of: Array) -> Array:
    angle = math.atan2(of[1], of[0])
    radius = math.hypot(point[0], point[1])
    return np.array([radius * math.cos(angle), radius * math.sin(angle), point[2]])


def _small_pose(small: Array) -> Array:
    pose = np.eye(4)
    angle = float(np.linalg.norm(small[3:]))
    if angle > 0:  # Rodrigues' formula, so that the pose stays rigid
        x, y, z = small[3:] / angle
        cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
        pose[:3, :3] += math.sin(angle) * cross + (1.0 - math.cos(angle)) * (cross @ cross)
    pose[:3, 3] = small[:3]
    return pose


def _summary(one: Judged, net: Array, places: Places, k: float) -> PairScatter:
    low, high = (float(q) for q in np.quantile(net, (0.025, 0.975)))
    return PairScatter(
        first=one.spec.first,
        second=one.spec.second,
        kind=one.spec.kind,
        net_mm=np.sort(net),
        mean_mm=float(net.mean()),
        standard_mm=float(net.std(ddof=1)) if len(net) > 1 else 0.0,
        low_mm=low,
        high_mm=high,
        below_required=float((net < one.spec.required_mm).mean()),
        linear_standard_mm=one.result.expanded_uncertainty_mm / k,
        places=_frequent(places),
    )


def _frequent(places: Places, most: int = 8) -> tuple[WorstPlace, ...]:
    """Gather the trials' places within `_STEP_MM` of one another, the most frequent first."""
    points = places.points
    left = np.arange(len(points))
    found: list[WorstPlace] = []
    while len(left) and len(found) < _MOST_GROUPS:
        middle = points[left[0]]
        close = np.linalg.norm(points[left] - middle, axis=1) <= _STEP_MM
        found.append(
            WorstPlace(
                clock_of(middle),
                radius_of(middle),
                float(middle[2]),
                int(close.sum()) / len(points),
            )
        )
        left = left[~close]
    found.sort(key=lambda place: -place.share)
    return tuple(found[:most])


def _joined(
    near: Sequence[Judged], found: Sequence[PairScatter], margins: Sequence[Array], trials: int
) -> Scatter:
    if not found:
        return Scatter((), 0.0, ())
    table = np.stack(margins)
    least = np.bincount(table.argmin(axis=0), minlength=len(found)) / trials
    order = np.argsort(-least, kind="stable")
    return Scatter(
        tuple(found),
        float((table < 0).any(axis=0).mean()),
        tuple(
            (f"{near[i].spec.first} and {near[i].spec.second}", float(least[i]))
            for i in order
            if least[i] > 0
        ),
    )
