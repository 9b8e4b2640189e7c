"""Judge every pair of a corner: gap, estimate, allowances, budget, verdict, places, cure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.errors import InputError
from clearturn.findings import Finding
from clearturn.gap import Gap, Interval, State
from clearturn.job.judging import VerdictSettings
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part
from clearturn.result import Allowance, Motion, PairResult, Place, PlacedPart, Verdict
from clearturn.verdict.allowances import (
    Applied,
    Places,
    contributions,
    listed,
    project,
    total_cost,
)
from clearturn.verdict.decision import decide, guard_band_name, margin
from clearturn.verdict.field import Field, Pair
from clearturn.verdict.invented import invented_faces, with_doubt, without_invented
from clearturn.verdict.noise import NoiseEstimate, ScanNoise, estimate_gap, scan_noise
from clearturn.verdict.places import (
    COARSE_MM,
    clock_of,
    places_below,
    radius_of,
    refined_field,
)
from clearturn.verdict.settle import settle_sentence
from clearturn.verdict.uncertainty import (
    Contribution,
    combine,
    combine_sensitivities,
    within_limit,
    worst_case_sum,
)

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_FAR_MM = 10.0
"""A pair this much wider than all it needs is judged at its nearest place, noise and all."""
TILT_REACH = 5.0
"""No place is further from the axis of a tilt than this many times the arm it is stated at."""
_ELSEWHERE_MM = 0.01
"""Another place must be worse by more than this to be judged instead of the nearest one."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A pair with all that a cure needs to judge it again.

    Attributes
    ----------
    spec : PairSpec
    first, second : PlacedPart
    pair : Pair
        Meshes without the seats.
    noise : NoiseEstimate
    contributions : tuple of Contribution
    result : PairResult
    """

    spec: PairSpec
    first: PlacedPart
    second: PlacedPart
    pair: Pair
    noise: NoiseEstimate
    contributions: tuple[Contribution, ...]
    result: PairResult


def judge_one(
    spec: PairSpec,
    parts: Mapping[str, PlacedPart],
    settings: VerdictSettings,
    frames_uncertainty: Mapping[str, FrameUncertainty],
    progress: Progress | None = None,
) -> Judged:
    """Judge one pair without looking for a cure.

    A pair that fails only by surface invented to close holes is not proven.

    Raises
    ------
    InputError
        If a part is not there, has no faces left, or a setting cannot be used.
    Cancelled
        If `progress` was cancelled.
    """
    found = _judge_surface(spec, parts, settings, frames_uncertainty, part(progress, 0.0, 0.7))
    names = _nearest_invented(found)
    if not names:
        return found
    measured = None
    if found.result.verdict is Verdict.FAILS:
        plain = without_invented(spec, found.first, found.second)
        here = part(progress, 0.7, 1.0)
        measured = _judge_surface(plain, parts, settings, frames_uncertainty, here).result
    return replace(found, result=with_doubt(found.result, measured, names))


def _nearest_invented(found: Judged) -> list[str]:
    """Return the parts whose closest place, as scanned or smoothed, is invented surface."""
    names = []
    for placed, is_first in ((found.first, True), (found.second, False)):
        gaps = (found.result.gap, found.noise.gap)
        rows = [g.first_triangle if is_first else g.second_triangle for g in gaps]
        mesh = found.pair.first if is_first else found.pair.second
        if invented_faces(placed, mesh, np.array(rows, np.int64)).any():
            names.append(placed.name)
    return names


def _judge_surface(
    spec: PairSpec,
    parts: Mapping[str, PlacedPart],
    settings: VerdictSettings,
    frames_uncertainty: Mapping[str, FrameUncertainty],
    progress: Progress | None = None,
) -> Judged:
    """Judge one pair by all the surface its parts have."""
    guard_band_name(settings.coverage_factor)
    first, second = part_named(parts, spec.first), part_named(parts, spec.second)
    mesh_first, faces_first = without_faces(first, spec.excluded_first)
    mesh_second, _ = without_faces(second, spec.excluded_second)
    pair = replace(Pair.of(first, second), first=mesh_first, second=mesh_second)
    gap = pair.gap(part(progress, 0.0, 0.3))
    far = spec.required_mm + _all_allowances(first, second, settings) + _FAR_MM
    noise = estimate_gap(
        pair,
        gap,
        _noise_of(first, parts),
        _noise_of(second, parts),
        enough_mm=far,
        progress=part(progress, 0.3, 0.7),
    )
    at, applied = allowances_at(noise.pair, noise.gap, first, second, settings)
    elsewhere = 0.0
    if gap.gap_mm.lower is not None and gap.gap_mm.lower <= far:
        at, applied, elsewhere = governing_place(
            first, second, noise, settings, part(progress, 0.7, 0.8)
        )
    allowances = listed(applied, 0)
    if elsewhere > 0:
        allowances = (*allowances, _elsewhere_line(elsewhere))
    cost = float(total_cost(applied, 1)[0]) - elsewhere
    budget = (
        *_frame_contributions(first, second, at, frames_uncertainty),
        *_noise_contributions(noise),
        *contributions(applied, 0),
    )
    k = settings.coverage_factor
    expanded = k * combine(c.standard_mm for c in budget)
    net = _net(noise.estimate_mm, gap, cost)
    required = spec.required_mm
    verdict = decide(net, expanded, required)
    point = at.points[0]
    clock, r, z = clock_of(point), radius_of(point), float(point[2])
    rest = (noise.estimate_mm.upper or 0.0) - (noise.gap.gap_mm.upper or 0.0)
    threshold = required + cost - rest
    least = noise.gap.gap_mm.upper
    places: tuple[Place, ...] = ()
    if least is None or least < threshold:
        places = places_below(noise.pair, threshold, faces_first, part(progress, 0.8, 1.0))
    settle = None
    if verdict is Verdict.NOT_PROVEN:
        settle = settle_sentence(
            first,
            second,
            clock_deg=clock,
            r_mm=r,
            z_mm=z,
            required_mm=required,
            # At the place judged the gap is wider than the least one by what lies between them.
            allowances_mm=cost + elsewhere,
            contributions=budget,
            coverage_factor=k,
            turns=pair.turns is not None,
            sign_unknown=gap.state is State.SIGN_UNKNOWN,
        )
    known = net if net.lower is not None else Interval(net.upper, net.upper)
    net_least = known.lower if known.lower is not None else -math.inf
    result = PairResult(
        first=spec.first,
        second=spec.second,
        kind=spec.kind,
        motion=spec.motion,
        gap=gap,
        noise_bias_mm=noise.bias_mm,
        estimate_mm=noise.estimate_mm,
        allowances=allowances,
        allowances_mm=cost,
        net_gap_mm=net,
        budget=tuple(c.line() for c in budget),
        expanded_uncertainty_mm=expanded,
        worst_case_mm=net_least - worst_case_sum(budget, k),
        required_mm=required,
        margin_mm=margin(known, expanded, required),
        verdict=verdict,
        clock_deg=clock,
        r_mm=r,
        z_mm=z,
        settle_by=settle,
        places=places,
        findings=_findings(first, second, gap, noise, net),
    )
    return Judged(spec, first, second, pair, noise, budget, result)


def _noise_of(placed: PlacedPart, parts: Mapping[str, PlacedPart]) -> ScanNoise | None:
    """Return the noise of the scan a part comes from.

    Where its datums' fits did not tell the correlation, all its parts together are looked at.
    """
    if placed.sigma_mm <= 0:
        return None
    if placed.correlation_mm is not None:
        return ScanNoise(placed.sigma_mm, placed.correlation_mm)
    same = [one for one in parts.values() if one.source == placed.source and one.sigma_mm > 0] or [
        placed
    ]
    key = ("scan noise", placed.sigma_mm, tuple(one.mesh.sha256 for one in same))
    return same[0].mesh.cached(key, lambda: scan_noise([one.mesh for one in same], placed.sigma_mm))


def _all_allowances(first: PlacedPart, second: PlacedPart, settings: VerdictSettings) -> float:
    nowhere = Places.of(np.zeros(3), np.zeros(3))  # without a direction all cost in full
    applied = project(settings.allowances, first, second, nowhere, settings.wheel_parts)
    return float(sum(one.cost_mm[0] for one in applied))


def place_of(pair: Pair, gap: Gap) -> Places:
    """Return a gap's closest place on the fixed part, with the direction in which it grows.

    n points from first to second where they are apart.  Where they interfere the first part comes
    free along the freeing direction, so the gap grows as the second moves against it.
    """
    point = gap.second_point_mm if pair.turns == "first" else gap.first_point_mm
    direction = gap.direction
    if gap.state is State.INTERFERING:
        free = None if gap.interference is None else gap.interference.freeing_direction
        direction = np.zeros(3) if free is None else -np.asarray(free, dtype=np.float64)
    return Places.of(point, direction)


def allowances_at(
    pair: Pair, gap: Gap, first: PlacedPart, second: PlacedPart, settings: VerdictSettings
) -> tuple[Places, tuple[Applied, ...]]:
    """Return a gap's closest place and the allowances projected there."""
    at = place_of(pair, gap)
    return at, project(settings.allowances, first, second, at, settings.wheel_parts)


