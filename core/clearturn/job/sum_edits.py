"""Sums begun, added to and taken away, and what a job already tells of their numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from clearturn.errors import InputError
from clearturn.job.model import Job
from clearturn.job.sums import first_axle
from clearturn.trade.inputs import Path, SumProblem
from clearturn.trade.sums import read_sum

_RING = {"iron": "grey iron", "ceramic": "carbon ceramic"}


def with_entry(job: Job, name: str, at: Path, values: Mapping[Path, Any]) -> Job:
    """Return a job with numbers put into a sum, which is begun if need be.

    Parameters
    ----------
    name : str
        Of the sum.
    at : path
        Of the object inside it; one behind the last of a list adds to the list.
    values : mapping
        By the path inside the object; None leaves a place as it is.

    Raises
    ------
    SumProblem
        If the sum makes no sense with them.
    """
    content: Any = job.sums.get(name, {})
    for path, value in values.items():
        if value is not None:
            content = _put(content, (*at, *path), value)
    return _with_sum(job, name, content)


def without_entry(job: Job, name: str, at: Path) -> Job:
    """Return a job without an object of a sum, or without the whole sum.

    Raises
    ------
    SumProblem
        If the sum makes no sense without it.
    InputError
        If there is no such thing in the job.
    """
    if name not in job.sums:
        raise InputError("the job has no such sum", found=repr(name))
    if not at:
        return replace(job, sums={key: one for key, one in job.sums.items() if key != name})
    return _with_sum(job, name, _without(job.sums[name], at, at))


def _with_sum(job: Job, name: str, content: Any) -> Job:
    read_sum(name, content)
    return replace(job, sums={**job.sums, name: content})


def _put(here: Any, path: Path, value: Any) -> Any:
    if not path:
        return value
    step, rest = path[0], path[1:]
    if isinstance(step, int):
        entries = list(here or ())
        if step >= len(entries):
            return [*entries, _put(None, rest, value)]
        return [_put(one, rest, value) if i == step else one for i, one in enumerate(entries)]
    return {**(here or {}), step: _put((here or {}).get(step), rest, value)}


def _without(here: Any, path: Path, whole: Path) -> Any:
    step, rest = path[0], path[1:]
    try:
        inner = here[step]
    except (KeyError, IndexError, TypeError):
        raise SumProblem("there is nothing at this place of the sum", *whole) from None
    if rest:
        changed = _without(inner, rest, whole)
        if isinstance(here, dict):
            return {**here, step: changed}
        return [changed if i == step else one for i, one in enumerate(here)]
    if isinstance(here, dict):
        return {key: one for key, one in here.items() if key != step}
    return [one for i, one in enumerate(here) if i != step]


def known_numbers(job: Job, name: str, at: Path) -> dict[str, Any]:
    """Return what a job already tells of an object of a sum, by the path inside the object.

    From the dimensions of the first axle's rotor, caliper and seat stack, and from other sums.  A
    form begins with it; nothing of it is in the sum until it is taken.
    """
    where = (name, *(step for step in at if isinstance(step, str)))
    maker = _KNOWN.get(where)
    return dict(maker(job)) if maker is not None else {}


Known = Iterator[tuple[str, Any]]


def _kit(job: Job) -> Known:
    axle = first_axle(job)
    if axle is not None and axle.corner.rotor is not None:
        yield "ring_diameter_mm", axle.corner.rotor.ring_outer_diameter_mm


def _pads(job: Job) -> Known:
    axle = first_axle(job)
    if axle is None:
        return
    if axle.corner.rotor is not None:
        yield "ring_inner_diameter_mm", axle.corner.rotor.ring_inner_diameter_mm
        yield "ring_outer_diameter_mm", axle.corner.rotor.ring_outer_diameter_mm
    if axle.corner.caliper is not None:
        yield "caliper_clock_deg", axle.corner.caliper.clock_deg


def _new_brake(job: Job) -> dict[str, Any]:
    """Return the brake of the first axle that the balance tells of, the new one if there is one."""
    axle, held = first_axle(job), job.sums.get("brake_balance")
    if axle is None or held is None:
        return {}
    return dict(held.get(f"new_{axle.name}") or held[f"old_{axle.name}"])


def _heaviest(job: Job) -> dict[str, Any]:
    held = job.sums.get("brake_balance")
    return dict(max(held["states"], key=lambda one: one["mass_kg"])) if held else {}


def _bracket(job: Job) -> Known:
    axle, brake = first_axle(job), _new_brake(job)
    if axle is not None and axle.corner.rotor is not None:
        yield "ring_mid_z_mm", axle.corner.rotor.ring_mid_z_mm
    if axle is not None and axle.corner.caliper is not None:
        yield "caliper.clock_deg", axle.corner.caliper.clock_deg
    for key in ("tyre_radius_mm", "effective_radius_mm", "friction"):
        if key in brake:
            yield f"load.{key}", brake[key]


def _stud_holes(job: Job) -> Known:
    axle = first_axle(job)
    if axle is not None and axle.corner.rotor is not None:
        rotor = axle.corner.rotor
        yield "bore_mm", rotor.bore_diameter_mm
        yield "bolt_circle_mm", rotor.bolt_circle_diameter_mm
        yield "hole_mm", rotor.bolt_hole_diameter_mm
        yield "count", rotor.bolt_count


def _housing(job: Job) -> Known:
    axle = first_axle(job)
    if axle is not None and axle.corner.rotor is not None:
        yield "hat_inner_mm", axle.corner.rotor.hat_inner_diameter_mm


def _studs(job: Job) -> Known:
    axle = first_axle(job)
    if axle is None:
        return
    stack, stud = axle.corner.seat_stack, axle.corner.stud
    if stack is not None:
        yield "old_flange_mm", stack.old_flange_mm
        yield "new_flange_mm", stack.new_flange_mm
        yield "spacer_mm", stack.spacer_mm
    if stud is not None:
        yield "thread", stud.thread
        yield "length_mm", stud.length_mm
        yield "wheel_seat_mm", stud.wheel_seat_mm
        yield "register_length_mm", stud.register_length_mm


def _caliper_bolts(job: Job) -> Known:
    brake = _new_brake(job)
    if "effective_radius_mm" in brake:
        yield "effective_radius_mm", brake["effective_radius_mm"]


def _parking(job: Job) -> Known:
    if (state := _heaviest(job)) and (brake := _new_brake(job)):
        yield "mass_kg", state["mass_kg"]
        yield "tyre_radius_mm", brake["tyre_radius_mm"]


def _heat(job: Job) -> Known:
    axle, state = first_axle(job), _heaviest(job)
    if state:
        yield "mass_kg", state["mass_kg"]
    if axle is not None and axle.corner.rotor is not None:
        yield "ring_material", _RING[axle.corner.rotor.material]


def _run_out(job: Job) -> Known:
    axle = first_axle(job)
    if axle is not None and axle.corner.rotor is not None:
        yield "stud_count", axle.corner.rotor.bolt_count


def _same_axle(which: str) -> Callable[[Job], Known]:
    def known(job: Job) -> Known:
        # A new brake stands on the old one's tyre unless it is said to be another.
        old = (job.sums.get("brake_balance") or {}).get(f"old_{which}", {})
        if "tyre_radius_mm" in old:
            yield "tyre_radius_mm", old["tyre_radius_mm"]

    return known


def _axle_sheet(job: Job) -> Known:
    axle = first_axle(job)
    if axle is not None:
        yield "axle", axle.name


_KNOWN: dict[tuple[str, ...], Callable[[Job], Known]] = {
    ("kit",): _kit, ("pads",): _pads, ("bracket",): _bracket,
    ("hub_fits", "stud_holes"): _stud_holes, ("hub_fits", "housing"): _housing,
    ("bolts", "studs"): _studs, ("bolts", "caliper_bolts"): _caliper_bolts,
    ("brake_balance", "new_front"): _same_axle("front"),
    ("brake_balance", "new_rear"): _same_axle("rear"),
    ("parking_brake",): _parking, ("heat",): _heat, ("run_out",): _run_out,
    ("axle_sheet",): _axle_sheet,
}  # fmt: skip
