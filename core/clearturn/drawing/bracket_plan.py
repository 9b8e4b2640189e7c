"""The bracket's plan at 1 : 1: outline, holes with their names and places, datums."""

from __future__ import annotations

import math
from collections.abc import Callable

from clearturn.drawing.model import XY, Dash, Drawing, Layer, Line, Mark, Text, Tone
from clearturn.trade.bracket import Bracket, Hole, compute, plate_frame
from clearturn.units import number

_EDGE_MM = 12.0
_LINE_MM = 4.2
_SIDES = 96


def bracket_plan(inputs: Bracket, *, words: str = "") -> Drawing:
    """Return the plate with u to the right and v up, and a table of its holes.

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

    half = plate.width_mm / 2.0
    corners = ((-half, plate.v_from_mm), (half, plate.v_from_mm), (half, plate.v_to_mm),
               (-half, plate.v_to_mm))  # fmt: skip
    marks: list[Mark] = [
        Line(tuple(at(u, v) for u, v in corners), Layer.PART, 0.5, closed=True),
        Text((_EDGE_MM, high - 7.0), f"BRACKET, FROM {_side(inputs)}", 3.4, face="figures"),
        Text((_EDGE_MM, high - 11.0), words, 2.4, tone=Tone.QUIET),
    ]
    for label, hole in enumerate(result.holes, start=1):
        marks += _hole(hole, str(label), at, plate.v_to_mm - plate.v_from_mm)
    marks += _table(result.holes, plate.thickness_mm, _LINE_MM * rows + 2.0)
    return Drawing(tuple(marks), (0.0, 0.0, wide, high), 1.0, origin, f"Bracket {words}".strip())


def _side(inputs: Bracket) -> str:
    # x right and y up is the view from outboard; a left-handed (u, v) is its mirror image.
    return "OUTBOARD" if plate_frame(inputs.lugs).right_handed else "INBOARD"


def _hole(hole: Hole, label: str, at: Callable[[float, float], XY], height_mm: float) -> list[Mark]:
    u, v, radius = hole.u_mm, hole.v_mm, hole.diameter_mm / 2.0
    arm = radius + 3.0
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
        out.append(Line((at(u, v + 3.0), at(u, v - deep)), Layer.AXIS, 0.18, dash=Dash.CHAIN))
    x, y = at(u + radius + 1.2, v + radius + 0.6)
    out.append(Text((x, y), label, 3.0, face="figures"))
    return out


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
