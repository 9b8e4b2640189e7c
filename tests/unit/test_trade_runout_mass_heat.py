"""Run-out, mass and heat: properties, decisions, nonsense."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearturn.errors import InputError
from clearturn.trade import heat, mass, run_out
from clearturn.trade.heat import Heat
from clearturn.trade.inputs import read_inputs
from clearturn.trade.mass import CeramicRing, Item, Mass
from clearturn.trade.run_out import RunOut

STOP = Heat(1600.0, 120.0, 9.0, "grey iron")


def wave(amplitude: float, phase_deg: float, count: int, order: int = 1) -> np.ndarray:
    angles = math.tau * np.arange(count) / count
    return amplitude * np.cos(order * angles - math.radians(phase_deg))


def test_best_index_cancels_a_rotor_that_leans_against_the_hub() -> None:
    # Hub tilt at 0°, the rotor's own equal tilt at 0° too: 72° steps, best is ±144°:
    # sum of two unit vectors at 144° is 2 cos 72° = 0.618.
    hub, own = wave(0.01, 0.0, 10), wave(0.02, 0.0, 10)
    rotor = wave(0.02, 0.0, 10) + own  # hub carried by r_rotor/r_hub = 2
    inputs = RunOut(5, tuple(rotor), 140.0, tuple(hub), 70.0, reading_uncertainty_mm=0.0)
    result = run_out.compute(inputs)
    assert result.rotor_total_mm == pytest.approx(0.08)
    assert result.best is not None
    assert result.best.studs in (2, 3)
    # Ten readings see the cosine at its top (phase 72° or 108°: both are reading angles).
    assert result.best.total_mm == pytest.approx(0.08 * math.cos(math.radians(72.0)), rel=1e-6)


@given(
    st.lists(st.floats(-0.1, 0.1), min_size=20, max_size=20),
    st.lists(st.floats(-0.1, 0.1), min_size=10, max_size=10),
    st.sampled_from([4, 5]),
)
def test_best_index_never_reads_more_than_the_rotor_as_it_sits(
    rotor: list[float], hub: list[float], studs: int
) -> None:
    inputs = RunOut(studs, tuple(rotor), 150.0, tuple(hub), 70.0)
    result = run_out.compute(inputs)
    assert result.best is not None
    assert result.rotor_total_mm is not None
    assert result.indexes[0].total_mm == pytest.approx(result.rotor_total_mm, abs=1e-12)
    assert result.best.total_mm <= result.rotor_total_mm + 1e-12


@given(st.lists(st.floats(-1, 1), min_size=9, max_size=9), st.integers(0, 8))
def test_shift_by_interpolation_agrees_with_whole_steps(values: list[float], steps: int) -> None:
    readings = np.asarray(values)
    near = run_out.shifted(readings, steps / 9 + 1e-7)  # just off a whole step: Fourier sum
    assert near == pytest.approx(run_out.shifted(readings, steps / 9), abs=1e-4)


@pytest.mark.parametrize(
    ("total", "word"), [(0.044, "clears"), (0.05, "not proven"), (0.057, "fails")]
)
def test_total_reading_is_judged_with_its_uncertainty(total: float, word: str) -> None:
    # U of a total reading: √2 · 0.004 = 0.0057 mm.
    inputs = RunOut(5, tuple(wave(total / 2, 0.0, 8)))
    assert run_out.sheet(inputs).word == word


def test_ring_inertia_of_a_thin_hoop_and_a_disc() -> None:
    assert mass.ring_inertia_kg_m2(2.0, 100.0, 100.0) == pytest.approx(2.0 * 0.01)
    assert mass.ring_inertia_kg_m2(2.0, 0.0, 100.0) == pytest.approx(0.5 * 2.0 * 0.01)


def test_sum_that_does_not_close_is_told() -> None:
    rotor = Item("rotor", 14.68, 9.56, claimed_change_kg=-5.12)
    assert not mass.sheet(Mass((rotor,))).findings
    wrong = mass.sheet(Mass((replace(rotor, claimed_change_kg=-4.12),)))
    assert [f.code for f in wrong.findings] == ["mass-does-not-close"]
    total = mass.sheet(Mass((rotor,), claimed_total_change_kg=-5.2))
    assert [f.code for f in total.findings] == ["mass-does-not-close"]


def test_stamp_goes_before_the_share_and_hat_is_on_both_sides() -> None:
    ring = CeramicRing("7", 7.920, stamped_kg=7.75, hat_kg=1.4, hardware_kg=0.1)
    found = mass.ring_result(ring)
    assert found.ring_discard_kg == 7.75
    assert found.rotor_discard_kg == pytest.approx(9.25)
    assert found.from_stamp


@pytest.mark.parametrize(
    ("now", "dry", "word"),
    [(7.730, True, "clears"), (7.723, True, "not proven"), (7.719, True, "fails"),
     (7.730, False, "not proven")],
)  # fmt: skip
def test_ring_is_judged_with_the_scales_uncertainty(now: float, dry: bool, word: str) -> None:
    ring = CeramicRing("7", 7.920, now_kg=now, dry=dry)
    assert mass.sheet(Mass(rings=(ring,))).word == word


def test_every_weighing_has_the_scales_uncertainty() -> None:
    # Now, 97.5 % of the new ring, hat and hardware: U √(1 + 0.975² + 1 + 1); a stamp is exact.
    ring = CeramicRing("7", 3.12, hat_kg=2.42, hardware_kg=0.38, scale_uncertainty_kg=0.004)
    assert mass.ring_result(ring).uncertainty_kg == pytest.approx(0.004 * math.sqrt(3.0 + 0.975**2))
    stamped = CeramicRing("7", 3.12, stamped_kg=3.05, scale_uncertainty_kg=0.004)
    assert mass.ring_result(stamped).uncertainty_kg == pytest.approx(0.004)


def test_engraved_limit_is_never_rounded_down() -> None:
    found = mass.ring_result(CeramicRing("7", 7.921))  # 7.722975
    assert "7.723 kg" in found.engraving


def test_hotter_with_less_specific_heat_and_the_spread_is_printed() -> None:
    result = heat.compute(replace(STOP, stops=5))
    assert result.rise_k[0] <= result.rise_k[1] <= result.rise_k[2]
    assert result.last_peak_c[0] <= result.last_peak_c[1] <= result.last_peak_c[2]
    assert any("450 to 544" in line.value for line in heat.sheet(STOP).lines)


@given(st.integers(1, 15), st.floats(0, 300), st.floats(0, 1))
def test_peaks_never_fall_and_more_cooling_never_heats(
    stops: int, film: float, emissivity: float
) -> None:
    inputs = replace(STOP, stops=stops, film_w_per_m2_k=film, emissivity=emissivity)
    peaks = heat.peaks_c(inputs, 500.0)
    assert all(b >= a - 1e-9 for a, b in pairwise(peaks))
    cooler = heat.peaks_c(replace(inputs, film_w_per_m2_k=film + 10), 500.0)
    assert cooler[-1] <= peaks[-1] + 1e-9


def test_paint_that_disagrees_is_told() -> None:
    codes = {f.code for f in heat.sheet(replace(STOP, paint_turned_c=(600.0,))).findings}
    assert codes == {"paint-hotter"}
    both = replace(STOP, paint_turned_c=(560.0,), paint_kept_c=(430.0,))
    assert "paint-contradicts" in {f.code for f in heat.sheet(both).findings}


@pytest.mark.parametrize(
    ("kind", "content", "named"),
    [
        (RunOut, {"stud_count": 5, "rotor_mm": [0.1, 0.2]}, "rotor_mm: the number of readings"),
        (RunOut, {"stud_count": 0}, "stud_count: out of range, found 0"),
        (RunOut, {"stud_count": 5, "hub_face_mm": [0.0] * 8}, "hub_radius_mm: a key is missing"),
        (RunOut, {"stud_count": 5, "rotor_mm": [0.0, "a", 0, 0]}, r"rotor_mm\[1\]: a number must"),
        (Mass, {"items": [{"name": "r", "old_kg": 1, "new_kg": 1, "turns": True}]},
         r"items\[0\]\.inner_radius_mm: a key is missing"),
        (Mass, {"rings": [{"serial": " ", "ring_kg": 7.9}]}, r"rings\[0\]\.serial"),
        (Mass, {"rings": [{"serial": "1", "ring_kg": 7.9, "stamped_kg": 8.0}]},
         r"rings\[0\]\.stamped_kg: the least mass"),
        (Heat, {"mass_kg": 1500, "from_km_h": 50, "to_km_h": 60, "ring_mass_kg": 9,
                "ring_material": "grey iron"}, "to_km_h: a stop ends slower"),
        (Heat, {"mass_kg": 1500, "from_km_h": 50, "ring_mass_kg": 9, "ring_material": "wood"},
         "ring_material: this material"),
        (Heat, {"mass_kg": 1500, "from_km_h": 50, "ring_mass_kg": 9,
                "ring_material": "grey iron", "heat_j_per_kg_k": 700},
         "heat_j_per_kg_k: the specific heat lies outside"),
        (Heat, {"mass_kg": 0, "from_km_h": 50, "ring_mass_kg": 9, "ring_material": "grey iron"},
         "mass_kg: out of range"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_by_name(kind: type, content: object, named: str) -> None:
    with pytest.raises(InputError, match=named):
        read_inputs(kind, content)
