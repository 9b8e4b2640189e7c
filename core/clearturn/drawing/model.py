"""A drawing as a frozen list of lines, fills and texts in mm on the paper.

One list feeds every paper: the window's painter, SVG for the report, DXF for the workshop.  x runs
to the right, y upwards.  ``scale`` says how many mm on the paper one mm of the part takes, and
``origin`` where the part's zero lies on the paper.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any, Literal

XY = tuple[float, float]
Ring = tuple[XY, ...]
Anchor = Literal["start", "middle", "end"]


class Layer(StrEnum):
    """What a mark says; DXF keeps these names."""

    PART = "part"
    HIDDEN = "hidden"
    AXIS = "axis"
    REQUIRED = "required"
    BELOW = "below"
    DIMENSION = "dimension"
    TEXT = "text"
    FRAME = "frame"


class Tone(StrEnum):
    """Meaning of a tone; each writer has its own colours for light and dark paper."""

    INK = "ink"
    QUIET = "quiet"  # second-rank text and thin lines, still at least 4.5 : 1
    TURNS = "turns"
    FIXED = "fixed"
    POSED = "posed"
    ALERT = "alert"
    PAPER = "paper"


class Dash(StrEnum):
    """Line types after ISO 128-2: long-dashed dotted lines are axes and limits."""

    SOLID = "solid"
    DASHED = "dashed"
    CHAIN = "chain"


# Dash and gap lengths in mm on the paper.
DASHES: dict[Dash, tuple[float, ...]] = {
    Dash.SOLID: (),
    Dash.DASHED: (2.0, 1.0),
    Dash.CHAIN: (4.0, 0.8, 0.5, 0.8),
}


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points; closed joins the last to the first."""

    points: Ring
    layer: Layer = Layer.PART
    width_mm: float = 0.35
    tone: Tone = Tone.INK
    dash: Dash = Dash.SOLID
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Fill:
    """An area: the first ring is its outside, the others are holes."""

    rings: tuple[Ring, ...]
    layer: Layer = Layer.PART
    tone: Tone = Tone.TURNS


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text standing on its baseline at `at`.

    ``face`` "figures" is the lettering of numbers and headings, "text" that of everything else.
    """

    at: XY
    text: str
    height_mm: float = 2.5  # of the letters' body, as fonts count it
    layer: Layer = Layer.TEXT
    tone: Tone = Tone.INK
    anchor: Anchor = "start"
    face: Literal["figures", "text"] = "text"
    bold: bool = False
    angle_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Dimension:
    """A distance between two places, drawn as a dimension line (ISO 129-1) with its value.

    Where the distance is too short for arrows between the places they stand outside and point
    inwards.  The line runs on from the second place to `elbow` and along the shelf under the value.

    Attributes
    ----------
    first, second : (x, y)
        The two places.
    elbow : (x, y)
        Where the shelf begins.
    shelf_mm : float
        Length of the shelf, negative to the left.
    value, deviation : str
        "2.18" and "±0.31".
    notes : tuple of str
        Lines under the shelf; the first in the dimension's own tone, the others quiet.
    """

    first: XY
    second: XY
    elbow: XY
    shelf_mm: float
    value: str
    deviation: str = ""
    notes: tuple[str, ...] = ()
    layer: Layer = Layer.DIMENSION
    tone: Tone = Tone.INK


Mark = Line | Fill | Text | Dimension
_KINDS: dict[str, type[Line | Fill | Text | Dimension]] = {
    "line": Line,
    "fill": Fill,
    "text": Text,
    "dimension": Dimension,
}


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks in the order they are drawn.

    Attributes
    ----------
    bounds : (x from, y from, x to, y to)
        The paper, mm.
    scale : float
        mm on the paper for one mm of the part.
    origin : (x, y)
        Where the part's zero lies on the paper.
    title : str
        What it shows, for screen readers and file properties.
    accuracy_mm : float
        How far an outline may stand from the true one, mm of the part.
    """

    marks: tuple[Mark, ...]
    bounds: tuple[float, float, float, float]
    scale: float = 1.0
    origin: XY = (0.0, 0.0)
    title: str = ""
    accuracy_mm: float = 0.0

    def to_paper(self, x_mm: float, y_mm: float) -> XY:
        """Return where a place of the part lies on the paper (turn section: x is z, y is r)."""
        return self.origin[0] + self.scale * x_mm, self.origin[1] + self.scale * y_mm

    def to_part(self, x: float, y: float) -> XY:
        """Return the place of the part that is drawn at a place of the paper."""
        return (x - self.origin[0]) / self.scale, (y - self.origin[1]) / self.scale

    def simple_marks(self) -> Iterator[Line | Fill | Text]:
        """Yield every mark, dimensions taken apart into lines, fills and texts."""
        from clearturn.drawing.dimension import dimension_marks

        for mark in self.marks:
            if isinstance(mark, Dimension):
                yield from dimension_marks(mark)
            else:
                yield mark

    def as_json(self) -> dict[str, Any]:
        """Return the drawing as plain lists, numbers and words."""
        return {
            "title": self.title,
            "bounds": list(self.bounds),
            "scale": self.scale,
            "origin": list(self.origin),
            "accuracy_mm": self.accuracy_mm,
            "marks": [_mark_json(mark) for mark in self.marks],
        }

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Drawing:
        """Return the drawing that `as_json` wrote."""
        low_x, low_y, high_x, high_y = data["bounds"]
        return cls(
            marks=tuple(_mark(item) for item in data["marks"]),
            bounds=(low_x, low_y, high_x, high_y),
            scale=data["scale"],
            origin=(data["origin"][0], data["origin"][1]),
            title=data["title"],
            accuracy_mm=data["accuracy_mm"],
        )


def _mark_json(mark: Mark) -> dict[str, Any]:
    out: dict[str, Any] = {"kind": type(mark).__name__.lower()}
    for field in fields(mark):
        value = getattr(mark, field.name)
        out[field.name] = str(value) if isinstance(value, StrEnum) else _lists(value)
    return out


def _lists(value: Any) -> Any:
    return [_lists(item) for item in value] if isinstance(value, tuple) else value


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value


def _mark(data: dict[str, Any]) -> Mark:
    enums = {"layer": Layer, "tone": Tone, "dash": Dash}
    values: dict[str, Any] = {
        key: enums[key](value) if key in enums else _tuples(value)
        for key, value in data.items()
        if key != "kind"
    }
    return _KINDS[data["kind"]](**values)
