"""Building a corner up by pure edits: each step, its refusals, and what is asked for next."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearturn.envelope.dimensions import BoxDimensions, CaliperDimensions, RotorDimensions
from clearturn.errors import InputError
from clearturn.job import building as edits
from clearturn.job.edits import with_corner
from clearturn.job.file import check_job, job_json, parse_job
from clearturn.job.model import (
    FORMAT,
    VERSION,
    Band,
    Corner,
    DropPiece,
    Job,
    PieceFaces,
    Scan,
)

ROTOR = RotorDimensions(350.0, 222.0, 34.0, 38.0, 8.0, 176.0, 6.0, 64.0, 112.0, 5, 15.0)
CALIPER = CaliperDimensions(112.0, 201.9, 178.6, 68.0, 62.0, 27.0, 74.0, 270.0)
SEED = (1.0, 2.0, 3.0)


def scan(name: str, digit: str) -> Scan:
    return Scan(name, f"{name}.stl", digit * 64)


def role(name: str) -> edits.Role:
    return next(role for role in edits.ROLES if role.name == name)


def touched(corner: Corner, shows: str) -> Corner:
    for one in edits.ROLES:
        if one.shows == shows:
            corner = edits.with_touched(corner, one, shows, one.features[0], (SEED,))
    return corner


def whole() -> list[Corner]:
    """A corner after each step of the work."""
    corner = Corner("left")
    steps = [corner]

    def then(after: Corner) -> Corner:
        steps.append(after)
        return after

    corner = then(edits.with_scan(corner, scan("knuckle", "1")))
    corner = then(touched(corner, "knuckle"))
    corner = then(edits.with_hub_frame(corner, 303.0, (0.0, 0.0, 1.0)))
    corner = then(edits.with_knuckle_split(corner, Band(r_to_mm=80.0), Band(r_to_mm=90.0)))
    corner = then(edits.with_rotor(corner, ROTOR, 0.1))
    corner = then(edits.with_caliper(corner, CALIPER, 0.2))
    corner = then(edits.with_stack(corner, 6.5, 0.0))
    corner = then(edits.with_scan(corner, scan("wheel", "2")))
    corner = then(touched(corner, "wheel"))
    corner = then(edits.with_wheel_frame(corner, (0.0, 0.0, 1.0)))
    corner = then(edits.with_wheel_split(corner, Band(r_to_mm=203.0), 75.5))
    corner = then(edits.with_usual_allowances(corner))
    then(edits.with_touched_diameters(corner))
    return steps


def test_every_step_makes_a_job_that_can_be_saved_and_read() -> None:
    for corner in whole():
        job = with_corner(Job(FORMAT, VERSION, "built"), "front", corner)
        check_job(job)
        assert parse_job(job_json(job)).job == job


def test_what_is_missing_is_asked_for_in_the_order_of_the_work() -> None:
    asked = [edits.next_step(corner) for corner in whole()]
    assert asked[0] == "Take the knuckle's scan in: 10 Scans."
    assert asked[1] == "Touch the hub face: 20 Datums."
    assert asked[2] == "State the clock angle of the clocking lug: 20 Datums."
    assert asked[4] == "Give the rotor: 30 Rotor."
    assert asked[7] == "Take the wheel's scan in: 10 Scans."
    assert asked[11] is None


def test_the_same_scan_twice_is_refused_by_its_content() -> None:
    corner = edits.with_scan(Corner("left"), scan("knuckle", "1"))
    with pytest.raises(InputError, match="this scan is in the job already"):
        edits.with_scan(corner, replace(scan("other", "1"), path="copy.stl"))


def test_scans_are_named_after_what_their_files_say() -> None:
    corner = Corner("left")
    assert edits.name_for(corner, "VL_Wheel_18") == "wheel"
    assert edits.name_for(corner, "scan 1") == "knuckle"
    corner = edits.with_scan(corner, scan("knuckle", "1"))
    assert edits.name_for(corner, "scan 2") == "wheel"
    corner = edits.with_scan(corner, scan("wheel", "2"))
    assert edits.name_for(corner, "scan 3") == "scan 3"


def test_exchanged_scans_change_names_until_something_is_taken_from_them() -> None:
    corner = edits.with_scan(Corner("left"), scan("knuckle", "1"))
    corner = edits.with_scan(corner, scan("wheel", "2"))
    other = edits.renamed_scan(corner, "knuckle", "wheel")
    assert [(one.name, one.sha256[0]) for one in other.scans] == [("wheel", "1"), ("knuckle", "2")]
    with pytest.raises(InputError, match="keeps its name"):
        edits.renamed_scan(touched(corner, "wheel"), "knuckle", "wheel")


def test_cleaning_steps_are_added_once_and_taken_back() -> None:
    corner = edits.with_scan(Corner("left"), scan("knuckle", "1"))
    step = DropPiece("drop piece", SEED)
    cleaned = edits.with_step(corner, "knuckle", step)
    assert cleaned.scans[0].cleaning == (step,)
    assert edits.with_step(cleaned, "knuckle", step) is cleaned
    assert edits.without_step(cleaned, "knuckle", 0) == corner


def test_a_feature_that_cannot_serve_is_refused() -> None:
    corner = edits.with_scan(Corner("left"), scan("knuckle", "1"))
    with pytest.raises(InputError, match="this cannot be the hub face"):
        edits.with_touched(corner, role("hub face"), "knuckle", "cone", (SEED,))
    with pytest.raises(InputError, match="not touched yet"):
        edits.with_hub_frame(corner, 0.0, (0.0, 0.0, 1.0))


def test_a_touched_piece_goes_before_the_part_that_takes_the_rest() -> None:
    corner = next(c for c in whole() if c.parts)
    faces = PieceFaces("piece", SEED)
    corner = edits.with_part_of(corner, "tie rod", "tie rod", "posed", "knuckle", faces)
    names = [part.name for part in corner.parts]
    assert names == ["hub", "bearing housing", "tie rod", "knuckle"]


def test_the_stack_follows_the_rotors_flange() -> None:
    corner = edits.with_stack(edits.with_rotor(Corner("left"), ROTOR, 0.0), 6.5, 3.0)
    assert corner.seat_stack is not None
    assert corner.seat_stack.pad_z_mm == 11.0
    corner = edits.with_rotor(corner, replace(ROTOR, flange_thickness_mm=9.0), 0.0)
    assert corner.seat_stack is not None
    assert corner.seat_stack.new_flange_mm == 9.0
    with pytest.raises(InputError, match="rotor's dimensions are not given"):
        edits.with_stack(Corner("left"), 6.5, 0.0)


def test_splitting_the_wheel_anew_replaces_its_parts_and_keeps_one_seat() -> None:
    corner = whole()[-1]
    corner = edits.with_wheel_split(corner, None, 75.5)
    assert [p.name for p in corner.parts if p.motion == "turns"] == ["hub", "rotor", "wheel"]
    (seat,) = corner.seats
    assert (seat.part, seat.on) == ("wheel", "rotor")
    assert (seat.band.z_from_mm, seat.band.z_to_mm) == (7.5, 8.5)


def test_allowances_are_taken_for_parts_that_are_there_and_only_once() -> None:
    corner = edits.with_rotor(Corner("left"), ROTOR, 0.0)
    taken = edits.with_usual_allowances(corner)
    assert [one.name for one in taken.allowances] == ["rotor run-out, axial"]
    assert edits.with_usual_allowances(taken) is taken


def test_touched_diameters_are_checked_against_the_rotor() -> None:
    checks = whole()[-1].hub_checks
    assert checks.rotor_register is not None
    assert checks.rotor_register.shaft.datum == "register"
    assert checks.rotor_register.hole.source == "dimensions"
    assert checks.rotor_register.hole.uncertainty_mm == 0.1  # what the rotor is made to
    assert checks.wheel_register is not None
    assert checks.housing_in_hat is not None
    corner = whole()[-1]
    assert edits.with_touched_diameters(corner) is corner


def test_a_box_is_put_on_the_caliper_once() -> None:
    corner = edits.with_caliper(Corner("left"), CALIPER, 0.2)
    box = BoxDimensions("bleed nipple", 38.2, 150.0, 160.0, 40.0, 50.0, 14.0)
    once = edits.with_box(corner, box)
    assert once.caliper is not None
    assert once.caliper.boxes == (box,)
    with pytest.raises(InputError, match="the caliper has this already, found 'bleed nipple'"):
        edits.with_box(once, replace(box, z_from_mm=42.0))
    both = edits.with_box(once, replace(box, name="other nipple"))
    assert both.caliper is not None
    assert [one.name for one in both.caliper.boxes] == ["bleed nipple", "other nipple"]
    with pytest.raises(InputError, match="no caliper to put a box on"):
        edits.with_box(Corner("left"), box)
