"""Threads, preload and torque against published tables (tests/reference/data/bolts.md)."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any, cast

import pytest

from clearturn.trade import bolts, threads
from clearturn.trade.threads import PropertyClass
from clearturn.units import MM_PER_INCH, NEWTON_PER_POUND_FORCE

DATA = Path(__file__).parent / "data"
LBF_IN = NEWTON_PER_POUND_FORCE * MM_PER_INCH / 1000.0  # N·m


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def examples() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((DATA / "bolts_examples.json").read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize("row", table("threads.csv"), ids=lambda r: r["thread"])
def test_thread_geometry_and_stress_area(row: dict[str, str]) -> None:
    metric = threads.thread(row["thread"])
    assert metric.pitch_mm == float(row["pitch_mm"])
    assert metric.pitch_diameter_mm == pytest.approx(float(row["d2_mm"]), abs=6e-5)
    assert metric.root_diameter_mm == pytest.approx(float(row["d3_mm"]), abs=6e-5)
    # The standard prints three digits.
    assert metric.stress_area_mm2 == pytest.approx(float(row["As_table_mm2"]), rel=0.004)


@pytest.mark.parametrize(
    "row", [r for r in table("threads.csv") if r["proof_load_8.8_N"]], ids=lambda r: r["thread"]
)
@pytest.mark.parametrize("name", ["8.8", "10.9", "12.9"])
def test_proof_and_ultimate_loads_of_iso_898_1(row: dict[str, str], name: str) -> None:
    strong = threads.strength(cast(PropertyClass, name), float(row["d_mm"]))
    area = float(row["As_table_mm2"])
    assert strong.proof_mpa * area == pytest.approx(float(row[f"proof_load_{name}_N"]), rel=0.005)
    ultimate = float(row[f"ultimate_load_{name}_N"])
    assert strong.ultimate_mpa * area == pytest.approx(ultimate, rel=0.005)


@pytest.mark.parametrize(
    "row",
    table("bolts_vdi2230_fine.csv"),
    ids=lambda r: f"{r['thread']} {r['class']} {r['mu']}",
)
def test_preload_and_torque_of_the_vdi_2230_table(row: dict[str, str]) -> None:
    metric = threads.thread(row["thread"])
    strong = threads.strength(cast(PropertyClass, row["class"]), metric.diameter_mm)
    mu = float(row["mu"])
    force = bolts.tightening_force_n(metric, strong.yield_mpa, mu)
    assert force / 1e3 == pytest.approx(float(row["FM_table_kN"]), rel=0.005)
    torque = bolts.torque_nm(force, metric, mu, mu, bolts.mean_seat_mm(metric))
    assert torque == pytest.approx(float(row["MA_table_Nm"]), rel=0.015)


def test_shigley_example_8_3() -> None:
    given, said = examples()["shigley_8_3"]["given"], examples()["shigley_8_3"]["published"]
    area, preload, load = given["At_in2"], given["Fi_kip"], given["P_kip"]
    share = bolts.joint_share(given["kb_Mlbf_in"], given["km_Mlbf_in"])
    assert share == pytest.approx(said["C"], abs=5e-4)
    found = bolts.load_sharing(preload, load, share, 85.0, area)  # SAE 5: Sp 85 kpsi
    assert found.bolt_n / area == pytest.approx(said["sigma_b_kpsi"], abs=0.01)
    assert preload / area == pytest.approx(said["sigma_i_kpsi"], abs=0.005)
    assert found.proof_factor == pytest.approx(85.0 / 72.17, rel=1e-3)
    force = preload * 1000.0 * NEWTON_PER_POUND_FORCE
    diameter = 0.75 * MM_PER_INCH
    by_k = bolts.nut_factor_torque_nm(force, diameter, given["K"])
    assert by_k / LBF_IN == pytest.approx(said["T_K_lbf_in"])
    # Mean diameter of the outer and the root diameter; collar 1.25 d (Shigley).
    root = math.sqrt(4.0 * given["Ar_in2"] / math.pi)
    mean, lead = (0.75 + root) / 2.0 * MM_PER_INCH, MM_PER_INCH / 16.0
    angle = math.degrees(math.atan(lead / (math.pi * mean)))
    assert angle == pytest.approx(said["lead_angle_deg"], abs=2e-4)
    exact = bolts.screw_torque_nm(force, mean, lead, 0.15, 0.15, 1.25 * diameter)
    assert exact / LBF_IN == pytest.approx(said["T_eq_8_26_lbf_in"], abs=1.0)


def test_shigley_problem_8_29_b() -> None:
    force = 0.9 * 245.0 * threads.strength("8.8", 20.0).proof_mpa
    assert force / 1e3 == pytest.approx(132.3)
    torque = bolts.nut_factor_torque_nm(force, 20.0, bolts.NUT_FACTORS["lubricated"])
    assert torque == pytest.approx(476.0, abs=0.5)


def test_nut_factors_of_shigley_table_8_15() -> None:
    table_8_15 = examples()["shigley_K_table"]["K"].values()
    assert sorted(bolts.NUT_FACTORS.values()) == sorted(table_8_15)


def test_long_form_agrees_with_exact_screw() -> None:
    metric = threads.thread("M14×1.5")
    seat = bolts.mean_seat_mm(metric)
    exact = bolts.screw_torque_nm(9e4, metric.pitch_diameter_mm, 1.5, 0.12, 0.12, seat)
    assert bolts.torque_nm(9e4, metric, 0.12, 0.12, seat) == pytest.approx(exact, rel=0.01)
