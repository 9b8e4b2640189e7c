"""The slab that tells two triangles apart before their distance is worked out."""

from __future__ import annotations

import numpy as np
import pytest
from collision_oracles import coal_distance, coal_model

from clearturn.gap._kernels_still import apart_beyond, search_space, triangle_distance
from clearturn.mesh import Mesh

ONE = np.array([[0, 1, 2]], np.int32)


def pairs_of_triangles(count, seed=3):
    """Triangles of all shapes and sizes at all distances, and thin ones among them."""
    rng = np.random.default_rng(seed)
    size = 10.0 ** rng.uniform(-2, 1, (count, 2, 1, 1))
    triangles = rng.normal(size=(count, 2, 3, 3)) * size * rng.choice([1.0, 1e-3], (count, 2, 1, 3))
    triangles[:, 1] += rng.normal(size=(count, 1, 3)) * 10.0 ** rng.uniform(-2, 2, (count, 1, 1))
    return triangles


def plainly_apart(a, b, limit):
    """The slab across the line of centres, in plain numpy."""
    across = b.sum(axis=0) - a.sum(axis=0)
    width = ((b - a[0]) @ across).min() - ((a - a[0]) @ across).max()
    return bool(width > 0 and width**2 > limit * (across @ across))


def test_slab_agrees_with_plain_numpy():
    rng = np.random.default_rng(4)
    told = 0
    for a, b in pairs_of_triangles(2000):
        limit = float(np.linalg.norm(b.mean(axis=0) - a.mean(axis=0)) * rng.uniform(0.2, 1.1)) ** 2
        found = apart_beyond(a.ravel(), b.ravel(), limit)
        assert found == plainly_apart(a, b, limit)
        told += found
    assert 500 < told < 1500


@pytest.mark.parametrize("share", [1.0, 1.001, 1.5])
def test_slab_never_leaves_out_a_pair_within_the_limit(share):
    # Source of the distances: the general collision library coal.
    left_out = 0
    for a, b in pairs_of_triangles(600):
        true = coal_distance(coal_model(Mesh(a, ONE)), coal_model(Mesh(b, ONE)))
        if true > 1e-9:
            assert not apart_beyond(a.ravel(), b.ravel(), (share * true) ** 2 * (1 + 1e-9))
            left_out += apart_beyond(a.ravel(), b.ravel(), (0.7 * true) ** 2)
    assert left_out > 200


def test_slab_is_as_wide_as_the_gap_of_triangles_that_face_each_other():
    a = np.array([[0, 0, 0], [2, 0, 0], [0, 2, 0]], float)
    for turn in (np.eye(3), np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]):
        here, there = (a @ turn).ravel(), ((a + np.array([0, 0, 3.0])) @ turn).ravel()
        assert apart_beyond(here, there, 9 * (1 - 1e-9))
        assert not apart_beyond(here, there, 9 * (1 + 1e-9))


def test_triangles_with_one_centre_have_no_slab():
    a = np.array([[1, 0, 0], [-1, 1, 0], [0, -1, 0]], float).ravel()
    assert not apart_beyond(a, a[[0, 2, 1, 3, 5, 4, 6, 8, 7]], 0.0)
    assert not apart_beyond(a, a, 0.0)


def test_slanting_walls_are_searched_with_few_distances_of_triangles():
    """Two walls at 45° to every box, 6 mm apart: without slabs each triangle meets dozens."""
    from clearturn.gap.still import nearest_first, space_tree

    n = 120
    u, v = np.meshgrid(np.linspace(0, 40, n), np.linspace(0, 40, n), indexing="ij")
    rng = np.random.default_rng(6)
    k = np.arange(n * n).reshape(n, n)
    low, right = k[:-1, :-1].ravel(), k[1:, :-1].ravel()
    up, both = k[:-1, 1:].ravel(), k[1:, 1:].ravel()
    faces = np.concatenate([np.stack([low, right, both], 1), np.stack([low, both, up], 1)])
    slant = np.array([[1, 1, 0], [0, 0, 1], [-1, 1, 0]]) / np.array([[2**0.5], [1], [2**0.5]])

    def wall(height):
        rough = height + rng.normal(0, 0.02, u.shape)
        points = np.stack([u, v, rough], axis=-1).reshape(-1, 3) @ slant
        return Mesh(points, faces.astype(np.int32))

    first, second = wall(0.0), wall(6.0)
    a, b = space_tree(first), space_tree(second)
    counts, witness, hit = np.zeros(2, np.int64), np.zeros(6), np.zeros(2, np.int64)
    upper = 6.2
    root = np.stack([second.vertices.min(axis=0), second.vertices.max(axis=0)])
    for level, node in nearest_first(a, b, root):
        upper = search_space(
            a.vertices, a.faces, a.boxes, a.level_start, np.eye(3), np.zeros(3), True, level, node,
            b.vertices, b.faces, b.boxes, b.level_start,
            upper, 1e-6, 1e-10, witness, hit, counts, np.zeros(1, np.uint8),
        )  # fmt: skip
    true = coal_distance(coal_model(first), coal_model(second))
    assert upper == pytest.approx(true, abs=2e-6)
    assert counts[1] < len(first.faces) / 4
    q = np.empty(3)
    corners = (first.corners[a.order[hit[0]]].ravel(), second.corners[b.order[hit[1]]].ravel())
    assert triangle_distance(*corners, q, 1e9, np.empty(6), True) == pytest.approx(upper**2)
