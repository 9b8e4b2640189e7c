"""What the coarse grid throws away is too far indeed, and what bounds it never bounds too much."""

from __future__ import annotations

import numpy as np
import pytest

from clearturn.gap import _kernels_cull as kernels
from clearturn.gap import _kernels_turning as turning_kernels
from clearturn.gap.cull import grid_of
from clearturn.gap.meridian import axis_frame, project
from clearturn.gap.model import Z_AXIS

_SHARES = np.array([(i, j, 12 - i - j) for i in range(13) for j in range(13 - i)]) / 12.0


def triangles(seed: int, count: int, size: float) -> tuple[np.ndarray, np.ndarray]:
    """Corners (3 count, 3) of triangles strewn about the axis, and their faces."""
    rng = np.random.default_rng(seed)
    middle = rng.uniform(-60.0, 60.0, (count, 1, 3))
    points = (middle + rng.normal(0.0, size, (count, 3, 3))).reshape(-1, 3)
    return points, np.arange(3 * count, dtype=np.int32).reshape(-1, 3)


def mapped(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    rotation, shift = axis_frame(Z_AXIS)
    return project(points, rotation, shift)


def spread(points: np.ndarray) -> np.ndarray:
    """Points all over each triangle, (count, 91, 3)."""
    return np.einsum("sk,tkc->tsc", _SHARES, points.reshape(-1, 3, 3))


@pytest.mark.parametrize("size", [0.05, 1.0, 20.0])
def test_the_quick_radius_is_a_lower_bound_within_a_twentieth_of_a_cell(size: float) -> None:
    points, faces = triangles(1, 2_000, size)
    xyz, rz = mapped(points)
    per_mm = 1.2
    quick = np.array([kernels._low_radius(xyz, rz, *face, per_mm) for face in faces])
    exact = np.array([turning_kernels.least_radius(*xyz[face][:, :2].ravel()) for face in faces])
    seen = np.hypot(*np.moveaxis(spread(points)[:, :, :2], 2, 0)).min(axis=1)
    assert (quick <= seen + 1e-12).all()  # of the surface itself, point by point
    assert (quick <= exact + 1e-12).all()
    assert (quick >= exact - 0.05 / per_mm - 1e-12).all()


@pytest.mark.parametrize(("size", "upper"), [(0.5, 0.5), (0.5, 8.0), (15.0, 2.0)])
def test_no_triangle_that_may_be_nearer_is_thrown_away(size: float, upper: float) -> None:
    points, faces = triangles(2, 400, size)
    others, other_faces = triangles(3, 12, 4.0)
    xyz, rz = mapped(points)
    grid = grid_of(*mapped(others), other_faces, 160, None)
    kept = np.empty(len(faces), np.int32)
    count = kernels.keep_boxes(
        xyz, rz, faces, grid.distance, grid.low_r, grid.low_z, grid.per_mm,
        upper, 0, len(faces), kept,
    )  # fmt: skip
    away = np.setdiff1d(np.arange(len(faces)), kept[:count])
    assert len(away) > 0
    assert count > 0
    mine, theirs = spread(points)[away], spread(others).reshape(-1, 3)
    flat = [
        np.column_stack([np.hypot(p[:, 0], p[:, 1]), p[:, 2]])
        for p in (mine.reshape(-1, 3), theirs)
    ]
    least = min(float(np.linalg.norm(flat[1] - one, axis=1).min()) for one in flat[0])
    assert least > upper
