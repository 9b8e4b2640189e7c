"""Sums put into a job and taken out again, and what a job tells of their numbers."""

from __future__ import annotations

import json
from typing import Any

import pytest

from clearturn.errors import InputError
from clearturn.job.file import load_job
from clearturn.job.model import Job
from clearturn.job.sum_edits import known_numbers, with_entry, without_entry
from clearturn.samples import demo_job_file
from clearturn.trade.inputs import SumProblem

PARKING: dict[tuple[str | int, ...], Any] = {
    ("mass_kg",): 2050.0, ("tyre_radius_mm",): 320.0, ("radius_mm",): 112.0,
}  # fmt: skip


@pytest.fixture
def demo() -> Job:
    return load_job(demo_job_file())


def test_sum_is_begun_added_to_and_taken_away() -> None:
    job = Job("clearturn job", 1, "empty")
    begun = with_entry(job, "parking_brake", (), {**PARKING, ("actuator_n",): None})
    assert begun.sums == {
        "parking_brake": {"mass_kg": 2050.0, "tyre_radius_mm": 320.0, "radius_mm": 112.0}
    }
    assert not job.sums
    more = with_entry(begun, "parking_brake", (), {("slope_percent",): 16.0})
    assert more.sums["parking_brake"]["slope_percent"] == 16.0
    assert without_entry(more, "parking_brake", ()) == job


def test_object_is_put_behind_a_list_and_into_an_empty_place(demo: Job) -> None:
    whole = {
        ("name",): "trailer", ("mass_kg",): 2300.0, ("front_axle_kg",): 1000.0,
        ("cg_height_mm",): 570.0,
    }  # fmt: skip
    more = with_entry(demo, "brake_balance", ("states", 2), whole)
    names = [one["name"] for one in more.sums["brake_balance"]["states"]]
    assert names == ["unladen", "laden", "trailer"]
    assert [one["name"] for one in demo.sums["brake_balance"]["states"]] == names[:2]
    less = without_entry(more, "brake_balance", ("states", 0))
    assert [one["name"] for one in less.sums["brake_balance"]["states"]] == names[1:]
    rear = {
        ("piston_diameters_mm",): [40.0], ("friction",): 0.42, ("effective_radius_mm",): 120.0,
        ("tyre_radius_mm",): 320.0,
    }  # fmt: skip
    held = with_entry(demo, "brake_balance", ("new_rear",), rear).sums["brake_balance"]
    assert held["new_rear"]["piston_diameters_mm"] == [40.0]
    json.dumps(held)


@pytest.mark.parametrize(
    ("name", "at", "said"),
    [
        ("brake_balance", ("old_front",), "a key is missing"),
        ("brake_balance", ("new_rear",), "nothing at this place"),
        ("brake_balance", ("states", 7), "nothing at this place"),
        ("bolts", ("joints", 1), "no joint of this name"),
        ("bolts", ("joints", 1, "name", "x"), "nothing at this place"),
    ],
)
def test_what_a_sum_cannot_be_without_stays(
    demo: Job, name: str, at: tuple[str | int, ...], said: str
) -> None:
    with pytest.raises(SumProblem, match=said):
        without_entry(demo, name, at)


def test_numbers_that_make_no_sense_are_refused(demo: Job) -> None:
    with pytest.raises(SumProblem, match="out of range"):
        with_entry(demo, "heat", (), {("axle_share",): 1.5})
    with pytest.raises(InputError, match="no such sum"):
        without_entry(Job("clearturn job", 1, "empty"), "heat", ())


def test_a_job_tells_what_it_knows_of_a_sum(demo: Job) -> None:
    rotor = demo.axles[0].corner.rotor
    assert rotor is not None
    assert known_numbers(demo, "kit", ()) == {"ring_diameter_mm": rotor.ring_outer_diameter_mm}
    assert known_numbers(demo, "pads", ())["ring_inner_diameter_mm"] == rotor.ring_inner_diameter_mm
    assert known_numbers(demo, "hub_fits", ("stud_holes",))["count"] == rotor.bolt_count
    bracket = known_numbers(demo, "bracket", ())
    assert bracket["ring_mid_z_mm"] == rotor.ring_mid_z_mm
    # The demo's front axle gets the new brake.
    assert bracket["load.effective_radius_mm"] == 144.5
    heat = known_numbers(demo, "heat", ())
    assert heat == {"mass_kg": 2050.0, "ring_material": "grey iron"}
    assert known_numbers(demo, "brake_balance", ("new_rear",)) == {"tyre_radius_mm": 320.0}
    studs = known_numbers(demo, "bolts", ("studs", 1))
    assert studs["spacer_mm"] == demo.axles[0].corner.seat_stack.spacer_mm
    for name in ("kit", "pads", "bracket", "heat", "parking_brake", "run_out", "bolts"):
        assert known_numbers(Job("clearturn job", 1, "empty"), name, ()) == {}
