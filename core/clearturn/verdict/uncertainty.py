"""Standard uncertainties and how they combine (JCGM 100:2008, "GUM").

A contribution keeps its limit beside its standard uncertainty, so that a worst-case sum can stand
beside the root sum of squares.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from clearturn.errors import InputError
from clearturn.result import BudgetLine


@dataclass(frozen=True, slots=True)
class Contribution:
    """One contribution to a pair's uncertainty, already projected on the gap.

    Attributes
    ----------
    name, source : str
    standard_mm : float
        Standard uncertainty it gives the gap.
    limit_mm : float or None
        Largest error it can cause, if the source states a limit; None for a statistical one,
        which enters the worst-case sum at the coverage factor.
    degrees_of_freedom : float
        Infinite unless the estimate rests on few readings.
    """

    name: str
    standard_mm: float
    source: str
    limit_mm: float | None = None
    degrees_of_freedom: float = math.inf

    def line(self) -> BudgetLine:
        """Return it as a line of the budget."""
        return BudgetLine(self.name, self.standard_mm, self.source)


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a value anywhere in ±half_width (GUM 4.3.7): a/√3."""
    return abs(half_width) / math.sqrt(3.0)


def triangular(half_width: float) -> float:
    """Return the standard uncertainty of a triangular distribution (GUM 4.3.9): a/√6."""
    return abs(half_width) / math.sqrt(6.0)


def arcsine(half_width: float) -> float:
    """Return the standard uncertainty of a value that swings as a sine (GUM H.1.3.4): a/√2."""
    return abs(half_width) / math.sqrt(2.0)


def within_limit(name: str, half_width_mm: float, source: str) -> Contribution:
    """Return the contribution of something stated as a limit ±half_width (rectangular)."""
    return Contribution(name, rectangular(half_width_mm), source, limit_mm=abs(half_width_mm))


def combine(standards: Iterable[float]) -> float:
    """Return the combined standard uncertainty of independent contributions (GUM eq. 10).

    Raises
    ------
    InputError
        If a contribution is negative or not finite.
    """
    total = 0.0
    for u in standards:
        if not math.isfinite(u) or u < 0:
            raise InputError(
                "a standard uncertainty must be a finite number, zero or more", found=f"{u}"
            )
        total = math.hypot(total, u)
    return total


def combine_sensitivities(sensitivities: ArrayLike, covariance: ArrayLike) -> float:
    """Return √(cᵀ C c), the combined standard uncertainty of correlated inputs (GUM eq. 13).

    Parameters
    ----------
    sensitivities : (n,) array_like
        Partial derivatives.
    covariance : (n, n) array_like
        Covariance of the inputs.

    Raises
    ------
    InputError
        If shapes do not fit, a number is not finite or the variance comes out negative.
    """
    c = np.asarray(sensitivities, dtype=np.float64)
    cov = np.asarray(covariance, dtype=np.float64)
    if c.ndim != 1 or cov.shape != (len(c), len(c)):
        raise InputError(
            "a covariance must be square and fit the sensitivities",
            found=f"{cov.shape} for {c.shape}",
        )
    variance = float(c @ cov @ c)
    scale = float(np.abs(c) @ np.abs(cov) @ np.abs(c))
    if not math.isfinite(variance) or variance < -1e-12 * max(scale, 1e-300):
        raise InputError("this covariance gives a negative variance", found=f"{variance:g}")
    return math.sqrt(max(variance, 0.0))


def effective_degrees_of_freedom(
    standards: Sequence[float], degrees_of_freedom: Sequence[float]
) -> float:
    """Return the Welch–Satterthwaite effective degrees of freedom (GUM eq. G.2b)."""
    u = combine(standards)
    share = sum(
        (part / u) ** 4 / nu
        for part, nu in zip(standards, degrees_of_freedom, strict=True)
        if part > 0 and math.isfinite(nu)
    )
    return math.inf if share <= 0 else 1.0 / share


def coverage_factor(probability: float, degrees_of_freedom: float) -> float:
    """Return the two-sided coverage factor of Student's t (GUM G.3), ν rounded down (G.4.1)."""
    if not 0.0 < probability < 1.0:
        raise InputError(
            "a coverage probability must lie between 0 and 1", found=f"{probability:g}"
        )
    tail = 0.5 * (1.0 + probability)
    if not math.isfinite(degrees_of_freedom):
        return float(ndtri(tail))
    if degrees_of_freedom < 1:
        raise InputError(
            "an uncertainty needs at least one degree of freedom", found=f"{degrees_of_freedom:g}"
        )
    return float(stdtrit(math.floor(degrees_of_freedom), tail))


def worst_case_sum(contributions: Iterable[Contribution], k: float) -> float:
    """Return the sum of all contributions, each at its limit (or k times its standard), mm."""
    return math.fsum(
        c.limit_mm if c.limit_mm is not None else k * c.standard_mm for c in contributions
    )