def part_named(parts: Mapping[str, PlacedPart], name: str) -> PlacedPart:
    """Return a part by its name; `InputError` if there is none."""
    try:
        return parts[name]
    except KeyError:
        raise InputError(
            "a pair names a part that is not there",
            found=repr(name),
            allowed=", ".join(sorted(parts)) or "no part at all",
        ) from None


def without_faces(placed: PlacedPart, excluded: Indices) -> tuple[Mesh, Indices]:
    """Return the part's mesh without a seat's faces, and which faces are left."""
    mesh = placed.mesh
    if len(excluded) == 0:
        return mesh, np.arange(len(mesh.faces), dtype=np.int64)
    keep = np.ones(len(mesh.faces), np.bool_)
    keep[excluded] = False
    left = np.flatnonzero(keep)
    if len(left) == 0:
        raise InputError(
            "nothing of this part is left once its seat is taken out", place=placed.name
        )
    made = mesh.cached(
        ("without", np.asarray(excluded, np.int64).tobytes()),
        lambda: mesh.part(left, placed.name),
    )
    return made, left.astype(np.int64)


def governing_place(
    first: PlacedPart,
    second: PlacedPart,
    noise: NoiseEstimate,
    settings: VerdictSettings,
    progress: Progress | None,
) -> tuple[Places, tuple[Applied, ...], float]:
    """Return the place with the least gap net of allowances, and how much wider the gap is there.

    A hot ring may leave the nearest place alone and close another one.
    """
    at, applied = allowances_at(noise.pair, noise.gap, first, second, settings)
    upper = noise.gap.gap_mm.upper
    room = most_cost(applied)
    if noise.gap.state is not State.APART or upper is None or room <= _ELSEWHERE_MM:
        return at, applied, 0.0
    cost = float(total_cost(applied, 1)[0])
    # Nowhere can allowances take more than all of them in full.
    reach = upper + max(room - cost, 0.0)
    mesh, _, near = refined_field(noise.pair, reach, progress)
    fields = [
        (noise.pair.with_meshes(first=mesh), near),
        (noise.pair, noise.pair.field(False, reach, progress=progress)),
    ]
    best = upper - cost - _ELSEWHERE_MM
    found = (at, applied, 0.0)
    for pair, field in fields:
        if len(field.vertices) == 0:
            continue
        every = project(settings.allowances, first, second, field.places, settings.wheel_parts)
        net = field.distance_mm - total_cost(every, len(field.vertices))
        row = int(np.argmin(net))
        if net[row] >= best:
            continue
        gap = _gap_around(pair, field, row, progress)
        there, taken = allowances_at(noise.pair, gap, first, second, settings)
        wider = max((gap.gap_mm.upper or 0.0) - upper, 0.0)
        best = upper + wider - float(total_cost(taken, 1)[0])
        found = (there, taken, wider)
    return found


