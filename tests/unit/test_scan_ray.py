"""Where a line of sight meets a mesh, against closed forms and a direct solution by triangle."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearturn.errors import InputError
from clearturn.mesh import Mesh
from clearturn.scan.ray import first_hit


def box() -> Mesh:
    """A box from −1 to 1, 2, 3."""
    made = trimesh.creation.box(extents=(2.0, 4.0, 6.0))
    return Mesh(made.vertices, made.faces)


def test_ray_meets_the_near_wall_of_a_box() -> None:
    hit = first_hit(box(), (10.0, 0.3, 0.4), (-2.0, 0.0, 0.0))
    assert hit is not None
    assert hit.distance_mm == pytest.approx(9.0)
    assert hit.point_mm == pytest.approx((1.0, 0.3, 0.4))


def test_what_lies_behind_the_origin_is_not_met() -> None:
    hit = first_hit(box(), (0.0, 0.3, 0.4), (1.0, 0.0, 0.0))
    assert hit is not None
    assert hit.point_mm == pytest.approx((1.0, 0.3, 0.4))
    assert first_hit(box(), (2.0, 0.0, 0.0), (1.0, 0.0, 0.0)) is None


def test_ray_beside_the_mesh_and_ray_along_a_wall_meet_nothing_there() -> None:
    assert first_hit(box(), (10.0, 2.5, 0.0), (-1.0, 0.0, 0.0)) is None
    flat = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    assert first_hit(flat, (-1.0, 0.2, 0.0), (1.0, 0.0, 0.0)) is None  # seen edge-on


def test_left_out_faces_are_looked_through() -> None:
    mesh = box()
    near = first_hit(mesh, (10.0, 0.3, 0.4), (-1.0, 0.0, 0.0))
    assert near is not None
    kept = np.ones(len(mesh.faces), bool)
    kept[near.face] = False
    beyond = first_hit(mesh, (10.0, 0.3, 0.4), (-1.0, 0.0, 0.0), kept)
    assert beyond is not None
    assert beyond.point_mm[0] == pytest.approx(-1.0)


def test_empty_mesh_and_bad_directions() -> None:
    empty = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    assert first_hit(empty, (0, 0, 0), (0, 0, 1)) is None
    for way in ((0.0, 0.0, 0.0), (np.nan, 0.0, 1.0)):
        with pytest.raises(InputError, match="a direction with a length"):
            first_hit(box(), (0.0, 0.0, 0.0), way)


def test_first_hit_is_the_nearest_solution_over_all_triangles() -> None:
    # Independent: p + t d = a + u (b − a) + v (c − a) solved for every triangle.
    rng = np.random.default_rng(3)
    mesh = Mesh(rng.normal(size=(90, 3)), rng.integers(0, 90, size=(120, 3)))
    for _ in range(40):
        start, way = rng.normal(size=3) * 3.0, rng.normal(size=3)
        way /= np.linalg.norm(way)
        best = np.inf
        for a, b, c in mesh.corners:
            matrix = np.stack([b - a, c - a, -way], axis=1)
            if abs(np.linalg.det(matrix)) < 1e-12:
                continue
            u, v, t = np.linalg.solve(matrix, start - a)
            if u >= 0 and v >= 0 and u + v <= 1 and t >= 0:
                best = min(best, t)
        hit = first_hit(mesh, start, way)
        assert (hit is None) == np.isinf(best)
        if hit is not None:
            assert hit.distance_mm == pytest.approx(best, abs=1e-9)
