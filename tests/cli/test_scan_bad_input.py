"""Whatever is handed in as a file: exit 2, one sentence with file, place and mend, at once."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
import time
import tracemalloc
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from clearturn.errors import FileProblem
from clearturn.scan import read_scan

Run = Callable[..., SimpleNamespace]

SECONDS = 2.0

CORNERS = b"vertex 0 0 0\nvertex 50 0 0\nvertex 0 50 0\n"
FACET = b"facet normal 0 0 1\nouter loop\n" + CORNERS + b"endloop\nendfacet\n"


def binary_stl(triangles: object, count: int | None = None, header: bytes = b"a test") -> bytes:
    corners = np.asarray(triangles, dtype="<f4").reshape(-1, 3, 3)
    records = np.zeros(len(corners), [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    with np.errstate(over="ignore"):
        records["v"] = corners
    said = len(corners) if count is None else count
    return header.ljust(80) + struct.pack("<I", said) + records.tobytes()


TRIANGLES = np.random.default_rng(3).normal(0, 50, (100, 3, 3))
GOOD = binary_stl(TRIANGLES)
NAN = TRIANGLES.copy()
NAN[41, 2, 1] = np.nan
INF = TRIANGLES.copy()
INF[7, 0, 0] = -np.inf


def glb(table: object, data: bytes = bytes(400)) -> bytes:
    text = (table if isinstance(table, str) else json.dumps(table)).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    chunks += struct.pack("<I4s", len(data), b"BIN\0") + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def glb_table(**changes: object) -> dict[str, object]:
    table: dict[str, object] = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "type": "VEC3", "count": 3},
            {"bufferView": 1, "componentType": 5125, "type": "SCALAR", "count": 3},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": 36},
            {"buffer": 0, "byteOffset": 36, "byteLength": 12},
        ],
        "buffers": [{"byteLength": 400}],
    }
    return {**table, **changes}


def lying_accessor(count: int, **view: int) -> dict[str, object]:
    first = {"componentType": 5126, "type": "VEC3", "count": count, **view}
    second = {"bufferView": 1, "componentType": 5125, "type": "SCALAR", "count": 3}
    return {"accessors": [first, second]}


def archive(entries: dict[str, bytes]) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in entries.items():
            file.writestr(name, content)
    return out.getvalue()


def model(resources: str, build: str) -> bytes:
    head = '<?xml version="1.0"?><model unit="millimeter" xmlns="http://example.test/core">'
    return f"{head}<resources>{resources}</resources><build>{build}</build></model>".encode()


ONE_OBJECT = (
    '<object id="1" type="model"><mesh><vertices><vertex x="0" y="0" z="0"/>'
    '<vertex x="60" y="0" z="0"/><vertex x="0" y="60" z="0"/></vertices>'
    '<triangles><triangle v1="0" v2="1" v3="{}"/></triangles></mesh></object>'
)


def parts_of_parts(depth: int, last: int) -> bytes:
    rows = [ONE_OBJECT.format(2)]
    for k in range(2, depth):
        below = f'<component objectid="{k - 1}"/>' * 10
        rows.append(f'<object id="{k}"><components>{below}</components></object>')
    rows.append(
        f'<object id="{depth}"><components><component objectid="{last}"/></components></object>'
    )
    return model("".join(rows), f'<item objectid="{depth}"/>')


def ply(vertices: str, faces: str, rest: bytes, form: str = "binary_little_endian") -> bytes:
    return (
        f"ply\nformat {form} 1.0\nelement vertex {vertices}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {faces}\nproperty list uchar int vertex_indices\n"
        "end_header\n"
    ).encode() + rest


PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4
JPEG = b"\xff\xd8\xff\xe0" + bytes(range(256)) * 4
BIG = 0xFFFFFFFF

# name of the file, its content, words that must stand in the sentence
AT_ONCE: dict[str, tuple[str, bytes, list[str]]] = {
    "empty": ("a.stl", b"", ["empty", "again"]),
    "a few bytes": ("a.stl", b"abc", ["text, not an STL"]),
    "header only": ("a.stl", bytes(80), ["too short", "again"]),
    "no triangles": ("a.stl", bytes(84), ["no triangles", "again"]),
    "binary cut off": ("a.stl", GOOD[:-7], ["cut off", "count of 100", "at most 99"]),
    "binary cut in half": ("a.stl", GOOD[:2500], ["cut off", "copy it"]),
    "count of 4 thousand million": ("a.stl", binary_stl(TRIANGLES, BIG), ["4,294,967,295", "100"]),
    "count too small": ("a.stl", binary_stl(TRIANGLES, 3), ["more triangles than it says", "100"]),
    "count zero": ("a.stl", binary_stl(TRIANGLES, 0), ["more triangles than it says"]),
    "NaN": ("a.stl", binary_stl(NAN), ["triangle 42", "nan", "not a finite"]),
    "Inf": ("a.stl", binary_stl(INF), ["triangle 8", "-inf", "not a finite"]),
    "huge": ("a.stl", binary_stl(TRIANGLES * 1e35), ["too large", "unit"]),
    "all in one point": ("a.stl", binary_stl(np.ones((5, 3, 3))), ["has an area", "5 triangles"]),
    "all on one line": (
        "a.stl", binary_stl([[[k, k, k] for k in range(3)]] * 4), ["has an area"],
    ),
    "a text": ("a.stl", b"Dear Sir,\n" * 40, ["a text, not an STL"]),
    "a PNG": ("a.stl", PNG, ["PNG picture", "name the STL"]),
    "a JPEG": ("a.stl", JPEG, ["JPEG picture"]),
    "a web page": ("a.stl", b"<!DOCTYPE html><html>" * 20, ["web page"]),
    "a ZIP": ("a.stl", archive({"x": b"y" * 400}), ["ZIP archive"]),
    "a pointer": (
        "a.stl", b"version https://git-lfs.github.com/spec/v1\noid sha256:00\n" * 2,
        ["pointer to a large file"],
    ),
    "text cut inside a facet": ("a.stl", b"solid\n" + FACET + FACET[:60], ["ends inside", "line"]),
    "text cut inside a number": (
        "a.stl", b"solid\n" + FACET[:54],
        ["ends inside a facet", "line 5"],
    ),
    "text without facets": ("a.stl", b"solid x\nendsolid x\n" * 9, ["no triangles"]),
    "text with a strange word": (
        "a.stl", b"solid\n" + FACET + b"colour red\n" + FACET, ["line 9", "colour", "facet"],
    ),
    "text with a comma decimal": (
        "a.stl", b"solid\n" + FACET.replace(b"50 0 0", b"50,5 0 0"),
        ["comma", "line 5", "50,5", "1.5"],
    ),
    "text with only commas": (
        "a.stl", b"solid\n" + FACET.replace(b"0 0\n", b"0,0 0,0\n"),
        ["comma"],
    ),
    "text with nan": (
        "a.stl", b"solid\n" + FACET.replace(b"50 0 0", b"nan 0 0"),
        ["finite", "nan"],
    ),
    "text with inf": ("a.stl", b"solid\n" + FACET.replace(b"50 0 0", b"-INF 0 0"), ["finite"]),
    "text with 1e999": ("a.stl", b"solid\n" + FACET.replace(b"50 0", b"1e999 0"), ["finite"]),
    "text with a word for a number": (
        "a.stl", b"solid\n" + FACET.replace(b"50 0 0", b"fifty 0 0"), ["not a number", "fifty"],
    ),
    "text with four corners": (
        "a.stl", b"solid\n" + FACET.replace(b"endloop", b"vertex 9 9 9\nendloop"),
        ["three corners", "line 7"],
    ),
    "text with two corners": (
        "a.stl", b"solid\n" + FACET.replace(b"vertex 50 0 0\n", b""), ["three corners", "line 6"],
    ),
    "text with a zero byte": ("a.stl", b"solid\n" + FACET + b"\0\0\0" + FACET, ["cut off"]),
    "OBJ naming point 9": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", ["line 4", "point 9"]),
    "OBJ naming point 0": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", ["line 4", "point 0"]),
    "OBJ naming point -4": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf -4 1 2\n", ["point -4"]),
    "OBJ naming a huge point": (
        "a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999999999999999\n", ["line 4"],
    ),
    "OBJ with commas": ("a.obj", b"v 0,5 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", ["comma", "line 1"]),
    "OBJ without faces": ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", ["no faces", "3 points"]),
    "OBJ with two coordinates": ("a.obj", b"v 0 0\nv 1 0 0\nf 1 2 2\n", ["fewer than three"]),
    "OBJ with two corners": ("a.obj", b"v 0 0 0\nv 1 0 0\nf 1 2\n", ["fewer than three corners"]),
    "OBJ that is a picture": ("a.obj", PNG, ["PNG picture, not an OBJ"]),
    "PLY with lying counts": (
        "a.ply", ply("4000000000", "9", bytes(99)),
        ["cut off", "4,000,000,000"],
    ),
    "PLY text with lying counts": (
        "a.ply", ply("3", "4000000000", b"0 0 0\n" * 9, "ascii"), ["cut off", "4,000,000,000"],
    ),
    "PLY without end of header": ("a.ply", b"ply\nformat ascii 1.0\n", ["end_header"]),
    "PLY with a negative count": ("a.ply", ply("-3", "1", bytes(99)), ["makes no sense", "line 3"]),
    "PLY of points": ("a.ply", ply("3", "0", bytes(99)), ["no face"]),
    "PLY that is a picture": ("a.ply", PNG, ["PNG picture, not a PLY"]),
    "GLB cut off": ("a.glb", glb(glb_table())[:-100], ["cut off", "bytes 8"]),
    "GLB of version 1": ("a.glb", glb(glb_table()).replace(b"glTF\2", b"glTF\1", 1), ["version"]),
    "GLB with a lying count": (
        "a.glb", glb(glb_table(**lying_accessor(2**31, bufferView=0))), ["accessors[0]", "2,147"],
    ),
    "GLB with a count without data": ("a.glb", glb(glb_table(**lying_accessor(2**31))), ["2,147"]),
    "GLB with a circle": (
        "a.glb",
        glb(glb_table(nodes=[{"children": [1]}, {"children": [0], "mesh": 0}])),
        ["circle"],
    ),
    "GLB that multiplies": (
        "a.glb",
        glb(glb_table(nodes=[{"children": [k + 1] * 10} for k in range(30)] + [{"mesh": 0}])),
        ["repeat each other"],
    ),
    "GLB with nonsense inside": ("a.glb", glb("{" * 5000), ["makes no sense"]),
    "GLB with deep nesting": ("a.glb", glb("[" * 200_000), ["makes no sense"]),
    "GLB with missing keys": ("a.glb", glb({"meshes": [{}]}), ["makes no sense"]),
    "GLB kept elsewhere": ("a.glb", glb(glb_table(buffers=[{"uri": "x.bin"}])), ["another file"]),
    "GLB packed": (
        "a.glb", glb(glb_table(extensionsRequired=["KHR_draco_mesh_compression"])), ["packed"],
    ),
    "3MF that is no archive": ("a.3mf", b"PK\x03\x04" + bytes(99), ["damaged or cut off"]),
    "3MF that is a picture": ("a.3mf", PNG, ["PNG picture, not a 3MF"]),
    "3MF without a model": ("a.3mf", archive({"a.txt": b"x"}), ["not a 3MF"]),
    "3MF that is a bomb": (
        "a.3mf", archive({"3D/3dmodel.model": bytes(300 << 20)}), ["unpacks to far more"],
    ),
    "3MF with entities": (
        "a.3mf",
        archive({"3D/3dmodel.model": b'<!DOCTYPE x [<!ENTITY a "b">]><model/>'}),
        ["entities"],
    ),
    "STEP cut off": ("a.step", b"ISO-10303-21;\nHEADER;\n" * 9, ["cut off", "END-ISO"]),
    "STEP that is a picture": ("a.stp", PNG, ["not a STEP"]),
    "IGES that is a text": ("a.igs", b"Dear Sir,\n" * 40, ["not an IGES"]),
    "unknown ending": ("a.xyz", b"1 2 3\n" * 9, ["not read", "STL, PLY"]),
    "no ending": ("mesh", PNG, ["not read", "PNG"]),
}  # fmt: skip

# These are found only by the library that reads them, in its own process.
IN_CHILD: dict[str, tuple[str, bytes, list[str]]] = {
    "3MF naming a point that is not there": (
        "a.3mf",
        archive({"3D/3dmodel.model": model(ONE_OBJECT.format(99), '<item objectid="1"/>')}),
        ["triangle 1", "point 99"],
    ),
    "3MF whose parts multiply": (
        "a.3mf",
        archive({"3D/3dmodel.model": parts_of_parts(40, 39)}),
        ["repeat each other"],
    ),
    "3MF whose parts form a circle": (
        "a.3mf",
        archive({"3D/3dmodel.model": parts_of_parts(5, 5)}),
        ["circle"],
    ),
    "PLY naming a point that is not there": (
        "a.ply",
        ply("3", "1", np.arange(9, dtype="<f4").tobytes() + struct.pack("<B3i", 3, 0, 1, 77)),
        ["point"],
    ),
    "PLY with NaN": (
        "a.ply",
        ply("3", "1", b"0 0 0\n1 0 0\n0 nan 0\n3 0 1 2\n", "ascii"),
        ["finite"],
    ),
    "STEP without a body": (
        "a.step",
        b"ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n",
        ["cannot be read"],
    ),
}


def check_sentence(answer: SimpleNamespace, name: str, words: list[str]) -> None:
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    assert name in answer.err
    assert ";" in answer.err, "what to do is missing"
    assert "Traceback" not in answer.err
    for word in words:
        assert word in answer.err, (word, answer.err)


@pytest.mark.parametrize("case", AT_ONCE)
def test_bad_file_is_told_at_once_in_one_sentence(
    clearturn: Run, tmp_path: Path, case: str
) -> None:
    name, content, words = AT_ONCE[case]
    (tmp_path / name).write_bytes(content)
    clearturn("scan", "--help")  # imports what the command needs
    read_scan_warm(tmp_path)
    start = time.perf_counter()
    answer = clearturn("scan", name)
    seconds = time.perf_counter() - start
    check_sentence(answer, name, words)
    assert seconds < SECONDS


def read_scan_warm(folder: Path) -> None:
    """Load the compiled kernels, which count as the program's start."""
    warm = folder / "warm.stl"
    warm.write_bytes(GOOD)
    read_scan(warm)


