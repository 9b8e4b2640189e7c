"""The demo corner's stated gaps against a brute-force search of fine meshes (python-fcl).

The meshes here are made in this file from the dimensions alone (caliper, rotor) or on a fine grid
from the solids, and python-fcl knows nothing of meridian images: it finds triangle distances.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import fcl
import numpy as np
import pytest

SAMPLES = Path(__file__).resolve().parents[2] / "sample_meshes"
sys.path.insert(0, str(SAMPLES))
import construction as c  # noqa: E402
import make_demo  # noqa: E402
import truth  # noqa: E402

TRUE = json.loads((SAMPLES / "true.json").read_text(encoding="utf-8"))
GAPS = TRUE["gaps"]
RING_MID = -TRUE["rotor"]["hat_offset_mm"]
PAD_Z = TRUE["rotor"]["flange_thickness_mm"]


# --- what the truth may use -------------------------------------------------------------------


def imported(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield (node.module or "").split(".")[0]


@pytest.mark.parametrize("name", ["construction", "truth", "make_demo", "surface_mesh"])
def test_what_makes_the_demo_does_not_import_the_program(name):
    found = set(imported(SAMPLES / f"{name}.py"))
    assert not found & {"clearturn", "clearturn_app"}


def test_the_truth_needs_nothing_but_numpy_and_scipy():
    own = {"construction", "make_demo", "surface_mesh"}
    used = {m for name in ("truth", "construction") for m in imported(SAMPLES / f"{name}.py")}
    assert used - own - set(sys.stdlib_module_names) <= {"numpy", "scipy"}


def test_running_the_truth_loads_nothing_of_the_program():
    code = "import sys, truth; truth.gaps(); print([m for m in sys.modules if 'clearturn' in m])"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=SAMPLES, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_the_kept_truth_is_what_the_script_computes():
    now = json.loads(truth.text())

    def compare(a, b, where):
        assert type(a) is type(b), where
        if isinstance(a, dict):
            assert list(a) == list(b), where
            for key in a:
                compare(a[key], b[key], f"{where}/{key}")
        elif isinstance(a, list):
            assert len(a) == len(b), where
            for i, (x, y) in enumerate(zip(a, b, strict=True)):
                compare(x, y, f"{where}[{i}]")
        elif isinstance(a, float):
            assert a == pytest.approx(b, abs=1e-9), where
        else:
            assert a == b, where

    compare(now, TRUE, "")


# --- what is wrong with the corner, on purpose ------------------------------------------------


def test_the_designed_faults_are_there():
    assert GAPS["caliper–barrel"]["gap_mm"] == pytest.approx(5.5)
    assert GAPS["caliper–barrel"]["with_weights_mm"] == pytest.approx(1.0)
    assert GAPS["caliper–spokes"]["gap_mm"] == pytest.approx(2.2)
    hub, rotor = TRUE["hub"], TRUE["rotor"]
    hat = rotor["hat_outer_diameter_mm"] - 2 * rotor["hat_wall_mm"]
    assert hub["housing_diameter_mm"] - (hat - 2 * 0.8) == pytest.approx(2.4)
    assert hub["rotor_register_diameter_mm"] > rotor["bore_diameter_mm"]
    for pair, required in (
        ("caliper–ring", 3.0),
        ("rotor–knuckle", 5.0),
        ("caliper–knuckle", 2.0),
        ("rotor–tie rod", 5.0),
        ("wheel–tie rod", 5.0),
        ("wheel–knuckle", 5.0),
    ):
        assert GAPS[pair]["gap_mm"] > required + 0.5


def test_every_gap_states_an_error_of_a_micrometre_or_less():
    assert all(0 < row["error_mm"] <= 1e-3 for row in GAPS.values())
    for row in GAPS.values():
        if "searched_mm" in row:
            assert row["searched_mm"] == pytest.approx(row["gap_mm"], abs=1e-3)


# --- brute force ------------------------------------------------------------------------------


def swept(section, start, stop, steps, cell=4.0):
    """Section (k, 2) of r and z, closed, turned from one clock position to another: fine mesh."""
    rows = []
    for p, q in zip(section, np.roll(section, -1, axis=0), strict=True):
        n = max(1, int(np.ceil(np.hypot(*(q - p)) / cell)))
        rows.append(p + np.arange(n)[:, None] / n * (q - p))
    line = np.concatenate(rows)
    k = len(line)
    angle = np.linspace(start, stop, steps + 1)
    r, z = line.T
    vertices = np.stack(
        [np.outer(np.sin(angle), r), np.outer(np.cos(angle), r), np.tile(z, (steps + 1, 1))], 2
    ).reshape(-1, 3)
    i = (np.arange(steps)[:, None] * k + np.arange(k)).ravel()
    j = (np.arange(steps)[:, None] * k + (np.arange(k) + 1) % k).ravel()
    faces = np.concatenate([np.c_[i, j, j + k], np.c_[i, j + k, i + k]])
    return vertices, faces


def caliper_meshes():
    """Body (without end caps, which only close it) and boxes, chord error under 1 um."""
    k = TRUE["caliper"]
    z0, z1 = RING_MID - k["inboard_width_mm"], RING_MID + k["outboard_width_mm"]
    s0, s1 = RING_MID - k["slot_half_width_mm"], RING_MID + k["slot_half_width_mm"]
    r0, r1, rb = k["inner_radius_mm"], k["outer_radius_mm"], k["bridge_inner_radius_mm"]
    q = k["corner_radius_mm"]
    turn = np.linspace(-np.pi / 2, 0, 60)
    low = np.c_[r1 - q + q * np.cos(turn), z0 + q + q * np.sin(turn)]
    high = np.c_[r1 - q + q * np.cos(turn + np.pi / 2), z1 - q + q * np.sin(turn + np.pi / 2)]
    slot = [[r0, z1], [r0, s1], [rb, s1], [rb, s0], [r0, s0]]
    section = np.concatenate([[[r0, z0]], low, high, slot])
    half = np.radians(k["arc_deg"] / 2)
    mid = np.radians(k["clock_deg"])
    meshes = [swept(section, mid - half, mid + half, 500)]
    cube = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = np.array([t for a, b, d, e in quads for t in ((a, b, d), (a, d, e))])
    for box in k["boxes"]:
        a = mid + np.radians(box["clock_offset_deg"])
        radial, across = (np.sin(a), np.cos(a), 0.0), (np.cos(a), -np.sin(a), 0.0)
        u = box["r_from_mm"] + cube[:, 0] * (box["r_to_mm"] - box["r_from_mm"])
        w = (cube[:, 1] - 0.5) * box["width_mm"]
        z = RING_MID + box["z_from_mm"] + cube[:, 2] * (box["z_to_mm"] - box["z_from_mm"])
        meshes.append((np.outer(u, radial) + np.outer(w, across) + np.outer(z, (0, 0, 1)), faces))
    return meshes


def rotor_mesh():
    r = TRUE["rotor"]
    ring = r["ring_thickness_mm"] / 2
    mount = r["mount_thickness_mm"] / 2
    hat = r["hat_outer_diameter_mm"] / 2
    section = [
        (hat - r["hat_wall_mm"], RING_MID - mount),
        (r["ring_inner_diameter_mm"] / 2, RING_MID - mount),
        (r["ring_inner_diameter_mm"] / 2, RING_MID - ring),
        (r["ring_outer_diameter_mm"] / 2, RING_MID - ring),
        (r["ring_outer_diameter_mm"] / 2, RING_MID + ring),
        (r["ring_inner_diameter_mm"] / 2, RING_MID + ring),
        (r["ring_inner_diameter_mm"] / 2, RING_MID + mount),
        (hat, RING_MID + mount),
        (hat, PAD_Z),
        (r["bore_diameter_mm"] / 2, PAD_Z),
        (r["bore_diameter_mm"] / 2, 0.0),
        (hat - r["hat_wall_mm"], 0.0),
    ]
    return swept(np.array(section), 0.0, 2 * np.pi, 1440)


def body(vertices, faces):
    model = fcl.BVHModel()
    model.beginModel(len(vertices), len(faces))
    model.addSubModel(np.ascontiguousarray(vertices, float), np.ascontiguousarray(faces, int))
    model.endModel()
    return model


def distance(first, second, turn_deg=0.0):
    """Least distance with the second body turned about Z, and the nearest points."""
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a), 0], [-np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
    result = fcl.DistanceResult()
    request = fcl.DistanceRequest(enable_nearest_points=True)
    least = fcl.distance(
        fcl.CollisionObject(first, fcl.Transform()),
        fcl.CollisionObject(second, fcl.Transform(turn, np.zeros(3))),
        request,
        result,
    )
    return least, result.nearest_points


def fine_window(solid, centre, half, spacing=0.5, shift=0.0):
    """The surface of a solid in a box about a point, on a fine grid, vertices on the surface."""
    from surface_mesh import grid_surface, onto

    low = np.asarray(centre, float) - half
    vertices, faces = grid_surface(solid, low, low + 2 * np.asarray(half, float), spacing)
    vertices = onto(solid, vertices, longest=0.2)
    return vertices + np.array([0.0, 0.0, shift]), faces


@pytest.fixture(scope="module")
def caliper_bodies():
    return [body(*part) for part in caliper_meshes()]


@pytest.fixture(scope="module")
def rotor_body():
    return body(*rotor_mesh())


@pytest.fixture(scope="module")
def wheel_body():
    vertices, faces = make_demo.base_pieces("wheel")["wheel"]
    return vertices + np.array([0.0, 0.0, PAD_Z]), faces


@pytest.fixture(scope="module")
def knuckle_pieces():
    return make_demo.base_pieces("knuckle")


def test_caliper_and_barrel(wheel_body, caliper_bodies):
    vertices, faces = wheel_body
    far = np.hypot(vertices[:, 0], vertices[:, 1])[faces].min(axis=1) > 203.0
    wheel = body(vertices, faces[far])
    found = min(distance(part, wheel, turn)[0] for part in caliper_bodies for turn in (0, 20))
    # base mesh: circumferential sagitta of a concave surface makes it read small, by < 10 um
    assert GAPS["caliper–barrel"]["gap_mm"] - 0.01 < found < GAPS["caliper–barrel"]["gap_mm"] + 0.01


def test_caliper_and_spokes_over_a_turn(wheel_body, caliper_bodies):
    vertices, faces = wheel_body
    r = np.hypot(vertices[:, 0], vertices[:, 1])
    spokes = (r[faces].max(axis=1) < 206.0) & (r[faces].min(axis=1) > 80.0)
    wheel = body(vertices, faces[spokes])
    found = min(
        distance(part, wheel, turn)[0] for part in caliper_bodies for turn in range(0, 36, 6)
    )
    assert found == pytest.approx(GAPS["caliper–spokes"]["gap_mm"], abs=0.012)


def test_the_spoke_crest_on_a_fine_mesh(caliper_bodies):
    r, z = c.SPOKE_CREST
    crest = c.clock_point(r, 0.0, z)
    spoke = body(*fine_window(c.wheel, crest, (8, 12, 4), 0.4, PAD_Z))
    found = [distance(caliper_bodies[0], spoke, turn)[0] for turn in (250.0, 270.0, 293.0)]
    # triangles of 0.4 mm over an arc of 60 mm: the mesh lies inside by 0.4^2/(8*60) < 1 um
    assert found == pytest.approx([GAPS["caliper–spokes"]["gap_mm"]] * 3, abs=1.5e-3)


def test_the_barrel_crest_on_a_fine_mesh(caliper_bodies):
    r, z = c.BARREL_CREST
    crest = c.clock_point(r, 0.0, z)
    barrel = body(*fine_window(c.wheel, crest, (14, 5, 9), 0.4, PAD_Z))
    found = distance(caliper_bodies[0], barrel, 265.0)[0]
    assert found == pytest.approx(GAPS["caliper–barrel"]["gap_mm"], abs=1.5e-3)


def test_caliper_and_rotor(caliper_bodies, rotor_body):
    found = min(distance(part, rotor_body)[0] for part in caliper_bodies)
    assert found == pytest.approx(GAPS["caliper–ring"]["gap_mm"], abs=2e-3)


def test_rotor_and_knuckle_without_the_housing(knuckle_pieces, rotor_body):
    vertices, faces = knuckle_pieces["knuckle"]
    band = vertices[:, 2][faces].max(axis=1) < -53.9
    least, (on_knuckle, _) = distance(body(vertices, faces[band]), rotor_body)
    assert least == pytest.approx(GAPS["rotor–knuckle"]["gap_mm"], abs=0.012)
    place = GAPS["rotor–knuckle"]["place"]
    assert on_knuckle[2] == pytest.approx(place["z_mm"], abs=0.02)
    low, high = GAPS["rotor–knuckle"]["clock_range_deg"]
    clock = np.degrees(np.arctan2(on_knuckle[0], on_knuckle[1])) % 360
    assert low - 1.5 < clock < high + 1.5


def test_the_eye_on_a_fine_mesh(rotor_body):
    x, y, z = c.EYE_CENTRE
    top = body(*fine_window(c.knuckle, (x, y, z + c.EYE_RADIUS), (7, 9, 4), 0.4))
    found = distance(top, rotor_body)[0]
    assert found == pytest.approx(GAPS["rotor–knuckle"]["gap_mm"], abs=1.5e-3)


def test_caliper_and_knuckle(knuckle_pieces, caliper_bodies):
    vertices, faces = knuckle_pieces["knuckle"]
    knuckle = body(vertices, faces[vertices[:, 2][faces].max(axis=1) < -53.9])
    found = [distance(part, knuckle)[0] for part in caliper_bodies]
    # both are planes there: meshes are exact
    assert min(found) == pytest.approx(GAPS["caliper–knuckle"]["gap_mm"], abs=1e-4)


def test_rotor_and_tie_rod(knuckle_pieces, rotor_body):
    least, _ = distance(body(*knuckle_pieces["tie rod"]), rotor_body)
    # triangles of 0.9 mm on top of the ball: 0.9^2 / (8 * 17) = 6 um
    assert least == pytest.approx(GAPS["rotor–tie rod"]["gap_mm"], abs=0.008)
    ball = np.array(c.BALL_CENTRE) + np.array([0.0, 0.0, c.BALL_RADIUS])
    fine = body(*fine_window(c.tie_rod, ball, (5, 5, 3), 0.3))
    assert distance(fine, rotor_body)[0] == pytest.approx(GAPS["rotor–tie rod"]["gap_mm"], abs=2e-3)


@pytest.mark.parametrize(
    ("pair", "piece"), [("wheel–tie rod", "tie rod"), ("wheel–knuckle", "knuckle")]
)
def test_wheel_against_parts_of_the_knuckle(pair, piece, wheel_body, knuckle_pieces):
    vertices, faces = knuckle_pieces[piece]
    other = body(vertices, faces[vertices[:, 2][faces].max(axis=1) < -53.9])
    barrel = body(*wheel_body)
    found = min(distance(other, barrel, turn)[0] for turn in range(0, 36, 9))
    # 5 mm triangles on the barrel: sagitta 15 um in clock; 3 mm on the rounded rim, ~0.1 mm
    assert found == pytest.approx(GAPS[pair]["gap_mm"], abs=0.15)


def test_hub_diameters_from_the_base_mesh(knuckle_pieces):
    vertices, _ = knuckle_pieces["knuckle"]
    r, z = np.hypot(vertices[:, 0], vertices[:, 1]), vertices[:, 2]
    assert r[(z > -49) & (z < -19)].max() * 2 == pytest.approx(164.8, abs=1e-4)
    assert r[(z > -9) & (z < -3)].max() * 2 == pytest.approx(148.0, abs=1e-4)
    spigot = (z > 3) & (z < 15) & (r > 30) & (r < 40)
    assert r[spigot] * 2 == pytest.approx(70.0, abs=1e-4)
    assert GAPS["housing in hat"]["gap_mm"] == pytest.approx(82.0 - 82.4)
    assert GAPS["hub flange in hat"]["gap_mm"] == pytest.approx(82.0 - 74.0)
    assert GAPS["caliper–hub"]["gap_mm"] == pytest.approx(112.0 - 74.0)


@pytest.mark.parametrize(
    ("pair", "low", "high"), [("caliper–hub", -13.9, 60), ("caliper–housing", -54, -13.9)]
)
def test_caliper_and_bands_of_the_hub(pair, low, high, knuckle_pieces, caliper_bodies):
    vertices, faces = knuckle_pieces["knuckle"]
    z = vertices[:, 2][faces]
    own = body(vertices, faces[(z.min(axis=1) > low) & (z.max(axis=1) < high)])
    found = min(distance(part, own)[0] for part in caliper_bodies)
    # triangles of 2 mm on the rounded edge of 1.5 mm cut its corner by up to 0.2 mm
    assert GAPS[pair]["gap_mm"] - 0.01 < found < GAPS[pair]["gap_mm"] + 0.15
