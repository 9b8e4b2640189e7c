"""Hand measurements of a lathe-made corner against its scans: factor, unit, refusals, report.

True sizes are those the bodies of `job_cases` are turned to; a scan of wrong scale is the same file
with every number multiplied.
"""

from __future__ import annotations

import importlib.util
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clearturn.check import check
from clearturn.corner.assemble import assemble
from clearturn.corner.sizes import check_sizes, size_checks
from clearturn.corner.sources import Source, read_sources
from clearturn.datum import fit_cylinder, fit_plane
from clearturn.errors import InputError, JobProblem
from clearturn.findings import Finding
from clearturn.job import model
from clearturn.job.edits import without
from clearturn.job.file import parse_job
from clearturn.mesh import Mesh
from clearturn.report.exchange import result_json
from clearturn.result import SizeCheck, Verdict
from clearturn.steps import KeptSteps

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]

MICROMETER, CALIPER = "micrometer", "caliper"


def hand(name: str, kind: str, datums: list[str], value: float, **changes: Any) -> dict[str, Any]:
    one = {"name": name, "kind": kind, "datums": datums, "value_mm": value,
           "uncertainty_mm": 0.02, "instrument": MICROMETER}  # fmt: skip
    return one | changes


def knuckle_sizes() -> list[dict[str, Any]]:
    # By HUB_SECTION: from the spigot's end at z 18 to the housing's back at z -52.
    return [
        hand("spigot", "diameter", ["register"], 2 * made.SPIGOT_RADIUS),
        hand("housing", "diameter", ["housing"], 2 * made.HOUSING_RADIUS, uncertainty_mm=0.04),
        hand("height", "distance", ["spigot end", "back"], 70.0, instrument=CALIPER),
    ]


def wheel_sizes() -> list[dict[str, Any]]:
    # By WHEEL_SECTION: outside radius 216, pad at z 0, front at z 60.
    return [
        hand("rim", "diameter", ["rim"], 432.0, uncertainty_mm=0.1, instrument=CALIPER),
        hand("bore", "diameter", ["centre bore"], 70.1),
        hand("thickness", "distance", ["front", "pad"], 60.0, instrument=CALIPER),
    ]


def write(folder: Path, noise_mm: float = 0.02, **scales: float) -> dict[str, Any]:
    """Write the corner with its sizes; of each scan named, every number is multiplied."""
    data = made.write_corner(folder, noise_mm=noise_mm)
    corner = made.corner_of(data)
    poses = {"knuckle": made.pose(5), "wheel": made.pose(6)}
    for name, scan, feature, place in (
        ("spigot end", "knuckle", "plane", made.clock_point(28, 40, 18)),
        ("back", "knuckle", "plane", made.clock_point(50, 200, -52)),
        ("rim", "wheel", "cylinder", made.clock_point(216, 90, -60)),
        ("front", "wheel", "plane", made.clock_point(120, 90, 60)),
    ):
        seed = made.apply(poses[scan], place).tolist()
        corner["datums"].append(made.datum(name, scan, feature, [seed]))
    for scan, sizes in zip(corner["scans"], (knuckle_sizes(), wheel_sizes()), strict=True):
        scan["size_check"] = sizes
        scale = scales.get(scan["name"], 1.0)
        path = folder / scan["path"]
        scan["sha256"] = made.write_stl(path, triangles(path) * scale)
        for datum in corner["datums"]:
            if datum["scan"] == scan["name"]:
                datum["seeds_mm"] = (np.array(datum["seeds_mm"]) * scale).tolist()
    return data


def triangles(path: Path) -> np.ndarray:
    raw = np.frombuffer(path.read_bytes(), np.uint8, offset=84).reshape(-1, 50)
    return raw[:, 12:48].copy().view("<f4").reshape(-1, 3, 3).astype(float)


def corner_in(data: dict[str, Any]) -> model.Corner:
    return parse_job(json.dumps(data)).job.axles[0].corner


def compared(
    folder: Path, data: dict[str, Any]
) -> tuple[dict[str, SizeCheck], tuple[Finding, ...]]:
    corner = corner_in(data)
    checks, findings = check_sizes(corner, read_sources(corner, folder))
    return {one.scan: one for one in checks}, findings


def test_scans_of_the_right_size_agree(tmp_path: Path) -> None:
    checks, findings = compared(tmp_path, write(tmp_path))
    assert [one.state for one in checks.values()] == ["agrees", "agrees"]
    assert {(f.code, f.severity) for f in findings} == {("scale-agrees", "note")}
    for one in checks.values():
        assert abs(one.factor - 1.0) <= one.expanded_uncertainty
        for size in one.sizes:
            assert abs(size.difference_mm) <= size.scan_uncertainty_mm + 1e-6
    # The rim alone is sure to 0.1/432; more sizes cannot make it worse.
    assert checks["wheel"].expanded_uncertainty < 0.1 / 432.0 * 1.2


