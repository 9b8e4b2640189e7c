"""What can be entered into a sum: each number and word with its range, default and help.

Read from the sums' own dataclasses, so that a form can never ask for what a sum does not know.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, dataclass, fields, is_dataclass
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from clearturn.trade.inputs import Path, Range, hints
from clearturn.trade.materials import MATERIALS

Kind = Literal["number", "count", "text", "choice", "yes", "numbers"]
_OF_MATERIALS = re.compile(r"(^|_)material$|^tapped_in$|^clamped$")


@dataclass(frozen=True, slots=True)
class Place:
    """One number or word of a sum.

    Attributes
    ----------
    path : tuple of str and int
        Keys from the object that was asked about.
    kind : str
        "numbers" is a list of them.
    allowed : Range or None
    choices : tuple of str
        For kind "choice".
    needed : bool
        Without it there is no sum.
    default : object
        What the sum takes where nothing is given; None: nothing.
    help : str
    """

    path: Path
    kind: Kind
    allowed: Range | None
    choices: tuple[str, ...]
    needed: bool
    default: Any
    help: str


@dataclass(frozen=True, slots=True)
class Opening:
    """An object that a sum may still take: where, and whether as one more of a list."""

    path: Path
    is_listed: bool


def places(kind: type, above: Path = ()) -> tuple[Place, ...]:
    """Return the places of an object, with those of the objects it cannot be without.

    Of a list that must not be empty the first entry is meant.

    Parameters
    ----------
    kind : type
        The dataclass of the object.
    above : path
        Put before every path.
    """
    found: list[Place] = []
    for key, hint, default in _entries(kind):
        inner, count = _object_in(hint)
        if inner is None:
            found.append(_place(kind, key, hint, default, above))
        elif default is MISSING:
            if count is None:
                found += places(inner, (*above, key))
            for number in range(count or 0):
                found += places(inner, (*above, key, number))
    return tuple(found)


def given(kind: type, content: Mapping[str, Any], above: Path = ()) -> Iterator[Place]:
    """Yield the places of an object at which something stands, those of its objects with them.

    A list of numbers is told one by one.
    """
    for path, inner, entered in objects(kind, content, above):
        for key, hint, default in _entries(inner):
            if entered.get(key) is None or _object_in(hint)[0] is not None:
                continue
            place, value = _place(inner, key, hint, default, path), entered[key]
            if place.kind != "numbers":
                yield place
            elif isinstance(value, str):
                yield _as(place, place.path, "text")
            else:
                yield from (_as(place, (*place.path, i), "number") for i in range(len(value)))


def missing(kind: type, content: Mapping[str, Any]) -> tuple[Place, ...]:
    """Return the places of an object itself at which nothing stands; lists of numbers always."""
    return tuple(
        place
        for place in (
            _place(kind, key, hint, default, ())
            for key, hint, default in _entries(kind)
            if _object_in(hint)[0] is None
        )
        if place.kind == "numbers" or content.get(str(place.path[-1])) is None
    )


def openings(kind: type, content: Mapping[str, Any]) -> tuple[Opening, ...]:
    """Return the objects that an object may still take itself."""
    found = []
    for key, hint, default in _entries(kind):
        inner, count = _object_in(hint)
        if inner is None:
            continue
        if count is None:
            if content.get(key) is None and default is not MISSING:
                found.append(Opening((key,), False))
        elif get_args(hint)[-1] is Ellipsis:
            found.append(Opening((key, len(content.get(key) or ())), True))
    return tuple(found)


def objects(
    kind: type, content: Mapping[str, Any], above: Path = ()
) -> Iterator[tuple[Path, type, Mapping[str, Any]]]:
    """Yield every object of a sum with its path and class, the outer ones first."""
    yield above, kind, content
    for key, hint, _ in _entries(kind):
        inner, count = _object_in(hint)
        entered = content.get(key)
        if inner is None or entered is None:
            continue
        if count is None:
            yield from objects(inner, entered, (*above, key))
        else:
            for number, one in enumerate(entered):
                yield from objects(inner, one, (*above, key, number))


def kind_at(kind: type, path: Path) -> type:
    """Return the class of the object at a path of a sum.

    Raises
    ------
    KeyError
        If there can be none.
    """
    for step in path:
        if isinstance(step, int):
            continue
        inner = _object_in(hints(kind)[step])[0]
        if inner is None:
            raise KeyError(step)
        kind = inner
    return kind


def _entries(kind: type) -> list[tuple[str, Any, Any]]:
    """Key, type and default of each field; `MISSING` where there is no default."""
    known = hints(kind)
    assert is_dataclass(kind)
    return [(one.name, known[one.name], one.default) for one in fields(kind)]


def _object_in(hint: Any) -> tuple[type | None, int | None]:
    """Return the class of the objects a type holds, and how many a list begins with."""
    hint = _bare(hint)
    if get_origin(hint) is tuple:
        parts = get_args(hint)
        inner = _bare(parts[0])
        if isinstance(inner, type) and is_dataclass(inner):
            return inner, 1 if parts[-1] is Ellipsis else len(parts)
        return None, None
    return (hint, None) if isinstance(hint, type) and is_dataclass(hint) else (None, None)


def _bare(hint: Any) -> Any:
    """Return a type without its range and without None."""
    if get_origin(hint) is Annotated:
        return _bare(get_args(hint)[0])
    if get_origin(hint) in (Union, UnionType):
        (inner,) = (part for part in get_args(hint) if part is not type(None))
        return _bare(inner)
    return hint


def _range_in(hint: Any) -> Range | None:
    if get_origin(hint) is Annotated:
        own = next((mark for mark in get_args(hint)[1:] if isinstance(mark, Range)), None)
        return own or _range_in(get_args(hint)[0])
    for part in get_args(hint):
        found = _range_in(part)
        if found is not None:
            return found
    return None


def _place(kind: type, key: str, hint: Any, default: Any, above: Path) -> Place:
    bare = _bare(hint)
    kinds: dict[Any, Kind] = {float: "number", int: "count", str: "text", bool: "yes"}
    told: Kind
    choices: tuple[str, ...] = ()
    if get_origin(bare) is tuple:
        told = "numbers"
    elif get_origin(bare) is Literal:
        told, choices = "choice", tuple(get_args(bare))
    elif bare is str and _OF_MATERIALS.search(key):
        told, choices = "choice", tuple(MATERIALS)
    else:
        told = kinds[bare]
    needed = default is MISSING
    value = None if needed or default == () else default
    text = _helps(kind).get(key, "")
    return Place((*above, key), told, _range_in(hint), choices, needed, value, text)


def _as(place: Place, path: Path, kind: Kind) -> Place:
    return Place(path, kind, place.allowed, (), place.needed, None, place.help)


@cache
def _helps(kind: type) -> dict[str, str]:
    """Return what a class's own documentation says of each of its keys."""
    helps: dict[str, str] = {}
    keys: list[str] = []
    for line in (kind.__doc__ or "").partition("Attributes")[2].splitlines():
        head = re.fullmatch(r"\s{0,4}(\w+(?:, ?\w+)*,?)(?: :.*)?", line)
        if head and line.strip():
            keys = [key for key in re.split(r", ?", head.group(1)) if key]
        elif line.strip() and keys:
            for key in keys:
                helps[key] = f"{helps.get(key, '')} {line.strip()}".strip()
    return helps
