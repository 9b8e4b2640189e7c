"""How the sheet looks just now: colours, lettering, size, and the unit of lengths."""

from __future__ import annotations

import math
import re

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QColor, QFont, QFontDatabase

from clearturn.drawing import Tone
from clearturn.report.lettering import font_folder
from clearturn.units import LENGTH, digits_in, length_text
from clearturn_app.resources.colours import BLUE, PAPER, SheetColours

ZOOMS = (1.0, 1.25, 1.5, 1.75, 2.0)
_FAMILIES = {"text": "B612", "figures": "Routed Gothic"}
_TOLD = re.compile(
    r"(?P<head>Ø?)(?P<value>[−-]?\d+\.\d+)(?:(?P<by>[ \u00a0]±)(?P<u>\d+\.\d+))?"
    r"(?P<unit>[ \u00a0]mm\b)?"
)


class Look(QObject):
    """Colours, fonts, zoom and unit, with one signal when any of them changed.

    Attributes
    ----------
    dark, inch : bool
    zoom : float
        What the user chose, one of `ZOOMS`.
    room : float
        How much larger everything may be because the sheet is large; set by the sheet.
    """

    changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        load_fonts()
        self.dark = False
        self.inch = False
        self.zoom = 1.0
        self.room = 1.0

    def set(
        self, *, dark: bool | None = None, inch: bool | None = None, zoom: float | None = None
    ) -> None:
        """Change some of it."""
        before = (self.dark, self.inch, self.zoom)
        self.dark = self.dark if dark is None else dark
        self.inch = self.inch if inch is None else inch
        self.zoom = self.zoom if zoom is None else min(max(zoom, ZOOMS[0]), ZOOMS[-1])
        if before != (self.dark, self.inch, self.zoom):
            self.changed.emit()

    def zoomed(self, step: int) -> None:
        """Take the next larger (+1) or smaller (−1) size of the lettering."""
        at = min(range(len(ZOOMS)), key=lambda i: abs(ZOOMS[i] - self.zoom))
        self.set(zoom=ZOOMS[min(max(at + step, 0), len(ZOOMS) - 1)])

    def px(self, size: float) -> float:
        """Return a size of the plain sheet (1280 × 800) in pixels."""
        return size * self.zoom * self.room

    @property
    def sheet(self) -> SheetColours:
        """The colours of the sheet."""
        return BLUE if self.dark else PAPER

    def tone(self, tone: Tone) -> QColor:
        """Return the colour of a drawing's tone."""
        return QColor(self.sheet.tones.colours[tone])

    def colour(self, name: str) -> QColor:
        """Return one of the sheet's own colours by its attribute's name."""
        return QColor(getattr(self.sheet, name))

    def font(self, face: str, size: float, *, bold: bool = False, spaced: float = 0.0) -> QFont:
        """Return lettering: `face` "text" or "figures", `size` in pixels of the plain sheet."""
        return pixel_font(face, self.px(size), bold=bold, spaced=spaced)

    def length(self, value_mm: float | None, digits: int = 2, *, signed: bool = False) -> str:
        """Return a length as a number in the unit shown; an unknown is a dash."""
        if value_mm is None or not math.isfinite(value_mm):
            return "–"
        text = length_text(value_mm, digits, self.unit)
        return f"+{text}" if signed and value_mm > 0 and not text.startswith("−") else text

    def length_up(self, value_mm: float, digits: int = 2) -> str:
        """Return a length rounded up in the unit shown: less than is needed is never told."""
        step = LENGTH.inside(10.0 ** -digits_in(digits, self.unit), self.unit)
        return self.length(math.ceil(value_mm / step - 1e-6) * step, digits)

    def sentence(self, text: str) -> str:
        """Return a sentence of the core with its lengths, told in mm or as Ø, in the unit shown."""
        return _TOLD.sub(self._retold, text) if self.inch else text

    def _retold(self, match: re.Match[str]) -> str:
        if not match["head"] and not match["unit"]:
            return match[0]  # no length
        told = match["head"] + self.length(float(match["value"].replace("−", "-")))
        if match["u"]:
            told += match["by"] + self.length(float(match["u"]))
        return told + (f"{match['unit'][0]}{self.unit}" if match["unit"] else "")

    @property
    def unit(self) -> str:
        """The unit of lengths shown."""
        return "in" if self.inch else "mm"


def pixel_font(face: str, pixels: float, *, bold: bool = False, spaced: float = 0.0) -> QFont:
    """Return lettering of a height in pixels."""
    font = QFont(_FAMILIES[face])
    font.setPixelSize(max(1, round(pixels)))
    font.setBold(bold)
    if spaced:
        font.setLetterSpacing(QFont.SpacingType.PercentageSpacing, 100.0 + spaced)
    return font


_loaded: list[int] = []


def load_fonts() -> None:
    """Make the lettering that comes with the program known, once."""
    if _loaded:
        return
    for path in sorted(font_folder().glob("*.[ot]tf")):
        _loaded.append(QFontDatabase.addApplicationFont(str(path)))