@pytest.mark.slow
@pytest.mark.parametrize("case", IN_CHILD)
def test_bad_file_of_a_foreign_format_is_told_in_one_sentence(
    clearturn: Run, tmp_path: Path, case: str
) -> None:
    name, content, words = IN_CHILD[case]
    (tmp_path / name).write_bytes(content)
    check_sentence(clearturn("scan", name), name, words)


@pytest.mark.parametrize(
    "case", [c for c in AT_ONCE if "lying" in c or "count" in c or "bomb" in c]
)
def test_a_lying_count_takes_no_memory(tmp_path: Path, case: str) -> None:
    name, content, _ = AT_ONCE[case]
    path = tmp_path / name
    path.write_bytes(content)
    read_scan_warm(tmp_path)
    tracemalloc.start()
    try:
        with pytest.raises(FileProblem):
            read_scan(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 4 * len(content) + 2_000_000


def test_nothing_there_folder_and_wrong_path(clearturn: Run, tmp_path: Path) -> None:
    (tmp_path / "folder.stl").mkdir()
    (tmp_path / "file").write_bytes(GOOD)
    check_sentence(clearturn("scan", "missing.stl"), "missing.stl", ["no such file"])
    check_sentence(clearturn("scan", "folder.stl"), "folder.stl", ["a folder"])
    check_sentence(clearturn("scan", "file/a.stl"), "file/a.stl", ["not a folder"])
    check_sentence(clearturn("scan", "x" * 5000), "xxx", ["too long"])
    check_sentence(clearturn("scan", "a\0b.stl"), "a\\x00b.stl", ["zero byte"])
    check_sentence(clearturn("scan", ""), "", ["no file is named"])


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipes_devices_and_link_circles_do_not_hang(clearturn: Run, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.stl")
    (tmp_path / "loop.stl").symlink_to("pool.stl")
    (tmp_path / "pool.stl").symlink_to("loop.stl")
    (tmp_path / "gone.stl").symlink_to("nowhere.stl")
    start = time.perf_counter()
    check_sentence(clearturn("scan", "pipe.stl"), "pipe.stl", ["a pipe"])
    check_sentence(clearturn("scan", "loop.stl"), "loop.stl", ["circle"])
    check_sentence(clearturn("scan", "gone.stl"), "gone.stl", ["no such file"])
    check_sentence(clearturn("scan", "/dev/zero"), "/dev/zero", ["a device"])
    check_sentence(clearturn("scan", "/dev/null"), "/dev/null", ["a device"])
    assert time.perf_counter() - start < SECONDS


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="this system has no user numbers")
def test_a_file_one_may_not_read(tmp_path: Path) -> None:
    path = tmp_path / "closed.stl"
    path.write_bytes(GOOD)
    code = (
        "import os, sys\n"
        "from clearturn.scan.source import open_source\n"
        "from clearturn.errors import FileProblem\n"
        "if os.getuid() == 0:\n"
        "    os.setgid(65534); os.setuid(65534)\n"  # "nobody"
        "try:\n"
        "    open_source(sys.argv[1])\n"
        "except FileProblem as problem:\n"
        "    print(problem)\n"
    )
    for folder in (tmp_path, *tmp_path.parents):
        if folder.stat().st_uid == os.getuid() and folder != Path("/") and "pytest" in str(folder):
            folder.chmod(0o755)
    path.chmod(0)
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False
    )
    assert "may not be read" in done.stdout, done.stderr
    assert done.stdout.count("\n") == 1


