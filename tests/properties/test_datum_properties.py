"""What must hold for every fit: motion, scale and order change nothing but themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from clearturn import datum

SEEDS = st.integers(0, 10_000)
FEATURES = ("line", "plane", "circle", "cylinder", "cone", "sphere")


def cloud(feature: str, seed: int) -> np.ndarray:
    """Points of a feature about z with noise, in a size and an arc that vary."""
    rng = np.random.default_rng(seed)
    n = 80
    turn = rng.uniform(0, math.radians(rng.uniform(150, 360)), n)
    t = rng.uniform(-12, 12, n)
    size = rng.uniform(15, 80)
    push = rng.normal(0, 0.02, (n, 3))
    zero = np.zeros(n)
    if feature == "line":
        points = np.column_stack([zero, zero, 5 * t])
    elif feature == "plane":
        points = np.column_stack([rng.uniform(-size, size, (n, 2)), zero])
    elif feature == "sphere":
        out = rng.normal(size=(n, 3))
        points = size * out / np.linalg.norm(out, axis=1)[:, None]
    else:
        r = size + (math.tan(rng.uniform(0.1, 0.9)) * t if feature == "cone" else 0.0 * t)
        z = zero if feature == "circle" else t
        points = np.column_stack([r * np.cos(turn), r * np.sin(turn), z])
    return points + push


def same(a: datum.Fit, b: datum.Fit, turn: np.ndarray, shift: np.ndarray, scale: float) -> None:
    tolerance = 1e-7 * scale
    assert b.point_mm == pytest.approx(scale * (turn @ a.point_mm) + shift, abs=tolerance)
    if a.direction is not None:
        assert np.linalg.norm(np.cross(b.direction, turn @ a.direction)) < 1e-9
    if a.radius_mm is not None:
        assert b.radius_mm == pytest.approx(scale * a.radius_mm, abs=tolerance)
    if a.half_angle_deg is not None:
        assert b.half_angle_deg == pytest.approx(a.half_angle_deg, abs=1e-7)
    assert b.rms_mm == pytest.approx(scale * a.rms_mm, rel=1e-6)
    one, other = a.standard_uncertainty, b.standard_uncertainty
    assert other.point_mm == pytest.approx(scale * one.point_mm, rel=1e-4)
    if one.direction_rad is not None:
        assert other.direction_rad == pytest.approx(one.direction_rad, rel=1e-4)


@pytest.mark.parametrize("feature", FEATURES)
@settings(max_examples=8)
@given(seed=SEEDS, scale=st.floats(0.05, 20.0))
def test_motion_scale_and_order_change_nothing_but_themselves(
    feature: str, seed: int, scale: float
) -> None:
    points = cloud(feature, seed)
    fit = getattr(datum, f"fit_{feature}")
    rng = np.random.default_rng(seed + 1)
    turn = Rotation.random(random_state=seed).as_matrix()
    shift = rng.uniform(-500, 500, 3)
    first = fit(points)
    moved = fit(scale * (rng.permutation(points) @ turn.T) + shift)
    same(first, moved, turn, shift, scale)


@pytest.mark.parametrize("feature", FEATURES)
@settings(max_examples=8)
@given(seed=SEEDS)
def test_no_small_step_makes_the_sum_of_squares_smaller(feature: str, seed: int) -> None:
    points = cloud(feature, seed)
    fit = getattr(datum, f"fit_{feature}")(points)
    least = float((fit.residuals(points) ** 2).sum())
    rng = np.random.default_rng(seed)
    for size in (1e-3, 1e-5):
        for _ in range(6):
            step = rng.normal(0, size, fit.shape.kind.parameters)
            other = fit.shape.moved(step)
            from clearturn.datum.shape import residuals

            assert float((residuals(points, other) ** 2).sum()) >= least * (1 - 1e-12)


@settings(max_examples=10)
@given(seed=SEEDS)
def test_minimum_zone_is_never_wider_than_the_least_squares_form(seed: int) -> None:
    points = cloud("plane", seed)
    zone = datum.minimum_zone_plane(points)
    assert zone.form_mm <= datum.fit_plane(points).form_mm + 1e-12
    turn = Rotation.random(random_state=seed).as_matrix()
    assert datum.minimum_zone_plane(points @ turn.T).form_mm == pytest.approx(
        zone.form_mm, abs=1e-9
    )
