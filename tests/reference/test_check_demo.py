"""The demo corner from raw scans to the verdict: the planted faults, and nothing else, are found.

True sizes and gaps: sample_meshes/true.json, computed from the construction by a script that uses
nothing of the program.
"""

from __future__ import annotations

import importlib.util
import json
import sys
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from clearturn.check import check
from clearturn.corner.assemble import assemble
from clearturn.job.file import load_job
from clearturn.job.model import BalanceWeights
from clearturn.result import CheckResult, PairResult, Verdict
from clearturn.samples import demo_job_file, samples_folder
from clearturn.verdict import judge_pairs

pytestmark = pytest.mark.slow

TRUE = json.loads((samples_folder() / "true.json").read_text(encoding="utf-8"))
GAPS: dict[str, Any] = TRUE["gaps"]

# The pairs of the demo job whose true gap is known.
KNOWN = {
    ("caliper", "barrel"): "caliper–barrel",
    ("caliper", "spokes"): "caliper–spokes",
    ("caliper", "rotor"): "caliper–ring",
    ("rotor", "knuckle"): "rotor–knuckle",
    ("caliper", "knuckle"): "caliper–knuckle",
    ("rotor", "tie rod"): "rotor–tie rod",
    ("barrel", "tie rod"): "wheel–tie rod",
    ("barrel", "knuckle"): "wheel–knuckle",
    ("caliper", "hub"): "caliper–hub",
    ("caliper", "bearing housing"): "caliper–housing",
}


