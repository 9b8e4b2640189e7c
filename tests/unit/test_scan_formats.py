"""Formats read through kept libraries, against shapes whose measures are known.

The STEP and IGES files are written here by hand after ISO 10303-21/-42 and IGES 5.3 (entities 110
and 120), so that no program's quirk is taken for the standard.
"""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
import pytest

from clearturn.errors import Cancelled, FileProblem
from clearturn.progress import Progress
from clearturn.scan import foreign, read_scan, survey

trimesh = pytest.importorskip("trimesh")

RADIUS_MM, HEIGHT_MM = 50.0, 40.0


def step_cylinder(radius: float, height: float, inch: bool = False) -> str:
    """A solid cylinder about z, base at z = 0, as a STEP file (AP203)."""
    if inch:
        unit = (
            "#90=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.));\n"
            "#95=LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),#90);\n"
            "#96=DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.);\n"
            "#91=(CONVERSION_BASED_UNIT('INCH',#95)LENGTH_UNIT()NAMED_UNIT(#96));\n"
        )
    else:
        unit = "#91=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.));\n"
    return f"""ISO-10303-21;
HEADER;
FILE_DESCRIPTION((''),'2;1');
FILE_NAME('cylinder','2024-01-01T00:00:00',(''),(''),'','','');
FILE_SCHEMA(('CONFIG_CONTROL_DESIGN'));
ENDSEC;
DATA;
#1=CARTESIAN_POINT('',(0.,0.,0.));
#2=DIRECTION('',(0.,0.,1.));
#3=DIRECTION('',(1.,0.,0.));
#4=AXIS2_PLACEMENT_3D('',#1,#2,#3);
#5=CARTESIAN_POINT('',(0.,0.,{height}));
#6=AXIS2_PLACEMENT_3D('',#5,#2,#3);
#7=CARTESIAN_POINT('',({radius},0.,0.));
#8=VERTEX_POINT('',#7);
#9=CARTESIAN_POINT('',({radius},0.,{height}));
#10=VERTEX_POINT('',#9);
#11=CIRCLE('',#4,{radius});
#12=CIRCLE('',#6,{radius});
#13=EDGE_CURVE('',#8,#8,#11,.T.);
#14=EDGE_CURVE('',#10,#10,#12,.T.);
#15=VECTOR('',#2,1.);
#16=LINE('',#7,#15);
#17=EDGE_CURVE('',#8,#10,#16,.T.);
#20=ORIENTED_EDGE('',*,*,#13,.T.);
#21=ORIENTED_EDGE('',*,*,#17,.T.);
#22=ORIENTED_EDGE('',*,*,#14,.F.);
#23=ORIENTED_EDGE('',*,*,#17,.F.);
#24=EDGE_LOOP('',(#20,#21,#22,#23));
#25=FACE_OUTER_BOUND('',#24,.T.);
#26=CYLINDRICAL_SURFACE('',#4,{radius});
#27=ADVANCED_FACE('',(#25),#26,.T.);
#30=ORIENTED_EDGE('',*,*,#13,.F.);
#31=EDGE_LOOP('',(#30));
#32=FACE_OUTER_BOUND('',#31,.T.);
#33=PLANE('',#4);
#34=ADVANCED_FACE('',(#32),#33,.F.);
#40=ORIENTED_EDGE('',*,*,#14,.T.);
#41=EDGE_LOOP('',(#40));
#42=FACE_OUTER_BOUND('',#41,.T.);
#43=PLANE('',#6);
#44=ADVANCED_FACE('',(#42),#43,.T.);
#50=CLOSED_SHELL('',(#27,#34,#44));
#51=MANIFOLD_SOLID_BREP('',#50);
{unit}#92=(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.));
#93=(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT());
#94=UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-6),#91,'distance_accuracy_value','');
#60=(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#94))
GLOBAL_UNIT_ASSIGNED_CONTEXT((#91,#92,#93))REPRESENTATION_CONTEXT('',''));
#61=ADVANCED_BREP_SHAPE_REPRESENTATION('',(#4,#51),#60);
#70=APPLICATION_CONTEXT('configuration controlled 3d designs');
#71=MECHANICAL_CONTEXT('',#70,'mechanical');
#72=PRODUCT('cylinder','cylinder','',(#71));
#73=PRODUCT_DEFINITION_FORMATION('','',#72);
#74=DESIGN_CONTEXT('',#70,'design');
#75=PRODUCT_DEFINITION('design','',#73,#74);
#76=PRODUCT_DEFINITION_SHAPE('','',#75);
#77=SHAPE_DEFINITION_REPRESENTATION(#76,#61);
ENDSEC;
END-ISO-10303-21;
"""


