"""Taking stock: counts on meshes made so that the answer is known, and against trimesh."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from places import REAL_MESHES

from clearturn.errors import Cancelled
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.scan import piece_labels, read_scan, survey
from clearturn.scan.unit import size_finding

trimesh = pytest.importorskip("trimesh")


CUBE_POINTS = np.array([[x, y, z] for x in (0, 60) for y in (0, 60) for z in (0, 60)], np.float64)
CUBE_FACES = np.array(
    [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]
)  # fmt: skip


def cube(size: float = 60.0, at: float = 0.0, inward: bool = False) -> Mesh:
    faces = CUBE_FACES[:, ::-1] if inward else CUBE_FACES
    return Mesh(CUBE_POINTS * (size / 60.0) + at, faces)


def together(*meshes: Mesh) -> Mesh:
    points, faces, count = [], [], 0
    for mesh in meshes:
        points.append(mesh.vertices)
        faces.append(mesh.faces + count)
        count += len(mesh.vertices)
    return Mesh(np.concatenate(points), np.concatenate(faces))


def codes(mesh: Mesh) -> set[str]:
    return {finding.code for finding in survey(mesh).findings}


def test_cube_has_the_measures_of_a_cube() -> None:
    found = survey(cube())
    assert (found.pieces, found.open_edges, found.non_manifold_edges) == (1, 0, 0)
    assert (found.degenerate_triangles, found.duplicate_triangles, found.flipped_pieces) == (
        0,
        0,
        0,
    )
    assert found.area_mm2 == pytest.approx(6 * 60**2, rel=1e-14)
    assert found.volume_mm3 == pytest.approx(60**3, rel=1e-14)
    # 12 sides and 6 diagonals
    assert found.mean_edge_mm == pytest.approx((12 * 60 + 6 * 60 * math.sqrt(2)) / 18, rel=1e-14)
    assert found.findings == ()


def test_an_open_box_has_no_volume_and_four_open_edges() -> None:
    found = survey(Mesh(CUBE_POINTS, CUBE_FACES[2:]))
    assert (found.open_edges, found.volume_mm3) == (4, None)
    assert found.open_length_mm == pytest.approx(240.0)
    assert found.flipped_pieces == 0


@pytest.mark.parametrize(
    ("side_mm", "told"), [(60.0, "(240 mm in all)"), (3580.25, "(14,321 mm in all)")]
)
def test_the_length_of_open_edges_is_told_as_a_length_is_written(side_mm: float, told: str) -> None:
    found = survey(Mesh(CUBE_POINTS * (side_mm / 60.0), CUBE_FACES[2:]))
    (line,) = [one.text for one in found.findings if one.code == "open-edges"]
    assert told in line  # four sides of the missing face


def test_three_sheets_on_one_edge_are_not_a_manifold() -> None:
    points = [[0, 0, 0], [60, 0, 0], [0, 60, 0], [0, 0, 60], [0, -60, 0]]
    found = survey(Mesh(points, [[0, 1, 2], [0, 1, 3], [1, 0, 4]]))
    assert (found.non_manifold_edges, found.open_edges) == (1, 6)


def test_a_turned_neighbour_is_found_and_takes_the_volume_away() -> None:
    faces = CUBE_FACES.copy()
    faces[4] = faces[4, ::-1]
    found = survey(Mesh(CUBE_POINTS, faces))
    assert (found.turned_edges, found.open_edges, found.volume_mm3) == (3, 0, None)
    assert "mixed-winding" in codes(Mesh(CUBE_POINTS, faces))


@pytest.mark.parametrize("turn", [[0, 1, 2], [1, 2, 0], [2, 1, 0], [0, 2, 1]])
def test_duplicates_count_in_either_winding_and_do_not_spoil_the_rest(turn: list[int]) -> None:
    faces = np.concatenate([CUBE_FACES, CUBE_FACES[[3, 3, 7]][:, turn]])
    found = survey(Mesh(CUBE_POINTS, faces))
    assert found.duplicate_triangles == 3
    assert (found.open_edges, found.non_manifold_edges, found.turned_edges) == (0, 0, 0)
    assert found.volume_mm3 == pytest.approx(60**3)
    assert found.area_mm2 == pytest.approx(6 * 60**2)
    assert found.states.tolist() == [0] * 12 + [3] * 3  # the first one stays


def test_degenerate_triangles_of_every_kind() -> None:
    points = np.vstack([CUBE_POINTS, [[30, 0, 0], [1e9, 1e9, 1e9]]])
    bad = [[0, 0, 1], [0, 1, 0], [1, 0, 0], [5, 5, 5], [0, 4, 8], [8, 0, 4], [9, 9, 0]]
    found = survey(Mesh(points, np.concatenate([CUBE_FACES, bad])))
    assert found.degenerate_triangles == 7
    assert found.pieces == 1
    # the second needle on the same three corners is there already
    assert found.states[12:].tolist() == [1, 1, 1, 1, 2, 1, 1]


def test_a_needle_that_closes_a_seam_keeps_the_mesh_closed() -> None:
    # the side 0–4 is split at its middle on one face only; a needle closes the seam
    points = np.vstack([CUBE_POINTS, [[30, 0, 0]]])
    faces = [f for f in CUBE_FACES.tolist() if f != [0, 4, 5]]
    faces += [[0, 8, 5], [8, 4, 5], [0, 4, 8]]
    found = survey(Mesh(points, faces))
    assert (found.degenerate_triangles, found.open_edges) == (1, 0)
    assert found.volume_mm3 == pytest.approx(60**3)


@pytest.mark.parametrize("size", [1e-4, 1.0, 1e6])
@pytest.mark.parametrize("thin", [1e-3, 1e-7])
def test_a_thin_triangle_is_not_degenerate_at_any_scale(size: float, thin: float) -> None:
    mesh = Mesh(np.array([[0, 0, 0], [1, 0, 0], [0.5, thin, 0]]) * size, [[0, 1, 2]])
    assert survey(mesh).degenerate_triangles == 0


def test_pieces_are_numbered_by_their_first_triangle() -> None:
    mesh = together(cube(), cube(5.0, at=200.0), cube(6.0, at=300.0))
    order = np.random.default_rng(5).permutation(36)
    labels = piece_labels(Mesh(mesh.vertices, mesh.faces[order]))
    assert labels.dtype == np.int32
    firsts = [int(np.argmax(labels == p)) for p in range(3)]
    assert firsts == sorted(firsts)
    for p in range(3):
        assert len(set((order[labels == p] // 12).tolist())) == 1


def test_pieces_touching_in_one_point_are_one() -> None:
    points = [[0, 0, 0], [60, 0, 0], [0, 60, 0], [-60, 0, 0], [0, -60, 0]]
    assert survey(Mesh(points, [[0, 1, 2], [0, 3, 4]])).pieces == 1


def test_specks_are_said() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=80.0)
    mesh = together(Mesh(ball.vertices, ball.faces), Mesh(CUBE_POINTS[:3] + 200, [[0, 1, 2]]))
    assert "specks" in codes(mesh)


def test_flipped_piece_is_found_and_a_cavity_is_not() -> None:
    outside = survey(together(cube(), cube(10.0, at=100.0, inward=True)))
    assert outside.flipped_pieces == 1
    assert outside.piece.flipped.tolist() == [False, True]
    cavity = together(cube(), cube(10.0, at=20.0, inward=True))
    assert survey(cavity).flipped_pieces == 0
    assert survey(cavity).volume_mm3 == pytest.approx(60**3 - 10**3)
    assert "cavities" in codes(cavity)
    # in the box of a ring-like piece but not in its solid: flipped all the same
    ring = trimesh.creation.torus(major_radius=80.0, minor_radius=10.0)
    hole = together(Mesh(ring.vertices, ring.faces), cube(6.0, at=-3.0, inward=True))
    assert survey(hole).piece.flipped.tolist() == [False, True]


def test_a_whole_mesh_inside_out_is_flipped_and_its_volume_negative() -> None:
    found = survey(cube(inward=True))
    assert (found.flipped_pieces, found.volume_mm3) == (1, pytest.approx(-(60**3)))


def test_an_inside_out_ball_with_a_small_hole_is_flipped_but_a_barrel_s_inside_is_not() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=80.0)
    holed = Mesh(ball.vertices, ball.faces[3:, ::-1])
    assert survey(holed).flipped_pieces == 1
    # the inside of a rim, scanned from inside: normals rightly point to the axis
    turn = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    ring = np.stack([200 * np.cos(turn), 200 * np.sin(turn), 0 * turn], axis=1)
    points = np.concatenate([ring, ring + np.array([0, 0, 150])])
    i, j = np.arange(60), (np.arange(60) + 1) % 60
    faces = np.concatenate([np.stack([i, i + 60, j], 1), np.stack([j, i + 60, j + 60], 1)])
    assert survey(Mesh(points, faces)).flipped_pieces == 0
    assert survey(Mesh(points, faces[:, ::-1])).flipped_pieces == 0


def plain(faces: NDArray[np.int64]) -> dict[str, int]:
    """The slow twin: dictionaries."""
    seen: set[frozenset[int]] = set()
    edges: dict[tuple[int, int], list[int]] = {}
    parent = {v: v for v in range(int(faces.max()) + 1)}

    def root(v: int) -> int:
        while parent[v] != v:
            v = parent[v]
        return v

    duplicates = degenerate = 0
    for a, b, c in faces.tolist():
        if len({a, b, c}) < 3:
            degenerate += 1
            continue
        if frozenset((a, b, c)) in seen:
            duplicates += 1
            continue
        seen.add(frozenset((a, b, c)))
        for p, q in ((a, b), (b, c), (c, a)):
            edges.setdefault((min(p, q), max(p, q)), []).append(1 if p < q else -1)
        parent[root(a)] = root(b)
        parent[root(c)] = root(b)
    return {
        "pieces": len({root(next(iter(triple))) for triple in seen}),
        "open_edges": sum(len(u) == 1 for u in edges.values()),
        "non_manifold_edges": sum(len(u) > 2 for u in edges.values()),
        "turned_edges": sum(len(u) == 2 and sum(u) != 0 for u in edges.values()),
        "degenerate_triangles": degenerate,
        "duplicate_triangles": duplicates,
    }


@pytest.mark.parametrize("points", [6, 30, 300, 3000])
@pytest.mark.parametrize("hub", [False, True], ids=["spread", "one crowded point"])
@pytest.mark.parametrize("threads", ["1", "3"])
def test_counts_equal_the_slow_twin_s(
    monkeypatch: pytest.MonkeyPatch, points: int, hub: bool, threads: str
) -> None:
    monkeypatch.setenv("CLEARTURN_THREADS", threads)
    monkeypatch.setattr("clearturn.scan.inventory.SLICE", 97)
    rng = np.random.default_rng(points)
    faces = rng.integers(0, points, (2000, 3))
    if hub:
        faces[::2, 1] = 0
    found = survey(Mesh(rng.normal(0, 50, (points, 3)), faces))
    for name, value in plain(faces).items():
        assert getattr(found, name) == value, name


@pytest.mark.parametrize("name", ["caliper_tenth_scale.stl", "knuckle_rover.stl"])
@pytest.mark.skipif(not REAL_MESHES.is_dir(), reason="the real meshes are not on this machine")
def test_real_meshes_measure_as_trimesh_measures_them(name: str) -> None:
    found = survey(read_scan(REAL_MESHES / name).mesh)
    peer = trimesh.load_mesh(REAL_MESHES / name)
    assert found.volume_mm3 == pytest.approx(peer.volume, rel=1e-9)
    assert found.area_mm2 == pytest.approx(peer.area, rel=1e-9)
    assert found.mean_edge_mm == pytest.approx(peer.edges_unique_length.mean(), rel=1e-9)
    assert found.pieces == peer.body_count


@pytest.mark.skipif(not REAL_MESHES.is_dir(), reason="the real meshes are not on this machine")
def test_the_truck_wheel_s_608_duplicates_and_its_unit_are_found() -> None:
    # its source's own note: non-manifold, 608 duplicate faces, unit m
    scan = read_scan(REAL_MESHES / "wheel_truck.obj")
    found = survey(scan.mesh)
    assert found.duplicate_triangles == 608
    assert found.non_manifold_edges > 0
    (size,) = (f for f in scan.findings if f.code == "odd-size")
    assert "probably the unit is m, not mm" in size.text


@pytest.mark.parametrize(
    ("longest", "unit", "words"),
    [
        (0.5, "mm", ["0.5 mm", "500 mm in m", "probably the unit is m, not mm"]),
        (500.0, "m", ["500 m,", "500 mm in mm", "probably the unit is mm, not m"]),
        (18.0, "mm", ["457 mm in in", "180 mm in cm", "probably the unit is in"]),
        (460.0, "in", ["11.68 m", "460 mm in mm"]),
        (46.0, "m", ["46 m", "460 mm in cm"]),
        (1e-6, "mm", ["no usual unit"]),
        (1e9, "mm", ["no usual unit"]),
    ],
)
def test_a_size_without_sense_proposes_the_unit(
    longest: float, unit: str, words: list[str]
) -> None:
    finding = size_finding(longest, unit)
    assert finding is not None
    assert finding.code == "odd-size"
    for word in words:
        assert word in finding.text, finding.text


@pytest.mark.parametrize(("longest", "unit"), [(40, "mm"), (500, "mm"), (3000, "mm"), (18, "in")])
def test_a_size_that_makes_sense_is_not_remarked(longest: float, unit: str) -> None:
    assert size_finding(longest, unit) is None


def test_far_from_the_origin_single_precision_is_said(tmp_path: Path) -> None:
    records = np.zeros(12, [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = CUBE_POINTS[CUBE_FACES] + 900_000.0
    path = tmp_path / "far.stl"
    path.write_bytes(bytes(80) + (12).to_bytes(4, "little") + records.tobytes())
    scan = read_scan(path)
    (finding,) = (f for f in scan.findings if f.code == "coarse-coordinates")
    # single precision: 2⁻⁴ mm between 2¹⁹ and 2²⁰ mm
    assert "are 0.062 mm apart" in finding.text


def stopping(least: float) -> Progress:
    progress = Progress(lambda fraction, text: progress.cancel() if fraction >= least else None)
    return progress


def test_taking_stock_can_be_cancelled_and_is_kept() -> None:
    ball = trimesh.creation.icosphere(subdivisions=5, radius=80.0)
    mesh = Mesh(ball.vertices, ball.faces)
    for least in (0.0, 0.2, 0.6):
        with pytest.raises(Cancelled):
            survey(mesh, stopping(least))
    told: list[float] = []
    whole = survey(mesh, Progress(lambda fraction, text: told.append(fraction)))
    assert told == sorted(told)
    assert survey(mesh) is whole
    assert survey(Mesh(mesh.vertices, mesh.faces)).area_mm2 == whole.area_mm2


def test_an_empty_mesh_has_nothing() -> None:
    found = survey(Mesh(np.zeros((0, 3)), np.zeros((0, 3))))
    assert (found.pieces, found.volume_mm3, found.area_mm2, found.mean_edge_mm) == (0, None, 0, 0)
