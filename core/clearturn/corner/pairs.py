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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.mirror import mirrored_seat
from clearturn.corner.seats import excluded_faces
from clearturn.job import judging
from clearturn.job.judging import Requirements
from clearturn.job.model import Corner, PairRule, Seat
from clearturn.progress import Progress, check
from clearturn.result import Motion, PlacedPart

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


WHEEL_KINDS = frozenset({"wheel", "barrel", "spokes"})
_VEHICLE = frozenset(
    {"hub", "studs", "knuckle", "bearing housing", "shield", "steering arm", "tie rod"}
    | {"control arm", "damper", "hose", "rubber boot"}
)
_CALIPERS = frozenset({"caliper", "bracket", "parking caliper"})

NO_GAP_SAME_BODY = "parts of one body"
NO_GAP_AS_SCANNED = "parts of the vehicle, unchanged against each other"
NO_GAP_FITS = "register, studs and flange: fits and hub diameters"
LEFT_OUT_BY_JOB = "left out by the job: "
NO_GAP_HOUSING = "bearing housing in the hat: a hub diameter"


@dataclass(frozen=True, slots=True)
class Row:
    """What the table says of two kinds: a row to judge by, or why there is no gap to judge."""

    kind: str | None
    required_mm: float = 0.0
    no_gap: str = ""


def row_for(
    first: PlacedPart,
    second: PlacedPart,
    requirements: Requirements,
    *,
    ring: str = "iron",
    housing_is_checked: bool = True,
) -> Row:
    """Return the table's row for two parts, in either order.

    Parameters
    ----------
    requirements : Requirements
    ring : {"iron", "ceramic"}
        Material of the rotor's ring.
    housing_is_checked : bool
        Whether the bearing housing is among the job's hub diameters; if not, it is judged as
        the rest of the knuckle.
    """
    no_gap = _no_gap(first, second, housing_is_checked)
    return Row(None, no_gap=no_gap) if no_gap else _judged_row(first, second, requirements, ring)


def _no_gap(first: PlacedPart, second: PlacedPart, housing_is_checked: bool) -> str:
    """Return why two parts have no gap to judge, or nothing."""
    kinds = {first.kind, second.kind}
    if kinds <= WHEEL_KINDS:
        return NO_GAP_SAME_BODY
    if kinds <= _VEHICLE:
        return NO_GAP_AS_SCANNED
    if kinds & {"hub", "studs"} and kinds & (WHEEL_KINDS | {"rotor"}):
        return NO_GAP_FITS
    is_posed = Motion.POSED in (first.motion, second.motion)
    if kinds == {"rotor", "bearing housing"} and housing_is_checked and not is_posed:
        return NO_GAP_HOUSING
    return ""


def _judged_row(first: PlacedPart, second: PlacedPart, need: Requirements, ring: str) -> Row:
    kinds = {first.kind, second.kind}
    if "rubber boot" in kinds:
        return Row(judging.RUBBER_BOOT, need.rubber_boot_mm)
    if Motion.POSED in (first.motion, second.motion):
        return Row(judging.TURNING_POSED, need.turning_posed_mm)
    if kinds & _CALIPERS:
        if "barrel" in kinds:
            return Row(judging.CALIPER_BARREL, need.caliper_barrel_mm)
        if kinds & {"spokes", "wheel"}:
            return Row(judging.CALIPER_SPOKES, need.caliper_spokes_mm)
        if "rotor" in kinds:
            of_ring = {
                "iron": need.caliper_ring_iron_mm,
                "ceramic": need.caliper_ring_ceramic_mm,
            }
            return Row(judging.CALIPER_RING, of_ring[ring])
    if "rotor" in kinds:
        if "shield" in kinds:
            return Row(judging.ROTOR_SHIELD, need.rotor_shield_mm)
        if kinds & {"knuckle", "bearing housing", "steering arm"}:
            return Row(judging.ROTOR_KNUCKLE, need.rotor_knuckle_mm)
    if (first.motion is Motion.TURNS) != (second.motion is Motion.TURNS):
        return Row(judging.TURNING_FIXED, need.turning_fixed_mm)
    return Row(judging.FIXED_FIXED, need.fixed_fixed_mm)


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A pair that is left out, and why."""

    first: str
    second: str
    reason: str


def pairs_of(
    parts: Sequence[PlacedPart],
    corner: Corner,
    body_of: Mapping[str, str],
    progress: Progress | None = None,
) -> tuple[tuple[PairSpec, ...], tuple[NotJudged, ...]]:
    """Return the pairs to judge by table, rules and seats, and those left out with the reason.

    Parameters
    ----------
    parts : sequence of PlacedPart
        Split near the seats.
    corner : Corner
    body_of : mapping of str to str
        Placed part's name to the name of the job's part it comes from.
    """
    pairs, left_out = [], []
    for i, first in enumerate(parts):
        check(progress)
        for second in parts[i + 1 :]:
            names = {body_of[first.name], body_of[second.name]}
            rule = next((r for r in corner.pairs if {r.first, r.second} == names), None)
            ring = corner.rotor.material if corner.rotor else "iron"
            row = row_for(
                first,
                second,
                corner.requirements,
                ring=ring,
                housing_is_checked=corner.hub_checks.housing_in_hat is not None,
            )
            if len(names) == 1:
                row = Row(None, no_gap=NO_GAP_SAME_BODY)
            elif rule is not None:
                row = _by_rule(_judged_row(first, second, corner.requirements, ring), rule)
            if row.kind is None:
                left_out.append(NotJudged(first.name, second.name, row.no_gap))
            else:
                pairs.append(_spec(first, second, row, corner, body_of))
    return tuple(pairs), tuple(left_out)


def _by_rule(row: Row, rule: PairRule) -> Row:
    if not rule.judged:
        return Row(None, no_gap=LEFT_OUT_BY_JOB + rule.reason)
    return row if rule.required_mm is None else replace(row, required_mm=rule.required_mm)


def _spec(
    first: PlacedPart,
    second: PlacedPart,
    row: Row,
    corner: Corner,
    body_of: Mapping[str, str],
) -> PairSpec:
    names = {body_of[first.name], body_of[second.name]}
    seats = [seat for seat in corner.seats if {seat.part, seat.on} == names]
    if corner.mirror:
        seats = [mirrored_seat(seat) for seat in seats]
    turning = (first.motion is Motion.TURNS) != (second.motion is Motion.TURNS)
    return PairSpec(
        first.name,
        second.name,
        row.kind or "",
        "turning" if turning else "still",
        row.required_mm,
        _excluded(first, seats),
        _excluded(second, seats),
        tuple(seat.name for seat in seats),
    )


def _excluded(part: PlacedPart, seats: Sequence[Seat]) -> FaceIndices:
    if not seats:
        return _no_faces()
    found = np.unique(np.concatenate([excluded_faces(part.mesh, seat) for seat in seats]))
    found.flags.writeable = False
    return found
