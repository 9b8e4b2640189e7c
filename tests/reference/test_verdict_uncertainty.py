"""Uncertainty sums against the worked examples of JCGM 100 (GUM) and JCGM 101.

``data/uncertainty_examples.json`` names the source of every value: the inputs of example H.1 were
read in a public program that reproduces it, its printed results and the JCGM 101 results are
quoted from memory and were reproduced by calculation.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from clearturn.errors import InputError
from clearturn.verdict.uncertainty import (
    Contribution,
    arcsine,
    combine,
    combine_sensitivities,
    coverage_factor,
    effective_degrees_of_freedom,
    rectangular,
    triangular,
    within_limit,
    worst_case_sum,
)

CASES = json.loads((Path(__file__).parent / "data" / "uncertainty_examples.json").read_text())


def gum_h1():
    given = CASES["gum_h1"]["inputs"]
    length = given["ls_mm"] * 1e6  # nm
    difference = [given["u_d1_nm"], given["u_d2_nm"], given["u_d3_nm"]]
    u_d = combine(difference)
    nu_d = effective_degrees_of_freedom(
        difference, [given["nu_d1"], given["nu_d2"], given["nu_d3"]]
    )
    contributions = [
        given["u_ls_nm"],
        u_d,
        length * rectangular(given["dalpha_half_width"]) * abs(given["theta_mean_C"]),
        length * given["alpha_s_per_C"] * rectangular(given["dtheta_half_width_C"]),
    ]
    degrees = [given["nu_ls"], nu_d, given["nu_dalpha"], given["nu_dtheta"]]
    return u_d, nu_d, contributions, degrees


def test_gum_h1_end_gauge_gives_the_published_uncertainty():
    published = CASES["gum_h1"]["published"]
    u_d, _, contributions, degrees = gum_h1()
    combined = combine(contributions)
    nu = effective_degrees_of_freedom(contributions, degrees)
    assert round(u_d, 1) == published["u_d_nm"]
    assert round(combined) == published["uc_nm"]
    assert math.floor(nu) == published["nu_eff"]
    # The GUM rounds u_c to 32 nm and k to 2.92 before it multiplies: 93 nm.
    assert round(coverage_factor(0.99, nu) * round(combined)) == published["U99_nm"]


def test_gum_h1_contributions_agree_with_an_independent_calculation():
    computed = CASES["gum_h1"]["computed"]
    _, nu_d, contributions, degrees = gum_h1()
    expected = [abs(c) for c in computed["contributions_nm(ls,d,dalpha,dtheta)"]]
    assert contributions == pytest.approx(expected, rel=1e-9)
    assert nu_d == pytest.approx(computed["nu_d"], rel=1e-9)
    assert combine(contributions) == pytest.approx(computed["uc_nm"], rel=1e-9)
    nu = effective_degrees_of_freedom(contributions, degrees)
    assert nu == pytest.approx(computed["nu_eff"], rel=1e-9)
    assert coverage_factor(0.99, nu) == pytest.approx(computed["t99_for_16"], rel=1e-6)


def test_gum_h1_temperature_swing_is_an_arcsine():
    # GUM H.1.3.4: mean −0.1 °C known to 0.2 °C, cyclic ±0.5 °C: u(θ) = 0.41 °C (from memory).
    given = CASES["gum_h1"]["inputs"]
    swing = arcsine(given["theta_cyclic_arcsine_amplitude"])
    assert combine([given["u_theta_mean"], swing]) == pytest.approx(0.41, abs=0.005)


def test_jcgm_101_sum_of_four_rectangles_has_the_published_standard():
    half_width = math.sqrt(3.0)  # standard deviation one
    u = combine([rectangular(half_width)] * 4)
    assert u == pytest.approx(CASES["jcgm101_9_2_3"]["published"]["u_y"], abs=1e-12)
    # A normal interval is the wider one; the exact end is 2√3(2 − (3/5)^¼).
    exact = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert exact == pytest.approx(CASES["jcgm101_9_2_3"]["computed_exact"], rel=1e-9)
    assert coverage_factor(0.95, math.inf) * u > exact


def test_jcgm_101_dominant_rectangle_shows_what_the_normal_interval_overstates():
    published = CASES["jcgm101_9_2_4"]["published"]
    u = combine([1.0, 1.0, 1.0, 10.0])
    assert u == pytest.approx(published["u_y"], abs=0.06)
    assert coverage_factor(0.95, math.inf) * u == pytest.approx(
        published["GUM framework 95 %"][1], abs=0.06
    )


def test_distribution_divisors():
    assert rectangular(3.0) == pytest.approx(math.sqrt(3.0))
    assert triangular(6.0) == pytest.approx(math.sqrt(6.0))
    assert arcsine(2.0) == pytest.approx(math.sqrt(2.0))


def test_correlated_inputs_follow_the_full_covariance():
    # Fully correlated inputs of opposite sensitivity cancel (GUM 5.2.2, note 1).
    full = np.array([[4.0, 4.0], [4.0, 4.0]])
    assert combine_sensitivities([1.0, -1.0], full) == pytest.approx(0.0, abs=1e-12)
    assert combine_sensitivities([1.0, 1.0], full) == pytest.approx(4.0)
    assert combine_sensitivities([3.0, 4.0], np.eye(2)) == pytest.approx(5.0)


def test_bad_covariance_is_refused():
    with pytest.raises(InputError, match="negative variance"):
        combine_sensitivities([1.0, -1.0], [[0.0, 1.0], [1.0, 0.0]])
    with pytest.raises(InputError, match="square"):
        combine_sensitivities([1.0, 1.0], np.eye(3))
    with pytest.raises(InputError, match="zero or more"):
        combine([0.1, -0.1])
    with pytest.raises(InputError, match="degree of freedom"):
        coverage_factor(0.95, 0.5)
    with pytest.raises(InputError, match="between 0 and 1"):
        coverage_factor(1.0, 5)


def test_worst_case_takes_limits_whole_and_statistics_at_the_coverage_factor():
    parts = [within_limit("a", 0.3, "stated"), Contribution("b", 0.1, "fit")]
    assert worst_case_sum(parts, 2.0) == pytest.approx(0.3 + 0.2)
    assert worst_case_sum(parts, 1.65) == pytest.approx(0.3 + 0.165)
    assert worst_case_sum([], 2.0) == 0.0


def test_no_contribution_gives_no_uncertainty():
    assert combine([]) == 0.0
    assert effective_degrees_of_freedom([0.1], [math.inf]) == math.inf
