"""Numbers as the report prints them."""

from __future__ import annotations

import math

import pytest

from clearturn.gap.model import Interval
from clearturn.report import figures


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (2.181, "2.18"),
        (-0.72, "−0.72"),
        (0.0, "0.00"),
        (-0.0, "0.00"),
        (-0.004, "0.00"),
        (1e6, "1000000.00"),
        (None, "unknown"),
        (math.nan, "unknown"),
        (-math.inf, "unknown"),
    ],
)
def test_length_has_two_decimals_and_a_true_minus(value: float | None, text: str) -> None:
    assert figures.mm(value) == text


@pytest.mark.parametrize(
    ("margin", "text"),
    [
        (1.02, "+1.02"),
        (-2.13, "−2.13"),
        (0.004, "+0.004"),
        (-0.004, "−0.004"),
        (-0.00004, "−0.000040"),
        (0.0, "0.00"),
        (-math.inf, "unknown"),
    ],
)
def test_margin_never_loses_its_sign_by_rounding(margin: float, text: str) -> None:
    assert figures.signed_mm(margin) == text


@pytest.mark.parametrize(
    ("angle", "text"),
    [
        (0.0, "12:00"),
        (30.0, "1:00"),
        (90.0, "3:00"),
        (180.0, "6:00"),
        (271.4, "9:03"),
        (359.9, "12:00"),  # rounds up to the full turn
        (345.0, "11:30"),
        (-90.0, "9:00"),
        (math.nan, "unknown"),
    ],
)
def test_clock_reads_half_a_degree_a_minute(angle: float, text: str) -> None:
    assert figures.clock(angle) == text


@pytest.mark.parametrize(
    ("ends", "text"),
    [
        ((2.1804, 2.1812), "2.180 to 2.181"),
        ((2.18, 2.18), "2.180"),
        ((None, 0.0), "at most 0.000"),
        ((1.5, None), "at least 1.500"),
        ((None, None), "unknown"),
    ],
)
def test_interval_says_which_end_is_not_known(
    ends: tuple[float | None, float | None], text: str
) -> None:
    assert figures.interval(Interval(*ends)) == text


def test_lists_of_words_read_as_a_sentence() -> None:
    assert [figures.listed(list("abc")[:k]) for k in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert figures.words(1, "gap") == "1 gap"
    assert figures.words(3, "gap") == "3 gaps"
    assert figures.count(1234567) == "1\u202f234\u202f567"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (162.4, "Ø162.40"),
        (70.0107, "Ø70.011"),
        (70.0, "Ø70.00"),
        (69.9999, "Ø70.00"),
        (None, "unknown"),
    ],
)
def test_diameter_to_machine_to_keeps_the_micrometres_that_matter(
    value: float | None, text: str
) -> None:
    assert figures.machined(value) == text
