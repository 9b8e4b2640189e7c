"""The trade sums on the slips: what each says, and the numbers it was made from."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

from clearturn.job.model import Job
from clearturn.job.positions import JsonPath
from clearturn.trade.sheet import Grid, Sheet
from clearturn.trade.sums import SUMS, SumsResult
from clearturn_app.sheets.fields import Fact, Field, Kind, Section

# Last words of a key → unit as it is written.
_UNITS = {
    "mm": "mm", "deg": "°", "kg": "kg", "nm": "N·m", "n": "N", "kn": "kN", "c": "°C", "k": "K",
    "percent": "%", "bar": "bar", "km_h": "km/h", "s": "s", "j": "J", "kg_m2": "kg·m²",
    "m2": "m²", "mm2": "mm²", "w_per_m2_k": "W/(m²·K)", "n_per_mm2": "N/mm²", "mpa": "MPa",
}  # fmt: skip
_NUMBER_AND_UNIT = re.compile(
    r"(?<=\d) (?=(?:mm²?|m|in|g|kg|N|kN|N·m|bar|MPa|J|kJ|K|°C|%|s)(?![\w·/]))"
)
_SUFFIX = re.compile(r"_(w_per_m2_k|n_per_mm2|kg_m2|km_h|[a-z0-9]+)$")


def sum_sections(names: tuple[str, ...], job: Job, sums: SumsResult | None) -> Iterator[Section]:
    """Yield what an operation's sums say, then their numbers, folded."""
    sheets = {sheet.name: sheet for sheet in sums.sheets} if sums is not None else {}
    for name in names:
        if name not in job.sums:
            continue
        sheet = sheets.get(name)
        title = sheet.title if sheet is not None else name.replace("_", " ")
        if sheet is not None:
            facts = (Fact(_whole(f.label), _whole(f.text), f.strong) for f in _said(sheet))
            yield Section(f"{title}: {sheet.gist}", tuple(facts))
        numbers = tuple(_numbers(job.sums[name], ("sums", name), "", name))
        if numbers:
            yield Section(f"numbers of: {title}", numbers, folded=True)


def _whole(text: str) -> str:
    """Keep numbers and their units on one line."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def _said(sheet: Sheet) -> Iterator[Fact]:
    for ruling in sheet.rulings:
        note = f" ({ruling.note})" if ruling.note else ""
        text = f"{ruling.word}: {ruling.found}; needed {ruling.needed}{note}"
        yield Fact(ruling.name, text, ruling.word != "clears")
    for line in sheet.lines:
        yield Fact(line.label, line.value + (f" ({line.note})" if line.note else ""))
    for grid in sheet.grids:
        yield from _grid(grid)
    for finding in sheet.findings:
        yield Fact(str(finding.severity), finding.text, finding.severity != "note")
    for text in sheet.assumed:
        yield Fact("taken for granted", text)


def _grid(grid: Grid) -> Iterator[Fact]:
    """Tell a table row by row, the unit behind its number: there is no room for columns."""
    for row in grid.rows:
        cells = [_cell(head, cell) for head, cell in zip(grid.heads[1:], row[1:], strict=False)]
        label = row[0]
        if label.isdigit():
            head = grid.heads[0]
            label = f"{label} {head}" if head in _UNITS.values() else f"{head} {label}".strip()
        yield Fact(label, ", ".join(cells))


def _cell(head: str, cell: str) -> str:
    words, _, unit = head.rpartition(", ")
    if not words or " " in unit:
        return f"{head} {cell}".strip()
    return f"{words} {cell}{'' if unit == '°' else ' '}{unit}"


def _numbers(content: Any, at: JsonPath, head: str, name: str) -> Iterator[Field]:
    items: list[tuple[str | int, Any]] = []
    if isinstance(content, dict):
        items = list(content.items())
    elif isinstance(content, list | tuple):
        items = list(enumerate(content))
    for key, value in items:
        here = (*at, key)
        told = _told(key, value, head)
        if isinstance(value, dict | list | tuple):
            yield from _numbers(value, here, told, name)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            kind, unit, label = _reading(str(key), told)
            words = _helps(name).get(str(key), "As the sum's page in the documents explains it.")
            yield Field(here, label, words, kind, source="given in the job", unit_word=unit)


def _told(key: str | int, value: Any, head: str) -> str:
    own = str(key)
    if isinstance(key, int):
        own = str(value.get("name", key + 1)) if isinstance(value, dict) else str(key + 1)
    return f"{head}, {own}".removeprefix(", ")


def _reading(key: str, label: str) -> tuple[Kind, str, str]:
    found = _SUFFIX.search(key)
    unit = _UNITS.get(found.group(1), "") if found else ""
    if found and unit:
        label = label.removesuffix(found.group(0))
    label = label.replace("_", " ")
    kinds: dict[str, Kind] = {"mm": "length", "°": "angle"}
    return kinds.get(unit, "number"), unit, label


@cache
def _helps(name: str) -> dict[str, str]:
    """Return what the sum's own documentation says of each of its keys."""
    text = SUMS[name].inputs.__doc__ or ""
    helps: dict[str, str] = {}
    keys: list[str] = []
    for line in text.partition("Attributes")[2].splitlines():
        head = re.fullmatch(r"\s{0,4}(\w+(?:, ?\w+)*,?)(?: :.*)?", line)
        if head and line.strip():
            keys = [key for key in re.split(r", ?", head.group(1)) if key]
        elif line.strip() and keys:
            for key in keys:
                helps[key] = f"{helps.get(key, '')} {line.strip()}".strip()
    return helps
