"""Proposals on the scans of a corner: which is the knuckle, which the wheel."""

from __future__ import annotations

from collections.abc import Mapping

from clearturn.corner.sources import Source
from clearturn.datum import AxisDifference, AxisFit, PlaneFit, compare_axes
from clearturn.errors import FitProblem
from clearturn.job import model
from clearturn.progress import Progress
from clearturn.propose.knuckle import propose_knuckle
from clearturn.propose.model import PartWord, Proposals, Vec3
from clearturn.propose.wheel import propose_wheel


def propose(
    source: Source,
    corner: model.Corner,
    part: PartWord | None = None,
    *,
    up: Vec3 | None = None,
    progress: Progress | None = None,
) -> Proposals:
    """Propose the datums of one scan of a corner.

    Parameters
    ----------
    source : Source
        The scan as read and cleaned.
    corner : Corner
        Its frames, where there are any, tell outboard and up.
    part : {"knuckle", "wheel"}, optional
        What the scan shows; else told from the frames, else from the shape.
    up : vector, optional
        Roughly up in the scan's coordinates; else the hub frame's.

    Raises
    ------
    FitProblem
        If neither a hub face nor a pad is found.
    """
    told, outboard, known_up = _from_frames(source.scan.name, corner)
    part = part or told
    if part == "knuckle":
        return propose_knuckle(
            source.mesh, source.kept, outboard=outboard, up=up or known_up, progress=progress
        )
    if part == "wheel":
        return propose_wheel(source.mesh, source.kept, outboard=outboard, up=up, progress=progress)
    return _by_shape(source, up, progress)


def _from_frames(
    scan: str, corner: model.Corner
) -> tuple[PartWord | None, Vec3 | None, Vec3 | None]:
    on = {datum.name: datum.scan for datum in corner.datums}
    hub, wheel = corner.hub_frame, corner.wheel_frame
    if hub is not None and on.get(hub.plane) == scan:
        return "knuckle", hub.outboard, hub.up
    if wheel is not None and on.get(wheel.pad) == scan:
        return "wheel", wheel.outboard, None
    return None, None, None


def _by_shape(source: Source, up: Vec3 | None, progress: Progress | None) -> Proposals:
    found: list[Proposals] = []
    problems: list[FitProblem] = []
    for make in (propose_wheel, propose_knuckle):
        try:
            found.append(make(source.mesh, source.kept, up=up, progress=progress))
        except FitProblem as problem:
            problems.append(problem)
    if not found:
        raise problems[-1]
    return max(found, key=_face_confidence)


def _face_confidence(found: Proposals) -> float:
    face = found.named("hub face" if found.part == "knuckle" else "wheel pad")
    return 0.0 if face is None else face.confidence


def ways_to_the_axis(found: Proposals) -> tuple[AxisDifference, ...]:
    """Compare the spin axis with the proposed bore or register and with face or pad."""
    names: Mapping[str, tuple[str, ...]] = {
        "knuckle": ("register", "rotor register", "bearing housing", "hub face"),
        "wheel": ("wheel bore", "wheel pad"),
    }
    datums: dict[str, AxisFit | PlaneFit] = {"outline": found.axis}
    for name in names[found.part]:
        one = found.named(name)
        if one is not None and one.fit is not None:
            datums[name] = one.fit
    if len(datums) < 2:
        return ()
    pose = found.part_from_scan
    return compare_axes(datums, -pose[:3, :3].T @ pose[:3, 3])
