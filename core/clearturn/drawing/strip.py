"""The clock strip: gap of one turning pair against clock position."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from clearturn.drawing.hatch import hatch_lines
from clearturn.drawing.lettering import pair_words, text_width
from clearturn.drawing.model import XY, Dash, Drawing, Layer, Line, Mark, Text, Tone
from clearturn.gap.around import ClockGaps
from clearturn.units import MM_PER, length_text, number

Floats = NDArray[np.float64]
_LEFT_MM, _RIGHT_MM, _FOOT_MM, _HEAD_MM = 12.0, 22.0, 9.0, 10.0
_TITLE = "CLOCK STRIP"
_SMALL_MM, _NOTE_MM = 2.4, 2.6  # lettering


def clock_strip(
    gaps: ClockGaps,
    required_mm: float,
    *,
    size_mm: tuple[float, float] = (180.0, 48.0),
    names: tuple[str, str] | None = None,
    unit: str = "mm",
) -> Drawing:
    """Return gap against clock position as a drawing.

    Parameters
    ----------
    gaps : ClockGaps
    required_mm : float
        Drawn as a line; what lies below it is hatched.
    names : tuple of str, optional
        Of the pair, for the heading; cut in their middles where the strip is too short for them.
    unit : {"mm", "in"}
        Of the figures.
    """
    frame = _Strip.of(gaps, required_mm, size_mm, unit)
    left, base = 3.0 + text_width(_TITLE, 3.4, "figures") + 3.0, size_mm[1] - 6.0
    said = _heading(names, unit, size_mm[0] - left - 6.0)
    marks: list[Mark] = [
        Text((3.0, base), _TITLE, 3.4, face="figures"),
        Text((left, base), said, _SMALL_MM, tone=Tone.QUIET),
    ]
    marks += frame.axes()
    runs = _runs(gaps, frame)
    for run in runs:
        marks += frame.curve(run)
    marks += frame.required()
    if not runs:
        told = "no gap within reach"
        if np.isfinite(gaps.gap_mm).any():
            told = f"more than {length_text(frame.top_mm, 1, unit)} {unit} everywhere"
        at = (size_mm[0] / 2, frame.beside_the_line())
        marks.append(Text(at, told, _NOTE_MM, anchor="middle"))
    return Drawing(tuple(marks), (0.0, 0.0, *size_mm), 1.0, (0.0, 0.0),
                   " – ".join(("Clock strip", *(names or ()))))  # fmt: skip


def _heading(names: tuple[str, str] | None, unit: str, wide_mm: float) -> str:
    """Return what is drawn, of which pair: in fewer words, then with names cut, until it fits."""
    long, short = f"gap, {unit}, against clock position", f"gap, {unit}"
    if names is None:
        return long
    whole = sum(map(len, names))
    told = [(whole, long), *((most, short) for most in range(whole, 12, -1))]
    lines = [f"{pair_words(*names, most)} · {said}" for most, said in told]
    return next((t for t in lines if text_width(t, _SMALL_MM) <= wide_mm), short)


def _runs(gaps: ClockGaps, frame: _Strip) -> list[Floats]:
    """Return stretches of the curve on the strip, (k, 2) of clock and gap, in its order."""
    start = frame.start_deg
    order = np.argsort((gaps.clock_deg - start) % 360.0, kind="stable")
    clock = start + (gaps.clock_deg[order] - start) % 360.0
    gap = gaps.gap_mm[order]
    known = np.isfinite(gap)
    cuts = np.flatnonzero(np.diff(known.astype(int))) + 1
    pieces = np.split(np.arange(len(gap)), cuts)
    runs = [np.stack([clock[i], gap[i]], axis=1) for i in pieces if len(i) and known[i[0]]]
    return [part for run in runs for part in _below(run, frame.top_mm)]


def _below(run: Floats, top: float) -> list[Floats]:
    """Return what of a stretch lies on the strip, cut where it leaves over the top."""
    parts: list[list[Floats]] = [[]]
    for here, after in zip(run, [*run[1:], None], strict=True):
        if here[1] <= top:
            parts[-1].append(here)
        if after is not None and (here[1] <= top) != (after[1] <= top):
            share = (top - here[1]) / (after[1] - here[1])
            if here[1] > top:
                parts.append([])
            if 0.0 < share < 1.0:
                parts[-1].append(np.array([here[0] + share * (after[0] - here[0]), top]))
    return [np.array(part) for part in parts if part]


@dataclass(frozen=True, slots=True)
class _Strip:
    """Scales of the strip."""

    size_mm: tuple[float, float]
    start_deg: float
    span_deg: float
    top_mm: float
    low_mm: float
    required_mm: float
    unit: str

    @classmethod
    def of(
        cls, gaps: ClockGaps, required_mm: float, size_mm: tuple[float, float], unit: str
    ) -> _Strip:
        known = np.isfinite(gaps.gap_mm)
        start, span = _stretch(gaps.clock_deg[known], 360.0 / max(1, len(gaps.gap_mm)))
        most = float(gaps.gap_mm[known].max(initial=0.0))
        # The interesting part is near the requirement: far larger gaps run out at the top.
        one = MM_PER[unit]
        top = one * _round_up(
            min(max(most, 1.5 * required_mm, 1.0), max(4.0 * required_mm, 4.0)) / one
        )
        least = float(gaps.gap_mm[known].min(initial=0.0))
        low = -one * _round_up(-least / one) if least < 0 else 0.0
        return cls(size_mm, start, span, top, low, required_mm, unit)

    def at(self, clock: float, gap: float) -> XY:
        wide = self.size_mm[0] - _LEFT_MM - _RIGHT_MM
        high = self.size_mm[1] - _FOOT_MM - _HEAD_MM
        part = (min(gap, self.top_mm) - self.low_mm) / (self.top_mm - self.low_mm)
        return (
            _LEFT_MM + wide * (clock - self.start_deg) / self.span_deg,
            _FOOT_MM + high * part,
        )

    def axes(self) -> list[Mark]:
        end = self.start_deg + self.span_deg
        out: list[Mark] = [
            Line((self.at(self.start_deg, self.low_mm), self.at(end, self.low_mm)), Layer.FRAME,
                 0.25),
        ]  # fmt: skip
        one = MM_PER[self.unit]
        told = _step((self.top_mm - self.low_mm) / one, 4)
        step = told * one
        level = math.ceil(self.low_mm / step - 1e-9) * step
        while level <= self.top_mm + 1e-9:
            x, y = self.at(self.start_deg, level)
            out.append(Line(((x - 1.2, y), (x, y)), Layer.FRAME, 0.18))
            digits = 0 if told >= 1 else 1 if told >= 0.1 else 2
            out.append(Text((x - 2.0, y - 0.8), number(level / one, digits), 2.4, anchor="end",
                            face="figures", tone=Tone.QUIET))  # fmt: skip
            level += step
        every = next(s for s in (5, 10, 15, 30, 45, 90) if self.span_deg / s <= 12 or s == 90)
        tick = math.ceil(self.start_deg / every) * every
        while tick <= end + 1e-9:
            x, y = self.at(tick, self.low_mm)
            out.append(Line(((x, y), (x, y - 1.2)), Layer.FRAME, 0.18))
            out.append(Text((x, y - 4.2), f"{tick % 360:.0f}°", 2.4, anchor="middle",
                            face="figures", tone=Tone.QUIET))  # fmt: skip
            tick += every
        return out

    def beside_the_line(self) -> float:
        """Return the base of words that stand clear of the line of what is asked."""
        low, line, top = (
            self.at(self.start_deg, gap)[1]
            for gap in (self.low_mm, min(self.required_mm, self.top_mm), self.top_mm)
        )
        return ((low + line) if line - low > top - line else (line + top)) / 2 - 0.9

    def required(self) -> list[Mark]:
        if self.required_mm > self.top_mm:
            return []
        left = self.at(self.start_deg, self.required_mm)
        right = self.at(self.start_deg + self.span_deg, self.required_mm)
        told = f"{length_text(self.required_mm, 1, self.unit)} asked"
        return [
            Line((left, (right[0] + 2.0, right[1])), Layer.REQUIRED, 0.18, dash=Dash.CHAIN),
            Text((right[0] + 3.0, right[1] - 0.8), told, 2.4),
        ]

    def curve(self, run: Floats) -> list[Mark]:
        points = tuple(self.at(float(c), float(g)) for c, g in run)
        out: list[Mark] = []
        if len(points) > 1:
            level = self.at(self.start_deg, self.required_mm)[1]
            above = [(points[0][0], level), *points, (points[-1][0], level)]
            # between the curve and the line, where the curve is the lower one
            tight = shapely.intersection(
                shapely.make_valid(shapely.Polygon(above)),
                shapely.box(points[0][0], -1e3, points[-1][0], level),
            )
            out += hatch_lines(tight)
        else:
            points = ((points[0][0] - 0.4, points[0][1]), (points[0][0] + 0.4, points[0][1]))
        out.append(Line(points, Layer.PART, 0.35))
        return out


def _stretch(clock: Floats, slice_deg: float) -> tuple[float, float]:
    """Return start and span of the part of the clock that holds all places, with some air."""
    if len(clock) == 0:
        return 0.0, 360.0
    c = np.sort(clock)
    spaces = np.diff(np.concatenate([c, c[:1] + 360.0]))
    widest = int(np.argmax(spaces))
    if spaces[widest] < 40.0:
        return 0.0, 360.0
    start = float(c[(widest + 1) % len(c)])
    span = 360.0 - float(spaces[widest])
    air = max(3.0, 0.03 * span, slice_deg)
    return start - air, span + 2 * air


def _step(span: float, parts: int) -> float:
    rough = span / parts
    power = 10.0 ** math.floor(math.log10(rough))
    return float(next(m * power for m in (1, 2, 5, 10) if m * power >= rough - 1e-12))


def _round_up(value: float) -> float:
    step = _step(max(value, 1e-3), 4)
    return math.ceil(value / step - 1e-9) * step
