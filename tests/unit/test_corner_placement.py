"""A made-up corner in random scanner poses comes out where it was made, part by part."""

from __future__ import annotations

import copy
import importlib.util
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clearturn.corner.assemble import Assembled, assemble
from clearturn.corner.frames import about_origin
from clearturn.corner.mirror import mirrored_covariance, mirrored_mesh
from clearturn.corner.placement import _may_carry
from clearturn.corner.sources import check_files
from clearturn.errors import InputError, JobProblem
from clearturn.gap import still_gap, turning_gap
from clearturn.job.file import load_job_text, parse_job
from clearturn.job.model import Corner
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]

# The STL's numbers are single precision, 1.5e-5 mm apart at 250 mm.
STORED_MM = 5e-4


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("corner")
    return folder, made.write_corner(folder)


@pytest.fixture(scope="module")
def assembled(data: tuple[Path, dict[str, Any]]) -> Assembled:
    return put_together(data)


def put_together(data: tuple[Path, dict[str, Any]], **changes: Any) -> Assembled:
    folder, plain = data
    plain = copy.deepcopy(plain)
    made.corner_of(plain).update(changes)
    return assemble(corner_from(plain), folder)


def corner_from(plain: dict[str, Any]) -> Corner:
    return parse_job(json.dumps(plain)).job.axles[0].corner


def part(found: Assembled, name: str) -> PlacedPart:
    return next(p for p in found.placed.parts if p.name == name)


def radii(mesh: Mesh) -> np.ndarray:
    return np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1])


def test_each_part_has_its_own_faces_and_no_other(assembled: Assembled) -> None:
    hub, housing, lug = (part(assembled, n).mesh for n in ("hub", "housing", "lug"))
    assert radii(hub).max() == pytest.approx(made.FLANGE_RADIUS, abs=STORED_MM)
    assert hub.bounds[:, 2] == pytest.approx([-14.5, 18.0], abs=2.1)  # cut by face centres
    assert radii(housing).max() == pytest.approx(made.HOUSING_RADIUS, abs=STORED_MM)
    assert housing.bounds[0, 2] == pytest.approx(-52.0, abs=STORED_MM)
    assert lug.bounds[:, 2] == pytest.approx([-133.0, -112.0], abs=STORED_MM)
    rod = part(assembled, "rod").mesh
    assert rod.bounds.mean(axis=0) == pytest.approx([150.0, -30.0, -160.0], abs=STORED_MM)
    scan = sum(len(part(assembled, n).mesh.faces) for n in ("hub", "housing", "lug", "rod"))
    scanned = sum(len(triangles) for _, triangles in made.knuckle_pieces())
    assert scan == scanned


def test_clocking_datum_comes_to_its_stated_clock_position(assembled: Assembled) -> None:
    centre = part(assembled, "lug").mesh.vertices.mean(axis=0)
    clock = np.degrees(np.arctan2(centre[0], centre[1])) % 360
    assert clock == pytest.approx(made.LUG_CLOCK_DEG, abs=0.01)
    assert np.hypot(*centre[:2]) == pytest.approx(made.LUG_RADIUS, abs=0.01)


def test_wheel_pad_lies_on_the_hat(assembled: Assembled) -> None:
    assert part(assembled, "spokes").mesh.bounds[0, 2] == pytest.approx(8.0, abs=STORED_MM)


def test_full_turn_gaps_are_the_closed_forms(assembled: Assembled) -> None:
    caliper, rotor = part(assembled, "caliper").mesh, part(assembled, "rotor").mesh
    chord = 0.011  # of the envelopes; the revolved scan stands on its circle, chords inside
    wheel_chord = made.BARREL_RADIUS * (1 - np.cos(np.pi / 169))
    barrel = turning_gap(caliper, part(assembled, "barrel").mesh).gap_mm.upper
    assert barrel == pytest.approx(208.0 - 200.0, abs=chord + wheel_chord)
    spokes = turning_gap(caliper, part(assembled, "spokes").mesh).gap_mm.upper
    assert spokes == pytest.approx(30.0 + 8.0 - (62.0 - 38.0), abs=STORED_MM)
    ring = turning_gap(caliper, rotor).gap_mm.upper
    assert ring == pytest.approx(178.6 - 175.0, abs=2 * chord)
    lug = turning_gap(part(assembled, "lug").mesh, rotor).gap_mm.upper
    assert lug == pytest.approx(-55.0 - -112.0, abs=STORED_MM)
    face = still_gap(part(assembled, "lug").mesh, caliper).gap_mm.upper
    assert face == pytest.approx(-106.0 - -112.0, abs=STORED_MM)