ODD_NAMES = [
    b"line\nbreak.stl",
    "Räder 🛞.stl".encode(),
    b"caf\xe9\xff.stl",
    b"--help.stl",
    b" .stl",
]


def written(folder: Path, name: bytes, content: bytes) -> str:
    """Write a file with a name of any bytes; return the name as the system hands it to us."""
    try:
        with open(os.path.join(os.fsencode(folder), name), "wb") as file:  # noqa: PTH118, PTH123
            file.write(content)
    except OSError:
        pytest.skip("this file system does not take that name")
    return os.fsdecode(name)


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_file_names_are_read_and_shown(clearturn: Run, tmp_path: Path, name: bytes) -> None:
    good = clearturn("scan", "--json", "--", written(tmp_path, name, GOOD))
    assert good.code == 0
    assert good.json["file"] == name.decode("utf-8", "backslashreplace")
    assert clearturn("scan", "--", os.fsdecode(name)).out.count("\n") == 17
    bad = clearturn("scan", "--", written(tmp_path, b"bad-" + name, GOOD[:-7]))
    check_sentence(bad, "bad-", ["cut off"])


def test_a_name_that_is_no_text_reaches_a_real_terminal(tmp_path: Path) -> None:
    name = written(tmp_path, b"caf\xe9\n\xff.stl", GOOD)
    call = [sys.executable, "-m", "clearturn_app.cli.main", "scan", "--json", name]
    done = subprocess.run(call, cwd=tmp_path, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["file"] == "caf\\xe9\n\\xff.stl"


def outcome(path: Path, content: bytes) -> int | str:
    """Return the number of triangles read, or what was said."""
    path.write_bytes(content)
    try:
        return read_scan(path).triangles
    except FileProblem as problem:
        return str(problem)


TEXT = b"solid x\n" + FACET * 3 + b"endsolid x\n"
OBJ = b"v 0 0 0\nv 60 0 0\nv 0 60 0\nv 0 0 60\nf 1 2 3\nf 1/1 2/2 4/4\nf -1 -2 -3\n"


@pytest.mark.parametrize(
    ("name", "content", "may_read"),
    [("x.stl", GOOD, False), ("y.stl", TEXT, True), ("x.obj", OBJ, True)],
)
def test_a_file_cut_anywhere_is_read_or_told(
    tmp_path: Path, name: str, content: bytes, may_read: bool
) -> None:
    for cut in range(0, len(content), max(1, len(content) // 200)):
        got = outcome(tmp_path / name, content[:cut])
        if isinstance(got, int):
            # text may be cut between two facets, and then says so as a finding
            assert may_read, cut
            assert got > 0, cut
        else:
            assert name in got
            assert "\n" not in got


@pytest.mark.parametrize(("name", "content"), [("x.stl", GOOD), ("y.stl", TEXT), ("x.obj", OBJ)])
def test_random_damage_is_read_or_told(tmp_path: Path, name: str, content: bytes) -> None:
    rng = np.random.default_rng(11)
    for _ in range(150):
        broken = bytearray(content)
        for at in rng.integers(0, len(broken), rng.integers(1, 6)):
            broken[at] = rng.integers(0, 256)
        got = outcome(tmp_path / name, bytes(broken))
        assert got > 0 if isinstance(got, int) else "\n" not in got


def test_wrong_unit_is_refused_by_name(clearturn: Run, tmp_path: Path) -> None:
    (tmp_path / "a.stl").write_bytes(GOOD)
    answer = clearturn("scan", "a.stl", "--unit", "ft")
    assert answer.code == 2
    assert "ft" in answer.err