def iges_tube(radius: float, height: float, unit: str = "MM") -> str:
    """An open tube about z as a surface of revolution (entity 120) of a line (entity 110)."""
    flag = {"IN": 1, "MM": 2, "M": 6}[unit]
    lines = [
        f"110,0.,0.,0.,0.,0.,{height:.9f};",
        f"110,{radius:.9f},0.,0.,{radius:.9f},0.,{height:.9f};",
        f"120,1,3,0.,{2 * math.pi:.15f};",
    ]
    kinds = [110, 110, 120]
    glob = (
        f"1H,,1H;,4Htube,8Htube.igs,4Hhand,4Hhand,32,38,6,308,15,4Htube,1.,{flag},"
        f"{len(unit)}H{unit},1,0.01,15H20240101.000000,1.E-6,1000.,4Hhand,4Hhand,11,0,"
        "15H20240101.000000;"
    )
    rows = [f"{'A tube written by hand':<72}S{1:7d}"]
    pieces = [glob[k : k + 72] for k in range(0, len(glob), 72)]
    rows += [f"{piece:<72}G{k:7d}" for k, piece in enumerate(pieces, 1)]
    for k, kind in enumerate(kinds):
        first = 2 * k + 1
        status = "00010000" if kind == 110 else "00000000"
        head = [kind, first - k, 0, 0, 0, 0, 0, 0]
        rows.append("".join(f"{x:8d}" for x in head) + f"{status}D{first:7d}")
        rows.append(
            "".join(f"{x:8d}" for x in [kind, 0, 0, 1, 0]) + " " * 16 + f"{'':8}{0:8d}"
            + f"D{first + 1:7d}"
        )  # fmt: skip
    rows += [f"{line:<64}{2 * k + 1:8d}P{k + 1:7d}" for k, line in enumerate(lines)]
    rows.append(f"S{1:7d}G{len(pieces):7d}D{2 * len(kinds):7d}P{len(lines):7d}{'':40}T{1:7d}")
    return "\n".join(rows) + "\n"


@pytest.fixture
def ball() -> trimesh.Trimesh:
    return trimesh.creation.icosphere(subdivisions=3, radius=80.0)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "options", "unit", "to_mm"),
    [
        ("ball.ply", {}, "mm", 1.0),
        ("text.ply", {"encoding": "ascii"}, "mm", 1.0),
        ("ball.obj", {}, "mm", 1.0),
        ("ball.3mf", {}, "mm", 1.0),
        ("ball.glb", {}, "m", 1000.0),
    ],
)
def test_each_format_gives_the_same_ball(
    tmp_path: Path,
    ball: trimesh.Trimesh,
    name: str,
    options: dict[str, str],
    *,
    unit: str,
    to_mm: float,
) -> None:
    shape = ball.copy()
    shape.apply_scale(1.0 / to_mm)
    shape.export(tmp_path / name, **options)
    scan = read_scan(tmp_path / name)
    found = survey(scan.mesh)
    assert (scan.triangles, scan.vertices, scan.unit) == (1280, 642, unit)
    assert (found.pieces, found.open_edges, found.flipped_pieces) == (1, 0, 0)
    # single precision or eight digits of text: 1e-6 of the size
    assert found.volume_mm3 == pytest.approx(ball.volume, rel=1e-6)
    assert found.area_mm2 == pytest.approx(ball.area, rel=1e-6)


def test_content_wins_over_a_wrong_ending(tmp_path: Path, ball: trimesh.Trimesh) -> None:
    ball.export(tmp_path / "ball.ply")
    (tmp_path / "ball.ply").rename(tmp_path / "ball.stl")
    assert read_scan(tmp_path / "ball.stl").format == "PLY"


def test_upper_case_endings_count(tmp_path: Path, ball: trimesh.Trimesh) -> None:
    ball.export(tmp_path / "ball.obj")
    (tmp_path / "ball.obj").rename(tmp_path / "BALL.OBJ")
    assert read_scan(tmp_path / "BALL.OBJ").triangles == 1280


