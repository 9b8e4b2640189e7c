"""The interval against dense subdivision and coal's stepped angles, on a thousand random pairs.

No point of a triangle that is cut in k parts an edge is farther than longest edge / (k sqrt(3))
from the nearest corner of the cuts, and mapping to (r, z) lengthens nothing.  So the least distance
of all cut corners lies at or above the true gap, and above it by no more than both reaches.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from collision_oracles import about_z, coal_distance, coal_model
from gap_shapes import random_soup

from clearturn.gap import still_gap, turning_gap

CUTS = 10
PAIRS = 1000
BLOCKS = 10


def random_pair(rng):
    """Two loose soups, apart along z: small or large triangles, near the axis or far from it."""
    size = 10 ** rng.uniform(-0.5, 1.4)
    far = 10 ** rng.uniform(-0.5, 2.3)
    first = random_soup(rng, 6, (far, rng.uniform(-5, 5), 0), 0.3 * size, size)
    second = random_soup(rng, 6, (rng.uniform(-far, far), far * rng.uniform(0, 1), 0), size, size)
    lift = first.vertices[:, 2].max() - second.vertices[:, 2].min() + 10 ** rng.uniform(-2, 1)
    move = np.eye(4)
    move[2, 3] = lift
    return first, second.moved(move)


def cut_corners(mesh):
    """All corners of every triangle cut in CUTS parts an edge, and the reach of any point."""
    i, j = np.meshgrid(np.arange(CUTS + 1), np.arange(CUTS + 1), indexing="ij")
    keep = i + j <= CUTS
    w = np.stack([i[keep], j[keep], CUTS - i[keep] - j[keep]], axis=1) / CUTS
    points = np.einsum("wk,mkc->mwc", w, mesh.corners).reshape(-1, 3)
    edges = np.linalg.norm(np.roll(mesh.corners, 1, axis=1) - mesh.corners, axis=2)
    return points, float(edges.max()) / CUTS / math.sqrt(3)


def least(a, b):
    """Least distance of two sets of points."""
    squared = (a**2).sum(1)[:, None] + (b**2).sum(1)[None] - 2 * a @ b.T
    near = np.argpartition(squared.ravel(), 50)[:50]
    i, j = np.unravel_index(near, squared.shape)
    return float(np.linalg.norm(a[i] - b[j], axis=1).min())


def mapped(points):
    return np.c_[np.hypot(points[:, 0], points[:, 1]), points[:, 2]]


@pytest.mark.slow
@pytest.mark.parametrize("block", range(BLOCKS))
def test_dense_subdivision_and_random_angles_never_fall_outside(block):
    rng = np.random.default_rng(1000 + block)
    for _ in range(PAIRS // BLOCKS):
        first, second = random_pair(rng)
        turn, still = turning_gap(first, second).gap_mm, still_gap(first, second).gap_mm
        (a, reach_a), (b, reach_b) = cut_corners(first), cut_corners(second)
        reach = reach_a + reach_b
        sampled = least(mapped(a), mapped(b))
        assert turn.lower <= sampled + 1e-9
        assert sampled - reach <= turn.upper + 1e-9
        sampled = least(a, b)
        assert still.lower <= sampled + 1e-9
        assert sampled - reach <= still.upper + 1e-9
        one, two = coal_model(first), coal_model(second)
        assert coal_distance(one, two) == pytest.approx(still.upper, abs=1e-6)
        for angle in rng.uniform(0, 2 * math.pi, 10):
            assert coal_distance(one, two, about_z(angle)) >= turn.lower - 1e-9