def most_cost(applied: Sequence[Applied]) -> float:
    """Return the most that allowances can take anywhere: e_r·|n_r| + e_z·|n_z| ≤ √(e_r² + e_z²)."""
    radial = axial = other = 0.0
    for one in applied:
        value = abs(one.entry.value_mm)
        if one.entry.kind == "random":
            continue
        if one.entry.direction in ("radial", "outward", "inward"):
            radial += value
        elif one.entry.direction in ("axial", "outboard", "inboard"):
            axial += value
        else:
            other += value * (TILT_REACH if one.entry.direction == "tilt" else 1.0)
    return math.hypot(radial, axial) + other


def _gap_around(pair: Pair, field: Field, row: int, progress: Progress | None) -> Gap:
    """Return the certified gap of the neighbourhood of one vertex of a field."""
    mesh = pair.mesh(field.from_first)
    point = mesh.vertices[field.vertices[row]]
    close = np.linalg.norm(mesh.vertices - point, axis=1) <= 2.0 * COARSE_MM
    close[field.vertices[row]] = True
    part_of = mesh.part(close[mesh.faces].any(axis=1), mesh.name)
    return pair.with_meshes(
        first=part_of if field.from_first else None, second=None if field.from_first else part_of
    ).gap(progress)


def _elsewhere_line(wider_mm: float) -> Allowance:
    return Allowance(
        name="judged at another place, where the gap is wider but the allowances take more",
        kind="shift",
        value_mm=wider_mm,
        direction="gap",
        applied_mm=-wider_mm,
        source="least gap net of allowances over all places",
    )


