"""Dimensions of the parts that are not scanned, as the job file holds them.

Every class has ``check(place)``, which raises :class:`~clearturn.errors.InputError` naming the key,
what was found and what is allowed.  The functions that make meshes call it first.

Positions are in the hub frame: the spin axis is z, z = 0 is the hub face, z grows outboard.
Clock positions are seen from outboard, 0° at the top (+y), growing towards +x.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from clearturn.envelope._checks import LARGEST_MM, key_of, number, one_of, whole, within
from clearturn.errors import InputError

# Least material left between a hole and an edge; thinner is a typing mistake, not a part.
LEAST_WALL_MM = 0.1


@dataclass(frozen=True, slots=True)
class RotorDimensions:
    """A rotor: ring, mount disc, hat wall and hat flange as one body of revolution.

    Attributes
    ----------
    ring_outer_diameter_mm, ring_inner_diameter_mm, ring_thickness_mm : float
        The ring the pads run on.
    hat_offset_mm : float
        From the hub face to the ring's mid-plane, positive inboard (ring mid-plane at
        z = −hat_offset).
    flange_thickness_mm : float
        The hat's flange lies on the hub face, from z = 0 to z = +flange_thickness.
    hat_outer_diameter_mm, hat_wall_mm : float
        The hat's wall reaches from the mount disc to the flange's outboard face.
    bore_diameter_mm : float
        Centre bore of the flange.
    bolt_circle_diameter_mm, bolt_count, bolt_hole_diameter_mm
        Holes through the flange, the first at clock 0°.
    mount_thickness_mm : float
        Disc that joins the hat's wall to the ring, about the ring's mid-plane.
    material : {"iron", "ceramic"}
        Of the ring.
    hat_material : str
        Of the hat; told in the report only.
    """

    ring_outer_diameter_mm: float
    ring_inner_diameter_mm: float
    ring_thickness_mm: float
    hat_offset_mm: float
    flange_thickness_mm: float
    hat_outer_diameter_mm: float
    hat_wall_mm: float
    bore_diameter_mm: float
    bolt_circle_diameter_mm: float
    bolt_count: int
    bolt_hole_diameter_mm: float
    mount_thickness_mm: float = 6.0
    material: Literal["iron", "ceramic"] = "iron"
    hat_material: str = "aluminium"

    @property
    def hat_inner_diameter_mm(self) -> float:
        """Inner diameter of the hat's wall."""
        return self.hat_outer_diameter_mm - 2.0 * self.hat_wall_mm

    @property
    def ring_mid_z_mm(self) -> float:
        """Height of the ring's mid-plane in the hub frame."""
        return -self.hat_offset_mm

    def check(self, place: str = "") -> None:
        """Raise `InputError` if these dimensions make no rotor."""
        self._check_ring(place)
        self._check_hat(place)
        self._check_holes(place)
        one_of(place, "material", self.material, ("iron", "ceramic"))

    def _check_ring(self, place: str) -> None:
        ring = within(place, "ring_outer_diameter_mm", self.ring_outer_diameter_mm, 0, LARGEST_MM)
        inner = within(
            place, "ring_inner_diameter_mm", self.ring_inner_diameter_mm, 0,
            ring - 2 * LEAST_WALL_MM, why_high="inside ring_outer_diameter_mm",
        )  # fmt: skip
        thick = within(place, "ring_thickness_mm", self.ring_thickness_mm, 0, LARGEST_MM)
        within(
            place, "mount_thickness_mm", self.mount_thickness_mm, 0, thick,
            why_high="ring_thickness_mm",
        )  # fmt: skip
        within(
            place, "hat_outer_diameter_mm", self.hat_outer_diameter_mm, 0, inner,
            why_high="ring_inner_diameter_mm",
        )  # fmt: skip

    def _check_hat(self, place: str) -> None:
        flange = within(place, "flange_thickness_mm", self.flange_thickness_mm, 0, LARGEST_MM)
        # The mount disc must meet the wall between its open end and the flange's outboard face.
        half = self.mount_thickness_mm / 2
        within(
            place, "hat_offset_mm", self.hat_offset_mm, max(-half, half - flange), LARGEST_MM,
            why_low="else the mount disc passes the flange", open_low=False,
        )  # fmt: skip
        bore = within(
            place, "bore_diameter_mm", self.bore_diameter_mm, 0, LARGEST_MM,
        )  # fmt: skip
        room = self.hat_outer_diameter_mm / 2 - bore / 2 - LEAST_WALL_MM
        if room <= 0:
            raise InputError(
                "the bore does not fit inside the hat",
                place=key_of(place, "bore_diameter_mm"),
                found=f"{bore:.6g}",
                allowed=f"less than hat_outer_diameter_mm = {self.hat_outer_diameter_mm:.6g}",
            )
        within(
            place, "hat_wall_mm", self.hat_wall_mm, 0, room,
            why_high="between bore_diameter_mm and hat_outer_diameter_mm",
        )  # fmt: skip

    def _check_holes(self, place: str) -> None:
        count = whole(place, "bolt_count", self.bolt_count, 3, 12)
        circle = within(
            place, "bolt_circle_diameter_mm", self.bolt_circle_diameter_mm,
            self.bore_diameter_mm, self.hat_inner_diameter_mm,
            why_low="bore_diameter_mm", why_high="inside the hat's wall",
        )  # fmt: skip
        apart = circle * math.sin(math.pi / count)
        room = min(
            circle - self.bore_diameter_mm,
            self.hat_inner_diameter_mm - circle,
            apart,
        )
        within(
            place, "bolt_hole_diameter_mm", self.bolt_hole_diameter_mm, 2.0,
            room - 2 * LEAST_WALL_MM, open_low=False,
            why_high="between bore, hat wall and the neighbouring hole",
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class BoxDimensions:
    """A box on a caliper: bleed nipple, crossover pipe, pad pin.

    A true box about the radial direction at the caliper's clock position plus
    ``clock_offset_deg``: radially from ``r_from_mm`` to ``r_to_mm``, axially from ``z_from_mm`` to
    ``z_to_mm`` (from the ring's mid-plane, outboard positive), ``width_mm`` wide across.
    """

    name: str
    clock_offset_deg: float
    r_from_mm: float
    r_to_mm: float
    z_from_mm: float
    z_to_mm: float
    width_mm: float

    def check(self, place: str = "") -> None:
        """Raise `InputError` if these dimensions make no box."""
        within(place, "clock_offset_deg", self.clock_offset_deg, -180, 180, open_low=False)
        low = within(place, "r_from_mm", self.r_from_mm, 0, LARGEST_MM)
        within(place, "r_to_mm", self.r_to_mm, low, LARGEST_MM, why_low="r_from_mm")
        bottom = within(place, "z_from_mm", self.z_from_mm, -LARGEST_MM, LARGEST_MM)
        within(place, "z_to_mm", self.z_to_mm, bottom, LARGEST_MM, why_low="z_from_mm")
        within(place, "width_mm", self.width_mm, 0, LARGEST_MM)


@dataclass(frozen=True, slots=True)
class CaliperDimensions:
    """A caliper: a section with a slot for ring and pads, swept about the spin axis, and boxes.

    In the section (r, z'), with z' from the ring's mid-plane and positive outboard: the rectangle
    ``inner_radius … outer_radius`` by ``−inboard_width … +outboard_width`` less the slot
    ``inner_radius … bridge_inner_radius`` by ``±slot_half_width``.

    Attributes
    ----------
    arc_deg, clock_deg : float
        Swept angle and the clock position of its middle; the ends are flat, in half planes
        through the axis.
    corner_radius_mm : float
        Rounding of the two corners at the outer radius.
    inner_corner_radius_mm : float
        Rounding of the two outer corners at the inner radius.
    boxes : tuple of BoxDimensions
        Each is a closed body of its own; it may overlap the others.
    """

    inner_radius_mm: float
    outer_radius_mm: float
    bridge_inner_radius_mm: float
    inboard_width_mm: float
    outboard_width_mm: float
    slot_half_width_mm: float
    arc_deg: float
    clock_deg: float
    corner_radius_mm: float = 0.0
    inner_corner_radius_mm: float = 0.0
    boxes: tuple[BoxDimensions, ...] = ()

    def check(self, place: str = "") -> None:
        """Raise `InputError` if these dimensions make no caliper."""
        outer = within(place, "outer_radius_mm", self.outer_radius_mm, 0, LARGEST_MM)
        bridge = within(
            place, "bridge_inner_radius_mm", self.bridge_inner_radius_mm, 0,
            outer - LEAST_WALL_MM, why_high="inside outer_radius_mm",
        )  # fmt: skip
        inner = within(
            place, "inner_radius_mm", self.inner_radius_mm, 0, bridge - LEAST_WALL_MM,
            why_high="inside bridge_inner_radius_mm",
        )  # fmt: skip
        within(place, "inboard_width_mm", self.inboard_width_mm, 0, LARGEST_MM)
        within(place, "outboard_width_mm", self.outboard_width_mm, 0, LARGEST_MM)
        leg = min(self.inboard_width_mm, self.outboard_width_mm)
        slot = within(
            place, "slot_half_width_mm", self.slot_half_width_mm, 0, leg - LEAST_WALL_MM,
            why_high="inside inboard_width_mm and outboard_width_mm",
        )  # fmt: skip
        within(place, "arc_deg", self.arc_deg, 1.0, 330.0, open_low=False)
        number(place, "clock_deg", self.clock_deg)
        corner = within(
            place, "corner_radius_mm", self.corner_radius_mm, 0,
            min(leg - slot, outer - inner), open_low=False,
            why_high="the caliper's leg",
        )  # fmt: skip
        within(
            place, "inner_corner_radius_mm", self.inner_corner_radius_mm, 0,
            min(leg - slot, outer - inner - corner), open_low=False,
            why_high="the caliper's leg",
        )  # fmt: skip
        for i, box in enumerate(self.boxes):
            box.check(key_of(place, f"boxes[{i}] ({box.name})"))


@dataclass(frozen=True, slots=True)
class WeightBand:
    """Where balance weights may be stuck to the barrel, in the wheel frame (z = 0 at the pad)."""

    z_from_mm: float
    z_to_mm: float
    thickness_mm: float = 4.5

    def check(self, place: str = "") -> None:
        """Raise `InputError` if these dimensions make no band."""
        low = within(place, "z_from_mm", self.z_from_mm, -LARGEST_MM, LARGEST_MM)
        within(place, "z_to_mm", self.z_to_mm, low, LARGEST_MM, why_low="z_from_mm")
        within(place, "thickness_mm", self.thickness_mm, 0, 50.0)


@dataclass(frozen=True, slots=True)
class ShieldDimensions:
    """A splash shield: a flat ring sector, ``z_from_mm … z_to_mm`` in the hub frame."""

    inner_radius_mm: float
    outer_radius_mm: float
    z_from_mm: float
    z_to_mm: float
    arc_deg: float = 360.0
    clock_deg: float = 0.0

    def check(self, place: str = "") -> None:
        """Raise `InputError` if these dimensions make no shield."""
        outer = within(place, "outer_radius_mm", self.outer_radius_mm, 0, LARGEST_MM)
        within(
            place, "inner_radius_mm", self.inner_radius_mm, 0, outer - LEAST_WALL_MM,
            why_high="inside outer_radius_mm",
        )  # fmt: skip
        low = within(place, "z_from_mm", self.z_from_mm, -LARGEST_MM, LARGEST_MM)
        within(place, "z_to_mm", self.z_to_mm, low, LARGEST_MM, why_low="z_from_mm")
        within(place, "arc_deg", self.arc_deg, 1.0, 360.0, open_low=False)
        number(place, "clock_deg", self.clock_deg)


@dataclass(frozen=True, slots=True)
class BracketDimensions:
    """A caliper bracket as a plate: a box about the radial direction at ``clock_deg``.

    Radially from ``r_from_mm`` to ``r_to_mm``, axially from ``z_from_mm`` to ``z_to_mm`` (hub
    frame), ``width_mm`` wide across.
    """

    clock_deg: float
    r_from_mm: float
    r_to_mm: float
    z_from_mm: float
    z_to_mm: float
    width_mm: float

    def check(self, place: str = "") -> None:
        """Raise `InputError` if these dimensions make no plate."""
        number(place, "clock_deg", self.clock_deg)
        box = BoxDimensions(
            "bracket", 0.0, self.r_from_mm, self.r_to_mm, self.z_from_mm, self.z_to_mm,
            self.width_mm,
        )  # fmt: skip
        box.check(place)


@dataclass(frozen=True, slots=True)
class RimStation:
    """One point of a rim's inner surface: radius at a height in the wheel frame."""

    z_mm: float
    inner_radius_mm: float


@dataclass(frozen=True, slots=True)
class RimDimensions:
    """A rim's barrel from stations of its inner surface, given in order of z, and its wall."""

    stations: tuple[RimStation, ...]
    wall_mm: float = 5.0

    def check(self, place: str = "") -> None:
        """Raise `InputError` if these dimensions make no barrel."""
        if len(self.stations) < 2:
            raise InputError(
                "a rim needs stations", place=key_of(place, "stations"),
                found=f"{len(self.stations)}", allowed="at least 2, in order of z",
            )  # fmt: skip
        within(place, "wall_mm", self.wall_mm, 0, 100.0)
        last = -LARGEST_MM
        for i, station in enumerate(self.stations):
            here = key_of(place, f"stations[{i}]")
            last = within(here, "z_mm", station.z_mm, last, LARGEST_MM, why_low="in order of z")
            within(here, "inner_radius_mm", station.inner_radius_mm, 0, LARGEST_MM)
