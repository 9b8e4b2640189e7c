"""What a job must fulfil beyond types: names that exist, sizes that fit, seats without a circle."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Iterator, Sequence

from clearturn.errors import InputError
from clearturn.job.fault import Fault, twice, unknown
from clearturn.job.limits import limit_faults
from clearturn.job.model import (
    Axle,
    Band,
    BandFaces,
    Corner,
    DropBand,
    Job,
    Part,
    ScanFaces,
)
from clearturn.job.positions import JsonPath
from clearturn.job.rules_access import access_faults
from clearturn.job.rules_judging import allowance_faults, hub_faults
from clearturn.job.rules_sizes import hand_size_faults
from clearturn.pose import rigid
from clearturn.trade.sums import problems

COVERAGE_FACTORS = (2.0, 1.65)


def faults(job: Job) -> Iterator[Fault]:
    """Yield what is wrong with a job, in the order of the file."""
    if len(job.axles) > 2:
        yield Fault(("axles",), "a job holds at most two axles", found=str(len(job.axles)))
    yield from limit_faults(job)
    yield from twice(("axles",), [axle.name for axle in job.axles], "axle")
    for i, axle in enumerate(job.axles):
        yield from _corner_faults(("axles", i, "corner"), axle)
    for i, entry in enumerate(job.sign_offs):
        try:
            datetime.date.fromisoformat(entry.date)
        except ValueError:
            yield Fault(
                ("sign_offs", i, "date"),
                "not a date",
                found=repr(entry.date),
                allowed="year-month-day, as 2031-05-17",
            )
    for fault in problems(job.sums):
        path: JsonPath = ("sums", *fault.path)
        yield Fault(path, fault.problem, fault.found, fault.allowed, fault.mend)
    run_out = job.sums.get("run_out")
    if isinstance(run_out, dict) and run_out.get("readings_csv"):
        yield from _path_faults(("sums", "run_out", "readings_csv"), run_out["readings_csv"])


def _corner_faults(at: JsonPath, axle: Axle) -> Iterator[Fault]:
    corner = axle.corner
    for check in (
        _scan_faults,
        _datum_faults,
        hand_size_faults,
        _frame_faults,
        _dimension_faults,
        _weight_faults,
        _part_faults,
        _seat_faults,
        _pair_faults,
        allowance_faults,
        hub_faults,
        access_faults,
    ):
        yield from check(at, corner)


def _scan_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    yield from twice((*at, "scans"), [scan.name for scan in corner.scans], "scan")
    for i, scan in enumerate(corner.scans):
        here = (*at, "scans", i)
        yield from _path_faults((*here, "path"), scan.path)
        yield from _hash_faults((*here, "sha256"), scan.sha256)
        if scan.hub_from_scan is not None:
            yield from _pose_faults((*here, "hub_from_scan"), scan.hub_from_scan)
        for j, step in enumerate(scan.cleaning):
            if isinstance(step, DropBand):
                yield from _band_faults((*here, "cleaning", j, "band"), step.band)
            if step.step == "drop small pieces" and step.below_triangles < 1:
                yield Fault(
                    (*here, "cleaning", j, "below_triangles"),
                    "a number of triangles is not positive",
                    found=str(step.below_triangles),
                    allowed="1 or more",
                )
            if step.step == "fill holes" and not step.up_to_mm > 0:
                yield Fault(
                    (*here, "cleaning", j, "up_to_mm"),
                    "a hole's size is not positive",
                    found=f"{step.up_to_mm:g}",
                    allowed="more than 0",
                )
            if step.step == "drop beyond plane" and not any(step.normal):
                yield Fault(
                    (*here, "cleaning", j, "normal"),
                    "a normal has no length",
                    found=str(list(step.normal)),
                    allowed="a direction, of any length",
                )
            if step.step in ("keep box", "drop box") and any(
                low >= high for low, high in zip(step.from_mm, step.to_mm, strict=True)
            ):
                yield Fault(
                    (*here, "cleaning", j, "to_mm"),
                    "the box is empty",
                    found=f"{list(step.from_mm)} to {list(step.to_mm)}",
                    allowed="each number of to_mm greater than that of from_mm",
                )


def _path_faults(at: JsonPath, path: str) -> Iterator[Fault]:
    allowed = "a path relative to the job file, with forward slashes"
    if not path or "\0" in path or "\\" in path:
        yield Fault(at, "not a path", found=repr(path), allowed=allowed)
    elif path.startswith(("/", "~")) or re.match(r"[A-Za-z]:", path):
        yield Fault(at, "an absolute path would not survive a move", found=path, allowed=allowed)


def _hash_faults(at: JsonPath, sha256: str) -> Iterator[Fault]:
    if not re.fullmatch(r"[0-9a-f]{64}", sha256):
        yield Fault(at, "not a hash", found=repr(sha256), allowed="64 hexadecimal digits (SHA-256)")


def _pose_faults(at: JsonPath, pose: Sequence[Sequence[float]]) -> Iterator[Fault]:
    try:
        rigid(pose)
    except InputError as error:
        yield Fault(at, error.problem, found=error.found, allowed=error.allowed)


def _datum_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    yield from twice((*at, "datums"), [datum.name for datum in corner.datums], "datum")
    scans = [scan.name for scan in corner.scans]
    for i, datum in enumerate(corner.datums):
        here = (*at, "datums", i)
        yield from unknown((*here, "scan"), datum.scan, scans, "scan")
        if not datum.seeds_mm:
            yield Fault(
                (*here, "seeds_mm"),
                "a datum needs a touched point",
                found="none",
                allowed="one or more points [x, y, z]",
            )


def _frame_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    hub, wheel = corner.hub_frame, corner.wheel_frame
    if hub is not None:
        wanted = {
            "plane": (hub.plane, ("plane",)),
            "axis": (hub.axis, ("cylinder", "cone", "line")),
            "clocking": (hub.clocking, ("cylinder", "circle", "cone", "sphere", "line")),
        }
        yield from _datum_uses((*at, "hub_frame"), corner, wanted, hub.outboard)
        if hub.up is not None and not any(hub.up):
            yield Fault((*at, "hub_frame", "up"), "the direction has no length")
    if wheel is not None:
        wanted = {
            "pad": (wheel.pad, ("plane",)),
            "bore": (wheel.bore, ("cylinder", "cone", "line")),
        }
        yield from _datum_uses((*at, "wheel_frame"), corner, wanted, wheel.outboard)
        if corner.seat_stack is None:
            yield Fault(
                (*at, "seat_stack"),
                "a wheel needs the seat stack",
                allowed="old_flange_mm, new_flange_mm and spacer_mm",
            )


def _datum_uses(
    at: JsonPath,
    corner: Corner,
    wanted: dict[str, tuple[str, tuple[str, ...]]],
    outboard: Sequence[float],
) -> Iterator[Fault]:
    datums = {datum.name: datum for datum in corner.datums}
    scans: dict[str, str] = {}
    for key, (name, features) in wanted.items():
        yield from unknown((*at, key), name, datums, "datum")
        if name not in datums:
            continue
        scans[key] = datums[name].scan
        if datums[name].feature not in features:
            yield Fault(
                (*at, key),
                "this feature cannot serve here",
                found=f"{name!r}, a {datums[name].feature}",
                allowed=" or ".join(features),
            )
    if len(set(scans.values())) > 1:
        told = ", ".join(f"{key} on {scan!r}" for key, scan in scans.items())
        yield Fault(at, "the datums of one frame must lie on one scan", found=told)
    if not any(outboard):
        yield Fault((*at, "outboard"), "the direction has no length", found=str(list(outboard)))


def _dimension_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    for key in ("rotor", "caliper", "shield", "bracket"):
        dimensions = getattr(corner, key)
        if dimensions is not None:
            yield from _told((*at, key), dimensions.check)
    stack, rotor = corner.seat_stack, corner.rotor
    if stack is None or rotor is None:
        return
    if abs(stack.new_flange_mm - rotor.flange_thickness_mm) > 1e-9:
        yield Fault(
            (*at, "seat_stack", "new_flange_mm"),
            "the new flange is given twice with different sizes",
            found=f"{stack.new_flange_mm:g} here, {rotor.flange_thickness_mm:g} in "
            "rotor.flange_thickness_mm",
            mend="make them equal",
        )


def _told(at: JsonPath, check: Callable[[str], None]) -> Iterator[Fault]:
    # The dimension classes name a place inside themselves ("boxes[2] (pipe).width_mm").
    try:
        check("")
    except InputError as error:
        steps: list[str | int] = []
        for word, index in re.findall(
            r"([A-Za-z_]\w*)|\[(\d+)\](?: \([^)]*\))?", error.place or ""
        ):
            steps.append(int(index) if index else word)
        yield Fault((*at, *steps), error.problem, error.found, error.allowed, error.mend)


def _weight_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    weights = corner.weights
    low, high = weights.z_from_mm, weights.z_to_mm
    if weights.where == "anywhere":
        return
    if low is None or high is None or low >= high:
        yield Fault(
            (*at, "weights"),
            f"weights {weights.where!r} need a band",
            found="an end that is not given" if None in (low, high) else f"{low:g} to {high:g} mm",
            allowed="a lower end below an upper one",
            mend="give both ends of the band",
        )


def _part_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    yield from twice((*at, "parts"), [part.name for part in corner.parts], "part")
    for i, part in enumerate(corner.parts):
        yield from _one_part((*at, "parts", i), part, corner)


def _one_part(at: JsonPath, part: Part, corner: Corner) -> Iterator[Fault]:
    given = [k for k in ("scan", "mesh", "dimensions") if getattr(part, k) is not None]
    if len(given) != 1:
        problem = "the part has no faces" if not given else "the part is given more than once"
        yield Fault(
            at,
            problem,
            found=f"{part.name!r} with {' and '.join(given) or 'no source'}",
            allowed="exactly one of scan, mesh and dimensions",
        )
    if part.scan is not None:
        yield from _scan_part((*at, "scan"), part.scan, corner)
    if part.mesh is not None:
        yield from _path_faults((*at, "mesh", "path"), part.mesh.path)
        yield from _hash_faults((*at, "mesh", "sha256"), part.mesh.sha256)
        yield from _pose_faults((*at, "mesh", "hub_from_mesh"), part.mesh.hub_from_mesh)
    if part.dimensions is not None and getattr(corner, part.dimensions) is None:
        yield Fault(
            (*at, "dimensions"),
            "the corner has no dimensions of this name",
            found=repr(part.dimensions),
            mend=f"add {part.dimensions!r} to the corner",
        )
    turning = part.kind in ("hub", "studs", "rotor", "wheel", "barrel", "spokes")
    if turning != (part.motion == "turns") and part.kind != "other":
        yield Fault(
            (*at, "motion"),
            "the motion does not fit the kind",
            found=f"a {part.kind} that is {part.motion!r}",
            allowed="'turns'" if turning else "'fixed' or 'posed'",
            mend="use kind 'other' if it is meant so",
        )


def _scan_part(at: JsonPath, faces: ScanFaces, corner: Corner) -> Iterator[Fault]:
    yield from unknown((*at, "scan"), faces.scan, [s.name for s in corner.scans], "scan")
    if not faces.take:
        yield Fault(
            (*at, "take"),
            "the part has no faces",
            found="nothing taken",
            allowed="at least one of patch, band, piece and rest",
        )
    for key in ("take", "leave"):
        for i, choice in enumerate(getattr(faces, key)):
            if isinstance(choice, BandFaces):
                yield from _band_faults((*at, key, i, "band"), choice.band)
    datum_scans = {datum.name: datum.scan for datum in corner.datums}
    framed = {scan.name for scan in corner.scans if scan.hub_from_scan is not None}
    if corner.hub_frame is not None:
        framed.add(datum_scans.get(corner.hub_frame.plane, ""))
    if corner.wheel_frame is not None:
        framed.add(datum_scans.get(corner.wheel_frame.pad, ""))
    if faces.scan in [s.name for s in corner.scans] and faces.scan not in framed:
        yield Fault(
            (*at, "scan"),
            "nothing says where this scan sits",
            found=repr(faces.scan),
            mend="give hub_frame or wheel_frame datums on it, or its hub_from_scan",
        )


def _seat_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    yield from twice((*at, "seats"), [seat.name for seat in corner.seats], "seat")
    parts = [part.name for part in corner.parts]
    sits_on: dict[str, set[str]] = {}
    for i, seat in enumerate(corner.seats):
        here = (*at, "seats", i)
        yield from unknown((*here, "part"), seat.part, parts, "part")
        yield from unknown((*here, "on"), seat.on, parts, "part")
        yield from _band_faults((*here, "band"), seat.band)
        if None in (seat.band.r_to_mm, seat.band.z_from_mm, seat.band.z_to_mm):
            yield Fault(
                (*here, "band"),
                "a seat leaves out a patch, never a whole pair: its band must end",
                allowed="r_to_mm, z_from_mm and z_to_mm given",
            )
        circle = _way(sits_on, seat.on, seat.part)
        if circle:
            told = " on ".join(repr(name) for name in [seat.part, *circle])
            yield Fault(here, "the seats go round in a circle", found=told)
        sits_on.setdefault(seat.part, set()).add(seat.on)


def _band_faults(at: JsonPath, band: Band) -> Iterator[Fault]:
    for low, high in (("r_from_mm", "r_to_mm"), ("z_from_mm", "z_to_mm")):
        start, end = getattr(band, low), getattr(band, high)
        if start is not None and end is not None and start >= end:
            yield Fault(
                (*at, high),
                "the band is empty",
                found=f"{start:g} to {end:g}",
                allowed=f"{high} above {low}",
            )
    if (band.clock_from_deg is None) != (band.clock_to_deg is None):
        yield Fault(at, "a band has both clock ends or neither")


def _way(sits_on: dict[str, set[str]], start: str, goal: str) -> list[str]:
    # The parts from `start` down to `goal`, each sitting on the next; empty if there is no way.
    ways = [[start]]
    seen = {start}
    while ways:
        way = ways.pop()
        if way[-1] == goal:
            return way
        for below in sorted(sits_on.get(way[-1], set()) - seen):
            seen.add(below)
            ways.append([*way, below])
    return []


def _pair_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    parts = [part.name for part in corner.parts]
    for i, rule in enumerate(corner.pairs):
        here = (*at, "pairs", i)
        yield from unknown((*here, "first"), rule.first, parts, "part")
        yield from unknown((*here, "second"), rule.second, parts, "part")
        if rule.first == rule.second:
            yield Fault(here, "a pair needs two parts", found=repr(rule.first))
        if not rule.reason.strip():
            yield Fault((*here, "reason"), "a departure from the table needs its reason")
        named = {rule.first, rule.second}
        if any({other.first, other.second} == named for other in corner.pairs[:i]):
            yield Fault(
                here,
                "two rules for one pair: which of them holds?",
                found=" and ".join(repr(name) for name in sorted(named)),
                mend="keep one of them",
            )
    if corner.coverage_factor not in COVERAGE_FACTORS:
        yield Fault(
            (*at, "coverage_factor"),
            "this coverage factor cannot be chosen",
            found=f"{corner.coverage_factor:g}",
            allowed="2 (about 95 %, two-sided) or 1.65 (about 95 %, one-sided)",
        )
