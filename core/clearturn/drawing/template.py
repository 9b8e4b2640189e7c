"""The wheel template: the caliper's swept outline with its requirement, exactly 1 : 1.

Cut out along the outer line and held in a real wheel, square to the pad and with its lower edge on
the wheel's axis, it must pass spokes and barrel all round.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from clearturn.drawing._shapes import fills, on_paper, strokes
from clearturn.drawing.lettering import text_width
from clearturn.drawing.model import XY, Dash, Drawing, Layer, Line, Mark, Ring, Text, Tone
from clearturn.drawing.outline import swept_outline
from clearturn.errors import InputError
from clearturn.result import Motion, PlacedPart
from clearturn.units import number

CHECK_BAR_MM = 100.0
_EDGE_MM = 12.0
_FOOT_MM = 30.0


def wheel_template(
    parts: Sequence[PlacedPart],
    required_mm: float,
    *,
    pad_z_mm: float = 0.0,
    words: str = "",
) -> Drawing:
    """Return the template as a drawing at 1 : 1; its paper is as large as it needs.

    Parameters
    ----------
    parts : sequence of PlacedPart
        What must pass inside the wheel (caliper, bracket); those that turn are refused.
    required_mm : float
        The outer line's distance from the outline.
    pad_z_mm : float
        Height of the wheel's pad in the hub frame (flange and spacer): the template stands on it.
    words : str
        Job and hash, printed on it.

    Raises
    ------
    InputError
        If there is no fixed part or the requirement is negative.
    """
    fixed = [p for p in parts if p.motion is Motion.FIXED]
    if not fixed or len(fixed) < len(parts):
        raise InputError(
            "a wheel template is of fixed parts", found=", ".join(p.name for p in parts) or "none"
        )
    if not 0.0 <= required_mm < 100.0:
        raise InputError(
            "the requirement is out of range", found=f"{required_mm:g}", allowed="0 to 100 mm"
        )
    outlines = [swept_outline(p.mesh) for p in fixed]
    area = shapely.union_all([o.area for o in outlines])
    # Round corners: the outer line is exactly the requirement away everywhere.
    outer = shapely.buffer(area, required_mm, quad_segs=32)
    low_z, _, high_z, high_r = outer.bounds
    low_z, high_z = min(low_z, pad_z_mm) - 8.0, max(high_z, pad_z_mm) + 8.0
    width = max(high_z - low_z, CHECK_BAR_MM + 20.0) + 2 * _EDGE_MM
    height = high_r + _FOOT_MM + _EDGE_MM + 8.0
    origin = (_EDGE_MM - low_z, _FOOT_MM)
    marks: list[Mark] = []
    marks += fills(on_paper(area, 1.0, origin), Tone.FIXED)
    marks += strokes(shapely.boundary(on_paper(area, 1.0, origin)), Layer.PART, 0.25)
    marks += strokes(shapely.boundary(on_paper(outer, 1.0, origin)), Layer.REQUIRED, 0.35)
    borders = shapely.union(shapely.boundary(on_paper(area, 1.0, origin)),
                            shapely.boundary(on_paper(outer, 1.0, origin)))  # fmt: skip
    marks += _edges(origin, (low_z, high_z, high_r), pad_z_mm, borders)
    marks += _check_bar((_EDGE_MM, 14.0))
    marks += _words(height, required_mm, words)
    accuracy = max(o.accuracy_mm for o in outlines)
    return Drawing(tuple(marks), (0.0, 0.0, width, height), 1.0, origin, "Wheel template 1 : 1",
                   accuracy)  # fmt: skip


def _edges(
    origin: XY, reach: tuple[float, float, float], pad_z: float, borders: shapely.Geometry
) -> list[Mark]:
    low_z, high_z, high_r = reach
    axis_y, pad_x = origin[1], origin[0] + pad_z
    out: list[Mark] = [
        Line(((origin[0] + low_z, axis_y), (origin[0] + high_z, axis_y)), Layer.AXIS, 0.25,
             dash=Dash.CHAIN),
        Text((origin[0] + low_z, axis_y + 1.2), "wheel's axis", 2.6),
        Line(((pad_x, axis_y - 4.0), (pad_x, axis_y + high_r + 4.0)), Layer.AXIS, 0.25,
             dash=Dash.DASHED),
        Text((pad_x + 3.0, axis_y + 6.0), "wheel's pad, outboard to the right", 2.6,
             angle_deg=90.0),
    ]  # fmt: skip
    for r in range(50, int(high_r) + 1, 50):
        y = axis_y + r
        out.append(Line(((pad_x - 1.5, y), (pad_x + 1.5, y)), Layer.AXIS, 0.18))
        # Beside the line if no outline runs through it there.
        if not borders.intersects(shapely.box(pad_x - 12.0, y - 2.0, pad_x, y + 3.0)):
            out.append(Text((pad_x - 2.0, y - 0.9), f"r {r}", 2.4, anchor="end", tone=Tone.QUIET))
    return out


def _check_bar(at: XY) -> list[Mark]:
    x, y = at
    out: list[Mark] = [Line(((x, y), (x + CHECK_BAR_MM, y)), Layer.FRAME, 0.25)]
    for i in range(11):
        tick = x + i * CHECK_BAR_MM / 10
        end: Ring = ((tick, y - (3.0 if i % 5 == 0 else 1.5)), (tick, y))
        out.append(Line(end, Layer.FRAME, 0.18))
    words = "100 mm: measure this bar on the print before you cut; print at 100 %, not fitted"
    out.append(Text((x, y - 7.0), words, 2.6))
    return out


def _words(height: float, required_mm: float, words: str) -> list[Mark]:
    y = height - 7.0
    out: list[Mark] = [Text((_EDGE_MM, y), "WHEEL TEMPLATE", 3.8, face="figures")]
    x = _EDGE_MM + text_width("WHEEL TEMPLATE", 3.8, "figures") + 4.0
    line = f"1 : 1 · outer line {number(required_mm, 1)} mm outside the caliper's swept outline"
    out.append(Text((x, y), line, 2.6))
    if words:
        out.append(Text((_EDGE_MM, y - 5.0), words, 2.4, tone=Tone.QUIET))
    return out
