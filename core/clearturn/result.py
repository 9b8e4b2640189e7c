"""What a check of a job found: one frozen result that window, command line and report show.

Everything is in the hub frame, mm and degrees, unless a name says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from clearturn.findings import Finding
from clearturn.gap.model import Gap, Interval

if TYPE_CHECKING:
    from clearturn.drawing.model import Drawing
    from clearturn.job.model import Job
    from clearturn.mesh import Mesh
    from clearturn.trade.sums import SumsResult

Vector = NDArray[np.float64]


class Verdict(StrEnum):
    """The three answers of the decision rule (ISO 14253-1)."""

    CLEARS = "clears"
    FAILS = "fails"
    NOT_PROVEN = "not proven"


class Motion(StrEnum):
    """How a part moves while the wheel turns."""

    TURNS = "turns"
    FIXED = "fixed"
    POSED = "posed"


@dataclass(frozen=True, slots=True)
class PlacedPart:
    """A part where it sits in the hub frame."""

    name: str
    kind: str  # "wheel", "rotor", "caliper", "knuckle", "bearing housing", "tie rod", …
    motion: Motion
    mesh: Mesh  # in the hub frame
    source: str  # "scan knuckle.stl", "dimensions", …
    sigma_mm: float = 0.0  # noise of the surface; 0 for a part from dimensions
    # L of the noise's correlation exp(−d²/2L²), where the datums' fits tell it.
    correlation_mm: float | None = None
    invented: Mesh | None = None  # those of its faces that close holes of the scan


@dataclass(frozen=True, slots=True)
class Allowance:
    """One amount that is taken off a gap before it is judged.

    Attributes
    ----------
    kind : str
        "shift" (a signed displacement, projected), "always costs" or "random".
    value_mm : float
        The amount as entered.
    applied_mm : float
        What it takes off this pair's gap after projection (negative: it gives); for "random" the
        standard uncertainty it adds.
    """

    name: str
    kind: str
    value_mm: float
    direction: str
    applied_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One contribution to a pair's standard uncertainty (JCGM 100)."""

    name: str
    standard_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class Cure:
    """A change that would clear a pair, checked on all pairs.

    ``change`` is one of the contract's words: spacer, move caliper inward, trim caliper,
    rotor offset, smaller rotor, larger wheel.
    """

    change: str
    amount_mm: float
    side_effects: tuple[str, ...] = ()
    clears_all: bool = False
    offered_mm: float | None = None  # the next amount that can be had, checked too
    keeps: bool = True  # whether every pair that clears now still does


@dataclass(frozen=True, slots=True)
class JointCure:
    """Two changes that clear a pair together where neither does alone, checked on all pairs.

    Attributes
    ----------
    changes : ((word, amount mm), (word, amount mm))
        In sizes that can be had.
    """

    changes: tuple[tuple[str, float], tuple[str, float]]
    side_effects: tuple[str, ...] = ()
    clears_all: bool = False


@dataclass(frozen=True, slots=True)
class FitLimit:
    """The largest or smallest of something that still clears wherever the corner clears now.

    Attributes
    ----------
    what : str
        "largest ring", "highest caliper", "widest caliper" or "smallest rim".
    change_mm : float
        Against what is there, in sizes that can be had: of a diameter for ring and rim, of a height
        or width for a caliper.
    size_mm : float or None
        The size itself, where the part's dimensions are known.
    stopped_by : str
        The pair that fails at the next size; empty if the search ended first.
    told : tuple of str
    """

    what: str
    change_mm: float
    size_mm: float | None
    stopped_by: str
    told: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """One connected place below the requirement."""

    worst_mm: float
    area_mm2: float
    clock_deg: float
    r_mm: float
    z_mm: float
    point_mm: Vector
    faces: NDArray[np.int64]  # of the pair's first part


