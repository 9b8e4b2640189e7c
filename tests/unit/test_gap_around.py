"""The gap against clock position, for faces and edges as for corners."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from clearturn.envelope.boxes import radial_box
from clearturn.envelope.sweep import revolved
from clearturn.errors import Cancelled, InputError
from clearturn.gap import clock_gaps, gaps_around, surface_distances, turning_gap
from clearturn.gap.around import WITHIN_MM
from clearturn.mesh import Mesh
from clearturn.progress import Progress

BARREL = revolved(np.array([(200.0, -50.0), (205.0, -50.0), (205.0, 60.0), (200.0, 60.0)]), 720)


def coarse_block(outer: float = 180.0, half_wide: float = 60.0) -> Mesh:
    """A box of twelve triangles at clock 90°, its flat outer face towards the barrel."""
    box = trimesh.creation.box(bounds=[(150.0, -half_wide, 0.0), (outer, half_wide, 20.0)])
    return Mesh(np.asarray(box.vertices), np.asarray(box.faces, dtype=np.int32), "block")


def test_a_coarse_flat_face_is_told_as_its_closed_form_in_every_slice() -> None:
    # r = 180 / cos φ on the face, φ from its middle: the gap to the barrel is 200 − r, least at the
    # end of the slice that is farther from the middle; the corners lie at ±18.43°
    found = gaps_around(coarse_block(), BARREL, limit_mm=60.0)
    phi = found.clock_deg - 90.0
    far = np.minimum(np.abs(phi) + 0.5, math.degrees(math.atan2(60.0, 180.0)))
    on_face = np.abs(phi) < 18.0
    wanted = 200.0 - 180.0 / np.cos(np.radians(far))
    known = np.isfinite(found.gap_mm)
    assert on_face.sum() == 36
    assert known[on_face].all()
    # the barrel's 720 chords lie up to 200 (1 − cos 0.25°) = 0.0019 mm within its radius
    over = found.gap_mm[on_face] - wanted[on_face]
    assert over.min() > -0.003
    assert over.max() < WITHIN_MM
    # its corners alone would have known four slices
    corners = coarse_block().vertices
    bare = clock_gaps(corners, surface_distances(corners, BARREL, turning=True).distance_mm)
    assert np.isfinite(bare.gap_mm).sum() == 4


@pytest.mark.parametrize("seed", range(6))
def test_dense_subdivision_of_both_never_lies_outside(seed: int) -> None:
    random = np.random.default_rng(seed)
    block = coarse_block(float(random.uniform(170, 190)), float(random.uniform(10, 60)))
    turn = trimesh.transformations.random_rotation_matrix(random.random(3))[:3, :3]
    away = np.array([*random.uniform(-90, 90, 2), random.uniform(-20, 20)])
    block = Mesh((block.vertices - [165.0, 0.0, 10.0]) @ turn.T + [120.0, 0, 0] + away, block.faces)
    other = trimesh.creation.annulus(60.0, 70.0, 25.0).apply_translation([0, 0, -30.0])
    turning = Mesh(np.asarray(other.vertices), np.asarray(other.faces, dtype=np.int32), "ring")
    found = gaps_around(block, turning, limit_mm=400.0)

    points, _ = trimesh.remesh.subdivide_to_size(block.vertices, block.faces, 0.8, max_iter=20)
    truth = clock_gaps(points, surface_distances(points, turning, turning=True).distance_mm)
    both = np.isfinite(truth.gap_mm) & np.isfinite(found.gap_mm)
    assert both.sum() >= 10
    assert np.isfinite(found.gap_mm)[np.isfinite(truth.gap_mm)].all()
    assert (found.gap_mm[both] <= truth.gap_mm[both] + WITHIN_MM).all()
    # a sample is 0.8 mm at most from the place told, and distance is 1-Lipschitz
    assert (truth.gap_mm[both] <= found.gap_mm[both] + 0.8).all()
    gap = turning_gap(block, turning).gap_mm
    assert np.nanmin(found.gap_mm) >= max(gap.lower, 0.0) - 1e-9
    assert np.nanmin(found.gap_mm) <= max(gap.upper, 0.0) + WITHIN_MM


def test_a_part_that_reaches_through_is_told_as_touching_where_it_does() -> None:
    # its corners lie 10.6 mm beyond the barrel's outside and its back 45 mm within: 0 between
    block = radial_box(90.0, (150.0, 215.0), (0.0, 20.0), 60.0)
    found = gaps_around(block, BARREL, limit_mm=60.0)
    known = np.isfinite(found.gap_mm)
    assert known.any()
    assert (found.gap_mm[np.abs(found.clock_deg - 90.0) < 7.0] <= WITHIN_MM).all()


def test_what_lies_out_of_reach_is_not_known_and_costs_no_end() -> None:
    found = gaps_around(coarse_block(), BARREL, limit_mm=15.0)
    assert np.nanmax(found.gap_mm) <= 15.0
    assert np.isnan(found.gap_mm[np.abs(found.clock_deg - 90.0) < 12.0]).all()


def test_a_part_round_the_axis_is_known_all_round() -> None:
    disc = trimesh.creation.cylinder(190.0, 4.0, sections=8)
    found = gaps_around(Mesh(disc.vertices, disc.faces.astype(np.int32)), BARREL, limit_mm=60.0)
    assert np.isfinite(found.gap_mm).all()
    # an octagon: 10 mm at its corners, 200 − 190 cos 22.5° between
    assert found.gap_mm.min() == pytest.approx(10.0, abs=0.01)
    assert found.gap_mm.max() == pytest.approx(200.0 - 190.0 * math.cos(math.pi / 8), abs=0.2)


def test_it_can_be_cancelled_and_needs_a_surface() -> None:
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        gaps_around(coarse_block(), BARREL, limit_mm=60.0, progress=progress)
    none = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), "nothing")
    with pytest.raises(InputError, match="'nothing' has no triangles"):
        gaps_around(coarse_block(), none, limit_mm=60.0)
