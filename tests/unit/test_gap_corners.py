"""Many points against a surface, found by its corners, against plain sums over all triangles."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from gap_shapes import lathe, sphere, together

from clearturn.gap import Z_AXIS, _kernels_corners, _kernels_lanes, surface_distances
from clearturn.gap.corners import image_corners, space_corners
from clearturn.mesh import Mesh


def noisy_ring(seed=0, around=160, sigma=0.05) -> Mesh:
    """A rough ring of many small triangles, like a scan."""
    profile = []
    for (r0, z0), (r1, z1) in zip(
        [(60, 0), (60, 12), (48, 12), (48, 0)], [(60, 12), (48, 12), (48, 0), (60, 0)], strict=True
    ):
        profile += [(r0 + (r1 - r0) * k / 6, z0 + (z1 - z0) * k / 6) for k in range(6)]
    ring = lathe(profile, around)
    step = np.random.default_rng(seed).normal(0, sigma, ring.vertices.shape)
    return Mesh(ring.vertices + step, ring.faces)


def graded_ring() -> Mesh:
    """The ring as a scanner thins it out: large triangles where it is plain, small elsewhere."""
    ring = noisy_ring()
    for _ in range(2):
        fine = np.flatnonzero(ring.corners[:, :, 1].mean(axis=1) > 35.0)
        ring = Mesh(*trimesh.remesh.subdivide(ring.vertices, ring.faces, fine))
    return ring


def points_round(count, seed=1):
    rng = np.random.default_rng(seed)
    return rng.uniform((-80, -80, -30), (80, 80, 40), (count, 3))


def by_brute_force(points, mesh):
    """Least distance over all triangles, in plain numpy (Ericson 2005, section 5.1.5, by parts)."""
    a, b, c = mesh.corners[:, 0], mesh.corners[:, 1], mesh.corners[:, 2]
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    out = np.empty(len(points))
    for i, p in enumerate(points):
        best = np.inf
        inside = np.ones(len(a), bool)
        for s, t in ((a, b), (b, c), (c, a)):
            u = t - s
            k = np.clip(((p - s) * u).sum(1) / (u * u).sum(1), 0, 1)
            best = min(best, np.linalg.norm(s + k[:, None] * u - p, axis=1).min())
            inside &= (np.cross(u, p - s) * normal).sum(1) >= 0
        if inside.any():
            best = min(best, np.abs(((p - a) * normal).sum(1))[inside].min())
        out[i] = best
    return out


def sampled_image(mesh, cuts):
    """(r, z) of points all over every triangle, and how far any point is from the next of them."""
    i, j = np.meshgrid(np.arange(cuts + 1), np.arange(cuts + 1), indexing="ij")
    keep = i + j <= cuts
    w = np.stack([i[keep], j[keep], cuts - i[keep] - j[keep]], axis=1) / cuts
    p = np.einsum("wk,mkc->mwc", w, mesh.corners).reshape(-1, 3)
    edge = np.linalg.norm(np.roll(mesh.corners, 1, axis=1) - mesh.corners, axis=2).max()
    return np.c_[np.hypot(p[:, 0], p[:, 1]), p[:, 2]], edge / cuts / 3**0.5


def test_still_distances_are_those_of_all_triangles_one_by_one():
    mesh, points = noisy_ring(), points_round(3000)
    assert space_corners(mesh) is not None
    found = surface_distances(points, mesh)
    rows = np.arange(0, 3000, 15)
    np.testing.assert_allclose(
        np.abs(found.distance_mm[rows]), by_brute_force(points[rows], mesh), atol=1e-9
    )
    reached = np.linalg.norm(found.nearest - points, axis=1)
    np.testing.assert_allclose(reached, np.abs(found.distance_mm), atol=1e-9)


@pytest.mark.parametrize("make", [noisy_ring, graded_ring], ids=["even", "graded"])
@pytest.mark.parametrize("outside", [True, False], ids=["outside", "inside"])
def test_turning_distances_lie_between_those_of_a_sampled_image(outside, make):
    mesh = make()
    points = points_round(3000)
    r = np.hypot(points[:, 0], points[:, 1])
    points = points[(r > 61) if outside else (r < 47)]
    points = np.concatenate([points] * (3000 // len(points) + 1))
    assert image_corners(mesh, Z_AXIS) is not None
    found = surface_distances(points, mesh, turning=True).distance_mm
    image, reach = sampled_image(mesh, 12)
    for row in range(0, len(points), 97):
        p = points[row]
        there = np.hypot(image[:, 0] - np.hypot(p[0], p[1]), image[:, 1] - p[2]).min()
        assert there - reach <= found[row] <= there + 1e-3


def test_turning_distances_are_reached_by_the_points_given():
    mesh, points = noisy_ring(), points_round(3000)
    found = surface_distances(points, mesh, turning=True)
    q = found.nearest
    dr = np.hypot(q[:, 0], q[:, 1]) - np.hypot(points[:, 0], points[:, 1])
    np.testing.assert_allclose(np.hypot(dr, q[:, 2] - points[:, 2]), found.distance_mm, atol=1e-9)
    a, b, c = (mesh.corners[found.triangle, k] for k in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    assert np.abs(((q - a) * normal).sum(1)).max() < 1e-9


def test_a_point_within_the_image_reads_nothing_over_a_turn():
    # The middle of a ball beside the axis: over a turn its skin passes every place in its section.
    points = np.tile([[0.0, 54.0, 6.0]], (2500, 1))
    found = surface_distances(points, sphere((54, 0, 6), 5, level=4), turning=True)
    assert found.distance_mm.max() <= 1e-3


@pytest.mark.parametrize("turning", [False, True])
def test_a_few_large_triangles_among_small_ones_are_not_missed(turning):
    rng = np.random.default_rng(3)
    small = sphere((0, 0, 0), 20, level=5)
    large = Mesh(
        rng.uniform((-60, -60, 10), (60, 60, 130), (120, 3)), np.arange(120).reshape(-1, 3)
    )
    mesh, points = together([small, large]), points_round(4000, 4)
    found = surface_distances(points, mesh, turning=turning, signed=False).distance_mm
    parts = [
        surface_distances(points[s : s + 1000], m, turning=turning, signed=False).distance_mm
        for m in (small, large)
        for s in range(0, 4000, 1000)
    ]
    apart = np.minimum(np.concatenate(parts[:4]), np.concatenate(parts[4:]))
    np.testing.assert_allclose(found, apart, atol=1e-3 if turning else 1e-9)


def test_beyond_the_limit_nothing_is_given():
    mesh, points = noisy_ring(), points_round(3000)
    whole = surface_distances(points, mesh).distance_mm
    for turning in (False, True):
        near = surface_distances(points, mesh, limit_mm=5.0, turning=turning)
        far = np.isinf(near.distance_mm)
        assert (near.triangle[far] == -1).all()
        if not turning:
            assert (far == (np.abs(whole) > 5.0)).all()
            np.testing.assert_array_equal(near.distance_mm[~far], whole[~far])


def test_same_bits_on_one_thread_and_on_two(monkeypatch):
    points, answers = points_round(9000), []
    for count in ("1", "2"):
        monkeypatch.setenv("CLEARTURN_THREADS", count)
        for turning in (False, True):
            found = surface_distances(points, noisy_ring(), turning=turning)
            answers.append((found.distance_mm.tobytes(), found.triangle.tobytes()))
    assert answers[:2] == answers[2:]


def test_signs_are_carried_only_where_nothing_can_lie_between():
    # Signs of a ring are plain: inside its tube or not.
    mesh = noisy_ring(sigma=0.0)
    points = points_round(20000)
    found = surface_distances(points, mesh)
    x, y, z = points.T
    sector = np.pi / 160
    angle = np.abs((np.arctan2(y, x) + sector) % (2 * sector) - sector)
    r = np.hypot(x, y) * np.cos(angle) / np.cos(sector)
    clear = (np.abs(r - 60) > 0.1) & (np.abs(r - 48) > 0.1)
    inside = (r < 60) & (r > 48) & (z > 0) & (z < 12)
    assert found.sign_known.all()
    assert ((found.distance_mm < 0) == inside)[clear].all()
    assert inside.sum() > 100


def test_near_a_hole_the_sign_is_not_carried_but_asked_for():
    ball = sphere((0, 0, 0), 50, level=5)
    middle = ball.corners.mean(axis=1)
    cap = Mesh(ball.vertices, ball.faces[middle[:, 2] < 35])
    rng = np.random.default_rng(6)
    points = rng.uniform(-60, 60, (5000, 3))
    found = surface_distances(points, cap)
    # Each point's own number: fewer points than are worth a tree of corners.
    alone = [surface_distances(points[s : s + 1000], cap) for s in range(0, 5000, 1000)]
    known = np.concatenate([a.sign_known for a in alone])
    distance = np.concatenate([a.distance_mm for a in alone])
    both = known & found.sign_known
    assert ((found.distance_mm < 0) == (distance < 0))[both].all()
    # Carrying allows for a tenth of the number, so a few near the limits may be told either way.
    assert (known == found.sign_known).mean() > 0.97
    assert not found.sign_known.all()


def test_lanes_are_the_plain_distances():
    rng = np.random.default_rng(7)
    f = np.float32
    for rows, kernel, axes, boxed in (
        (6, _kernels_lanes.boxes_in_space, 3, True),
        (4, _kernels_lanes.boxes_in_plane, 2, True),
        (7, _kernels_lanes.nodes_in_space, 3, True),
        (5, _kernels_lanes.nodes_in_plane, 2, True),
        (4, _kernels_lanes.leaves_in_space, 3, False),
        (3, _kernels_lanes.leaves_in_plane, 2, False),
    ):
        nodes = rng.normal(size=(4, rows, 8)).astype(f)
        low = rng.normal(size=axes).astype(f)
        high = low + f(0.5) if rows in (4, 6) and boxed else low
        ends = (*low, *high) if rows in (4, 6) and boxed else tuple(low)
        near = np.empty(8, f)
        bits = kernel(nodes, 2, *ends, f(0.8), near)
        if boxed:
            gap = np.maximum(
                nodes[2, :axes] - high[:, None], low[:, None] - nodes[2, axes : 2 * axes]
            )
            plain = (np.maximum(gap, 0) ** 2).sum(axis=0)
        else:
            plain = ((nodes[2, :axes] - low[:, None]) ** 2).sum(axis=0)
        if rows % 2 == 1 or not boxed:
            plain = plain - nodes[2, -1]
        np.testing.assert_allclose(near, plain, rtol=1e-6, atol=1e-6)
        assert [bits >> j & 1 for j in range(8)] == (near <= f(0.8)).astype(int).tolist()
        if bits:
            assert _kernels_lanes.lowest(bits) == int(np.flatnonzero(near <= f(0.8))[0])


def triangles_off_the_axis(count, seed=5):
    """Triangles of all sizes and slants at all radii, narrow and wide as the axis sees them."""
    rng = np.random.default_rng(seed)
    middle = rng.normal(size=(count, 1, 3)) * 10.0 ** rng.uniform(0, 2.5, (count, 1, 1))
    return middle + rng.normal(size=(count, 3, 3)) * 10.0 ** rng.uniform(-3, 1, (count, 1, 1))


def test_dips_are_never_less_than_what_an_image_dips_and_seldom_much_more():
    corners = triangles_off_the_axis(3000)
    xyz = np.ascontiguousarray(corners.reshape(-1, 3))
    rz = np.stack([np.hypot(xyz[:, 0], xyz[:, 1]), xyz[:, 2]], 1)
    faces = np.arange(len(xyz), dtype=np.int32).reshape(-1, 3)
    dips = np.empty(len(faces))
    _kernels_corners.dips_of_images(xyz, rz, faces, 0, len(faces), dips)
    rng = np.random.default_rng(6)
    weights = rng.dirichlet((0.5, 0.5, 0.5), 300)
    # Halfway along an edge as it is seen from the axis it dips most or nearly so.
    weights = np.concatenate([weights, [[0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]]])
    places = np.einsum("wk,tkq->twq", weights, corners)
    flat = np.einsum("wk,tk->tw", weights, rz[:, 0].reshape(-1, 3))
    dipped = flat - np.hypot(places[:, :, 0], places[:, :, 1])
    most = dipped.max(axis=1)
    assert np.all(most <= dips + 1e-13 * np.abs(xyz).max())
    plain = np.isfinite(dips) & (most > 1e-9)
    assert plain.sum() > 1500
    assert np.median(dips[plain] / most[plain]) < 1.5


def test_places_an_image_covers_are_reached_by_a_point_turned_through_them():
    """Close to the axis, where images bend far beyond the tolerance of 1 µm."""
    ring = noisy_ring(around=90)
    near_axis = Mesh(ring.vertices * (0.12, 0.12, 1.0) + (0.5, 0, 0), ring.faces)
    rng = np.random.default_rng(8)
    r, z, turn = (rng.uniform(*span, 4000) for span in ((6.5, 7.9), (0.5, 11.5), (0.0, 7.0)))
    points = np.stack([r * np.cos(turn), r * np.sin(turn), z], 1)
    found = surface_distances(points, near_axis, turning=True)
    reached = np.hypot(
        np.hypot(found.nearest[:, 0], found.nearest[:, 1]) - r, found.nearest[:, 2] - z
    )
    assert np.allclose(reached, found.distance_mm, atol=1e-12)
    # The wall, off the axis by half a millimetre, passes through the middle ones.
    assert np.all(found.distance_mm[abs(r - 7.2) < 0.4] <= 1e-3)
    assert np.all(found.distance_mm[abs(r - 7.2) > 0.6] > 0.05)
    # The points given lie on the triangles given.
    corners = near_axis.corners[found.triangle]
    off = trimesh.triangles.closest_point(corners, found.nearest) - found.nearest
    assert np.linalg.norm(off, axis=1).max() < 1e-9
