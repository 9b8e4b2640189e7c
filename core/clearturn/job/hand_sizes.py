"""Sizes measured by hand, to see whether a scan is the right size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SizeKind = Literal["diameter", "distance"]


@dataclass(frozen=True, slots=True)
class HandSize:
    """A size of the scanned part, measured by hand.

    Attributes
    ----------
    kind : str
        "diameter": of a round feature.  "distance": between two parallel planes.
    datums : tuple of str
        Where the scan has it: one cylinder, circle or sphere, or two planes, of the same scan.
    uncertainty_mm : float
        Expanded (k = 2), of instrument, reading and place together.
    instrument : str
        What it was measured with.
    """

    name: str
    kind: SizeKind
    datums: tuple[str, ...]
    value_mm: float
    uncertainty_mm: float
    instrument: str
