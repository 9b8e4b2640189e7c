"""Which parts are judged against which, under which requirement, and which are not.

The table is common practice of the trade, no source; every requirement can be edited in the job.

==================  ===================  ==========================================================
first               second               row
==================  ===================  ==========================================================
caliper             barrel               caliper–barrel (balance weights cost unless ruled out)
caliper             spokes               caliper–spokes
caliper             rotor                caliper bridge–ring, by the ring's material
caliper             other fixed part     other fixed pair (seats left out)
caliper             posed part           turning–posed: it stays put while the suspension moves
rotor               knuckle, arm         rotor–knuckle
rotor               shield               shield–rotor
rotor               bearing housing      none: judged as a hub diameter
rotor, wheel, hub   each other           other fixed pair, where they can meet beside their seat
turning part        posed part           turning–posed; a rubber boot has its own row
wheel               knuckle, shield …    turning–fixed
as scanned          as scanned           none: the vehicle's own parts, unchanged
==================  ===================  ==========================================================

Register in bore, stud in hole and pad on ring are fits or contacts and therefore no gaps.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

PairMotion = Literal["turning", "still"]
FaceIndices = NDArray[np.int64]


def _no_faces() -> FaceIndices:
    none = np.zeros(0, np.int64)
    none.flags.writeable = False
    return none


@dataclass(frozen=True, slots=True)
class PairSpec:
    """One pair to judge.

    Attributes
    ----------
    first, second : str
        Names of two placed parts.
    kind : str
        Row of the requirement table ("caliper–barrel", …).
    motion : {"turning", "still"}
        "turning" if exactly one of the two turns.
    required_mm : float
        Least net gap.
    excluded_first, excluded_second : (k,) ndarray of int
        Faces of the placed parts' meshes left out for this pair only: a declared seat and what
        lies within 3 mm of its rim.
    seats : tuple of str
        Names of the seats behind the excluded faces, for the report.
    """

    first: str
    second: str
    kind: str
    motion: PairMotion
    required_mm: float
    excluded_first: FaceIndices = field(default_factory=_no_faces, compare=False)
    excluded_second: FaceIndices = field(default_factory=_no_faces, compare=False)
    seats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FrameUncertainty:
    """How well one frame is known in the hub frame.

    Attributes
    ----------
    frame : str
        Parts with the same name here share one and the same error ("hub", "wheel", …).
    covariance : (6, 6) ndarray
        Of a small move (mm) and turn (rad) of everything placed by this frame, about the hub
        frame's origin and along its axes: order tx, ty, tz, wx, wy, wz.
    source : str
        For the budget ("datums of knuckle scan").
    """

    frame: str
    covariance: NDArray[np.float64]
    source: str