@lru_cache(maxsize=1)
def construction() -> Any:
    """The script that holds the demo's solids."""
    spec = importlib.util.spec_from_file_location(
        "construction", samples_folder() / "construction.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@lru_cache(maxsize=1)
def result() -> CheckResult:
    return check(load_job(demo_job_file()), folder=samples_folder())


def pair(first: str, second: str) -> PairResult:
    return next(p for p in result().pairs if {p.first, p.second} == {first, second})


def hub(check_name: str) -> Any:
    return next(h for h in result().hub if h.check == check_name)


def test_one_gap_and_two_hub_diameters_fail_and_all_else_clears() -> None:
    found = result()
    assert found.verdict is Verdict.FAILS
    fails = {(p.first, p.second) for p in found.pairs if p.verdict is Verdict.FAILS}
    assert {frozenset(names) for names in fails} == {frozenset(("caliper", "spokes"))}
    assert {h.check for h in found.hub if h.verdict is Verdict.FAILS} == {
        "rotor register",
        "housing in hat",
    }
    rest = [p for p in found.pairs if p.verdict is not Verdict.FAILS]
    assert {p.verdict for p in rest} == {Verdict.CLEARS}
    assert {h.verdict for h in found.hub} == {Verdict.FAILS, Verdict.CLEARS}


@pytest.mark.parametrize("names", KNOWN)
def test_true_gap_lies_within_the_stated_uncertainty(names: tuple[str, str]) -> None:
    found, true = pair(*names), GAPS[KNOWN[names]]["gap_mm"]
    assert found.estimate_mm.lower is not None
    assert found.estimate_mm.upper is not None
    assert found.estimate_mm.lower - found.expanded_uncertainty_mm <= true
    assert true <= found.estimate_mm.upper + found.expanded_uncertainty_mm


def test_closest_places_are_where_they_truly_are() -> None:
    spokes, barrel = pair("caliper", "spokes"), pair("caliper", "barrel")
    for found, name in ((spokes, "caliper–spokes"), (barrel, "caliper–barrel")):
        low, high = GAPS[name]["place"]["clock_deg"]
        assert low - 1.0 <= found.clock_deg <= high + 1.0
    # On the spokes' flat crest and along the barrel's, noise chooses the place.
    assert spokes.z_mm == pytest.approx(24.0, abs=0.1)  # the caliper's outboard face
    assert barrel.r_mm == pytest.approx(TRUE["caliper"]["outer_radius_mm"], abs=0.1)
    ring = pair("caliper", "rotor")
    assert min(ring.r_mm, TRUE["caliper"]["bridge_inner_radius_mm"]) == pytest.approx(175, abs=4)


def test_spacer_is_offered_that_truly_clears_the_spokes() -> None:
    cures = {cure.change: cure for cure in pair("caliper", "spokes").would_clear}
    spacer = cures["spacer"]
    missing = 4.0 - GAPS["caliper–spokes"]["gap_mm"]
    assert missing < spacer.amount_mm < missing + 1.2  # allowances and U come on top
    assert spacer.clears_all
    assert any("3 mm" in text for text in spacer.side_effects)


def test_bore_and_housing_are_to_be_machined_to_the_true_sizes() -> None:
    bore, housing = hub("rotor register").machine, hub("housing in hat").machine
    assert bore.part == "rotor hat"
    assert bore.to_diameter_mm == pytest.approx(TRUE["hub"]["rotor_register_diameter_mm"], abs=0.05)
    assert bore.per_side_mm == pytest.approx((70.0 - 64.0) / 2, abs=0.03)
    assert housing.part == "bearing housing"
    assert housing.to_diameter_mm == pytest.approx(TRUE["hub"]["housing_fits_at_diameter_mm"])
    excess = TRUE["hub"]["housing_in_hat_excess_on_diameter_mm"]
    assert 2 * housing.per_side_mm == pytest.approx(excess, abs=0.06)
    assert "micrometer" in hub("rotor register").gauge_first
    assert any("centres the wheel" in text for text in hub("rotor register").spoils)


@pytest.mark.parametrize(
    ("check_name", "shaft", "hole"),
    [
        ("rotor register", "rotor_register_diameter_mm", None),
        ("wheel register", "wheel_register_diameter_mm", "centre_bore_diameter_mm"),
        ("flange in hat", "hub_flange_diameter_mm", None),
        ("housing in hat", "housing_diameter_mm", None),
    ],
)
def test_hub_diameters_are_found_within_their_uncertainty(
    check_name: str, shaft: str, hole: str | None
) -> None:
    found = hub(check_name)
    assert abs(found.shaft_mm - TRUE["hub"][shaft]) <= found.shaft_uncertainty_mm
    if hole is not None:
        assert abs(found.hole_mm - TRUE["wheel"][hole]) <= found.hole_uncertainty_mm


def test_frames_are_those_of_the_construction() -> None:
    job = load_job(demo_job_file())
    frames = assemble(job.axles[0].corner, samples_folder()).frames
    for scan, frame in (("knuckle", "hub"), ("wheel", "wheel")):
        true = np.array(TRUE["poses"][scan]["hub_from_scan"])
        off = frames.hub_from_scan[scan] @ np.linalg.inv(true)
        move = off[:3, 3]
        turn = np.array([off[2, 1], off[0, 2], off[1, 0]])
        standard = np.sqrt(np.diag(frames.uncertainty[frame].covariance))
        # The wheel's own turn is free.  Eleven values, 3.5 standard uncertainties: 0.5 % by chance.
        known = 5 if scan == "wheel" else 6
        off_by = np.abs(np.concatenate([move, turn]))[:known] / standard[:known]
        assert off_by.max() < 3.5


def test_ways_of_the_demo_clear_and_their_gaps_are_the_true_ones() -> None:
    found = {one.name: one for one in result().access}
    assert len(found) == 7
    assert {one.verdict for one in found.values()} == {Verdict.CLEARS}

    def estimate(name: str) -> float:
        one = found[name]
        assert one.margin_mm is not None
        assert one.expanded_uncertainty_mm is not None
        return one.margin_mm + one.required_mm + one.expanded_uncertainty_mm

    # Socket Ø 27 from 1.5 mm behind the lug's face: the construction's own distance at points of
    # the cylinder, which uses no mesh and nothing of the program.
    angle = np.radians(np.arange(0.0, 360.0, 1.0))
    height = np.arange(-136.0, -253.0, -0.5)
    around, along = np.meshgrid(angle, height)
    for name, y in (("upper bracket bolt", 69.71), ("lower bracket bolt", -69.71)):
        points = np.stack(
            [-107.35 + 13.5 * np.cos(around), y + 13.5 * np.sin(around), along], axis=-1
        ).reshape(-1, 3)
        true = float(construction().knuckle(points).min())
        spread = found[name].expanded_uncertainty_mm
        assert estimate(name) == pytest.approx(true, abs=spread)
    wheel = "wheel over caliper and studs"  # it comes nearest when it sits
    true = GAPS["caliper–spokes"]["gap_mm"]
    assert estimate(wheel) == pytest.approx(true, abs=found[wheel].expanded_uncertainty_mm)


def test_what_else_would_fit_is_stopped_by_the_true_neighbours() -> None:
    found = {one.what: one for one in result().limits}
    assert set(found) == {"largest ring", "highest caliper", "widest caliper", "smallest rim"}
    # The true barrel gap is 5.48 mm where 3 are asked: no caliper can grow by more than the rest.
    spare = GAPS["caliper–barrel"]["gap_mm"] - 3.0
    assert 0.0 < found["highest caliper"].change_mm <= spare
    assert found["highest caliper"].stopped_by == "caliper and barrel"
    assert found["smallest rim"].change_mm == 0.0  # one size less takes 12.7 mm of radius


def test_with_weights_allowed_everywhere_the_barrel_fails() -> None:
    corner = load_job(demo_job_file()).axles[0].corner
    corner = replace(corner, weights=BalanceWeights("anywhere"))
    found = assemble(corner, samples_folder())
    chosen = [p for p in found.pairs if {p.first, p.second} == {"caliper", "barrel"}]
    cures = replace(
        found.settings.cures,
        spacer_most_mm=0.0,
        caliper_inward_most_mm=0.0,
        trim_most_mm=0.0,
        rotor_offset_most_mm=0.0,
        smaller_rotor_most_mm=0.0,
    )
    (barrel,) = judge_pairs(
        found.placed.parts,
        chosen,
        replace(found.settings, cures=cures),
        frames_uncertainty=found.placed.uncertainty,
    )
    assert barrel.verdict is Verdict.FAILS
    with_weights = GAPS["caliper–barrel"]["with_weights_mm"]
    run_out = 0.3  # the job's own allowance, radial
    assert barrel.net_gap_mm.lower == pytest.approx(with_weights - run_out, abs=0.15)


def test_posed_tie_rod_and_the_unscanned_side_are_told() -> None:
    told = " ".join(result().not_checked)
    assert "tie rod in any position but the scanned one" in told
    assert "right side" in told
    assert any(f.code == "posed-part" for f in result().findings)
