"""Plots of the sums: curves over two named axes, on one sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass

from clearturn.drawing.model import XY, Dash, Drawing, Layer, Line, Mark, Text, Tone
from clearturn.trade.sheet import Curve, Plot
from clearturn.units import number

_LEFT_MM, _RIGHT_MM, _FOOT_MM, _HEAD_MM = 16.0, 50.0, 13.0, 14.0
_CROSS_MM = 0.9
_NAME_STEP_MM = 3.4


@dataclass(frozen=True, slots=True)
class _Axis:
    """From low to high with ticks at every step."""

    low: float
    high: float
    step: float

    @classmethod
    def of(cls, values: list[float]) -> _Axis:
        low, high = min(values), max(values)
        if high - low < 1e-12 * max(1.0, abs(high)):
            low, high = low - 1.0, high + 1.0
        rough = (high - low) / 6.0
        power = 10.0 ** math.floor(math.log10(rough))
        step = next(power * m for m in (1.0, 2.0, 5.0, 10.0) if power * m >= rough)
        return cls(math.floor(low / step) * step, math.ceil(high / step) * step, step)

    def share(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)

    def ticks(self) -> list[float]:
        count = round((self.high - self.low) / self.step)
        return [self.low + i * self.step for i in range(count + 1)]

    def label(self, value: float) -> str:
        return number(value, max(0, -math.floor(math.log10(self.step) + 1e-9)))


def sum_plot(plot: Plot, size_mm: tuple[float, float] = (170.0, 78.0)) -> Drawing:
    """Return a plot as a drawing; each curve is named at its end, nothing hangs on colour."""
    points = [p for curve in plot.curves for p in curve.points]
    x_axis, y_axis = _Axis.of([p[0] for p in points]), _Axis.of([p[1] for p in points])
    wide, high = size_mm[0] - _LEFT_MM - _RIGHT_MM, size_mm[1] - _FOOT_MM - _HEAD_MM

    def at(x: float, y: float) -> XY:
        return _LEFT_MM + wide * x_axis.share(x), _FOOT_MM + high * y_axis.share(y)

    marks: list[Mark] = [
        Text((_LEFT_MM, size_mm[1] - 5.5), plot.title, 3.2, face="figures"),
        Text((_LEFT_MM + wide, 2.0), plot.x_label, 2.4, anchor="end", tone=Tone.QUIET),
        Text((_LEFT_MM - 13.0, size_mm[1] - 10.5), plot.y_label, 2.4, tone=Tone.QUIET),
    ]
    for x in x_axis.ticks():
        foot = at(x, y_axis.low)
        marks.append(Line((foot, at(x, y_axis.high)), Layer.FRAME, 0.09, Tone.QUIET))
        place = (foot[0], foot[1] - 4.0)
        marks.append(Text(place, x_axis.label(x), 2.4, anchor="middle", face="figures"))
    for y in y_axis.ticks():
        left = at(x_axis.low, y)
        marks.append(Line((left, at(x_axis.high, y)), Layer.FRAME, 0.09, Tone.QUIET))
        place = (left[0] - 1.5, left[1] - 0.8)
        marks.append(Text(place, y_axis.label(y), 2.4, anchor="end", face="figures"))
    ends: list[tuple[float, XY, Curve]] = []
    for curve in plot.curves:
        places = tuple(at(*p) for p in curve.points)
        if curve.style == "points":
            marks += [mark for place in places for mark in _cross(place)]
        else:
            dash = Dash.DASHED if curve.style == "dashed" else Dash.SOLID
            marks.append(Line(places, Layer.PART, 0.4, dash=dash))
        ends.append((places[-1][1], places[-1], curve))
    return Drawing((*marks, *_names(ends, _LEFT_MM + wide)), (0.0, 0.0, *size_mm), title=plot.title)


def _names(ends: list[tuple[float, XY, Curve]], right: float) -> list[Mark]:
    """Write each curve's name beside its end, from the top down without touching."""
    marks: list[Mark] = []
    above = math.inf
    for _, end, curve in sorted(ends, key=lambda entry: -entry[0]):
        above = min(end[1], above - _NAME_STEP_MM)
        at = (right + 5.0, above)
        marks.append(Line((end, (right + 1.0, end[1]), at), Layer.DIMENSION, 0.13, Tone.QUIET))
        if curve.style == "points":
            marks += _cross((at[0] + 1.6, at[1]))
        shift = 3.6 if curve.style == "points" else 0.8
        marks.append(Text((at[0] + shift, at[1] - 0.8), curve.name, 2.4))
    return marks


def _cross(at: XY) -> list[Mark]:
    x, y = at
    half = _CROSS_MM
    return [
        Line(((x - half, y - half), (x + half, y + half)), Layer.PART, 0.25),
        Line(((x - half, y + half), (x + half, y - half)), Layer.PART, 0.25),
    ]
