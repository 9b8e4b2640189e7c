"""Job files: what is refused and how it is told, and that saving never loses anything."""

from __future__ import annotations

import copy
import json
import os
import stat
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from clearturn.errors import JobProblem
from clearturn.job import file as job_file
from clearturn.job.file import (
    job_json,
    job_schema,
    job_sha256,
    load_job,
    model_classes,
    parse_job,
    save_job,
)
from clearturn.job.positions import Positions, shown

ROOT = Path(__file__).resolve().parents[2]
Data = dict[str, Any]


def good() -> Data:
    """A job that passes, with one entry of nearly everything."""
    corner: Data = {
        "side": "left",
        "scans": [
            {"name": "k", "path": "k.stl", "sha256": "0" * 64},
            {"name": "w", "path": "w.stl", "sha256": "1" * 64},
        ],
        "datums": [
            {"name": "face", "scan": "k", "feature": "plane", "seeds_mm": [[0, 0, 0]]},
            {"name": "axis", "scan": "k", "feature": "cylinder", "seeds_mm": [[1, 0, 0]]},
            {"name": "lug", "scan": "k", "feature": "cylinder", "seeds_mm": [[2, 0, 0]]},
            {"name": "pad", "scan": "w", "feature": "plane", "seeds_mm": [[0, 0, 0]]},
            {"name": "bore", "scan": "w", "feature": "cylinder", "seeds_mm": [[0, 1, 0]]},
        ],
        "hub_frame": {
            "plane": "face", "axis": "axis", "clocking": "lug", "clock_deg": 300,
            "outboard": [0, 0, 1],
        },
        "wheel_frame": {"pad": "pad", "bore": "bore", "outboard": [0, 0, 1]},
        "seat_stack": {"old_flange_mm": 6.5, "new_flange_mm": 8, "spacer_mm": 0},
        "rotor": {
            "ring_outer_diameter_mm": 350, "ring_inner_diameter_mm": 222,
            "ring_thickness_mm": 34, "hat_offset_mm": 38, "flange_thickness_mm": 8,
            "hat_outer_diameter_mm": 176, "hat_wall_mm": 6, "bore_diameter_mm": 64,
            "bolt_circle_diameter_mm": 112, "bolt_count": 5, "bolt_hole_diameter_mm": 15,
        },
        "caliper": {
            "inner_radius_mm": 112, "outer_radius_mm": 200, "bridge_inner_radius_mm": 178.6,
            "inboard_width_mm": 68, "outboard_width_mm": 62, "slot_half_width_mm": 27,
            "arc_deg": 74, "clock_deg": 270,
            "boxes": [
                {
                    "name": "pipe", "clock_offset_deg": 5, "r_from_mm": 198, "r_to_mm": 204,
                    "z_from_mm": -10, "z_to_mm": 10, "width_mm": 6,
                }
            ],
        },
        "parts": [
            {
                "name": "hub", "kind": "hub", "motion": "turns",
                "scan": {"scan": "k", "take": [{"by": "band", "band": {"z_from_mm": -14}}]},
            },
            {
                "name": "knuckle", "kind": "knuckle", "motion": "fixed",
                "scan": {"scan": "k", "take": [{"by": "rest"}]},
            },
            {"name": "rotor", "kind": "rotor", "motion": "turns", "dimensions": "rotor"},
            {"name": "caliper", "kind": "caliper", "motion": "fixed", "dimensions": "caliper"},
            {
                "name": "barrel", "kind": "barrel", "motion": "turns",
                "scan": {"scan": "w", "take": [{"by": "rest"}]},
            },
        ],
        "seats": [
            {
                "name": "lug", "part": "caliper", "on": "knuckle",
                "band": {"r_to_mm": 140, "z_from_mm": -114, "z_to_mm": -110},
            }
        ],
        "pairs": [{"first": "rotor", "second": "hub", "judged": False, "reason": "one assembly"}],
        "allowances": [
            {
                "name": "run-out", "value_mm": 0.4, "direction": "radial",
                "kind": "always costs", "source": "wheel maker", "part": "barrel",
            }
        ],
        "hub_checks": {
            "rotor_register": {
                "shaft": {"source": "scan", "datum": "axis"}, "hole": {"source": "dimensions"},
            }
        },
    }  # fmt: skip
    return {
        "format": "clearturn job", "version": 1, "name": "test",
        "axles": [{"name": "front", "corner": corner}],
        "sign_offs": [{"operation": "60 Gaps", "name": "N. N.", "date": "2031-05-17"}],
    }  # fmt: skip