def test_scanner_poses_do_not_matter(assembled: Assembled, tmp_path: Path) -> None:
    other = put_together((tmp_path, made.write_corner(tmp_path, seed=77)))
    for one, two in zip(assembled.placed.parts, other.placed.parts, strict=True):
        assert one.name == two.name
        assert two.mesh.bounds[:, 2] == pytest.approx(one.mesh.bounds[:, 2], abs=STORED_MM)
        assert np.sort(radii(two.mesh))[-1] == pytest.approx(radii(one.mesh).max(), abs=STORED_MM)


def test_spacer_moves_the_wheel_and_nothing_else(
    data: tuple[Path, dict[str, Any]], assembled: Assembled
) -> None:
    stack = {"old_flange_mm": 6.5, "new_flange_mm": 8.0, "spacer_mm": 5.0}
    moved = put_together(data, seat_stack=stack)
    for name, shift in (("spokes", 5.0), ("barrel", 5.0), ("rotor", 0.0), ("caliper", 0.0)):
        before, after = part(assembled, name).mesh.bounds, part(moved, name).mesh.bounds
        assert after - before == pytest.approx(np.tile([0, 0, shift], (2, 1)), abs=1e-9)
    assert moved.settings.seat_stack.wheel_moves_mm == 6.5


def test_seat_leaves_out_the_pad_for_its_own_pair_only(assembled: Assembled) -> None:
    seated = [pair for pair in assembled.pairs if pair.seats]
    assert [(p.first, p.second, p.seats) for p in seated] == [("rotor", "spokes", ("wheel pad",))]
    rotor, spokes = part(assembled, "rotor").mesh, part(assembled, "spokes").mesh
    for mesh, out in ((rotor, seated[0].excluded_first), (spokes, seated[0].excluded_second)):
        left_out = mesh.corners[out]
        assert 0 < len(out) < len(mesh.faces)
        assert np.hypot(left_out[..., 0], left_out[..., 1]).max() <= 75.5 + 3.0
        assert np.abs(left_out[..., 2] - 8.0).max() <= 3.5 + STORED_MM
    kept = [
        m.part(np.setdiff1d(np.arange(len(m.faces)), out))
        for m, out in ((rotor, seated[0].excluded_first), (spokes, seated[0].excluded_second))
    ]
    # The wheel's disc stands square on its pad's rim: what is left is over 2 mm apart.
    assert 2.0 < (still_gap(*kept).gap_mm.lower or 0.0) < 5.0


@pytest.mark.parametrize(
    ("weights", "costly", "free"),
    [
        ({"where": "anywhere"}, "barrel", None),
        ({"where": "only in band", "z_from_mm": -50.0, "z_to_mm": 0.0}, None, None),
        ({"where": "not in band", "z_from_mm": -50.0, "z_to_mm": 0.0}, None, None),
        ({"where": "not in band", "z_from_mm": -500.0, "z_to_mm": 500.0}, None, "barrel"),
    ],
)
def test_weights_cost_only_where_they_may_sit(
    data: tuple[Path, dict[str, Any]],
    weights: dict[str, Any],
    costly: str | None,
    free: str | None,
) -> None:
    found = put_together(data, weights=weights)
    barrels = {p.name: p.mesh for p in found.placed.parts if p.kind == "barrel"}
    costs = [a.part for a in found.settings.allowances if a.name == "balance weights"]
    if costly or free:
        assert list(barrels) == ["barrel"]
        assert costs == ([costly] if costly else [])
        return
    assert costs == ["barrel, weights allowed"]
    with_weights, without = barrels["barrel, weights allowed"], barrels["barrel"]
    centre = 8.0 + np.array([-50.0, 0.0])
    inside = with_weights if weights["where"] == "only in band" else without
    z = inside.corners[..., 2]
    # A face across the band's end goes to the costly side: a step of 8 mm at most.
    slack = 8.1 if inside is with_weights else 1e-6
    assert z.min() >= centre[0] - slack
    assert z.max() <= centre[1] + slack


def test_part_that_finds_no_faces_is_told_by_name(data: tuple[Path, dict[str, Any]]) -> None:
    plain = copy.deepcopy(data[1])
    parts = made.corner_of(plain)["parts"]
    parts[2]["scan"] = made.band(z_from_mm=900.0)
    with pytest.raises(JobProblem, match=r"part 'hub'.*no faces"):
        assemble(corner_from(plain), data[0])