@pytest.mark.parametrize("factor", [1.002, 0.998])
def test_wrong_scale_is_found_within_its_uncertainty(tmp_path: Path, factor: float) -> None:
    data = write(tmp_path, knuckle=1 / factor, wheel=1 / factor)
    checks, findings = compared(tmp_path, data)
    assert [f.code for f in findings] == ["scale-off", "scale-off"]
    assert {f.severity for f in findings} == {"error"}
    for one in checks.values():
        assert one.state == "off"
        assert one.factor == pytest.approx(factor, abs=one.expanded_uncertainty)
        assert one.expanded_uncertainty < 4e-4
        assert one.off_mm == pytest.approx((one.factor - 1.0) * one.radius_mm)
    # Half the longest side is the wheel's outer radius; 0.002 of it.
    assert checks["wheel"].radius_mm == pytest.approx(216.0 / factor, abs=0.2)
    way = "small" if factor > 1 else "large"
    assert f"mm too {way}" in findings[1].text
    assert abs(checks["wheel"].off_mm) == pytest.approx(0.432, abs=0.06)


def test_scan_in_inches_taken_as_mm_is_hinted_at(tmp_path: Path) -> None:
    data = write(tmp_path, noise_mm=0.0, wheel=1 / 25.4)
    checks, findings = compared(tmp_path, data)
    assert checks["wheel"].factor == pytest.approx(25.4, rel=1e-3)
    told = {f.code: f for f in findings}
    assert told["scale-off"].severity == "error"
    assert "set the scan's unit to 'in'" in told["scale-unit"].text
    # As advised: the unit set, the datums touched anew.
    corner = made.corner_of(data)
    corner["scans"][1]["unit"] = "in"
    for datum in corner["datums"]:
        if datum["scan"] == "wheel":
            datum["seeds_mm"] = (np.array(datum["seeds_mm"]) * 25.4).tolist()
    assert compared(tmp_path, data)[0]["wheel"].state == "agrees"


def test_a_wrong_reading_is_named(tmp_path: Path) -> None:
    data = write(tmp_path)
    sizes = made.corner_of(data)["scans"][1]["size_check"]
    sizes[0]["uncertainty_mm"] = 0.02
    sizes[1]["value_mm"] = 71.0
    checks, findings = compared(tmp_path, data)
    unclear = next(f for f in findings if f.code == "scale-unclear")
    assert unclear.severity == "warning"
    assert "'bore'" in unclear.text
    assert checks["wheel"].state == "unclear"
    # Of the 0.9 mm the factor takes up 70.1²/(432² + 70.1² + 60²) where all weigh alike.
    assert checks["wheel"].sizes[1].residual_mm == pytest.approx(0.9 * 0.975, abs=0.03)


def test_scanners_stated_error_widens_the_uncertainty(tmp_path: Path) -> None:
    data = write(tmp_path, noise_mm=0.0)
    scan = made.corner_of(data)["scans"][0]
    scan["scanner_error_mm"] = 0.05
    scan["size_check"] = scan["size_check"][:1]
    one = compared(tmp_path, data)[0]["knuckle"]
    # JCGM 100, 4.3.7: a limit of ±a counts a/√3; the hand's 0.02 is expanded, k = 2.
    expected = 2.0 * math.hypot(0.05 / math.sqrt(3.0), 0.01) / 70.0
    assert one.expanded_uncertainty == pytest.approx(expected, rel=2e-3)
    assert one.sizes[0].scan_uncertainty_mm == pytest.approx(0.1 / math.sqrt(3.0), rel=2e-3)


def box(half: float) -> Source:
    vertices = np.array([[-half, 0, 0], [half, 0, 0], [0, 1.0, 0]])
    scan = model.Scan("block", "block.stl", "0" * 64)
    return Source(scan, Mesh(vertices, [[0, 1, 2]]), np.array([True]))


def block(size: model.HandSize) -> model.Corner:
    return model.Corner("left", (model.Scan("block", "b.stl", "0" * 64, size_check=(size,)),))


