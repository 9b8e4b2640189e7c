"""Limits and fits against transcribed ISO 286-2 tables, and registers hot.

Data: tests/reference/data/iso286_limits.csv and iso286_examples.json (ISO 286-2 by way of public
transcriptions, sources in iso286_limits.md).
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from clearturn.errors import InputError
from clearturn.trade import hub_fits, iso286
from clearturn.trade.hub_fits import Register

DATA = Path(__file__).parent / "data"


def rows() -> list[dict[str, str]]:
    with (DATA / "iso286_limits.csv").open(encoding="utf-8") as file:
        return [r for r in csv.DictReader(file) if 3 <= int(r["over_mm"]) < 400]


def test_every_class_and_step_of_the_table_from_3_to_400_mm() -> None:
    assert len(rows()) > 1000
    for row in rows():
        # One past the lower edge and the upper edge itself: the step is "over, up to and incl.".
        for nominal in (int(row["over_mm"]) + 0.001, float(row["to_incl_mm"])):
            found = iso286.limits(row["class"], nominal)
            assert found.upper_um == float(row["upper_um"]), row
            assert found.lower_um == float(row["lower_um"]), row


def test_e7_over_315_is_182_as_the_rule_has_it() -> None:
    assert iso286.limits("E7", 350.0) == iso286.Limits(182.0, 125.0)


@pytest.mark.parametrize(
    ("name", "values"),
    json.loads((DATA / "iso286_examples.json").read_text(encoding="utf-8")).items(),
)
def test_worked_fits(name: str, values: dict[str, float]) -> None:
    nominal, classes = name.split()
    found = iso286.fit(classes, float(nominal))
    assert found.least_clearance_mm * 1000 == pytest.approx(values["min_clearance_um"])
    assert found.greatest_clearance_mm * 1000 == pytest.approx(values["max_clearance_um"])
    assert [found.hole.upper_um, found.hole.lower_um] == values["hole_um"]
    assert [found.shaft.upper_um, found.shaft.lower_um] == values["shaft_um"]


def test_grade_formula_stays_within_what_the_standards_rounding_takes() -> None:
    # i = 0.45 D^(1/3) + 0.001 D, D the geometric mean of the step; 7 i … 100 i (ISO 286-1).
    for low, high in ((50, 80), (80, 120), (120, 180)):
        mean = (low * high) ** 0.5
        unit = 0.45 * mean ** (1 / 3) + 0.001 * mean
        for grade, factor in ((6, 10), (7, 16), (8, 25), (9, 40), (10, 64), (11, 100)):
            assert abs(iso286.grade_um(grade, high) - factor * unit) < 4.5


@pytest.mark.parametrize(
    ("tolerance_class", "nominal_mm", "named"),
    [
        ("H7", 2.9, "2.9"), ("H7", 400.1, "400.1"), ("H4", 50, "H4"), ("q7", 50, "q7"),
        ("7H", 50, "7H"), ("", 50, "''"), ("K9", 50, "K9"), ("h12", 50, "h12"), ("K5", 50, "K5"),
    ],
)  # fmt: skip
def test_what_is_not_in_the_table_is_refused(
    tolerance_class: str, nominal_mm: float, named: str
) -> None:
    with pytest.raises(InputError, match=named):
        iso286.limits(tolerance_class, nominal_mm)


def register(hole: str, shaft: str, diameter: float, rise: float) -> Register:
    return Register("register", diameter, hole, shaft, 20.0 + rise, 20.0 + rise)


def test_titanium_hat_on_steel_spigot_110_seizes() -> None:
    # 110 mm × (8.6 − 12.3)e-6/K × 100 K = −0.0407 mm; H7/g6 at 110: 12 … 69 µm cold.
    found = hub_fits.register_clearance(register("Ti-6Al-4V", "steel 42CrMo4", 110.0, 100.0))
    assert found.change_mm == pytest.approx(-0.0407)
    assert found.cold_mm == pytest.approx((0.012, 0.069))
    sheet = hub_fits.sheet(
        hub_fits.HubFits((register("Ti-6Al-4V", "steel 42CrMo4", 110.0, 100.0),))
    )
    assert sheet.word == "fails"


def test_aluminium_bell_on_steel_70_loosens() -> None:
    # 70 mm × (23.6 − 12.3)e-6/K × 100 K = 0.0791 mm.
    found = hub_fits.register_clearance(register("aluminium 6061-T6", "steel 42CrMo4", 70.0, 100.0))
    assert found.change_mm == pytest.approx(0.0791)
