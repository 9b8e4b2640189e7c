"""Scale, heading, scale bar and legend that all drawings share."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from clearturn.drawing.hatch import hatch_lines
from clearturn.drawing.lettering import text_width
from clearturn.drawing.model import XY, Dash, Fill, Layer, Line, Mark, Ring, Text, Tone
from clearturn.units import MM_PER, number

# ISO 5455 recommends 1:1, 1:2, 1:5 and 1:10; the steps between keep a figure from being needlessly
# small, and the scale is always told in words and by a bar.  The report prints at the same ones.
SCALES = (1.0, 1 / 1.5, 1 / 2, 1 / 2.5, 1 / 3, 1 / 4, 1 / 5, 1 / 10, 1 / 20)
HEAD_MM = 9.0
FOOT_MM = 10.0
_BAR_MM = 45.0  # a scale bar on the paper at most
_EDGE_MM = 3.0
_BELOW_AXIS_MM = 6.0
_AROUND_MM = 10.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Where things lie on the paper.

    Attributes
    ----------
    part_bounds : (x from, y from, x to, y to)
        What is drawn, mm of the part.
    label_bounds : (x from, y from, x to, y to)
        Where labels may stand, mm on the paper.
    """

    size_mm: tuple[float, float]
    part_bounds: tuple[float, float, float, float]
    scale: float
    origin: XY

    @property
    def label_bounds(self) -> tuple[float, float, float, float]:
        """Where labels may stand, mm on the paper."""
        width, height = self.size_mm
        return (
            _EDGE_MM,
            FOOT_MM + _BELOW_AXIS_MM + 1.0,
            width - _EDGE_MM,
            height - HEAD_MM,
        )

    def to_paper(self, x_mm: float, y_mm: float) -> XY:
        """Return where a place of the part lies on the paper."""
        return self.origin[0] + self.scale * x_mm, self.origin[1] + self.scale * y_mm


def frame_of(
    bounds: tuple[float, float, float, float], size_mm: tuple[float, float], side_mm: float
) -> Frame:
    """Return the frame with the largest usual scale at which `bounds` fit between the margins."""
    wide = size_mm[0] - 2 * side_mm
    high = size_mm[1] - HEAD_MM - FOOT_MM - _BELOW_AXIS_MM - 3.0
    part_wide = max(bounds[2] - bounds[0], 1e-6)
    part_high = max(bounds[3] - bounds[1], 1e-6)
    fit = min(wide / part_wide, high / part_high)
    scale = next((s for s in SCALES if s <= fit * (1 + 1e-9)), fit)
    x = size_mm[0] / 2 - scale * (bounds[0] + bounds[2]) / 2
    # Room for a label above and below, no more: the rest of the paper is left off.
    slack = min(high - scale * part_high, 2 * _AROUND_MM)
    needed = HEAD_MM + FOOT_MM + _BELOW_AXIS_MM + 3.0 + scale * part_high + slack
    size_mm = (size_mm[0], min(size_mm[1], needed))
    y = FOOT_MM + _BELOW_AXIS_MM + slack / 2 - scale * bounds[1]
    return Frame(size_mm, bounds, scale, (x, y))


def scale_text(scale: float) -> str:
    """Return "scale 1 : 2"."""
    if scale >= 1:
        return f"scale {_short(scale)} : 1"
    return f"scale 1 : {_short(1 / scale)}"


def header(frame: Frame, title: str, words: str) -> list[Mark]:
    """Return the heading in the upper left corner."""
    y = frame.size_mm[1] - 6.0
    start = _EDGE_MM + text_width(title, 3.4, "figures") * 1.02 + 3.0
    return [
        Text((_EDGE_MM, y), title, 3.4, face="figures"),
        Text((start, y), words, 2.4, tone=Tone.QUIET),
    ]


def footer(frame: Frame, legend: list[tuple[str, Tone, str]], unit: str = "mm") -> list[Mark]:
    """Return scale bar and legend along the lower edge.

    Parameters
    ----------
    legend : list of (words, tone, "area" | "dashed" | "chain" | "hatch")
    """
    widths = [8.5 + text_width(words, 2.4) + 4.0 for words, _, _ in legend]
    x = frame.size_mm[0] - _EDGE_MM - sum(widths) + 4.0
    # The bar gives way to the legend: both on one spot could not be read.
    out = scale_bar(frame.scale, (_EDGE_MM, 4.0), unit, most_mm=min(_BAR_MM, x - _EDGE_MM - 14.0))
    for (words, tone, kind), width in zip(legend, widths, strict=True):
        out += _swatch((x, 3.0), tone, kind)
        out.append(Text((x + 8.5, 4.0), words, 2.4))
        x += width
    return out


def scale_bar(scale: float, at: XY, unit: str = "mm", *, most_mm: float = _BAR_MM) -> list[Mark]:
    """Return a bar of 10, 20, 50, 100 or 200 mm of the part, at most `most_mm` on the paper."""
    lengths = (10, 5, 2, 1, 0.5) if unit == "in" else (200, 100, 50, 20, 10, 5, 2)
    told = next((n for n in lengths if n * MM_PER[unit] * scale <= most_mm), lengths[-1])
    length = told * MM_PER[unit]
    x, y = at
    end = x + length * scale
    parts = 5
    out: list[Mark] = []
    for i in range(parts):  # alternating blocks, so that it reads as a measure in any print
        low, high = x + i * length * scale / parts, x + (i + 1) * length * scale / parts
        box: Ring = ((low, y), (high, y), (high, y + 1.0), (low, y + 1.0))
        if i % 2 == 0:
            out.append(Fill((box,), Layer.FRAME, Tone.INK))
        out.append(Line(box, Layer.FRAME, 0.13, closed=True))
    out.append(Text((end + 1.5, y - 0.4), f"{told:g} {unit}", 2.4))
    return out


def _swatch(at: XY, tone: Tone, kind: str) -> list[Mark]:
    x, y = at
    box: Ring = ((x, y), (x + 7.0, y), (x + 7.0, y + 3.2), (x, y + 3.2))
    if kind == "chain":
        middle = y + 1.6
        return [Line(((x - 0.5, middle), (x + 7.2, middle)), Layer.REQUIRED, 0.18, tone,
                     Dash.CHAIN)]  # fmt: skip
    if kind == "hatch":
        return [
            *hatch_lines(shapely.Polygon(box), tone),
            Line(box, Layer.BELOW, 0.25, tone, closed=True),
        ]
    dash = Dash.DASHED if kind == "dashed" else Dash.SOLID
    return [Fill((box,), Layer.FRAME, tone), Line(box, Layer.FRAME, 0.25, dash=dash, closed=True)]


def _short(value: float) -> str:
    return number(value, 2).rstrip("0").rstrip(".")
