"""Every compiled loop against a plain one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from clearturn.datum import _kernels, _kernels_grow, _kernels_pairs
from clearturn.datum.shape import Kind, Shape, coverage, frame_along

RNG = np.random.default_rng(12)
POINTS = RNG.normal(size=(60, 3))


def test_pair_sums() -> None:
    points = POINTS[np.argsort(POINTS[:, 0])]
    rows, values = RNG.normal(size=(120, 3)), RNG.normal(size=120)
    seeds = np.array([3, 17, 44])
    low, high, bins, parts = 0.3, 2.0, 5, 2
    window = np.array([[0, 60], [5, 50], [0, 60]])
    out, products = np.zeros((bins, 3)), np.zeros((bins, 3, 3))
    scale = bins / math.log((high / low) ** 2)
    _kernels_pairs.pair_sums(
        points, rows, values, parts, seeds, window, 0, 3, low**2, high**2, scale, out, products
    )
    expected, outer = np.zeros((bins, 3)), np.zeros((bins, 3, 3))
    edges = low * (high / low) ** (np.arange(bins + 1) / bins)
    for seed, (first, last) in zip(seeds, window, strict=True):
        for j in range(first, last):
            d = float(np.linalg.norm(points[j] - points[seed]))
            if j == seed or not low <= d < high:
                continue
            k = int(np.searchsorted(edges, d, side="right")) - 1
            pair = values[2 * seed : 2 * seed + 2] @ values[2 * j : 2 * j + 2]
            expected[k] += [1, d, pair]
            for part in range(2):
                outer[k] += np.outer(rows[2 * j + part], rows[2 * seed + part])
    assert out == pytest.approx(expected)
    assert products == pytest.approx(outer)


def test_nth_distance() -> None:
    seeds = np.array([0, 30])
    out = np.empty(2)
    _kernels_pairs.nth_distance2(POINTS, seeds, 7, out)
    for seed, found in zip(seeds, out, strict=True):
        d2 = np.sort(((POINTS - POINTS[seed]) ** 2).sum(axis=1))
        assert found == pytest.approx(d2[7])  # d2[0] is the point itself


def _circle(points: np.ndarray, frame: np.ndarray, slope: bool) -> tuple[np.ndarray, float, float]:
    a, b, t = (points @ frame.T).T
    columns = [2 * a, 2 * b, np.ones(len(a))] + ([t, t * t] if slope else [])
    answer, *_ = np.linalg.lstsq(np.column_stack(columns), a * a + b * b, rcond=None)
    r = np.hypot(a - answer[0], b - answer[1])
    if not slope:
        return answer[:2], float(r.mean()), 0.0
    k, r0 = np.polyfit(t, r, 1)
    return answer[:2], float(r0), float(k)


@pytest.mark.parametrize("cone", [False, True])
def test_linear_circles_and_cones_about_directions(cone: bool) -> None:
    frames = np.stack([frame_along(d) for d in RNG.normal(size=(4, 3))])
    found = np.zeros((4, 5))
    _kernels.algebraic(POINTS, frames, 0, 4, cone, found)
    for frame, row in zip(frames, found, strict=True):
        centre, radius, slope = _circle(POINTS, frame, cone)
        a, b, t = (POINTS @ frame.T).T
        d = (np.hypot(a - centre[0], b - centre[1]) - radius - slope * t) / math.hypot(1, slope)
        assert row[1:] == pytest.approx([*centre, radius, slope], rel=1e-6, abs=1e-9)
        assert row[0] == pytest.approx(math.sqrt((d**2).mean()), rel=1e-6)


@pytest.mark.parametrize("cone", [False, True])
def test_consensus_keeps_the_trial_with_the_least_median(cone: bool) -> None:
    frames = np.stack([frame_along(d) for d in RNG.normal(size=(3, 3))])
    picks = np.stack([[RNG.permutation(60)[:5] for _ in range(6)] for _ in range(3)])
    found = np.zeros((3, 5))
    _kernels.consensus(POINTS, frames, 0, 3, picks, cone, found)
    for k, frame in enumerate(frames):
        a, b, t = (POINTS @ frame.T).T
        best = math.inf
        for pick in picks[k]:
            chosen = POINTS[pick if cone else pick[:3]]
            centre, radius, slope = _circle(chosen, frame, cone)
            d = np.abs(np.hypot(a - centre[0], b - centre[1]) - radius - slope * t)
            best = min(best, float(np.median(d)) / math.hypot(1, slope))
        assert found[k, 0] == pytest.approx(best, rel=1e-6)


def test_anneal_moves_a_start_onto_the_bulk_and_takes_steps_as_shapes_do() -> None:
    turn = RNG.uniform(0, 2 * math.pi, 500)
    points = np.column_stack([np.cos(turn), np.sin(turn), RNG.uniform(-1, 1, 500)])
    points[:100, :2] *= RNG.uniform(1.3, 2.0, 100)[:, None]
    start = Shape(Kind.CYLINDER, np.array([0.1, -0.1, 0]), frame_along(np.array([0.1, 0, 1])), 0.9)
    origin, axes, state = start.origin.copy(), start.axes.copy(), np.array([0.9, 0.0])
    median = _kernels.anneal(points, int(Kind.CYLINDER), 5, origin, axes, state, 30, 6.9, 1e-9)
    assert state[0] == pytest.approx(1.0, abs=1e-6)
    assert np.hypot(*axes[2, :2]) < 1e-6
    assert median < 1e-6
    for kind in Kind:
        step = RNG.normal(0, 0.05, kind.parameters)
        here = Shape(
            kind, np.array([0.2, 0.1, 0.3]), frame_along(np.array([0.1, 0.4, 1])), 0.8, 0.3
        )
        moved = here.moved(step).nearest(np.zeros(3))
        origin, axes, state = here.origin.copy(), here.axes.copy(), np.array([0.8, 0.3])
        _kernels.take_step(int(kind), step, origin, axes, state)
        if kind is Kind.PLANE:
            assert float((moved.origin - origin) @ axes[2]) == pytest.approx(0, abs=1e-12)
        else:
            assert origin == pytest.approx(moved.origin, abs=1e-12)
            assert state == pytest.approx([moved.radius, moved.half_angle], abs=1e-12)
        if kind is not Kind.SPHERE:
            assert axes == pytest.approx(moved.axes, abs=1e-12)


@pytest.mark.parametrize(("arc", "expected"), [(40.0, 40.0), (200.0, 200.0), (360.0, 360.0)])
@pytest.mark.parametrize("count", [24, 5000])
def test_arc_is_the_turn_less_its_largest_gap(arc: float, expected: float, count: int) -> None:
    turn = np.radians(np.linspace(0, arc, count, endpoint=arc < 360) + 77.0)
    points = np.column_stack([np.cos(turn), np.sin(turn), np.linspace(-1, 2, count)])
    shape = Shape(Kind.CYLINDER, np.zeros(3), np.eye(3), 1.0)
    found, low, high = coverage(points, shape)
    assert found == pytest.approx(expected, abs=0.2)
    assert (low, high) == (-1.0, 2.0)


def test_normals_smoothing_and_nearest_centre() -> None:
    vertices = RNG.normal(size=(30, 3))
    faces = RNG.integers(0, 30, (40, 3)).astype(np.int32)
    normals, centres = np.empty((40, 3)), np.empty((40, 3))
    _kernels_grow.face_normals(vertices, faces, 0, 40, normals, centres)
    corner = vertices[faces]
    plain = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    assert normals == pytest.approx(plain, abs=1e-12)
    assert centres == pytest.approx(corner.mean(axis=1))
    across = RNG.integers(-1, 40, (40, 3)).astype(np.int32)
    out = np.empty((40, 3))
    _kernels_grow.smooth(across, normals, 0, 40, 0.3, out)
    size = np.linalg.norm(plain, axis=1)
    for i in range(40):
        total = plain[i].copy()
        for j in across[i]:
            if j >= 0 and plain[i] @ plain[j] >= 0.3 * size[i] * size[j]:
                total += plain[j]
        assert out[i] == pytest.approx(total, abs=1e-12)
    best = np.empty(2)
    point = np.array([0.2, 0.1, -0.3])
    _kernels_grow.nearest_centre(centres, 0, 40, point, best)
    d2 = ((centres - point) ** 2).sum(axis=1)
    assert best == pytest.approx([np.argmin(d2), d2.min()])


def test_growing_agrees_with_a_plain_flood() -> None:
    rng = np.random.default_rng(3)
    count = 300
    across = rng.integers(-1, count, (count, 3)).astype(np.int32)
    normals = np.array([0, 0, 1.0]) + rng.normal(0, 0.15, (count, 3))
    centres = rng.normal(0, 2, (count, 3))
    unit = normals / np.linalg.norm(normals, axis=1)[:, None]
    step, curvature, slack, spread, limit = 0.9, 0.1, 0.15, 0.9, 4.0
    taken = {5}
    todo = [5]
    while todo:
        i = todo.pop(0)
        for j in across[i].tolist():
            if j < 0 or j in taken:
                continue
            cos = float(unit[i] @ unit[j])
            apart = float(np.linalg.norm(centres[j] - centres[i]))
            if cos < step or math.acos(min(cos, 1.0)) > curvature * apart + slack:
                continue
            if unit[5] @ unit[j] < spread or np.linalg.norm(centres[j] - centres[5]) > limit:
                continue
            taken.add(j)
            todo.append(j)
    mask, queue = np.zeros(count, np.bool_), np.empty(count, np.int32)
    head = tail = 0
    while True:  # in slices of seven, as between two checks for cancelling
        head, tail = _kernels_grow.grow(
            across, normals, centres, 5, step, curvature, slack, centres[5], unit[5], spread,
            limit**2, mask, queue, head, tail, 7,
        )  # fmt: skip
        if head == tail:
            break
    assert set(np.flatnonzero(mask).tolist()) == taken
    assert 10 < len(taken) < count
