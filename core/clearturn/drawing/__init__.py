"""Drawings as frozen lists of lines, fills, texts and dimensions in mm, and their writers."""

from clearturn.drawing.clock_strip import ClockGaps, clock_gaps, clock_strip
from clearturn.drawing.dxf import to_dxf
from clearturn.drawing.model import (
    DASHES,
    Dash,
    Dimension,
    Drawing,
    Fill,
    Layer,
    Line,
    Mark,
    Text,
    Tone,
)
from clearturn.drawing.outline import Outline, swept_outline
from clearturn.drawing.svg import DARK, LIGHT, Palette, to_svg
from clearturn.drawing.template import wheel_template
from clearturn.drawing.turn_section import pair_words, turn_section

__all__ = [
    "DARK",
    "DASHES",
    "LIGHT",
    "ClockGaps",
    "Dash",
    "Dimension",
    "Drawing",
    "Fill",
    "Layer",
    "Line",
    "Mark",
    "Outline",
    "Palette",
    "Text",
    "Tone",
    "clock_gaps",
    "clock_strip",
    "pair_words",
    "swept_outline",
    "to_dxf",
    "to_svg",
    "turn_section",
    "wheel_template",
]
