"""Cleaning: each step takes what it says and nothing else, and says what it took."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearturn.errors import Cancelled, InputError
from clearturn.mesh import Mesh, join
from clearturn.progress import Progress
from clearturn.scan import (
    STANDARD_STEPS,
    ChangeUnit,
    CleanResult,
    DropBadTriangles,
    DropBand,
    DropBeyondPlane,
    DropBox,
    DropPiece,
    DropSmallPieces,
    FillHoles,
    KeepBox,
    Step,
    TurnFlippedPieces,
    clean,
    survey,
)

trimesh = pytest.importorskip("trimesh")


def ball(radius: float = 80.0, at: tuple[float, float, float] = (0, 0, 0), fine: int = 4) -> Mesh:
    shape = trimesh.creation.icosphere(subdivisions=fine, radius=radius)
    return Mesh(shape.vertices + np.asarray(at, np.float64), shape.faces)


def grid(n: int = 20, step: float = 5.0) -> Mesh:
    """A flat square sheet in z = 0 with its normals up."""
    x, y = np.meshgrid(np.arange(n) * step, np.arange(n) * step, indexing="ij")
    points = np.stack([x.ravel(), y.ravel(), np.zeros(n * n)], axis=1)
    i, j = (a.ravel() for a in np.meshgrid(np.arange(n - 1), np.arange(n - 1), indexing="ij"))
    a, b, c, d = i * n + j, (i + 1) * n + j, (i + 1) * n + j + 1, i * n + j + 1
    return Mesh(points, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]))


def without(mesh: Mesh, faces: list[int]) -> Mesh:
    keep = np.ones(len(mesh.faces), np.bool_)
    keep[faces] = False
    return mesh.part(keep)


def corners_kept(mesh: Mesh, result: CleanResult) -> bool:
    """Whether every triangle that was not invented is the one it says it comes from."""
    real = ~result.invented
    before = np.sort(mesh.corners[result.face_origin[real]], axis=1)
    return np.array_equal(before, np.sort(result.mesh.corners[real], axis=1))


def kept(mesh: Mesh, *steps: Step) -> CleanResult:
    before = mesh.sha256
    result = clean(mesh, steps)
    assert mesh.sha256 == before
    assert corners_kept(mesh, result)
    assert len(np.unique(result.mesh.faces)) == len(result.mesh.vertices)
    return result


def test_no_step_gives_the_mesh_itself() -> None:
    mesh = ball()
    result = clean(mesh, [])
    assert result.mesh is mesh
    assert result.face_origin.tolist() == list(range(len(mesh.faces)))
    assert (result.invented.any(), result.steps, result.findings) == (False, (), ())


def test_bad_triangles_go_and_the_first_of_each_stays() -> None:
    mesh = ball(fine=2)
    bad = np.concatenate([mesh.faces[[5, 9]], mesh.faces[[7]][:, ::-1], [[3, 3, 8], [1, 1, 1]]])
    order = np.random.default_rng(1).permutation(len(mesh.faces) + 5)
    dirty = Mesh(mesh.vertices, np.concatenate([mesh.faces, bad])[order])
    result = kept(dirty, DropBadTriangles())
    assert result.steps[0].removed_triangles == 5
    found = survey(result.mesh)
    assert (found.degenerate_triangles, found.duplicate_triangles, found.open_edges) == (0, 0, 0)
    assert len(result.mesh.faces) == len(mesh.faces)
    lost = set(range(len(dirty.faces))) - set(result.face_origin.tolist())
    key = np.sort(dirty.faces, axis=1)
    for face in lost:
        same = np.flatnonzero((key == key[face]).all(axis=1))
        assert len(set(key[face].tolist())) < 3 or same.min() < face
    assert [f.code for f in result.findings] == ["triangles-left-out"]


def test_small_pieces_go_by_triangles_or_by_size() -> None:
    specks = [ball(1.0, (100.0 + 5 * k, 0, 0), fine=1) for k in range(7)]
    large_coarse = Mesh([[0, 0, 300], [90, 0, 300], [0, 90, 300]], [[0, 1, 2]])
    mesh = join([ball(), *specks, large_coarse])
    by_count = kept(mesh, DropSmallPieces(below_triangles=81))
    assert (by_count.steps[0].removed_pieces, by_count.steps[0].removed_triangles) == (8, 561)
    by_size = kept(mesh, DropSmallPieces(below_mm=5.0))
    assert (by_size.steps[0].removed_pieces, by_size.steps[0].removed_triangles) == (7, 560)
    # exactly at the bound stays
    assert kept(mesh, DropSmallPieces(below_triangles=80)).steps[0].removed_pieces == 1


def test_touched_piece_goes_by_its_surface_not_its_corners() -> None:
    wide = Mesh([[0, 0, 0], [900, 0, 0], [0, 900, 0]], [[0, 1, 2]])
    near = ball(5.0, (200, 200, 40))
    mesh = join([wide, near])
    # 300, 300 lies on the wide triangle, far from its corners, nearer to corners of the ball
    result = kept(mesh, DropPiece((200.0, 200.0, 1.0)))
    assert len(result.mesh.faces) == len(near.faces)
    assert result.steps[0].removed_pieces == 1
    result = kept(mesh, DropPiece((200.0, 200.0, 34.0)))
    assert len(result.mesh.faces) == 1


@given(st.tuples(*[st.floats(-90, 90)] * 3), st.tuples(*[st.floats(-1, 1)] * 3).filter(any))
def test_plane_takes_what_lies_wholly_beyond(
    point: tuple[float, float, float], normal: tuple[float, float, float]
) -> None:
    mesh = ball(fine=2)
    beyond = (mesh.vertices - np.array(point)) @ np.array(normal) > 0
    want = np.flatnonzero(~beyond[mesh.faces].all(axis=1))
    if len(want) == 0:
        with pytest.raises(InputError, match="leaves nothing"):
            clean(mesh, [DropBeyondPlane(point, normal)])
        return
    result = kept(mesh, DropBeyondPlane(point, normal))
    assert result.face_origin.tolist() == want.tolist()


def test_boxes_take_and_keep_what_lies_wholly_inside() -> None:
    mesh = grid()
    low, high = (9.0, 9.0, -1.0), (41.0, 31.0, 1.0)
    inside = ((mesh.vertices >= low) & (mesh.vertices <= high)).all(axis=1)[mesh.faces].all(axis=1)
    # 10 … 40 by 10 … 30 in steps of 5: 6 × 4 squares of two triangles
    assert inside.sum() == 48
    assert kept(mesh, KeepBox(low, high)).face_origin.tolist() == np.flatnonzero(inside).tolist()
    assert kept(mesh, DropBox(low, high)).face_origin.tolist() == np.flatnonzero(~inside).tolist()


@pytest.mark.parametrize("axis", [(0.0, 0.0, 1.0), (0.0, 3.0, 0.0), (1.0, -2.0, 0.5)])
def test_band_is_a_body_of_revolution_about_any_axis(axis: tuple[float, float, float]) -> None:
    mesh = ball(fine=4)
    along = np.array(axis) / np.linalg.norm(axis)
    point = (3.0, -4.0, 5.0)
    away = mesh.vertices - np.array(point)
    z = away @ along
    r = np.linalg.norm(away - z[:, None] * along, axis=1)
    inside = ((r >= 20) & (r <= 60) & (z >= 10))[mesh.faces].all(axis=1)
    step = DropBand(20.0, 60.0, 10.0, None, point, axis)
    assert 0 < inside.sum() < len(inside)
    assert kept(mesh, step).face_origin.tolist() == np.flatnonzero(~inside).tolist()


def test_flipped_pieces_are_turned_and_cavities_are_not() -> None:
    shell, inner, far = ball(80.0), ball(20.0), ball(10.0, (200, 0, 0))
    cavity = Mesh(inner.vertices, inner.faces[:, ::-1])
    flipped = Mesh(far.vertices, far.faces[:, ::-1])
    mesh = join([shell, cavity, flipped])
    result = kept(mesh, TurnFlippedPieces())
    assert result.steps[0].turned_triangles == len(far.faces)
    found = survey(result.mesh)
    want = survey(shell).volume_mm3 - survey(inner).volume_mm3 + survey(far).volume_mm3
    assert found.volume_mm3 == pytest.approx(want, rel=1e-12)
    assert found.flipped_pieces == 0


@pytest.mark.parametrize("missing", [[0], [0, 1], [100, 101, 102], list(range(40, 60))])
def test_filled_holes_close_the_mesh_and_stay_marked(missing: list[int]) -> None:
    whole = ball(fine=3)
    mesh = without(whole, missing)
    result = kept(mesh, FillHoles(150.0))
    found = survey(result.mesh)
    assert (found.open_edges, found.turned_edges, found.non_manifold_edges) == (0, 0, 0)
    assert (result.face_origin[result.invented] == -1).all()
    assert result.invented.sum() == result.steps[0].invented_triangles > 0
    # no new points, so the filled ball lies inside the ball and outside the hole's chord
    assert len(result.mesh.vertices) <= len(mesh.vertices)
    assert 0.98 * survey(whole).volume_mm3 < found.volume_mm3 <= survey(whole).volume_mm3 + 1e-9
    (finding,) = (f for f in result.findings if f.code == "invented-surface")
    assert finding.severity == "warning"


def test_a_flat_hole_is_filled_flat_with_the_missing_area() -> None:
    mesh = grid(12)
    inner = ((mesh.corners.mean(axis=1) - [27.5, 27.5, 0.0]) ** 2).sum(axis=1) < 15.0**2
    result = kept(without(mesh, np.flatnonzero(inner).tolist()), FillHoles(60.0))
    assert result.steps[0].filled_holes == 1  # and not the sheet's outer rim
    assert result.steps[0].invented_area_mm2 == pytest.approx(inner.sum() * 12.5, rel=1e-12)
    normals = np.cross(*np.swapaxes(np.diff(result.mesh.corners, axis=1), 0, 1))
    assert (normals[:, 2] > 0).all()


def test_holes_above_the_size_stay() -> None:
    mesh = without(ball(fine=3), [0, 1, 2, 3])
    result = kept(mesh, FillHoles(1.0))
    assert result.mesh is mesh
    assert [f.code for f in result.findings] == ["step-without-effect"]


def test_a_loose_triangle_is_no_hole_and_rims_that_touch_are_closed_each() -> None:
    loose = Mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0]], [[0, 1, 2]])
    assert kept(loose, FillHoles(50.0)).steps[0].filled_holes == 0
    sheet = grid(8)
    # two square holes that meet in one point
    centre = sheet.corners.mean(axis=1)
    square = np.floor(centre[:, :2] / 5.0)
    hole = (square == [2, 2]).all(axis=1) | (square == [3, 3]).all(axis=1)
    result = kept(without(sheet, np.flatnonzero(hole).tolist()), FillHoles(20.0))
    assert (result.steps[0].filled_holes, result.steps[0].holes_left) == (2, 0)
    assert result.steps[0].invented_area_mm2 == pytest.approx(50.0)
    assert survey(result.mesh).open_edges == survey(sheet).open_edges


def test_a_rim_beside_a_turned_triangle_is_left() -> None:
    mesh = ball(fine=3)
    faces = mesh.faces.copy()
    first = int(faces[0, 0])
    beside = int(np.flatnonzero((faces[1:] == first).any(axis=1))[0]) + 1
    faces[beside] = faces[beside, ::-1]
    result = clean(without(Mesh(mesh.vertices, faces), [0]), [FillHoles(60.0)])
    assert result.steps[0].filled_holes + result.steps[0].holes_left >= 1
    assert survey(result.mesh).non_manifold_edges == 0


def test_filling_never_makes_an_edge_of_three_triangles() -> None:
    # two neighbouring triangles missing on a tetrahedron: the only chord is an edge already
    points = [[0, 0, 0], [60, 0, 0], [0, 60, 0], [0, 0, 60]]
    mesh = Mesh(points, [[0, 2, 1], [0, 1, 3]])
    result = kept(mesh, FillHoles(500.0))
    found = survey(result.mesh)
    assert found.non_manifold_edges == 0
    assert found.open_edges == 0
    assert found.volume_mm3 == pytest.approx(60**3 / 6)


def test_unit_step_scales_and_keeps_the_triangles() -> None:
    mesh = ball(8.0, fine=2)
    result = clean(mesh, [ChangeUnit("cm", "in")])
    assert np.allclose(result.mesh.vertices, mesh.vertices * 2.54, rtol=1e-15)
    assert np.array_equal(result.mesh.faces, mesh.faces)
    assert [f.code for f in result.findings] == ["unit-changed"]


def test_steps_follow_each_other_and_origins_go_back_to_the_first_mesh() -> None:
    bench = grid(30, 10.0)
    bench = Mesh(bench.vertices + np.array([-145.0, -145.0, -81.0]), bench.faces)
    speck = ball(0.5, (70, 70, 70), fine=1)
    part = without(ball(fine=3), [17])
    dirty = join([bench, speck, Mesh(part.vertices, part.faces[:, ::-1])])
    dirty = Mesh(dirty.vertices, np.concatenate([dirty.faces, dirty.faces[-3:], [[5, 5, 6]]]))
    steps = (
        DropBadTriangles(),
        DropBeyondPlane((0.0, 0.0, -80.5), (0.0, 0.0, -1.0)),
        DropSmallPieces(below_mm=3.0),
        TurnFlippedPieces(),
        FillHoles(30.0),
    )
    result = kept(dirty, *steps)
    assert len(result.steps) == 5
    assert all(step.did_something for step in result.steps)
    found = survey(result.mesh)
    assert (found.pieces, found.open_edges, found.flipped_pieces) == (1, 0, 0)
    assert found.volume_mm3 == pytest.approx(survey(ball(fine=3)).volume_mm3, rel=1e-3)
    # the same again gives the same bits; dropping the last step undoes it
    assert clean(dirty, steps).mesh.sha256 == result.mesh.sha256
    undone = clean(dirty, steps[:-1])
    assert not undone.invented.any()
    assert survey(undone.mesh).open_edges == 3


def test_standard_steps_take_no_measured_surface() -> None:
    mesh = without(ball(fine=3), [4, 5])
    assert clean(mesh, STANDARD_STEPS).mesh is mesh


@pytest.mark.parametrize("threads", ["1", "3"])
def test_same_bits_on_any_number_of_threads(monkeypatch: pytest.MonkeyPatch, threads: str) -> None:
    rng = np.random.default_rng(4)
    faces = rng.integers(0, 400, (20_000, 3))
    mesh = Mesh(rng.normal(0, 50, (400, 3)), faces)
    want = clean(mesh, [DropBadTriangles()]).mesh.sha256
    monkeypatch.setenv("CLEARTURN_THREADS", threads)
    monkeypatch.setattr("clearturn.scan.inventory.SHARE_FACES", 1000)
    monkeypatch.setattr("clearturn.scan.inventory.SLICE", 777)
    assert clean(Mesh(mesh.vertices, faces), [DropBadTriangles()]).mesh.sha256 == want


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (DropSmallPieces, "needs a size"),
        (lambda: DropSmallPieces(below_mm=math.nan), "finite"),
        (lambda: DropBeyondPlane((0, 0, 0), (0, 0, 0)), "not be zero"),
        (lambda: DropBeyondPlane((0, math.inf, 0), (0, 0, 1)), "finite"),
        (lambda: KeepBox((0, 0, 5), (1, 1, 1)), "swap"),
        (DropBand, "needs an end"),
        (lambda: DropBand(1.0, axis_direction=(0, 0, 0)), "not be zero"),
        (lambda: FillHoles(0.0), "above zero"),
        (lambda: FillHoles(math.inf), "finite"),
        (lambda: ChangeUnit("mm", "ft"), "ft"),
        (lambda: DropPiece((math.nan, 0, 0)), "finite"),
    ],
)
def test_steps_without_sense_are_refused(make: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        make()  # type: ignore[operator]


def test_steps_are_values_that_can_be_recorded() -> None:
    for step in (*STANDARD_STEPS, FillHoles(3.0), DropBand(1.0), KeepBox((0, 0, 0), (1, 1, 1))):
        assert hash(step) == hash(dataclasses.replace(step))
    with pytest.raises(dataclasses.FrozenInstanceError):
        FillHoles(3.0).up_to_mm = 4.0  # type: ignore[misc]


def test_a_step_that_leaves_nothing_is_named() -> None:
    with pytest.raises(InputError, match=r"step 2 \(KeepBox\).*nothing"):
        clean(ball(fine=1), [DropBadTriangles(), KeepBox((900, 900, 900), (901, 901, 901))])


def test_cleaning_can_be_cancelled() -> None:
    progress = Progress(lambda fraction, text: progress.cancel() if fraction > 0.4 else None)
    steps = (DropBadTriangles(), TurnFlippedPieces(), FillHoles(3.0))
    with pytest.raises(Cancelled):
        clean(ball(fine=3), steps, progress)
    told: list[float] = []
    whole = clean(ball(fine=3), steps, Progress(lambda fraction, text: told.append(fraction)))
    assert told == sorted(told)
    assert whole.mesh.sha256 == clean(ball(fine=3), steps).mesh.sha256


def weight(points: np.ndarray, triangles: object) -> float:
    t = points[np.asarray(triangles)]
    area = np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1).sum() / 2
    return float(area + 0.01 * ((t - np.roll(t, 1, axis=1)) ** 2).sum())


@pytest.mark.parametrize("n", [3, 4, 5, 6, 7])
def test_rim_skin_is_the_least_of_all(n: int) -> None:
    from clearturn.scan import _kernels_clean as kernels

    points = np.random.default_rng(n).normal(0, 10, (n, 3))
    taken = np.zeros((n, n), np.bool_)
    triangles = np.empty((n - 2, 3), np.int32)
    got = kernels.close_rim(points, taken, triangles)
    assert got == pytest.approx(min(weight(points, t) for t in all_skins(0, n - 1)), rel=1e-12)
    assert got == pytest.approx(weight(points, triangles.tolist()), rel=1e-12)


def test_points_on_a_line_have_no_skin() -> None:
    from clearturn.scan import _kernels_clean as kernels

    points = np.arange(5.0)[:, None] * [1.0, 2.0, 3.0]
    triangles = np.empty((3, 3), np.int32)
    assert kernels.close_rim(points, np.zeros((5, 5), np.bool_), triangles) == np.inf


def all_skins(i: int, j: int) -> list[list[list[int]]]:
    """Every way to cut a ring into triangles."""
    if j - i < 2:
        return [[]]
    return [
        [*left, *right, [i, k, j]]
        for k in range(i + 1, j)
        for left in all_skins(i, k)
        for right in all_skins(k, j)
    ]
