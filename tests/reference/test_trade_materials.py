"""Materials and rims against the values in tests/reference/data (sources in materials.md)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from clearturn.trade import kit, ring_joint
from clearturn.trade.materials import MATERIALS

DATA = Path(__file__).parent / "data"
NAMES = {
    "Ti-6Al-4V": "Ti-6Al-4V",
    "Al 6061-T6": "aluminium 6061-T6",
    "Al 7075-T6": "aluminium 7075-T6",
    "Al A356.0-T6 sand cast": "aluminium A356-T6",
    "steel 4140 / 42CrMo4": "steel 42CrMo4",
    "grey iron G3000 (~EN-GJL-200)": "grey iron",
}
FIELDS = {
    "CTE": "expansion_per_mk",
    "CTE 20-100 C": "expansion_per_mk",
    "density": "density_kg_per_m3",
    "E": "young_gpa",
    "UTS": "ultimate_mpa",
    "UTS annealed": "ultimate_mpa",
    "tensile strength": "ultimate_mpa",
    "yield": "yield_mpa",
    "yield annealed": "yield_mpa",
    "Re +QT 16<d<=40": "yield_mpa",
}


def rows() -> list[dict[str, str]]:
    with (DATA / "materials.csv").open(encoding="utf-8") as file:
        found = [r for r in csv.DictReader(file) if r["material"] in NAMES]
    # The softer annealed steel, the second expansion of iron and cold-only spreads are not used.
    return [
        r
        for r in found
        if r["property"] in FIELDS
        and not (r["material"].startswith("steel") and r["property"] == "yield annealed")
        and not (r["material"].startswith("grey") and r["property"] == "CTE 20-100 C")
        and r["value"].removesuffix(" min").replace(".", "").isdigit()
    ]


@pytest.mark.parametrize("row", rows(), ids=lambda r: f"{r['material']} {r['property']}")
def test_material_holds_the_sources_value(row: dict[str, str]) -> None:
    found = getattr(MATERIALS[NAMES[row["material"]]], FIELDS[row["property"]])
    assert found == float(row["value"].removesuffix(" min"))


def test_enough_values_are_compared() -> None:
    assert len(rows()) >= 20


def test_specific_heat_of_iron_spans_what_the_sources_say() -> None:
    # 544 (Callister, from memory), 480 (GOST 1412-85 page), 450 to 490 (other pages).
    iron = MATERIALS["grey iron"]
    assert (iron.heat_low_j_per_kg_k, iron.heat_high_j_per_kg_k) == (450.0, 544.0)


def test_specified_rim_diameters() -> None:
    # ISO 4000-2 / ETRTO: code × 25.4 less 0.8 to code 16, plus 4.8 from code 17.
    for code, diameter in kit.RIM_MM.items():
        assert diameter == pytest.approx(code * 25.4 + (-0.8 if code <= 16 else 4.8), abs=0.051)


def test_titanium_hat_and_ceramic_ring_at_r_120() -> None:
    # 120 · 9.2e-6 · 280 = 0.309 mm (expansion 0 to 300 °C, supplier table);
    # 120 · 1.5e-6 · 580 = 0.104 mm (middle of 0.5 to 2, Kumar et al. 2009).
    assert ring_joint.growth_mm(120.0, 9.2, 280.0) == pytest.approx(0.31, abs=0.005)
    assert ring_joint.growth_mm(120.0, 1.5, 580.0) == pytest.approx(0.10, abs=0.005)
