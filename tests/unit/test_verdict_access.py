"""Access: swept tools against closed forms, the wheel against dense sampling, nonsense refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import trimesh

from clearturn.envelope.tools import box_corners, moved_box, rod, swung_handle
from clearturn.errors import JobProblem
from clearturn.job.access import BoltOut, PadOut, SpannerOn, WheelOn
from clearturn.job.file import load_job, parse_job
from clearturn.job.judging import AllowanceEntry, SeatStack, Stud, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart, Verdict
from clearturn.samples import demo_job_file
from clearturn.verdict.access import Setting, judge_access, tool_mesh

BOLT = BoltOut("bolt out", "bolt", "knuckle", (100.0, 0.0, 0.0), (0.0, 0.0, -2.0), 30.0, 20.0, 40.0)


def box(name: str, low: Any, high: Any, kind: str = "knuckle", motion: Motion = Motion.FIXED):
    x = np.array([[a, b, c] for a in (0, 1) for b in (0, 1) for c in (0, 1)], float)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    points = np.asarray(low, float) + x * (np.asarray(high, float) - np.asarray(low, float))
    return PlacedPart(name, kind, motion, Mesh(points, faces, name), "dimensions")


def ring(name: str, kind: str, profile: list[tuple[float, float]], turns: int = 360):
    p, a = np.asarray(profile, float), 2 * np.pi * np.arange(turns) / turns
    points = np.concatenate(
        [np.stack([r * np.cos(a), r * np.sin(a), np.full(turns, z)], axis=1) for r, z in p]
    )
    faces = []
    for i in range(len(p)):
        j = (i + 1) % len(p)
        for k in range(turns):
            m = (k + 1) % turns
            q = [i * turns + k, i * turns + m, j * turns + m, j * turns + k]
            faces += [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]
    return PlacedPart(name, kind, Motion.TURNS, Mesh(points, faces, name), "dimensions")


def corner(*parts: PlacedPart, mirror: bool = False, **more: Any) -> Setting:
    settings = VerdictSettings(**more)
    return Setting(parts, {one.name: one.name for one in parts}, {}, settings, mirror)


def one(item: Any, setting: Setting):
    (found,) = judge_access([item], setting)
    return found


# --- swept bodies ----------------------------------------------------------------------------


def solid(mesh: Mesh) -> trimesh.Trimesh:
    made = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert made.is_watertight
    assert made.is_winding_consistent
    return made


def test_rod_holds_the_cylinder_and_states_what_it_is_too_large_by() -> None:
    made = rod((1.0, 2.0, 3.0), (1.0, 1.0, 0.0), 50.0, 20.0)
    # A circumscribed 48-gon: area n r² tan(π/n).
    assert solid(made.mesh).volume == pytest.approx(48 * 100.0 * math.tan(math.pi / 48) * 50.0)
    assert made.chord_error_mm == pytest.approx(10.0 / math.cos(math.pi / 48) - 10.0)


def test_box_moved_along_its_own_side_is_a_longer_box() -> None:
    corners, radial = box_corners(270.0, (100.0, 130.0), (-10.0, 0.0), 80.0)
    made = solid(moved_box(corners, 50.0 * radial).mesh)
    assert made.volume == pytest.approx((30.0 + 50.0) * 10.0 * 80.0)
    # Clock 270° lies on −x (clock φ at (r sin φ, r cos φ)).
    assert made.bounds[0] == pytest.approx([-180.0, -40.0, -10.0], abs=1e-9)
    slanted = solid(moved_box(corners, (0.0, 30.0, 40.0)).mesh)
    # A prism moved by t: V + A·t for each face it leaves: 30·10·30 + 30·80·40.
    assert slanted.volume == pytest.approx(30 * 10 * 80 + 30 * 10 * 30 + 30 * 80 * 40)


@pytest.mark.parametrize("swing", [0.0, 30.0, 60.0, 120.0])
def test_swung_handle_holds_the_handle_at_every_angle(swing: float) -> None:
    made = solid(
        swung_handle(
            (0, 0, 0), (0, 0, 1), (1, 0, 0.4), length_mm=100.0, width_mm=12.0, height_mm=8.0,
            swing_deg=swing,
        ).mesh
    )  # fmt: skip
    for angle in np.radians(np.linspace(-swing / 2, swing / 2, 23)):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        for x, y in ((100.0, 6.0), (100.0, -6.0), (0.5, 6.0)):
            point = np.array([*(turn @ (x, y)), 4.0])
            # Inside a convex body: behind every face.
            normal, at = made.face_normals, made.triangles[:, 0]
            assert (np.einsum("ij,ij->i", normal, point - at) <= 1e-9).all()


# --- tools -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("room", "word"), [(1.2, Verdict.CLEARS), (0.8, Verdict.FAILS), (-2.0, Verdict.FAILS)]
)
def test_bolt_needs_room_beside_its_socket(room: float, word: Verdict) -> None:
    # Socket Ø 20 about x = 100; the wall begins at 110 + room.  The 48-gon is 0.021 mm too large.
    wall = box("knuckle", (110.0 + room, -50, -90), (140, 50, 0))
    found = one(BOLT, corner(wall))
    assert found.verdict is word
    if room > 0:
        assert found.gap_mm is not None
        assert found.gap_mm.lower == pytest.approx(room - 0.0215, abs=0.001)
        assert found.clock_deg == pytest.approx(90.0, abs=10.0)


def test_bolt_needs_its_length_behind_the_socket() -> None:
    # Seat at z 0, socket 40 long, drawn by 30: free down to −70.
    for z, word in ((-71.5, Verdict.CLEARS), (-70.5, Verdict.FAILS), (-60.0, Verdict.FAILS)):
        found = one(BOLT, corner(box("knuckle", (80, -20, z - 20), (120, 20, z))))
        assert found.verdict is word, z


def test_seat_of_the_head_is_no_obstacle() -> None:
    found = one(BOLT, corner(box("knuckle", (60, -40, 0), (140, 40, 30))))
    assert found.verdict is Verdict.CLEARS
    assert found.gap_mm is not None
    assert found.gap_mm.lower == pytest.approx(1.5, abs=1e-3)  # looked at from 1 + 0.5 mm above


def test_what_is_off_is_not_in_the_way() -> None:
    wall = box("damper", (100, -50, -50), (140, 50, -40))
    assert one(BOLT, corner(box("knuckle", (60, -40, 0), (140, 40, 30)), wall)).against == "damper"
    off = replace(BOLT, removed=("damper",))
    found = one(off, corner(box("knuckle", (60, -40, 0), (140, 40, 30)), wall))
    assert found.verdict is Verdict.CLEARS
    assert "without damper" in found.told


def test_nothing_left_to_judge_against_proves_nothing() -> None:
    found = one(replace(BOLT, removed=("knuckle",)), corner(box("knuckle", (0, 0, 0), (9, 9, 9))))
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.gap_mm is None


def test_tolerance_of_the_obstacle_counts_and_running_allowances_do_not() -> None:
    wall = box("knuckle", (111.2, -50, -90), (140, 50, 0))
    running = AllowanceEntry("hot", 5.0, "gap", "always costs", "by hand")
    assert one(BOLT, corner(wall, allowances=(running,))).verdict is Verdict.CLEARS
    # ± 0.3 rectangular: U = 2 · 0.3/√3 = 0.35 mm; 1.18 − 0.35 < 1 < 1.18 + 0.35.
    loose = AllowanceEntry("tolerance", 0.3, "gap", "random", "by hand", part="knuckle")
    found = one(BOLT, corner(wall, allowances=(loose,)))
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.expanded_uncertainty_mm == pytest.approx(0.3464, abs=0.001)


def test_part_that_turns_is_judged_at_every_angle() -> None:
    # A nose on the ring that stands elsewhere now passes the tool at r 110 + 5.
    nose = box("rotor", (-130, -5, -40), (-115, 5, -20), kind="rotor", motion=Motion.TURNS)
    found = one(BOLT, corner(nose))
    assert found.gap_mm is not None
    assert found.gap_mm.lower == pytest.approx(5.0, abs=0.25)  # the tool's side is round


def test_pad_slides_in_its_caliper_and_meets_the_barrel() -> None:
    pad = PadOut(
        "pad out", "pad", "caliper", 90.0, 110.0, 170.0, -20.0, -10.0, 60.0, "outward", 80.0,
        touches=("rotor",),
    )  # fmt: skip
    caliper = box("caliper", (100, -60, -40), (200, 60, 20), kind="caliper")
    rotor = ring("rotor", "rotor", [(60, -40), (175, -40), (175, -20), (60, -20)])
    barrel = ring("barrel", "barrel", [(205, -60), (210, -60), (210, 40), (205, 40)])
    free = one(replace(pad, removed=("barrel",)), corner(caliper, rotor, barrel))
    assert free.verdict is Verdict.NOT_PROVEN  # caliper, ring and barrel: nothing is left
    wall = box("knuckle", (252, -50, -30), (260, 50, 0))
    cleared = one(replace(pad, removed=("barrel",)), corner(caliper, rotor, barrel, wall))
    # The pad ends at 170 + 80 = 250.
    assert cleared.gap_mm is not None
    assert cleared.gap_mm.lower == pytest.approx(2.0, abs=1e-3)
    assert one(pad, corner(caliper, rotor, barrel)).verdict is Verdict.FAILS


def test_spanner_takes_the_faces_around_its_nipple_for_the_nipple() -> None:
    nipple = box("caliper", (95, -5, 0), (105, 5, 12), kind="caliper")
    spanner = SpannerOn(
        "spanner on", "nipple", "caliper", (100.0, 0.0, 6.0), (0.0, 0.0, 1.0), 20.0,
        (1.0, 0.0, 0.0), 100.0, 12.0, ring_height_mm=8.0, way_mm=15.0,
    )  # fmt: skip
    wall = box("knuckle", (205, -80, 0), (220, 80, 40))
    found = one(spanner, corner(nipple, wall))
    # The handle reaches x 200, its swung corners √(100² + 6²) about the nipple, a little beyond.
    assert found.against == "knuckle"
    assert found.gap_mm is not None
    reach = math.hypot(100.0, 6.0) / math.cos(math.radians(2.5))
    assert 205.0 - 100.0 - reach - 0.01 <= found.gap_mm.lower <= 5.0
    beside = box("knuckle", (180, -30, 0), (190, -20, 40))
    assert one(spanner, corner(nipple, beside)).verdict is Verdict.FAILS
    narrow = replace(spanner, swing_deg=10.0)
    assert one(narrow, corner(nipple, beside)).verdict is Verdict.CLEARS


def test_tool_of_the_other_side_is_mirrored() -> None:
    wall = box("knuckle", (-140, -50, -90), (-111.2, 50, 0))
    found = one(BOLT, corner(wall, mirror=True))
    assert found.gap_mm is not None
    assert found.gap_mm.lower == pytest.approx(1.2 - 0.0215, abs=0.001)


# --- the wheel -------------------------------------------------------------------------------


STUD = Stud(42.0, "M14×1.5", 14.0, 14.0, 18.0)
WHEEL = WheelOn("wheel on", "wheel", None, 15.0)


def wheel_corner(*parts: PlacedPart, **more: Any) -> Setting:
    return corner(
        *parts, stud=STUD, seat_stack=SeatStack(8.0, 8.0), wheel_parts=("barrel",), **more
    )


def test_wheel_is_followed_over_the_caliper() -> None:
    # A barrel with a lip at z −30 … −26 that stands in to r 196: seated it lies inboard of the
    # caliper, on its way on it must pass the caliper's corner at √(190² + 5²) = 190.066.
    lip = [(205, -60), (205, -30), (196, -30), (196, -26), (205, -26), (205, 40), (210, 40),
           (210, -60)]  # fmt: skip
    barrel = ring("barrel", "barrel", lip, 720)
    caliper = box("caliper", (150, -5, -20), (190, 5, 0), kind="caliper")
    room = 196.0 - math.hypot(190.0, 5.0)
    for required, word in ((5.0, Verdict.CLEARS), (6.5, Verdict.FAILS)):
        found = one(replace(WHEEL, required_mm=required), wheel_corner(caliper, barrel))
        assert found.verdict is word
        if word is Verdict.CLEARS:
            # At rest the lip is 6 mm inboard of the caliper's edge: √(6² + 5.93²) there.
            assert found.gap_mm is not None
            assert found.gap_mm.lower == pytest.approx(room, abs=0.05)
            assert any("before the wheel sits" in text for text in found.told)


def test_followed_way_never_misses_what_dense_sampling_finds() -> None:
    lip = [(205, -60), (205, -46), (191.5, -45), (205, -44), (205, 40), (210, 40), (210, -60)]
    barrel = ring("barrel", "barrel", lip, 720)  # a sharp crest: 1.43 mm at its pass
    caliper = box("caliper", (150, -5, -20), (190, 5, -18), kind="caliper")
    found = one(WHEEL, wheel_corner(caliper, barrel))
    from clearturn.verdict.field import Pair

    pair = Pair.of(barrel, caliper)
    dense = min(
        pair.gap(shift_first=np.array([0.0, 0.0, s])).gap_mm.lower or 0.0
        for s in np.arange(0.0, 36.01, 0.25)
    )
    assert found.gap_mm is not None
    assert found.gap_mm.lower is not None
    assert found.gap_mm.lower <= dense + 0.1
    assert found.verdict is Verdict.CLEARS
    assert one(replace(WHEEL, required_mm=1.6), wheel_corner(caliper, barrel)).verdict is (
        Verdict.FAILS
    )


def test_studs_must_be_passed_and_fit_their_holes() -> None:
    barrel = ring("barrel", "barrel", [(205, -60), (210, -60), (210, 40), (205, 40)])
    caliper = box("caliper", (150, -5, -20), (190, 5, 0), kind="caliper")
    setting = wheel_corner(caliper, barrel)
    # Studs 42 long over a pad at 8: 34 mm; M14 in holes of 15: 0.5 mm a side.
    found = one(WHEEL, setting)
    assert found.way_mm == pytest.approx(36.0)
    assert "studs stand 34.0 mm over the wheel pad" in found.told
    assert any(text.startswith("0.50 mm a side") for text in found.told)
    assert found.verdict is Verdict.CLEARS
    assert one(replace(WHEEL, way_mm=30.0), setting).verdict is Verdict.FAILS
    assert one(replace(WHEEL, stud_hole_mm=14.2), setting).verdict is Verdict.FAILS


# --- in the job ------------------------------------------------------------------------------


def test_demo_has_every_kind_of_way() -> None:
    items = load_job(demo_job_file()).axles[0].corner.access
    assert {item.what for item in items} == {"bolt out", "pad out", "spanner on", "wheel on"}
    for item in items:
        if not isinstance(item, WheelOn):
            assert solid_bodies(tool_mesh(item)) in (1, 2)


def solid_bodies(mesh: Mesh) -> int:
    made = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    return len(made.split(only_watertight=True))


@pytest.mark.parametrize(
    ("index", "key", "value", "named"),
    [
        (0, "own", "wing", "access[0].own: there is no part of this name"),
        (0, "name", "rotor", "access[0].name: two of the name"),
        (0, "name", " ", "access[0].name: an access item needs a name"),
        (0, "direction", [0, 0, 0], "access[0].direction: a direction without length"),
        (0, "socket_diameter_mm", 0, "access[0].socket_diameter_mm: not the size of a tool"),
        (0, "socket_diameter_mm", -4, "access[0].socket_diameter_mm: a size cannot be negative"),
        (0, "removed", ["door"], "access[0].removed[0]: there is no part of this name"),
        (0, "what", "bolt in", "access[0].what: "),
        (0, "colour", 1, "access[0].colour: this key is not known"),
        (2, "z_from_mm", 5.0, "access[2].z_from_mm: the pad is inside out"),
        (2, "touches", ["door"], "access[2].touches[0]: there is no part of this name"),
        (2, "direction", "upward", "access[2].direction: "),
        (4, "swing_deg", 400, "access[4].swing_deg: not a spanner's swing"),
        (6, "way_mm", 1e5, "access[6].way_mm: not the size of a tool or a way"),
    ],
)
def test_nonsense_is_refused_by_its_place(index: int, key: str, value: Any, named: str) -> None:
    raw = json.loads(demo_job_file().read_text(encoding="utf-8"))
    raw["axles"][0]["corner"]["access"][index][key] = value
    with pytest.raises(JobProblem) as caught:
        parse_job(json.dumps(raw, indent=1))
    assert named in str(caught.value)
    assert str(caught.value).count("\n") == 0


def test_handle_along_its_nipple_is_refused() -> None:
    raw = json.loads(demo_job_file().read_text(encoding="utf-8"))
    item = raw["axles"][0]["corner"]["access"][4]
    item["handle_direction"] = item["direction"]
    with pytest.raises(JobProblem, match="the handle lies along the nipple"):
        parse_job(json.dumps(raw))
