"""The job model: frozen slotted dataclasses, the same ones the job file is read into.

Lengths are mm, angles degrees.  Coordinates named ``seed_mm``, ``outboard`` and ``up`` are those of
the scan file after its unit (the scanner's own pose); everything else is in the hub frame, or for
the wheel scan in the wheel's frame (origin on the pad plane, Z outboard along its axis).
docs/job-file.md explains every key.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar, Literal

from pydantic import ConfigDict, Discriminator

from clearturn.envelope.dimensions import (
    BracketDimensions,
    CaliperDimensions,
    RotorDimensions,
    ShieldDimensions,
)
from clearturn.job.access import Access, BoltOut, PadOut, SpannerOn, WheelOn
from clearturn.job.hand_sizes import HandSize
from clearturn.job.judging import (
    AllowanceEntry,
    CureLimits,
    Requirements,
    SeatStack,
    Stud,
    VerdictSettings,
)

__all__ = [
    "Access",
    "AllowanceEntry",
    "Axle",
    "BalanceWeights",
    "Band",
    "BandFaces",
    "BoltOut",
    "Corner",
    "CureLimits",
    "Datum",
    "DropBand",
    "DropBox",
    "DropPiece",
    "DropSmallPieces",
    "HandSize",
    "HatCheck",
    "HubChecks",
    "HubFrame",
    "Job",
    "KeepBox",
    "MeshFile",
    "PadOut",
    "PairRule",
    "Part",
    "PatchFaces",
    "PieceFaces",
    "RegisterCheck",
    "Requirements",
    "RestFaces",
    "Scan",
    "ScanFaces",
    "Seat",
    "SeatStack",
    "SignOff",
    "Size",
    "SpannerOn",
    "Stud",
    "VerdictSettings",
    "WheelFrame",
    "WheelOn",
]

FORMAT = "clearturn job"
VERSION = 1

Vec3 = tuple[float, float, float]
Row4 = tuple[float, float, float, float]
Pose = tuple[Row4, Row4, Row4, Row4]
IDENTITY: Pose = (
    (1.0, 0.0, 0.0, 0.0),
    (0.0, 1.0, 0.0, 0.0),
    (0.0, 0.0, 1.0, 0.0),
    (0.0, 0.0, 0.0, 1.0),
)
Unit = Literal["mm", "cm", "m", "in"]
MotionWord = Literal["turns", "fixed", "posed"]
SideWord = Literal["left", "right"]
FeatureWord = Literal["plane", "line", "circle", "cylinder", "cone", "sphere"]
PartKind = Literal[
    "hub",
    "studs",
    "rotor",
    "wheel",
    "barrel",
    "spokes",
    "knuckle",
    "bearing housing",
    "shield",
    "caliper",
    "bracket",
    "parking caliper",
    "steering arm",
    "tie rod",
    "control arm",
    "damper",
    "hose",
    "rubber boot",
    "other",
]
SizeSource = Literal["measured", "scan", "drawing", "dimensions", "assumed"]


@dataclass(frozen=True, slots=True)
class Band:
    """A body of revolution about the axis, cut by clock angles; an end left out is open.

    ``clock_from_deg`` to ``clock_to_deg`` runs clockwise seen from outboard and may pass 0.
    """

    r_from_mm: float | None = None
    r_to_mm: float | None = None
    z_from_mm: float | None = None
    z_to_mm: float | None = None
    clock_from_deg: float | None = None
    clock_to_deg: float | None = None


@dataclass(frozen=True, slots=True)
class DropSmallPieces:
    """Cleaning: leave out pieces of fewer than this many triangles."""

    step: Literal["drop small pieces"]
    below_triangles: int


@dataclass(frozen=True, slots=True)
class DropPiece:
    """Cleaning: leave out the piece nearest to a point."""

    step: Literal["drop piece"]
    seed_mm: Vec3


@dataclass(frozen=True, slots=True)
class KeepBox:
    """Cleaning: keep only what lies wholly inside a box along the scan's own axes."""

    step: Literal["keep box"]
    from_mm: Vec3
    to_mm: Vec3


