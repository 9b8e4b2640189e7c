"""Patches grow over smooth surface and stop at edges, on clean and on noisy meshes."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from clearturn.datum import fit_cylinder, fit_plane, grow_patch
from clearturn.datum.grow import surface
from clearturn.errors import Cancelled, FitProblem, InputError
from clearturn.mesh import Mesh
from clearturn.progress import Progress


def turned(profile: list[tuple[float, float]], step: float, around: int, noise: float) -> Mesh:
    """A surface of revolution about z, its outline cut into steps, normals to the left of it."""
    rng = np.random.default_rng(1)
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
    c, d = a + around, b + around
    faces = np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([b, d, c], -1).reshape(-1, 3)]
    )
    return Mesh(points, faces)


HUB = [(74.0, -12.0), (74.0, 0.0), (35.0, 0.0), (35.0, 17.0), (34.0, 18.0), (12.0, 18.0)]
RING_MM2 = math.pi * (74**2 - 35**2)


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.03])
def test_face_of_a_hub_is_taken_whole_and_nothing_else(noise: float) -> None:
    mesh = turned(HUB, 1.0, 300, noise)
    patch = grow_patch(mesh, (50.0, 10.0, 0.2))
    assert patch.area_mm2 == pytest.approx(RING_MM2, rel=0.02)
    fit = fit_plane(patch.points_mm, robust=True)
    assert abs(fit.point_mm[2]) < 0.004
    assert np.abs(patch.points_mm[:, 2]).max() < 6 * max(noise, 1e-9)


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.03])
def test_register_is_taken_round_the_whole_turn(noise: float) -> None:
    mesh = turned(HUB, 1.0, 300, noise)
    patch = grow_patch(mesh, (35 * math.cos(2.0), 35 * math.sin(2.0), 9.0))
    fit = fit_cylinder(patch.points_mm, robust=True)
    assert fit.radius_mm == pytest.approx(35.0, abs=0.005)
    assert fit.arc_deg == 360.0
    assert 13.0 < fit.length_mm < 17.5


def test_growing_does_not_depend_on_the_pose() -> None:
    mesh = turned(HUB, 1.5, 200, 0.01)
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_euler("xyz", [1, 2, 3]).as_matrix()
    pose[:3, 3] = [500, -200, 90]
    seed = np.array([50.0, 10.0, 0.0])
    here = grow_patch(mesh, seed)
    there = grow_patch(mesh.moved(pose), pose[:3, :3] @ seed + pose[:3, 3])
    assert (here.faces == there.faces).all()


def test_a_coarse_cylinder_of_24_facets_is_followed_and_its_ends_are_not() -> None:
    tube = turned([(10.0, 10.0), (20.0, 10.0), (20.0, 0.0), (10.0, 0.0)], 100.0, 24, 0.0)
    patch = grow_patch(tube, (20.0, 0.0, 5.0), normal_deg=20.0)
    assert len(patch.faces) == 48
    assert fit_cylinder(patch.points_mm).radius_mm == pytest.approx(20.0, abs=1e-9)


def test_limits_of_distance_and_spread_are_kept() -> None:
    mesh = turned(HUB, 1.0, 300, 0.0)
    near = grow_patch(mesh, (50.0, 0.0, 0.0), limit_mm=8.0)
    centres = mesh.corners[near.faces].mean(axis=1)
    assert np.linalg.norm(centres - centres[near.faces == near.seed_face], axis=1).max() <= 8.0
    part = grow_patch(mesh, (35.0, 0.0, 9.0), spread_deg=30.0)
    turn = np.degrees(np.arctan2(*mesh.corners[part.faces].mean(axis=1)[:, 1::-1].T))
    assert np.abs(turn).max() < 32.0
    assert np.ptp(turn) > 50.0


def test_neighbours_agree_with_a_plain_search() -> None:
    mesh = turned(HUB, 9.0, 20, 0.0)
    # A flap on an edge that two faces share, a doubled face, and a fan of 60 round one vertex.
    fan = np.arange(60)
    count = len(mesh.vertices)
    rim = np.column_stack([np.cos(fan / 10), np.sin(fan / 10), np.full(60, 90.0)])
    vertices = np.vstack([mesh.vertices, [[0, 0, 60.0]], [[0, 0, 90.0]], rim])
    faces = np.vstack(
        [
            mesh.faces,
            [[mesh.faces[0, 0], mesh.faces[0, 1], count]],
            mesh.faces[5:6],
            np.column_stack([np.full(59, count + 1), count + 2 + fan[:-1], count + 3 + fan[:-1]]),
        ]
    )
    strange = Mesh(vertices, faces)
    across = surface(strange).across
    by_edge: dict[tuple[int, int], list[int]] = {}
    for k, face in enumerate(faces.tolist()):
        for a, b in zip(face, face[1:] + face[:1], strict=True):
            by_edge.setdefault((min(a, b), max(a, b)), []).append(k)
    for k, face in enumerate(faces.tolist()):
        for side, (a, b) in enumerate(zip(face, face[1:] + face[:1], strict=True)):
            sharing = [f for f in by_edge[min(a, b), max(a, b)] if f != k]
            expected = sharing[0] if len(sharing) == 1 else -1
            if len(by_edge[min(a, b), max(a, b)]) > 2:
                expected = -1
            assert across[k, side] == expected


def test_degenerate_triangles_do_not_stop_or_carry_the_growth() -> None:
    mesh = turned([(60.0, 0.0), (20.0, 0.0)], 2.0, 120, 0.0)
    sliver = np.array([[0, 0, 1], [5, 5, 5]])
    with_bad = Mesh(mesh.vertices, np.vstack([sliver, mesh.faces]))
    patch = grow_patch(with_bad, (40.0, 0.0, 0.0))
    assert patch.area_mm2 == pytest.approx(math.pi * (60**2 - 20**2), rel=0.01)
    assert not np.isin([0, 1], patch.faces).any()


def test_meshes_without_surface_are_refused() -> None:
    with pytest.raises(FitProblem, match="no triangles"):
        grow_patch(Mesh(np.zeros((3, 3)), np.zeros((0, 3), np.int32)), (0, 0, 0))
    with pytest.raises(FitProblem, match="area"):
        grow_patch(Mesh([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]]), (0, 0, 0))
    mesh = turned(HUB, 9.0, 20, 0.0)
    with pytest.raises(InputError, match="seed"):
        grow_patch(mesh, (0, math.nan, 0))
    with pytest.raises(InputError, match="normal_deg"):
        grow_patch(mesh, (0, 0, 0), normal_deg=0.0)


def test_growing_can_be_cancelled_and_started_again() -> None:
    mesh = turned(HUB, 2.0, 100, 0.0)
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        grow_patch(mesh, (50.0, 0.0, 0.0), progress=progress)
    assert grow_patch(mesh, (50.0, 0.0, 0.0), progress=Progress()).area_mm2 > 0.9 * RING_MM2
