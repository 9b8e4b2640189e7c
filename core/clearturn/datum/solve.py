"""Start values and the iteration that all fits share, in centred and scaled coordinates."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from clearturn import threads
from clearturn.datum import _kernels
from clearturn.datum.shape import Array, Kind, Shape, Sums, frame_along, jacobian, residuals, sums
from clearturn.errors import FitProblem

TUKEY = 4.685  # 95 % efficiency on normal noise (Holland & Welsch 1977; from memory)
# Median of |d| to standard deviation for one and for two equal normal components.
MEDIAN_TO_SIGMA = (1.0 / 0.6744897501960817, 1.0 / math.sqrt(2.0 * math.log(2.0)))
SVD_POINTS = 5000  # above it the squares are summed, which halves the digits
SAMPLE = 2000  # points the start is refined on
TRIAL_POINTS = 128  # points a trial is judged by
TRIAL_REFINED = 500  # points the candidates are first refined on
TRIALS = 20  # per direction
FIRST_TRIALS = 8  # of them, before the best directions are looked at closer
CLOSER_LOOKS = 32
HOPELESS = 4.0  # times the best candidate's median distance, from where on one is given up
DIRECTIONS = 220  # over half a sphere: about 10 degrees apart
ROUGH_POINTS = 10_000  # points on which a robust fit of many goes most of its way
SCALE_SETTLED = 0.01  # change of the scale that changes the answer by less than it is sure
# A part's scale is sure to about 1 %, its place to a hundredth of the noise: one step on all is as
# good as many.
WHOLE_SETTLED = 0.03
WHOLE_TOLERANCE = 1e-4
FLOOR = 1e-11  # least robust scale, in units of the points' spread


def refine(
    points: Array,
    shape: Shape,
    bound: float = math.inf,
    tolerance: float = 1e-13,
    iterations: int = 200,
) -> tuple[Shape, Sums]:
    """Move `shape` to the least (Tukey-weighted) sum of squares.

    Gauss-Newton steps; Levenberg's damping only after a step that made things worse.  Points must
    be centred on the origin with a spread of about 1.
    """
    zero = np.zeros(3)
    now = sums(points, shape, bound)
    damping = 0.0
    last = math.inf
    for _ in range(iterations):
        step = _step(now, damping)
        if step is not None and bound < math.inf and damping == 0.0:
            # Weighted steps fall short by the mean of ψ' over that of the weights.
            step = step * min(max(now.weight / max(now.sum_psi_slope, 1e-300), 1.0), 1.6)
        if step is None:
            damping = max(10.0 * damping, 1e-9)
            if damping > 1e6:
                break
            continue
        size = _size(step, shape)
        if last < 1e-8 and size >= last:
            break  # the steps are rounding now
        trial = shape.moved(step).nearest(zero)
        if bound < math.inf and damping == 0.0 and size < tolerance:
            return trial, now  # a step too small to be judged by another pass
        then = sums(points, trial, bound)
        if then.cost <= now.cost or size < 1e-8:
            shape, now, last = trial, then, size
            damping = 0.0 if damping < 1e-9 else damping / 10.0
            if size < tolerance:
                break
        else:
            damping = max(10.0 * damping, 1e-6)
            if damping > 1e12:
                break
    return shape, now


def polish(points: Array, shape: Shape) -> Shape:
    """Take the last steps by an orthogonal factorisation, which keeps the digits JᵀJ loses."""
    last = math.inf
    for _ in range(6):
        rows, distances = jacobian(points, shape)
        scale = np.maximum(np.linalg.norm(rows, axis=0), 1e-300)
        answer, *_ = np.linalg.lstsq(rows / scale, distances, rcond=None)
        step = -answer / scale
        size = _size(step, shape)
        if not size < 0.5 * last:
            break
        shape, last = shape.moved(step).nearest(np.zeros(3)), size
    return shape


def _step(now: Sums, damping: float) -> Array | None:
    # Columns scaled to one: the damping is then without units.
    scale = np.sqrt(np.maximum(np.diag(now.normal), 1e-300))
    matrix = now.normal / np.outer(scale, scale)
    matrix[np.diag_indices_from(matrix)] += damping
    try:
        step: Array = -np.linalg.solve(matrix, now.gradient / scale) / scale
    except np.linalg.LinAlgError:
        return None
    if not np.isfinite(step).all():
        return None
    return step


def _size(step: Array, shape: Shape) -> float:
    # A flat arc has a centre far away: its steps count relative to the radius.
    return float(np.abs(step).max()) / max(1.0, abs(shape.radius))


def scale_of(
    distances: Array, kind: Kind, floor: float = FLOOR, near: float | None = None
) -> float:
    """Return the robust standard deviation of the distances that are not outliers.

    The median absolute distance, taken again over the points within Tukey's bound until it
    stands, so that one-sided outliers do not widen it.  `near` is where to begin instead of the
    median of all, which saves rounds.
    """
    size = np.abs(distances)
    factor = MEDIAN_TO_SIGMA[1 if kind.two_residuals else 0]
    scale = max(factor * _median(size.copy()), floor) if near is None else near
    for _ in range(20):
        inside = size[size < TUKEY * scale]
        if len(inside) == 0:
            break
        new = max(factor * _median(inside), floor)
        if abs(new - scale) <= 1e-3 * scale:
            return new
        scale = new
    return scale


def _median(values: Array) -> float:
    """Return the median, the greater of two middle ones; the values come out in another order."""
    half = len(values) // 2
    values.partition(half)
    return float(values[half])


def refine_robust(
    points: Array, shape: Shape, rounds: int = 8, tolerance: float = 1e-9
) -> tuple[Shape, Sums, float, Array]:
    """Tukey's weighted least squares, the scale taken anew until it stands.

    Returns the shape, its sums, the scale and every point's distance.
    """
    settled, near = SCALE_SETTLED, None
    if len(points) > 2 * ROUGH_POINTS:
        # Most of the way on a part of the points, the last steps on all.
        part = np.ascontiguousarray(points[:: len(points) // ROUGH_POINTS])
        shape, _, scale, _ = refine_robust(part, shape, rounds, 1e-6)
        rounds, tolerance, settled, near = 2, WHOLE_TOLERANCE, WHOLE_SETTLED, scale
    else:
        scale = scale_of(residuals(points, shape), shape.kind)
    for _ in range(rounds):
        shape, now = refine(points, shape, TUKEY * scale, tolerance, 40)
        distances = residuals(points, shape)
        new = scale_of(distances, shape.kind, near=near)
        if abs(new - scale) <= settled * scale:
            break
        scale = new
    return shape, now, scale, distances


def start(kind: Kind, points: Array, robust: bool, hints: Iterable[Array] = ()) -> Shape:
    """Return start values, chosen on a fixed-seed sample and refined there.

    Raises
    ------
    FitProblem
        If no feature of this kind goes through the points.
    """
    rng = np.random.default_rng(20_231)
    sample = points
    if len(points) > SAMPLE:
        sample = np.ascontiguousarray(points[rng.choice(len(points), SAMPLE, replace=False)])
    if kind in (Kind.CYLINDER, Kind.CONE):
        candidates = _axis_candidates(kind, sample, robust, rng, list(hints))
    elif robust:
        candidates = _trial_candidates(kind, sample, rng)
    else:
        candidates = _direct(kind, sample)
    best: Shape | None = None
    least = math.inf
    if robust:
        candidates = _promising(sample, candidates)
    for shape in candidates:
        if robust:
            moved, score = _anneal(sample, shape, 12)
        else:
            moved, total = refine(sample, shape, tolerance=1e-7, iterations=60)
            score = total.cost
        if math.isfinite(score) and score < least and abs(moved.radius) < 1e7:
            best, least = moved, score
    if best is None:
        raise FitProblem(
            f"no {kind.name.lower()} goes through the points",
            mend="check that the points belong to one surface of this kind",
        )
    return best


def _promising(sample: Array, candidates: list[Shape]) -> list[Shape]:
    """Return up to three candidates that stand best after two rounds on a few points."""
    few = np.ascontiguousarray(sample[:TRIAL_REFINED])
    moved = [_anneal(few, shape, 2) for shape in candidates]
    moved.sort(key=lambda item: item[1])
    return [shape for shape, score in moved[:3] if score <= HOPELESS * moved[0][1] + FLOOR]


def _anneal(sample: Array, shape: Shape, rounds: int) -> tuple[Shape, float]:
    """Follow the bulk of the points and return the shape with its median distance."""
    kind = shape.kind
    origin, axes = shape.origin.copy(), shape.axes.copy()
    state = np.array([shape.radius, shape.half_angle])
    factor = TUKEY * MEDIAN_TO_SIGMA[1 if kind.two_residuals else 0]
    median = _kernels.anneal(
        sample, int(kind), kind.parameters, origin, axes, state, rounds, factor, FLOOR
    )
    moved = Shape(kind, origin, axes, float(state[0]), float(state[1]))
    return moved, float(median) if math.isfinite(median) else math.inf


def principal(points: Array) -> tuple[Array, Array]:
    """Return the singular values and directions (rows) of the points about their mean."""
    if len(points) <= SVD_POINTS:
        _, values, rows = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
        return values, rows
    mean = np.ones(len(points)) @ points / len(points)
    # About the mean by the parallel axes: the points lie about it already, so no digits are lost.
    squares, columns = np.linalg.eigh(points.T @ points - len(points) * np.outer(mean, mean))
    return np.sqrt(np.maximum(squares[::-1], 0.0)), columns[:, ::-1].T


def _direct(kind: Kind, points: Array) -> list[Shape]:
    mean = points.mean(axis=0)
    _, rows = principal(points)
    if kind is Kind.LINE:
        return [Shape(kind, mean, frame_along(rows[0]))]
    if kind is Kind.PLANE:
        return [Shape(kind, mean, frame_along(rows[2]))]
    if kind is Kind.SPHERE:
        centre, radius = _algebraic_centre(points - mean)
        return [Shape(kind, centre + mean, np.eye(3), radius)]
    axes = frame_along(rows[2])
    flat = (points - mean) @ axes[:2].T
    centre, radius = _algebraic_centre(flat)
    # Nearly straight points may have several minima, the least one far off on either side
    # (Chernov 2010, sec. 5.13).
    shapes = [Shape(kind, mean + centre @ axes[:2], axes, radius)]
    for away in (-300.0, -30.0, -3.0, 3.0, 30.0, 300.0):
        shapes.append(Shape(kind, mean + away * axes[1], axes, abs(away)))
    return shapes


def _algebraic_centre(points: Array) -> tuple[Array, float]:
    # Kåsa's linear circle (or sphere): only a start, its radius is too small on short arcs.
    matrix = np.column_stack([2.0 * points, np.ones(len(points))])
    answer, *_ = np.linalg.lstsq(matrix, (points**2).sum(axis=1), rcond=None)
    centre = answer[:-1]
    return centre, math.sqrt(max(float(answer[-1] + centre @ centre), 0.0))


def _trial_candidates(kind: Kind, points: Array, rng: np.random.Generator) -> list[Shape]:
    count = {Kind.LINE: 2, Kind.PLANE: 3, Kind.CIRCLE: 3, Kind.SPHERE: 4}[kind]
    judged = points[rng.permutation(len(points))[:TRIAL_POINTS]]
    scored: list[tuple[float, int, Shape]] = []
    for trial in range(100):
        pick = points[rng.choice(len(points), count, replace=False)]
        shape = _through(kind, pick)
        if shape is None:
            continue
        scored.append((float(np.median(np.abs(residuals(judged, shape)))), trial, shape))
    scored.sort(key=lambda item: item[:2])
    return [shape for _, _, shape in scored[:5]]


def _through(kind: Kind, pick: Array) -> Shape | None:
    """Return the feature exactly through a least set of points, or None."""
    mean = pick.mean(axis=0)
    if kind is Kind.LINE:
        direction = pick[1] - pick[0]
        if np.linalg.norm(direction) < 1e-9:
            return None
        return Shape(kind, mean, frame_along(direction))
    if kind is Kind.SPHERE:
        matrix = 2.0 * (pick[1:] - pick[0])
        if abs(np.linalg.det(matrix)) < 1e-9:
            return None
        centre = np.linalg.solve(matrix, (pick[1:] ** 2).sum(axis=1) - (pick[0] ** 2).sum())
        return Shape(kind, centre, np.eye(3), float(np.linalg.norm(pick[0] - centre)))
    normal = np.cross(pick[1] - pick[0], pick[2] - pick[0])
    if np.linalg.norm(normal) < 1e-9:
        return None
    axes = frame_along(normal)
    if kind is Kind.PLANE:
        return Shape(kind, mean, axes)
    centre, radius = _algebraic_centre((pick - mean) @ axes[:2].T)
    return Shape(kind, mean + centre @ axes[:2], axes, radius)


def half_sphere(count: int) -> Array:
    """Return `count` directions spread evenly over half a sphere, (count, 3)."""
    k = np.arange(count) + 0.5
    z = 1.0 - k / count
    turn = k * math.pi * (3.0 - math.sqrt(5.0))
    r = np.sqrt(1.0 - z * z)
    return np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)


@functools.cache
def _search_frames() -> Array:
    return np.stack([frame_along(direction) for direction in half_sphere(DIRECTIONS)])


def _axis_candidates(
    kind: Kind, sample: Array, robust: bool, rng: np.random.Generator, hints: list[Array]
) -> list[Shape]:
    _, rows = principal(sample)
    # A hint saves the search; the points' own directions stand by in case it is wrong.
    first = np.concatenate([np.reshape(hints, (-1, 3)), rows])
    frames = np.stack([frame_along(direction) for direction in first])
    if not hints:
        frames = np.concatenate([frames, _search_frames()])
    found = np.full((len(frames), 5), np.inf)
    cone = kind is Kind.CONE
    judged = sample
    if robust:
        judged = np.ascontiguousarray(sample[rng.permutation(len(sample))[:TRIAL_POINTS]])
        trials = TRIALS * (3 if cone else 1)
        picks = rng.integers(0, len(judged), (len(frames), trials, 5))
        if not cone and len(frames) > 2 * CLOSER_LOOKS:
            # A few trials tell which directions deserve them all.
            few = np.ascontiguousarray(picks[:, :FIRST_TRIALS])
            rough = np.full((len(frames), 5), np.inf)
            threads.run(
                lambda a, b: _kernels.consensus(judged, frames, a, b, few, cone, rough),
                threads.spans(len(frames), 32),
            )
            best = np.sort(np.argsort(rough[:, 0], kind="stable")[:CLOSER_LOOKS])
            frames, picks, found = frames[best], picks[best], found[best]
    elif len(sample) > 600:
        judged = np.ascontiguousarray(sample[:600])

    def work(start: int, stop: int) -> None:
        if robust:
            _kernels.consensus(judged, frames, start, stop, picks, cone, found)
        else:
            _kernels.algebraic(judged, frames, start, stop, cone, found)

    threads.run(work, threads.spans(len(frames), 32))
    shapes: list[Shape] = []
    for k in np.argsort(found[:, 0], kind="stable"):
        if not np.isfinite(found[k]).all() or len(shapes) >= 8:
            break
        axis = frames[k, 2]
        if any(abs(float(shape.axes[2] @ axis)) > math.cos(math.radians(7)) for shape in shapes):
            continue
        _, a, b, radius, slope = (float(x) for x in found[k])
        shape = Shape(kind, np.array([a, b, 0.0]) @ frames[k], frames[k], radius)
        if cone:
            shape = replace(shape, half_angle=math.atan(slope)).nearest(np.zeros(3))
        shapes.append(shape)
    return shapes
