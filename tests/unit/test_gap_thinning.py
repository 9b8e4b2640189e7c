"""Quick bounds by which triangles are left out before a full turn is searched.

None may ever lie above what is reached, and each has to leave something out.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from gap_shapes import pose, random_soup, tube

from clearturn.gap import Z_AXIS, cull, surface_distances, turning
from clearturn.gap._kernels_cull import most_promising
from clearturn.gap._kernels_still import nodes_apart_beyond
from clearturn.gap._kernels_turning import _map_roughly, _slab_across, least_radius, low_radius
from clearturn.gap.meridian import into_axis_frame, meridian_image
from clearturn.gap.tree import space_tree
from clearturn.mesh import Mesh

EYE, NOUGHT = np.eye(3), np.zeros(3)


def triangles(count, seed):
    """Triangles of all sizes at all distances from the axis, some about it."""
    rng = np.random.default_rng(seed)
    middle = rng.normal(size=(count, 1, 3)) * 10.0 ** rng.uniform(-1, 2.5, (count, 1, 1))
    return middle + rng.normal(size=(count, 3, 3)) * 10.0 ** rng.uniform(-2, 1.5, (count, 1, 1))


def radii_of(points):
    return np.hypot(points[..., 0], points[..., 1])


def inside(corners, count, rng):
    """Points of a triangle (3, 3), its corners and edges among them."""
    weights = rng.dirichlet((0.4, 0.4, 0.4), count)
    return np.concatenate([corners, weights @ corners])


def images_apart(a, b):
    """Least distance of the meridian images of two triangles, from above, by their points."""
    rng = np.random.default_rng(1)
    p, q = inside(a, 400, rng), inside(b, 400, rng)
    p = np.stack([radii_of(p), p[:, 2]], 1)
    q = np.stack([radii_of(q), q[:, 2]], 1)
    return float(np.sqrt(((p[:, None] - q[None]) ** 2).sum(axis=2).min()))


@pytest.mark.parametrize("most", [0.01, 0.3, 5.0])
def test_quick_least_radius_is_below_the_true_one_by_no_more_than_asked(most):
    # Source of the least radius: trimesh, nearest points of flattened triangles to the origin.
    corners = triangles(3000, 7)
    flat = corners * (1, 1, 0)
    true = radii_of(trimesh.triangles.closest_point(flat, np.zeros((len(flat), 3))))
    quick = 0
    for t, r in zip(corners, true, strict=True):
        rz = np.stack([radii_of(t), t[:, 2]], 1)
        low = low_radius(t, rz, 0, 1, 2, most)
        assert r - most - 1e-9 <= low <= r + 1e-9
        quick += low != least_radius(*t[:, :2].ravel())
    assert quick > 300


def test_rough_dip_covers_the_image():
    rng = np.random.default_rng(2)
    image = np.empty((3, 2))
    for t in triangles(800, 8):
        dip = _map_roughly(t, image)
        assert np.allclose(image, np.stack([radii_of(t), t[:, 2]], 1))
        weights = rng.dirichlet((0.5, 0.5, 0.5), 200)
        flat, true = weights @ image[:, 0], radii_of(weights @ t)
        assert np.all(true <= flat * (1 + 1e-12))
        assert np.all(true >= flat - dip - 1e-9)


def test_slab_across_a_line_is_never_above_what_is_reached():
    rng = np.random.default_rng(3)
    ra, rb = np.empty((3, 2)), np.empty((3, 2))
    shares = []
    for a, b in zip(triangles(500, 9), triangles(500, 10), strict=True):
        dips = _map_roughly(a, ra), _map_roughly(b, rb)
        reached = images_apart(a, b)
        for line in (rb.mean(axis=0) - ra.mean(axis=0), rng.normal(size=2)):
            bound = _slab_across(*line, ra, dips[0], rb, dips[1])
            assert bound <= reached + 1e-9
            shares.append(bound / reached)
    # Most pairs are told apart by more than half of what they are.
    assert np.mean(np.array(shares[::2]) > 0.5) > 0.5
    assert _slab_across(0.0, 0.0, ra, 1.0, rb, 1.0) == 0.0


def test_leaves_are_left_out_only_where_no_triangle_is_near():
    rng = np.random.default_rng(4)
    kept = tube(40.0, 50.0, 0.0, 12.0, 200)
    image = meridian_image(kept, Z_AXIS)
    for turn in range(6):
        soup = random_soup(rng, 3000, (52.0, 0.0, 6.0), 9.0, 0.6)
        place = pose(rng.uniform(-0.1, 0.1, 3), rng.uniform(-4, 4, 3)) if turn else np.eye(4)
        frame = into_axis_frame(Z_AXIS, place)
        tree = space_tree(soup, None)
        every = np.arange(int(tree.level_start[1]))
        upper = 1.5
        near = np.zeros(len(every), bool)
        near[cull.near_leaves(tree, every, frame, image, upper, None)] = True
        # What a corner reaches, a leaf reaches.
        moved = soup.moved(place).vertices
        apart = surface_distances(moved, kept, turning=True).distance_mm
        reached = (apart[soup.faces] <= upper - 2e-3).any(axis=1)
        assert near[np.flatnonzero(reached[tree.order]) // 8].all()
        assert 0.1 < near.mean() < 0.9


def test_nodes_are_told_apart_only_beyond_the_limit():
    # Source of the distances: trimesh, nearest points of triangles to many points of the other.
    rng = np.random.default_rng(5)
    told = 0
    for _ in range(200):
        size = 10.0 ** rng.uniform(-1, 0.5)
        flat = rng.normal(size=(2, 8, 3, 3)) * size * [1, 1, 0.05]
        turned = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        a = (flat[0] @ turned).reshape(-1, 3)
        b = ((flat[1] + [0, 0, 10.0 ** rng.uniform(-1, 1)]) @ turned).reshape(-1, 3)
        faces = np.arange(24, dtype=np.int32).reshape(8, 3)
        boxes = [np.r_[x.min(axis=0), x.max(axis=0)].astype(np.float32) for x in (a, b)]

        def beyond(limit, a=a, b=b, boxes=boxes, faces=faces):
            return nodes_apart_beyond(
                a, faces, 0, boxes[0], EYE, NOUGHT, b, faces, 0, boxes[1], 8, limit**2
            )

        points = np.concatenate([inside(t, 60, rng) for t in a.reshape(8, 3, 3)])
        reached = np.inf
        for t in b.reshape(8, 3, 3):
            there = np.broadcast_to(t, (len(points), 3, 3))
            nearest = trimesh.triangles.closest_point(there, points)
            reached = min(reached, np.linalg.norm(nearest - points, axis=1).min())
        assert not beyond(reached * (1 + 1e-9))
        told += beyond(0.7 * reached)
    assert told > 60


def test_a_promising_corner_belongs_to_a_face():
    faces = np.array([[3, 4, 5], [6, 7, 8], [9, 10, 11]], np.int32)
    bound = np.arange(12, dtype=np.float32)[::-1].copy()
    bound[0] = -1.0  # of no face
    assert most_promising(faces, bound, 0, 3, 1) == 9
    assert most_promising(faces, bound, 0, 2, 1) == 6
    assert most_promising(faces, bound, 0, 3, 3) == 3


def unsigned(first, second):
    still = np.eye(4)
    return turning.turning_distance(first, second, Z_AXIS, still, still, tolerance_mm=1e-3)


@pytest.mark.parametrize("large_is_kept", [False, True])
def test_either_order_of_a_kept_and_a_moved_part_gives_one_answer(monkeypatch, large_is_kept):
    """The kept image is the one searched by, be it the larger part or the smaller."""
    rng = np.random.default_rng(6)
    monkeypatch.setattr(turning, "SMALL", 1000)
    small = random_soup(rng, 5000, (60.0, 0.0, 6.0), 5.0, 0.4)
    large = tube(40.0, 50.0, 0.0, 12.0, 2000)
    kept, other = (large, small) if large_is_kept else (small, large)
    bare = unsigned(kept, other)
    meridian_image(kept, Z_AXIS)  # kept with the mesh from now on
    frame = into_axis_frame(Z_AXIS, np.eye(4))
    assert turning._kept_to_search(kept, other, frame) is not None
    one, two = unsigned(kept, other), unsigned(other, kept)
    for found in (one, two):
        assert bare.lower_mm - 1e-9 <= found.upper_mm
        assert found.lower_mm <= bare.upper_mm + 1e-9
    # The same search, told from the other end.
    assert (one.lower_mm, one.upper_mm) == (two.lower_mm, two.upper_mm)
    assert np.array_equal(one.points_mm, two.points_mm[::-1])
    assert one.triangles == two.triangles[::-1]


def test_a_part_of_few_triangles_is_not_searched_by_a_kept_image(monkeypatch):
    """Its long boxes would meet the whole image; the image's part is thinned by its grid."""
    monkeypatch.setattr(turning, "SMALL", 1000)
    plate, ring = tube(20.0, 30.0, -4.0, -1.0, 40), tube(25.0, 50.0, 0.0, 12.0, 2000)
    assert len(plate.faces) < turning._FEW
    frame = into_axis_frame(Z_AXIS, np.eye(4))
    bare = unsigned(plate, ring)
    meridian_image(ring, Z_AXIS)
    assert turning._kept_to_search(ring, plate, frame) is None
    kept = unsigned(plate, ring)
    assert bare.lower_mm <= 1.0 <= bare.upper_mm
    assert (kept.lower_mm, kept.upper_mm) == (bare.lower_mm, bare.upper_mm)
    assert turning._kept_to_search(ring, tube(20.0, 30.0, -4.0, -1.0, 400), frame) is not None


def test_a_vertex_that_no_face_uses_is_never_near(monkeypatch):
    monkeypatch.setattr(turning, "SMALL", 1000)
    a, b = tube(40.0, 50.0, 0.0, 12.0, 300), tube(58.0, 70.0, 0.0, 12.0, 400)
    stray = Mesh(np.concatenate([b.vertices, [[53.0, 0.0, 6.0]]]), b.faces)
    plain, found = unsigned(a, b), unsigned(a, stray)
    assert (found.lower_mm, found.upper_mm) == (plain.lower_mm, plain.upper_mm)
