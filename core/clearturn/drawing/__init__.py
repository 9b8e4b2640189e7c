"""Drawings as frozen lists of lines, fills, texts and dimensions in mm, and their writers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.drawing.dxf import to_dxf
    from clearturn.drawing.lettering import pair_words
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
    from clearturn.drawing.section import turn_section
    from clearturn.drawing.strip import clock_strip
    from clearturn.drawing.svg import DARK, LIGHT, Palette, to_svg
    from clearturn.drawing.template import wheel_template

__all__ = [
    "DARK",
    "DASHES",
    "LIGHT",
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
    "clock_strip",
    "pair_words",
    "swept_outline",
    "to_dxf",
    "to_svg",
    "turn_section",
    "wheel_template",
]

__getattr__ = lazily(
    __name__,
    {
        "strip": ("clock_strip",),
        "dxf": ("to_dxf",),
        "model": (
            "DASHES",
            "Dash",
            "Dimension",
            "Drawing",
            "Fill",
            "Layer",
            "Line",
            "Mark",
            "Text",
            "Tone",
        ),
        "outline": (
            "Outline",
            "swept_outline",
        ),
        "svg": (
            "DARK",
            "LIGHT",
            "Palette",
            "to_svg",
        ),
        "template": ("wheel_template",),
        "lettering": ("pair_words",),
        "section": ("turn_section",),
    },
)