def test_rest_after_rest_is_empty_and_told(data: tuple[Path, dict[str, Any]]) -> None:
    plain = copy.deepcopy(data[1])
    extra = made.part("again", "knuckle", "fixed", made.rest("knuckle"))
    made.corner_of(plain)["parts"].append(extra)
    with pytest.raises(JobProblem, match="part 'again'"):
        assemble(corner_from(plain), data[0])


def test_datum_that_is_no_cylinder_is_told_by_name(data: tuple[Path, dict[str, Any]]) -> None:
    plain = copy.deepcopy(data[1])
    datums = made.corner_of(plain)["datums"]
    datums[1]["seeds_mm"] = datums[0]["seeds_mm"]  # the face instead of the register
    with pytest.raises(InputError) as caught:
        assemble(corner_from(plain), data[0])
    assert "\n" not in str(caught.value)
    assert "register" in str(caught.value) or "hub_frame" in str(caught.value)


def test_cleaning_steps_leave_faces_out_and_the_file_alone(
    data: tuple[Path, dict[str, Any]],
) -> None:
    folder, plain = data
    before = (folder / "knuckle.stl").read_bytes()
    plain = copy.deepcopy(plain)
    corner = made.corner_of(plain)
    rod = corner["parts"].pop(0)
    seed = rod["scan"]["take"][0]["seed_mm"]
    lug_count = len(dict(made.knuckle_pieces())["lug"])
    steps = {
        "piece": [{"step": "drop piece", "seed_mm": seed}],
        "band": [{"step": "drop band", "band": {"r_from_mm": 138.0}}],
        "box": [{"step": "drop box", "from_mm": [s - 90 for s in seed],
                 "to_mm": [s + 90 for s in seed]}],
    }  # fmt: skip
    for name, cleaning in steps.items():
        corner["scans"][0]["cleaning"] = cleaning
        found = assemble(corner_from(plain), folder)
        rest = part(found, "housing").mesh
        assert radii(rest).max() < 81 or name == "box"
        assert len(part(found, "lug").mesh.faces) == lug_count or name != "piece"
    assert (folder / "knuckle.stl").read_bytes() == before


def test_cleaning_everything_away_is_told(data: tuple[Path, dict[str, Any]]) -> None:
    plain = copy.deepcopy(data[1])
    made.corner_of(plain)["scans"][0]["cleaning"] = [
        {"step": "drop small pieces", "below_triangles": 10_000_000}
    ]
    with pytest.raises(JobProblem, match="leaves nothing"):
        assemble(corner_from(plain), data[0])


def test_wrong_clock_angle_is_found_by_the_stated_up(data: tuple[Path, dict[str, Any]]) -> None:
    frame = dict(made.corner_of(data[1])["hub_frame"])
    up = np.linalg.inv(made.pose(5))[:3, :3].T[:, 1]
    scan_up = made.pose(5)[:3, 1]
    assert up == pytest.approx(scan_up)
    for clock, expected in ((made.LUG_CLOCK_DEG, False), (made.LUG_CLOCK_DEG + 90, True)):
        found = put_together(
            data, hub_frame={**frame, "up": scan_up.tolist(), "clock_deg": clock % 360}
        )
        codes = {finding.code for finding in found.findings}
        assert ("up-disagrees" in codes) is expected


def test_posed_parts_carry_their_finding(assembled: Assembled) -> None:
    posed = [f for f in assembled.findings if f.code == "posed-part"]
    assert len(posed) == 1
    assert "rod" in posed[0].text


def test_mirrored_side_has_the_same_gaps_and_mirrored_clocks(
    data: tuple[Path, dict[str, Any]], assembled: Assembled
) -> None:
    other = put_together(data, mirror=True)
    assert any(f.code == "mirrored-side" for f in other.findings)
    lug = part(other, "lug").mesh.vertices.mean(axis=0)
    assert np.degrees(np.arctan2(lug[0], lug[1])) % 360 == pytest.approx(
        -made.LUG_CLOCK_DEG % 360, abs=0.01
    )
    for first, second in (("caliper", "barrel"), ("caliper", "rotor"), ("lug", "rotor")):
        here = turning_gap(part(assembled, first).mesh, part(assembled, second).mesh).gap_mm
        there = turning_gap(part(other, first).mesh, part(other, second).mesh).gap_mm
        assert there.lower == pytest.approx(here.lower, abs=2e-3)


def test_mirrored_mesh_still_faces_outward() -> None:
    tetrahedron = Mesh(
        [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)],
        [(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)],
    )

    def volume(mesh: Mesh) -> float:
        a, b, c = mesh.corners.transpose(1, 0, 2)
        return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)

    assert volume(mirrored_mesh(tetrahedron)) == pytest.approx(volume(tetrahedron))