def corner(data: Data) -> Data:
    found: Data = data["axles"][0]["corner"]
    return found


def text_of(data: Data) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False)


def test_the_good_job_is_read() -> None:
    job = parse_job(text_of(good())).job
    assert job.axles[0].corner.caliper is not None
    assert job.axles[0].corner.caliper.boxes[0].name == "pipe"
    assert job.axles[0].corner.requirements.caliper_spokes_mm == 4.0


def cyclic(data: Data) -> None:
    band = {"r_to_mm": 90, "z_from_mm": -1, "z_to_mm": 1}
    corner(data)["seats"] += [
        {"name": "b", "part": "knuckle", "on": "hub", "band": band},
        {"name": "c", "part": "hub", "on": "caliper", "band": band},
    ]


def at(*path: str | int, value: object) -> Callable[[Data], None]:
    def edit(data: Data) -> None:
        here: Any = corner(data)
        for step in path[:-1]:
            here = here[step]
        here[path[-1]] = value

    return edit


def drop(*path: str | int) -> Callable[[Data], None]:
    def edit(data: Data) -> None:
        here: Any = corner(data)
        for step in path[:-1]:
            here = here[step]
        del here[path[-1]]

    return edit


def twice(key: str) -> Callable[[Data], None]:
    def edit(data: Data) -> None:
        corner(data)[key].append(copy.deepcopy(corner(data)[key][0]))

    return edit


