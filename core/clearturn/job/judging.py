"""What a corner is judged by: requirements, allowances, the limits of a cure.

`OwnAllowance` and `VerdictSettings` are what the verdict works from, gathered from the whole
corner; the other classes stand in the job file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from clearturn.envelope.dimensions import CaliperDimensions, RotorDimensions

AllowanceKind = Literal["shift", "always costs", "random"]
Direction = Literal[
    "gap",
    "radial",
    "axial",
    "outward",
    "inward",
    "outboard",
    "inboard",
    "up",
    "down",
    "+x",
    "-x",
    "tilt",
]

# Words of the requirement table, used as ``PairSpec.kind`` and ``PairResult.kind``.
CALIPER_BARREL = "caliper–barrel"
CALIPER_SPOKES = "caliper–spokes"
ROTOR_KNUCKLE = "rotor–knuckle"
ROTOR_SHIELD = "shield–rotor"
CALIPER_RING = "caliper bridge–ring"
FIXED_FIXED = "other fixed pair"
TURNING_FIXED = "turning–fixed"
TURNING_POSED = "turning–posed"
RUBBER_BOOT = "rubber boot"


@dataclass(frozen=True, slots=True)
class Requirements:
    """Least net gaps, mm, after allowances and uncertainty; common practice, no source.

    Attributes
    ----------
    caliper_barrel_mm, caliper_spokes_mm, rotor_knuckle_mm, rotor_shield_mm : float
    caliper_ring_ceramic_mm, caliper_ring_iron_mm : float
        Caliper bridge to ring, by the ring's material.
    fixed_fixed_mm : float
        Parts that do not turn relative to each other.
    turning_fixed_mm : float
        A turning part against a fixed one that has no row of its own.
    turning_posed_mm : float
        A turning part, or the caliper, against a part scanned in one position only.
    rubber_boot_mm : float
        Anything against a rubber boot.
    housing_in_hat_per_side_mm, flange_in_hat_per_side_mm : float
        Radial clearance inside the hat; see `HubChecks`.
    """

    caliper_barrel_mm: float = 3.0
    caliper_spokes_mm: float = 4.0
    rotor_knuckle_mm: float = 5.0
    rotor_shield_mm: float = 5.0
    caliper_ring_ceramic_mm: float = 2.0
    caliper_ring_iron_mm: float = 3.0
    fixed_fixed_mm: float = 2.0
    turning_fixed_mm: float = 5.0
    turning_posed_mm: float = 5.0
    rubber_boot_mm: float = 15.0
    housing_in_hat_per_side_mm: float = 0.8
    flange_in_hat_per_side_mm: float = 0.8


@dataclass(frozen=True, slots=True)
class AllowanceEntry:
    """One amount that a gap must be able to lose.

    Attributes
    ----------
    name : str
    value_mm : float
        Size.  For "shift" the displacement of `part` along `direction`, may be negative; for
        "always costs" an eccentricity, thickness or run-out ≥ 0; for "random" the limit ± ≥ 0 of
        a rectangular distribution (standard uncertainty value/√3, JCGM 100, 4.3.7).
    direction : str
        "gap": straight off the gap, whatever its direction.  "radial", "axial": times |n_r| or
        |n_z| of the gap's direction n (for "always costs" and "random").  "outward", "inward"
        (along the radius at the place), "outboard", "inboard", "up", "down", "+x", "-x" (hub
        frame): a "shift", projected with its sign; "always costs" with such a sense is a movement
        that happens at times, which costs where it closes the gap and never gains.  "tilt": a lean
        about the horizontal X axis, either way, stated as the movement at 100 mm from that axis.
    kind : {"shift", "always costs", "random"}
    source : str
        Where the value comes from.
    part : str
        Name or kind of the part it belongs to, "wheel" for all parts of the wheel; pairs without
        that part are not touched.  Empty: every pair.  A pair of two such parts feels a shift as
        the difference (nothing if both move alike).
    """

    name: str
    value_mm: float
    direction: Direction
    kind: AllowanceKind
    source: str
    part: str = ""


@dataclass(frozen=True, slots=True)
class OwnAllowance(AllowanceEntry):
    """One that belongs to a single placed part: `part` is its name, whatever kinds are called."""

    @classmethod
    def of(cls, entry: AllowanceEntry, part: str) -> OwnAllowance:
        """Return an allowance as that of one part."""
        return cls(entry.name, entry.value_mm, entry.direction, entry.kind, entry.source, part=part)


# Diameters that are commonly sold; common practice, no source.
RINGS_MM = (
    280.0, 288.0, 300.0, 304.0, 310.0, 312.0, 316.0, 320.0, 323.0, 328.0,
    330.0, 332.0, 335.0, 338.0, 340.0, 343.0, 345.0, 348.0, 350.0, 352.0,
    355.0, 356.0, 360.0, 362.0, 365.0, 370.0, 372.0, 378.0, 380.0, 390.0,
    394.0, 400.0, 405.0, 410.0, 420.0,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class CureLimits:
    """What may be changed to clear a pair, and how far; common practice, no source.

    Attributes
    ----------
    spacers_mm : tuple of float
        Thicknesses that can be bought; a thinner one than the least cure is of no use.
    rings_mm : tuple of float
        Ring diameters that are commonly sold.
    made_step_mm : float
        Step to which hats and brackets are made.
    spacer_most_mm, caliper_inward_most_mm, trim_most_mm, rotor_offset_most_mm,
    smaller_rotor_most_mm : float
        Greatest change looked for; 0 rules the cure out.
    """

    spacers_mm: tuple[float, ...] = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0)
    rings_mm: tuple[float, ...] = RINGS_MM
    made_step_mm: float = 0.5
    spacer_most_mm: float = 15.0
    caliper_inward_most_mm: float = 8.0
    trim_most_mm: float = 4.0
    rotor_offset_most_mm: float = 5.0
    smaller_rotor_most_mm: float = 20.0


@dataclass(frozen=True, slots=True)
class SeatStack:
    """What lies between hub face and wheel pad, before and after.

    Attributes
    ----------
    old_flange_mm, new_flange_mm : float
        Thickness of the hat's flange on the hub face.
    spacer_mm : float
        Spacer between hat and wheel.
    """

    old_flange_mm: float
    new_flange_mm: float
    spacer_mm: float = 0.0

    @property
    def pad_z_mm(self) -> float:
        """Height of the wheel pad over the hub face, mm."""
        return self.new_flange_mm + self.spacer_mm

    @property
    def wheel_moves_mm(self) -> float:
        """How far the wheel moves outboard compared with before, mm."""
        return self.new_flange_mm + self.spacer_mm - self.old_flange_mm


@dataclass(frozen=True, slots=True)
class Stud:
    """Studs or wheel bolts: what a spacer takes from them.

    Attributes
    ----------
    length_mm : float
        From hub face to the last full thread.
    thread : str
        For the report ("M14×1.5").
    wheel_seat_mm : float
        Thickness of the wheel between pad and nut seat.
    needed_engagement_mm : float
        Thread the nut needs (common practice: the thread's diameter; no source).
    register_length_mm : float
        Length of the wheel's register from the hub face.
    needed_register_mm : float
        Least length on which the wheel must still be centred (common practice, no source).
    """

    length_mm: float
    thread: str
    wheel_seat_mm: float
    needed_engagement_mm: float
    register_length_mm: float
    needed_register_mm: float = 5.0

    def engagement_mm(self, pad_z_mm: float) -> float:
        """Return the thread left for the nut with the wheel pad at `pad_z_mm`."""
        return self.length_mm - pad_z_mm - self.wheel_seat_mm

    def register_mm(self, pad_z_mm: float) -> float:
        """Return the length that still centres the wheel with its pad at `pad_z_mm`."""
        return self.register_length_mm - pad_z_mm


@dataclass(frozen=True, slots=True)
class VerdictSettings:
    """All the verdict needs beside parts and pairs.

    Attributes
    ----------
    allowances : tuple of AllowanceEntry
        Those of the job, and those that follow from it (scanner statement, chord error, …).
    coverage_factor : float
        k of U = k·u.
    cures : CureLimits
    seat_stack : SeatStack
    stud : Stud or None
    rotor, caliper : dimensions or None
        Where the part comes from dimensions.
    wheel_parts : tuple of str
        Names of the parts a spacer moves (wheel and its weights).
    """

    allowances: tuple[AllowanceEntry, ...] = ()
    coverage_factor: float = 2.0
    cures: CureLimits = CureLimits()
    seat_stack: SeatStack = SeatStack(0.0, 0.0)
    stud: Stud | None = None
    rotor: RotorDimensions | None = None
    caliper: CaliperDimensions | None = None
    wheel_parts: tuple[str, ...] = ()