@dataclass(frozen=True, slots=True)
class DropBox:
    """Cleaning: leave out what lies wholly inside a box along the scan's own axes."""

    step: Literal["drop box"]
    from_mm: Vec3
    to_mm: Vec3


@dataclass(frozen=True, slots=True)
class DropBand:
    """Cleaning: leave out what lies wholly inside a band about the axis of the scan's frame."""

    step: Literal["drop band"]
    band: Band


@dataclass(frozen=True, slots=True)
class DropBeyondPlane:
    """Cleaning: leave out what lies wholly on the side of a plane its normal points to."""

    step: Literal["drop beyond plane"]
    point_mm: Vec3
    normal: Vec3


@dataclass(frozen=True, slots=True)
class DropBadTriangles:
    """Cleaning: leave out triangles without area, and all but the first of equal ones."""

    step: Literal["drop bad triangles"]


@dataclass(frozen=True, slots=True)
class TurnFlippedPieces:
    """Cleaning: turn pieces that are inside out for certain."""

    step: Literal["turn flipped pieces"]


@dataclass(frozen=True, slots=True)
class FillHoles:
    """Cleaning: close holes whose rim fits a box of this diagonal with invented surface."""

    step: Literal["fill holes"]
    up_to_mm: float


CleaningStep = Annotated[
    DropSmallPieces
    | DropPiece
    | DropBeyondPlane
    | KeepBox
    | DropBox
    | DropBand
    | DropBadTriangles
    | TurnFlippedPieces
    | FillHoles,
    Discriminator("step"),
]


@dataclass(frozen=True, slots=True)
class Scan:
    """A scan file, never changed; cleaning is recorded here as steps.

    Attributes
    ----------
    path : str
        Relative to the job file, with forward slashes.
    sha256 : str
        Of the file's bytes.
    noise_mm : float or None
        Standard deviation of the surface; estimated from the datum fits where None.
    scanner_error_mm : float
        Limit ± of the scanner's stated error over the part (VDI/VDE 2634 style statement).
    hub_from_scan : 4 rows of 4, or None
        Given pose of a scan that holds none of the datums, after its unit.
    size_check : tuple of HandSize
        Sizes measured by hand, to compare with the scan's.
    """

    name: str
    path: str
    sha256: str
    unit: Unit = "mm"
    noise_mm: float | None = None
    scanner_error_mm: float = 0.0
    hub_from_scan: Pose | None = None
    cleaning: tuple[CleaningStep, ...] = ()
    size_check: tuple[HandSize, ...] = ()


@dataclass(frozen=True, slots=True)
class Datum:
    """A feature to fit on a scan, grown from touched points.

    Attributes
    ----------
    seeds_mm : points
        Where the surface was touched; the patches are joined.
    robust : bool
        Down-weight outliers.
    normal_deg, limit_mm : float or None
        How far the patch may bend and reach; the program's own limits where None.
    """

    name: str
    scan: str
    feature: FeatureWord
    seeds_mm: tuple[Vec3, ...]
    robust: bool = False
    normal_deg: float | None = None
    limit_mm: float | None = None


@dataclass(frozen=True, slots=True)
class HubFrame:
    """Three datums that make the hub frame (ISO 5459 style), by name.

    Attributes
    ----------
    plane, axis, clocking : str
        Hub face, spin axis, and the feature whose centre gives the clock position.
    clock_deg : float
        Stated clock angle of the clocking datum, seen from outboard, 0 = up.
    outboard : vector
        Roughly outboard, in the scan's coordinates.
    up : vector or None
        Roughly up; checked against the clock angle where given.
    """

    plane: str
    axis: str
    clocking: str
    clock_deg: float
    outboard: Vec3
    up: Vec3 | None = None


@dataclass(frozen=True, slots=True)
class WheelFrame:
    """Two datums that make the wheel's frame, by name: pad plane and centre bore."""

    pad: str
    bore: str
    outboard: Vec3


