"""The decision rule as a table; each boundary from both sides (ISO 14253-1)."""

import math

import pytest

from clearturn.errors import InputError
from clearturn.gap import Interval
from clearturn.result import Verdict
from clearturn.verdict.decision import decide, guard_band_name, margin, worst

C, N, F = Verdict.CLEARS, Verdict.NOT_PROVEN, Verdict.FAILS


@pytest.mark.parametrize(
    ("lower", "upper", "expanded", "required", "verdict"),
    [
        (3.25, 3.25, 0.25, 3.0, C),  # on the boundary: proven
        (math.nextafter(3.25, 0), 3.25, 0.25, 3.0, N),  # a hair below it
        (math.nextafter(3.25, 4), 3.26, 0.25, 3.0, C),
        (2.7, 2.75, 0.25, 3.0, N),  # upper + U = required: not yet failed
        (2.7, math.nextafter(2.75, 0), 0.25, 3.0, F),  # a hair below: failed
        (2.7, math.nextafter(2.75, 3), 0.25, 3.0, N),
        (3.0, 3.0, 0.0, 3.0, C),  # no uncertainty at all
        (math.nextafter(3.0, 0), math.nextafter(3.0, 0), 0.0, 3.0, F),
        (2.0, 4.0, 0.0, 3.0, N),  # the interval itself is too wide
        (-1.5, -0.5, 0.1, 2.0, F),  # interfering
        (0.0, 0.0, 0.1, 0.0, N),  # touching where nothing is required
        (None, 5.0, 0.1, 3.0, N),  # sign unknown, surfaces far enough apart
        (None, 2.0, 0.1, 3.0, F),  # sign unknown, too near either way
        (None, 0.0, 0.1, 3.0, F),  # open scans that cross
        (None, None, 0.1, 3.0, N),
        (5.0, None, 0.1, 3.0, C),
    ],
)
def test_verdict_table(lower, upper, expanded, required, verdict):
    assert decide(Interval(lower, upper), expanded, required) is verdict


def test_published_acceptance_limits_decide_alike():
    # ISO 14253-1 as summarised publicly: 10.00 … 10.10 with U 0.02 accepts 10.02 … 10.08.
    for value, verdict in ((10.02, C), (10.019, N), (9.981, N), (9.979, F)):
        assert decide(Interval(value, value), 0.02, 10.0) is verdict


@pytest.mark.parametrize("expanded", [-0.1, math.nan, math.inf])
def test_impossible_uncertainty_is_refused(expanded):
    with pytest.raises(InputError, match="expanded uncertainty"):
        decide(Interval(1.0, 1.0), expanded, 1.0)


def test_margin_is_zero_exactly_where_the_verdict_turns():
    assert margin(Interval(3.25, 3.3), 0.25, 3.0) == 0.0
    assert margin(Interval(None, 3.3), 0.25, 3.0) == -math.inf


def test_overall_verdict_is_the_worst_and_nothing_is_not_proven():
    assert worst([]) is N
    assert worst([C, C]) is C
    assert worst([C, N, C]) is N
    assert worst([N, F, C]) is F


def test_guard_band_is_named_and_only_two_can_be_chosen():
    assert "2 u" in guard_band_name(2.0)
    assert "two-sided" in guard_band_name(2.0)
    assert "1.65 u" in guard_band_name(1.65)
    assert "one-sided" in guard_band_name(1.65)
    with pytest.raises(InputError, match=r"allowed: 2 or 1\.65"):
        guard_band_name(3.0)
