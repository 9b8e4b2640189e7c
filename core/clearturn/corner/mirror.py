"""The other side of an axle, as the mirror image of the one that was scanned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearturn.envelope.dimensions import CaliperDimensions
from clearturn.findings import Finding
from clearturn.job.judging import AllowanceEntry
from clearturn.job.model import Seat
from clearturn.mesh import Mesh
from clearturn.result import PlacedPart

NOT_SETTLED = (
    "bleed nipples must be the highest place of the caliper on that side too",
    "stepped pistons must be ordered for that side's direction of rotation",
    "directional vanes and slots of the ring belong to one side",
    "the knuckle of that side was not scanned: casting and accident may differ",
)


def mirrored_mesh(mesh: Mesh) -> Mesh:
    """Return the mirror image in the plane x = 0, still facing outward."""
    return Mesh(mesh.vertices * (-1.0, 1.0, 1.0), mesh.faces[:, ::-1], mesh.name)


def mirrored_part(part: PlacedPart) -> PlacedPart:
    """Return the part of the other side, in that side's hub frame.

    Mirroring the vehicle in its middle plane turns X of one hub frame into −X of the other; a
    clock angle φ becomes −φ.
    """
    return replace(
        part,
        mesh=mirrored_mesh(part.mesh),
        source=f"{part.source}, mirrored",
        invented=None if part.invented is None else mirrored_mesh(part.invented),
    )


def mirrored_seat(seat: Seat) -> Seat:
    """Return the seat of the other side: its clock limits change sign and place."""
    band = seat.band
    if band.clock_from_deg is None or band.clock_to_deg is None:
        return seat
    turned = replace(
        band,
        clock_from_deg=-band.clock_to_deg % 360.0,
        clock_to_deg=-band.clock_from_deg % 360.0,
    )
    return replace(seat, band=turned)


def mirrored_allowance(entry: AllowanceEntry) -> AllowanceEntry:
    """Return the allowance of the other side: +x and −x change places."""
    if entry.direction == "+x":
        return replace(entry, direction="-x")
    return replace(entry, direction="+x") if entry.direction == "-x" else entry


def mirrored_caliper(caliper: CaliperDimensions) -> CaliperDimensions:
    """Return the caliper's dimensions for the other side: clock positions change sign."""
    boxes = tuple(replace(b, clock_offset_deg=-b.clock_offset_deg) for b in caliper.boxes)
    return replace(caliper, clock_deg=-caliper.clock_deg % 360.0, boxes=boxes)


def mirrored_covariance(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a frame's covariance under x → −x (moves: x flips; turns: y and z flip)."""
    sign = np.array([-1.0, 1.0, 1.0, 1.0, -1.0, -1.0])
    return np.asarray(covariance * np.outer(sign, sign))


def mirror_finding(side: str) -> Finding:
    """Return the finding that stands on a result for a side that was not scanned."""
    return Finding(
        "mirrored-side",
        "warning",
        f"judged for the side that was not scanned, as the mirror image of the {side} one; "
        "mirroring does not settle: " + "; ".join(NOT_SETTLED),
    )


def checked_side_finding(places: int) -> Finding:
    """Return the finding that stands beside a comparison with a scan of the other side.

    Parameters
    ----------
    places : int
        Places where the mirror image differs from it.
    """
    told = "no place" if places == 0 else "one place" if places == 1 else f"{places} places"
    return Finding(
        "mirror-checked",
        "note" if places == 0 else "warning",
        f"the mirror image differs from the scan of that side in {told}; whatever a scan shows, "
        "mirroring does not settle: " + "; ".join(NOT_SETTLED[:-1]),
    )
