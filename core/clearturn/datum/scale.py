"""Is the scan the right size: hand measurements of features against the scan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import chdtri

from clearturn.errors import InputError
from clearturn.findings import Finding
from clearturn.units import MM_PER

COVERAGE = 2.0  # JCGM 100: about 95 %
ScaleState = Literal["agrees", "off", "unclear"]
_UNIT_SHARE = 0.02  # this near to the ratio of two units a factor is no scanner's error


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
class Scaled:
    """The scan whose scale is checked, for the findings.

    Attributes
    ----------
    name : str
    radius_mm : float
        Where to tell what a wrong scale does: a wheel's radius, say.
    unit : str
        What its file's numbers are taken as.
    """

    name: str = ""
    radius_mm: float = 300.0
    unit: str = "mm"


@dataclass(frozen=True, slots=True)
class ScaleCheck:
    """What the scan must be multiplied by, and whether that is one.

    Attributes
    ----------
    factor, standard_uncertainty : float
    residual_mm : tuple of float
        Hand size less factor times scan size, for every pair.
    state : str
        "off": the factor differs from 1 by more than its expanded uncertainty.  "unclear": it
        does not, but the pairs contradict each other.  Else "agrees".
    findings : tuple of Finding
        "scale-off" and, where the factor looks like that of a unit, "scale-unit";
        "scale-unclear"; "scale-agrees".
    """

    factor: float
    standard_uncertainty: float
    residual_mm: tuple[float, ...]
    state: ScaleState
    findings: tuple[Finding, ...]

    @property
    def expanded_uncertainty(self) -> float:
        """Of the factor, k = 2."""
        return COVERAGE * self.standard_uncertainty


def check_scale(pairs: Sequence[SizePair], scan: Scaled | None = None) -> ScaleCheck:
    """Return the scale factor by weighted least squares of hand = factor × scan.

    Both sides are uncertain: the weight of a pair is 1/(u_hand² + factor² u_scan²), the factor
    found by repetition with each pair's adjusted scan size, which is the least sum of weighted
    squares on both sides (York 1966 without a constant term; from memory).  Where the pairs
    scatter more than their uncertainties allow, the uncertainty is widened by that (the ratio of
    Birge 1932; from memory).

    Parameters
    ----------
    pairs : sequence of SizePair
    scan : Scaled, optional

    Raises
    ------
    InputError
        If there is no pair, or a size or uncertainty makes no sense.
    """
    _refuse(pairs)
    size = np.array([p.scan_mm for p in pairs])
    hand = np.array([p.hand_mm for p in pairs])
    u_size = np.array([p.scan_standard_mm for p in pairs])
    u_hand = np.array([p.hand_standard_mm for p in pairs])
    factor = float((size * hand).sum() / (size**2).sum())
    for _ in range(50):
        weight = 1.0 / (u_hand**2 + (factor * u_size) ** 2)
        true = (size * u_hand**2 + factor * hand * u_size**2) * weight
        new = float((weight * true * hand).sum() / (weight * true * size).sum())
        if abs(new - factor) < 1e-15 * abs(new):
            break
        factor = new
    standard = 1.0 / math.sqrt(float((weight * true**2).sum()))
    residual = hand - factor * size
    worst = None
    free = len(pairs) - 1
    if free > 0:
        chi = float((weight * residual**2).sum())
        if chi > float(chdtri(free, 0.05)):
            standard *= math.sqrt(chi / free)
            worst = pairs[int(np.argmax(np.abs(residual) * np.sqrt(weight)))].name
    off = abs(factor - 1.0) > COVERAGE * standard
    state: ScaleState = "off" if off else "agrees" if worst is None else "unclear"
    findings = _findings(scan or Scaled(), state, factor, COVERAGE * standard, len(pairs), worst)
    return ScaleCheck(factor, standard, tuple(float(x) for x in residual), state, findings)


def _refuse(pairs: Sequence[SizePair]) -> None:
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


def _findings(
    scan: Scaled, state: ScaleState, factor: float, expanded: float, count: int, worst: str | None
) -> tuple[Finding, ...]:
    who = f"the scan {scan.name!r}" if scan.name else "the scan"
    at = f"{scan.radius_mm:.0f} mm from its middle"
    found = []
    if worst is not None:
        text = (
            f"the sizes of {who} measured by hand contradict each other, most of all {worst!r}: no "
            "one scale factor explains them; measure that one again"
        )
        found.append(Finding("scale-unclear", "warning", text))
    if state == "agrees":
        text = (
            f"{who} has the {'size' if count == 1 else 'sizes'} measured by hand: the factor is "
            f"{factor:.5f} ± {expanded:.5f} (k = 2), which leaves ±{expanded * scan.radius_mm:.2f} "
            f"mm {at}"
        )
        found.append(Finding("scale-agrees", "note", text))
    if state != "off":
        return tuple(found)
    unit = _unit_hint(factor, scan.unit)
    effect = (factor - 1.0) * scan.radius_mm
    way = "small" if effect > 0.0 else "large"
    text = (
        f"{who} must be multiplied by {factor:.5f} ± {expanded:.5f} (k = 2) to have the sizes "
        f"measured by hand: {at} it is {abs(effect):.2f} mm too {way}, and no gap to it holds"
    )
    if unit is None:
        text += "; scan it anew with a calibrated scanner, or have its program correct the scale, "
        text += "and take the new file into the job"
        if count == 1:
            text += "; first measure a second size: one alone may be a wrong reading"
    found.append(Finding("scale-off", "error", text))
    if unit is not None:
        found.append(Finding("scale-unit", "note", f"the factor of {who} {unit}"))
    return tuple(found)


def _unit_hint(factor: float, unit: str) -> str | None:
    """Return what to do if a factor is near the ratio of two length units."""
    ratios = {(a, b): MM_PER[a] / MM_PER[b] for a in MM_PER for b in MM_PER if a != b}
    near = [pair for pair, ratio in ratios.items() if abs(factor / ratio - 1.0) <= _UNIT_SHARE]
    for true, taken in near:
        is_near = f"is near {MM_PER[true] / MM_PER[taken]:.4g}, one {true} in {taken}"
        if taken == unit:
            return (
                f"{is_near}: the file's numbers are probably in {true}; set the scan's unit to "
                f"{true!r} and touch its datums anew, since their points are in mm after the unit"
            )
        return (
            f"{is_near}: on its way the file was probably converted once too often; export it "
            "again in mm"
        )
    return None
