"""What a slip holds to begin a sum, to put more into it and to take it away."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from clearturn.job.edits import path_of
from clearturn.job.model import Job
from clearturn.job.sum_edits import known_numbers
from clearturn.trade.inputs import Path, shown
from clearturn.trade.places import Opening, Place, kind_at, missing, objects, openings, places
from clearturn.trade.sums import SUMS
from clearturn_app.sheets.fields import Blank, Deed, Form, Line, Section
from clearturn_app.sheets.operations import Operation
from clearturn_app.sheets.sums import ONE, field_of, label_in
from clearturn_app.window.look import Look

Entering = tuple[str, Path] | None
"""The sum, and the object in it, whose numbers are asked for."""
_TITLE = {"kit": "kit and rim", "run_out": "run-out", "axle_sheet": "axle, old against new"}
_TELLS = {
    "kit": "whether ring and bridge go into the rim, and no part is given with two sizes",
    "pads": "where the pads run on the ring, and the caliper the right way round",
    "ring_joint": "bobbins between ring and hat: bearing, and the freedom left hot",
    "bracket": "where its holes go, the spacer under it, whether it holds",
    "hub_fits": "registers cold and hot, housing in hat, the metal that is left",
    "bolts": "tightening, thread that holds, and slip of joints of two bolts",
    "brake_balance": "front against rear, before and after; which locks first; the pedal",
    "parking_brake": "whether it holds the vehicle on a slope",
    "heat": "how hot one stop makes the ring, and a row of them",
    "run_out": "readings on the car, whose the run-out is, the best studs to put it on",
    "mass": "old against new, and the mass at which a ceramic ring is scrapped",
    "axle_sheet": "old and new brake side by side",
}


def entering_section(operation: Operation, job: Job, look: Look, entering: Entering) -> Section:
    """Return the words that begin an operation's sums or add to them, and the form asked for.

    Parameters
    ----------
    entering : (str, path) or None
        What is asked for at the moment.
    """
    lines: list[Line] = []
    for name in operation.sums:
        mine = entering[1] if entering is not None and entering[0] == name else None
        lines += _of_sum(name, job, look, mine)
    begun = any(name in job.sums for name in operation.sums)
    # Where sums are all there is, they are begun from the top of the slip.
    return Section("begin a sum, add to it", tuple(lines), folded=begun or bool(operation.keys))


def _of_sum(name: str, job: Job, look: Look, entering: Path | None) -> Iterator[Line]:
    title = _title(name)
    inputs = SUMS[name].inputs
    content = job.sums.get(name)
    if content is None:
        words = [
            (
                f"with a {_called(one)}" if one.is_listed else f"with its {_called(one)}",
                _deed(name, one.path),
            )
            for one in openings(inputs, {})
        ]
        if not words or any(place.needed for place in places(inputs)):
            words = [("begin", _deed(name, ()))]
        yield Deed(title, _TELLS[name], tuple(words))
        if entering is not None:
            yield _form(name, entering, job, look)
        return
    for path, kind, entered in objects(inputs, content):
        label = label_in(content, path) if path else title
        words = [
            (f"another {_called(one)}" if one.is_listed else f"{_called(one)}",
             _deed(name, (*path, *one.path)))
            for one in openings(kind, entered)
        ]  # fmt: skip
        if missing(kind, entered):
            words.append(("more numbers", _deed(name, path)))
        if not path or _may_go(inputs, path):
            words.append(("take away", f"drop sum:{name}:{shown(path)}"))
        if words:
            yield Deed(label, "", tuple(words))
        opened = {(*path, *one.path) for one in openings(kind, entered)}
        if entering is not None and (entering == path or entering in opened):
            yield _form(name, entering, job, look)


def _called(one: Opening) -> str:
    key = next(step for step in reversed(one.path) if isinstance(step, str))
    return ONE.get(key, key.replace("_", " "))


def _deed(name: str, path: Path) -> str:
    return f"enter:{name}:{shown(path)}"


def target_of(deed: str) -> tuple[str, Path]:
    """Return the sum, and the object in it, that a word or a form of a slip is about."""
    _, name, path = deed.split(":", 2)
    return name, path_of(path) if path else ()


def _may_go(inputs: type, path: Path) -> bool:
    """Whether the sum can be without an object: one of a list, or one it need not have."""
    if isinstance(path[-1], int):
        outer = kind_at(inputs, path[:-2])
        return any(one.is_listed and one.path[0] == path[-2] for one in openings(outer, {}))
    outer = kind_at(inputs, path[:-1])
    return any(one.path[-1] == path[-1] for one in openings(outer, {}))


def _form(name: str, path: Path, job: Job, look: Look) -> Form:
    """Return the form of an object's places: all of a new one, else those not given yet."""
    inputs = SUMS[name].inputs
    entered = object_at(job, name, path)
    kind = kind_at(inputs, path)
    asked = places(kind) if entered is None else missing(kind, entered)
    known = known_numbers(job, name, path) if entered is None else {}
    ordered = sorted(asked, key=lambda place: not place.needed and shown(place.path) not in known)
    blanks = []
    for place in ordered:
        stands = _stands(entered, place)
        value = known.get(shown(place.path), stands)
        blanks.append(_blank(place, value, look))
    return Form(f"sum:{name}:{shown(path)}", "take them in", tuple(blanks))


