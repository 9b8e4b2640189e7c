"""The bracket's plan at 1 : 1: outline, holes with their names and places, datums."""

from __future__ import annotations

import math
from collections.abc import Callable

from clearturn.drawing.model import XY, Dash, Drawing, Layer, Line, Mark, Text, Tone
from clearturn.trade.bracket import Bracket, Hole, Plate, compute, holes, plate_frame
from clearturn.units import number

_EDGE_MM = 12.0
_LINE_MM = 4.2
_SIDES = 96
_FIGURE_EDGE_MM = 7.0
_ARM_MM = 8.0  # of the arrows of u and v, on the paper


def bracket_plan(inputs: Bracket, *, words: str = "") -> Drawing:
    """Return the plate at 1 : 1 with u to the right and v up, and a table of its holes.

    Which side that shows depends on which lug is the first; the heading says it.

    Parameters
    ----------
    words : str
        Job and hash, printed under the heading.
    """
    plate, result = inputs.plate, compute(inputs)
    rows = len(result.holes) + 3
    wide = max(plate.width_mm + 2 * _EDGE_MM, 190.0)
    high = plate.v_to_mm - plate.v_from_mm + 2 * _EDGE_MM + _LINE_MM * (rows + 2)
    origin = (wide / 2.0, _EDGE_MM + _LINE_MM * rows - plate.v_from_mm)

    def at(u: float, v: float) -> XY:
        return origin[0] + u, origin[1] + v

    marks: list[Mark] = [
        Text(
            (_EDGE_MM, high - 7.0),
            f"BRACKET, FROM {side_seen(inputs).upper()}",
            3.4,
            face="figures",
        ),
        Text((_EDGE_MM, high - 11.0), words, 2.4, tone=Tone.QUIET),
        *_plate(plate, at),
    ]
    for label, hole in enumerate(result.holes, start=1):
        marks += _hole(hole, at, plate.v_to_mm - plate.v_from_mm)
        marks.append(_numbered(hole, str(label), at))
    marks += _table(result.holes, plate.thickness_mm, _LINE_MM * rows + 2.0)
    return Drawing(tuple(marks), (0.0, 0.0, wide, high), 1.0, origin, f"Bracket {words}".strip())


def bracket_figure(inputs: Bracket, wide_mm: float, high_mm: float) -> Drawing:
    """Return the plate to a scale at which it fits a place on a page, its holes named.

    Parameters
    ----------
    wide_mm, high_mm : float
        The place; the drawing is as wide, and as high as it needs.
    """
    plate = inputs.plate
    tall = plate.v_to_mm - plate.v_from_mm
    edges = 2.0 * _FIGURE_EDGE_MM
    scale = min(1.0, (wide_mm - edges) / plate.width_mm, (high_mm - edges) / tall)
    origin = (wide_mm / 2.0, _FIGURE_EDGE_MM - scale * plate.v_from_mm)

    def at(u: float, v: float) -> XY:
        return origin[0] + scale * u, origin[1] + scale * v

    marks = _plate(plate, at)
    for hole in holes(inputs):
        marks += [*_hole(hole, at, tall, scale), _named(hole, at, scale)]
    marks += _frame_marks(at, _ARM_MM / scale)
    size = f"{number(plate.width_mm, 1)} × {number(tall, 1)} × {number(plate.thickness_mm, 1)}"
    middle = at(0.0, (plate.v_from_mm + plate.v_to_mm) / 2.0 + 6.0 / scale)
    marks.append(Text(middle, f"{size}, {plate.material}", 3.0, anchor="middle"))
    bounds = (0.0, 0.0, wide_mm, scale * tall + edges)
    return Drawing(tuple(marks), bounds, scale, origin, f"Bracket, from {side_seen(inputs)}")


def side_seen(inputs: Bracket) -> str:
    """Return from which side the plan shows the plate: "outboard" or "inboard"."""
    # x right and y up is the view from outboard; a left-handed (u, v) is its mirror image.
    return "outboard" if plate_frame(inputs.lugs).right_handed else "inboard"


