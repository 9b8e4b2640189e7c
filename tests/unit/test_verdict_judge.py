"""Pairs judged end to end on simple shapes with closed-form gaps."""

import math

import numpy as np
import pytest

from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.errors import Cancelled, InputError
from clearturn.job.judging import AllowanceEntry, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.result import Motion, PlacedPart, Verdict
from clearturn.verdict import judge_pairs


def tube(profile, turns=48):
    """A closed body of revolution from a closed (r, z) polygon, counter-clockwise."""
    p = np.asarray(profile, float)
    a = 2 * np.pi * np.arange(turns) / turns
    points = np.concatenate(
        [np.stack([r * np.cos(a), r * np.sin(a), np.full(turns, z)], axis=1) for r, z in p]
    )
    faces = []
    for i in range(len(p)):
        j = (i + 1) % len(p)
        for k in range(turns):
            m = (k + 1) % turns
            q = [i * turns + k, i * turns + m, j * turns + m, j * turns + k]
            faces += [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]
    return Mesh(points, faces)


def block(low, high):
    x = np.array([[a, b, c] for a in (0, 1) for b in (0, 1) for c in (0, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Mesh(np.asarray(low) + x * (np.asarray(high) - low), faces)


def ring_wheel(inner=205.0, low=-60.0, high=60.0):
    return tube([(inner, low), (inner + 6, low), (inner + 6, high), (inner, high)], 240)


CALIPER = block([150, -30, -20], [190, 30, 20])  # corner radius √(190² + 30²)
CORNER = math.hypot(190, 30)
# Facets of the barrel: 240 chords read short by R(1 − cos(π/n)) where a flat faces the corner.
SAG = 205 * (1 - math.cos(math.pi / 240))
TRUE = 205 - CORNER


def placed(name, kind, motion, mesh, sigma=0.0, source="dimensions"):
    return PlacedPart(name, kind, motion, mesh, source, sigma)


def corner():
    return [
        placed("caliper", "caliper", Motion.FIXED, CALIPER),
        placed("barrel", "barrel", Motion.TURNS, ring_wheel()),
    ]


def spec(required, **more):
    return PairSpec("caliper", "barrel", "caliper–barrel", "turning", required, **more)


def judge(required, allowances=(), parts=None, **more):
    (one,) = judge_pairs(
        parts or corner(), [spec(required)], VerdictSettings(allowances=tuple(allowances)), **more
    )
    return one


def test_gap_of_a_box_corner_in_a_barrel_is_the_closed_form():
    one = judge(3.0)
    assert TRUE - SAG - 1e-3 <= one.gap.gap_mm.lower <= one.gap.gap_mm.upper <= TRUE + 1e-9
    assert one.verdict is Verdict.CLEARS
    assert one.noise_bias_mm == 0.0
    assert one.r_mm == pytest.approx(CORNER, abs=1e-6)
    # Corners at x = 190, y = ±30: clock 90° ∓ atan(30/190).
    expected = [90 - math.degrees(math.atan2(s * 30, 190)) for s in (1, -1)]
    assert min(abs(one.clock_deg - e) for e in expected) < 1e-6
    assert -20 <= one.z_mm <= 20


def test_margin_is_net_minus_uncertainty_minus_required():
    allowances = [
        AllowanceEntry("run-out", 0.5, "radial", "always costs", "by hand", "barrel"),
        AllowanceEntry("scanner", 0.06, "gap", "random", "by hand", "barrel"),
    ]
    one = judge(3.0, allowances)
    assert one.allowances_mm == pytest.approx(0.5, abs=1e-6)
    assert one.net_gap_mm.lower == pytest.approx(one.estimate_mm.lower - one.allowances_mm)
    u = math.hypot(0.06 / math.sqrt(3), one.gap.gap_mm.width / 2 / math.sqrt(3))
    assert one.expanded_uncertainty_mm == pytest.approx(2 * u, rel=1e-9)
    assert one.margin_mm == pytest.approx(one.net_gap_mm.lower - one.expanded_uncertainty_mm - 3.0)
    # Worst case: limits whole instead of root sum of squares.
    assert one.worst_case_mm == pytest.approx(
        one.net_gap_mm.lower - 0.06 - one.gap.gap_mm.width / 2
    )


@pytest.mark.parametrize("k", [2.0, 1.65])
def test_each_boundary_of_the_verdict_from_both_sides(k):
    scanner = AllowanceEntry("scanner", 0.3, "gap", "random", "by hand", "barrel")
    settings = VerdictSettings(allowances=(scanner,), coverage_factor=k)
    (one,) = judge_pairs(corner(), [spec(3.0)], settings)
    low = one.net_gap_mm.lower - one.expanded_uncertainty_mm
    high = one.net_gap_mm.upper + one.expanded_uncertainty_mm
    for required, verdict in (
        (low - 1e-6, Verdict.CLEARS),
        (low + 1e-6, Verdict.NOT_PROVEN),
        (high - 1e-6, Verdict.NOT_PROVEN),
        (high + 1e-6, Verdict.FAILS),
    ):
        (again,) = judge_pairs(corner(), [spec(required)], settings)
        assert again.verdict is verdict
        assert (again.settle_by is not None) == (verdict is Verdict.NOT_PROVEN)


def test_not_proven_names_the_measurement_and_its_place():
    scanner = AllowanceEntry("scanner", 0.5, "gap", "random", "by hand", "barrel")
    one = judge(TRUE - 0.2, [scanner])
    assert one.verdict is Verdict.NOT_PROVEN
    assert "feeler" in one.settle_by
    assert f"r {CORNER:.1f} mm" in one.settle_by
    assert f"clock {one.clock_deg:.0f}°" in one.settle_by
    assert "plate" in one.settle_by  # parts from dimensions are not there yet
    needed = TRUE - 0.2 + 2 * 0.05 / math.sqrt(3)
    assert f"from {needed:.2f} mm" in one.settle_by
    assert "scanner" in one.settle_by


def test_datum_uncertainty_is_projected_on_the_gap():
    # 0.02 mm radial and 0.1 mrad about y: at r 192, z 0 the turn moves along z only.
    covariance = np.diag([0.02**2, 0.02**2, 0.5**2, 0, 1e-8, 0])
    frames = {"barrel": FrameUncertainty("wheel", covariance, "by hand")}
    one = judge(3.0, frames_uncertainty=frames)
    (line,) = [b for b in one.budget if "datums" in b.name]
    n = one.gap.direction
    arm = np.cross(one.gap.first_point_mm, n)
    expected = math.sqrt(
        (0.02 * n[0]) ** 2 + (0.02 * n[1]) ** 2 + (0.5 * n[2]) ** 2 + (1e-4 * arm[1]) ** 2
    )
    assert line.standard_mm == pytest.approx(expected)


def test_parts_of_one_frame_share_its_error_and_lose_it():
    one_frame = FrameUncertainty("hub", np.eye(6), "by hand")
    one = judge(3.0, frames_uncertainty={"barrel": one_frame, "caliper": one_frame})
    assert not [b for b in one.budget if "datums" in b.name]


def test_posed_part_says_that_one_position_was_judged():
    parts = [
        placed("tie rod", "tie rod", Motion.POSED, CALIPER),
        placed("barrel", "barrel", Motion.TURNS, ring_wheel()),
    ]
    (one,) = judge_pairs(
        parts, [PairSpec("tie rod", "barrel", "turning–posed", "turning", 5.0)], VerdictSettings()
    )
    assert "one-position-only" in {f.code for f in one.findings}


def test_interfering_pair_fails_and_allowances_still_cost():
    parts = corner()
    parts[0] = placed("caliper", "caliper", Motion.FIXED, block([150, -30, -20], [206, 30, 20]))
    one = judge(3.0, [AllowanceEntry("run-out", 0.4, "gap", "always costs", "x", "barrel")], parts)
    assert one.verdict is Verdict.FAILS
    assert one.net_gap_mm.upper < -0.4
    assert one.gap.state == "interfering"


def test_parts_that_cross_far_fail_however_wide_their_depth_is_known():
    # A bar through a tube's wall: free only after a long way, so the depth's interval is wide.
    parts = corner()
    parts[0] = placed("caliper", "caliper", Motion.FIXED, block([150, -30, -20], [250, 30, 20]))
    found = judge(1.0, [], parts)
    assert found.gap.state == "interfering"
    assert found.gap.gap_mm.width > 10.0
    assert found.expanded_uncertainty_mm < 1.0
    assert found.verdict is Verdict.FAILS


def test_excluded_seat_faces_are_left_out_for_this_pair_only():
    # The block reaches through the seat plane; without its top faces the rest is 9 mm away.
    low = placed("plate", "bracket", Motion.FIXED, block([0, 0, 0], [40, 40, 1]))
    high = placed("lug", "knuckle", Motion.FIXED, block([0, 0, 1], [40, 40, 30]))
    top = np.flatnonzero((low.mesh.corners[:, :, 2] > 0.5).all(axis=1))
    bottom = np.flatnonzero((high.mesh.corners[:, :, 2] < 1.5).all(axis=1))
    pair = PairSpec(
        "plate", "lug", "other fixed pair", "still", 2.0,
        excluded_first=np.concatenate([top, side_faces(low.mesh)]),
        excluded_second=np.concatenate([bottom, side_faces(high.mesh)]),
    )  # fmt: skip
    (one,) = judge_pairs([low, high], [pair], VerdictSettings())
    assert one.gap.gap_mm.upper == pytest.approx(30.0, abs=1e-3)


def side_faces(mesh):
    normal = np.cross(
        mesh.corners[:, 1] - mesh.corners[:, 0], mesh.corners[:, 2] - mesh.corners[:, 0]
    )
    return np.flatnonzero(np.abs(normal[:, 2]) < 1e-9)


def test_nothing_left_of_a_part_is_refused():
    with pytest.raises(InputError, match="nothing of this part is left"):
        judge_pairs(corner(), [spec(3.0, excluded_first=np.arange(12))], VerdictSettings())


def test_unknown_part_is_named():
    with pytest.raises(InputError, match="'barrel'"):
        judge_pairs(corner()[:1], [spec(3.0)], VerdictSettings())


def test_coverage_factor_outside_the_list_is_refused():
    with pytest.raises(InputError, match="coverage factor"):
        judge_pairs(corner(), [spec(3.0)], VerdictSettings(coverage_factor=3.0))


def test_no_pairs_no_results():
    assert judge_pairs(corner(), [], VerdictSettings()) == ()


def test_cancelling_stops():
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        judge_pairs(corner(), [spec(3.0)], VerdictSettings(), progress=progress)


def test_worst_place_changes_with_temperature():
    # Cold, the hat side is nearest (5.2 axial against 5.3 radial); hot, the ring's growth of
    # 0.9975 mm makes the radial place the worse one: 5.3 − 0.9975 < 5.2 − 0.0969.
    from clearturn.verdict import physics

    ring = tube([(111, -55), (175, -55), (175, -21), (111, -21)], 720)
    knuckle = block([120, -10, -80.2], [150, 10, -60.2])  # 5.2 mm below the ring
    arm = block([180.3, -10, -45], [190, 10, -30])  # 5.3 mm outside it
    both = Mesh(
        np.concatenate([knuckle.vertices, arm.vertices]),
        np.concatenate([knuckle.faces, arm.faces + 8]),
    )
    parts = [
        placed("rotor", "rotor", Motion.TURNS, ring),
        placed("knuckle", "knuckle", Motion.FIXED, both),
    ]
    pair = PairSpec("rotor", "knuckle", "rotor–knuckle", "turning", 5.0)
    hot = physics.thermal_growth(
        ring_radius_mm=175, ring_thickness_mm=34, hat_offset_mm=38,
        ring_material="iron", hat_material="aluminium", ring_rise_k=500, hat_rise_k=0,
    )  # fmt: skip
    (cold,) = judge_pairs(parts, [pair], VerdictSettings())
    (warm,) = judge_pairs(parts, [pair], VerdictSettings(allowances=hot))
    assert cold.net_gap_mm.upper == pytest.approx(5.2, abs=1e-3)
    assert cold.z_mm == pytest.approx(-60.2, abs=1e-3)
    assert warm.net_gap_mm.upper == pytest.approx(5.3 - 0.9975, abs=3e-3)
    assert warm.r_mm == pytest.approx(180.3, abs=0.3)
    assert warm.net_gap_mm.lower == pytest.approx(
        warm.estimate_mm.lower - warm.allowances_mm, abs=1e-12
    )
    assert sum(a.applied_mm for a in warm.allowances) == pytest.approx(warm.allowances_mm)


# -- places -------------------------------------------------------------------------------------


def test_separate_places_are_told_apart_with_area_and_position():
    # Two pads of a caliper under a barrel: 4.0 and 4.5 mm away, each 20 × 20 mm, flat sides along
    # the axis; a band 40 mm further off joins nothing.
    near = block([150, -10, -40], [201 - 0.0, 10, -20])
    far = block([150, -10, 20], [200.5, 10, 40])
    both = Mesh(
        np.concatenate([near.vertices, far.vertices]),
        np.concatenate([near.faces, far.faces + 8]),
    )
    parts = corner()
    parts[0] = placed("caliper", "caliper", Motion.FIXED, both)
    one = judge(6.0, parts=parts)
    assert one.verdict is Verdict.FAILS
    assert len(one.places) == 2
    first, second = one.places
    assert first.worst_mm < second.worst_mm
    assert first.worst_mm == pytest.approx(205 - math.hypot(201, 10), abs=0.03)
    assert second.worst_mm == pytest.approx(205 - math.hypot(200.5, 10), abs=0.03)
    assert -40 <= first.z_mm <= -20
    assert 20 <= second.z_mm <= 40
    assert set(first.faces) <= set(range(12))
    assert set(second.faces) <= set(range(12, 24))
    # The upper faces (x = 201, 20 × 20 mm) lie below 6 mm whole; of the side faces a strip of
    # about r from 199 up.
    assert 400 <= first.area_mm2 <= 400 + 4 * 20 * 3 + 60


def test_a_pair_that_clears_has_no_places():
    assert judge(3.0).places == ()
