"""What can be entered into the sums, as it is read from their own classes."""

from __future__ import annotations

import json
from typing import Any

import pytest

from clearturn.samples import samples_folder
from clearturn.trade.balance import AxleBrake, LoadState, Pedal
from clearturn.trade.inputs import SumProblem
from clearturn.trade.materials import MATERIALS
from clearturn.trade.places import given, kind_at, missing, objects, openings, places
from clearturn.trade.sums import SUMS, read_sum

DEMO = json.loads((samples_folder() / "demo_sums.json").read_text(encoding="utf-8"))
BALANCE = SUMS["brake_balance"].inputs


def every_kind(kind: type, seen: set[type]) -> set[type]:
    """A sum's class and those of all objects it can hold, whether or not they are needed."""
    seen.add(kind)
    for one in openings(kind, {}):
        inner = kind_at(kind, one.path)
        if inner not in seen:
            every_kind(inner, seen)
    for place in places(kind):
        for depth in range(1, len(place.path)):
            inner = kind_at(kind, place.path[:depth])
            if inner not in seen:
                every_kind(inner, seen)
    return seen


@pytest.mark.parametrize("name", SUMS)
def test_every_place_of_every_sum_has_help(name: str) -> None:
    for kind in every_kind(SUMS[name].inputs, set()):
        for place in places(kind):
            assert place.help, (kind.__name__, place.path)
            assert place.help.endswith((".", ")", "`.")) or place.help[-1].isalnum()


def test_places_are_those_without_which_there_is_no_sum_and_those_beside_them() -> None:
    found = {place.path: place for place in places(BALANCE)}
    assert found["wheelbase_mm",].needed
    assert found["wheelbase_mm",].allowed.low == 500.0
    assert found["old_front", "piston_diameters_mm"].kind == "numbers"
    assert found["states", 0, "name"].kind == "text"
    assert not found["old_rear", "line_share"].needed
    assert found["old_rear", "line_share"].default == 1.0
    assert found["anti_lock",].kind == "yes"
    assert not any(path[0] in ("new_front", "pedal") for path in found)
    lugs = {place.path[1] for place in places(SUMS["bracket"].inputs) if place.path[0] == "lugs"}
    assert lugs == {0, 1}
    material = next(p for p in places(SUMS["heat"].inputs) if p.path == ("ring_material",))
    assert material.choices == tuple(MATERIALS)


@pytest.mark.parametrize("name", SUMS)
def test_needed_places_are_what_the_sum_asks_for(name: str) -> None:
    """Left out one by one of the demo's numbers; the sum itself says what is missing."""
    content = DEMO[name]
    for place in places(SUMS[name].inputs):
        cut = json.loads(json.dumps(content))
        here: Any = cut
        for step in place.path[:-1]:
            here = here[step]
        if here.pop(place.path[-1], None) is None:
            assert not place.needed
            continue
        if place.needed:
            with pytest.raises(SumProblem, match="a key is missing"):
                read_sum(name, cut)


@pytest.mark.parametrize("name", SUMS)
def test_what_is_given_is_every_number_and_word_of_the_content(name: str) -> None:
    def leaves(content: Any, path: tuple[Any, ...]) -> set[tuple[Any, ...]]:
        if isinstance(content, dict):
            return set().union(*(leaves(v, (*path, k)) for k, v in content.items()))
        if isinstance(content, list):
            return set().union(*(leaves(v, (*path, i)) for i, v in enumerate(content)))
        return {path}

    assert {place.path for place in given(SUMS[name].inputs, DEMO[name])} == leaves(DEMO[name], ())


def test_openings_are_what_a_sum_may_still_take() -> None:
    held = DEMO["brake_balance"]
    assert {one.path for one in openings(BALANCE, held)} == {("states", 2), ("new_rear",)}
    assert {one.path for one in openings(BALANCE, {})} == {
        ("states", 0), ("new_front",), ("new_rear",), ("pedal",),
    }  # fmt: skip
    assert kind_at(BALANCE, ("states", 2)) is LoadState
    assert kind_at(BALANCE, ("new_rear",)) is AxleBrake
    assert kind_at(BALANCE, ("pedal",)) is Pedal
    with pytest.raises(KeyError):
        kind_at(BALANCE, ("wheelbase_mm",))
    assert [path for path, _, _ in objects(BALANCE, held)] == [
        (), ("old_front",), ("old_rear",), ("states", 0), ("states", 1), ("new_front",), ("pedal",),
    ]  # fmt: skip


def test_missing_places_are_the_objects_own_and_lists_of_numbers() -> None:
    found = {place.path[0] for place in missing(AxleBrake, DEMO["brake_balance"]["old_front"])}
    assert found == {"piston_diameters_mm", "line_share"}
    typed = {**DEMO["run_out"], "rotor_mm": "0.01 0.02 0.03 0.01"}
    kinds = {p.path: p.kind for p in given(SUMS["run_out"].inputs, typed)}
    assert kinds["rotor_mm",] == "text"
    assert kinds["hub_face_mm", 0] == "number"
