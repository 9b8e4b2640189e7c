"""Robust fits against known truth, and the compiled sums against plain ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from clearturn import datum
from clearturn.datum import shape as shapes
from clearturn.datum.shape import Kind, Shape
from clearturn.datum.solve import TUKEY

TURN = Rotation.from_euler("xyz", [0.3, -0.8, 1.9]).as_matrix()
PLACE = np.array([120.0, -40.0, 300.0])


def posed(points: np.ndarray) -> np.ndarray:
    return points @ TURN.T + PLACE


def bore(count: int, outliers: float, seed: int = 3) -> np.ndarray:
    """A bore of radius 36 seen over 200°, burrs of 0.1 to 3 mm on its inside only."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, math.radians(200), count)
    r = 36 + rng.normal(0, 0.02, count)
    bad = rng.random(count) < outliers
    r[bad] -= rng.uniform(0.1, 3, bad.sum())
    return posed(
        np.stack([r * np.cos(turn), r * np.sin(turn), rng.uniform(-20, 20, count)], axis=1)
    )


def test_cylinder_with_a_fifth_of_one_sided_outliers_is_found_within_a_micrometre() -> None:
    fit = datum.fit_cylinder(bore(100_000, 0.2), robust=True)
    assert fit.radius_mm == pytest.approx(36.0, abs=1e-3)
    off = np.cross(PLACE - fit.point_mm, TURN[:, 2])
    assert np.linalg.norm(off) < 1e-3
    assert fit.scale_mm == pytest.approx(0.02, rel=0.02)  # of the noise put in
    assert fit.inliers == pytest.approx(80_000, rel=0.01)
    plain = datum.fit_cylinder(bore(100_000, 0.2), correlation=False)
    assert abs(plain.radius_mm - 36.0) > 0.2  # the outliers do pull


@pytest.mark.parametrize("outliers", [0.0, 0.1, 0.3, 0.4])
def test_plane_with_outliers_on_one_side(outliers: float) -> None:
    rng = np.random.default_rng(8)
    count = 20_000
    height = rng.normal(0, 0.02, count)
    bad = rng.random(count) < outliers
    height[bad] += rng.uniform(0.1, 5, bad.sum())
    points = posed(np.column_stack([rng.uniform(-30, 30, (count, 2)), height]))
    fit = datum.fit_plane(points, robust=True)
    assert abs((fit.point_mm - PLACE) @ TURN[:, 2]) < 1.5e-3
    assert np.linalg.norm(np.cross(fit.direction, TURN[:, 2])) < 1e-4


def test_cone_sphere_circle_and_line_with_outliers() -> None:
    rng = np.random.default_rng(5)
    count = 4000
    turn = rng.uniform(0, 2 * math.pi, count)
    bad = rng.random(count) < 0.25
    push = np.where(bad, rng.uniform(0.5, 5, count), rng.normal(0, 0.01, count))
    t = rng.uniform(-10, 10, count)
    r = 25 + t * math.tan(math.radians(12)) + push
    cone = datum.fit_cone(
        posed(np.stack([r * np.cos(turn), r * np.sin(turn), t], axis=1)), robust=True
    )
    assert cone.half_angle_deg == pytest.approx(12.0, abs=0.01)
    assert float(cone.direction @ TURN[:, 2]) == pytest.approx(1.0, abs=1e-7)
    out = rng.normal(size=(count, 3))
    out /= np.linalg.norm(out, axis=1)[:, None]
    sphere = datum.fit_sphere(posed(out * (14 + push)[:, None]), robust=True)
    assert sphere.radius_mm == pytest.approx(14.0, abs=2e-3)
    assert sphere.point_mm == pytest.approx(PLACE, abs=2e-3)
    ring = np.stack([(20 + push) * np.cos(turn), (20 + push) * np.sin(turn), push * 0], axis=1)
    circle = datum.fit_circle(posed(ring), robust=True)
    assert circle.radius_mm == pytest.approx(20.0, abs=2e-3)
    line = datum.fit_line(posed(np.column_stack([push, np.zeros(count), t])), robust=True)
    assert np.linalg.norm(np.cross(line.direction, TURN[:, 2])) < 2e-4


def test_robust_answer_is_the_same_on_every_run() -> None:
    points = bore(5000, 0.3)
    first = datum.fit_cylinder(points, robust=True)
    again = datum.fit_cylinder(points, robust=True)
    assert first.radius_mm == again.radius_mm
    assert (first.point_mm == again.point_mm).all()


