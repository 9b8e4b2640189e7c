"""One number or word of the job as a slip shows it: label, unit, source, help, range."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any, Literal

from clearturn.errors import InputError
from clearturn.job.edits import value_at, with_value
from clearturn.job.model import Job
from clearturn.job.positions import JsonPath
from clearturn.units import ANGLE, LENGTH, Quantity, number
from clearturn_app.sheets.operations import signatures_lifted
from clearturn_app.window.look import Look

Kind = Literal["length", "angle", "number", "count", "text", "choice", "yes", "numbers", "words"]
_QUANTITIES: dict[str, Quantity] = {"length": LENGTH, "angle": ANGLE}
NUMBER = Quantity("number", "", {"": 1.0}, {})
_BETWEEN = re.compile(r"[;\s]+|,\s+")


@dataclass(frozen=True, slots=True)
class Field:
    """What may be changed at one place of the job.

    Attributes
    ----------
    path : path into the job
    label, help : str
    kind : str
    low, high : float or None
        Range that makes sense, in the unit inside; the job's own rules decide in the end.
    choices : tuple of str
        For kind "choice".  Kind "numbers" is a list of numbers, all of them in the range, kind
        "words" a text of several lines.
    source : str
        Where the value comes from.
    optional : bool
        May be left empty.
    unit_word : str
        Unit of a plain number.
    """

    path: JsonPath
    label: str
    help: str
    kind: Kind = "length"
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    source: str = ""
    optional: bool = False
    unit_word: str = ""

    def unit(self, look: Look) -> str:
        """Return the unit the value is shown in."""
        if self.kind == "numbers":
            return self._one.unit(look)
        return {"length": look.unit, "angle": "°"}.get(self.kind, self.unit_word)

    @property
    def _one(self) -> Field:
        """The field of one number of a list."""
        return replace(self, kind="length" if self.unit_word == "mm" else "number")

    def shown(self, job: Job, look: Look) -> str:
        """Return the value as text, without its unit."""
        return self.written(value_at(job, self.path), look)

    def written(self, value: Any, look: Look) -> str:
        """Return any value of this field as text."""
        if value is None:
            return ""
        if self.kind == "yes":
            return "yes" if value else "no"
        if self.kind == "numbers":
            return " ".join(self._one.written(number, look) for number in value)
        quantity = _QUANTITIES.get(self.kind, NUMBER if self.kind == "number" else None)
        if quantity is None:
            return str(value)
        unit = self.unit(look)
        own = unit if unit in quantity.factors else None
        shown = quantity.shown(float(value), own)
        digits = 5 if unit == "in" else 4
        text = number(shown, digits)
        return text.rstrip("0").rstrip(".") if "." in text else text

    def range_words(self, look: Look) -> str:
        """Return the range in words, or nothing."""
        if self.low is None and self.high is None:
            return ""
        unit = self.unit(look)
        low = self.written(self.low, look) if self.low is not None else None
        high = self.written(self.high, look) if self.high is not None else None
        if low is not None and high is not None:
            return f"{low} to {high} {unit}".strip()
        return f"{low} {unit} or more" if low is not None else f"{high} {unit} at most"

    def parsed(self, text: str, look: Look) -> Any:
        """Return what a text means, in the unit inside.

        Raises
        ------
        InputError
            If it is no such value or out of range.
        """
        text = text.strip()
        if not text and self.optional:
            return None
        if self.kind == "yes":
            return text == "yes"
        if self.kind in ("text", "choice", "words"):
            return text
        if self.kind == "numbers":
            return [self._one.parsed(one, look) for one in _BETWEEN.split(text)]
        if self.kind == "count":
            value = NUMBER.parse(text)
            if value != int(value):
                raise InputError("a whole number must stand here", found=repr(text))
            self._check_range(value, look)
            return int(value)
        quantity = _QUANTITIES.get(self.kind, NUMBER)
        unit = self.unit(look)
        value = quantity.parse(text, unit if unit in quantity.factors else None)
        self._check_range(value, look)
        return value

    def _check_range(self, value: float, look: Look) -> None:
        too_low = self.low is not None and value < self.low
        too_high = self.high is not None and value > self.high
        if too_low or too_high:
            # Hundreds of digits are no sentence.
            text = self.written(value, look) if abs(value) < 1e9 else f"{value:.3g}"
            found = f"{text} {self.unit(look)}".strip()
            raise InputError("out of range", found=found, allowed=self.range_words(look))

    def edited(self, job: Job, text: str, look: Look) -> tuple[str, Job]:
        """Return the name of the change and the changed job, signatures lifted where it touches.

        A value that reads as the one that stands there changes nothing, even if that one has
        digits that are not shown.

        Raises
        ------
        InputError
            If the text is no such value.
        """
        old = self.shown(job, look)
        if text.strip() == old:
            return "", job
        value = self.parsed(text, look)
        if type(value_at(job, self.path)) is int and type(value) is float and value.is_integer():
            value = int(value)  # a count stays one
        changed = with_value(job, self.path, value)
        if changed is job:
            return "", job
        new = self.written(value, look) or "empty"
        unit = self.unit(look)
        name = f"{self.label} {old or 'empty'} → {new} {unit}".strip()
        return name, signatures_lifted(changed, self.path)


@dataclass(frozen=True, slots=True)
class Fact:
    """One line a slip tells and does not let change."""

    label: str
    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Deed:
    """One line with words to touch.

    Attributes
    ----------
    words : tuple of (word, deed)
        What is written, and what the slip asks for when it is touched.
    """

    label: str
    text: str
    words: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Blank:
    """One place of a form: what belongs there, and what stands there at first."""

    key: str
    field: Field
    start: str = ""


@dataclass(frozen=True, slots=True)
class Form:
    """Numbers that go into the job together, since one alone makes nothing.

    Attributes
    ----------
    deed : str
        What the slip asks for when all are written.
    word : str
    """

    deed: str
    word: str
    blanks: tuple[Blank, ...]


Line = Field | Fact | Deed | Form


@dataclass(frozen=True, slots=True)
class Section:
    """A group of lines of a slip.

    Attributes
    ----------
    folded : bool
        Whether it is closed when the slip unfolds.
    key : str
        What it is known by where its title tells a result; else its title.
    """

    title: str
    lines: tuple[Line, ...]
    folded: bool = False
    key: str = ""

    @property
    def known_as(self) -> str:
        """What stays the same however the title is worded."""
        return self.key or self.title
