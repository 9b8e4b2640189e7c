"""Pure edits: a job in, a changed job out.

Every change of a job goes through here, so that undo only has to keep jobs.  An edit that changes
nothing returns the very same object.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from clearturn.errors import InputError
from clearturn.job.judging import AllowanceEntry
from clearturn.job.model import Axle, Corner, Datum, Job, PairRule, Part, Scan, Seat, SignOff
from clearturn.job.positions import JsonPath, shown

T = TypeVar("T")
_NAMED_LISTS = ("scans", "datums", "parts", "seats")


def path_of(text: str) -> JsonPath:
    """Return the path written as ``axles[0].corner.rotor.bore_diameter_mm``.

    Raises
    ------
    InputError
        If the text is no path.
    """
    if not re.fullmatch(r"[A-Za-z_]\w*(\[\d+\])*(\.[A-Za-z_]\w*(\[\d+\])*)*", text):
        raise InputError("not a path into a job", found=repr(text))
    return tuple(
        int(index) if index else word
        for word, index in re.findall(r"([A-Za-z_]\w*)|\[(\d+)\]", text)
    )


def value_at(job: Job, path: JsonPath) -> Any:
    """Return what stands at a path.

    Raises
    ------
    InputError
        If nothing does.
    """
    here: Any = job
    for depth, step in enumerate(path):
        here = _child(here, step, path[: depth + 1])
    return here


def with_value(job: Job, path: JsonPath, value: object) -> Job:
    """Return the job with another value at a path.

    Raises
    ------
    InputError
        If the path leads nowhere.
    """
    changed: Job = _with(job, path, value, ())
    return changed


def _child(here: Any, step: str | int, path: JsonPath) -> Any:
    if isinstance(step, int) and isinstance(here, tuple | list) and step < len(here):
        return here[step]
    if isinstance(step, str) and isinstance(here, dict) and step in here:
        return here[step]
    if isinstance(step, str) and is_dataclass(here) and step in _names(here):
        return getattr(here, step)
    raise InputError("there is nothing at this place of the job", place=shown(path))


def _names(here: Any) -> list[str]:
    return [entry.name for entry in fields(here)]


def _with(here: Any, path: JsonPath, value: object, above: JsonPath) -> Any:
    if not path:
        return value
    step, rest = path[0], path[1:]
    at = (*above, step)
    if isinstance(here, dict) and isinstance(step, str) and not rest:
        return {**here, step: value}
    old = _child(here, step, at)
    new = _with(old, rest, value, at)
    if new is old or (not rest and new == old and type(new) is type(old)):
        return here
    if isinstance(here, dict):
        return {**here, step: new}
    if isinstance(here, tuple | list):
        return type(here)(new if i == step else item for i, item in enumerate(here))
    return replace(here, **{str(step): new})


def with_corner(job: Job, axle: str, corner: Corner) -> Job:
    """Return the job with another corner on an axle; a new axle is added behind the others."""
    for i, one in enumerate(job.axles):
        if one.name == axle:
            if one.corner == corner:
                return job
            axles = (*job.axles[:i], replace(one, corner=corner), *job.axles[i + 1 :])
            return replace(job, axles=axles)
    if axle not in ("front", "rear"):
        raise InputError("no such axle", found=repr(axle), allowed="'front', 'rear'")
    return replace(job, axles=(*job.axles, Axle("front" if axle == "front" else "rear", corner)))


def corner_of(job: Job, axle: str) -> Corner:
    """Return an axle's corner.

    Raises
    ------
    InputError
        If the job has no such axle.
    """
    for one in job.axles:
        if one.name == axle:
            return one.corner
    names = ", ".join(repr(one.name) for one in job.axles) or "none yet"
    raise InputError("the job has no such axle", found=repr(axle), allowed=names)


def put(corner: Corner, entry: Scan | Datum | Part | Seat) -> Corner:
    """Return the corner with an entry in place of that of the same name, else behind the others."""
    key = {Scan: "scans", Datum: "datums", Part: "parts", Seat: "seats"}[type(entry)]
    entries: Sequence[Any] = getattr(corner, key)
    names = [one.name for one in entries]
    if entry.name not in names:
        return _replaced(corner, key, (*entries, entry))
    i = names.index(entry.name)
    if entries[i] == entry:
        return corner
    return _replaced(corner, key, (*entries[:i], entry, *entries[i + 1 :]))


def without(corner: Corner, key: str, name: str) -> Corner:
    """Return the corner without a scan, datum, part or seat, and without what only spoke of it.

    Removing a part removes its seats, pair rules and allowances; removing a scan removes its
    datums and parts.

    Raises
    ------
    InputError
        If there is none of this name.
    """
    if key not in _NAMED_LISTS:
        raise InputError("no such list", found=repr(key), allowed=", ".join(_NAMED_LISTS))
    entries: Sequence[Any] = getattr(corner, key)
    kept = tuple(one for one in entries if one.name != name)
    if len(kept) == len(entries):
        raise InputError(f"there is nothing of this name in {key}", found=repr(name))
    corner = _replaced(corner, key, kept)
    if key == "parts":
        return _without_part(corner, name)
    if key == "scans":
        for datum in [d for d in corner.datums if d.scan == name]:
            corner = without(corner, "datums", datum.name)
        for item in [p for p in corner.parts if p.scan is not None and p.scan.scan == name]:
            corner = without(corner, "parts", item.name)
    if key == "datums":
        return _without_datum(corner, name)
    return corner


def _without_part(corner: Corner, name: str) -> Corner:
    return replace(
        corner,
        seats=tuple(s for s in corner.seats if name not in (s.part, s.on)),
        pairs=tuple(p for p in corner.pairs if name not in (p.first, p.second)),
        allowances=tuple(a for a in corner.allowances if a.part != name),
    )


def _without_datum(corner: Corner, name: str) -> Corner:
    hub, wheel = corner.hub_frame, corner.wheel_frame
    if hub is not None and name in (hub.plane, hub.axis, hub.clocking):
        corner = replace(corner, hub_frame=None)
    if wheel is not None and name in (wheel.pad, wheel.bore):
        corner = replace(corner, wheel_frame=None)
    scans = tuple(
        replace(s, size_check=tuple(one for one in s.size_check if name not in one.datums))
        for s in corner.scans
    )
    if scans != corner.scans:
        corner = replace(corner, scans=scans)
    checks = corner.hub_checks
    for key in ("rotor_register", "wheel_register", "flange_in_hat", "housing_in_hat"):
        one = getattr(checks, key)
        if one is not None and name in (one.shaft.datum, one.hole.datum):
            checks = replace(checks, **{key: None})
    return corner if checks is corner.hub_checks else replace(corner, hub_checks=checks)


def _replaced(corner: Corner, key: str, value: object) -> Corner:
    # One keyword chosen at run time; the types are those of the list it came from.
    changed: Corner = replace(corner, **{key: value})  # type: ignore[arg-type]
    return changed


def with_spacer(corner: Corner, spacer_mm: float) -> Corner:
    """Return the corner with another spacer between hat and wheel.

    Raises
    ------
    InputError
        If there is no seat stack yet, or the thickness is negative.
    """
    if corner.seat_stack is None:
        raise InputError("the corner has no seat stack yet")
    if spacer_mm < 0:
        raise InputError("a spacer cannot be thinner than nothing", found=f"{spacer_mm:g}")
    if corner.seat_stack.spacer_mm == spacer_mm:
        return corner
    return replace(corner, seat_stack=replace(corner.seat_stack, spacer_mm=spacer_mm))


def with_allowance(corner: Corner, entry: AllowanceEntry) -> Corner:
    """Return the corner with an allowance, in place of one of the same name and part."""
    same = [(a.name, a.part) == (entry.name, entry.part) for a in corner.allowances]
    if not any(same):
        return replace(corner, allowances=(*corner.allowances, entry))
    changed = tuple(
        entry if is_same else old for old, is_same in zip(corner.allowances, same, strict=True)
    )
    return corner if changed == corner.allowances else replace(corner, allowances=changed)


def with_pair_rule(corner: Corner, rule: PairRule) -> Corner:
    """Return the corner with a rule for a pair, in place of an older one for the same pair."""
    names = {rule.first, rule.second}
    kept = tuple(r for r in corner.pairs if {r.first, r.second} != names)
    changed = (*kept, rule)
    return corner if changed == corner.pairs else replace(corner, pairs=changed)


def signed_off(job: Job, entry: SignOff) -> Job:
    """Return the job with an operation signed off, in place of an older signature."""
    kept = tuple(one for one in job.sign_offs if one.operation != entry.operation)
    changed = (*kept, entry)
    return job if changed == job.sign_offs else replace(job, sign_offs=changed)


def sign_off_lifted(job: Job, operation: str) -> Job:
    """Return the job without the signature on an operation."""
    kept = tuple(one for one in job.sign_offs if one.operation != operation)
    return job if len(kept) == len(job.sign_offs) else replace(job, sign_offs=kept)


def with_sum(job: Job, name: str, content: dict[str, Any]) -> Job:
    """Return the job with another content of one trade sum."""
    if job.sums.get(name) == content:
        return job
    return replace(job, sums={**job.sums, name: content})
