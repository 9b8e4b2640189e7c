"""Reading STL: both kinds, in the shapes programs really write them."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearturn.errors import Cancelled, FileProblem
from clearturn.progress import Progress
from clearturn.scan import read_scan
from clearturn.scan.source import open_source
from clearturn.scan.weld import weld_binary, weld_points

Write = Callable[..., Path]

CUBE_POINTS = np.array([[x, y, z] for x in (0, 60) for y in (0, 60) for z in (0, 60)], np.float64)
CUBE_FACES = np.array(
    [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]
)  # fmt: skip
CUBE = CUBE_POINTS[CUBE_FACES]


def facet(corners: Any, number: str = "{:g}") -> str:
    rows = "".join(
        "   vertex " + " ".join(number.format(x) for x in corner) + "\n" for corner in corners
    )
    return f" facet normal 0 0 1\n  outer loop\n{rows}  endloop\n endfacet\n"


def text_stl(triangles: Any = CUBE, number: str = "{:g}") -> str:
    return "solid cube\n" + "".join(facet(t, number) for t in triangles) + "endsolid cube\n"


def codes(scan: Any) -> set[str]:
    return {finding.code for finding in scan.findings}


def same_triangles(scan: Any, triangles: Any) -> bool:
    return bool(np.array_equal(scan.mesh.corners, np.asarray(triangles, np.float64)))


def test_binary_gives_the_triangles_welded_in_file_order(tmp_path: Path, write_stl: Write) -> None:
    path = write_stl(tmp_path / "cube.stl", CUBE)
    scan = read_scan(path)
    assert (scan.triangles, scan.vertices, scan.format) == (12, 8, "STL, binary")
    assert same_triangles(scan, CUBE)
    assert scan.mesh.vertices.dtype == np.float64
    assert scan.mesh.faces.dtype == np.int32
    # first appearance: the first triangle's corners are vertices 0, 1, 2
    assert scan.mesh.faces[0].tolist() == [0, 1, 2]
    assert scan.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("header", [b"solid cube", b"SOLID made somewhere", b"solid\nfacet normal"])
def test_binary_whose_header_begins_with_solid(
    tmp_path: Path, write_stl: Write, header: bytes
) -> None:
    path = write_stl(tmp_path / "cube.stl", CUBE)
    path.write_bytes(header.ljust(80) + path.read_bytes()[80:])
    assert same_triangles(read_scan(path), CUBE)


def test_minus_zero_and_zero_are_one_point(tmp_path: Path, write_stl: Write) -> None:
    triangles = [
        [[0.0, 0.0, 0.0], [50.0, 0.0, 0.0], [0.0, 50.0, 0.0]],
        [[-0.0, -0.0, -0.0], [0.0, 50.0, -0.0], [-50.0, 0.0, -0.0]],
    ]
    scan = read_scan(write_stl(tmp_path / "z.stl", triangles))
    assert scan.vertices == 4
    assert not np.signbit(scan.mesh.vertices[scan.mesh.vertices == 0]).any()


def test_the_next_number_is_another_point(tmp_path: Path, write_stl: Write) -> None:
    near = np.nextafter(np.float32(50), np.float32(51))
    triangles = [
        [[0, 0, 0], [50, 0, 0], [0, 50, 0]],
        [[0, 0, 0], [0, 50, 0], [near, 0, 0]],
    ]
    assert read_scan(write_stl(tmp_path / "n.stl", triangles)).vertices == 4


def test_spare_bytes_after_the_last_triangle_are_said(tmp_path: Path, write_stl: Write) -> None:
    path = write_stl(tmp_path / "cube.stl", CUBE)
    path.write_bytes(path.read_bytes() + b"\r\n")
    scan = read_scan(path)
    assert same_triangles(scan, CUBE)
    assert "bytes-after-end" in codes(scan)


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda t: t, id="as it is"),
        pytest.param(lambda t: t.replace("\n", "\r\n"), id="CRLF"),
        pytest.param(lambda t: t.replace("\n", "\r"), id="CR"),
        pytest.param(str.upper, id="upper case"),
        pytest.param(lambda t: t.replace(" ", "\t"), id="tabs"),
        pytest.param(lambda t: "\n\n  " + t, id="blank lines first"),
        pytest.param(lambda t: "\ufeff" + t, id="byte order mark"),
        pytest.param(lambda t: t.replace("cube", "Fahrwerk für vertex facet"), id="odd name"),
        pytest.param(lambda t: t.replace("solid cube", "solid", 1), id="no name"),
        pytest.param(lambda t: t.replace("normal 0 0 1", "normal nan nan nan"), id="nan normals"),
        pytest.param(lambda t: t.rstrip("\n"), id="no last line end"),
    ],
)
def test_text_in_the_shapes_programs_write(tmp_path: Path, change: Callable[[str], str]) -> None:
    path = tmp_path / "cube.stl"
    path.write_bytes(change(text_stl()).encode())
    scan = read_scan(path)
    assert scan.format == "STL, text"
    assert same_triangles(scan, CUBE)
    assert scan.vertices == 8
    assert codes(scan) == set()


def test_text_on_one_line_per_facet(tmp_path: Path) -> None:
    one_line = "solid x\n" + "".join(" ".join(facet(t).split()) + "\n" for t in CUBE)
    path = tmp_path / "cube.stl"
    path.write_text(one_line + "endsolid")
    assert same_triangles(read_scan(path), CUBE)


def test_missing_endsolid_is_a_finding(tmp_path: Path) -> None:
    path = tmp_path / "cube.stl"
    path.write_text(text_stl().replace("endsolid cube\n", ""))
    scan = read_scan(path)
    assert same_triangles(scan, CUBE)
    assert codes(scan) == {"no-endsolid"}


def test_several_solids_are_one_mesh(tmp_path: Path) -> None:
    path = tmp_path / "cubes.stl"
    path.write_text(text_stl() + text_stl(CUBE + 100.0))
    scan = read_scan(path)
    assert same_triangles(scan, np.concatenate([CUBE, CUBE + 100.0]))
    assert codes(scan) == {"several-solids"}


@pytest.mark.parametrize(
    "number", ["{:e}", "{:.17g}", "{:.25f}", "{:+.3E}", "{:.30e}", "{:012.4f}"]
)
def test_text_numbers_are_the_ones_written(tmp_path: Path, number: str) -> None:
    rng = np.random.default_rng(7)
    triangles = rng.normal(0, 80, (40, 3, 3))
    path = tmp_path / "n.stl"
    path.write_text(text_stl(triangles, number))
    # Python's float() rounds correctly (David Gay's routine).
    want = np.array([float(number.format(x)) for x in triangles.ravel()]).reshape(-1, 3, 3)
    assert np.array_equal(read_scan(path).mesh.corners, want)


@given(
    st.lists(
        st.one_of(
            st.floats(-1e6, 1e6).map(repr),
            st.from_regex(
                r"[+-]?[0-9]{1,25}(\.[0-9]{0,25})?([eE][+-]?[0-9]{1,2})?", fullmatch=True
            ),
            st.sampled_from(["0", "-0", ".5", "5.", "1e-400", "9007199254740993", "1e22", "1e-23"]),
        ),
        min_size=9,
        max_size=9,
    )
)
def test_any_number_reads_as_python_reads_it(tokens: list[str]) -> None:
    from clearturn.scan import _kernels_text as kernels

    text = np.frombuffer("\n".join(f"v {t} 0 0" for t in tokens).encode(), np.uint8)
    numbers, corners = np.empty(90), np.empty(9, np.int32)
    left, state = np.empty((99, 3), np.int64), np.zeros(7, np.int64)
    what, _, _ = kernels.read_obj(text, len(text), state, numbers, left, corners)
    assert what == kernels.FINE
    todo = left[: state[kernels.OBJ_LEFT], 0].tolist()
    for k, token in enumerate(tokens):
        # what the kernel leaves is read by float() itself
        assert 3 * k in todo or numbers[3 * k] == float(token), token


def test_long_text_is_read_in_slices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("clearturn.scan.stl.TEXT_SLICE", 37)
    monkeypatch.setattr("clearturn.scan.stl.LEFT_ROWS", 10)
    path = tmp_path / "cube.stl"
    path.write_text(text_stl(CUBE, "{:.25e}"))
    assert same_triangles(read_scan(path), CUBE)


def plain_weld(points: Any) -> tuple[list[bytes], list[int]]:
    """The slow twin: a dictionary from bits to number."""
    number: dict[bytes, int] = {}
    out = [number.setdefault((p + 0.0).tobytes(), len(number)) for p in points]
    return list(number), out


@pytest.mark.parametrize("threads", ["1", "2", "3"])
@pytest.mark.parametrize("grid", [2, 40, 100_000])
def test_welding_equals_a_dictionary_on_any_number_of_threads(
    monkeypatch: pytest.MonkeyPatch, threads: str, grid: int
) -> None:
    # grid 2: hardly any points; 100 000: no two alike, so that the tables must grow
    monkeypatch.setenv("CLEARTURN_THREADS", threads)
    monkeypatch.setattr("clearturn.scan.weld.LEAST_PART", 500)
    monkeypatch.setattr("clearturn.scan.weld.SLICE", 300)
    rng = np.random.default_rng(grid)
    points = (rng.integers(-grid, grid, (9000, 3)) * np.array([1.0, -0.5, 0.25])).astype("<f4")
    keys, want = plain_weld(points)

    records = np.zeros(3000, [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = points.reshape(-1, 3, 3)
    raw = np.frombuffer(records.tobytes(), np.uint8)
    vertices, faces, bad = weld_binary(raw, 3000)
    assert bad == -1
    assert faces.ravel().tolist() == want
    assert [v.tobytes() for v in vertices] == keys

    vertices64, numbers = weld_points(points.astype(np.float64))
    assert numbers.tolist() == want
    assert np.array_equal(vertices64, vertices)


def test_first_bad_coordinate_is_named_on_any_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CLEARTURN_THREADS", "2")
    monkeypatch.setattr("clearturn.scan.weld.LEAST_PART", 500)
    records = np.zeros(3000, [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = np.arange(27000).reshape(3000, 3, 3)
    for row in (2900, 1700, 800):
        records["v"][row, 1, 2] = np.inf
        assert weld_binary(np.frombuffer(records.tobytes(), np.uint8), 3000)[2] == row


def test_reading_reports_progress_and_can_be_cancelled(tmp_path: Path, write_stl: Write) -> None:
    path = write_stl(tmp_path / "big.stl", np.random.default_rng(1).normal(0, 90, (250_000, 3, 3)))
    told: list[float] = []
    progress = Progress(lambda fraction, text: told.append(fraction))
    whole = read_scan(path, progress=progress)
    assert told == sorted(told)
    assert len(told) > 0
    assert whole.mesh.sha256 == read_scan(path).mesh.sha256

    before = Progress()
    before.cancel()
    with pytest.raises(Cancelled):
        read_scan(path, progress=before)
    middle = Progress(lambda fraction, text: middle.cancel() if fraction > 0.3 else None)
    with pytest.raises(Cancelled):
        read_scan(path, progress=middle)


def test_unit_multiplies_after_welding(tmp_path: Path, write_stl: Write) -> None:
    path = write_stl(tmp_path / "cube.stl", CUBE / 10)
    scan = read_scan(path, unit="in")
    assert np.allclose(scan.mesh.bounds, [[0, 0, 0], [152.4] * 3], rtol=1e-7)
    assert (scan.unit, scan.unit_source, scan.vertices) == ("in", "given", 8)


def test_attribute_bytes_and_normals_do_not_matter(tmp_path: Path, write_stl: Write) -> None:
    path = write_stl(tmp_path / "cube.stl", CUBE)
    data = bytearray(path.read_bytes())
    for k in range(12):
        at = 84 + 50 * k
        data[at : at + 12] = struct.pack("<3f", np.nan, np.inf, -1.0)
        data[at + 48 : at + 50] = b"\xff\xff"
    path.write_bytes(bytes(data))
    assert same_triangles(read_scan(path), CUBE)


def test_file_that_shrinks_under_its_reader_is_refused(tmp_path: Path, write_stl: Write) -> None:
    """Another program writes it anew: read as mapped memory that would end the process."""
    path = write_stl(tmp_path / "scan.stl", np.tile(CUBE, (200, 1, 1)))
    source = open_source(path)
    with path.open("r+b") as file:
        file.truncate(100)
    for read in (source.load, source.sha256):
        with pytest.raises(FileProblem, match="changed while it was being read; wait until"):
            read()


def test_file_that_is_written_to_while_it_is_read_is_refused(
    tmp_path: Path, write_stl: Write
) -> None:
    """Its hash and its triangles would else be of two states."""
    path = write_stl(tmp_path / "scan.stl", CUBE)
    written = []

    def write(_fraction: float, _text: str) -> None:
        if not written:
            written.append(path.write_bytes(path.read_bytes() + b"more"))

    with pytest.raises(FileProblem, match="changed while it was being read"):
        read_scan(path, progress=Progress(write))
    assert read_scan(path).triangles == len(CUBE)
