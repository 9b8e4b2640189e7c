"""Allowances from the physics of a brake corner, each a closed form.

Each function returns entries for `clearturn.verdict.allowances`; the numbers a user enters are
sizes (a temperature rise, a wear), the functions turn them into amounts with direction and sign
rule.  "always costs" with a sense ("inboard") is a movement that happens at times and in that
sense only: it costs where it closes the gap and gives nothing where it opens it.
"""

from __future__ import annotations

from dataclasses import dataclass

from clearturn.errors import InputError
from clearturn.job.judging import AllowanceEntry
from clearturn.verdict.allowances import TILT_ARM_MM

BALANCE_WEIGHT_MM = 4.5
"""Thickness of stuck-on balance weights with their tape (common practice, no source)."""

RING_PART = "rotor"


@dataclass(frozen=True, slots=True)
class Expansion:
    """Linear thermal expansion of a material, 1/K, in plane and through thickness."""

    in_plane_per_k: float
    through_per_k: float
    source: str


_CALLISTER = "Callister, Fundamentals of Materials Science and Engineering, 3rd ed., table B.6"

EXPANSIONS: dict[str, Expansion] = {
    "iron": Expansion(11.4e-6, 11.4e-6, _CALLISTER + " (grey iron)"),
    # The upper ends of the ranges: a gap must hold for the disc that grows most.
    "ceramic": Expansion(
        2.0e-6, 4.0e-6, "Kumar et al., J. Eur. Ceram. Soc. 29 (2009) 2849 (C/SiC, upper ends)"
    ),
    "aluminium": Expansion(23.6e-6, 23.6e-6, _CALLISTER + " (6061)"),
    "titanium": Expansion(8.6e-6, 8.6e-6, _CALLISTER + " (Ti-6Al-4V)"),
    "steel": Expansion(12.3e-6, 12.3e-6, _CALLISTER + " (4140)"),
}


def expansion_of(material: str) -> Expansion:
    """Return a material's expansion.

    Raises
    ------
    InputError
        If the material is not in `EXPANSIONS`.
    """
    try:
        return EXPANSIONS[material]
    except KeyError:
        raise InputError(
            "no thermal expansion is known for this material",
            found=repr(material),
            allowed=", ".join(sorted(EXPANSIONS)),
        ) from None


def growth(length_mm: float, expansion_per_k: float, rise_k: float) -> float:
    """Return α·L·ΔT, mm."""
    return length_mm * expansion_per_k * rise_k


def thermal_growth(
    *,
    ring_radius_mm: float,
    ring_thickness_mm: float,
    hat_offset_mm: float,
    ring_material: str,
    hat_material: str,
    ring_rise_k: float,
    hat_rise_k: float,
    part: str = RING_PART,
) -> tuple[AllowanceEntry, ...]:
    """Return how a hot rotor grows: outwards, thicker, and inboard along its hat.

    The ring grows freely on its mount (radius α·R·ΔT).  It thickens about its mid-plane by
    α·t/2·ΔT a side, and the hat pushes the mid-plane inboard by α·h·ΔT.  Both are "always costs":
    the rotor is also used cold, so growth must not be booked as a gain.

    Parameters
    ----------
    ring_radius_mm, ring_thickness_mm, hat_offset_mm : float
        Outer radius, thickness, hub face to mid-plane (positive inboard).
    ring_material, hat_material : str
        Keys of `EXPANSIONS`.
    ring_rise_k, hat_rise_k : float
        Mean temperature over the temperature of the scan or drawing, K; not negative.
    part : str
        Name or kind of the part that grows.
    """
    for name, rise in (("ring", ring_rise_k), ("hat", hat_rise_k)):
        _not_negative(f"temperature rise of the {name}", rise, "K")
    ring, hat = expansion_of(ring_material), expansion_of(hat_material)
    source = f"α·L·ΔT; {ring.source}; hat: {hat.source}"
    sense = "inboard" if hat_offset_mm >= 0 else "outboard"
    return (
        AllowanceEntry(
            f"ring grows outwards at +{ring_rise_k:g} K",
            growth(ring_radius_mm, ring.in_plane_per_k, ring_rise_k),
            "outward",
            "always costs",
            source,
            part,
        ),
        AllowanceEntry(
            f"ring thickens at +{ring_rise_k:g} K",
            growth(ring_thickness_mm / 2, ring.through_per_k, ring_rise_k),
            "axial",
            "always costs",
            source,
            part,
        ),
        AllowanceEntry(
            f"hat lengthens at +{hat_rise_k:g} K",
            growth(abs(hat_offset_mm), hat.in_plane_per_k, hat_rise_k),
            sense,  # type: ignore[arg-type]
            "always costs",
            source,
            part,
        ),
    )


