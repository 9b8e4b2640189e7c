"""The decision rule: does a gap clear, does it fail, or is it not proven?

For a least gap only the lower limit matters.  ISO 14253-1 proves conformity where the value minus
its expanded uncertainty reaches the limit, and non-conformity where the value plus its expanded
uncertainty stays below it; between the two neither is proven.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from clearturn.errors import InputError
from clearturn.gap.model import Interval
from clearturn.result import Verdict

DEFAULT_COVERAGE = 2.0
COVERAGE_FACTORS = (2.0, 1.65)
"""Guard bands that may be chosen: 2 (two-sided 95 %) and 1.65 (one-sided 95 %)."""

_ORDER = {Verdict.CLEARS: 0, Verdict.NOT_PROVEN: 1, Verdict.FAILS: 2}


def guard_band_name(coverage_factor: float) -> str:
    """Return the sentence that names the guard band in a report.

    Raises
    ------
    InputError
        If the factor is none of `COVERAGE_FACTORS`.
    """
    if coverage_factor not in COVERAGE_FACTORS:
        raise InputError(
            "this coverage factor cannot be chosen",
            found=f"{coverage_factor:g}",
            allowed=" or ".join(f"{k:g}" for k in COVERAGE_FACTORS),
        )
    level = "two-sided" if coverage_factor == DEFAULT_COVERAGE else "one-sided"
    return f"ISO 14253-1, guard band U = {coverage_factor:g} u (about 95 %, {level})"


def decide(net: Interval, expanded_uncertainty_mm: float, required_mm: float) -> Verdict:
    """Judge a net gap against the gap required.

    Parameters
    ----------
    net : Interval
        Net gap, mm; an end that is not known is None.
    expanded_uncertainty_mm : float
        U = k u, mm; not negative.
    required_mm : float
        The least net gap that clears, mm.

    Returns
    -------
    Verdict
        ``CLEARS`` if net.lower − U ≥ required, ``FAILS`` if net.upper + U < required, else
        ``NOT_PROVEN`` (also where the end that would decide is not known).

    Raises
    ------
    InputError
        If U is negative or a number is not finite.
    """
    if not math.isfinite(expanded_uncertainty_mm) or expanded_uncertainty_mm < 0:
        raise InputError(
            "an expanded uncertainty must be a finite number, zero or more",
            found=f"{expanded_uncertainty_mm}",
        )
    if not math.isfinite(required_mm):
        raise InputError("a required gap must be a finite number", found=f"{required_mm}")
    if net.lower is not None and net.lower - expanded_uncertainty_mm >= required_mm:
        return Verdict.CLEARS
    if net.upper is not None and net.upper + expanded_uncertainty_mm < required_mm:
        return Verdict.FAILS
    return Verdict.NOT_PROVEN


def margin(net: Interval, expanded_uncertainty_mm: float, required_mm: float) -> float:
    """Return net lower − U − required, mm; minus infinity where no lower end is known."""
    if net.lower is None:
        return -math.inf
    return net.lower - expanded_uncertainty_mm - required_mm


def severity(verdict: Verdict) -> int:
    """Return how bad a verdict is: 0 clears, 1 not proven, 2 fails."""
    return _ORDER[verdict]


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst verdict; none at all is not proven."""
    found = list(verdicts)
    if not found:
        return Verdict.NOT_PROVEN
    return max(found, key=_ORDER.__getitem__)
