"""What is proposed on a scan, how sure that is, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from clearturn.datum import Fit, SpinAxis
from clearturn.findings import Finding

Array = NDArray[np.float64]
Vec3 = tuple[float, float, float]
PartWord = Literal["knuckle", "wheel"]

SURE = 0.8  # from here on a proposal may be accepted after one look
MOST = 0.99  # a shape can always be something else
DOUBTFUL = 0.5  # below it the user should touch the feature instead


@dataclass(frozen=True, slots=True)
class Proposed:
    """One feature proposed on a scan.

    Attributes
    ----------
    name : str
        "hub face", "register", "stud 1" …: the name the datum gets in the job.
    feature : str or None
        "plane" or "cylinder": what the datum is fitted as; None for what is no datum of its own
        (a bolt circle, the split, the rim's size).
    seeds_mm : points in the scan's coordinates
        Where to touch so that the patches grown from there give the feature.
    limit_mm, normal_deg : float or None
        Limits of growing, where the program's own would run over the edge.
    fit : Fit or None
        The feature as the job would fit it.
    values : mapping
        Numbers by name, with units in the names; heights and radii about the proposed axis.
    confidence : float
        0 to 1, the product of what speaks for and against it; not a probability.
    why, doubts : tuple of str
        What speaks for and against, with the numbers.
    """

    name: str
    feature: str | None
    seeds_mm: tuple[Vec3, ...]
    limit_mm: float | None
    normal_deg: float | None
    fit: Fit | None
    values: Mapping[str, Any]
    confidence: float
    why: tuple[str, ...]
    doubts: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the proposal as the contract's JSON object."""
        return {
            "name": self.name,
            "feature": self.feature,
            "confidence": round(self.confidence, 3),
            "seeds_mm": [list(seed) for seed in self.seeds_mm],
            "limit_mm": self.limit_mm,
            "normal_deg": self.normal_deg,
            "values": dict(self.values),
            "fit": None if self.fit is None else self.fit.as_json(),
            "why": list(self.why),
            "doubts": list(self.doubts),
        }


@dataclass(frozen=True, slots=True)
class NotFound:
    """A feature that was looked for in vain, and why nothing is proposed."""

    name: str
    reason: str


@dataclass(frozen=True)
class Proposals:
    """All that is proposed on one scan.

    Attributes
    ----------
    part : {"knuckle", "wheel"}
    axis : SpinAxis
        From the turned surfaces.
    part_from_scan : (4, 4) ndarray
        Row-major; origin where the axis meets hub face or pad, Z outboard, Y up where the up
        direction was given, else free.
    proposed : tuple of Proposed
    not_found : tuple of NotFound
    findings : tuple of Finding
    """

    part: PartWord
    axis: SpinAxis
    part_from_scan: Array
    proposed: tuple[Proposed, ...]
    not_found: tuple[NotFound, ...]
    findings: tuple[Finding, ...] = ()

    def named(self, name: str) -> Proposed | None:
        """Return the proposal of a name, or None."""
        return next((one for one in self.proposed if one.name == name), None)

    def as_json(self) -> dict[str, Any]:
        """Return everything as the contract's JSON object."""
        return {
            "part": self.part,
            "axis": {
                "point_mm": self.axis.point_mm.tolist(),
                "direction": self.part_from_scan[2, :3].tolist(),
                "scale_mm": self.axis.scale_mm,
                "share": self.axis.share,
                "arc_deg": self.axis.arc_deg,
            },
            "part_from_scan": self.part_from_scan.tolist(),
            "proposed": [one.as_json() for one in self.proposed],
            "not_found": [{"name": one.name, "reason": one.reason} for one in self.not_found],
            "findings": [one.as_json() for one in self.findings],
        }


@dataclass(slots=True)
class Scales:
    """Collects what speaks for and against a proposal while it is being made."""

    confidence: float = 1.0
    why: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)

    def weigh(self, factor: float, text: str) -> Scales:
        """Take a factor between 0 and 1 into the confidence, with its reason."""
        factor = min(max(factor, 0.0), 1.0)
        self.confidence *= factor
        (self.why if factor >= 0.9 else self.doubts).append(text)
        return self

    @property
    def result(self) -> float:
        """The confidence, never a certainty."""
        return float(min(self.confidence, MOST))

    def copy(self) -> Scales:
        """Return scales of their own with the same weights on them."""
        return Scales(self.confidence, list(self.why), list(self.doubts))