def balance_weights(
    part: str,
    *,
    weight_free: bool = False,
    thickness_mm: float = BALANCE_WEIGHT_MM,
) -> tuple[AllowanceEntry, ...]:
    """Return the allowance for balance weights on a barrel, none in a weight-free band."""
    _not_negative("thickness of balance weights", thickness_mm)
    if weight_free:
        return ()
    return (
        AllowanceEntry(
            "balance weights on the barrel",
            thickness_mm,
            "inward",
            "always costs",
            "weight with tape; common practice, no source",
            part,
        ),
    )


def rim_deflection(amount_mm: float, part: str = "wheel") -> tuple[AllowanceEntry, ...]:
    """Return the rim's deflection under wheel load: upwards, so it costs most at 6 o'clock.

    The load is fixed in space.  The barrel's lower half comes nearer the axis by
    amount·max(0, −cos clock); at 12 o'clock it moves away, which is not booked as a gain.
    """
    _not_negative("rim deflection", amount_mm)
    return (
        AllowanceEntry(
            "rim deflection under load", amount_mm, "up", "always costs",
            "entered; fixed in space, largest at 6 o'clock", part,
        ),
    )  # fmt: skip


def cornering_tilt(angle_rad: float, part: str = "wheel") -> tuple[AllowanceEntry, ...]:
    """Return a lean of the wheel about the horizontal X axis, either way: acts at 12 and 6."""
    _not_negative("tilt", angle_rad, "rad")
    return (
        AllowanceEntry(
            "tilt in a corner", angle_rad * TILT_ARM_MM,
            "tilt", "always costs",
            f"entered as {angle_rad * 1e3:g} mrad about the horizontal axis, both ways", part,
        ),
    )  # fmt: skip


def bearing_play(
    axial_mm: float, tilt_rad: float = 0.0, part: str = "wheel"
) -> tuple[AllowanceEntry, ...]:
    """Return a wheel bearing's play: ± half its axial play, and a tilt about any axis.

    The tilt may lie about any diameter; it is taken about X, where the road pushes.
    """
    _not_negative("axial bearing play", axial_mm)
    found = [
        AllowanceEntry(
            "axial bearing play", axial_mm / 2, "axial", "always costs",
            "half the measured play", part,
        )
    ]  # fmt: skip
    if tilt_rad:
        found += [
            AllowanceEntry("bearing tilt", e.value_mm, e.direction, e.kind, e.source, part)
            for e in cornering_tilt(tilt_rad, part)
        ]
    return tuple(found)


def floating_caliper_travel(
    pad_wear_mm: float, rotor_wear_mm: float = 0.0, part: str = "caliper"
) -> tuple[AllowanceEntry, ...]:
    """Return how far a floating body follows its outer pad: inboard only.

    As the outboard pad and the outboard rotor face wear, the body moves inboard by their sum.
    With new pads nothing has moved, which is the worst at the spokes; worn is the worst at
    knuckle and hose.
    """
    _not_negative("pad wear", pad_wear_mm)
    _not_negative("rotor wear", rotor_wear_mm)
    return (
        AllowanceEntry(
            "floating body moves with wear", pad_wear_mm + rotor_wear_mm,
            "inboard", "always costs",
            "outboard pad wear + outboard rotor face wear", part,
        ),
    )  # fmt: skip


def fixed_caliper_spread(per_side_mm: float, part: str = "caliper") -> tuple[AllowanceEntry, ...]:
    """Return the opening of a fixed body under pressure: either half moves away from the ring."""
    _not_negative("spread", per_side_mm)
    return (
        AllowanceEntry(
            "body spreads under pressure", per_side_mm, "axial", "always costs",
            "entered, a side", part,
        ),
    )  # fmt: skip


def scanner_statement(
    constant_mm: float, length_mm: float, slope: float, part: str = ""
) -> AllowanceEntry:
    """Return a scanner's stated limit of error a + L·s for one length, as a random allowance.

    VDI/VDE 2634 style: the maximum permissible error of a sphere spacing, stated as a constant
    and a part that grows with the length measured (the form is quoted from memory).
    """
    _not_negative("scanner statement", constant_mm)
    _not_negative("scanner statement", slope, "mm/mm")
    return AllowanceEntry(
        "scanner statement",
        constant_mm + slope * abs(length_mm),
        "gap",
        "random",
        f"±({constant_mm:g} mm + {slope * 1e3:g} mm/m × {abs(length_mm):.0f} mm), "
        "VDI/VDE 2634 style",
        part,
    )


def _not_negative(what: str, value: float, unit: str = "mm") -> None:
    if not value >= 0 or value == float("inf"):
        raise InputError(f"{what} must be a finite number, zero or more", found=f"{value:g} {unit}")