@dataclass(frozen=True, slots=True)
class PatchFaces:
    """Faces: the smooth patch around a touched point."""

    by: Literal["patch"]
    seed_mm: Vec3
    normal_deg: float | None = None
    limit_mm: float | None = None


@dataclass(frozen=True, slots=True)
class BandFaces:
    """Faces: those whose centre lies in a band about the axis of the scan's frame."""

    by: Literal["band"]
    band: Band


@dataclass(frozen=True, slots=True)
class PieceFaces:
    """Faces: the connected piece nearest to a touched point."""

    by: Literal["piece"]
    seed_mm: Vec3


@dataclass(frozen=True, slots=True)
class RestFaces:
    """Faces: all that no part listed earlier has taken."""

    by: Literal["rest"]


FaceChoice = Annotated[PatchFaces | BandFaces | PieceFaces | RestFaces, Discriminator("by")]


@dataclass(frozen=True, slots=True)
class ScanFaces:
    """Faces of a scan: all that `take` chooses, less what `leave` chooses.

    A face belongs to the first part in the list that takes it.
    """

    scan: str
    take: tuple[FaceChoice, ...]
    leave: tuple[FaceChoice, ...] = ()


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A part given as a mesh or STEP file, posed in the hub frame.

    Attributes
    ----------
    chord_error_mm : float
        Greatest distance of the triangles from the true surface.
    hub_from_mesh : 4 rows of 4
        Pose after the unit.
    """

    path: str
    sha256: str
    unit: Unit = "mm"
    chord_error_mm: float = 0.0
    hub_from_mesh: Pose = IDENTITY


@dataclass(frozen=True, slots=True)
class Part:
    """One part: faces of a scan, a mesh file, or dimensions that stand in the corner.

    Exactly one of `scan`, `mesh` and `dimensions` is given.

    Attributes
    ----------
    tolerance_mm : float
        Limit ± of the surface against what is given here; goes into the uncertainty.
    """

    name: str
    kind: PartKind
    motion: MotionWord
    scan: ScanFaces | None = None
    mesh: MeshFile | None = None
    dimensions: Literal["rotor", "caliper", "shield", "bracket"] | None = None
    tolerance_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class BalanceWeights:
    """Where stick-on balance weights may sit on the barrel, in the wheel's frame.

    Attributes
    ----------
    where : str
        "anywhere"; "only in band": nowhere else; "not in band": the band is declared weight-free.
    z_from_mm, z_to_mm : float or None
        The band, from the pad plane, outboard positive.
    thickness_mm : float
        What a weight costs wherever one may sit (4.5 mm common practice, no source).
    """

    where: Literal["anywhere", "only in band", "not in band"] = "anywhere"
    z_from_mm: float | None = None
    z_to_mm: float | None = None
    thickness_mm: float = 4.5


@dataclass(frozen=True, slots=True)
class Seat:
    """An intended contact: `part` sits on `on` where both lie in the band (hub frame).

    The seated faces and those within 3 mm of the seat's rim are left out of the gap, on both
    parts, for that pair only.
    """

    name: str
    part: str
    on: str
    band: Band


@dataclass(frozen=True, slots=True)
class PairRule:
    """A pair that departs from the table: another requirement, or not judged, with the reason."""

    first: str
    second: str
    reason: str
    required_mm: float | None = None
    judged: bool = True


@dataclass(frozen=True, slots=True)
class Size:
    """A diameter and how it is known.

    Attributes
    ----------
    source : str
        "scan": fitted from `datum`, its uncertainty with it.  "dimensions": from the corner's
        rotor dimensions.  "measured", "drawing", "assumed": `value_mm` ± `uncertainty_mm`.
    uncertainty_mm : float or None
        Expanded (k = 2), on the diameter.
    bias_limit_mm : float
        Limit ± by which a scanned diameter may be off as a whole (scanner, spray).
    """

    source: SizeSource
    value_mm: float | None = None
    uncertainty_mm: float | None = None
    datum: str | None = None
    bias_limit_mm: float = 0.0
    note: str = ""


@dataclass(frozen=True, slots=True)
class RegisterCheck:
    """A register in its bore, with the fit wanted as hole and shaft class (ISO 286-2).

    Attributes
    ----------
    shaft, hole : Size
    fit : str
        "H7/g6": the bore may be machined to the hole class over the shaft as it is.
    clearance_from_mm, clearance_to_mm : float or None
        Least and greatest diametral clearance wanted, instead of the fit's.
    also_centres : str
        What the shaft centres beside this ("wheel"); spoilt if the shaft is turned down.
    """

    shaft: Size
    hole: Size
    fit: str = "H7/g6"
    clearance_from_mm: float | None = None
    clearance_to_mm: float | None = None
    also_centres: str = ""


@dataclass(frozen=True, slots=True)
class HatCheck:
    """Something round inside the hat: a clearance, not a fit.

    Attributes
    ----------
    wall_mm, least_wall_mm : float or None
        Wall of the housing now, and what must stay after turning down.
    """

    shaft: Size
    hole: Size
    wall_mm: float | None = None
    least_wall_mm: float | None = None


@dataclass(frozen=True, slots=True)
class HubChecks:
    """The four hub diameters, each named; one left out is reported as not checked."""

    rotor_register: RegisterCheck | None = None
    wheel_register: RegisterCheck | None = None
    flange_in_hat: HatCheck | None = None
    housing_in_hat: HatCheck | None = None


@dataclass(frozen=True, slots=True)
class Corner:
    """One corner: what was scanned, what is fitted, and what is asked of it.

    Attributes
    ----------
    side : {"left", "right"}
        The side that was scanned.
    mirror : bool
        Judge the other side, as the mirror image of this one.
    """

    side: SideWord
    scans: tuple[Scan, ...] = ()
    datums: tuple[Datum, ...] = ()
    hub_frame: HubFrame | None = None
    wheel_frame: WheelFrame | None = None
    seat_stack: SeatStack | None = None
    stud: Stud | None = None
    rotor: RotorDimensions | None = None
    caliper: CaliperDimensions | None = None
    shield: ShieldDimensions | None = None
    bracket: BracketDimensions | None = None
    weights: BalanceWeights = field(default_factory=BalanceWeights)
    parts: tuple[Part, ...] = ()
    seats: tuple[Seat, ...] = ()
    pairs: tuple[PairRule, ...] = ()
    requirements: Requirements = field(default_factory=Requirements)
    allowances: tuple[AllowanceEntry, ...] = ()
    coverage_factor: float = 2.0
    cures: CureLimits = field(default_factory=CureLimits)
    hub_checks: HubChecks = field(default_factory=HubChecks)
    access: tuple[Access, ...] = ()
    not_checked: tuple[str, ...] = ()
    mirror: bool = False


@dataclass(frozen=True, slots=True)
class Axle:
    """One axle with its corner."""

    name: Literal["front", "rear"]
    corner: Corner


@dataclass(frozen=True, slots=True)
class SignOff:
    """Who is content with an operation of the route card, and since when (ISO 8601 date)."""

    operation: str
    name: str
    date: str


@dataclass(frozen=True, slots=True)
class Job:
    """One vehicle conversion.

    Attributes
    ----------
    invented : bool
        True for examples: vehicle and parts do not exist.
    sums : dict
        One object per trade sum, by its name; read by that sum.
    """

    format: Literal["clearturn job"]
    version: int
    name: str
    axles: tuple[Axle, ...] = ()
    vehicle: str = ""
    kit: str = ""
    invented: bool = False
    author: str = ""
    notes: str = ""
    sums: dict[str, Any] = field(default_factory=dict)
    sign_offs: tuple[SignOff, ...] = ()

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(
        extra="forbid", strict=True, allow_inf_nan=False
    )