@pytest.mark.slow
@pytest.mark.parametrize("unit", ["inch", "micron"])
def test_3mf_unit_is_the_file_s(tmp_path: Path, unit: str) -> None:
    import zipfile

    # 3MF core specification, section 3.4: the units and their values
    to_mm = {
        "micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8,
        "meter": 1000.0,
    }[unit]  # fmt: skip
    head = f'<model unit="{unit}" xmlns="http://example.test/core"><resources>'
    points = [(0, 0, 0), (100 / to_mm, 0, 0), (0, 100 / to_mm, 0), (0, 0, 100 / to_mm)]
    rows = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in points)
    faces = "".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}"/>'
        for a, b, c in [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]
    )
    body = (
        f'<object id="1" type="model"><mesh><vertices>{rows}</vertices><triangles>{faces}'
        '</triangles></mesh></object></resources><build><item objectid="1"/>'
        '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 {} 0 0"/></build></model>'
    ).format(200 / to_mm)
    with zipfile.ZipFile(tmp_path / "t.3mf", "w") as file:
        file.writestr("3D/3dmodel.model", head + body)
    scan = read_scan(tmp_path / "t.3mf")
    assert scan.unit_source == "file"
    assert scan.triangles == 8  # placed twice
    assert np.allclose(scan.mesh.bounds, [[0, 0, 0], [300, 100, 100]], rtol=1e-12)


def test_obj_polygons_negative_numbers_and_textures(tmp_path: Path) -> None:
    text = (
        "# a cube of four-sided faces\nmtllib nowhere.mtl\no cube\n"
        + "".join(f"v {x} {y} {z} 0.5 0.5 0.5\n" for x in (0, 60) for y in (0, 60) for z in (0, 60))
        + "vt 0 0\nvn 0 0 1\nusemtl none\ns off\n"
        + "f 1/1/1 2/1/1 4/1/1 3/1/1\nf 5 7 8 6\nf -8//1 -4//1 -3//1 -7//1\n"
        + "f 3 4 \\\n 8 7 # joined lines\nf 1/1 3/1 7/1 5/1\nf 2 6 8 4\n"
    )
    path = tmp_path / "cube.obj"
    path.write_text(text)
    scan = read_scan(path)
    found = survey(scan.mesh)
    assert (scan.triangles, scan.vertices) == (12, 8)
    assert (found.open_edges, found.volume_mm3) == (0, pytest.approx(60.0**3))
    assert [f.code for f in scan.findings] == ["polygons-split"]
    path.write_bytes(text.replace("\n", "\r\n").encode())
    assert read_scan(path).mesh.sha256 == scan.mesh.sha256


@pytest.mark.slow
@pytest.mark.parametrize(
    ("content", "size"),
    [
        (step_cylinder(RADIUS_MM, HEIGHT_MM), 1.0),
        (step_cylinder(RADIUS_MM / 25.4, HEIGHT_MM / 25.4, inch=True), 1.0),
    ],
    ids=["mm", "inch"],
)
def test_step_solid_lies_within_its_stated_chord_error(
    tmp_path: Path, content: str, size: float
) -> None:
    path = tmp_path / "cylinder.step"
    path.write_text(content)
    scan = read_scan(path)
    found = survey(scan.mesh)
    assert (scan.format, scan.unit, scan.unit_source) == ("STEP", "mm", "file")
    assert (found.pieces, found.open_edges, found.flipped_pieces) == (1, 0, 0)
    error = scan.chord_error_mm
    assert 0.0 < error <= 0.01
    # every vertex on the cylinder or its ends, every edge's middle within the chord error
    v = scan.mesh.vertices
    radius = np.hypot(v[:, 0], v[:, 1])
    on_wall = np.abs(radius - RADIUS_MM) < 1e-4
    on_end = np.minimum(np.abs(v[:, 2]), np.abs(v[:, 2] - HEIGHT_MM)) < 1e-4
    assert (on_wall | on_end).all()
    corners = scan.mesh.corners
    wall = (np.abs(np.hypot(corners[..., 0], corners[..., 1]) - RADIUS_MM) < 1e-4).all(axis=1)
    wall &= np.ptp(corners[..., 2], axis=1) > 1.0
    middles = (corners[wall] + np.roll(corners[wall], 1, axis=1)) / 2.0
    sag = RADIUS_MM - np.hypot(middles[..., 0], middles[..., 1])
    assert sag.max() <= error + 1e-4
    assert sag.max() > error / 50.0  # else it would be cut needlessly fine
    # volume: between the inscribed prism with that sag and the cylinder
    true = math.pi * RADIUS_MM**2 * HEIGHT_MM
    assert true * (1.0 - 2.0 * error / RADIUS_MM) < found.volume_mm3 < true * (1.0 + 1e-6)
    assert "chord-error" in {finding.code for finding in scan.findings}


