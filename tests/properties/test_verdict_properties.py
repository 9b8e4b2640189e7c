"""What must hold for any allowance and any corner."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from clearturn.gap import Interval, turning_gap
from clearturn.job.judging import AllowanceEntry
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart, Verdict
from clearturn.verdict.allowances import Places, project, total_cost
from clearturn.verdict.decision import decide, margin, worst
from clearturn.verdict.noise import extrapolate
from clearturn.verdict.uncertainty import combine

TRIANGLE = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
FIXED = PlacedPart("caliper", "caliper", Motion.FIXED, TRIANGLE, "dimensions")
TURNS = PlacedPart("wheel", "wheel", Motion.TURNS, TRIANGLE, "scan")

sizes = st.floats(0, 5, allow_subnormal=False)
angles = st.floats(0, 2 * math.pi)
coordinates = st.floats(-300, 300, allow_subnormal=False)


def unit(a, b):
    return [math.cos(a) * math.sin(b), math.sin(a) * math.sin(b), math.cos(b)]


def cost(entry, point, direction):
    applied = project((entry,), FIXED, TURNS, Places.of(point, direction))
    return float(total_cost(applied, 1)[0])


@given(
    size=sizes,
    word=st.sampled_from(["gap", "radial", "axial", "outward", "inward", "inboard", "outboard",
                          "up", "down", "+x", "-x", "tilt"]),
    part=st.sampled_from(["wheel", "caliper", ""]),
    point=st.tuples(coordinates, coordinates, coordinates),
    a=angles, b=angles,
)  # fmt: skip
def test_what_always_costs_never_gains(size, word, part, point, a, b):
    entry = AllowanceEntry("x", size, word, "always costs", "any", part)
    assert cost(entry, point, unit(a, b)) >= 0.0


@given(size=sizes, a=angles, b=angles, point=st.tuples(coordinates, coordinates, coordinates))
def test_eccentricity_costs_at_most_itself_and_alike_in_both_senses(size, a, b, point):
    entry = AllowanceEntry("x", size, "radial", "always costs", "any", "wheel")
    n = np.array(unit(a, b))
    found = cost(entry, point, n)
    assert found <= size * (1 + 1e-12)
    assert found == cost(entry, point, -n)


@given(
    value=st.floats(-5, 5),
    word=st.sampled_from(["outward", "inward", "inboard", "outboard", "up", "down", "+x", "-x"]),
    point=st.tuples(coordinates, coordinates, coordinates),
    a=angles, b=angles,
)  # fmt: skip
def test_shift_changes_sign_with_its_value_and_with_its_part(value, word, point, a, b):
    n = unit(a, b)
    of_wheel = cost(AllowanceEntry("x", value, word, "shift", "any", "wheel"), point, n)
    assert cost(AllowanceEntry("x", -value, word, "shift", "any", "wheel"), point, n) == -of_wheel
    assert cost(AllowanceEntry("x", value, word, "shift", "any", "caliper"), point, n) == -of_wheel
    assert abs(of_wheel) <= abs(value) * (1 + 1e-12)


def lobed_wheel(lobes, radius, depth, turns):
    """An open barrel whose radius waves `lobes` times a turn: a body with that symmetry."""
    count = lobes * turns
    a = 2 * np.pi * np.arange(count) / count
    r = radius + depth * np.cos(lobes * a)
    low = np.stack([r * np.cos(a), r * np.sin(a), np.full(count, -20.0)], axis=1)
    points = np.concatenate([low, low + np.array([0, 0, 40.0])])
    k = np.arange(count)
    m = (k + 1) % count
    faces = np.concatenate(
        [np.stack([k, m, m + count], axis=1), np.stack([k, m + count, k + count], axis=1)]
    )
    return points, faces


@settings(max_examples=25, deadline=None)
@given(
    lobes=st.integers(3, 8),
    depth=st.floats(0, 2),
    eccentricity=st.floats(0.01, 0.5),
    phase=angles,
    corner=st.floats(170, 190),
)
def test_eccentric_wheel_never_has_the_larger_gap_on_the_exact_engine(
    lobes, depth, eccentricity, phase, corner
):
    # Of three or more equal lobes one always comes nearer by at least e·cos(60°).
    points, faces = lobed_wheel(lobes, 200.0, depth, 24)
    fixed = Mesh(
        [[corner, 0, 0], [corner - 20, 5, -5], [corner - 20, -5, -5], [corner - 20, 0, 8]],
        [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
    )
    shift = eccentricity * np.array([math.cos(phase), math.sin(phase), 0.0])
    true = turning_gap(fixed, Mesh(points, faces), turns="second").gap_mm
    off = turning_gap(fixed, Mesh(points + shift, faces), turns="second").gap_mm
    assert off.upper <= true.upper + 1e-3
    # … and the allowance covers it: no gap shrinks by more than e.
    assert off.lower >= true.lower - eccentricity - 1e-3


@given(
    low=st.floats(-10, 10), width=st.floats(0, 2), expanded=st.floats(0, 3),
    required=st.floats(-5, 15), more=st.floats(0, 2),
)  # fmt: skip
def test_more_uncertainty_never_proves_more(low, width, expanded, required, more):
    net = Interval(low, low + width)
    before = decide(net, expanded, required)
    after = decide(net, expanded + more, required)
    assert after in (before, Verdict.NOT_PROVEN)
    assert (before is Verdict.CLEARS) == (low - expanded >= required)
    if before is Verdict.CLEARS:
        assert margin(net, expanded, required) >= -1e-12


@given(st.lists(st.sampled_from(list(Verdict)), min_size=1))
def test_overall_verdict_does_not_depend_on_the_order(found):
    assert worst(found) is worst(sorted(found)) is worst(found[::-1])
    assert worst(found) in found


@given(st.lists(st.floats(0, 10), max_size=8))
def test_combined_uncertainty_lies_between_the_largest_and_the_sum(parts):
    u = combine(parts)
    assert u <= sum(parts) * (1 + 1e-12)
    assert u >= max(parts, default=0.0) * (1 - 1e-12)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(1, 400), spread=st.floats(0, 0.2))
def test_extrapolation_never_lowers_a_gap_and_is_bounded(seed, count, spread):
    rng = np.random.default_rng(seed)
    distance = 5.0 + spread * rng.random(count)
    rest, standard = extrapolate(distance, 0.01 * rng.standard_normal((count, 64)))
    assert 0.0 <= rest < 0.12
    assert 0.0 <= standard < 0.1
