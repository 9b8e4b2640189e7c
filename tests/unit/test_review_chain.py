"""The chain from job to verdict on jobs unlike the demo: mirrored, named freely, two axles."""

from __future__ import annotations

import copy
import importlib.util
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clearturn.check import check
from clearturn.corner.assemble import Assembled, assemble
from clearturn.corner.frames import find_frames, fit_datums
from clearturn.corner.pairs import PairSpec
from clearturn.corner.sources import read_sources
from clearturn.datum import fit_plane
from clearturn.drawing.model import Text
from clearturn.envelope import RotorDimensions, rotor_mesh
from clearturn.job.file import parse_job
from clearturn.job.judging import AllowanceEntry, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.report.blocks import Context
from clearturn.report.content import build_report, verdict_sentence
from clearturn.report.figures import machined
from clearturn.report.names import machining
from clearturn.report.pictures import Pictures
from clearturn.report.sections.before_driving import on_the_stand_mm
from clearturn.result import HubResult, Motion, PlacedPart, Verdict
from clearturn.trade.register import KnownSize, judge_in_hat, judge_register, wanted_fit
from clearturn.verdict import judge_pairs
from clearturn.verdict.allowances import Places, project, total_cost
from clearturn.verdict.changes import caliper_radius, changes_for

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("chain")
    return folder, made.write_corner(folder)


def put_together(data: tuple[Path, dict[str, Any]], **changes: Any) -> Assembled:
    folder, plain = data
    plain = copy.deepcopy(plain)
    made.corner_of(plain).update(changes)
    return assemble(parse_job(json.dumps(plain)).job.axles[0].corner, folder)


def part(found: Assembled, name: str) -> PlacedPart:
    return next(p for p in found.placed.parts if p.name == name)


def allowance(name: str, value: float, direction: str, kind: str, of: str) -> dict[str, Any]:
    return {
        "name": name, "value_mm": value, "direction": direction, "kind": kind,
        "source": "made up", "part": of,
    }  # fmt: skip


def taken(found: Assembled, first: str, second: str, direction: tuple[float, ...]) -> float:
    """What the allowances take off a gap that points along `direction`, mm."""
    places = Places.of(np.array([0.0, 200.0, 0.0]), np.array(direction))
    applied = project(
        found.settings.allowances, part(found, first), part(found, second), places,
        found.settings.wheel_parts,
    )  # fmt: skip
    return float(total_cost(applied, 1)[0])


def names_on(found: Assembled, one: str) -> list[str]:
    """Names of the allowances that concern a part (against the rod, which has none)."""
    places = Places.of(np.array([0.0, 200.0, 0.0]), np.array([0.0, 0.0, 1.0]))
    applied = project(
        found.settings.allowances, part(found, "rod"), part(found, one), places,
        found.settings.wheel_parts,
    )  # fmt: skip
    return sorted(a.entry.name for a in applied)


@pytest.mark.parametrize("clock_deg", [270.0, 45.0, 123.0])
def test_inward_points_from_the_caliper_to_the_axis_on_both_sides(
    data: tuple[Path, dict[str, Any]], clock_deg: float
) -> None:
    dimensions = made.corner_of(data[1])["caliper"] | {"clock_deg": clock_deg}
    for mirror in (False, True):
        found = put_together(data, caliper=dimensions, mirror=mirror)
        middle = part(found, "caliper").mesh.vertices.mean(axis=0)
        radial = np.array([*middle[:2], 0.0]) / np.hypot(*middle[:2])
        along = caliper_radius(part(found, "caliper"), found.settings)
        assert along == pytest.approx(radial, abs=1e-9)


def test_sideways_shift_is_mirrored_with_its_side(data: tuple[Path, dict[str, Any]]) -> None:
    # Along +x the caliper moves away from a barrel at −x: the gap grows by all of it.
    entries = [allowance("push", 0.7, "+x", "shift", "caliper")]
    for mirror, sense in ((False, -1.0), (True, 1.0)):
        found = put_together(data, allowances=entries, mirror=mirror)
        cost = taken(found, "caliper", "spokes", (sense, 0.0, 0.0))
        assert cost == pytest.approx(-0.7)
        assert taken(found, "caliper", "spokes", (-sense, 0.0, 0.0)) == pytest.approx(0.7)