@pytest.mark.slow
@pytest.mark.parametrize(("unit", "to_mm"), [("MM", 1.0), ("IN", 25.4)])
def test_iges_surface_is_read_in_its_unit(tmp_path: Path, unit: str, to_mm: float) -> None:
    path = tmp_path / "tube.igs"
    path.write_text(iges_tube(RADIUS_MM / to_mm, HEIGHT_MM / to_mm, unit))
    scan = read_scan(path)
    radius = np.hypot(scan.mesh.vertices[:, 0], scan.mesh.vertices[:, 1])
    assert scan.format == "IGES"
    assert np.abs(radius - RADIUS_MM).max() < 1e-3
    assert np.allclose(scan.mesh.bounds[:, 2], [0.0, HEIGHT_MM], atol=1e-3)


def test_reading_a_solid_can_be_cancelled_and_leaves_no_child(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[foreign.subprocess.Popen[bytes]] = []
    start = foreign.subprocess.Popen

    def remember(*arguments: object, **options: object) -> object:
        started.append(start(*arguments, **options))  # type: ignore[call-overload]
        return started[-1]

    monkeypatch.setattr(foreign.subprocess, "Popen", remember)
    path = tmp_path / "cylinder.step"
    path.write_text(step_cylinder(RADIUS_MM, HEIGHT_MM))
    progress = Progress(lambda fraction, text: progress.cancel() if fraction > 0 else None)
    begun = time.perf_counter()
    with pytest.raises(Cancelled):
        read_scan(path, progress=progress)
    assert time.perf_counter() - begun < 2.0
    assert started[0].poll() is not None


def test_a_child_that_hangs_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ball: trimesh.Trimesh
) -> None:
    slow = tmp_path / "slow.py"
    slow.write_text("import time\ntime.sleep(60)\n")
    monkeypatch.setattr(foreign, "CHILD", slow)
    monkeypatch.setattr(foreign, "LONGEST_S", 0.3)
    ball.export(tmp_path / "ball.ply")
    with pytest.raises(FileProblem, match=r"took longer.*stopped"):
        read_scan(tmp_path / "ball.ply")


@pytest.mark.parametrize(
    "script", ["import os\nos.abort()\n", "print('no JSON')\n", "raise SystemExit(3)\n"]
)
def test_a_child_that_crashes_is_told_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ball: trimesh.Trimesh, script: str
) -> None:
    crash = tmp_path / "crash.py"
    crash.write_text(script)
    monkeypatch.setattr(foreign, "CHILD", crash)
    ball.export(tmp_path / "ball.ply")
    with pytest.raises(FileProblem, match="crash of the library"):
        read_scan(tmp_path / "ball.ply")


@pytest.mark.parametrize(
    ("face", "others"),
    [
        ("4 0 1 3", ""),  # says four, holds three
        ("2 0 1 3", ""),
        ("three 0 1 3", ""),
        ("", ""),  # one line too few: the next is a number short of a face
        ("3 0 1 3 255", ""),  # a colour nobody announced
        ("3 0 1 3", "property uchar red\n"),  # one announced and not there
    ],
)
def test_text_ply_whose_face_holds_other_corners_than_it_says_is_refused(tmp_path, face, others):
    rows = ["3 0 1 2", face, "3 0 2 3", "3 1 2 3"]
    if others:
        rows = [f"{row} 255" if k != 1 else row for k, row in enumerate(rows)]
    (tmp_path / "lie.ply").write_text(
        "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\n"
        "property float z\nelement face 4\nproperty list uchar int vertex_indices\n"
        + others
        + "end_header\n0 0 0\n300 0 0\n0 300 0\n0 0 300\n"
        + "\n".join(rows)
        + "\n"
    )
    with pytest.raises(FileProblem, match=r"lie\.ply"):
        read_scan(tmp_path / "lie.ply")
