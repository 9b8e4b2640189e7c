"""Run-out, heat and mass against closed forms (tests/reference/data/runout.md, brakes.md)."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from clearturn.trade import heat, mass, run_out

DATA = Path(__file__).parent / "data"
CASES: list[dict[str, Any]] = json.loads((DATA / "runout_cases.json").read_text(encoding="utf-8"))[
    "cases"
]


def sampled(wave: Any, count: int = 360) -> tuple[float, ...]:
    return tuple(wave(math.tau * i / count) for i in range(count))


def test_eccentric_circle_reads_twice_its_eccentricity() -> None:
    e = CASES[0]["e_mm"]
    # Distance from the axis to a circle of radius 35 about a centre e off it.
    readings = sampled(lambda x: e * math.cos(x) + math.sqrt(35.0**2 - (e * math.sin(x)) ** 2))
    assert run_out.total_reading(readings) == pytest.approx(CASES[0]["TIR_mm"])
    assert run_out.eccentricity_mm(readings) == pytest.approx(e, rel=1e-6)


def test_tilted_plane() -> None:
    case = CASES[1]
    slope = math.tan(math.radians(case["tilt_deg"]))
    readings = sampled(lambda x: case["r_mm"] * slope * math.cos(x - 1.0))
    assert run_out.total_reading(readings) == pytest.approx(case["TIR_mm"], rel=1e-4)


def test_hub_face_carried_to_the_rotor() -> None:
    case = CASES[2]
    hub = sampled(lambda x: case["h_mm"] / 2 * math.cos(x - 2.0), 10)
    inputs = run_out.RunOut(
        5, hub_face_mm=hub, hub_radius_mm=case["rh_mm"], rotor_radius_mm=case["rr_mm"]
    )
    assert run_out.compute(inputs).hub_at_rotor_mm == pytest.approx(case["TIR_mm"])


def test_two_harmonics_add_to_45_um() -> None:
    readings = sampled(lambda x: 0.02 * math.cos(x) + 0.01 * math.cos(2 * x))
    assert run_out.total_reading(readings) == pytest.approx(CASES[3]["TIR_mm"], abs=1e-9)


def test_harmonics_of_twelve_readings() -> None:
    case = CASES[4]
    first, second, *rest = run_out.harmonics(tuple(case["readings_mm"]))
    assert (first.amplitude_mm, first.phase_deg) == pytest.approx(
        (case["A1_mm"], case["phase1_deg"])
    )
    assert (second.amplitude_mm, second.phase_deg) == pytest.approx(
        (case["A2_mm"], case["phase2_deg"])
    )
    assert [h.amplitude_mm for h in rest] == pytest.approx([0.0] * len(rest), abs=1e-12)


def test_one_stop_of_another_calculation() -> None:
    given = json.loads((DATA / "brakes_examples.json").read_text(encoding="utf-8"))["single_stop"]
    values, said = given["given"], given["computed"]
    energy = heat.stop_energy_j(values["mass_kg"], values["speed_km_h"])
    assert energy == pytest.approx(said["energy_total_J"])
    one = energy * values["front_share"] / 2.0
    assert one == pytest.approx(said["energy_per_front_rotor_J"])
    rise = heat.ring_rise_k(one, values["rotor_mass_kg"], values["c_J_kgK"])
    assert rise == pytest.approx(said["dT_K_all_heat_in_rotor"])


def test_repeated_stops_without_radiation_follow_the_geometric_sum() -> None:
    inputs = heat.Heat(
        1500.0, 100.0, 7.0, "grey iron", film_w_per_m2_k=90.0, area_m2=0.2, emissivity=0.0,
        stops=12, seconds_between=45.0, ambient_c=15.0,
    )  # fmt: skip
    rise = heat.ring_rise_k(heat.ring_energy_j(inputs), 7.0, 544.0)
    decay = math.exp(-90.0 * 0.2 * 45.0 / (7.0 * 544.0))
    expected = [15.0 + rise * sum(decay**j for j in range(n)) for n in range(1, 13)]
    assert heat.peaks_c(inputs, 544.0) == pytest.approx(expected, rel=1e-9)


def test_radiation_into_the_cold_follows_the_cube_law() -> None:
    # dT/dt = −k T⁴ with surroundings at 0 K: 1/T³ = 1/T0³ + 3 k t.
    area, capacity, seconds = 0.3, 3000.0, 120.0
    k = 0.8 * heat.STEFAN_BOLTZMANN * area / capacity
    start = 1000.0
    expected = (1.0 / start**3 + 3.0 * k * seconds) ** (-1.0 / 3.0)
    got = heat.cooled_c(
        start - 273.15, seconds, ambient_c=-273.15, film=0.0, area_m2=area, emissivity=0.8,
        heat_capacity_j_per_k=capacity,
    )  # fmt: skip
    assert got + 273.15 == pytest.approx(expected, rel=1e-9)


def test_discard_mass_of_a_7_920_kg_ring() -> None:
    # 7.920 · 0.975 = 7.722 kg (2.5 %: common practice, no source).
    found = mass.ring_result(mass.CeramicRing("A-17", 7.920))
    assert found.ring_discard_kg == pytest.approx(7.722)
    assert "7.722 kg" in found.engraving
    assert "A-17" in found.engraving


def test_rotor_from_14_68_to_9_56_kg() -> None:
    rotor = mass.Item("rotor", 14.68, 9.56)
    assert mass.compute(mass.Mass((rotor,))).change_kg == pytest.approx(-5.12)