def test_distance_of_two_planes_and_its_uncertainty_are_true_over_many_scans() -> None:
    # Two faces of 40 × 40 mm, 25 mm apart and 90 mm beside each other, noise 0.05 mm: the scatter
    # of the answer over 300 scans against what each states.
    size = model.HandSize("step", "distance", ("low", "high"), 25.0, 0.02, CALIPER)
    rng = np.random.default_rng(3)
    found, stated = [], []
    for _ in range(300):
        u = rng.uniform(-20, 20, (2, 60, 2))
        low = np.column_stack([u[0], rng.normal(0, 0.05, 60)])
        high = np.column_stack([u[1] + [90.0, 0.0], 25.0 + rng.normal(0, 0.05, 60)])
        fits = {"low": fit_plane(low), "high": fit_plane(high)}
        ((one,), _) = size_checks(block(size), {"block": box(100.0)}, fits)
        found.append(one.sizes[0].scan_mm)
        stated.append(one.sizes[0].scan_uncertainty_mm / 2.0)
    scatter = float(np.std(found))
    assert np.mean(found) == pytest.approx(25.0, abs=4 * scatter / math.sqrt(300))
    # What the noise tilts the planes by counts once more as their not being parallel.
    assert 0.9 * scatter < np.sqrt(np.mean(np.square(stated))) < 1.4 * scatter


def test_stated_interval_of_the_factor_holds_the_truth() -> None:
    # 200 scans of a ring of Ø 150 mm, scale 1.001, measured by hand with u = 0.02 mm: intervals
    # for 95 % hold it in at least 90 % (binomial: 0.95 less 3 standard deviations).
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(200):
        turn, z = rng.uniform(0, 2 * np.pi, 120), rng.uniform(0, 20, 120)
        r = 75.0 / 1.001 + rng.normal(0, 0.1, 120)
        fit = fit_cylinder(np.column_stack([r * np.cos(turn), r * np.sin(turn), z]))
        by_hand = 150.0 + rng.normal(0, 0.02)
        size = model.HandSize("ring", "diameter", ("ring",), by_hand, 0.04, MICROMETER)
        ((one,), _) = size_checks(block(size), {"block": box(75.0)}, {"ring": fit})
        held += abs(one.factor - 1.001) <= one.expanded_uncertainty
    assert held >= 180


def test_planes_that_are_not_parallel_are_refused(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    u = rng.uniform(-20, 20, (80, 2))
    tilted = np.column_stack([u, 25.0 + math.tan(math.radians(2.0)) * u[:, 0]])
    fits = {"low": fit_plane(np.column_stack([u, np.zeros(80)])), "high": fit_plane(tilted)}
    size = model.HandSize("step", "distance", ("low", "high"), 25.0, 0.02, CALIPER)
    with pytest.raises(JobProblem, match="not parallel") as caught:
        size_checks(block(size), {"block": box(100.0)}, fits)
    assert "2.00 degrees" in str(caught.value)
    assert "size_check 'step'" in str(caught.value)


def test_fit_without_redundancy_is_refused() -> None:
    corners = np.array([[0.0, 0, 0], [40, 0, 0], [0, 40, 0]])
    fits = {"low": fit_plane(corners), "high": fit_plane(corners + np.array([0, 0, 25.0]))}
    size = model.HandSize("step", "distance", ("low", "high"), 25.0, 0.02, CALIPER)
    with pytest.raises(JobProblem, match="too few points to say how sure this distance is"):
        size_checks(block(size), {"block": box(100.0)}, fits)


def put(index: int, key: str, value: object) -> Callable[[dict[str, Any]], None]:
    def change(corner: dict[str, Any]) -> None:
        corner["scans"][0]["size_check"][index][key] = value

    return change


def drop(key: str) -> Callable[[dict[str, Any]], None]:
    def change(corner: dict[str, Any]) -> None:
        del corner["scans"][0]["size_check"][0][key]

    return change


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (put(0, "datums", ["spiggot"]), "there is no datum of this name, found 'spiggot'"),
        (put(0, "datums", ["pad"]), "the datum lies on another scan, found 'pad', on 'wheel'"),
        (put(0, "datums", ["back"]), "this feature has no diameter, found a plane, allowed: cyl"),
        (put(0, "datums", []), "a diameter is of 1 datum, found none"),
        (put(0, "datums", ["register", "housing"]), "a diameter is of 1 datum, found 'register'"),
        (put(2, "datums", ["back"]), "a distance is of 2 datums, found 'back'"),
        (put(2, "datums", ["back", "back"]), "a distance is of 2 datums, found 'back' and 'back'"),
        (put(2, "datums", ["back", "register"]), "no plane to measure from, found a cylinder"),
        (put(0, "value_mm", 0.0), "a measured size is not above zero, found 0"),
        (put(0, "value_mm", -70.0), "a measured size is not above zero, found -70"),
        (put(0, "uncertainty_mm", 0.0), "needs its uncertainty, found 0, allowed: above 0"),
        (put(0, "uncertainty_mm", 70.0), "above 0 and below the size, 70 (expanded, k = 2)"),
        (put(0, "uncertainty_mm", -0.02), "a size cannot be negative"),
        (drop("uncertainty_mm"), "uncertainty_mm: a key is missing"),
        (drop("instrument"), "instrument: a key is missing"),
        (put(0, "instrument", " "), "a measured size needs its instrument"),
        (put(0, "kind", "radius"), "not one of the words that may stand here, found 'radius'"),
        (put(0, "name", "housing"), "each measured size needs its own"),
        (put(0, "name", ""), "a measured size needs a name"),
        (put(0, "value_mm", "70 mm"), "a number must stand here"),
        (put(0, "value_in", 2.76), "this key is not known"),
    ],
)
def test_bad_sizes_are_one_sentence_with_their_place(
    tmp_path: Path, change: Callable[[dict[str, Any]], None], told: str
) -> None:
    data = made.write_corner(tmp_path)
    corner = made.corner_of(data)
    corner["datums"] += [made.datum("spigot end", "knuckle", "plane", [[0.0, 0.0, 0.0]]),
                         made.datum("back", "knuckle", "plane", [[0.0, 0.0, 0.0]])]  # fmt: skip
    corner["scans"][0]["size_check"] = knuckle_sizes()
    change(corner)
    with pytest.raises(JobProblem) as caught:
        parse_job(json.dumps(data, indent=1), file="job")
    sentence = str(caught.value)
    assert told in sentence
    assert "axles[0].corner.scans[0].size_check[" in sentence
    assert sentence.startswith("job, line ")
    assert "\n" not in sentence


