"""How a sum's numbers are read and refused: ranges beside the fields, faults named by their path.

Each sum has frozen dataclasses for what the engineer enters.  A field's type says what may stand
there (`Positive`, `Share`, …); the same check runs for a dataclass made in code and for one read
from a job file, where the fault is named by its path.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import UnionType
from typing import Annotated, Any, ClassVar, TypeVar, Union, get_args, get_origin, get_type_hints

from pydantic import ConfigDict, TypeAdapter, ValidationError

from clearturn.errors import InputError

T = TypeVar("T")
Path = tuple[str | int, ...]
LARGE = 1e9


class SumProblem(InputError, ValueError):
    """Nonsense in a sum's input, with the path of the key inside that sum.

    Also a ValueError, so that pydantic adds the path of a nested object to it.
    """

    def __init__(
        self,
        problem: str,
        *path: str | int,
        found: str | None = None,
        allowed: str | None = None,
        mend: str | None = None,
    ) -> None:
        self.path: Path = path
        InputError.__init__(
            self, problem, place=shown(path) or None, found=found, allowed=allowed, mend=mend
        )

    def under(self, *path: str | int) -> SumProblem:
        """Return the same problem, `path` put before its own."""
        return SumProblem(
            self.problem,
            *path,
            *self.path,
            found=self.found,
            allowed=self.allowed,
            mend=self.mend,
        )


def shown(path: Sequence[str | int]) -> str:
    """Return a path as it is written: "joints[1].thread"."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


@dataclass(frozen=True, slots=True)
class Range:
    """What may stand in a field: from `low` to `high`; `open_low` leaves `low` itself out."""

    low: float
    high: float
    open_low: bool = False

    def holds(self, value: float) -> bool:
        """Whether `value` may stand there."""
        return (self.low < value if self.open_low else self.low <= value) and value <= self.high

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> dict[str, Any]:
        """Add the range to the JSON Schema."""
        schema: dict[str, Any] = handler(core)
        if self.low > -LARGE:
            schema["exclusiveMinimum" if self.open_low else "minimum"] = self.low
        if self.high < LARGE:
            schema["maximum"] = self.high
        return schema

    def told(self) -> str:
        """Return the range in words."""
        least = f"more than {self.low:g}" if self.open_low else f"at least {self.low:g}"
        return least if self.high >= LARGE else f"{least}, at most {self.high:g}"


Positive = Annotated[float, Range(0.0, LARGE, open_low=True)]
NotNegative = Annotated[float, Range(0.0, LARGE)]
Any_ = Annotated[float, Range(-LARGE, LARGE)]
LengthMm = Annotated[float, Range(0.0, 3000.0, open_low=True)]
GapMm = Annotated[float, Range(0.0, 3000.0)]
PlaceMm = Annotated[float, Range(-3000.0, 3000.0)]
MassKg = Annotated[float, Range(0.0, 50_000.0, open_low=True)]
Share = Annotated[float, Range(0.0, 1.0)]
Friction = Annotated[float, Range(0.0, 2.0, open_low=True)]
TempC = Annotated[float, Range(-60.0, 2000.0)]
Expansion = Annotated[float, Range(-5.0, 40.0)]  # 1e-6/K
AngleDeg = Annotated[float, Range(-360.0, 360.0)]
Count = Annotated[int, Range(1, 1000)]


_hints_of: dict[type, dict[str, Any]] = {}
_adapters: dict[type, TypeAdapter[Any]] = {}


class Checked:
    """Base of every input: its fields are checked against their ranges when it is made."""

    __slots__ = ()
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(
        extra="forbid", strict=True, allow_inf_nan=False
    )

    def __post_init__(self) -> None:
        """Check every field, then what only several fields together tell."""
        for name, hint in hints(type(self)).items():
            _check_value(getattr(self, name), hint, (name,))
        self.check()

    def check(self) -> None:
        """Raise `SumProblem` where fields do not go together."""


