"""Lines of equal gap lie where their closed form says."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from clearturn.envelope.sweep import revolved
from clearturn.errors import Cancelled
from clearturn.gap import level_lines
from clearturn.mesh import Mesh
from clearturn.progress import Progress

# A flat face of two triangles at x = 180, y from −60 to 60, z from 0 to 20, within a barrel of
# radius 200: over a turn its gap is 200 − √(180² + y²), from 20 in its middle to 10.3 at its ends.
_BOX = trimesh.creation.box(bounds=[(150.0, -60.0, 0.0), (180.0, 60.0, 20.0)])
BLOCK = Mesh(_BOX.vertices, _BOX.faces)
FACE = np.flatnonzero((BLOCK.corners[:, :, 0] > 179.9).all(axis=1))
BARREL = revolved(np.array([(200.0, -50.0), (205.0, -50.0), (205.0, 60.0), (200.0, 60.0)]), 1440)


@pytest.mark.parametrize("level", [12.0, 15.0, 19.0])
def test_two_straight_lines_across_a_flat_face_within_a_barrel(level: float) -> None:
    (line,) = level_lines(BLOCK, FACE, BARREL, [level], turning=True)
    y = math.sqrt((200.0 - level) ** 2 - 180.0**2)
    points = line.reshape(-1, 3)
    assert np.abs(points[:, 0] - 180.0).max() < 1e-6
    # Half a side of 2 mm off, a gap that bends by 1/200 a millimetre lies 0.003 mm off, and the
    # line that over its slope, y/√(180² + y²).
    slope = y / math.hypot(180.0, y)
    assert np.abs(np.abs(points[:, 1]) - y).max() < 0.006 / slope
    lengths = np.linalg.norm(line[:, 1] - line[:, 0], axis=1)
    for side in (-1.0, 1.0):
        assert lengths[line[:, 0, 1] * side > 0].sum() == pytest.approx(20.0, rel=0.01)
        z = points[points[:, 1] * side > 0][:, 2]
        assert (z.min(), z.max()) == pytest.approx((0.0, 20.0), abs=1e-6)


def test_levels_that_are_not_met_and_no_levels_give_nothing() -> None:
    under, over = level_lines(BLOCK, FACE, BARREL, [5.0, 25.0], turning=True)
    assert len(under) == len(over) == 0
    assert level_lines(BLOCK, FACE, BARREL, [], turning=True) == ()
    (none,) = level_lines(BLOCK, [], BARREL, [12.0], turning=True)
    assert none.shape == (0, 2, 3)


def test_a_still_pair_is_taken_as_it_stands() -> None:
    # A sphere of radius 10, its middle 15 mm off the face: gap √(d² + 15²) − 10, 8 at d = 9.95
    ball = trimesh.creation.icosphere(subdivisions=5, radius=10.0)
    ball.apply_translation((195.0, 0.0, 10.0))
    (line,) = level_lines(BLOCK, FACE, Mesh(ball.vertices, ball.faces), [8.0], turning=False)
    points = line.reshape(-1, 3)
    off = np.hypot(points[:, 1], points[:, 2] - 10.0)
    assert np.abs(off - math.sqrt(18.0**2 - 15.0**2)).max() < 0.08


def test_it_can_be_cancelled() -> None:
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        level_lines(BLOCK, FACE, BARREL, [12.0], turning=True, progress=progress)
