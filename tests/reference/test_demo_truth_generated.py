"""The generated knuckles and wheels are what their truth says."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

PATH = Path(__file__).with_name("generated_corners.py")
spec = importlib.util.spec_from_file_location("generated_corners", PATH)
generated = importlib.util.module_from_spec(spec)
sys.modules["generated_corners"] = generated
spec.loader.exec_module(generated)

# A few stand for all here; every seed was checked the same way when they were fixed.
KNUCKLES = generated.KNUCKLE_SEEDS[3:5]
WHEELS = generated.WHEEL_SEEDS[7:8]


def in_part(one):
    pose = one.part_from_scan
    return one.vertices @ pose[:3, :3].T + pose[:3, 3]


def near(values, stated, sigma, least=40):
    """Most vertices round a stated size lie within three sigma of it; their mean lies on it."""
    off = values - stated
    close = np.abs(off) < 8 * sigma
    assert close.sum() >= least
    assert abs(np.median(off[close])) < 1.5 * sigma
    assert (np.abs(off[close]) < 3.5 * sigma).mean() > 0.95


def check_knuckle(one):
    p = in_part(one)[np.unique(one.faces[~one.stray])]
    sigma, f = one.drawn["sigma_mm"], one.features
    r, z = np.hypot(p[:, 0], p[:, 1]), p[:, 2]
    face = (r > f["hub face"]["r_mm"][0] + 3) & (r < f["hub face"]["r_mm"][1] - 3)
    near(z[face & (np.abs(z) < 1)], 0.0, sigma)
    for name in ("rotor register", "hub flange rim", "bearing housing"):
        low, high = f[name]["z_mm"]
        band = (z > low + 2) & (z < high - 2)
        own = r[band & (np.abs(r - f[name]["radius_mm"]) < 1)]
        # a stepped register is two rows of vertices high
        near(own, f[name]["radius_mm"], sigma, 10 if name == "rotor register" else 40)
    for centre in f["lugs"]["centres_mm"]:
        away = np.hypot(p[:, 0] - centre[0], p[:, 1] - centre[1])
        bore = f["lugs"]["bore_radius_mm"]
        inside = (z < centre[2] - 2) & (z > centre[2] - 12)
        assert away[inside].min() > bore - 6 * sigma
        close = inside & (np.abs(away - bore) < 6 * sigma)
        # holes may have taken much of one; what is left lies on the bore
        assert not close.any() or abs(np.median(away[close]) - bore) < 2 * sigma
    split = f["turns above z_mm"]
    middle = in_part(one)[one.faces].mean(axis=1)
    assert np.array_equal(one.turns, middle[:, 2] > split)


def check_wheel(one):
    p = in_part(one)[np.unique(one.faces[~one.stray])]
    sigma, f = one.drawn["sigma_mm"], one.features
    r, z = np.hypot(p[:, 0], p[:, 1]), p[:, 2]
    low, high = f["pad"]["r_mm"]
    near(z[(r > low + 2) & (r < high - 3) & (np.abs(z) < 1)], 0.0, sigma)
    bore = f["centre bore"]["radius_mm"]
    near(r[(z > 3) & (z < 18) & (np.abs(r - bore) < 1)], bore, sigma)
    z0, z1 = f["barrel"]["z_mm"]
    rim = f["rim"]["specified_diameter_mm"] / 2
    # bead seats stand at the specified diameter beside both flanges (their corners rounded 4 mm)
    for seat in ((z > z0 + 6) & (z < z0 + 10), (z > z1 - 10) & (z < z1 - 6)):
        outer = r[seat & (r > rim - 2)]
        assert np.median(outer) == pytest.approx(rim, abs=0.6)
    assert (p[:, 2].min(), r.max()) == pytest.approx((z0 - 13, rim + 17.5), abs=0.5)


@pytest.mark.parametrize("seed", KNUCKLES)
def test_a_knuckle_is_what_its_truth_says(seed):
    check_knuckle(generated.knuckle(seed))


@pytest.mark.slow
@pytest.mark.parametrize("seed", WHEELS)
def test_a_wheel_is_what_its_truth_says(seed):
    check_wheel(generated.wheel(seed))


def test_the_same_seed_gives_the_same_scan():
    seed = generated.KNUCKLE_SEEDS[3]
    one = generated.knuckle(seed)
    generated.knuckle.cache_clear()
    two = generated.knuckle(seed)
    assert np.array_equal(one.vertices, two.vertices)
    assert np.array_equal(one.faces, two.faces)
    assert one.features == two.features


def test_points_go_to_the_scan_and_back():
    one = generated.knuckle(KNUCKLES[0])
    points = np.array([[0.0, 0.0, 0.0], [10.0, -20.0, 30.0]])
    pose = one.part_from_scan
    back = one.in_scan(points) @ pose[:3, :3].T + pose[:3, 3]
    np.testing.assert_allclose(back, points, atol=1e-10)
    assert np.linalg.det(pose[:3, :3]) == pytest.approx(1.0)


def test_the_set_is_varied():
    drawn = [generated.draw_knuckle(np.random.default_rng(s)) for s in generated.KNUCKLE_SEEDS]
    assert {d["fixings"] for d in drawn} == {"studs", "threaded holes"}
    assert {d["stepped"] for d in drawn} == {True, False}
    assert len({d["count"] for d in drawn}) == 3
    bigger = [d["housing_radius"] > d["flange_radius"] for d in drawn]
    assert any(bigger)
    assert not all(bigger)
    wheels = [generated.draw_wheel(np.random.default_rng(s)) for s in generated.WHEEL_SEEDS]
    assert len({d["code"] for d in wheels}) >= 5
    assert {d["kind"] for d in wheels} == {"spokes", "disc with round holes"}
    assert any(d["unseen_deg"] > 100 for d in wheels)
