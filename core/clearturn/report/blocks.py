"""What a report is made of: plain data that says what stands on the pages, not how it looks.

A section maker takes the `Context` and returns a `Section` or None (nothing to say).  The page
template knows how to set each kind of block and nothing about brakes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from clearturn.report.pictures import Pictures
from clearturn.result import CheckResult, Verdict

Tone = Literal["body", "note", "lead", "caution"]
Align = Literal["left", "right", "center"]


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str
    tone: Tone = "body"
    kind: str = "text"


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table: a line and, smaller below it, where it comes from or what it means."""

    text: str
    below: str = ""
    verdict: Verdict | None = None
    strong: bool = False
    write_here: bool = False  # a ruled blank for the pen


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its head, its share of the free width (0: as wide as it needs) and alignment.

    `unit` stands after the head in the letters given: heads are set in capitals, units never.
    """

    head: str
    share: float = 0.0
    align: Align = "left"
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under ruled heads; the rows of `foot` stand under a heavier rule."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    foot: tuple[tuple[Cell, ...], ...] = ()
    note: str = ""
    dense: bool = False  # many narrow columns of numbers
    kind: str = "table"


@dataclass(frozen=True, slots=True)
class Facts:
    """Label and value pairs."""

    rows: tuple[tuple[str, Cell], ...]
    kind: str = "facts"


@dataclass(frozen=True, slots=True)
class Items:
    """A list; each item has a head (may be empty) and a text."""

    items: tuple[tuple[str, str], ...]
    numbered: bool = False
    boxes: bool = False  # a box to tick before each
    kind: str = "items"


@dataclass(frozen=True, slots=True)
class Span:
    """A dimension between two places of a picture, as fractions of its width and height."""

    first: tuple[float, float]
    second: tuple[float, float]
    label: str


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture among the report's files, with what it shows in words for who cannot see it."""

    file: str
    width_mm: float
    height_mm: float
    caption: str
    alt: str
    span: Span | None = None
    framed: bool = True
    kind: str = "figure"


@dataclass(frozen=True, slots=True)
class Split:
    """Blocks side by side; `share` is the left side's part of the width."""

    left: tuple[Block, ...]
    right: tuple[Block, ...]
    share: float = 0.5
    kind: str = "split"


@dataclass(frozen=True, slots=True)
class Head:
    """A heading inside a section, with a verdict at its end if there is one."""

    text: str
    number: str = ""
    note: str = ""
    verdict: Verdict | None = None
    kind: str = "head"


@dataclass(frozen=True, slots=True)
class Together:
    """Blocks that stay on one page."""

    blocks: tuple[Block, ...]
    kind: str = "together"


@dataclass(frozen=True, slots=True)
class Signatures:
    """Lines to sign on: what the signature stands for."""

    lines: tuple[tuple[str, str], ...]
    kind: str = "signatures"


Block = Text | Table | Facts | Items | Figure | Split | Head | Together | Signatures


@dataclass(frozen=True, slots=True)
class Section:
    """One numbered section of the report.

    `with_next` keeps it on one page with the section that follows.
    """

    title: str
    blocks: tuple[Block, ...]
    subtitle: str = ""
    with_next: bool = False


@dataclass(frozen=True, slots=True)
class Context:
    """All that a section maker may look at.

    Attributes
    ----------
    result : CheckResult
    pictures : Pictures
        One per pair that got one, and why the others have none.
    text_width_mm, text_height_mm : float
        Room inside the frame of the chosen paper.
    """

    result: CheckResult
    pictures: Pictures
    text_width_mm: float
    text_height_mm: float


SectionMaker = Callable[[Context], Section | None]


@dataclass(frozen=True, slots=True)
class Report:
    """The whole report as plain data."""

    title: str
    job: str
    job_line: str
    job_sha256: str
    verdict: Verdict
    verdict_head: str
    sentence: str
    tally: tuple[tuple[Verdict, int], ...]
    invented: bool
    card: tuple[tuple[str, str], ...]
    to_do: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