def renamed_barrel(plain: dict[str, Any], name: str) -> dict[str, Any]:
    """The corner with its barrel under a name that is no kind, and a limit on scan and part."""
    corner: dict[str, Any] = made.corner_of(plain)
    for one in corner["parts"]:
        if one["name"] == "barrel":
            one |= {"name": name, "tolerance_mm": 0.3}
    corner["scans"][1]["scanner_error_mm"] = 0.1
    return corner


def test_what_concerns_a_barrel_concerns_both_its_pieces(
    data: tuple[Path, dict[str, Any]],
) -> None:
    corner = renamed_barrel(copy.deepcopy(data[1]), "inside")
    corner["weights"] = {"where": "not in band", "z_from_mm": -50.0, "z_to_mm": 0.0}
    corner["allowances"] = [allowance("bend", 1.0, "gap", "always costs", "inside")]
    found = put_together(data, **corner)
    common = ["bend", "scanner, inside", "tolerance of inside"]
    assert names_on(found, "inside") == common
    assert names_on(found, "inside, weights allowed") == sorted(["balance weights", *common])


def test_what_follows_from_one_part_stays_off_others_of_its_kind(
    data: tuple[Path, dict[str, Any]],
) -> None:
    # Two parts of kind "barrel", one of them named so: a weight is stuck on once.
    plain = copy.deepcopy(data[1])
    corner = made.corner_of(plain)
    corner["weights"] = {"where": "anywhere"}
    corner["scans"][1]["scanner_error_mm"] = 0.1
    lip = {"by": "band", "band": {"r_from_mm": 207.0, "z_from_mm": 0.0}}
    corner["parts"].insert(
        -2, made.part("lip", "barrel", "turns", {"scan": "wheel", "take": [lip]})
    )
    corner["allowances"] = [allowance("run-out", 0.5, "radial", "always costs", "barrel")]
    found = put_together(data, **corner)
    assert names_on(found, "lip") == ["balance weights", "run-out", "scanner, lip"]
    assert names_on(found, "barrel") == ["balance weights", "run-out", "scanner, barrel"]
    assert taken(found, "caliper", "lip", (0.0, 1.0, 0.0)) == pytest.approx(4.5 + 0.5)


@pytest.mark.parametrize(
    ("first", "second", "kind", "required_mm"),
    [
        ("housing", "rotor", "rotor–knuckle", 5.0),  # else judged as a hub diameter only
        ("lug", "hub", "turning–fixed", 5.0),  # else unchanged parts of the vehicle
        ("hub", "rotor", "other fixed pair", 2.0),  # both turn
        ("rod", "lug", "turning–posed", 5.0),
    ],
)
def test_pair_judged_by_rule_alone_still_has_a_requirement(
    data: tuple[Path, dict[str, Any]], first: str, second: str, kind: str, required_mm: float
) -> None:
    # Requirements: docs/job-file.md, common practice.
    rule = {"first": second, "second": first, "reason": "asked for"}
    for given, wanted in ((None, required_mm), (1.5, 1.5)):
        extra = {} if given is None else {"required_mm": given}
        found = put_together(data, pairs=[rule | extra])
        (spec,) = [p for p in found.pairs if {p.first, p.second} == {first, second}]
        assert (spec.kind, spec.required_mm) == (kind, wanted)


def lug_and_rotor(plain: dict[str, Any]) -> dict[str, Any]:
    """A corner of one pair that clears by 57 mm, without wheel and hub diameters."""
    corner: dict[str, Any] = copy.deepcopy(made.corner_of(plain))
    corner["parts"] = [p for p in corner["parts"] if p["name"] in ("lug", "rotor")]
    corner["scans"], corner["datums"] = corner["scans"][:1], corner["datums"][:4]
    corner |= {"seats": [], "hub_checks": {}}
    del corner["wheel_frame"]
    return corner


