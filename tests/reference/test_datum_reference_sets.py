"""Least-squares features against data made by the null-space method, and published small sets.

Source of the data: tests/reference/data/fit/README.md (Cox & Forbes, NPL DITC 211/92; Cook, Cox,
Dainton & Harris, NPL CISE 25/99; Pearson 1901; Gander, Golub & Strebel 1994; Pratt 1987; Coope
1993; Chernov 2010).
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clearturn import datum
from clearturn.datum import Fit

DATA = Path(__file__).parent / "data" / "fit"
SETS = json.loads((DATA / "reference.json").read_text(encoding="utf-8"))["sets"]
SMALL = {
    entry["name"]: entry
    for entry in json.loads((DATA / "published_small.json").read_text(encoding="utf-8"))
}
DIRECTION = {
    "plane": "normal",
    "line": "direction",
    "circle": "normal",
    "cylinder": "direction",
    "cone": "direction_apex_to_opening",
}
POINT = {
    "plane": "point",
    "line": "point_nearest_centroid",
    "circle": "centre",
    "sphere": "centre",
    "cylinder": "axis_point_nearest_centroid",
    "cone": "axis_point_nearest_centroid",
}
PLACE_MM = 1e-6
ANGLE_RAD = 1e-8


def fitted(entry: dict[str, Any], **options: Any) -> tuple[str, Fit]:
    kind = entry["kind"].replace("3d", "")
    points = np.loadtxt(DATA / entry["points_file"], delimiter=",", skiprows=1)
    return kind, getattr(datum, f"fit_{kind}")(points, **options)


def vector(texts: list[str]) -> np.ndarray:
    return np.array([float(text) for text in texts])


@pytest.mark.parametrize("entry", SETS, ids=lambda e: e["name"])
def test_fit_meets_the_reference_place_direction_and_size(entry: dict[str, Any]) -> None:
    kind, fit = fitted(entry)
    reference = entry["reference"]
    assert np.linalg.norm(fit.point_mm - vector(reference[POINT[kind]])) < PLACE_MM
    if kind != "sphere":
        expected = vector(reference[DIRECTION[kind]])
        assert np.linalg.norm(np.cross(fit.direction, expected)) < ANGLE_RAD
        if kind == "cone":  # its direction has a sense
            assert float(fit.direction @ expected) > 0.0
    radius = reference.get("radius", reference.get("radius_at_that_point"))
    if radius is not None:
        assert fit.radius_mm == pytest.approx(float(radius), abs=PLACE_MM)
    if kind == "cone":
        error = math.radians(fit.half_angle_deg - float(reference["half_angle_deg"]))
        assert abs(error) < ANGLE_RAD
        assert np.linalg.norm(fit.apex_mm - vector(reference["apex"])) < PLACE_MM


@pytest.mark.parametrize("entry", SETS, ids=lambda e: e["name"])
def test_fit_reports_the_reference_residuals(entry: dict[str, Any]) -> None:
    _, fit = fitted(entry)
    assert fit.rms_mm == pytest.approx(float(entry["rms_residual"]), abs=PLACE_MM)
    assert fit.form_mm == pytest.approx(float(entry["form_range_max_minus_min"]), abs=PLACE_MM)
    low, high = float(entry["residual_min"]), float(entry["residual_max"])
    if (
        entry["kind"] == "plane"
        and float(np.dot(fit.direction, vector(entry["reference"]["normal"]))) < 0
    ):
        low, high = -high, -low
    assert fit.min_residual_mm == pytest.approx(low, abs=PLACE_MM)
    assert fit.max_residual_mm == pytest.approx(high, abs=PLACE_MM)


@pytest.mark.parametrize("entry", SETS, ids=lambda e: e["name"])
def test_uncertainty_per_unit_noise_is_within_five_percent(entry: dict[str, Any]) -> None:
    # Compared without regard to the choice of e1, e2: as the root of the trace of each block,
    # carried from the fit's point to the reference's point ("design.c").
    kind, fit = fitted(entry, correlation=False)
    sigma = vector(entry["sigma_of_local_parameters_per_unit_point_sigma"])
    design = entry["design"]
    lever = fit.axes @ (vector(design["c"]) - fit.point_mm)
    got, expected = _blocks(kind, fit, lever, sigma)
    assert got == pytest.approx(expected, rel=0.05)


def _blocks(
    kind: str, fit: Fit, lever: np.ndarray, sigma: np.ndarray
) -> tuple[list[float], list[float]]:
    c = np.asarray(fit.unit_covariance)
    square = sigma**2

    def root(matrix: np.ndarray) -> float:
        return math.sqrt(float(np.trace(np.atleast_2d(matrix))))

    if kind == "plane":
        # Height at the design point: shift minus the tilts times the lever.
        row = np.array([1.0, -lever[0], -lever[1]])
        return [math.sqrt(row @ c @ row), root(c[1:, 1:])], [
            sigma[0],
            math.sqrt(square[1] + square[2]),
        ]
    if kind == "sphere":
        return [root(c[:3, :3]), root(c[3:, 3:])], [
            math.sqrt(square[:3].sum()),
            sigma[3],
        ]
    if kind == "circle":
        return [root(c[:3, :3]), root(c[3:5, 3:5]), root(c[5:, 5:])], [
            math.sqrt(square[:3].sum()),
            math.sqrt(square[3:5].sum()),
            sigma[5],
        ]
    move = np.eye(len(c))
    move[0, 2] = move[1, 3] = lever[2]  # shift of the axis at the design point
    moved = move @ c @ move.T
    got = [root(moved[:2, :2]), root(c[2:4, 2:4])]
    expected = [math.sqrt(square[:2].sum()), math.sqrt(square[2:4].sum())]
    if kind == "cylinder":
        return [*got, root(c[4:, 4:])], [*expected, sigma[4]]
    if kind == "cone":
        # Radius and half angle at the point to R·cos(half angle) there.
        half = math.radians(fit.half_angle_deg)
        row = np.array([-fit.radius_mm * math.sin(half), math.cos(half)])
        got += [math.sqrt(c[4, 4]), math.sqrt(row @ c[4:, 4:] @ row)]
        return got, [*expected, sigma[4], sigma[5]]
    return got, expected


def flat(entry: dict[str, Any]) -> np.ndarray:
    x, y = vector(entry["x"]), vector(entry["y"])
    return np.column_stack([x, y, np.zeros(len(x))])


def test_line_of_pearson_1901() -> None:
    entry = SMALL["pearson_1901_line"]
    fit = datum.fit_line(flat(entry))
    slope = fit.direction[1] / fit.direction[0]
    assert slope == pytest.approx(-0.54556, abs=5e-6)  # as printed
    assert slope == pytest.approx(float(entry["computed"]["slope"]), abs=1e-12)
    assert fit.point_mm[:2] == pytest.approx([3.82, 3.70], abs=1e-12)
    assert fit.rms_mm == pytest.approx(float(entry["computed"]["rms"]), abs=1e-12)


@pytest.mark.parametrize(
    ("name", "relative"),
    [
        ("gander_1994_circle", 1e-11),
        ("coope_1993_circle", 1e-11),
        # Flat arcs of 5° and 0.3°: the answer moves with the square of the condition.
        ("pratt_1987_four_points", 1e-9),
        ("chernov_2010_w_example", 1e-7),
    ],
)
def test_circles_of_the_literature(name: str, relative: float) -> None:
    entry = SMALL[name]
    fit = datum.fit_circle(flat(entry))
    expected = entry["computed"]["geometric"]
    assert fit.radius_mm == pytest.approx(float(expected["radius"]), rel=relative)
    assert fit.point_mm[:2] == pytest.approx(
        vector(expected["centre"]), abs=relative * fit.radius_mm
    )
    assert fit.rms_mm == pytest.approx(float(expected["sqrt_ss_over_n"]), rel=1e-9)


def test_flat_arcs_of_the_literature_are_told_as_too_short() -> None:
    for name in ("pratt_1987_four_points", "chernov_2010_w_example"):
        codes = [f.code for f in datum.fit_circle(flat(SMALL[name])).findings]
        assert "short-arc" in codes


@pytest.mark.parametrize("entry", SETS, ids=lambda e: e["name"])
def test_robust_fit_stays_within_its_uncertainty_of_the_plain_one(entry: dict[str, Any]) -> None:
    # No outliers: Tukey's weights cost 5 % efficiency, so both answers differ by a fraction of
    # their standard uncertainty.
    kind, plain = fitted(entry)
    _, robust = fitted(entry, robust=True)
    sure = plain.standard_uncertainty
    assert robust.used >= 0.8 * robust.points
    if plain.radius_mm is not None and kind != "circle":
        assert abs(robust.radius_mm - plain.radius_mm) < 1.5 * sure.radius_mm
    if plain.direction is not None:
        assert np.linalg.norm(np.cross(robust.direction, plain.direction)) < 2 * sure.direction_rad