def hints(kind: type) -> dict[str, Any]:
    """Return the types of an input's fields, with their ranges."""
    if kind not in _hints_of:
        _hints_of[kind] = get_type_hints(kind, include_extras=True)
        del _hints_of[kind]["__pydantic_config__"]
    return _hints_of[kind]


def _check_value(value: Any, hint: Any, path: Path) -> None:
    origin = get_origin(hint)
    if origin is Annotated:
        for mark in get_args(hint)[1:]:
            if isinstance(mark, Range):
                _check_range(value, mark, path)
    elif origin in (Union, UnionType):
        if value is not None:
            for part in get_args(hint):
                if part is not type(None):
                    _check_value(value, part, path)
    elif origin is tuple:
        kinds = get_args(hint)
        for i, item in enumerate(value):
            _check_value(item, kinds[0] if kinds[-1] is Ellipsis else kinds[i], (*path, i))


def _check_range(value: Any, mark: Range, path: Path) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise SumProblem("a number must stand here", *path, found=repr(value))
    if not math.isfinite(value):
        raise SumProblem("a finite number must stand here", *path, found=f"{value:g}")
    if not mark.holds(value):
        raise SumProblem("out of range", *path, found=f"{value:g}", allowed=mark.told())


def _adapter(kind: type[Any]) -> TypeAdapter[Any]:
    if kind not in _adapters:
        _adapters[kind] = TypeAdapter(kind)
    return _adapters[kind]


def read_inputs(kind: type[T], content: object) -> T:
    """Return a sum's inputs from its object of the job file.

    Parameters
    ----------
    kind : type
        The dataclass of the inputs.
    content : object
        Plain JSON values.

    Raises
    ------
    SumProblem
        Naming the first fault by its path inside the sum.
    """
    try:
        made: T = _adapter(kind).validate_json(json.dumps(content))
    except ValidationError as error:
        raise _reworded(error.errors(include_url=False)[0], content) from None
    except (TypeError, ValueError) as error:
        raise SumProblem(f"not plain JSON values: {error}") from None
    return made


def schema_of(kind: type) -> dict[str, Any]:
    """Return the JSON Schema of a sum's inputs."""
    schema: dict[str, Any] = _adapter(kind).json_schema()
    return schema


_WANTED = {
    "float": "a number must stand here",
    "finite": "a finite number must stand here",
    "int": "a whole number must stand here",
    "string": "a text in quotes must stand here",
    "bool": "true or false must stand here",
    "tuple": "a list in [ ] must stand here",
    "dataclass": "an object in { } must stand here",
}


def _reworded(error: Any, content: object) -> SumProblem:
    kind: str = error["type"]
    missing = kind in ("missing", "missing_argument")
    path = _real_path(error["loc"], content, keep_last=missing)
    own = error.get("ctx", {}).get("error")
    if isinstance(own, SumProblem):
        return own.under(*path)
    if missing:
        return SumProblem("a key is missing", *path)
    if kind in ("unexpected_keyword_argument", "extra_forbidden"):
        return SumProblem("this key is not known", *path, found=repr(path[-1] if path else ""))
    found = repr(error.get("input"))
    found = found if len(found) <= 60 else found[:57] + "…"
    if kind in ("literal_error", "union_tag_invalid"):
        allowed = str(error.get("ctx", {}).get("expected"))
        return SumProblem(
            "not one of the words that may stand here", *path, found=found, allowed=allowed
        )
    problem = _WANTED.get(kind.split("_", maxsplit=1)[0], f"does not fit: {error['msg'].lower()}")
    return SumProblem(problem, *path, found=found)


def _real_path(loc: Sequence[str | int], content: object, *, keep_last: bool) -> Path:
    # pydantic adds the names of alternatives it tried; they are no keys of the file.
    path: list[str | int] = []
    here: Any = content
    for number, step in enumerate(loc):
        in_list = isinstance(here, list) and isinstance(step, int) and step < len(here)
        if in_list or (isinstance(here, dict) and step in here):
            here = here[step]
        elif not (keep_last and number == len(loc) - 1):
            continue
        path.append(step)
    return tuple(path)
