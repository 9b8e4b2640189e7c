"""Hub diameters: metal left, measured registers, nonsense."""

from __future__ import annotations

import pytest

from clearturn.errors import InputError
from clearturn.trade import hub_fits
from clearturn.trade.hub_fits import Housing, HubFits, JackingHoles, Register, StudHoles
from clearturn.trade.inputs import read_inputs


def measured(clearance: float, uncertainty: float) -> Register:
    return Register(
        "hat", 70.0, "steel 42CrMo4", "steel 42CrMo4", 120.0, 120.0,
        hole_mm=70.0 + clearance, shaft_mm=70.0,
        hole_uncertainty_mm=uncertainty, expansion_uncertainty_percent=0.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("clearance", "uncertainty", "word"),
    [(0.03, 0.01, "clears"), (0.01, 0.01, "clears"), (0.005, 0.01, "not proven"),
     (-0.005, 0.01, "not proven"), (-0.011, 0.01, "fails")],
)  # fmt: skip
def test_measured_register_is_judged_with_its_uncertainty(
    clearance: float, uncertainty: float, word: str
) -> None:
    # Same metal, same temperature: the clearance only scales, so hot is cold.
    assert hub_fits.sheet(HubFits((measured(clearance, uncertainty),))).word == word


def test_housing_is_turned_to_the_hat_less_both_sides_and_loses_wall() -> None:
    room = hub_fits.housing_room(Housing(164.8, 164.0, 0.8, wall_mm=9.0, seal_land_mm=5.0))
    assert room.largest_mm == pytest.approx(162.4)
    assert room.turn_off_per_side_mm == pytest.approx(1.2)
    assert room.wall_left_mm == pytest.approx(7.8)
    assert room.seal_land_left_mm == pytest.approx(3.8)


def test_housing_with_room_is_not_turned() -> None:
    room = hub_fits.housing_room(Housing(160.0, 164.0, 0.8))
    assert room.turn_off_per_side_mm == 0.0
    assert room.wall_left_mm is None


def test_unknown_wall_is_told_and_not_guessed() -> None:
    sheet = hub_fits.sheet(HubFits(housing=Housing(164.8, 164.0)))
    assert [ruling.found for ruling in sheet.rulings[1:]] == ["unknown", "unknown"]
    assert {ruling.word for ruling in sheet.rulings[1:]} == {"not proven"}
    roomy = hub_fits.sheet(HubFits(housing=Housing(160.0, 164.0)))
    assert [ruling.word for ruling in roomy.rulings] == ["clears"]


@pytest.mark.parametrize(
    ("housing", "word"),
    # A side: 0.80 asked; U of the diameters 0.1, so 0.05 a side.
    [(162.2, "clears"), (162.35, "not proven"), (162.45, "not proven"), (162.6, "fails"),
     (164.8, "fails")],
)  # fmt: skip
def test_housing_that_does_not_turn_in_the_hat_fails(housing: float, word: str) -> None:
    sheet = hub_fits.sheet(HubFits(housing=Housing(housing, 164.0, wall_mm=9.0, seal_land_mm=9.0)))
    assert sheet.rulings[0].word == word
    assert sheet.word == word


def test_edges_of_holes() -> None:
    holes = StudHoles(70.0, 112.0, 15.0, 5)
    assert hub_fits.stud_edge_mm(holes) == pytest.approx(13.5)
    # On the bolt circle half-way between two studs: chord 2·56·sin 18° less both radii.
    small = StudHoles(20.0, 112.0, 15.0, 5)
    jacks = JackingHoles(8.0, 1, 112.0, 36.0)
    assert hub_fits.jacking_edge_mm(jacks, small) == pytest.approx(112 * 0.30901699 - 11.5)


@pytest.mark.parametrize(
    ("content", "named"),
    [
        ({"registers": [{"name": "a"}]}, r"registers\[0\]\.nominal_mm: a key is missing"),
        ({"housing": {"housing_mm": -1.0, "hat_inner_mm": 164.0}}, r"housing\.housing_mm: out of"),
        ({"housing": {"housing_mm": 1.0, "hat_inner_mm": True}}, r"housing\.hat_inner_mm"),
        ({"housings": {}}, r"housings: this key is not known"),
        ({"stud_holes": {"bore_mm": 70, "bolt_circle_mm": 80, "hole_mm": 15, "count": 5}},
         r"stud_holes\.bolt_circle_mm: the stud holes break into the bore, found 80"),
        ({"registers": [{"name": "a", "nominal_mm": 70, "hole_material": "cheese",
          "shaft_material": "steel 42CrMo4", "hole_hot_c": 80, "shaft_hot_c": 80}]},
         r"registers\[0\]\.hole_material: this material is not in the table, found 'cheese'"),
        ({"registers": [{"name": "a", "nominal_mm": 70, "hole_material": "Ti-6Al-4V",
          "shaft_material": "steel 42CrMo4", "hole_hot_c": 80, "shaft_hot_c": 80,
          "fit": "g6/H7"}]}, r"registers\[0\]\.fit: not a fit"),
        ([], "an object"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_by_name(content: object, named: str) -> None:
    with pytest.raises(InputError, match=named):
        read_inputs(HubFits, content)


def test_same_nonsense_is_refused_when_made_in_code() -> None:
    with pytest.raises(InputError, match="housing_mm: out of range, found -1"):
        Housing(-1.0, 164.0)
    with pytest.raises(InputError, match="hat_inner_mm: a finite number"):
        Housing(1.0, float("nan"))