def _frame_contributions(
    first: PlacedPart,
    second: PlacedPart,
    at: Places,
    frames_uncertainty: Mapping[str, FrameUncertainty],
) -> tuple[Contribution, ...]:
    """Return what the datums of either part leave open in the direction of the gap."""
    one = frames_uncertainty.get(first.name)
    two = frames_uncertainty.get(second.name)
    if one is not None and two is not None and one.frame == two.frame:
        return ()  # both move alike
    point, direction = at.points[0], at.directions[0]
    if not bool(at.known()[0]):
        direction = np.array([0.0, 0.0, 1.0])
    # n·(t + ω × p) = n·t + ω·(p × n)
    sensitivities = np.concatenate([direction, np.cross(point, direction)])
    return tuple(
        Contribution(
            f"datums of {frame.frame}",
            combine_sensitivities(sensitivities, frame.covariance),
            frame.source,
        )
        for frame in (one, two)
        if frame is not None
    )


def _noise_contributions(noise: NoiseEstimate) -> tuple[Contribution, ...]:
    found = []
    if noise.standard_mm > 0:
        found.append(
            Contribution(
                "noise at the place",
                noise.standard_mm,
                "local surface fit, correlated noise, simulated",
            )
        )
    # A depth's interval may be wide, and the rule already looks at its far end: counted here too,
    # parts that certainly cross would be "not proven".
    width = noise.gap.gap_mm.width if noise.gap.state is State.APART else None
    if width:
        found.append(within_limit("width of the certified gap", width / 2, "gap engine"))
    return tuple(found)


def _net(estimate: Interval, gap: Gap, cost: float) -> Interval:
    lower = None if estimate.lower is None else estimate.lower - cost
    upper = None if estimate.upper is None else estimate.upper - cost
    if gap.state is State.SIGN_UNKNOWN:
        lower = None  # it may as well lie inside
    return Interval(lower, upper)


def _findings(
    first: PlacedPart, second: PlacedPart, gap: Gap, noise: NoiseEstimate, net: Interval
) -> tuple[Finding, ...]:
    found = [*gap.findings, *noise.findings]
    posed = [p.name for p in (first, second) if p.motion is Motion.POSED]
    if posed:
        found.append(
            Finding(
                "one-position-only",
                "warning",
                f"{' and '.join(posed)}: judged in the steering and suspension position it was "
                "scanned in; other positions are not checked",
            )
        )
    if net.lower is None:
        found.append(
            Finding(
                "margin-upper-bound",
                "warning",
                f"{first.name} and {second.name}: the least end of the gap is not known; the "
                "margin given is its greatest possible value",
            )
        )
    return tuple(found)