def _plate(plate: Plate, at: Callable[[float, float], XY]) -> list[Mark]:
    half = plate.width_mm / 2.0
    corners = ((-half, plate.v_from_mm), (half, plate.v_from_mm), (half, plate.v_to_mm),
               (-half, plate.v_to_mm))  # fmt: skip
    return [Line(tuple(at(u, v) for u, v in corners), Layer.PART, 0.5, closed=True)]


def _hole(
    hole: Hole, at: Callable[[float, float], XY], height_mm: float, scale: float = 1.0
) -> list[Mark]:
    u, v, radius = hole.u_mm, hole.v_mm, hole.diameter_mm / 2.0
    arm = radius + 3.0 / scale
    out: list[Mark] = []
    if hole.direction == "axial":
        ring = tuple(
            at(u + radius * math.cos(a), v + radius * math.sin(a))
            for a in (math.tau * i / _SIDES for i in range(_SIDES))
        )
        out.append(Line(ring, Layer.PART, 0.35, closed=True))
        out.append(Line((at(u - arm, v), at(u + arm, v)), Layer.AXIS, 0.18, dash=Dash.CHAIN))
        out.append(Line((at(u, v - arm), at(u, v + arm)), Layer.AXIS, 0.18, dash=Dash.CHAIN))
    else:
        deep = hole.depth_mm or height_mm
        for side in (-radius, radius):
            ends = (at(u + side, v), at(u + side, v - deep))
            out.append(Line(ends, Layer.HIDDEN, 0.25, dash=Dash.DASHED))
        ends = (at(u, v + 3.0 / scale), at(u, v - deep))
        out.append(Line(ends, Layer.AXIS, 0.18, dash=Dash.CHAIN))
    return out


def _frame_marks(at: Callable[[float, float], XY], arm: float) -> list[Mark]:
    # The plate's own frame, midway between the lugs.
    along, up = at(arm, 0.0), at(0.0, arm)
    return [
        Line((at(0.0, 0.0), along), Layer.AXIS, 0.18),
        Line((at(0.0, 0.0), up), Layer.AXIS, 0.18),
        Text((along[0] + 1.2, along[1] - 1.0), "u", 2.8),
        Text((up[0] + 1.2, up[1] - 1.0), "v", 2.8),
    ]


def _numbered(hole: Hole, label: str, at: Callable[[float, float], XY]) -> Text:
    radius = hole.diameter_mm / 2.0
    place = at(hole.u_mm + radius + 1.2, hole.v_mm + radius + 0.6)
    return Text(place, label, 3.0, face="figures")


def _named(hole: Hole, at: Callable[[float, float], XY], scale: float) -> Text:
    # Clear of the centre line's end.
    below = hole.diameter_mm / 2.0 + 7.0 / scale
    x, y = at(hole.u_mm, hole.v_mm - below)
    return Text((x, y), hole.name, 2.8, anchor="middle")


def _table(holes: tuple[Hole, ...], thickness_mm: float, top_mm: float) -> list[Mark]:
    heads = ("No.", "hole", "u", "v", "w", "drill", "depth", "position to A B C")
    places = (0.0, 8.0, 38.0, 56.0, 74.0, 92.0, 122.0, 142.0)
    rows = [heads]
    for label, hole in enumerate(holes, start=1):
        depth = number(hole.depth_mm, 1) if hole.depth_mm else "through"
        rows.append(
            (str(label), hole.name, number(hole.u_mm, 2), number(hole.v_mm, 2),
             number(hole.w_mm, 2), f"Ø{number(hole.diameter_mm, 1)} {hole.direction}", depth,
             f"Ø{number(hole.position_mm, 1)}")
        )  # fmt: skip
    marks: list[Mark] = []
    for i, row in enumerate(rows):
        y = top_mm - _LINE_MM * (i + 1)
        tone = Tone.QUIET if i == 0 else Tone.INK
        for place, text in zip(places, row, strict=True):
            marks.append(Text((_EDGE_MM + place, y), text, 2.4, tone=tone))
    note = (
        f"mm; plate {number(thickness_mm, 2)} thick; A hub face, B spin axis, C bore 1; u from "
        "bore 1 to bore 2, v away from the spin axis, w outboard from the lug face"
    )
    marks.append(Text((_EDGE_MM, top_mm - _LINE_MM * (len(rows) + 1)), note, 2.4, tone=Tone.QUIET))
    return marks
