"""Seats leave out a patch, never more, on meshes however coarse."""

from __future__ import annotations

import numpy as np
import pytest

from clearturn.corner.band import in_band
from clearturn.corner.mirror import mirrored_mesh, mirrored_seat
from clearturn.corner.seats import EDGE_MM, RIM_MM, excluded_faces, split_near
from clearturn.job.model import Band, Seat
from clearturn.mesh import Mesh

SEAT = Seat("s", "a", "b", Band(r_to_mm=20.0, z_from_mm=-0.5, z_to_mm=0.5))


def square(half: float) -> Mesh:
    """Two triangles in the plane z = 0."""
    v = [(-half, -half, 0), (half, -half, 0), (half, half, 0), (-half, half, 0)]
    return Mesh(v, [(0, 1, 2), (0, 2, 3)])


def cube(half: float) -> Mesh:
    """A closed box whose top lies in z = 0."""
    v = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 0)], float)
    faces = [(0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
             (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)]  # fmt: skip
    return Mesh(v * half, faces)


def area(mesh: Mesh) -> float:
    a, b, c = mesh.corners.transpose(1, 0, 2)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


def volume(mesh: Mesh) -> float:
    a, b, c = mesh.corners.transpose(1, 0, 2)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def edge_counts(mesh: Mesh) -> np.ndarray:
    directed = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    _, counts = np.unique(np.sort(directed, axis=1), axis=0, return_counts=True)
    return counts


def test_two_huge_triangles_leave_out_the_seat_and_its_rim_only() -> None:
    mesh = split_near(square(200.0), SEAT)
    out = excluded_faces(mesh, SEAT)
    radius = np.linalg.norm(mesh.vertices[mesh.faces[out]][..., :2], axis=2)
    assert radius.max() <= 20.0 + RIM_MM
    left_out = area(mesh.part(out))
    assert np.pi * 20.0**2 < left_out < np.pi * (20.0 + RIM_MM) ** 2


def test_what_is_left_reaches_to_the_rim_within_one_edge() -> None:
    mesh = split_near(square(200.0), SEAT)
    kept = np.setdiff1d(np.arange(len(mesh.faces)), excluded_faces(mesh, SEAT))
    nearest = np.linalg.norm(mesh.vertices[mesh.faces[kept]][..., :2], axis=2).min()
    assert 20.0 + RIM_MM - 2 * EDGE_MM < nearest < 20.0 + RIM_MM


def test_splitting_keeps_the_surface_closed_and_in_place() -> None:
    before = cube(60.0)
    after = split_near(before, SEAT)
    assert len(after.faces) > 20 * len(before.faces)
    assert (edge_counts(after) == 2).all()
    assert area(after) == pytest.approx(area(before), rel=1e-12)
    assert volume(after) == pytest.approx(volume(before), rel=1e-12)


def test_edges_across_the_rim_are_short() -> None:
    mesh = split_near(cube(60.0), SEAT)
    ends = mesh.corners
    length = np.linalg.norm(ends - np.roll(ends, 1, axis=1), axis=2).max(axis=1)
    near = in_band(ends.mean(axis=1), Band(r_from_mm=20.2, r_to_mm=22.8, z_from_mm=-0.01))
    assert near.any()
    assert length[near].max() <= EDGE_MM


def test_fine_mesh_is_left_as_it_is() -> None:
    n = np.arange(-30, 31) * 1.0
    x, y = np.meshgrid(n, n)
    v = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    i = np.arange(60)[:, None] * 61 + np.arange(60)
    quads = np.stack([i, i + 1, i + 62, i + 61], axis=-1).reshape(-1, 4)
    mesh = Mesh(v, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    assert split_near(mesh, SEAT) is mesh


def test_seat_that_meets_nothing_leaves_everything_in() -> None:
    mesh = Mesh(square(50.0).vertices + np.array((0, 0, 9.0)), square(50.0).faces)
    assert split_near(mesh, SEAT) is mesh
    assert len(excluded_faces(mesh, SEAT)) == 0


def test_clock_limits_hold_for_the_seat() -> None:
    half = Seat(
        "s", "a", "b",
        Band(r_to_mm=20.0, z_from_mm=-0.5, z_to_mm=0.5, clock_from_deg=0.0, clock_to_deg=180.0),
    )  # fmt: skip
    mesh = split_near(square(200.0), half)
    out = mesh.corners[excluded_faces(mesh, half)].reshape(-1, 3)
    assert out[:, 0].min() >= -RIM_MM  # clock 0 to 180 is the side of +X
    assert out[:, 0].max() > 19.0


@pytest.mark.parametrize(
    ("start", "stop", "inside", "outside"),
    [
        (350.0, 10.0, [0.0, 355.0, 5.0], [20.0, 180.0, 340.0]),
        (90.0, 180.0, [90.0, 135.0, 180.0], [0.0, 89.0, 181.0, 270.0]),
        (0.0, 360.0, [0.0, 123.0, 359.0], []),
        (-10.0, 10.0, [351.0, 0.0], [170.0]),
    ],
)
def test_clock_band_may_pass_the_top(
    start: float, stop: float, inside: list[float], outside: list[float]
) -> None:
    band = Band(clock_from_deg=start, clock_to_deg=stop)

    def points(clocks: list[float]) -> np.ndarray:
        a = np.radians(clocks)
        return np.stack([np.sin(a), np.cos(a), 0 * a], axis=1).reshape(-1, 3)

    assert in_band(points(inside), band).all()
    assert not in_band(points(outside), band).any()


@pytest.mark.parametrize(("start", "stop"), [(10.0, 100.0), (350.0, 20.0), (0.0, 360.0)])
def test_mirrored_seat_leaves_out_the_mirrored_faces(start: float, stop: float) -> None:
    band = Band(
        r_to_mm=20.0, z_from_mm=-0.5, z_to_mm=0.5, clock_from_deg=start, clock_to_deg=stop
    )  # fmt: skip
    seat = Seat("s", "a", "b", band)
    mesh = split_near(square(200.0), seat)
    here = excluded_faces(mesh, seat)
    there = excluded_faces(mirrored_mesh(mesh), mirrored_seat(seat))
    assert len(here) > 0
    assert (here == there).all()
