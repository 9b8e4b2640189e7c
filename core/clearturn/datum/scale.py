"""Is the scan the right size: hand measurements of features against the scan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from clearturn.errors import InputError
from clearturn.findings import Finding

COVERAGE = 2.0  # JCGM 100: about 95 %


@dataclass(frozen=True, slots=True)
class SizePair:
    """One size measured by hand and in the scan.

    Attributes
    ----------
    name : str
    scan_mm, scan_standard_mm : float
        Size in the scan (a fitted diameter, a distance of two planes) and its standard
        uncertainty.
    hand_mm, hand_standard_mm : float
        The same by caliper, micrometer or a certified bar.
    """

    name: str
    scan_mm: float
    scan_standard_mm: float
    hand_mm: float
    hand_standard_mm: float


@dataclass(frozen=True, slots=True)
class ScaleCheck:
    """What the scan must be multiplied by, and whether that is one.

    Attributes
    ----------
    factor, standard_uncertainty : float
    residual_mm : tuple of float
        Hand size less factor times scan size, for every pair.
    findings : tuple of Finding
        "scale-off" if the factor differs from 1 by more than its expanded uncertainty,
        "scale-unclear" if the pairs contradict each other.
    """

    factor: float
    standard_uncertainty: float
    residual_mm: tuple[float, ...]
    findings: tuple[Finding, ...]


def check_scale(pairs: Sequence[SizePair]) -> ScaleCheck:
    """Return the scale factor by weighted least squares of hand = factor × scan.

    Both sides are uncertain: the weight of a pair is 1/(u_hand² + factor² u_scan²), the factor
    found by repetition (York's method without a constant term; from memory).  Where the pairs
    scatter more than their uncertainties allow, the uncertainty is widened by that (the ratio of
    Birge 1932; from memory).

    Raises
    ------
    InputError
        If there is no pair, or a size or uncertainty makes no sense.
    """
    if not pairs:
        raise InputError("a scale check needs at least one measured size")
    for pair in pairs:
        numbers = (pair.scan_mm, pair.scan_standard_mm, pair.hand_mm, pair.hand_standard_mm)
        if not all(math.isfinite(x) and x >= 0.0 for x in numbers) or pair.hand_mm == 0.0:
            raise InputError("a size must be a positive number", place=pair.name)
        if pair.scan_mm == 0.0 or pair.scan_standard_mm + pair.hand_standard_mm == 0.0:
            raise InputError(
                "a size needs an uncertainty above zero",
                place=pair.name,
                mend="state how sure the hand measurement is: 0.02 mm for a caliper, say",
            )
    scan = np.array([p.scan_mm for p in pairs])
    hand = np.array([p.hand_mm for p in pairs])
    u_scan = np.array([p.scan_standard_mm for p in pairs])
    u_hand = np.array([p.hand_standard_mm for p in pairs])
    factor = float((scan * hand).sum() / (scan**2).sum())
    for _ in range(50):
        weight = 1.0 / (u_hand**2 + (factor * u_scan) ** 2)
        new = float((weight * scan * hand).sum() / (weight * scan**2).sum())
        if abs(new - factor) < 1e-15 * abs(new):
            break
        factor = new
    standard = 1.0 / math.sqrt(float((weight * scan**2).sum()))
    residual = hand - factor * scan
    findings = []
    free = len(pairs) - 1
    if free > 0:
        chi = float((weight * residual**2).sum())
        if chi > float(chdtri(free, 0.05)):
            standard *= math.sqrt(chi / free)
            worst = pairs[int(np.argmax(np.abs(residual) * np.sqrt(weight)))].name
            findings.append(
                Finding(
                    "scale-unclear",
                    "warning",
                    f"The measured sizes contradict each other, most of all {worst}: no one "
                    "scale factor explains them.",
                )
            )
    if abs(factor - 1.0) > COVERAGE * standard:
        findings.append(
            Finding(
                "scale-off",
                "warning",
                f"The scan must be multiplied by {factor:.5f} ± {COVERAGE * standard:.5f}: at "
                f"300 mm it is {300.0 * (factor - 1.0):+.2f} mm off.",
            )
        )
    return ScaleCheck(factor, standard, tuple(float(x) for x in residual), tuple(findings))
