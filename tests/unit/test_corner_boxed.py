"""A rectangle drawn over a scan: expected boxes and counts follow from the view by hand."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearturn.corner.boxed import box_drawn, box_edges, boxed, square_view, view_from
from clearturn.corner.faces import clean
from clearturn.corner.sources import Source
from clearturn.errors import InputError
from clearturn.job.model import DropBox, DropPiece, Scan
from clearturn.mesh import Mesh

X, Y, Z = np.eye(3)
BOUNDS = [[-10.0, -20.0, -30.0], [10.0, 20.4, 30.0]]


def cubes(*centres: tuple[float, float, float]) -> Source:
    """Cubes of 8 mm, twelve triangles each."""
    made = []
    for centre in centres:
        cube = trimesh.creation.box(extents=(8.0, 8.0, 8.0))
        cube.apply_translation(centre)
        made.append(cube)
    both = trimesh.util.concatenate(made)
    mesh = Mesh(both.vertices, both.faces.astype(np.int32))
    scan = Scan("knuckle", "knuckle.stl", "0" * 64)
    return Source(scan, mesh, np.ones(len(mesh.faces), dtype=np.bool_))


@pytest.mark.parametrize(
    ("eye", "up", "wanted"),
    [
        ((0.62, 0.42, 0.85), (0, 1, 0), (Z, Y)),
        ((-0.9, 0.1, 0.2), (0.1, 0.2, 0.9), (-X, Z)),
        ((0.0, -1.0, 0.0), (0, 0, -1), (-Y, -Z)),
        # Up leans to where one looks from: the next axis that is not the eye's.
        ((0.0, 0.8, 0.6), (-0.3, 0.55, -0.75), (Y, -Z)),
    ],
)
def test_nearest_view_along_an_axis(eye, up, wanted) -> None:
    found = square_view(eye, up)
    assert np.array_equal(found[0], wanted[0])
    assert np.array_equal(found[1], wanted[1])


@pytest.mark.parametrize(
    ("side", "eye", "up"),
    # Seen from +z with y up, +x lies to the right.
    [("right", X, Y), ("left", -X, Y), ("above", Y, -Z), ("below", -Y, Z)],
)
def test_quarter_turn_shows_what_lay_to_that_side(side, eye, up) -> None:
    found = view_from(Z, Y, side)
    assert np.array_equal(found[0], eye)
    assert np.array_equal(found[1], up)


def test_four_quarter_turns_come_back_to_the_same_view() -> None:
    for side in ("right", "left", "above", "below"):
        view = (Z, Y)
        for _ in range(4):
            view = view_from(*view, side)
        assert np.array_equal(view, (Z, Y))


def test_rectangle_is_a_box_through_the_whole_scan() -> None:
    # Drawn from upper right to lower left; the depth of the two points says nothing.
    found = box_drawn(BOUNDS, Z, [(4.004, 7.0, 900.0), (-3.0, -2.0, -5.0)])
    assert found == DropBox("drop box", (-3.0, -2.0, -31.0), (4.0, 7.0, 31.0))
    beyond = box_drawn(BOUNDS, -Y, [(1.0, 500.0, 2.0), (3.0, 500.0, 4.0)])
    assert beyond == DropBox("drop box", (1.0, -21.0, 2.0), (3.0, 22.0, 4.0))


def test_second_rectangle_from_another_side_limits_the_depth_of_the_first() -> None:
    first = box_drawn(BOUNDS, Z, [(-3.0, -2.0, 0.0), (4.0, 7.0, 0.0)])
    second = box_drawn(BOUNDS, X, [(0.0, -1.0, 5.0), (0.0, 6.0, 9.0)], first)
    assert second == DropBox("drop box", (-3.0, -1.0, 5.0), (4.0, 6.0, 9.0))


def test_rectangle_on_a_slanting_view_is_refused() -> None:
    with pytest.raises(InputError, match="along an axis of the scan"):
        box_drawn(BOUNDS, (0.0, 0.01, 1.0), [(0, 0, 0), (1, 1, 1)])


def test_box_takes_what_lies_wholly_in_it_and_nothing_that_was_left_out_before() -> None:
    source = cubes((0, 0, 0), (0, 0, 50), (40, 0, 0))
    through = box_drawn(source.mesh.bounds, Z, [(-5.0, -5.0, 0.0), (5.0, 5.0, 0.0)])
    found = boxed(source, through)
    assert (len(found.faces), found.left) == (24, 12)  # both cubes behind each other, not the third
    centres = source.mesh.vertices[source.mesh.faces[found.faces]].mean(axis=1)
    assert np.abs(centres[:, :2]).max() <= 4.0
    # x from −5 to 3 holds one side of the nearest cube, two triangles, wholly; the rest reach out.
    half = boxed(source, DropBox("drop box", (-5.0, -5.0, -5.0), (3.0, 5.0, 5.0)))
    assert (len(half.faces), half.left) == (2, 34)
    step = DropPiece("drop piece", (0.0, 0.0, 54.0))
    left = Source(source.scan, source.mesh, clean(source.mesh, (step,)).kept)
    assert (len(boxed(left, through).faces), boxed(left, through).left) == (12, 12)


def test_box_beside_the_scan_takes_nothing_and_one_around_it_everything() -> None:
    source = cubes((0, 0, 0))
    beside = boxed(source, DropBox("drop box", (90.0, 0.0, 0.0), (99.0, 9.0, 9.0)))
    assert (len(beside.faces), beside.left) == (0, 12)
    around = boxed(source, DropBox("drop box", (-4.0, -4.0, -4.0), (4.0, 4.0, 4.0)))
    assert (len(around.faces), around.left) == (12, 0)


def test_edges_of_a_box_are_its_twelve() -> None:
    edges = box_edges(DropBox("drop box", (0.0, 0.0, 0.0), (1.0, 2.0, 3.0)))
    lengths = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
    assert sorted(lengths) == [1.0] * 4 + [2.0] * 4 + [3.0] * 4
    assert len({tuple(map(tuple, edge)) for edge in edges}) == 12
    assert {tuple(p) for edge in edges for p in edge} == {
        (x, y, z) for x in (0.0, 1.0) for y in (0.0, 2.0) for z in (0.0, 3.0)
    }