ALL = [
    Shape(Kind.LINE, np.array([0.1, 0.2, 0.0]), shapes.frame_along(np.array([0.2, 0.1, 1]))),
    Shape(Kind.PLANE, np.array([0.0, 0.1, 0.1]), shapes.frame_along(np.array([0.2, -0.1, 1]))),
    Shape(Kind.CIRCLE, np.array([0.1, 0, 0]), shapes.frame_along(np.array([0.1, 0.3, 1])), 0.9),
    Shape(Kind.CYLINDER, np.array([0.1, 0, 0]), shapes.frame_along(np.array([0.1, 0.3, 1])), 0.9),
    Shape(Kind.CONE, np.array([0, 0.2, 0]), shapes.frame_along(np.array([0.1, 0.3, 1])), 0.9, 0.4),
    Shape(Kind.SPHERE, np.array([0.1, 0.0, 0.2]), np.eye(3), 1.1),
]


@pytest.mark.parametrize("shape", ALL, ids=lambda s: s.kind.name)
def test_derivatives_agree_with_differences(shape: Shape) -> None:
    points = np.random.default_rng(3).normal(size=(40, 3))
    rows, values = shapes.jacobian(points, shape)
    size = shape.kind.parameters
    step = 1e-6
    for k in range(size):
        delta = np.zeros(size)
        delta[k] = step
        # The local frame turns with the shape, so components are compared as squared sums.
        _, high = shapes.jacobian(points, shape.moved(delta))
        _, low = shapes.jacobian(points, shape.moved(-delta))
        slope = (high - low) / (2 * step)
        if shape.kind is Kind.LINE:
            # e2 turns about the axis with it; the distance does not.
            per = values.reshape(-1, 2)
            expected = (rows[:, k].reshape(-1, 2) * per).sum(axis=1)
            assert (slope.reshape(-1, 2) * per).sum(axis=1) == pytest.approx(expected, abs=1e-8)
        else:
            assert slope == pytest.approx(rows[:, k], abs=1e-8)


@pytest.mark.parametrize("bound", [math.inf, 0.8])
@pytest.mark.parametrize("shape", ALL, ids=lambda s: s.kind.name)
def test_compiled_sums_agree_with_plain_ones(shape: Shape, bound: float) -> None:
    points = np.random.default_rng(4).normal(size=(70_001, 3))  # more than two slices
    rows, values = shapes.jacobian(points, shape)
    parts = 2 if shape.kind.two_residuals else 1
    distance = np.sqrt((values.reshape(-1, parts) ** 2).sum(axis=1))
    square = (distance / bound) ** 2
    weight = np.where(square < 1, (1 - square) ** 2, 0.0)
    each = np.repeat(weight, parts)
    got = shapes.sums(points, shape, bound)
    assert got.normal == pytest.approx((rows * each[:, None]).T @ rows, rel=1e-9, abs=1e-6)
    assert got.gradient == pytest.approx(rows.T @ (each * values), rel=1e-9, abs=1e-6)
    assert got.used == (square < 1).sum()
    assert got.weight == pytest.approx(weight.sum(), rel=1e-12)
    inside = square < 1
    assert got.sum_square == pytest.approx((distance[inside] ** 2).sum(), rel=1e-12)
    signed = distance if parts == 2 else values
    assert (got.least, got.greatest) == (signed[inside].min(), signed[inside].max())
    if math.isinf(bound):
        assert got.cost == pytest.approx(0.5 * (distance**2).sum(), rel=1e-12)
    else:
        cost = bound**2 / 6 * np.where(inside, 1 - (1 - square) ** 3, 1.0)
        assert got.cost == pytest.approx(cost.sum(), rel=1e-12)


def test_covariance_of_a_robust_fit_matches_its_scatter() -> None:
    # 120 repeats of a plane with normal noise: spread against the stated uncertainty.
    rng = np.random.default_rng(6)
    place = rng.uniform(-20, 20, (150, 2))
    heights = []
    stated = []
    for _ in range(120):
        points = np.column_stack([place, rng.normal(0, 0.05, len(place))])
        fit = datum.fit_plane(points, robust=True)
        heights.append(fit.point_mm[2])
        stated.append(fit.standard_uncertainty.point_mm)
    assert float(np.std(heights)) == pytest.approx(float(np.mean(stated)), rel=0.2)
    assert TUKEY == 4.685
