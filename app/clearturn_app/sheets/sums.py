"""The trade sums on the slips: what each says, and the numbers it was made from."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from clearturn.job.edits import value_at
from clearturn.job.model import Job
from clearturn.job.positions import JsonPath
from clearturn.trade.inputs import LARGE, Path
from clearturn.trade.places import Place, given
from clearturn.trade.sheet import Grid, Sheet
from clearturn.trade.sums import SUMS, SumsResult
from clearturn_app.sheets.fields import Fact, Field, Kind, Section

# Last words of a key → unit as it is written.
_UNITS = {
    "mm": "mm", "deg": "°", "kg": "kg", "nm": "N·m", "n": "N", "kn": "kN", "c": "°C", "k": "K",
    "percent": "%", "bar": "bar", "km_h": "km/h", "s": "s", "j": "J", "kg_m2": "kg·m²",
    "m2": "m²", "mm2": "mm²", "cm3": "cm³", "g": "g", "mpa": "MPa", "per_mk": "10⁻⁶/K",
    "w_per_m2_k": "W/(m²·K)", "n_per_mm2": "N/mm²", "j_per_kg_k": "J/(kg·K)",
}  # fmt: skip
#: What an entry of a list is called.
ONE = {
    "states": "loading", "joints": "bolt", "studs": "set of studs", "lugs": "lug",
    "caliper_bolts": "two-bolt joint", "registers": "register", "items": "part",
    "rings": "ceramic ring", "sizes": "size on a paper", "rows": "row",
}  # fmt: skip
_WORDS = {
    "cg_height_mm": "height of centre of gravity", "film_w_per_m2_k": "heat transfer",
    "from_km_h": "speed at first", "to_km_h": "speed at last", "elastic_cm3": "elastic volume",
    "elastic_mm": "elastic way", "first_deg": "angle of the first", "anti_lock": "anti-lock brakes",
    "heat_j_per_kg_k": "specific heat", "heat_low_j_per_kg_k": "specific heat, least",
    "heat_high_j_per_kg_k": "specific heat, greatest", "readings_csv": "file of readings",
    "count": "number",
}  # fmt: skip
_NUMBER_AND_UNIT = re.compile(
    r"(?<=\d) (?=(?:mm²?|m|in|g|kg|N|kN|N·m|bar|MPa|J|kJ|K|°C|%|s)(?![\w·/]))"
)
_SUFFIX = re.compile(r"_(w_per_m2_k|j_per_kg_k|n_per_mm2|per_mk|kg_m2|km_h|[a-z0-9]+)$")


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
            yield Section(f"{title}: {sheet.gist}", tuple(facts), key=f"says {name}")
        numbers = tuple(_numbers(job, name))
        if numbers:
            yield Section(f"numbers of: {title}", numbers, folded=True, key=f"numbers {name}")


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


def field_of(place: Place, at: JsonPath, label: str) -> Field:
    """Return a place of a sum as a field."""
    unit = _unit(_key(place.path))
    kinds: dict[str, Kind] = {"mm": "length", "°": "angle"}
    kind = kinds.get(unit, "number")
    if place.kind in ("text", "choice", "yes", "count"):
        kind = place.kind
    text = place.help or "As the sum's page in the documents explains it."
    allowed = place.allowed
    low = high = None
    if allowed is not None:
        low = allowed.low if allowed.low > -LARGE else None
        high = allowed.high if allowed.high < LARGE else None
    return Field(
        at, label, text, kind, low, high, place.choices, source="given in the job", unit_word=unit
    )


def _numbers(job: Job, name: str) -> Iterator[Field]:
    content = job.sums[name]
    for place in given(SUMS[name].inputs, content):
        at: JsonPath = ("sums", name, *place.path)
        field = field_of(place, at, label_in(content, place.path))
        if field.kind == "choice" and (now := str(value_at(job, at))) not in field.choices:
            field = replace(field, choices=(now, *field.choices))
        yield field


def label_in(content: Any, path: Path) -> str:
    """Return a path in words, without the unit: an entry of a list by its name, or its number."""
    words: list[str] = []
    here = content
    for depth, step in enumerate(path):
        if isinstance(step, str):
            is_last = not any(isinstance(later, str) for later in path[depth + 1 :])
            words.append(_bare(step) if is_last else step.replace("_", " "))
            here = (here or {}).get(step)
            continue
        here = here[step] if step < len(here or ()) else None
        name = here.get("name") if isinstance(here, dict) else None
        one = ONE.get(str(path[depth - 1]), words[-1])
        words[-1] = f"{one} “{name}”" if name else f"{one} {step + 1}"
    return ", ".join(words)


def _key(path: Path) -> str:
    return next((step for step in reversed(path) if isinstance(step, str)), "")


def _unit(key: str) -> str:
    found = _SUFFIX.search(key)
    return _UNITS.get(found.group(1), "") if found else ""


def _bare(key: str) -> str:
    if key in _WORDS:
        return _WORDS[key]
    return (_SUFFIX.sub("", key) if _unit(key) else key).replace("_", " ")
