"""The four hub diameters: each boundary from both sides, and what to machine."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from clearturn.errors import InputError
from clearturn.result import HubResult, Verdict
from clearturn.trade.register import (
    FLANGE_IN_HAT,
    HOUSING_IN_HAT,
    HOUSING_SPOILS,
    ROTOR_REGISTER,
    KnownSize,
    Wanted,
    judge_in_hat,
    judge_register,
    wanted_fit,
)

WANTED = Wanted(0.010, 0.059, "H7/g6")


def register(shaft: float, hole: float, u_shaft: float = 0.0, u_hole: float = 0.0) -> HubResult:
    return judge_register(
        ROTOR_REGISTER,
        KnownSize(shaft, u_shaft, "test"),
        KnownSize(hole, u_hole, "test"),
        WANTED,
        hole_part="rotor hat",
        also_centres="wheel",
        edge_mm=16.5,
    )


def housing(shaft: float, hole: float, u_shaft: float = 0.0, **more: float) -> HubResult:
    return judge_in_hat(
        HOUSING_IN_HAT,
        KnownSize(shaft, u_shaft, "test"),
        KnownSize(hole, 0.0, "test"),
        0.8,
        shaft_part="bearing housing",
        spoils_if_turned=HOUSING_SPOILS,
        **more,
    )


EPS = 1e-6


@pytest.mark.parametrize(
    ("clearance", "u", "verdict"),
    [
        (0.010 + EPS, 0.0, Verdict.CLEARS),
        (0.010 - EPS, 0.0, Verdict.FAILS),
        (0.059 - EPS, 0.0, Verdict.CLEARS),
        (0.059 + EPS, 0.0, Verdict.FAILS),
        (0.015 + EPS, 0.005, Verdict.CLEARS),
        (0.015 - EPS, 0.005, Verdict.NOT_PROVEN),
        (0.005 + EPS, 0.005, Verdict.NOT_PROVEN),
        (0.005 - EPS, 0.005, Verdict.FAILS),
        (0.054 - EPS, 0.005, Verdict.CLEARS),
        (0.054 + EPS, 0.005, Verdict.NOT_PROVEN),
        (0.064 - EPS, 0.005, Verdict.NOT_PROVEN),
        (0.064 + EPS, 0.005, Verdict.FAILS),
    ],
)
def test_register_is_decided_by_iso_14253_on_both_ends(
    clearance: float, u: float, verdict: Verdict
) -> None:
    assert register(70.0, 70.0 + clearance, u_shaft=u).verdict is verdict


@pytest.mark.parametrize("hole", [70.0, 70.01, 70.02, 70.03, 70.04, 70.05, 70.06])
def test_scanned_bore_with_u_of_a_twentieth_cannot_decide_an_h7_g6(hole: float) -> None:
    found = register(70.0, hole, u_hole=0.05)
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.machine is None
    assert found.gauge_first is not None
    assert "bore gauge" in found.gauge_first
    assert "spigot" not in found.gauge_first  # known well enough


def test_uncertain_sizes_combine_by_root_sum_of_squares() -> None:
    # 3 and 4 hundredths make 5 (JCGM 100, eq. 10): decided one way just outside, open inside.
    wide = Wanted(0.10, 0.50, "test")

    def at(clearance: float) -> Verdict:
        return judge_register(
            ROTOR_REGISTER,
            KnownSize(70.0, 0.03, "t"),
            KnownSize(70.0 + clearance, 0.04, "t"),
            wide,
            hole_part="hat",
        ).verdict

    assert at(0.15 + EPS) is Verdict.CLEARS
    assert at(0.15 - EPS) is Verdict.NOT_PROVEN
    assert at(0.05 - EPS) is Verdict.FAILS


def test_small_bore_is_opened_over_the_spigot_as_it_is() -> None:
    found = register(70.0, 64.0, u_shaft=0.05, u_hole=0.02)
    assert found.verdict is Verdict.FAILS
    assert found.clearance_mm == pytest.approx(-6.0)
    assert found.machine is not None
    assert found.machine.part == "rotor hat"
    assert found.machine.to_diameter_mm == pytest.approx(70.010)
    assert found.machine.per_side_mm == pytest.approx(3.005)
    assert found.machine.tolerance == "+0.049 / 0 mm"
    assert found.gauge_first is not None
    assert "micrometer" in found.gauge_first
    assert any("also centres the wheel" in text for text in found.spoils)
    assert any("13.5 mm between bore and stud holes" in text for text in found.spoils)


def test_spigot_known_by_micrometer_needs_no_second_reading() -> None:
    assert register(69.985, 64.0, u_shaft=0.004).gauge_first is None


def test_bore_that_eats_into_the_stud_holes_is_told() -> None:
    found = judge_register(
        ROTOR_REGISTER, KnownSize(70.0, 0.0, "t"), KnownSize(50.0, 0.0, "t"), WANTED,
        hole_part="rotor hat", edge_mm=12.0,
    )  # fmt: skip
    assert any("only 2.0 mm" in text for text in found.spoils)


def test_large_bore_cannot_be_machined_back() -> None:
    found = register(70.0, 72.0)
    assert found.verdict is Verdict.FAILS
    assert found.machine is None
    assert "cannot be machined back" in found.needed


@pytest.mark.parametrize(
    ("shaft", "u", "verdict"),
    [
        (162.4 - EPS, 0.0, Verdict.CLEARS),
        (162.4 + EPS, 0.0, Verdict.FAILS),
        (162.3 - EPS, 0.1, Verdict.CLEARS),
        (162.3 + EPS, 0.1, Verdict.NOT_PROVEN),
        (162.5 - EPS, 0.1, Verdict.NOT_PROVEN),
        (162.5 + EPS, 0.1, Verdict.FAILS),
    ],
)
def test_housing_is_decided_on_both_sides_of_its_limit(
    shaft: float, u: float, verdict: Verdict
) -> None:
    assert housing(shaft, 164.0, u).verdict is verdict


def test_scan_decides_a_housing_two_millimetres_too_large() -> None:
    found = housing(164.8, 164.0, 0.06, wall_mm=9.0, least_wall_mm=6.0)
    assert found.verdict is Verdict.FAILS
    assert found.machine is not None
    assert found.machine.part == "bearing housing"
    assert found.machine.to_diameter_mm == pytest.approx(162.4)
    assert found.machine.per_side_mm == pytest.approx(1.2)
    assert found.gauge_first is None
    assert any("bearing must come out" in text for text in found.spoils)
    assert any("7.80 mm of 9.00 mm" in text for text in found.spoils)


def test_housing_that_would_become_too_thin_is_not_to_be_turned() -> None:
    found = housing(164.8, 164.0, wall_mm=7.0, least_wall_mm=6.0)
    assert any("do not turn it" in text for text in found.spoils)


def test_unknown_wall_is_asked_for() -> None:
    assert any("wall left" in text for text in housing(164.8, 164.0).spoils)


def test_close_housing_wants_a_reading_before_anything_is_cut() -> None:
    found = housing(162.45, 164.0, 0.1)
    assert found.verdict is Verdict.NOT_PROVEN
    assert found.gauge_first is not None
    assert "bearing housing" in found.gauge_first
    just = housing(162.55, 164.0, 0.1)
    assert just.verdict is Verdict.FAILS
    assert just.gauge_first is not None


def test_flange_with_room_clears_and_asks_for_nothing() -> None:
    found = judge_in_hat(
        FLANGE_IN_HAT, KnownSize(148.0, 0.1, "t"), KnownSize(164.0, 0.1, "t"), 0.8,
        shaft_part="hub flange",
    )  # fmt: skip
    assert (found.verdict, found.machine, found.gauge_first, found.spoils) == (
        Verdict.CLEARS, None, None, (),
    )  # fmt: skip


def test_h7_g6_at_50_is_the_handbook_example() -> None:
    # ISO 286 worked example, 50 H7/g6: clearance 9 to 50 µm (reference data, read second-hand).
    fit = wanted_fit(50.0, "H7/g6")
    assert (fit.least_mm, fit.most_mm) == pytest.approx((0.009, 0.050))


def test_h7_f7_at_60_is_the_handbook_example() -> None:
    # ISO 286 worked example, 60 H7/f7: clearance 30 to 90 µm.
    fit = wanted_fit(60.0, "H7/f7")
    assert (fit.least_mm, fit.most_mm) == pytest.approx((0.030, 0.090))


def test_h8_h7_at_67_is_the_handbook_example() -> None:
    # ISO 286 worked example, 67 H8/h7: clearance 0 to 76 µm.
    fit = wanted_fit(67.0, "H8/h7")
    assert (fit.least_mm, fit.most_mm) == pytest.approx((0.0, 0.076))


DATA = Path(__file__).resolve().parents[1] / "reference" / "data" / "iso286_limits.csv"


@pytest.mark.parametrize("fit", ["H7/g6", "H7/h6", "H8/f7", "H7/f7", "H6/g6", "H8/h7"])
@pytest.mark.parametrize("nominal", [50.0, 50.5, 80.0, 112.0, 120.0, 170.0, 180.5, 250.0])
def test_fits_are_those_of_the_table(nominal: float, fit: str) -> None:
    # ISO 286-2 limits, tests/reference/data/iso286_limits.csv (sources there).
    limits = {}
    with DATA.open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if float(row["over_mm"]) < nominal <= float(row["to_incl_mm"]):
                limits[row["class"]] = (float(row["lower_um"]), float(row["upper_um"]))
    hole, shaft = (limits[name] for name in fit.split("/"))
    found = wanted_fit(nominal, fit)
    assert found.least_mm == pytest.approx((hole[0] - shaft[1]) / 1000)
    assert found.most_mm == pytest.approx((hole[1] - shaft[0]) / 1000)


@pytest.mark.parametrize(("nominal", "fit"), [(900.0, "H7/g6"), (70.0, "Q7/g6"), (70.0, "H7/z6")])
def test_fit_outside_the_table_is_refused_by_name(nominal: float, fit: str) -> None:
    with pytest.raises(InputError, match="table"):
        wanted_fit(nominal, fit)


@pytest.mark.parametrize(("d", "u"), [(0.0, 0.0), (-5.0, 0.0), (70.0, -0.1), (float("nan"), 0.0)])
def test_sizes_that_make_no_sense_are_refused(d: float, u: float) -> None:
    with pytest.raises(InputError):
        KnownSize(d, u, "test")