# --- uncertainty of frames -------------------------------------------------------------------


def motions(covariance: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Covariance of each point's movement t + w × p, (n, 3, 3), by its own formula."""
    x, y, z = points.T
    zero = np.zeros_like(x)
    cross = np.stack(
        [np.stack([zero, z, -y], 1), np.stack([-z, zero, x], 1), np.stack([y, -x, zero], 1)], 1
    )
    rows = np.concatenate([np.tile(np.eye(3), (len(points), 1, 1)), cross], axis=2)
    return rows @ covariance @ rows.transpose(0, 2, 1)


def a_covariance(seed: int = 3) -> np.ndarray:
    a = np.random.default_rng(seed).normal(size=(6, 6)) * np.array([1, 1, 1, 0.01, 0.01, 0.01])
    return a.T @ a


def test_moving_the_reference_point_changes_no_points_uncertainty() -> None:
    covariance, centre = a_covariance(), np.array([3.0, -7.0, 40.0])
    points = np.random.default_rng(1).uniform(-200, 200, (20, 3))
    about_centre = motions(covariance, points - centre)
    about_zero = motions(about_origin(covariance, centre), points)
    assert about_zero == pytest.approx(about_centre)


def test_mirrored_covariance_moves_mirrored_points_alike() -> None:
    covariance = a_covariance()
    points = np.random.default_rng(2).uniform(-200, 200, (20, 3))
    flip = np.diag([-1.0, 1.0, 1.0])
    here = flip @ motions(covariance, points) @ flip
    there = motions(mirrored_covariance(covariance), points @ flip)
    assert there == pytest.approx(here)


def test_what_is_bolted_on_carries_the_hub_datums_error_and_what_turns_does_not(
    assembled: Assembled,
) -> None:
    frames = {name: one.frame for name, one in assembled.placed.uncertainty.items()}
    assert frames == {
        "rod": "hub", "lug": "hub", "hub": "hub", "housing": "hub", "caliper": "hub",
        "barrel": "wheel", "barrel, weights allowed": "wheel", "spokes": "wheel",
    }  # fmt: skip


# --- files -----------------------------------------------------------------------------------


def test_changed_and_missing_scans_are_told_with_line_and_mend(tmp_path: Path) -> None:
    plain = made.write_corner(tmp_path)
    read = load_job_text(made.write_job(tmp_path, plain))
    check_files(read.job, tmp_path)
    scan = tmp_path / "wheel.stl"
    content = scan.read_bytes()
    scan.write_bytes(content[:-1] + b"x")
    with pytest.raises(JobProblem) as caught:
        check_files(read.job, tmp_path, file="j.json", positions=read.positions)
    assert "scans[1].sha256" in str(caught.value)
    assert "line " in str(caught.value)
    assert "changed since" in str(caught.value)
    scan.unlink()
    with pytest.raises(JobProblem, match=r"scans\[1\].path: there is no such file"):
        check_files(read.job, tmp_path)
    scan.mkdir()
    with pytest.raises(JobProblem, match="not a file"):
        check_files(read.job, tmp_path)


def test_noise_is_stated_or_taken_from_the_fits(tmp_path: Path) -> None:
    plain = made.write_corner(tmp_path, noise_mm=0.02)
    found = assemble(corner_from(plain), tmp_path)
    assert part(found, "lug").sigma_mm == pytest.approx(0.02, rel=0.1)
    assert part(found, "rotor").sigma_mm == 0.0
    corner = corner_from(plain)
    stated = replace(corner, scans=tuple(replace(s, noise_mm=0.07) for s in corner.scans))
    assert part(assemble(stated, tmp_path), "barrel").sigma_mm == 0.07


def test_coarse_face_across_the_weight_band_carries_weights(
    data: tuple[Path, dict[str, Any]],
) -> None:
    # The barrel's own corners lie at both ends only; the band lies between them.
    plain = copy.deepcopy(data[1])
    made.corner_of(plain)["weights"] = {
        "where": "only in band",
        "z_from_mm": -30.0,
        "z_to_mm": -20.0,
    }
    corner = corner_from(plain)
    tube = Mesh(
        [[200, 0, -112], [0, 200, -112], [200, 0, 38], [0, 200, 38]], [[0, 1, 2], [1, 3, 2]]
    )
    barrel = PlacedPart("barrel", "barrel", Motion.TURNS, tube, "scan")
    assert _may_carry(barrel, corner).all()
