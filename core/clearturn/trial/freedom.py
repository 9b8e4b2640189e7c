"""The ways in which parts really can be moved, and the number of the job behind each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.placement import WEIGHTS_ALLOWED
from clearturn.errors import InputError
from clearturn.job.edits import corner_of, put, with_corner, with_spacer
from clearturn.job.model import Corner, Job, Part
from clearturn.result import CheckResult, PlacedPart
from clearturn.verdict.places import clock_of

Vector = NDArray[np.float64]

_DIGITS = 4  # of a number written, mm


@dataclass(frozen=True, slots=True)
class Freedom:
    """One way in which parts really can be moved, and the number of the job behind it.

    Attributes
    ----------
    name : str
        "spacer", "rotor offset" or "caliper in and out".
    axle : str
    along : {"z", "r"}
        How the parts move in the turn section, outboard or outward positive.
    parts : tuple of str
        Names of the placed parts that move.
    held : tuple of str
        Those of them it is taken hold of by.
    has_number : bool
        Whether one number of the job stands for it; if not, a file's pose does.
    """

    name: str
    axle: str
    along: Literal["z", "r"]
    parts: tuple[str, ...]
    held: tuple[str, ...]
    has_number: bool = True


def freedoms(result: CheckResult) -> tuple[Freedom, ...]:
    """Return the freedoms of a checked job; what lies in front on the section comes first."""
    found: list[Freedom] = []
    for axle in result.job.axles:
        parts = [p for p in result.parts if spec_of(result, axle.name, p.name) is not None]
        found += _of_axle(result, axle.name, parts)
    return tuple(found)


def _of_axle(result: CheckResult, axle: str, parts: list[PlacedPart]) -> Iterator[Freedom]:
    corner = corner_of(result.job, axle)
    specs = {p.name: spec_of(result, axle, p.name) for p in parts}
    calipers = [p.name for p in parts if p.kind == "caliper" and _is_placed(specs[p.name])]
    for name in calipers:
        yield Freedom("caliper in and out", axle, "r", (name,), (name,), is_made(specs[name]))
    for part in parts:
        spec = specs[part.name]
        if part.kind != "rotor" or spec is None or not _is_placed(spec):
            continue
        # The ring's mid-plane places a caliper that is made from dimensions.
        follow = [n for n in calipers if spec.dimensions and is_made(specs[n])]
        yield Freedom("rotor offset", axle, "z", (part.name, *follow), (part.name,), is_made(spec))
    wheel = tuple(p.name for p in parts if _rides_on_wheel(corner, specs[p.name]))
    if corner.seat_stack is not None and wheel:
        yield Freedom("spacer", axle, "z", wheel, wheel)


def _is_placed(spec: Part | None) -> bool:
    return spec is not None and (spec.dimensions is not None or spec.mesh is not None)


def is_made(spec: Part | None) -> bool:
    """Return whether a part is made from dimensions."""
    return spec is not None and spec.dimensions is not None


def _rides_on_wheel(corner: Corner, spec: Part | None) -> bool:
    # As `corner.frames` places them: everything of the wheel's scan sits on the pad.
    frame = corner.wheel_frame
    if spec is None or spec.scan is None or frame is None:
        return False
    pad = next((d for d in corner.datums if d.name == frame.pad), None)
    return pad is not None and spec.scan.scan == pad.scan


def spec_of(result: CheckResult, axle: str, name: str) -> Part | None:
    """Return the job's part behind a placed one of an axle, or None if it is not of that axle."""
    head = _head(result, axle)
    if not name.startswith(head):
        return None
    bare = name[len(head) :]
    named = {part.name: part for part in corner_of(result.job, axle).parts}
    return named.get(bare) or named.get(bare.removesuffix(WEIGHTS_ALLOWED))


def _head(result: CheckResult, axle: str) -> str:
    return f"{axle} " if len(result.job.axles) > 1 else ""


def number_of(job: Job, freedom: Freedom) -> float:
    """Return the number of the job that a freedom changes, mm; nan for a posed mesh file."""
    corner = corner_of(job, freedom.axle)
    if not freedom.has_number:
        return float("nan")
    if freedom.name == "spacer" and corner.seat_stack is not None:
        return corner.seat_stack.spacer_mm
    if freedom.name == "rotor offset" and corner.rotor is not None:
        return corner.rotor.hat_offset_mm
    if freedom.name == "caliper in and out" and corner.caliper is not None:
        return corner.caliper.outer_radius_mm
    return float("nan")


