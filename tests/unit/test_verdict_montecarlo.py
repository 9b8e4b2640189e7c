"""Monte Carlo on the exact engine against closed forms (JCGM 101: propagation of distributions)."""

import math

import numpy as np
import pytest

from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.errors import Cancelled
from clearturn.job.judging import AllowanceEntry, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.result import Motion, PlacedPart
from clearturn.verdict.montecarlo import scatter_of

TRIALS = 800
BARREL_MM = 205.0


def barrel(turns=720):
    a = 2 * np.pi * np.arange(turns) / turns
    ring = np.stack([BARREL_MM * np.cos(a), BARREL_MM * np.sin(a), 0 * a], axis=1)
    points = np.concatenate([ring + np.array([0, 0, z]) for z in (-40.0, 40.0)])
    k, m = np.arange(turns), (np.arange(turns) + 1) % turns
    inner = np.concatenate(  # normals towards the axis: the room inside is air
        [np.stack([k, m + turns, m], axis=1), np.stack([k, k + turns, m + turns], axis=1)]
    )
    return PlacedPart("barrel", "barrel", Motion.TURNS, Mesh(points, inner), "scan")


def block(low, high):
    x = np.array([[a, b, c] for a in (0, 1) for b in (0, 1) for c in (0, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Mesh(np.asarray(low) + x * (np.asarray(high, float) - low), faces)


def pip(sign=1.0):
    low, high = [150, -0.5, -0.5], [200, 0.5, 0.5]
    mesh = block(low, high)
    return mesh.moved(np.diag([sign, sign, 1.0, 1.0]))


def fixed(mesh):
    return PlacedPart("caliper", "caliper", Motion.FIXED, mesh, "dimensions")


def run(mesh, covariance, allowances=(), trials=TRIALS, **more):
    frames = {"caliper": FrameUncertainty("hub", np.asarray(covariance, float), "by hand")}
    pair = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 4.5)
    return scatter_of(
        [fixed(mesh), barrel()], [pair], VerdictSettings(allowances=tuple(allowances)),
        frames_uncertainty=frames, trials=trials, **more,
    )  # fmt: skip


def test_one_place_scatters_as_the_linear_budget_says():
    scanner = AllowanceEntry("scanner", 0.1, "gap", "random", "by hand", "barrel")
    (one,) = run(pip(), np.diag([0.08**2, 0, 0, 0, 0, 0]), [scanner]).pairs
    expected = math.hypot(0.08, 0.1 / math.sqrt(3))
    assert one.linear_standard_mm == pytest.approx(expected, rel=1e-3)
    assert one.standard_mm == pytest.approx(expected, rel=4 / math.sqrt(2 * TRIALS))
    true = BARREL_MM - math.hypot(200, 0.5)
    assert one.mean_mm == pytest.approx(true, abs=4 * expected / math.sqrt(TRIALS) + 0.003)
    assert one.below_required == 0.0
    assert one.places[0].share == 1.0
    assert one.places[0].clock_deg == pytest.approx(90, abs=0.2)


def test_two_places_compete_and_the_least_is_a_half_normal():
    # Pips on both sides: moving the part by x leaves g − |x|; E|x| = σ√(2/π), sd σ√(1 − 2/π).
    both = Mesh(
        np.concatenate([pip().vertices, pip(-1).vertices]),
        np.concatenate([pip().faces, pip(-1).faces + 8]),
    )
    sigma = 0.1
    (one,) = run(both, np.diag([sigma**2, 0, 0, 0, 0, 0])).pairs
    true = BARREL_MM - math.hypot(200, 0.5)
    spread = sigma * math.sqrt(1 - 2 / math.pi)
    assert one.mean_mm == pytest.approx(
        true - sigma * math.sqrt(2 / math.pi), abs=4 * spread / math.sqrt(TRIALS) + 0.003
    )
    assert one.standard_mm == pytest.approx(spread, rel=0.12)
    assert one.linear_standard_mm == pytest.approx(sigma, rel=1e-3)  # the budget sees one place
    shares = [p.share for p in one.places]
    assert shares == pytest.approx([0.5, 0.5], abs=4 * 0.5 / math.sqrt(TRIALS))


def test_share_below_requirement_is_the_normal_probability():
    # Requirement 4.5 against 5.0 − 0.4 of run-out with σ 0.1: Φ(−1) = 0.1587 of trials.
    true = BARREL_MM - math.hypot(200, 0.5)
    costs = AllowanceEntry("run-out", true - 4.6, "gap", "always costs", "by hand", "barrel")
    found = run(pip(), np.diag([0.1**2, 0, 0, 0, 0, 0]), [costs])
    (one,) = found.pairs
    assert one.below_required == pytest.approx(0.1587, abs=4 * math.sqrt(0.16 * 0.84 / TRIALS))
    assert found.any_below == one.below_required
    assert found.worst_pair == (("caliper and barrel", 1.0),)


def test_eccentricity_never_gains_in_any_trial():
    covariance = np.diag([0.05**2, 0.05**2, 0.05**2, 1e-8, 1e-8, 1e-8])
    plain = run(pip(), covariance, trials=200)
    run_out = AllowanceEntry("run-out", 0.3, "radial", "always costs", "by hand", "barrel")
    eccentric = run(pip(), covariance, [run_out], trials=200)
    gained = eccentric.pairs[0].net_mm - plain.pairs[0].net_mm
    assert (gained <= 0).all()
    assert gained.mean() == pytest.approx(-0.3, abs=1e-3)


def test_turn_of_a_datum_acts_with_its_arm():
    # A turn about z leaves a barrel alone, one about y lifts the pip's end by arm·angle along z.
    (still,) = run(pip(), np.diag([0, 0, 0, 0, 0, 1e-6]), trials=60).pairs
    assert still.standard_mm < 1e-3


def test_same_seed_same_answer_and_another_seed_another():
    covariance = np.diag([0.05**2] * 3 + [0] * 3)
    one = run(pip(), covariance, trials=60, seed=3).pairs[0].net_mm
    two = run(pip(), covariance, trials=60, seed=3).pairs[0].net_mm
    other = run(pip(), covariance, trials=60, seed=4).pairs[0].net_mm
    assert (one == two).all()
    assert (one != other).any()


def test_exact_datums_do_not_scatter():
    (one,) = run(pip(), np.zeros((6, 6)), trials=20).pairs
    assert one.standard_mm < 1e-3


def test_pairs_far_beyond_their_requirement_are_left_out():
    pair = PairSpec("caliper", "barrel", "caliper–barrel", "turning", 1.0)
    found = scatter_of([fixed(pip()), barrel()], [pair], VerdictSettings(), trials=10)
    assert found.pairs == ()
    assert found.any_below == 0.0


def test_still_pairs_scatter_too():
    low = PlacedPart("bracket", "bracket", Motion.FIXED, block([0, 0, 0], [9, 9, 9]), "dimensions")
    high = PlacedPart("knuckle", "knuckle", Motion.FIXED, block([0, 0, 11], [9, 9, 15]), "scan")
    pair = PairSpec("bracket", "knuckle", "other fixed pair", "still", 2.0)
    frames = {"knuckle": FrameUncertainty("hub", np.diag([0, 0, 0.05**2, 0, 0, 0]), "by hand")}
    (one,) = scatter_of(
        [low, high], [pair], VerdictSettings(), frames_uncertainty=frames, trials=400
    ).pairs
    assert one.mean_mm == pytest.approx(2.0, abs=4 * 0.05 / 20)
    assert one.standard_mm == pytest.approx(0.05, rel=0.15)
    assert one.below_required == pytest.approx(0.5, abs=0.1)


def test_cancelling_stops():
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        run(pip(), np.eye(6) * 1e-6, progress=progress)
