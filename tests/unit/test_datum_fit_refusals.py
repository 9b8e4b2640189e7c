"""Points that do not determine a feature are refused by name; doubtful ones are told of."""

from __future__ import annotations

import numpy as np
import pytest

from clearturn import datum
from clearturn.errors import FitProblem

FITS = {
    name: getattr(datum, f"fit_{name}")
    for name in ("line", "plane", "circle", "cylinder", "cone", "sphere")
}


def tube(arc_deg: float, radius: float = 36.0, noise: float = 0.0, count: int = 60) -> np.ndarray:
    rng = np.random.default_rng(2)
    turn = np.radians(np.linspace(0.0, arc_deg, count))
    r = radius + noise * rng.normal(size=(5, count))
    z = np.repeat(np.linspace(0.0, 20.0, 5)[:, None], count, axis=1)
    return np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=2).reshape(-1, 3)


@pytest.mark.parametrize("robust", [False, True])
@pytest.mark.parametrize("name", ["plane", "circle", "cylinder", "cone", "sphere"])
def test_collinear_points_are_refused_by_name(name: str, robust: bool) -> None:
    points = np.linspace(0, 10, 30)[:, None] * np.array([1.0, 2.0, -0.5]) + 300.0
    with pytest.raises(FitProblem, match="one straight line.*" + name):
        FITS[name](points, robust=robust)


@pytest.mark.parametrize("robust", [False, True])
@pytest.mark.parametrize("name", list(FITS))
def test_equal_points_are_refused_by_name(name: str, robust: bool) -> None:
    with pytest.raises(FitProblem, match="all points are equal.*" + name):
        FITS[name](np.full((30, 3), 17.3), robust=robust)


@pytest.mark.parametrize(
    ("name", "count"),
    [("line", 1), ("plane", 2), ("circle", 2), ("sphere", 3), ("cylinder", 3), ("cone", 5)],
)
def test_too_few_points_are_refused_by_name(name: str, count: int) -> None:
    points = np.random.default_rng(1).normal(size=(count, 3))
    with pytest.raises(FitProblem, match=f"too few points for a {name}, found {count}"):
        FITS[name](points)


@pytest.mark.parametrize("name", ["cylinder", "cone", "sphere"])
def test_points_in_one_plane_are_refused_by_name(name: str) -> None:
    ring = tube(360.0)[:60]
    with pytest.raises(FitProblem, match=f"one plane.*{name}"):
        FITS[name](ring)


@pytest.mark.parametrize("noise", [0.0, 0.003])
@pytest.mark.parametrize("robust", [False, True])
@pytest.mark.parametrize("name", ["cylinder", "circle"])
def test_an_arc_of_five_degrees_is_refused_with_the_arc_found(
    name: str, robust: bool, noise: float
) -> None:
    points = tube(5.0, noise=noise)
    if name == "circle":
        points = points[:60]
    with pytest.raises(FitProblem, match=r"too short an arc.*degrees"):
        FITS[name](points, robust=robust)


def test_a_short_arc_is_accepted_on_request_and_still_told() -> None:
    fit = datum.fit_cylinder(tube(5.0), least_arc_deg=0.0)
    assert fit.radius_mm == pytest.approx(36.0, abs=1e-6)
    assert fit.arc_deg == pytest.approx(5.0, abs=0.2)
    assert [f.code for f in fit.findings] == ["short-arc"]


def test_an_arc_of_forty_degrees_is_told_and_one_of_ninety_is_not() -> None:
    assert "short-arc" in [f.code for f in datum.fit_cylinder(tube(40.0, noise=0.01)).findings]
    assert datum.fit_cylinder(tube(90.0, noise=0.01)).findings == ()


@pytest.mark.parametrize("bad", [np.nan, np.inf])
@pytest.mark.parametrize("name", list(FITS))
def test_a_coordinate_that_is_no_number_is_refused_with_its_place(name: str, bad: float) -> None:
    points = tube(360.0)
    points[7, 1] = bad
    with pytest.raises(FitProblem, match="point 7"):
        FITS[name](points)


@pytest.mark.parametrize("points", [np.zeros((4, 2)), np.zeros(9), [[1, 2, "x"]], []])
def test_an_array_of_the_wrong_shape_is_refused(points: object) -> None:
    with pytest.raises(FitProblem):
        datum.fit_plane(points)  # type: ignore[arg-type]


def test_a_ring_and_a_point_do_not_determine_a_cylinder() -> None:
    # Five points on four circles of latitude of one sphere, mirrored: many cylinders pass.
    points = np.array([[0.0, 0, 0], [0, 0, 1], [0, 0, 2], [0, 0, 3], [1, 0, 0], [1, 0, 1.0]])
    with pytest.raises(FitProblem):
        datum.fit_cylinder(points)


def test_exactly_enough_points_fit_exactly_and_say_that_nothing_is_left() -> None:
    fit = datum.fit_plane([[0, 0, 1.0], [10, 0, 1], [0, 10, 1]])
    assert fit.rms_mm < 1e-14
    assert [f.code for f in fit.findings] == ["no-redundancy"]
    assert fit.as_json()["standard_uncertainty"] == {"point_mm": None, "direction_rad": None}