def moved_by(result: CheckResult, job: Job, freedom: Freedom) -> float:
    """Return how far a job's number has moved the parts since the result, mm along the freedom."""
    now, then = number_of(job, freedom), number_of(result.job, freedom)
    if not np.isnan(now) and not np.isnan(then):
        return -(now - then) if freedom.name == "rotor offset" else now - then
    old = spec_of(result, freedom.axle, freedom.held[0])
    parts = {part.name: part for part in corner_of(job, freedom.axle).parts}
    new = None if old is None else parts.get(old.name)
    if old is None or old.mesh is None or new is None or new.mesh is None:
        return 0.0
    ends = [np.array(one.mesh.hub_from_mesh)[:3, 3] for one in (old, new) if one.mesh is not None]
    unit = _unmirrored(corner_of(job, freedom.axle), step_of_file(result, freedom, 1.0))
    return float((ends[1] - ends[0]) @ unit)


def tried(result: CheckResult, job: Job, freedom: Freedom, by_mm: float) -> Job:
    """Return the job with a freedom's parts moved further by an amount.

    Parameters
    ----------
    result : CheckResult
        Of this job or an earlier state of it: tells which part is meant.
    job : Job
    by_mm : float
        Outboard or outward positive.

    Raises
    ------
    InputError
        If the corner has no such number, or it cannot become that.
    """
    corner = corner_of(job, freedom.axle)
    if freedom.name == "spacer":
        if corner.seat_stack is None:
            raise InputError("the corner has no seat stack any more")
        spacer = round(corner.seat_stack.spacer_mm + by_mm, _DIGITS)
        return with_corner(job, freedom.axle, with_spacer(corner, spacer))
    spec = spec_of(result, freedom.axle, freedom.held[0])
    if spec is not None and spec.mesh is not None:
        step = _unmirrored(corner, step_of_file(result, freedom, by_mm))
        x, y, z, last = spec.mesh.hub_from_mesh
        rows = [
            (*row[:3], round(row[3] + float(by), _DIGITS))
            for row, by in zip((x, y, z), step, strict=True)
        ]
        mesh = replace(spec.mesh, hub_from_mesh=(rows[0], rows[1], rows[2], last))
        return with_corner(job, freedom.axle, put(corner, replace(spec, mesh=mesh)))
    return with_corner(job, freedom.axle, _resized(corner, freedom, by_mm))


def _resized(corner: Corner, freedom: Freedom, by_mm: float) -> Corner:
    rotor, caliper = corner.rotor, corner.caliper
    if freedom.name == "rotor offset" and rotor is not None:
        # The hat offset grows inboard.
        offset = round(rotor.hat_offset_mm - by_mm, _DIGITS)
        return replace(corner, rotor=replace(rotor, hat_offset_mm=offset))
    if freedom.name != "caliper in and out" or caliper is None:
        raise InputError("the corner has no such dimensions any more")

    def out(radius_mm: float) -> float:
        return round(radius_mm + by_mm, _DIGITS)

    boxes = tuple(
        replace(box, r_from_mm=out(box.r_from_mm), r_to_mm=out(box.r_to_mm))
        for box in caliper.boxes
    )
    return replace(
        corner,
        caliper=replace(
            caliper,
            outer_radius_mm=out(caliper.outer_radius_mm),
            bridge_inner_radius_mm=out(caliper.bridge_inner_radius_mm),
            inner_radius_mm=out(caliper.inner_radius_mm),
            boxes=boxes,
        ),
    )


def step_of_file(result: CheckResult, freedom: Freedom, by_mm: float) -> Vector:
    """Return the step in space, (3,) mm, of a part in a file that moves along its freedom."""
    if freedom.along == "z":
        return np.array([0.0, 0.0, by_mm])
    middle = placed_part(result, freedom.held[0]).mesh.vertices.mean(axis=0)
    clock = np.radians(clock_of(middle))
    return by_mm * np.array([np.sin(clock), np.cos(clock), 0.0])


def _unmirrored(corner: Corner, step: Vector) -> Vector:
    return step * np.array([-1.0, 1.0, 1.0]) if corner.mirror else step


def placed_part(result: CheckResult, name: str) -> PlacedPart:
    """Return a placed part by its name."""
    return next(part for part in result.parts if part.name == name)
