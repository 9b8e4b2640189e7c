"""How far the numbers and names of a job may go before no corner could be meant by them.

Beyond these a sum overflows, a search has no end, or a name breaks the lines of a report.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from clearturn.envelope._checks import LARGEST_MM
from clearturn.job.fault import Fault
from clearturn.job.model import Job
from clearturn.job.positions import JsonPath

MOST_VALUES = 200_000  # numbers, texts, lists and objects in one job file; the demo has 800
LONGEST_NAME = 200
# As for the coordinates of a mesh: ten kilometres.
LARGEST_NUMBER = 1.0e7

# Keys of their own range: above the first number, up to the second.
_ABOVE = {"normal_deg": (0.0, 180.0), "limit_mm": (0.0, LARGEST_NUMBER)}
_STACK = ("old_flange_mm", "new_flange_mm", "spacer_mm")


def too_many_values(raw: Any) -> bool:
    """Tell whether a parsed JSON text holds more values than a job could need."""
    todo, count = [raw], 1
    while todo:
        value = todo.pop()
        inner = value.values() if isinstance(value, dict) else value
        if isinstance(value, dict | list):
            count += len(value)
            if count > MOST_VALUES:
                return True
            todo.extend(item for item in inner if isinstance(item, dict | list))
    return False


def limit_faults(job: Job) -> Iterator[Fault]:
    """Yield the numbers and names of a job that no corner can have; the sums have their own."""
    yield from _walk(job, ())


def _walk(value: Any, path: JsonPath) -> Iterator[Fault]:
    if is_dataclass(value):
        for entry in fields(value):
            if entry.name != "sums":
                yield from _walk(getattr(value, entry.name), (*path, entry.name))
    elif isinstance(value, tuple):
        for i, item in enumerate(value):
            yield from _walk(item, (*path, i))
    elif isinstance(value, float):
        yield from _number_faults(path, value)
    elif isinstance(value, str) and path[-1] == "name":
        yield from _name_faults(path, value)


def _number_faults(path: JsonPath, value: float) -> Iterator[Fault]:
    key = next((step for step in reversed(path) if isinstance(step, str)), "")
    if key in _ABOVE:
        low, high = _ABOVE[key]
        if not low < value <= high:
            yield Fault(path, "out of range", f"{value:g}", f"above {low:g}, at most {high:g}")
        return
    most = LARGEST_MM if key in _STACK and "seat_stack" in path else LARGEST_NUMBER
    if not abs(value) <= most:
        yield Fault(
            path,
            "this number is too large for a corner",
            found=f"{value:g}",
            allowed=f"at most {most:g}",
            mend="lengths are mm, angles degrees",
        )


def _name_faults(path: JsonPath, name: str) -> Iterator[Fault]:
    if len(name) > LONGEST_NAME:
        yield Fault(
            path,
            "this name is too long",
            found=f"{len(name)} signs",
            allowed=f"at most {LONGEST_NAME}",
        )
    # Line ends and the commands of a terminal would break lists and tables.
    bad = next((sign for sign in name if unicodedata.category(sign) in ("Cc", "Zl", "Zp")), None)
    if bad is not None:
        yield Fault(
            path,
            "a name cannot hold line ends or control signs",
            found=repr(bad),
            mend="write it in one line",
        )