def test_axle_without_a_pair_is_not_proven(data: tuple[Path, dict[str, Any]]) -> None:
    folder, plain = data
    plain = plain | {"axles": [{"name": "front", "corner": lug_and_rotor(plain)}]}
    alone = check(parse_job(json.dumps(plain)).job, folder=folder)
    assert alone.verdict is Verdict.CLEARS
    plain["axles"].append({"name": "rear", "corner": {"side": "left"}})
    both = check(parse_job(json.dumps(plain)).job, folder=folder)
    assert [pair.verdict for pair in both.pairs] == [Verdict.CLEARS]
    assert both.verdict is Verdict.NOT_PROVEN
    assert "rear: every gap: the job holds no pair of parts for this axle" in both.not_checked
    assert "rear axle" in verdict_sentence(both)


def test_hub_diameters_of_two_axles_are_told_apart(data: tuple[Path, dict[str, Any]]) -> None:
    folder, plain = data
    front, rear = lug_and_rotor(plain), lug_and_rotor(plain)
    rear["side"] = "right"
    front["hub_checks"] = made.corner_of(plain)["hub_checks"]
    rear["hub_checks"] = {"rotor_register": front["hub_checks"]["rotor_register"]}
    axles = [{"name": "front", "corner": front}, {"name": "rear", "corner": rear}]
    found = check(parse_job(json.dumps(plain | {"axles": axles})).job, folder=folder)
    assert [(h.axle, h.check) for h in found.hub] == [
        ("front", "rotor register"), ("front", "housing in hat"), ("rear", "rotor register"),
    ]  # fmt: skip
    bores = [h.machine.part for h in found.hub if h.machine and h.check == "rotor register"]
    assert bores == ["front rotor hat", "rear rotor hat"]
    assert "rear: hub diameter: housing in hat" in found.not_checked
    text = repr(build_report(Context(found, Pictures({}, "none"), 170.0, 240.0)))
    for name in ("front rotor register", "rear rotor register", "rear housing in hat"):
        assert name in text


@pytest.mark.parametrize("spigot", [70.0, 69.9904, 69.9996, 70.0049, 69.98765])
def test_bore_as_printed_lies_within_the_fit_wanted(spigot: float) -> None:
    # H7/g6 at 70 mm: clearance 10 to 59 µm (ISO 286-2: H7 +30/0, g6 −10/−29).
    found = judge_register(
        "rotor register", KnownSize(spigot, 0.004, "t"), KnownSize(64.0, 0.02, "t"),
        wanted_fit(70.0, "H7/g6"), hole_part="rotor hat",
    )  # fmt: skip
    to, width = printed(found)
    assert to - spigot >= 0.010 - 1e-9
    assert to + width - spigot <= 0.059 + 1e-9
    assert width > 0.047
    assert found.machine is not None
    assert found.machine.per_side_mm == pytest.approx((to - 64.0) / 2)


@pytest.mark.parametrize("hat", [164.0, 164.0051, 163.996, 164.0099])
def test_housing_as_printed_keeps_its_room(hat: float) -> None:
    found = judge_in_hat(
        "housing in hat", KnownSize(166.0, 0.05, "t"), KnownSize(hat, 0.0, "t"), 0.8,
        shaft_part="bearing housing", wall_mm=9.0, least_wall_mm=6.0,
    )  # fmt: skip
    to, _ = printed(found)
    assert 1.6 - 1e-9 <= hat - to < 1.6 + 0.01
    (told,) = re.findall(r"at most Ø (\d+\.\d+)", found.needed)
    assert hat - float(told) >= 1.6 - 1e-9


def printed(found: HubResult) -> tuple[float, float]:
    """Diameter and upper deviation as report and command line print them."""
    assert found.machine is not None
    at = [machined(found.machine.to_diameter_mm), machining(found)]
    (size,) = re.findall(r"Ø(\d+\.\d+)", at[0])
    assert size in at[1]
    width = re.match(r"\+(\d\.\d+)", found.machine.tolerance)
    return float(size), float(width[1]) if width else 0.0


