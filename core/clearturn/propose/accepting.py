"""Taking proposals into a corner of a job: datums, frames and the split into parts."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from clearturn.errors import InputError
from clearturn.findings import Finding
from clearturn.job import model
from clearturn.job.edits import put
from clearturn.propose.model import DOUBTFUL, Proposals, Proposed, Vec3

KNUCKLE_PARTS = ("hub", "bearing housing", "knuckle")


@dataclass(frozen=True, slots=True)
class Accepted:
    """A corner with proposals taken in.

    Attributes
    ----------
    corner : Corner
    taken : tuple of str
        What was written: names of datums, "hub frame", "wheel frame", names of parts.
    findings : tuple of Finding
        What was not taken, and why.
    """

    corner: model.Corner
    taken: tuple[str, ...]
    findings: tuple[Finding, ...]


def accept(
    corner: model.Corner,
    scan: str,
    found: Proposals,
    names: Iterable[str] | None = None,
    *,
    up: Vec3 | None = None,
) -> Accepted:
    """Take proposals of one scan into a corner.

    Parameters
    ----------
    corner : Corner
    scan : str
        Name of the scan they were made on.
    found : Proposals
    names : iterable of str, optional
        Which ones; they replace datums of the same name.  Without it all whose confidence is not
        below `DOUBTFUL` and whose name the corner does not have yet.
    up : vector, optional
        Roughly up, as it was given to the proposals: without it no hub frame is made, since
        nothing else tells the clock angle.

    Raises
    ------
    InputError
        If a name is not among the proposals, or is nothing a datum can be made of.
    """
    if scan not in [one.name for one in corner.scans]:
        raise InputError("the corner has no scan of this name", found=repr(scan))
    chosen, findings = _chosen(corner, found, names)
    taken = []
    for one in chosen:
        corner = put(corner, proposed_datum(one, scan))
        taken.append(one.name)
    if names is None:
        corner, more = _with_frame(corner, scan, found, up, findings)
        taken += more
        if found.part == "knuckle":
            corner, more = _with_parts(corner, scan, found)
            taken += more
    return Accepted(corner, tuple(taken), tuple(findings))


def _chosen(
    corner: model.Corner, found: Proposals, names: Iterable[str] | None
) -> tuple[list[Proposed], list[Finding]]:
    if names is not None:
        return [_of_name(found, name) for name in names], []
    there = [datum.name for datum in corner.datums]
    chosen, findings = [], []
    for one in found.proposed:
        if one.feature is None or one.name in there:
            continue
        if one.confidence >= DOUBTFUL:
            chosen.append(one)
            continue
        findings.append(
            Finding(
                "proposal-doubtful",
                "warning",
                f"{one.name} was not taken, its confidence is only {one.confidence:.2f}: name it "
                "to take it all the same, or touch the feature.",
            )
        )
    return chosen, findings


def _of_name(found: Proposals, name: str) -> Proposed:
    one = found.named(name)
    datums = ", ".join(repr(p.name) for p in found.proposed if p.feature is not None)
    if one is None:
        raise InputError("nothing of this name is proposed", found=repr(name), allowed=datums)
    if one.feature is None:
        raise InputError("no datum can be made of this", found=repr(name), allowed=datums)
    return one


def proposed_datum(one: Proposed, scan: str) -> model.Datum:
    """Return the datum a proposal of a feature becomes on a scan."""
    feature: model.FeatureWord = "plane" if one.feature == "plane" else "cylinder"
    return model.Datum(one.name, scan, feature, one.seeds_mm, True, one.normal_deg, one.limit_mm)


def _with_frame(
    corner: model.Corner,
    scan: str,
    found: Proposals,
    up: Vec3 | None,
    findings: list[Finding],
) -> tuple[model.Corner, list[str]]:
    mine = {datum.name for datum in corner.datums if datum.scan == scan}
    x, y, z = (float(v) for v in found.part_from_scan[2, :3].round(4))
    if found.part == "wheel":
        if corner.wheel_frame is not None or not {"wheel pad", "wheel bore"} <= mine:
            return corner, []
        if corner.seat_stack is None:
            text = "The wheel's frame was not written: the corner has no seat stack yet."
            findings.append(Finding("no-seat-stack", "note", text))
            return corner, []
        frame = model.WheelFrame("wheel pad", "wheel bore", (x, y, z))
        return replace(corner, wheel_frame=frame), ["wheel frame"]
    register = "register" if "register" in mine else "rotor register"
    if corner.hub_frame is not None or not {"hub face", register, "lug 1 bore"} <= mine:
        return corner, []
    lug = found.named("lug 1 bore")
    if up is None or lug is None or lug.fit is None:
        text = "The hub frame was not written: give up, which nothing else on a scan tells."
        findings.append(Finding("up-not-given", "note", text))
        return corner, []
    pose = found.part_from_scan
    at = pose[:3, :3] @ lug.fit.point_mm + pose[:3, 3]
    clock = round(math.degrees(math.atan2(at[0], at[1])) % 360.0, 2)
    hub = model.HubFrame("hub face", register, "lug 1 bore", clock, (x, y, z), up)
    text = (
        f"The clock angle {clock:g}° of lug 1 bore comes from the up given and is as rough as that."
    )
    findings.append(Finding("clock-from-up", "note", text))
    return replace(corner, hub_frame=hub), ["hub frame"]


def _with_parts(
    corner: model.Corner, scan: str, found: Proposals
) -> tuple[model.Corner, list[str]]:
    """Write hub, bearing housing and knuckle, where the corner has no part of the scan yet."""
    split, housing = found.named("turning faces"), found.named("bearing housing")
    framed = corner.hub_frame is not None and any(
        d.name == corner.hub_frame.plane and d.scan == scan for d in corner.datums
    )
    used = any(p.scan is not None and p.scan.scan == scan for p in corner.parts)
    names = {p.name for p in corner.parts}
    if split is None or split.confidence < DOUBTFUL or not framed or used:
        return corner, []
    if names & set(KNUCKLE_PARTS):
        return corner, []
    z = float(np.round(split.values["z_from_mm"], 2))
    hub = model.Band(
        r_to_mm=float(np.round(split.values["r_to_mm"], 2)),
        z_from_mm=z,
        z_to_mm=float(np.round(split.values["z_to_mm"], 2)),
    )
    parts = [_part("hub", "hub", "turns", scan, model.BandFaces("band", hub))]
    if housing is not None and housing.confidence >= DOUBTFUL:
        band = model.Band(
            r_to_mm=float(np.round(housing.values["radius_mm"] + 3.0, 2)),
            z_from_mm=float(np.round(housing.values["z_from_mm"] - 2.0, 2)),
            z_to_mm=z,
        )
        parts.append(
            _part(
                "bearing housing", "bearing housing", "fixed", scan, model.BandFaces("band", band)
            )
        )
    parts.append(_part("knuckle", "knuckle", "fixed", scan, model.RestFaces("rest")))
    for part in parts:
        corner = put(corner, part)
    return corner, [f"part {part.name}" for part in parts]


def _part(
    name: str,
    kind: model.PartKind,
    motion: model.MotionWord,
    scan: str,
    faces: model.FaceChoice,
) -> model.Part:
    return model.Part(name, kind, motion, scan=model.ScanFaces(scan, (faces,)))
