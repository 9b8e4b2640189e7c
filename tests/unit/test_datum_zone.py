"""Minimum zones against the criterion of touching points and against another search."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from clearturn.datum import (
    contact_offset,
    fit_cylinder,
    fit_line,
    fit_plane,
    minimum_zone_circle,
    minimum_zone_plane,
)
from clearturn.errors import FitProblem

TURN = Rotation.from_euler("xyz", [1.0, -0.4, 2.2]).as_matrix()


def posed(points: np.ndarray) -> np.ndarray:
    return points @ TURN.T + [200.0, -50.0, 30.0]


@pytest.mark.parametrize("seed", range(4))
def test_flatness_is_what_a_direct_search_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = np.column_stack([rng.uniform(-30, 30, (50, 2)), rng.normal(0, 0.02, 50)])

    def width(x: np.ndarray) -> float:
        normal = np.array([*(x * 1e-3), 1.0])
        return float(np.ptp(points @ (normal / np.linalg.norm(normal))))

    options = {"xatol": 1e-10, "fatol": 1e-14, "maxiter": 4000}
    found = min(
        minimize(width, start, method="Nelder-Mead", options=options).fun
        for start in rng.normal(0, 0.5, (6, 2))
    )
    zone = minimum_zone_plane(posed(points))
    assert zone.form_mm == pytest.approx(found, abs=1e-9)
    heights = posed(points) @ zone.direction
    assert heights.min() == pytest.approx(zone.low_mm, abs=1e-9)
    assert heights.max() == pytest.approx(zone.high_mm, abs=1e-9)
    assert zone.form_mm <= fit_plane(points).form_mm


@pytest.mark.parametrize("seed", range(4))
def test_roundness_is_what_a_direct_search_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = np.arange(40) * math.pi / 20
    r = 35 + rng.normal(0, 0.02, 40)
    x, y = r * np.cos(turn), r * np.sin(turn)

    def width(c: np.ndarray) -> float:
        return float(np.ptp(np.hypot(x - 0.01 * c[0], y - 0.01 * c[1])))

    options = {"xatol": 1e-12, "fatol": 1e-15, "maxiter": 4000}
    found = min(
        minimize(width, start, method="Nelder-Mead", options=options).fun
        for start in rng.normal(0, 1, (10, 2))
    )
    points = posed(np.column_stack([x, y, np.zeros(40)]))
    zone = minimum_zone_circle(points, TURN[:, 2])
    assert zone.form_mm == pytest.approx(found, abs=1e-9)


def test_roundness_zone_touches_outside_and_inside_in_turn() -> None:
    # The 2-2 criterion: a zone is least if points touch outer, inner, outer, inner circle in
    # order of azimuth (common in the literature on ISO 12181; from memory).
    rng = np.random.default_rng(9)
    turn = np.sort(rng.uniform(0, 2 * math.pi, 400))
    r = 70 + 0.02 * np.cos(2 * turn) + rng.normal(0, 0.004, 400)
    zone = minimum_zone_circle(
        np.column_stack([r * np.cos(turn), r * np.sin(turn), np.zeros(400)]), (0, 0, 1)
    )
    out = np.column_stack([r * np.cos(turn), r * np.sin(turn)]) - zone.centre_mm[:2]
    radius = np.hypot(*out.T)
    touching = np.where(radius > zone.high_mm - 1e-7, 1, 0) - np.where(
        radius < zone.low_mm + 1e-7, 1, 0
    )
    order = np.argsort(np.arctan2(out[:, 1], out[:, 0]))
    signs = touching[order][touching[order] != 0]
    assert (signs != np.roll(signs, 1)).sum() >= 4


def test_known_forms() -> None:
    # A saddle of ±0.01 over a square's corners has flatness 0.02; a plane none.
    corners = np.array([[1, 1, 0.01], [1, -1, -0.01], [-1, 1, -0.01], [-1, -1, 0.01]]) * [20, 20, 1]
    assert minimum_zone_plane(posed(corners)).form_mm == pytest.approx(0.02, abs=1e-9)
    flat = corners * [1, 1, 0]
    assert minimum_zone_plane(posed(flat)).form_mm == pytest.approx(0.0, abs=1e-12)
    # An ellipse with half axes 35.02 and 34.98, at the ends of its axes: roundness 0.04.
    turn = np.arange(360) * math.pi / 180
    oval = np.column_stack([35.02 * np.cos(turn), 34.98 * np.sin(turn), np.zeros(360)])
    assert minimum_zone_circle(posed(oval), TURN[:, 2]).form_mm == pytest.approx(0.04, abs=1e-9)


def test_large_face_needs_no_more_than_its_extreme_points() -> None:
    rng = np.random.default_rng(1)
    points = np.column_stack([rng.uniform(-70, 70, (100_000, 2)), rng.normal(0, 0.02, 100_000)])
    zone = minimum_zone_plane(points)
    heights = points @ zone.direction
    assert np.ptp(heights) == pytest.approx(zone.form_mm, abs=1e-9)
    # Touched by at least four points, as a least zone of a plane must be.
    touching = (heights > heights.max() - 1e-7).sum() + (heights < heights.min() + 1e-7).sum()
    assert touching >= 4


def test_zones_of_degenerate_points_are_refused() -> None:
    line = np.linspace(0, 1, 9)[:, None] * [1.0, 2.0, 3.0]
    with pytest.raises(FitProblem, match="straight line"):
        minimum_zone_plane(line)
    with pytest.raises(FitProblem, match="straight line"):
        minimum_zone_circle(line)
    with pytest.raises(FitProblem, match="too few"):
        minimum_zone_plane(line[:2])


def test_contact_of_a_face_is_its_high_points_on_the_free_side() -> None:
    rng = np.random.default_rng(2)
    points = np.column_stack([rng.uniform(-30, 30, (4000, 2)), rng.normal(0, 0.02, 4000)])
    # A real raised land of 0.1 mm and 6 mm radius on the outboard side.
    land = np.hypot(points[:, 0] - 10, points[:, 1]) < 6
    points[land, 2] += 0.1
    fit = fit_plane(points, robust=True)
    out = contact_offset(fit, points, side=(0, 0, 1))
    back = contact_offset(fit, points, side=(0, 0, -1))
    assert out.offset_mm == pytest.approx(points[:, 2].max() - fit.point_mm[2], abs=2e-3)
    assert out.smoothed_mm == pytest.approx(0.1, abs=0.03)  # noise taken out, the land kept
    assert back.smoothed_mm < 0.04 < back.offset_mm


def test_contact_of_spigot_and_bore_lie_on_opposite_sides() -> None:
    rng = np.random.default_rng(3)
    turn = rng.uniform(0, 2 * math.pi, 3000)
    r = 35 + rng.normal(0, 0.01, 3000)
    points = np.column_stack([r * np.cos(turn), r * np.sin(turn), rng.uniform(0, 18, 3000)])
    fit = fit_cylinder(points)
    spigot = contact_offset(fit, points)
    bore = contact_offset(fit, points, bore=True)
    assert spigot.offset_mm == pytest.approx(fit.max_residual_mm)
    assert bore.offset_mm == pytest.approx(-fit.min_residual_mm)
    with pytest.raises(FitProblem, match="side"):
        contact_offset(fit_plane(points * [1, 1, 0.0] + [0, 0, 1.0]), points)
    with pytest.raises(FitProblem, match="line"):
        contact_offset(fit_line(points), points)