DOUBLED = [[2, 0, 0, 0], [0, 2, 0, 0], [0, 0, 2, 0], [0, 0, 0, 1]]
FLAT_BOX = {"step": "keep box", "from_mm": [0, 0, 0], "to_mm": [1, 0, 1]}
ROTOR, PART0 = "axles[0].corner.rotor", "axles[0].corner.parts[0]"
BAD: dict[str, tuple[Callable[[Data], None], str, str]] = {
    # name: (edit, what the sentence names as place, what it says)
    "unknown key": (at("rotor", "colour", value="red"), f"{ROTOR}.colour", "not known"),
    "misspelt key": (at("rotor", "hat_wal_mm", value=6), f"{ROTOR}.hat_wal_mm", "'hat_wall_mm'"),
    "key in inches": (at("rotor", "hat_wall_in", value=6), f"{ROTOR}.hat_wall_in", "in mm"),
    "wrong unit": (at("scans", 0, "unit", value="inch"), "scans[0].unit", "'mm', 'cm', 'm' or"),
    "unit beside a number": (at("rotor", "hat_wall_mm", value="6 mm"), f"{ROTOR}.hat_wall", "6 mm"),
    "text for a number": (at("caliper", "arc_deg", value="wide"), "caliper.arc_deg", "a number"),
    "true for a number": (at("caliper", "arc_deg", value=True), "caliper.arc_deg", "a number"),
    "null for a number": (at("caliper", "arc_deg", value=None), "caliper.arc_deg", "null"),
    "number for a text": (at("scans", 0, "name", value=7), "scans[0].name", "a text"),
    "list for an object": (at("rotor", value=[]), ROTOR, "an object"),
    "object for a list": (at("parts", value={}), "corner.parts", "a list"),
    "missing key": (drop("rotor", "hat_wall_mm"), f"{ROTOR}.hat_wall_mm", "missing"),
    "two coordinates": (at("hub_frame", "outboard", value=[0, 1]), "outboard", "too few"),
    "four coordinates": (at("hub_frame", "outboard", value=[0, 1, 2, 3]), "outboard", "entries"),
    "no tag": (at("parts", 0, "scan", "take", value=[{"band": {}}]), "take[0].by", "missing"),
    "unknown tag": (at("parts", 0, "scan", "take", value=[{"by": "luck"}]), "take[0].by", "'luck'"),
    "negative thickness": (at("rotor", "ring_thickness_mm", value=-3), f"{ROTOR}.ring_t", "negat"),
    "negative flange": (at("seat_stack", "old_flange_mm", value=-1), "old_flange_mm", "negative"),
    "negative requirement": (at("requirements", value={"caliper_barrel_mm": -1}), "barrel", "neg"),
    "bore larger than hat": (at("rotor", "bore_diameter_mm", value=180), f"{ROTOR}.bore", "hat"),
    "ring inside out": (at("rotor", "ring_inner_diameter_mm", value=360), f"{ROTOR}.ring_i", "out"),
    "box inside out": (
        at("caliper", "boxes", 0, "r_to_mm", value=190), "caliper.boxes[0].r_to_mm", "r_from_mm",
    ),
    "cyclic seat": (cyclic, "seats[2]", "'hub' on 'caliper' on 'knuckle' on 'hub'"),
    "part on itself": (at("seats", 0, "on", value="caliper"), "seats[0]", "circle"),
    "seat without end": (at("seats", 0, "band", value={}), "seats[0].band", "whole pair"),
    "empty band": (at("seats", 0, "band", "z_to_mm", value=-200), "band.z_to_mm", "empty"),
    "half a clock": (at("seats", 0, "band", "clock_to_deg", value=9), "seats[0].band", "both"),
    "part without faces": (drop("parts", 0, "scan"), PART0, "no faces"),
    "part that takes nothing": (at("parts", 0, "scan", "take", value=[]), PART0, "no faces"),
    "part given twice": (at("parts", 0, "dimensions", value="rotor"), PART0, "more than once"),
    "part of no scan": (at("parts", 0, "scan", "scan", value="z"), "scan.scan", "'k', 'w'"),
    "missing dimensions": (drop("caliper"), "parts[3].dimensions", "no dimensions"),
    "turning knuckle": (at("parts", 1, "motion", value="turns"), "parts[1].motion", "'fixed'"),
    "fixed rotor": (at("parts", 2, "motion", value="fixed"), "parts[2].motion", "'turns'"),
    "two of one name": (twice("parts"), "parts[5].name", "two of the name"),
    "two scans of one name": (twice("scans"), "scans[2].name", "two of the name"),
    "empty name": (at("scans", 0, "name", value=" "), "scans[0].name", "needs a name"),
    "datum on no scan": (at("datums", 0, "scan", value="z"), "datums[0].scan", "'k', 'w'"),
    "datum untouched": (at("datums", 0, "seeds_mm", value=[]), "datums[0].seeds_mm", "touched"),
    "no such datum": (at("hub_frame", "plane", value="z"), "hub_frame.plane", "'face'"),
    "axis from a plane": (at("hub_frame", "axis", value="face"), "hub_frame.axis", "cylinder"),
    "frame on two scans": (at("hub_frame", "axis", value="bore"), "hub_frame", "one scan"),
    "no outboard": (at("hub_frame", "outboard", value=[0, 0, 0]), "hub_frame.outboard", "length"),
    "wheel without stack": (drop("seat_stack"), "corner", "seat stack"),
    "two flanges": (at("seat_stack", "new_flange_mm", value=9), "new_flange_mm", "9 here, 8 in"),
    "scan nowhere": (drop("wheel_frame"), "parts[4].scan.scan", "where this scan sits"),
    "absolute path": (at("scans", 0, "path", value="/tmp/k.stl"), "scans[0].path", "relative"),
    "drive letter": (at("scans", 0, "path", value="C:k.stl"), "scans[0].path", "relative"),
    "backslashes": (at("scans", 0, "path", value="a\\k.stl"), "scans[0].path", "forward"),
    "no hash": (at("scans", 0, "sha256", value="abc"), "scans[0].sha256", "64 hex"),
    "pose that scales": (
        at("scans", 0, "hub_from_scan", value=DOUBLED),
        "scans[0].hub_from_scan", "not rigid",
    ),
    "empty box": (
        at("scans", 0, "cleaning", value=[FLAT_BOX]),
        "cleaning[0].to_mm", "empty",
    ),
    "pair of nobody": (at("pairs", 0, "first", value="z"), "pairs[0].first", "no part"),
    "pair of one": (at("pairs", 0, "first", value="hub"), "pairs[0]", "two parts"),
    "rule without reason": (at("pairs", 0, "reason", value=""), "pairs[0].reason", "reason"),
    "allowance of nobody": (at("allowances", 0, "part", value="z"), "allowances[0].part", "no p"),
    "allowance without source": (at("allowances", 0, "source", value=""), "s[0].source", "source"),
    "negative eccentricity": (at("allowances", 0, "value_mm", value=-1), "s[0].value_mm", "0 or"),
    "random outboard": (
        at("allowances", 0, value={
            "name": "a", "value_mm": 1, "direction": "outboard", "kind": "random", "source": "s",
            "part": "barrel",
        }),
        "allowances[0].direction", "'radial'",
    ),
    "shift of nobody": (
        at("allowances", 0, value={
            "name": "a", "value_mm": 1, "direction": "up", "kind": "shift", "source": "s",
        }),
        "allowances[0].part", "shift",
    ),
    "coverage 3": (at("coverage_factor", value=3), "coverage_factor", "1.65"),
    "weights without band": (at("weights", value={"where": "not in band"}), "weights", "band"),
    "fit of nothing": (at("hub_checks", "rotor_register", "fit", value="tight"), "fit", "'H7/g6'"),
    "size of a plane": (
        at("hub_checks", "rotor_register", "shaft", "datum", value="face"), "shaft.datum", "cyl",
    ),
    "measured, not how well": (
        at("hub_checks", "rotor_register", "shaft", value={"source": "measured", "value_mm": 70}),
        "rotor_register.shaft", "uncertainty",
    ),
    "negative diameter": (
        at("hub_checks", "rotor_register", "shaft",
           value={"source": "measured", "value_mm": -70, "uncertainty_mm": 0}),
        "shaft.value_mm", "negative",
    ),
    "spigot from the rotor": (
        at("hub_checks", "rotor_register", "shaft", value={"source": "dimensions"}),
        "shaft.source", "no dimensions",
    ),
    "one end of a clearance": (
        at("hub_checks", "rotor_register", "clearance_from_mm", value=0), "clearance_to", "two e",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_job_is_refused_in_one_sentence_with_its_place(name: str) -> None:
    edit, place, says = BAD[name]
    data = good()
    edit(data)
    with pytest.raises(JobProblem) as caught:
        parse_job(text_of(data), file="job.clearturn.json")
    sentence = str(caught.value)
    assert sentence.startswith("job.clearturn.json, line ")
    assert place in (caught.value.place or "")
    assert says in sentence
    assert "\n" not in sentence


def test_place_names_the_line_the_key_stands_on() -> None:
    data = good()
    corner(data)["rotor"]["bore_diameter_mm"] = 180
    text = text_of(data)
    with pytest.raises(JobProblem) as caught:
        parse_job(text, file="j")
    line = next(i for i, t in enumerate(text.splitlines(), 1) if '"bore_diameter_mm"' in t)
    assert f"line {line}," in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not valid JSON"),
        ("{", "not valid JSON"),
        ("[]", "not a job file"),
        ("null", "not a job file"),
        ("{}", "not a job file"),
        ('{"format": "something else"}', "something else"),
        ('{"format": "clearturn job"}', "version"),
        ('{"format": "clearturn job", "version": 2, "name": "n"}', "newer program"),
        ('{"format": "clearturn job", "version": 0, "name": "n"}', "version"),
        ('{"format": "clearturn job", "version": true, "name": "n"}', "version"),
        ('{"format": "clearturn job", "version": 1.0, "name": "n"}', "whole number"),
        ('{"format": "clearturn job", "version": 1}', "name: a key is missing"),
        ('{"format": "clearturn job", "version": 1, "name": "a", "name": "b"}', "stands twice"),
        ('{"format": "clearturn job", "version": 1, "name": "a", "sums": {"x": NaN}}', "NaN"),
        ("[" * 100_000, "nested too deeply"),
        ('{"format": "clearturn job", "version": 1' + "0" * 5000 + "}", "JSON"),
        ("solid knuckle", "not valid JSON"),
        ('{\n "version": 1,  // of the format\n "name": "n"}', "JSON has no comments"),
        ('{"version": 1  // of the format\n, }', "JSON has no comments"),
    ],
)
def test_text_that_is_no_job_is_refused_by_name(text: str, says: str) -> None:
    with pytest.raises(JobProblem) as caught:
        parse_job(text, file="f.json")
    assert says in str(caught.value)
    assert str(caught.value).startswith("f.json")


