"""Touching a scan: sizes of the bodies that are touched are given by how they are made."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearturn.corner.faces import clean
from clearturn.corner.sources import Source
from clearturn.corner.touched import (
    datum_drawn,
    feature_lines,
    feature_words,
    outward_at,
    pieces_left,
    reach_mm,
    removed_by,
    spin_of,
    touch,
)
from clearturn.datum import fit_cylinder
from clearturn.errors import FitProblem
from clearturn.job.model import Datum, DropPiece, DropSmallPieces, Scan
from clearturn.mesh import Mesh

RADIUS, HEIGHT = 35.0, 20.0


@pytest.fixture(scope="module")
def source() -> Source:
    """A disc Ø 150 with a spigot Ø 70 × 20 on it, as one skin, and a loose small box beside it."""
    turn = np.radians(np.arange(0.0, 360.0, 3.0))
    # Meridian: disc rim, face from r 75 to 35 at z 0, spigot wall to z 20, its top.
    path = [(75.0, -10.0), (75.0, -5.0), (75.0, 0.0)]
    path += [(r, 0.0) for r in np.linspace(75.0, RADIUS, 14)[1:]]
    path += [(RADIUS, z) for z in np.linspace(0.0, HEIGHT, 9)[1:]]
    path += [(r, HEIGHT) for r in np.linspace(RADIUS, 5.0, 10)[1:]]
    rows = np.array([[(r * np.sin(a), r * np.cos(a), z) for a in turn] for r, z in path])
    vertices, faces, n = rows.reshape(-1, 3), [], len(turn)
    for i in range(len(path) - 1):
        for k in range(n):
            a, b, c, d = i * n + k, i * n + (k + 1) % n, (i + 1) * n + k, (i + 1) * n + (k + 1) % n
            faces += [(a, c, b), (b, c, d)]
    loose = trimesh.creation.box(extents=(4.0, 4.0, 4.0))
    both = np.concatenate([faces, loose.faces + len(vertices)])
    mesh = Mesh(np.concatenate([vertices, loose.vertices + np.array([120.0, 0.0, 0.0])]), both)
    scan = Scan("knuckle", "a.stl", "0" * 64)
    return Source(scan, mesh, np.ones(len(mesh.faces), bool))


def test_spigot_is_a_cylinder_of_its_diameter_and_its_axis_goes_beyond_it(source: Source) -> None:
    found = touch(source, (100.0, 0.0, 10.0), (-1.0, 0.0, 0.0))
    assert found is not None
    assert found.proposal is not None
    assert found.proposal.feature == "cylinder"
    assert "cylinder Ø 70.00" in feature_words(found.proposal)
    lines = feature_lines(found.proposal, found.patch)
    assert lines.outline is None
    assert lines.axis is not None
    assert lines.axis[:, :2] == pytest.approx(0.0, abs=0.01)
    assert np.ptp(lines.axis[:, 2]) > 30.0


def test_face_is_a_plane_that_looks_outward_with_an_outline_in_it(source: Source) -> None:
    found = touch(source, (55.0, 3.0, 100.0), (0.0, 0.0, -1.0))
    assert found is not None
    assert found.proposal is not None
    assert found.proposal.feature == "plane"
    lines = feature_lines(found.proposal, found.patch)
    assert lines.axis is None
    assert lines.outline is not None
    assert lines.outline[:, 2] == pytest.approx(0.0, abs=1e-6)
    # The middle of the face, so that growing starts inside it.
    assert 35.0 < np.hypot(*found.seed_mm[:2]) < 75.0


def test_a_surface_seen_all_round_has_no_side_and_is_touched_all_the_same() -> None:
    # Its normals add up to nothing.
    ring = trimesh.creation.annulus(r_min=30.0, r_max=75.0, height=12.0, sections=180)
    mesh = Mesh(ring.vertices, ring.faces)
    scan = Scan("knuckle", "ring.stl", "0" * 64)
    source = Source(scan, mesh, np.ones(len(mesh.faces), bool))
    found = touch(source, (100.0, 0.3, 0.1), (-1.0, 0.0, 0.0))
    assert found is not None
    assert found.proposal is not None
    assert "cylinder Ø 150.00" in feature_words(found.proposal)
    with pytest.raises(FitProblem, match="looks to no side"):
        outward_at(source, (75.0, 0.3, 0.1))


def test_touch_beside_everything_is_none_and_a_patch_too_small_is_refused(source: Source) -> None:
    assert touch(source, (0.0, 90.0, 50.0), (0.0, 0.0, -1.0)) is None
    with pytest.raises(FitProblem, match="too small to tell what it is"):
        touch(source, (120.5, 0.0, 50.0), (0.0, 0.0, -1.0))


def test_a_piece_lights_up_whole(source: Source) -> None:
    found = touch(source, (120.5, 0.0, 50.0), (0.0, 0.0, -1.0), piece=True)
    assert found is not None
    assert found.proposal is None
    assert len(found.faces) == 12  # of a box


def test_radius_and_height_are_counted_from_the_touched_axis(source: Source) -> None:
    face, wall = (55.0, 0.0, 0.0), (35.0, 0.0, 10.0)
    spin = spin_of(source, face, wall, wheel=False)
    assert spin.r_z((30.0, 40.0, 7.0)) == pytest.approx((50.0, 7.0), abs=0.01)
    # A wheel's pad looks inboard: heights grow the other way.
    assert spin_of(source, face, wall, wheel=True).r_z((30.0, 40.0, 7.0)) == pytest.approx(
        (50.0, -7.0), abs=0.01
    )
    assert outward_at(source, face)[2] == pytest.approx(1.0, abs=1e-3)


def test_reach_of_the_face_is_its_outer_radius(source: Source) -> None:
    points = source.mesh.vertices[np.isclose(np.hypot(*source.mesh.vertices[:, :2].T), RADIUS)]
    axis = fit_cylinder(points)
    assert reach_mm(source, (55.0, 0.0, 0.0), axis) == pytest.approx(75.0, abs=0.01)


def test_each_cleaning_step_tells_what_it_took(source: Source) -> None:
    steps = (DropSmallPieces("drop small pieces", 20), DropPiece("drop piece", (55.0, 0.0, 0.0)))
    scan = Scan("knuckle", "a.stl", "0" * 64, cleaning=steps)
    cleaned = Source(scan, source.mesh, clean(source.mesh, steps).kept)
    large = f"{len(source.mesh.faces) - 12:,}"
    assert removed_by(cleaned) == (
        "12 triangles left out, 1 whole piece",
        f"{large} triangles left out, 1 whole piece",
    )


def test_the_pieces_that_cleaning_leaves_are_counted_the_largest_first(source: Source) -> None:
    both = (len(source.mesh.faces) - 12, 12)
    steps = (DropSmallPieces("drop small pieces", 20), DropPiece("drop piece", (55.0, 0.0, 0.0)))
    for count, left in enumerate((both, both[:1], ())):
        kept = clean(source.mesh, steps[:count]).kept
        assert pieces_left(Source(source.scan, source.mesh, kept)) == left


def test_a_datum_is_drawn_through_its_patches_as_a_touch_is(source: Source) -> None:
    seed = (RADIUS, 0.0, 10.0)
    lines, faces = datum_drawn(Datum("register", "knuckle", "cylinder", (seed,)), source)
    assert lines.axis is not None
    assert lines.axis[:, :2] == pytest.approx(0.0, abs=0.01)
    corners = source.mesh.vertices[source.mesh.faces[faces]]
    # Every face on the spigot's wall, and none beside it.
    assert np.hypot(corners[..., 0], corners[..., 1]) == pytest.approx(RADIUS)
    assert len(faces) == 8 * 2 * 120
