"""Colours of the sheet beside those every drawing has.

The tones of parts, ink and paper are the drawings' own (`clearturn.drawing.svg`): window and
report show one look.  Text on any of these grounds keeps 4.5 : 1 (tests/gui).
"""

from __future__ import annotations

from dataclasses import dataclass

from clearturn.drawing import DARK, LIGHT, Palette


@dataclass(frozen=True, slots=True)
class SheetColours:
    """What a sheet is coloured with.

    Attributes
    ----------
    tones : Palette
        Of the drawings.
    table : str
        What the paper lies on.
    chosen : str
        Ground of what is chosen.
    slip : str
        Ground of a slip, a sheet of its own that lies over the first.
    field : str
        Ground of a place one can write in.
    rule : str
        Thin lines between rows.
    """

    tones: Palette
    table: str
    chosen: str
    slip: str
    field: str
    rule: str


PAPER = SheetColours(LIGHT, "#e9e6da", "#efe4c6", "#f6f1e2", "#fffefa", "#cfcabb")
BLUE = SheetColours(DARK, "#0a1a2a", "#1f4362", "#17324b", "#0c2033", "#38526a")