def test_more_than_two_axles_or_two_front_ones_are_refused() -> None:
    data = good()
    data["axles"] = [data["axles"][0], copy.deepcopy(data["axles"][0])]
    with pytest.raises(JobProblem, match=r"axles\[1\].name"):
        parse_job(text_of(data))
    data["axles"].append(copy.deepcopy(data["axles"][0]))
    with pytest.raises(JobProblem, match="at most two axles"):
        parse_job(text_of(data))


def test_date_of_a_signature_is_a_date() -> None:
    data = good()
    data["sign_offs"][0]["date"] = "17 May"
    with pytest.raises(JobProblem, match=r"sign_offs\[0\].date"):
        parse_job(text_of(data))


# --- files -----------------------------------------------------------------------------------


def test_saved_job_reads_back_as_the_same_job(tmp_path: Path) -> None:
    job = parse_job(text_of(good())).job
    save_job(job, tmp_path / "a.clearturn.json")
    assert load_job(tmp_path / "a.clearturn.json") == job


def test_names_outside_ascii_survive(tmp_path: Path) -> None:
    job = replace(parse_job(text_of(good())).job, name="Größe ∅ 車")
    save_job(job, tmp_path / "ä.json")
    assert load_job(tmp_path / "ä.json").name == "Größe ∅ 車"
    assert "∅" in (tmp_path / "ä.json").read_text(encoding="utf-8")