def test_loose_hat_is_measured_before_the_housing_is_turned() -> None:
    # ±0.1 mm of the hat may eat the room that turning makes; the reading takes its place.
    def first(u_hat: float) -> str:
        return judge_in_hat(
            "housing in hat", KnownSize(166.0, 0.05, "t"), KnownSize(164.0, u_hat, "t"), 0.8,
            shaft_part="bearing housing",
        ).gauge_first or ""  # fmt: skip

    assert first(0.0) == ""
    assert "hat's inside" in first(0.1)
    assert "that reading −1.60 mm" in first(0.1)


def test_metal_beside_stud_holes_counts_from_the_bore_as_measured(
    data: tuple[Path, dict[str, Any]],
) -> None:
    # Circle 112, holes 15, opened to 70.01: (112 − 15 − 70.01)/2 = 13.5, whatever is bored away.
    for hole in ({"source": "dimensions"},
                 {"source": "measured", "value_mm": 66.0, "uncertainty_mm": 0.01}):  # fmt: skip
        checks = copy.deepcopy(made.corner_of(data[1])["hub_checks"])
        checks["rotor_register"]["hole"] = hole
        found = put_together(data, hub_checks=checks)
        assert any("leaves 13.5 mm" in text for text in found.hub[0].spoils), found.hub[0].spoils


def ring_mesh(section: list[tuple[float, float]]) -> Mesh:
    triangles = made.revolved(section, step=4.0)
    vertices, inverse = np.unique(triangles.reshape(-1, 3).round(9), axis=0, return_inverse=True)
    return Mesh(vertices, inverse.reshape(-1, 3))


