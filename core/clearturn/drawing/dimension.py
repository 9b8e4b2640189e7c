"""A dimension taken apart into lines, arrowheads and texts, the same for every writer."""

from __future__ import annotations

import math
from collections.abc import Iterator

from clearturn.drawing.lettering import text_width
from clearturn.drawing.model import XY, Dimension, Fill, Layer, Line, Text, Tone

ARROW_MM = 2.4
_ARROW_HALF_MM = 0.42  # about 20° of opening
_THIN_MM = 0.18
CLEAR_MM = 1.6
VALUE_MM = 3.8
NOTE_MM = 2.4
NOTE_STEP_MM = 3.3
TAIL_MM = 6.0


def label_size(dimension: Dimension) -> tuple[float, float, float]:
    """Return width, height above the shelf and depth below it, mm."""
    value = text_width(_value_text(dimension), VALUE_MM, "figures")
    notes = [text_width(note, NOTE_MM, "text") for note in dimension.notes]
    return (
        max([value, *notes]) + CLEAR_MM + 0.6,
        VALUE_MM * 0.95 + 0.8,
        NOTE_STEP_MM * len(notes) + 0.6,
    )


def outside(dimension: Dimension) -> bool:
    """Return whether the arrows stand outside, since the distance is too short for them."""
    return math.dist(dimension.first, dimension.second) < 3.2 * ARROW_MM


def tail_end(first: XY, second: XY) -> XY:
    """Return where the dimension line ends beyond `second`, before it bends to its shelf."""
    ux, uy = _unit(first, second)
    return second[0] + TAIL_MM * ux, second[1] + TAIL_MM * uy


def dimension_marks(dimension: Dimension) -> Iterator[Line | Fill | Text]:
    """Yield the dimension line, its arrowheads, the shelf and the texts."""
    first, second, tone, layer = (
        dimension.first, dimension.second, dimension.tone, dimension.layer,
    )  # fmt: skip
    u = _unit(first, second)
    sign = 1.0 if outside(dimension) else -1.0
    end = tail_end(first, second) if sign > 0 else second
    begin = (first[0] - TAIL_MM * u[0], first[1] - TAIL_MM * u[1]) if sign > 0 else first
    elbow = dimension.elbow
    shelf_end = (elbow[0] + dimension.shelf_mm, elbow[1])
    yield Line((begin, first), layer, _THIN_MM, tone)
    yield Line((first, second, end, elbow, shelf_end), layer, _THIN_MM, tone)
    yield _arrow(first, (-sign * u[0], -sign * u[1]), tone, layer)
    yield _arrow(second, (sign * u[0], sign * u[1]), tone, layer)
    # Text keeps clear of the end where the leader comes in.
    left = shelf_end[0] + 0.3 if dimension.shelf_mm < 0 else elbow[0] + CLEAR_MM
    baseline = (left, elbow[1] + 0.9)
    yield Text(baseline, _value_text(dimension), VALUE_MM, layer, tone, face="figures")
    for i, note in enumerate(dimension.notes):
        at = (left, elbow[1] - NOTE_STEP_MM * (i + 1) + 0.5)
        yield Text(at, note, NOTE_MM, Layer.TEXT, tone if i == 0 else Tone.QUIET)


def _value_text(dimension: Dimension) -> str:
    return f"{dimension.value} {dimension.deviation}".strip()


def _arrow(tip: XY, back: XY, tone: Tone, layer: Layer) -> Fill:
    base = (tip[0] + ARROW_MM * back[0], tip[1] + ARROW_MM * back[1])
    side = (-back[1] * _ARROW_HALF_MM, back[0] * _ARROW_HALF_MM)
    return Fill(
        (
            (
                tip,
                (base[0] + side[0], base[1] + side[1]),
                (base[0] - side[0], base[1] - side[1]),
            ),
        ),
        layer,
        tone,
    )


def _unit(first: XY, second: XY) -> XY:
    length = math.dist(first, second)
    if length == 0:
        return 1.0, 0.0
    return (second[0] - first[0]) / length, (second[1] - first[1]) / length