def test_byte_order_mark_is_read(tmp_path: Path) -> None:
    (tmp_path / "a.json").write_bytes(b"\xef\xbb\xbf" + text_of(good()).encode())
    assert load_job(tmp_path / "a.json").name == "test"


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_saving_keeps_the_permissions(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "a.json"
    path.write_text("old")
    path.chmod(mode)
    save_job(parse_job(text_of(good())).job, path)
    assert stat.S_IMODE(path.stat().st_mode) == mode


def test_new_file_gets_the_permissions_the_user_wants(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        save_job(parse_job(text_of(good())).job, tmp_path / "a.json")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a.json").stat().st_mode) == 0o640


def test_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_text("old")
    (tmp_path / "link.json").symlink_to("real.json")
    save_job(parse_job(text_of(good())).job, tmp_path / "link.json")
    assert (tmp_path / "link.json").is_symlink()
    assert load_job(tmp_path / "real.json").name == "test"


def test_failed_save_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.json"
    path.write_text("old")

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(job_file.os, "fsync", full)
    with pytest.raises(JobProblem, match="No space left"):
        save_job(parse_job(text_of(good())).job, path)
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def test_faulty_job_is_never_written(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    path.write_text("old")
    job = parse_job(text_of(good())).job
    axle = job.axles[0]
    broken = replace(job, axles=(replace(axle, corner=replace(axle.corner, coverage_factor=9.0)),))
    with pytest.raises(JobProblem, match="coverage_factor"):
        save_job(broken, path)
    assert path.read_text() == "old"


def test_things_that_are_no_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(JobProblem, match="not a file"):
        load_job(tmp_path)
    with pytest.raises(JobProblem, match="no such file"):
        load_job(tmp_path / "missing.json")
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    with pytest.raises(JobProblem):
        load_job(tmp_path / "a")
    with pytest.raises(JobProblem):
        load_job("a\0b")
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(JobProblem, match="not a text file"):
        load_job(tmp_path / "binary")
    with pytest.raises(JobProblem, match="cannot be saved"):
        save_job(parse_job(text_of(good())).job, tmp_path)


def test_hash_depends_on_content_and_not_on_layout() -> None:
    data = good()
    job = parse_job(text_of(data)).job
    shuffled = dict(reversed(list(data.items())))
    shuffled["notes"] = ""  # a default written out
    same = parse_job(json.dumps(shuffled)).job
    assert job_sha256(same) == job_sha256(job)
    corner(data)["rotor"]["bore_diameter_mm"] = 64.01
    assert job_sha256(parse_job(text_of(data)).job) != job_sha256(job)


# --- schema and document ---------------------------------------------------------------------


def test_schema_file_is_in_step_with_the_model() -> None:
    stored = json.loads((ROOT / "docs" / "job-schema.json").read_text(encoding="utf-8"))
    assert stored == job_schema(), "run: python -m clearturn.job.schema docs/job-schema.json"


def test_schema_accepts_the_good_job_and_refuses_unknown_keys() -> None:
    schema = job_schema()
    validator = jsonschema.Draft202012Validator(schema)
    validator.check_schema(schema)
    saved = json.loads(job_json(parse_job(text_of(good())).job))
    assert list(validator.iter_errors(saved)) == []
    saved["axles"][0]["corner"]["rotor"]["colour"] = "red"
    assert list(validator.iter_errors(saved)) != []


def sample_text() -> str:
    page = (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8")
    fenced = page.split("```jsonc\n", 1)[1].split("```", 1)[0]
    return "\n".join(line.split("  // ")[0] for line in fenced.splitlines())


def test_sample_of_the_document_is_a_job() -> None:
    job = parse_job(sample_text(), file="docs/job-file.md").job
    assert job.invented


def test_every_key_of_the_model_stands_in_the_documented_sample_with_a_comment() -> None:
    page = (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8")
    fenced = page.split("```jsonc\n", 1)[1].split("```", 1)[0]
    explained = {
        line.split('"')[1] for line in fenced.splitlines() if "  // " in line and '"' in line
    }
    written = set(_keys(json.loads(sample_text())))
    for kind in model_classes():
        for entry in fields(kind):
            assert entry.name in written, f"{kind.__name__}.{entry.name} is not in the sample"
            assert entry.name in explained, f"{kind.__name__}.{entry.name} has no comment"


def _keys(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [k for key, item in value.items() for k in [key, *_keys(item)]]
    if isinstance(value, list):
        return [k for item in value for k in _keys(item)]
    return []


# --- lines -----------------------------------------------------------------------------------


def test_lines_of_nested_keys_are_found() -> None:
    text = '{\n "a": [\n  1,\n  {"b": 2,\n   "c": [[3],\n [4]]}],\n "d": "x,]\\"}"\n}'
    where = Positions(text)
    assert where.line(("a",)) == 2
    assert where.line(("a", 0)) == 3
    assert where.line(("a", 1)) == 4
    assert where.line(("a", 1, "c")) == 5
    assert where.line(("a", 1, "c", 1)) == 6
    assert where.line(("d",)) == 7
    assert where.line(("a", 1, "missing")) == 4
    assert where.repeated == []


def test_repeated_keys_are_found_in_the_object_they_stand_in() -> None:
    where = Positions('{"a": {"b": 1, "b": 2}, "b": 3, "c": [{"b": 1}, {"b": 2}]}')
    assert where.repeated == [("a", "b")]


def test_path_is_shown_as_users_read_it() -> None:
    assert shown(("axles", 0, "corner", "parts", 2)) == "axles[0].corner.parts[2]"