def _stands(entered: Any, place: Place) -> Any:
    return None if entered is None else entered.get(str(place.path[-1]))


def _blank(place: Place, value: Any, look: Look) -> Blank:
    field = field_of(place, place.path, label_in(None, place.path))
    text = place.help
    if not place.needed and place.default not in (None, "") and place.kind not in ("yes", "choice"):
        taken = field.written(place.default, look)
        text = f"{text} Unless given: {taken}.".strip()
    start = ""
    if place.kind == "numbers":
        field = replace(field, kind="numbers")
        start = value if isinstance(value, str) else field.written(value, look)
    elif place.kind in ("choice", "yes"):
        choices = field.choices or ("no", "yes")
        if not place.needed and place.default is None:
            choices = ("", *choices)
        field = replace(field, kind="choice", choices=choices)
        first = value if value is not None else place.default
        start = field.choices[0] if first is None else str(first)
        if place.kind == "yes":
            start = "yes" if first else "no"
    elif value is not None:
        start = field.written(value, look)
    field = replace(field, help=text, optional=not place.needed)
    return Blank(shown(place.path), field, start)


def object_at(job: Job, name: str, path: Path) -> Any:
    """Return the object at a path of a sum, or None where there is none yet."""
    here = job.sums.get(name)
    for step in path:
        if isinstance(step, int):
            here = here[step] if here is not None and step < len(here) else None
        else:
            here = (here or {}).get(step)
    return here


def entered_values(job: Job, deed: str, values: dict[str, Any]) -> dict[Path, Any]:
    """Return what was written into a sum's form, by the path inside its object.

    What was left empty, or stands as the sum takes it anyway, is not among it; a list that was
    emptied is.
    """
    name, path = target_of(deed)
    entered = object_at(job, name, path)
    kind = kind_at(SUMS[name].inputs, path)
    made: dict[Path, Any] = {}
    for place in places(kind):
        value = values.get(shown(place.path))
        if place.kind == "yes":
            value = value == "yes"
        if place.kind in ("choice", "yes") and not place.needed and value == place.default:
            continue
        if place.kind == "numbers" and value is None and _stands(entered, place):
            value = []
        if value not in (None, ""):
            made[place.path] = value
    return made


def told_of(deed: str, job: Job) -> str:
    """Return what a sum's form is about, in words."""
    name, path = target_of(deed)
    title = _title(name)
    return f"{title}, {label_in(job.sums.get(name), path)}" if path else title


def _title(name: str) -> str:
    return _TITLE.get(name, name.replace("_", " "))
