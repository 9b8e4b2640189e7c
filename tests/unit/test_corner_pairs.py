"""The pair table: which requirement, and what is a fit or contact and therefore no gap."""

from __future__ import annotations

from typing import get_args

import pytest

from clearturn.corner.pairs import row_for
from clearturn.job.judging import Requirements
from clearturn.job.model import PartKind
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart

EMPTY = Mesh([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 2)])
TURNING = {"hub", "studs", "rotor", "wheel", "barrel", "spokes"}
POSED = {"tie rod", "control arm", "damper", "hose", "rubber boot"}


def part(kind: str) -> PlacedPart:
    motion = Motion.TURNS if kind in TURNING else Motion.POSED if kind in POSED else Motion.FIXED
    return PlacedPart(kind, kind, motion, EMPTY, "test")


# The requirements of common practice, no source; as agreed for this program.
CASES = [
    ("caliper", "barrel", "caliper–barrel", 3.0),
    ("caliper", "spokes", "caliper–spokes", 4.0),
    ("caliper", "wheel", "caliper–spokes", 4.0),
    ("bracket", "barrel", "caliper–barrel", 3.0),
    ("parking caliper", "spokes", "caliper–spokes", 4.0),
    ("rotor", "knuckle", "rotor–knuckle", 5.0),
    ("rotor", "steering arm", "rotor–knuckle", 5.0),
    ("rotor", "shield", "shield–rotor", 5.0),
    ("caliper", "rotor", "caliper bridge–ring", 3.0),
    ("caliper", "knuckle", "other fixed pair", 2.0),
    ("caliper", "bearing housing", "other fixed pair", 2.0),
    ("caliper", "bracket", "other fixed pair", 2.0),
    ("rotor", "spokes", "other fixed pair", 2.0),
    ("rotor", "barrel", "other fixed pair", 2.0),
    ("rotor", "tie rod", "turning–posed", 5.0),
    ("barrel", "control arm", "turning–posed", 5.0),
    ("caliper", "hose", "turning–posed", 5.0),
    ("rotor", "rubber boot", "rubber boot", 15.0),
    ("caliper", "rubber boot", "rubber boot", 15.0),
    ("barrel", "knuckle", "turning–fixed", 5.0),
    ("spokes", "bearing housing", "turning–fixed", 5.0),
    ("hub", "caliper", "turning–fixed", 5.0),
    ("studs", "bracket", "turning–fixed", 5.0),
    ("other", "rotor", "turning–fixed", 5.0),
    ("other", "caliper", "other fixed pair", 2.0),
]
NO_GAP = [
    ("rotor", "bearing housing", "hub diameter"),
    ("rotor", "hub", "fits"),
    ("rotor", "studs", "fits"),
    ("spokes", "hub", "fits"),
    ("barrel", "studs", "fits"),
    ("barrel", "spokes", "one body"),
    ("knuckle", "hub", "unchanged"),
    ("tie rod", "knuckle", "unchanged"),
    ("shield", "hub", "unchanged"),
    ("rubber boot", "tie rod", "unchanged"),
]


@pytest.mark.parametrize(("first", "second", "kind", "required"), CASES)
def test_row_of_the_table_in_either_order(
    first: str, second: str, kind: str, required: float
) -> None:
    for a, b in ((first, second), (second, first)):
        row = row_for(part(a), part(b), Requirements())
        assert (row.kind, row.required_mm) == (kind, required)


@pytest.mark.parametrize(("first", "second", "reason"), NO_GAP)
def test_fits_and_contacts_are_no_gaps(first: str, second: str, reason: str) -> None:
    for a, b in ((first, second), (second, first)):
        row = row_for(part(a), part(b), Requirements())
        assert row.kind is None
        assert reason in row.no_gap


def test_ceramic_ring_needs_less_room_under_the_bridge() -> None:
    row = row_for(part("caliper"), part("rotor"), Requirements(), ring="ceramic")
    assert row.required_mm == 2.0


def test_housing_that_is_no_hub_diameter_is_judged_as_knuckle() -> None:
    pair = part("rotor"), part("bearing housing")
    row = row_for(*pair, Requirements(), housing_is_checked=False)
    assert (row.kind, row.required_mm) == ("rotor–knuckle", 5.0)


def test_every_pair_of_kinds_has_a_row_or_a_reason() -> None:
    kinds = get_args(PartKind)
    for first in kinds:
        for second in kinds:
            row = row_for(part(first), part(second), Requirements())
            assert (row.kind is None) == bool(row.no_gap)
            assert row.kind is None or row.required_mm > 0


def test_requirements_of_the_job_are_used() -> None:
    row = row_for(part("caliper"), part("barrel"), Requirements(caliper_barrel_mm=1.25))
    assert row.required_mm == 1.25