@dataclass(frozen=True, slots=True)
class PairResult:
    """One pair of parts: gap, budget, verdict and cure."""

    first: str
    second: str
    kind: str  # "caliper–barrel", …: the row of the requirement table
    motion: str  # "turning" or "still"
    gap: Gap
    noise_bias_mm: float
    estimate_mm: Interval
    allowances: tuple[Allowance, ...]
    allowances_mm: float
    net_gap_mm: Interval
    budget: tuple[BudgetLine, ...]
    expanded_uncertainty_mm: float
    worst_case_mm: float  # net gap with all random contributions added, not combined
    required_mm: float
    margin_mm: float
    verdict: Verdict
    clock_deg: float
    r_mm: float
    z_mm: float
    would_clear: tuple[Cure, ...] = ()
    would_clear_together: tuple[JointCure, ...] = ()
    settle_by: str | None = None  # for a "not proven": the measurement that would settle it
    places: tuple[Place, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def least_mm(self) -> float | None:
        """The least gap as every view tells it: the estimate's lower end, which margins rest on."""
        return self.estimate_mm.lower


@dataclass(frozen=True, slots=True)
class Machining:
    """What to machine to which size."""

    part: str
    to_diameter_mm: float
    per_side_mm: float
    tolerance: str


@dataclass(frozen=True, slots=True)
class HubResult:
    """One of the four hub diameters.

    Attributes
    ----------
    check : str
        "rotor register", "wheel register", "flange in hat" or "housing in hat".
    axle : str
        "front" or "rear" in a job of two axles, else empty.
    """

    check: str
    shaft_mm: float
    shaft_uncertainty_mm: float
    shaft_source: str
    hole_mm: float
    hole_uncertainty_mm: float
    hole_source: str
    needed: str
    clearance_mm: float  # diametral: hole minus shaft
    machine: Machining | None
    gauge_first: str | None
    spoils: tuple[str, ...]
    verdict: Verdict
    axle: str = ""

    @property
    def name(self) -> str:
        """The check with its axle, where there are two."""
        return f"{self.axle} {self.check}".lstrip()


@dataclass(frozen=True, slots=True)
class AccessResult:
    """Whether a tool, a pad or the wheel gets along its way.

    Attributes
    ----------
    what : str
        "bolt out", "pad out", "spanner on" or "wheel on".
    against : str
        The part nearest to it.
    gap_mm : Interval or None
        Certified least gap along the whole way; None where nothing stands near it.
    way_mm : float or None
        Of the wheel.
    told : tuple of str
        What was taken off or left out, and what was compared.
    """

    name: str
    what: str
    required_mm: float
    verdict: Verdict
    against: str = ""
    gap_mm: Interval | None = None
    expanded_uncertainty_mm: float | None = None
    margin_mm: float | None = None
    clock_deg: float | None = None
    r_mm: float | None = None
    z_mm: float | None = None
    way_mm: float | None = None
    told: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class DatumResult:
    """One fitted datum of a scan and how far to trust it."""

    part: str
    name: str
    feature: str
    rms_mm: float
    form_mm: float
    points: int
    effective_points: float
    standard_uncertainty: str  # in words, with unit: "axis ±0.004 mm, ±0.01 mrad"
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class ComparedSize:
    """A size measured by hand and the same in the scan; uncertainties expanded, k = 2."""

    name: str
    kind: str  # "diameter" or "distance"
    datums: tuple[str, ...]
    instrument: str
    hand_mm: float
    hand_uncertainty_mm: float
    scan_mm: float
    scan_uncertainty_mm: float
    residual_mm: float  # what the factor leaves: hand size less factor times the scan's

    @property
    def difference_mm(self) -> float:
        """The scan's size less the hand's."""
        return self.scan_mm - self.hand_mm


@dataclass(frozen=True, slots=True)
class SizeCheck:
    """A scan against sizes measured by hand.

    Attributes
    ----------
    state : str
        "agrees", "off" (the factor is not 1) or "unclear" (the sizes contradict each other).
    factor, expanded_uncertainty : float
        What the scan must be multiplied by; k = 2.
    radius_mm : float
        Half the longest side of the scan's largest piece; of a wheel its radius.
    """

    scan: str
    state: str
    factor: float
    expanded_uncertainty: float
    radius_mm: float
    sizes: tuple[ComparedSize, ...]

    @property
    def off_mm(self) -> float:
        """What the factor asks for at `radius_mm`; positive if the scan is too small."""
        return (self.factor - 1.0) * self.radius_mm

    @property
    def off_uncertainty_mm(self) -> float:
        """Expanded uncertainty of `off_mm`, k = 2."""
        return self.expanded_uncertainty * self.radius_mm


@dataclass(frozen=True, slots=True)
class CheckResult:
    """All that a check of a job found.

    Attributes
    ----------
    limits : tuple of FitLimit
        What else would still fit.
    access : tuple of AccessResult
        What must be workable, as far as the job asks; counts in the verdict.
    sums : SumsResult or None
        The trade sums of the job; they do not bear on the verdict.
    size_checks : tuple of SizeCheck
        Scans against sizes measured by hand; one that is off leaves the job unproven.
    """

    job: Job
    job_sha256: str
    verdict: Verdict
    parts: tuple[PlacedPart, ...]
    datums: tuple[DatumResult, ...]
    pairs: tuple[PairResult, ...]
    hub: tuple[HubResult, ...]
    turn_section: Drawing | None
    not_checked: tuple[str, ...]
    findings: tuple[Finding, ...] = field(default=())
    limits: tuple[FitLimit, ...] = ()
    access: tuple[AccessResult, ...] = ()
    sums: SumsResult | None = None
    size_checks: tuple[SizeCheck, ...] = ()
