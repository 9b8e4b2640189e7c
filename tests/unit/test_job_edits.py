"""Pure edits: the old job stays as it was, and nothing is left that speaks of what is gone."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from typing import Any

import pytest

from clearturn.errors import InputError
from clearturn.job import edits
from clearturn.job.file import check_job, parse_job
from clearturn.job.model import AllowanceEntry, Corner, Job, PairRule, SignOff

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]


@pytest.fixture
def job() -> Job:
    poses = {"knuckle": made.pose(1), "wheel": made.pose(2)}
    hashes = {"knuckle": "0" * 64, "wheel": "1" * 64}
    return parse_job(json.dumps(made.job_data(poses, hashes))).job


@pytest.fixture
def corner(job: Job) -> Corner:
    return edits.corner_of(job, "front")


def checked(job: Job, corner: Corner) -> Corner:
    """The corner, after making sure that a job with it has no fault."""
    check_job(edits.with_corner(job, "front", corner))
    return corner


def test_value_is_changed_at_its_path_and_the_old_job_is_untouched(job: Job) -> None:
    path = edits.path_of("axles[0].corner.rotor.bore_diameter_mm")
    changed = edits.with_value(job, path, 70.0)
    assert edits.value_at(changed, path) == 70.0
    assert edits.value_at(job, path) == 64.0
    assert edits.with_value(changed, path, 64.0) == job


def test_same_value_gives_the_same_object(job: Job) -> None:
    for text in ("name", "axles[0].corner.rotor.bore_diameter_mm", "axles[0].corner.parts"):
        path = edits.path_of(text)
        assert edits.with_value(job, path, edits.value_at(job, path)) is job


def test_sums_are_reached_and_added_by_path(job: Job) -> None:
    changed = edits.with_sum(job, "bolts", {"torque_nm": 120.0})
    path = edits.path_of("sums.bolts.torque_nm")
    assert edits.value_at(edits.with_value(changed, path, 130.0), path) == 130.0
    added = edits.with_value(changed, ("sums", "heat"), {"stops": 3})
    assert set(added.sums) == {"bolts", "heat"}
    assert edits.with_sum(changed, "bolts", {"torque_nm": 120.0}) is changed


@pytest.mark.parametrize(
    "text", ["", ".", "a..b", "a[", "a[-1]", "a[x]", "[0]", "a.b ", "1a", "a[0]b"]
)
def test_text_that_is_no_path_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="not a path"):
        edits.path_of(text)


@pytest.mark.parametrize(
    "text", ["colour", "axles[7]", "axles.corner", "name.first", "axles[0].corner.rotor.x.y"]
)
def test_path_to_nowhere_is_refused(job: Job, text: str) -> None:
    path = edits.path_of(text)
    with pytest.raises(InputError, match="nothing at this place"):
        edits.value_at(job, path)
    with pytest.raises(InputError, match="nothing at this place"):
        edits.with_value(job, path, 1)


def test_putting_replaces_by_name_or_appends(job: Job, corner: Corner) -> None:
    rod = corner.parts[0]
    assert edits.put(corner, rod) is corner
    other = edits.put(corner, edits.replace(rod, tolerance_mm=0.5))
    assert len(other.parts) == len(corner.parts)
    assert other.parts[0].tolerance_mm == 0.5
    more = edits.put(corner, edits.replace(corner.parts[4], name="second rotor"))
    assert [p.name for p in more.parts] == [p.name for p in corner.parts] + ["second rotor"]
    checked(job, more)
    for key in ("scans", "datums", "seats"):
        first = getattr(corner, key)[0]
        assert edits.put(corner, first) is corner
        renamed = edits.put(corner, edits.replace(first, name="new"))
        assert len(getattr(renamed, key)) == len(getattr(corner, key)) + 1


def test_removing_a_part_removes_what_spoke_of_it(job: Job, corner: Corner) -> None:
    corner = edits.with_pair_rule(corner, PairRule("rotor", "lug", "by hand"))
    corner = edits.with_allowance(
        corner, AllowanceEntry("a", 0.1, "radial", "always costs", "s", part="rotor")
    )
    left = checked(job, edits.without(corner, "parts", "rotor"))
    assert "rotor" not in {p.name for p in left.parts}
    assert (left.seats, left.pairs, left.allowances) == ((), (), ())


def test_removing_a_datum_lifts_the_frame_and_checks_that_used_it(job: Job, corner: Corner) -> None:
    left = edits.without(corner, "datums", "register")
    assert left.hub_frame is None
    assert left.hub_checks.rotor_register is None
    assert left.hub_checks.housing_in_hat is not None
    assert edits.without(corner, "datums", "pad").wheel_frame is None


def test_removing_a_scan_removes_its_datums_and_parts(job: Job, corner: Corner) -> None:
    left = checked(job, edits.without(corner, "scans", "wheel"))
    assert {d.scan for d in left.datums} == {"knuckle"}
    assert left.wheel_frame is None
    assert {p.name for p in left.parts} == {"rod", "lug", "hub", "housing", "rotor", "caliper"}


@pytest.mark.parametrize(("key", "name"), [("parts", "nobody"), ("colours", "red"), ("datums", "")])
def test_removing_what_is_not_there_is_refused(corner: Corner, key: str, name: str) -> None:
    with pytest.raises(InputError):
        edits.without(corner, key, name)


def test_spacer_is_set_and_nonsense_refused(corner: Corner) -> None:
    moved = edits.with_spacer(corner, 5.0)
    assert moved.seat_stack is not None
    assert moved.seat_stack.pad_z_mm == 13.0
    assert edits.with_spacer(moved, 5.0) is moved
    with pytest.raises(InputError):
        edits.with_spacer(corner, -1.0)
    with pytest.raises(InputError):
        edits.with_spacer(edits.replace(corner, seat_stack=None), 1.0)


def test_allowances_and_rules_are_replaced_not_doubled(corner: Corner) -> None:
    entry = AllowanceEntry("a", 0.1, "radial", "always costs", "s", part="rotor")
    once = edits.with_allowance(corner, entry)
    assert edits.with_allowance(once, entry) is once
    twice = edits.with_allowance(once, edits.replace(entry, value_mm=0.2))
    assert [a.value_mm for a in twice.allowances] == [0.2]
    rule = PairRule("caliper", "lug", "why", required_mm=1.0)
    ruled = edits.with_pair_rule(corner, rule)
    assert edits.with_pair_rule(ruled, rule) is ruled
    again = edits.with_pair_rule(ruled, PairRule("lug", "caliper", "why", judged=False))
    assert len(again.pairs) == 1


def test_signing_off_and_lifting(job: Job) -> None:
    entry = SignOff("60 Gaps", "N. N.", "2031-05-17")
    signed = edits.signed_off(job, entry)
    assert edits.signed_off(signed, entry) is signed
    later = edits.signed_off(signed, SignOff("60 Gaps", "M. M.", "2031-05-18"))
    assert [s.name for s in later.sign_offs] == ["M. M."]
    assert edits.sign_off_lifted(later, "60 Gaps") == job
    assert edits.sign_off_lifted(job, "60 Gaps") is job


def test_axles_are_added_behind_and_replaced_in_place(job: Job, corner: Corner) -> None:
    both = edits.with_corner(job, "rear", corner)
    assert [a.name for a in both.axles] == ["front", "rear"]
    assert edits.with_corner(both, "front", corner) is both
    changed = edits.with_corner(both, "front", edits.with_spacer(corner, 3.0))
    assert edits.corner_of(changed, "rear") == corner
    with pytest.raises(InputError):
        edits.with_corner(job, "middle", corner)
    with pytest.raises(InputError):
        edits.corner_of(job, "rear")
