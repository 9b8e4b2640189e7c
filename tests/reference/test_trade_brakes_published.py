"""Pads, balance and one stop against worked examples (tests/reference/data/brakes.md)."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from clearturn.trade import balance, pads
from clearturn.trade.balance import LoadState

CASES: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "brakes_examples.json").read_text(encoding="utf-8")
)


def test_ugural_example_13_6_one_face() -> None:
    said = CASES["ugural_13_6_uniform_wear"]["published"]
    force = pads.wear_force(math.radians(60.0), 200.0, 2.5, 5.0)
    assert force == pytest.approx(said["F_a_lb"], abs=0.5)
    torque = pads.face_torque(0.2, force, pads.uniform_wear_radius(2.5, 5.0))
    assert torque == pytest.approx(said["torque_per_face_lb_in"], abs=0.5)


def test_shigley_example_16_3() -> None:
    said = CASES["shigley_16_3_caliper"]["published_from_memory"]
    inner, outer, angle = 3.875, 5.5, math.radians(108.0)
    wear = pads.uniform_wear_radius(inner, outer)
    assert wear == pytest.approx(said["re_in"], abs=6e-4)
    force = 13_000.0 / 2.0 / (0.37 * wear)
    assert force == pytest.approx(said["F_lbf"], abs=0.5)
    pressure = force / pads.wear_force(angle, 1.0, inner, outer)
    assert pressure == pytest.approx(said["p_a_psi"], abs=0.06)
    assert pads.force_line_radius(wear, angle) == pytest.approx(said["r_bar_in"], abs=6e-4)
    assert force / (math.pi / 4 * 1.5**2) == pytest.approx(said["p_hydr_psi"], abs=0.5)
    even = pads.uniform_pressure_radius(inner, outer)
    assert even == pytest.approx(said["uniform_pressure_re_in"], abs=7e-4)


def test_45_degree_pad_of_a_public_exercise() -> None:
    said = CASES["web_pad_45deg"]["published"]
    force = pads.wear_force(math.radians(45.0), 100.0, 4.0, 6.0)
    assert force == pytest.approx(said["F_lb"], abs=0.01)
    both = 2.0 * pads.face_torque(0.4, force, pads.uniform_wear_radius(4.0, 6.0))
    assert both == pytest.approx(said["torque_both_pads_lb_in"], abs=0.02)


def test_wong_example_3_3_tells_which_axle_locks_first() -> None:
    given = CASES["wong_axle_lock"]["given"]
    base, behind = given["wheelbase_m"], given["cg_behind_front_m"]
    state = LoadState("car", 2166.0, 2166.0 * (base - behind) / base, given["cg_height_m"] * 1e3)
    found = {
        grip: balance.locking_deceleration(state, base * 1e3, 0.6, grip, 0.02)
        for grip in (0.8, 0.2)
    }
    assert found[0.8] == pytest.approx((0.99, 0.676), abs=0.001)  # rear first
    assert found[0.2] == pytest.approx((0.212, 0.231), abs=0.001)  # front first


def test_adhesion_and_limits_of_another_calculation() -> None:
    case = CASES["r13h_demo_car"]
    state = LoadState("car", 1600.0, 900.0, 550.0)
    critical = balance.critical_deceleration(state, 2650.0, 0.72)
    assert critical == pytest.approx(case["critical_deceleration_g_where_f1_equals_f2"])
    for z, front, rear, _, holds in case["rows"]:
        used = balance.adhesion_used(state, 2650.0, 0.72, z)
        assert used == pytest.approx((front, rear))
        if holds is not None:
            assert (max(used) <= balance.allowed_adhesion(z)) == holds
    result = balance.state_result(state, 2650.0, 0.72)
    assert result.rear_first_at_g == pytest.approx(0.76)  # the first step over 0.7589
    assert result.adhesion_breached_at_g is None


def test_ratio_from_66_34_to_68_32() -> None:
    # 68/32 over 66/34 by hand: 2.125/1.941176 = 1.0947.
    assert balance.ratio_change(0.66, 0.68) == pytest.approx(1.0947, abs=5e-5)