def block(low: tuple[float, ...], high: tuple[float, ...]) -> Mesh:
    ends = np.array([low, high])
    corners = [[ends[i, 0], ends[j, 1], ends[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    faces = [
        (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
        (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3),
    ]  # fmt: skip
    return Mesh(corners, faces)


def test_gauge_reading_asked_is_that_of_the_place_named() -> None:
    # Disc 3 mm outboard of the caliper, barrel 5 mm outside it, 3.5 mm of eccentricity: the
    # barrel governs (1.5 mm net against 3), and there a gauge must read asked + 3.5.
    wheel = ring_mesh([(200, -50), (210, -50), (210, 50), (100, 50), (100, 40), (200, 40)])
    top = float(np.sqrt(195.0**2 - 20.0**2))
    parts = (
        PlacedPart("caliper", "caliper", Motion.FIXED, block((-20, 150, -30), (20, top, 37)), "t"),
        PlacedPart("wheel", "wheel", Motion.TURNS, wheel, "t"),
    )
    entry = AllowanceEntry("eccentric", 3.5, "radial", "always costs", "t", "wheel")
    spec = PairSpec("caliper", "wheel", "caliper–spokes", "turning", 1.2)
    (pair,) = judge_pairs(parts, (spec,), VerdictSettings(allowances=(entry,)))
    assert pair.gap.gap_mm.upper == pytest.approx(3.0, abs=2e-3)
    assert pair.r_mm == pytest.approx(195.0, abs=0.5)
    assert pair.net_gap_mm.lower == pytest.approx(1.5, abs=0.03)  # chords of the wheel
    assert on_the_stand_mm(pair) == pytest.approx(1.2 + 3.5)


@pytest.mark.parametrize("offset_mm", [38.0, 10.0, 0.0, -2.0])
@pytest.mark.parametrize("given", [True, False])
def test_rotor_offset_moves_the_whole_ring_of_any_hat(offset_mm: float, given: bool) -> None:
    rotor = RotorDimensions(350, 222, 34, offset_mm, 8, 176, 6, 64, 112, 5, 15)
    mesh = rotor_mesh(rotor).mesh
    parts = (
        PlacedPart("rotor", "rotor", Motion.TURNS, mesh, "t"),
        PlacedPart("wheel", "wheel", Motion.TURNS, mesh, "t"),
    )
    settings = VerdictSettings(rotor=rotor if given else None)
    changes = changes_for(parts, np.array([0.0, 0.0, 1.0]), parts, settings)
    moves = [c for c in changes if c.word == "rotor offset"]
    assert {c.sign for c in moves} == {1.0, -1.0}
    radius = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1])
    for change in moves:
        moved = change.mesh("rotor", mesh, 2.0).vertices - mesh.vertices
        assert moved[radius > 110.0] == pytest.approx(
            np.tile([0.0, 0.0, -2.0 * change.sign], (int((radius > 110.0).sum()), 1))
        )
        assert not moved[(radius < 80.0) & (mesh.vertices[:, 2] >= 0.0)].any()


@pytest.mark.parametrize(
    ("spacer_mm", "codes"),
    # 42 − 8 − 14 = 20 mm of thread, 18 − 8 = 10 mm of register before a spacer takes from both.
    [
        (0.0, set()), (5.0, set()), (5.1, {"register-short"}), (6.0, {"register-short"}),
        (6.04, {"register-short", "thread-short"}), (15.0, {"register-short", "thread-short"}),
    ],
)  # fmt: skip
def test_thread_and_register_left_are_told_for_the_stack_as_it_is(
    data: tuple[Path, dict[str, Any]], spacer_mm: float, codes: set[str]
) -> None:
    stack = {"old_flange_mm": 6.5, "new_flange_mm": 8.0, "spacer_mm": spacer_mm}
    stud = {
        "length_mm": 42.0, "thread": "M14×1.5", "wheel_seat_mm": 14.0,
        "needed_engagement_mm": 14.0, "register_length_mm": 18.0,
    }  # fmt: skip
    found = put_together(data, seat_stack=stack, stud=stud)
    told = {f.code: f for f in found.findings if f.code.endswith("-short")}
    assert set(told) == codes
    if "thread-short" in told:
        assert told["thread-short"].severity == "error"
        left = {6.04: "13.9 mm", 15.0: "5.0 mm"}[spacer_mm]  # 13.96 is not 14
        assert left in told["thread-short"].text
    assert not any("thread" in text for text in found.hub_not_checked)


def test_stack_without_studs_is_told_as_not_checked(data: tuple[Path, dict[str, Any]]) -> None:
    assert any("thread" in text for text in put_together(data).hub_not_checked)


def test_frame_of_unknown_uncertainty_proves_nothing_near(
    data: tuple[Path, dict[str, Any]],
) -> None:
    # Three points make a plane without redundancy: how sure it is, nobody knows.
    folder, plain = data
    corner = parse_job(json.dumps(plain)).job.axles[0].corner
    fits = fit_datums(corner, read_sources(corner, folder))
    known = find_frames(corner, fits)
    points = [fits["hub face"].point_mm + 50.0 * axis for axis in fits["hub face"].axes]
    points[2] = fits["hub face"].point_mm - 50.0 * fits["hub face"].axes[0]
    found = find_frames(corner, {**fits, "hub face": fit_plane(np.array(points))})
    assert "frame-uncertainty-unknown" in {f.code for f in found.findings}
    up = np.array([0.0, 1.0, 0.0, 0.0, 0.0, 0.0])
    for frames, low, high in ((known, 0.0, 0.1), (found, 5.0, np.inf)):
        covariance = frames.uncertainty["hub"].covariance
        assert low <= np.sqrt(up @ covariance @ up) <= high


def test_turn_section_of_two_axles_shows_the_worse_one_alone(
    data: tuple[Path, dict[str, Any]],
) -> None:
    folder, plain = data
    front, rear = lug_and_rotor(plain), lug_and_rotor(plain)
    rear["requirements"] = {"rotor_knuckle_mm": 60.0}
    axles = [{"name": "front", "corner": front}, {"name": "rear", "corner": rear}]
    found = check(parse_job(json.dumps(plain | {"axles": axles})).job, folder=folder)
    assert [p.verdict for p in found.pairs] == [Verdict.CLEARS, Verdict.FAILS]
    drawing = found.turn_section
    assert drawing is not None
    words = {m.text for m in drawing.marks if isinstance(m, Text)}
    assert any("rear" in word for word in words)
    assert not any("front" in word for word in words)
    said = repr(build_report(Context(found, Pictures({}, "none"), 170.0, 240.0)))
    assert "Turn section of the rear axle." in said
    assert {d.part for d in found.datums} == {"front knuckle", "rear knuckle"}