def test_sizes_of_a_datum_go_with_it(tmp_path: Path) -> None:
    corner = corner_in(write(tmp_path))
    left = without(corner, "datums", "back").scans[0].size_check
    assert [size.name for size in left] == ["spigot", "housing"]


def test_another_reading_does_not_read_the_scans_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data, steps = write(tmp_path), KeptSteps()
    first = assemble(corner_in(data), tmp_path, steps=steps)

    def refuse(*_arguments: object, **_options: object) -> None:
        raise InputError("worked out again")

    for place in ("sources.read_scan", "frames.patch_at", "assemble.place_parts"):
        monkeypatch.setattr(f"clearturn.corner.{place}", refuse)
    for size in made.corner_of(data)["scans"][1]["size_check"]:
        size["value_mm"] *= 1.002
    second = assemble(corner_in(data), tmp_path, steps=steps)
    assert [one.state for one in first.size_checks] == ["agrees", "agrees"]
    assert [one.state for one in second.size_checks] == ["agrees", "off"]
    ratio = second.size_checks[1].factor / first.size_checks[1].factor
    assert ratio == pytest.approx(1.002, rel=1e-6)


def test_sizes_stand_in_a_corner_put_together_and_in_the_result(tmp_path: Path) -> None:
    data = write(tmp_path, wheel=1 / 1.002)
    corner = made.corner_of(data)
    del corner["scans"][0]["size_check"]
    corner["parts"] = [p for p in corner["parts"] if p["name"] in ("lug", "caliper", "rotor")]
    corner.update(seats=[], hub_checks={})
    put_together = assemble(corner_in(data), tmp_path)
    assert [one.scan for one in put_together.size_checks] == ["wheel"]
    found = check(parse_job(json.dumps(data)).job, folder=tmp_path)
    assert [one.state for one in found.size_checks] == ["off"]
    assert "scale-off" in [f.code for f in found.findings]
    told = [text for text in found.not_checked if "measured by hand" in text]
    assert told == ["the scale of the scan 'knuckle': no size of it was measured by hand"]
    (told_json,) = result_json(found)["size_checks"]
    assert told_json["scan"] == "wheel"
    assert told_json["factor"] == pytest.approx(1.002, abs=told_json["expanded_uncertainty"])
    rim = told_json["sizes"][0]
    assert rim["hand_mm"] == 432.0
    assert rim["scan_mm"] == pytest.approx(432.0 / 1.002, abs=rim["scan_uncertainty_mm"])
    assert rim["difference_mm"] == rim["scan_mm"] - 432.0
    assert rim["residual_mm"] == pytest.approx(432.0 - told_json["factor"] * rim["scan_mm"])
    # A scan of the wrong size proves no gap, whatever the gaps to it say.
    assert {pair.verdict for pair in found.pairs} == {Verdict.CLEARS}
    assert found.verdict is Verdict.NOT_PROVEN
