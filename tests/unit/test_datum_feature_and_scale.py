"""What a patch is taken for, and whether the scan has the right size."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from clearturn.datum import Scaled, SizePair, check_scale, grow_patch, propose_feature
from clearturn.errors import FitProblem, InputError
from clearturn.mesh import Mesh


def grid(make: object, u: np.ndarray, v: np.ndarray, noise: float = 0.02) -> Mesh:
    rng = np.random.default_rng(7)
    a, b = np.meshgrid(u, v, indexing="ij")
    points = make(a, b).reshape(-1, 3)  # type: ignore[operator]
    points = points + rng.normal(0, noise, points.shape)
    n = len(v)
    i, j = np.meshgrid(np.arange(len(u) - 1), np.arange(n - 1), indexing="ij")
    k = (i * n + j).ravel()
    faces = np.concatenate([np.stack([k, k + n, k + n + 1], 1), np.stack([k, k + n + 1, k + 1], 1)])
    return Mesh(points, faces)


def revolve(radius: object) -> object:
    def make(turn: np.ndarray, z: np.ndarray) -> np.ndarray:
        r = radius(z)  # type: ignore[operator]
        return np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=2)

    return make


TURN = np.linspace(0, math.radians(220), 160)
LINE = np.linspace(-30, 30, 60)
SHAPES = {
    "plane": grid(lambda x, y: np.stack([x, y, 0 * x], axis=2), LINE, LINE),
    "cylinder": grid(revolve(lambda z: 36 + 0 * z), TURN, np.linspace(0, 25, 40)),
    "cone": grid(revolve(lambda z: 36 + 0.3 * z), TURN, np.linspace(0, 25, 40)),
    "sphere": grid(
        lambda t, p: (
            30 * np.stack([np.cos(p) * np.cos(t), np.cos(p) * np.sin(t), np.sin(p)], axis=2)
        ),
        TURN,
        np.linspace(-0.6, 0.6, 50),
    ),
    "revolution": grid(revolve(lambda z: 36 + 0.02 * (z - 12) ** 2), TURN, np.linspace(0, 25, 40)),
    "free form": grid(
        lambda x, y: np.stack([x, y, 0.01 * x * y + 2 * np.sin(x / 9)], axis=2), LINE, LINE
    ),
}


@pytest.mark.parametrize("name", list(SHAPES))
def test_each_kind_of_patch_is_taken_for_what_it_is(name: str) -> None:
    mesh = SHAPES[name]
    patch = grow_patch(mesh, mesh.vertices[len(mesh.vertices) // 2 + 20], curvature=0.5)
    assert len(patch.faces) > 0.9 * len(mesh.faces)
    proposal = propose_feature(mesh, patch)
    assert proposal.feature == name, proposal.reason
    assert "mm" in proposal.reason
    if name not in ("free form", "revolution"):
        # The noise put in, per direction of space, is what is left along the normal.
        assert proposal.scales_mm[name] == pytest.approx(0.02, rel=0.15)
        assert proposal.noise_mm == pytest.approx(0.02, rel=0.4)


def test_a_patch_too_small_to_tell_is_refused() -> None:
    mesh = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    with pytest.raises(FitProblem, match="too small"):
        propose_feature(mesh, grow_patch(mesh, (0, 0, 0)))


def test_scale_is_the_weighted_ratio_of_sizes() -> None:
    # Two exact sizes of unlike weight: the answer by hand. w = 1/u², u all in the hand's.
    pairs = [
        SizePair("bar", 300.0, 0.0, 300.6, 0.02),
        SizePair("tube", 30.0, 0.0, 30.1, 0.02),
    ]
    found = check_scale(pairs)
    expected = (300 * 300.6 + 30 * 30.1) / (300**2 + 30**2)
    assert found.factor == pytest.approx(expected, abs=1e-12)
    single = check_scale(pairs[:1])
    assert single.factor == pytest.approx(1.002)
    assert single.standard_uncertainty == pytest.approx(0.02 / 300.0, rel=1e-9)
    assert [f.code for f in single.findings] == ["scale-off"]
    assert "1.00200" in single.findings[0].text


def test_uncertainty_of_both_sides_counts() -> None:
    found = check_scale([SizePair("bar", 300.0, 0.03, 300.0, 0.04)])
    assert found.standard_uncertainty == pytest.approx(0.05 / 300.0, rel=1e-9)
    assert [(f.code, f.severity) for f in found.findings] == [("scale-agrees", "note")]
    # 2 · 0.05/300 of 300 mm.
    assert "±0.10 mm 300 mm from its middle" in found.findings[0].text


# Sizes as a workshop would have them, with unlike uncertainties on both sides.
CARELESS = [
    SizePair("register", 70.0, 0.05, 70.2, 0.02),
    SizePair("flange", 148.0, 0.02, 148.2, 0.1),
    SizePair("housing", 164.8, 0.1, 165.3, 0.03),
    SizePair("bar", 300.0, 0.3, 300.7, 0.05),
]


def test_factor_is_that_of_orthogonal_distance_regression() -> None:
    # Reference: ODRPACK through scipy.odr, a line through zero with errors on both sides.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        odr = pytest.importorskip("scipy.odr")
        columns = np.array(
            [(p.scan_mm, p.scan_standard_mm, p.hand_mm, p.hand_standard_mm) for p in CARELESS]
        ).T
        data = odr.RealData(columns[0], columns[2], sx=columns[1], sy=columns[3])
        line = odr.Model(lambda b, x: b[0] * x)
        fitted = odr.ODR(data, line, beta0=[1.0], sstol=1e-15, partol=1e-15).run()
    found = check_scale(CARELESS)
    assert found.factor == pytest.approx(fitted.beta[0], abs=1e-9)
    assert found.standard_uncertainty == pytest.approx(fitted.cov_beta[0, 0] ** 0.5, rel=1e-4)
    assert found.state == "off"


def test_factor_makes_the_weighted_squares_least() -> None:
    # The sum that the maximum of likelihood asks for (elementary), least by a search.
    def squares(k: float) -> float:
        return sum(
            (p.hand_mm - k * p.scan_mm) ** 2
            / (p.hand_standard_mm**2 + (k * p.scan_standard_mm) ** 2)
            for p in CARELESS
        )

    least = minimize_scalar(squares, bounds=(0.9, 1.1), method="bounded", options={"xatol": 1e-12})
    assert check_scale(CARELESS).factor == pytest.approx(least.x, abs=1e-8)


@pytest.mark.parametrize(
    ("unit", "factor", "told"),
    [
        ("mm", 25.4, "set the scan's unit to 'in'"),
        ("mm", 25.0, "set the scan's unit to 'in'"),  # 1.6 % off: a poor scan in inches
        ("in", 1 / 25.4, "set the scan's unit to 'mm'"),
        ("mm", 10.0, "set the scan's unit to 'cm'"),
        ("mm", 1000.0, "set the scan's unit to 'm'"),
        ("m", 0.001, "set the scan's unit to 'mm'"),
        ("mm", 0.001, "export it again in mm"),
        ("mm", 1 / 25.4, "export it again in mm"),
    ],
)
def test_factor_of_a_unit_is_hinted_at(unit: str, factor: float, told: str) -> None:
    pair = SizePair("bar", 100.0, 0.01, 100.0 * factor, 0.01)
    found = check_scale([pair], Scaled("wheel", 230.0, unit))
    assert [(f.code, f.severity) for f in found.findings] == [
        ("scale-off", "error"),
        ("scale-unit", "note"),
    ]
    assert told in found.findings[1].text
    assert "scan it anew" not in found.findings[0].text


@pytest.mark.parametrize("factor", [24.8, 26.0, 1.05, 2.0])
def test_other_factors_are_no_unit(factor: float) -> None:
    found = check_scale([SizePair("bar", 100.0, 0.01, 100.0 * factor, 0.01)])
    assert [f.code for f in found.findings] == ["scale-off"]
    assert "measure a second size" in found.findings[0].text


def test_wrong_scale_is_told_in_mm_at_the_scans_radius_with_the_mend() -> None:
    pairs = [SizePair("a", 100.0, 0.01, 99.8, 0.01), SizePair("b", 200.0, 0.01, 199.6, 0.01)]
    (finding,) = check_scale(pairs, Scaled("wheel", 230.0)).findings
    # 0.002 · 230 mm.
    assert "'wheel'" in finding.text
    assert "230 mm from its middle it is 0.46 mm too large" in finding.text
    assert "scan it anew" in finding.text


def test_sizes_that_contradict_each_other_are_told_with_the_worst() -> None:
    found = check_scale(
        [
            SizePair("bar", 300.0, 0.02, 300.0, 0.02),
            SizePair("ring", 150.0, 0.02, 150.01, 0.02),
            SizePair("tube", 30.0, 0.02, 31.0, 0.02),
        ]
    )
    assert "scale-unclear" in [f.code for f in found.findings]
    assert "tube" in found.findings[0].text
    # Birge's ratio: wider than from the weights alone.
    assert found.standard_uncertainty > 3 * 0.0283 / math.hypot(300, 150, 30)


@pytest.mark.parametrize(
    "pair",
    [
        SizePair("bar", 0.0, 0.1, 10.0, 0.1),
        SizePair("bar", 10.0, 0.0, 10.0, 0.0),
        SizePair("bar", float("nan"), 0.1, 10.0, 0.1),
        SizePair("bar", 10.0, -0.1, 10.0, 0.1),
    ],
)
def test_sizes_without_sense_are_refused(pair: SizePair) -> None:
    with pytest.raises(InputError, match="bar"):
        check_scale([pair])


def test_no_sizes_are_refused() -> None:
    with pytest.raises(InputError, match="at least one"):
        check_scale([])
