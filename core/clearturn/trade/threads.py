"""Metric threads M6 to M20 and the strength of bolts.

Geometry of the ISO metric profile: d2 = d − 0.649519 P, d3 = d − 1.226869 P; stress area
As = π/4 ((d2 + d3)/2)².

References
----------
Profile: ISO 68-1, ISO 724 (formula read in a worked solution: As = π/4 (d − 0.938194 P)²).
Stress areas and strength of classes 8.8, 10.9, 12.9: ISO 898-1, from public transcriptions; the
yield strengths from the same and from memory.  Pitches of coarse threads: the same tables; fine
pitches from memory.  Head seats and holes: ISO 4014 and ISO 273 medium, from memory.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from clearturn.trade.inputs import SumProblem

PropertyClass = Literal["8.8", "10.9", "12.9"]

COARSE_MM: dict[int, float] = {
    6: 1.0, 8: 1.25, 10: 1.5, 12: 1.75, 14: 2.0, 16: 2.0, 18: 2.5, 20: 2.5,
}  # fmt: skip
FINE_MM: dict[int, tuple[float, ...]] = {
    8: (1.0,), 10: (1.0, 1.25), 12: (1.25, 1.5), 14: (1.5,), 16: (1.5,), 18: (1.5,), 20: (1.5,),
}  # fmt: skip
# Outer diameter of a hexagon head's seat and the clearance hole under it, mm.
HEAD_SEAT_MM: dict[int, tuple[float, float]] = {
    6: (8.9, 6.6), 8: (11.6, 9.0), 10: (14.6, 11.0), 12: (16.6, 13.5),
    14: (19.6, 15.5), 16: (22.5, 17.5), 18: (25.3, 20.0), 20: (28.2, 22.0),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread by diameter and pitch, mm."""

    diameter_mm: float
    pitch_mm: float

    @property
    def name(self) -> str:
        """As a drawing calls it: "M14×1.5"."""
        coarse = COARSE_MM.get(round(self.diameter_mm)) == self.pitch_mm
        return f"M{self.diameter_mm:g}" + ("" if coarse else f"×{self.pitch_mm:g}")

    @property
    def pitch_diameter_mm(self) -> float:
        """Diameter d2."""
        return self.diameter_mm - 0.649519 * self.pitch_mm

    @property
    def root_diameter_mm(self) -> float:
        """Diameter d3 of the bolt's root."""
        return self.diameter_mm - 1.226869 * self.pitch_mm

    @property
    def stress_diameter_mm(self) -> float:
        """Diameter of the stress area."""
        return (self.pitch_diameter_mm + self.root_diameter_mm) / 2.0

    @property
    def stress_area_mm2(self) -> float:
        """Area As that carries tension."""
        return math.pi / 4.0 * self.stress_diameter_mm**2

    @property
    def head_seat_mm(self) -> float:
        """Outer diameter of a hexagon head's seat."""
        return HEAD_SEAT_MM[round(self.diameter_mm)][0]

    @property
    def hole_mm(self) -> float:
        """Clearance hole, medium."""
        return HEAD_SEAT_MM[round(self.diameter_mm)][1]


def thread(name: str, *path: str | int) -> Thread:
    """Return a thread written "M14×1.5", "M14x1.5" or, coarse, "M14".

    Raises
    ------
    SumProblem
        If it is not in the table, at `path`.
    """
    match = re.fullmatch(r"M(\d{1,2})(?:\s*[x×]\s*(\d(?:\.\d{1,2})?))?", name.strip())
    size = int(match[1]) if match else 0
    pitch = float(match[2]) if match and match[2] else COARSE_MM.get(size, 0.0)
    if size not in COARSE_MM or pitch not in (COARSE_MM[size], *FINE_MM.get(size, ())):
        raise SumProblem(
            "this thread is not in the table", *path, found=repr(name), allowed=", ".join(names())
        )
    return Thread(float(size), pitch)


def names() -> list[str]:
    """Return every thread of the table, as a drawing calls it."""
    return [
        Thread(float(size), pitch).name
        for size, coarse in COARSE_MM.items()
        for pitch in (coarse, *FINE_MM.get(size, ()))
    ]


@dataclass(frozen=True, slots=True)
class Strength:
    """Least strengths of a property class, MPa."""

    proof_mpa: float
    yield_mpa: float
    ultimate_mpa: float


def strength(property_class: PropertyClass, diameter_mm: float) -> Strength:
    """Return the strengths of ISO 898-1; class 8.8 is stronger over 16 mm."""
    thick = diameter_mm > 16.0
    return {
        "8.8": Strength(600.0, 660.0, 830.0) if thick else Strength(580.0, 640.0, 800.0),
        "10.9": Strength(830.0, 940.0, 1040.0),
        "12.9": Strength(970.0, 1100.0, 1220.0),
    }[property_class]
