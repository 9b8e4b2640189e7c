"""Units: exact factors, what a user may write, what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearturn import units
from clearturn.errors import InputError

ALL = [
    units.LENGTH,
    units.ANGLE,
    units.MASS,
    units.FORCE,
    units.TORQUE,
    units.PRESSURE,
    units.SPEED,
    units.TEMPERATURE,
]


# NIST Special Publication 811 (2008), appendix B.8; values from memory, all digits it prints.
@pytest.mark.parametrize(
    ("quantity", "text", "inside"),
    [
        (units.LENGTH, "1 in", 25.4),
        (units.LENGTH, "2.5 cm", 25.0),
        (units.LENGTH, "0.5 m", 500.0),
        (units.LENGTH, "12 µm", 0.012),
        (units.MASS, "1 lb", 0.45359237),
        (units.FORCE, "1 lbf", 4.448222),
        (units.TORQUE, "1 lbf·ft", 1.355818),
        (units.PRESSURE, "1 psi", 0.06894757),
        (units.SPEED, "1 mph", 1.609344),
        (units.TEMPERATURE, "0 K", -273.15),
        (units.TEMPERATURE, "212 °F", 100.0),
        (units.TEMPERATURE, "-40 °F", -40.0),
        (units.ANGLE, "1 rad", 57.29577951308232),
    ],
)
def test_factors_are_the_published_ones(quantity: units.Quantity, text: str, inside: float) -> None:
    assert quantity.parse(text) == pytest.approx(inside, rel=4e-7, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "value"),
    [("5", 5.0), (" 5. ", 5.0), (".5mm", 0.5), ("−3 mm", -3.0), ("+1e-2 m", 10.0), ("1E3", 1000.0)],
)
def test_numbers_may_be_written_freely(text: str, value: float) -> None:
    assert units.LENGTH.parse(text) == value


def test_the_unit_meant_may_be_another() -> None:
    assert units.LENGTH.parse("2", unit="in") == 50.8
    assert units.LENGTH.parse("2 mm", unit="in") == 2.0


@pytest.mark.parametrize(
    "text",
    ["", "mm", "1,5", "1 5", "1 furlong", "1 kg", "nan", "inf", "1e999", "0x10", "--1", "1e"],
)
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        units.LENGTH.parse(text)


def test_a_decimal_comma_is_named() -> None:
    with pytest.raises(InputError, match="decimal point"):
        units.LENGTH.parse("1,5 mm")


@given(st.floats(-1e6, 1e6))
def test_shown_and_read_again_is_the_same(value: float) -> None:
    for quantity in ALL:
        for unit in quantity.factors:
            back = quantity.inside(quantity.shown(value, unit), unit)
            assert math.isclose(back, value, rel_tol=1e-12, abs_tol=1e-9)


@pytest.mark.parametrize(
    ("value", "text"),
    [(1.005, "1.00 mm"), (-0.001, "0.00 mm"), (-1.5, "−1.50 mm"), (None, "–"), (0.0, "0.00 mm")],
)
def test_written_without_a_negative_zero(value: float | None, text: str) -> None:
    assert units.LENGTH.write(value) == text


def test_written_in_inches() -> None:
    assert units.LENGTH.write(25.4, "in", 3) == "1.000 in"


@pytest.mark.parametrize("unit", ["", "MM", "ft", "µm"])
def test_a_mesh_has_one_of_four_units(unit: str) -> None:
    with pytest.raises(InputError, match="mm, cm, m, in"):
        units.mm_per(unit)


@pytest.mark.parametrize("text", ["1e308 in", "9e307 m", "1e400", "1e308 rad"])
def test_number_that_grows_past_all_numbers_is_refused(text: str) -> None:
    quantity = units.ANGLE if text.endswith("rad") else units.LENGTH
    with pytest.raises(InputError, match="must be a finite number"):
        quantity.parse(text)
