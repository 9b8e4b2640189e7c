"""The spin axis of surfaces of revolution, from themselves."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from places import REAL_MESHES
from scipy.spatial.transform import Rotation

from clearturn.datum import compare_axes, fit_cylinder, fit_plane, spin_axis
from clearturn.errors import FitProblem, InputError
from clearturn.mesh import Mesh, join

REAL = REAL_MESHES / "wheel_truck.obj"
# A barrel's inside with its well and two humps, mm.
BARREL = [(225.0, -120), (214, -108), (214, -80), (200, -66), (199, -20), (212, -5), (214, 60)]


def turned(
    profile: list[tuple[float, float]],
    step: float,
    around: int,
    noise: float = 0.0,
    keep: tuple[float, float] = (0.0, 360.0),
    seed: int = 1,
) -> Mesh:
    rng = np.random.default_rng(seed)
    line = [np.array(profile[0], float)[None]]
    for p, q in itertools.pairwise(profile):
        a, b = np.array(p, float), np.array(q, float)
        count = max(1, round(float(np.linalg.norm(b - a)) / step))
        line.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    rz = np.concatenate(line)
    turn = np.arange(around) * 2 * math.pi / around
    points = np.stack(
        [
            rz[:, None, 0] * np.cos(turn),
            rz[:, None, 0] * np.sin(turn),
            np.broadcast_to(rz[:, None, 1], (len(rz), around)),
        ],
        axis=2,
    ).reshape(-1, 3)
    points = points + rng.normal(0, noise, points.shape)
    i, j = np.meshgrid(np.arange(len(rz) - 1), np.arange(around), indexing="ij")
    a, b = i * around + j, i * around + (j + 1) % around
    faces = np.concatenate(
        [
            np.stack([a, b, a + around], -1).reshape(-1, 3),
            np.stack([b, b + around, a + around], -1).reshape(-1, 3),
        ]
    )
    degrees = np.concatenate([j.ravel(), j.ravel()]) * 360.0 / around
    inside = (degrees >= keep[0]) & (degrees < keep[1])
    return Mesh(points, faces[inside])


def spokes(count: int, height: float) -> Mesh:
    """Slanted slabs from r = 80 to 190, nothing about them a surface of revolution."""
    parts = []
    for k in range(count):
        u, v = np.meshgrid(np.linspace(80, 190, 40), np.linspace(-15, 15, 12), indexing="ij")
        slab = np.stack([u, v, height + 0.25 * v + 0.0012 * (u - 80) ** 2], axis=2).reshape(-1, 3)
        turn = Rotation.from_euler("z", 360.0 * k / count + 5.0 * (k % 2), degrees=True)
        i, j = np.meshgrid(np.arange(39), np.arange(11), indexing="ij")
        a = (i * 12 + j).ravel()
        faces = np.concatenate([np.stack([a, a + 12, a + 13], 1), np.stack([a, a + 13, a + 1], 1)])
        parts.append(Mesh(turn.apply(slab), faces))
    return join(parts)


def random_pose(seed: int) -> np.ndarray:
    pose = np.eye(4)
    pose[:3, :3] = Rotation.random(random_state=seed).as_matrix()
    pose[:3, 3] = np.random.default_rng(seed).uniform(-400, 400, 3)
    return pose


def off_axis(axis: object, pose: np.ndarray, at_z: float = 0.0) -> tuple[float, float]:
    """Distance of the found axis from the true one at a height, and the angle between them."""
    point, direction = (
        pose[:3, :3].T @ (axis.point_mm - pose[:3, 3]),
        pose[:3, :3].T @ (axis.direction),
    )
    along = (at_z - point[2]) / direction[2]
    place = point + along * direction
    return float(np.hypot(*place[:2])), float(np.hypot(*direction[:2]))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_axis_of_an_exact_surface_at_any_pose(seed: int) -> None:
    pose = random_pose(seed)
    axis = spin_axis(turned(BARREL, 3.0, 240).moved(pose))
    offset, tilt = off_axis(axis, pose)
    assert offset < 1e-5
    assert tilt < 1e-7
    assert axis.arc_deg == 360.0
    assert axis.share > 0.9


def test_noisy_barrel_with_thirty_percent_missing() -> None:
    pose = random_pose(5)
    mesh = turned(BARREL, 2.0, 500, noise=0.03, keep=(40.0, 292.0)).moved(pose)
    axis = spin_axis(mesh)
    offset, tilt = off_axis(axis, pose)
    sure = np.sqrt(np.diag(axis.covariance))
    assert offset < 4 * sure[:2].max() + 4 * sure[2:].max() * 60
    assert tilt < 4 * sure[2:].max()
    assert offset < 0.01
    assert axis.arc_deg == pytest.approx(252.0, abs=3)
    assert axis.scale_mm == pytest.approx(0.03, rel=0.1)  # the noise put in


def test_spokes_do_not_pull_the_axis() -> None:
    pose = random_pose(6)
    # Seven of ten spokes, so that they do not cancel out.
    mesh = join([turned(BARREL, 3.0, 300, noise=0.02), spokes(7, 30.0)]).moved(pose)
    offset, tilt = off_axis(spin_axis(mesh), pose)
    assert offset < 0.01
    assert tilt < 1e-4
    # What a naive fit does with the same wheel: one cylinder through everything.
    naive = fit_cylinder(mesh.vertices, axis_hint=pose[:3, 2], correlation=False)
    assert off_axis(naive, pose)[0] > 0.2


def test_stated_uncertainty_matches_the_scatter() -> None:
    offsets, tilts, stated = [], [], []
    for seed in range(10):
        axis = spin_axis(turned(BARREL, 7.0, 120, noise=0.03, seed=seed), hint=(0, 0, 1))
        point, direction = axis.point_mm, axis.direction * np.sign(axis.direction[2])
        offsets += [point[0], point[1]]
        tilts += [direction[0], direction[1]]
        stated.append(np.sqrt(np.diag(axis.covariance)))
    mean = np.mean(stated, axis=0)
    # 20 values each: their scatter is known to about 16 %.
    assert 0.5 < float(np.std(offsets)) / mean[:2].mean() < 1.6
    assert 0.5 < float(np.std(tilts)) / mean[2:].mean() < 1.6


def test_three_ways_to_one_axis_agree_and_a_bent_pad_does_not() -> None:
    rng = np.random.default_rng(41)
    barrel = spin_axis(turned(BARREL, 3.0, 300, noise=0.03))
    turn = rng.uniform(0, 2 * math.pi, (2, 800))
    bore = fit_cylinder(
        np.column_stack(
            [
                (35 + rng.normal(0, 0.03, 800)) * np.cos(turn[0]),
                (35 + rng.normal(0, 0.03, 800)) * np.sin(turn[0]),
                rng.uniform(0, 20, 800),
            ]
        ),
        axis_hint=(0, 0, 1),
    )
    r = rng.uniform(40, 75, 800)
    flat = np.column_stack([r * np.cos(turn[1]), r * np.sin(turn[1]), rng.normal(0, 0.03, 800)])
    pad = fit_plane(flat)
    found = compare_axes({"barrel": barrel, "centre bore": bore, "pad": pad}, (0, 0, 0))
    assert [(d.first, d.second) for d in found] == [
        ("barrel", "centre bore"),
        ("barrel", "pad"),
        ("centre bore", "pad"),
    ]
    assert all(d.agree for d in found)
    assert found[1].offset_mm is None
    bent = fit_plane(flat + flat[:, :1] * np.array([0, 0, 0.003]))
    off = compare_axes({"barrel": barrel, "pad": bent}, (0, 0, 0))[0]
    assert off.tilt_rad == pytest.approx(0.003, abs=2e-4)
    assert not off.agree
    with pytest.raises(InputError, match="two datums"):
        compare_axes({"barrel": barrel}, (0, 0, 0))


def test_surfaces_without_one_axis_are_refused_or_told() -> None:
    plane = turned([(60.0, 0.0), (20.0, 0.0)], 2.0, 100)
    with pytest.raises(FitProblem):
        spin_axis(plane)
    turn = np.linspace(-math.pi / 2, math.pi / 2, 60)
    ball = turned([(50 * math.cos(t), 50 * math.sin(t)) for t in turn], 9.0, 120)
    with pytest.raises(FitProblem):
        spin_axis(ball)
    with pytest.raises(FitProblem, match="too few triangles"):
        spin_axis(Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]]))


@pytest.mark.skipif(not REAL.exists(), reason="the real meshes are not on this machine")
@pytest.mark.parametrize("seed", [11, 12])
def test_axis_of_a_real_wheel_at_a_random_pose(seed: int) -> None:
    # chrono's truck rim (BSD-3-Clause): modelled about y through x = z = 0 within 0.1 mm.
    from clearturn.scan import read_scan

    mesh = read_scan(REAL, unit="m").mesh
    pose = random_pose(seed)
    axis = spin_axis(mesh.moved(pose))
    point = pose[:3, :3].T @ (axis.point_mm - pose[:3, 3])
    direction = pose[:3, :3].T @ axis.direction
    assert abs(direction[1]) == pytest.approx(1.0, abs=1e-8)
    assert np.hypot(point[0], point[2]) < 0.15
