"""The hub diameters of a corner: sizes from scan, dimensions or the user, and their checks."""

from __future__ import annotations

import math
from collections.abc import Mapping

from clearturn.datum import Fit
from clearturn.errors import JobProblem
from clearturn.job import model
from clearturn.result import HubResult
from clearturn.trade.register import (
    FLANGE_IN_HAT,
    FLANGE_SPOILS,
    HOUSING_IN_HAT,
    HOUSING_SPOILS,
    ROTOR_REGISTER,
    WHEEL_REGISTER,
    KnownSize,
    Wanted,
    judge_in_hat,
    judge_register,
    wanted_fit,
)

_NOMINAL_STEP_MM = 0.5  # registers are drawn to whole or half millimetres; some hundredths are fit


def hub_results(
    corner: model.Corner, fits: Mapping[str, Fit]
) -> tuple[tuple[HubResult, ...], tuple[str, ...]]:
    """Judge the hub diameters that the job names.

    Returns
    -------
    results : tuple of HubResult
    not_checked : tuple of str
        A sentence for each diameter that is not named.
    """
    checks = corner.hub_checks
    results, missing = [], []
    if checks.rotor_register is not None:
        results.append(_register(ROTOR_REGISTER, checks.rotor_register, corner, fits))
    else:
        missing.append(ROTOR_REGISTER)
    if checks.wheel_register is not None:
        results.append(_register(WHEEL_REGISTER, checks.wheel_register, corner, fits))
    else:
        missing.append(WHEEL_REGISTER)
    if checks.flange_in_hat is not None:
        results.append(_in_hat(FLANGE_IN_HAT, checks.flange_in_hat, corner, fits))
    else:
        missing.append(FLANGE_IN_HAT)
    if checks.housing_in_hat is not None:
        results.append(_in_hat(HOUSING_IN_HAT, checks.housing_in_hat, corner, fits))
    else:
        missing.append(HOUSING_IN_HAT)
    return tuple(results), tuple(f"hub diameter: {name}" for name in missing)


def _register(
    name: str, check: model.RegisterCheck, corner: model.Corner, fits: Mapping[str, Fit]
) -> HubResult:
    is_rotor = name == ROTOR_REGISTER
    shaft = known_size(check.shaft, corner, fits)
    hole = known_size(check.hole, corner, fits, "bore_diameter_mm" if is_rotor else None)
    if check.clearance_from_mm is not None and check.clearance_to_mm is not None:
        wanted = Wanted(check.clearance_from_mm, check.clearance_to_mm, "as the job asks")
    else:
        nominal = round(shaft.diameter_mm / _NOMINAL_STEP_MM) * _NOMINAL_STEP_MM
        wanted = wanted_fit(nominal, check.fit)
    return judge_register(
        name,
        shaft,
        hole,
        wanted,
        hole_part="rotor hat" if is_rotor else "wheel",
        also_centres=check.also_centres,
        edge_mm=_edge(corner, hole) if is_rotor else None,
    )


def _edge(corner: model.Corner, bore: KnownSize) -> float | None:
    rotor = corner.rotor
    if rotor is None:
        return None
    return (rotor.bolt_circle_diameter_mm - rotor.bolt_hole_diameter_mm - bore.diameter_mm) / 2.0


def _in_hat(
    name: str, check: model.HatCheck, corner: model.Corner, fits: Mapping[str, Fit]
) -> HubResult:
    is_housing = name == HOUSING_IN_HAT
    need = corner.requirements
    return judge_in_hat(
        name,
        known_size(check.shaft, corner, fits),
        known_size(check.hole, corner, fits, "hat_inner_diameter_mm"),
        need.housing_in_hat_per_side_mm if is_housing else need.flange_in_hat_per_side_mm,
        shaft_part="bearing housing" if is_housing else "hub flange",
        wall_mm=check.wall_mm,
        least_wall_mm=check.least_wall_mm,
        spoils_if_turned=HOUSING_SPOILS if is_housing else FLANGE_SPOILS,
    )


def known_size(
    size: model.Size,
    corner: model.Corner,
    fits: Mapping[str, Fit],
    dimension: str | None = None,
) -> KnownSize:
    """Return a diameter with its expanded uncertainty (k = 2) and source in words.

    Parameters
    ----------
    dimension : str, optional
        The rotor dimension that holds it, for source "dimensions".
    """
    if size.source == "scan":
        return _scanned(size, fits)
    if size.source == "dimensions":
        if corner.rotor is None or dimension is None:  # the rules of the job file refuse it before
            raise JobProblem("no dimensions of the corner hold this size")
        value = float(getattr(corner.rotor, dimension))
        words = f"rotor dimensions{_noted(size)}"
        return KnownSize(value, size.uncertainty_mm or 0.0, words)
    return KnownSize(
        size.value_mm or 0.0, size.uncertainty_mm or 0.0, f"{size.source}{_noted(size)}"
    )


def _scanned(size: model.Size, fits: Mapping[str, Fit]) -> KnownSize:
    fit = fits[size.datum or ""]
    radius = fit.radius_mm
    standard = fit.standard_uncertainty.radius_mm
    if radius is None:  # the rules of the job file refuse it before
        raise JobProblem("this feature has no diameter", place=f"datum {size.datum!r}")
    if standard is None or not math.isfinite(standard):
        raise JobProblem(
            "the scan holds too few points to say how sure this diameter is",
            place=f"datum {size.datum!r}",
            mend="touch it in more places, or measure it",
        )
    # On the diameter: twice the fit's, and the scan's own limit as a rectangle (JCGM 100, 4.3.7).
    combined = math.hypot(2.0 * standard, size.bias_limit_mm / math.sqrt(3.0))
    return KnownSize(2.0 * radius, 2.0 * combined, f"scan, {size.datum}{_noted(size)}")


def _noted(size: model.Size) -> str:
    return f" ({size.note})" if size.note else ""
