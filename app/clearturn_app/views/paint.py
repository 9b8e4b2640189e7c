"""A core drawing painted on the screen, and the marks the sheet itself is drawn with."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPainterPath, QPen, QPolygonF, QTransform

from clearturn.drawing import DASHES, Drawing, Fill, Layer, Line, Text, Tone
from clearturn.drawing.sheet import FOOT_MM
from clearturn.result import Verdict
from clearturn_app.window.look import Look, pixel_font

_LEAST_LINE_PX = 0.8


@dataclass(frozen=True, slots=True)
class Window:
    """Where a drawing lies on the screen: pixels for one mm of paper, and the paper's zero.

    ``base`` is the pixels a mm takes unmagnified: lines keep that width, letters grow little.
    """

    scale: float
    x: float
    y: float
    base: float

    def to_px(self, x: float, y: float) -> QPointF:
        """Return where a place of the paper is seen."""
        return QPointF(self.x + self.scale * x, self.y - self.scale * y)

    def to_paper(self, at: QPointF) -> tuple[float, float]:
        """Return the place of the paper seen at a pixel."""
        return (at.x() - self.x) / self.scale, (self.y - at.y()) / self.scale

    def transform(self) -> QTransform:
        """Return paper → pixels."""
        return QTransform(self.scale, 0.0, 0.0, -self.scale, self.x, self.y)

    @property
    def lettering(self) -> float:
        """Pixels for one mm of a letter's height."""
        return self.base * min(1.6, (self.scale / self.base) ** 0.35) if self.base else 1.0


class PaintedDrawing:
    """A drawing made ready for a painter once, to be painted often."""

    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing
        self._marks: list[tuple[QPainterPath, Fill | Line] | Text] = []
        for mark in drawing.simple_marks():
            if isinstance(mark, Text):
                self._marks.append(mark)
            else:
                self._marks.append((_path(mark), mark))

    def paint(
        self, painter: QPainter, window: Window, look: Look, *, outlines_only: bool = False
    ) -> None:
        """Paint all marks in their order, or only those that show the parts."""
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        to_px = window.transform()
        for item in self._marks:
            if isinstance(item, Text):
                if not outlines_only:
                    _paint_text(painter, item, window, look)
                continue
            path, mark = item
            if outlines_only and (mark.layer is Layer.FRAME or _in_foot(path)):
                continue
            if isinstance(mark, Fill):
                painter.fillPath(to_px.map(path), look.tone(mark.tone))
            else:
                painter.strokePath(to_px.map(path), _pen(mark, window, look))


def _in_foot(path: QPainterPath) -> bool:
    """Return whether something belongs to scale bar and legend, below the part."""
    box = path.boundingRect()  # the paper's y grows upwards
    return box.bottom() < FOOT_MM


def _path(mark: Fill | Line) -> QPainterPath:
    path = QPainterPath()
    path.setFillRule(Qt.FillRule.OddEvenFill)
    rings = mark.rings if isinstance(mark, Fill) else (mark.points,)
    closed = isinstance(mark, Fill) or mark.closed
    for ring in rings:
        path.addPolygon(QPolygonF([QPointF(x, y) for x, y in ring]))
        if closed:
            path.closeSubpath()
    return path


def _pen(mark: Line, window: Window, look: Look) -> QPen:
    width = max(_LEAST_LINE_PX, mark.width_mm * window.base)
    pen = QPen(look.tone(mark.tone), width)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    if DASHES[mark.dash]:
        pen.setDashPattern([max(0.2, d * window.base / width) for d in DASHES[mark.dash]])
    return pen


def _paint_text(painter: QPainter, mark: Text, window: Window, look: Look) -> None:
    font = pixel_font(mark.face, mark.height_mm * window.lettering, bold=mark.bold)
    painter.setFont(font)
    painter.setPen(look.tone(mark.tone))
    wide = QFontMetricsF(font).horizontalAdvance(mark.text)
    back = {"start": 0.0, "middle": wide / 2, "end": wide}[mark.anchor]
    painter.save()
    painter.translate(window.to_px(*mark.at))
    painter.rotate(-mark.angle_deg)
    painter.drawText(QPointF(-back, 0.0), mark.text)
    painter.restore()


def hatch(painter: QPainter, area: QPainterPath, colour: QColor, step: float, width: float) -> None:
    """Draw thin parallel lines over an area, the sign for "below what is asked"."""
    box = area.boundingRect()
    painter.save()
    painter.setClipPath(area, Qt.ClipOperation.IntersectClip)
    painter.setPen(QPen(colour, width))
    x = box.left() - box.height()
    while x < box.right():
        painter.drawLine(QPointF(x, box.bottom()), QPointF(x + box.height(), box.top()))
        x += step
    painter.restore()


def stamp(
    painter: QPainter, box: QRectF, verdict: Verdict, words: str, look: Look, size: float,
    *, face: str = "text",
) -> None:  # fmt: skip
    """Draw a verdict as a word in its frame.

    *clears* stands in an open frame with round ends, *fails* is a filled block with a notched
    end, *not proven* stands in a broken frame: they differ in shape and tone, in grey as well.
    """
    font = look.font(face, size, bold=verdict is Verdict.FAILS)
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setFont(font)
    line = max(1.0, look.px(size) * 0.09)
    frame = box.adjusted(line, line, -line, -line)
    if verdict is Verdict.FAILS:
        path = QPainterPath()
        notch = frame.height() * 0.28
        middle = frame.center().y()
        path.addPolygon(
            QPolygonF(
                [
                    frame.topLeft(),
                    frame.topRight(),
                    QPointF(frame.right() - notch, middle),
                    frame.bottomRight(),
                    frame.bottomLeft(),
                    QPointF(frame.left() + notch, middle),
                ]
            )
        )
        path.closeSubpath()
        painter.fillPath(path, look.tone(Tone.ALERT))
        painter.setPen(look.tone(Tone.PAPER))
    else:
        pen = QPen(look.tone(Tone.INK), line)
        if verdict is Verdict.NOT_PROVEN:
            pen.setDashPattern([3.0, 2.0])
            pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        painter.setPen(pen)
        radius = frame.height() / 2 if verdict is Verdict.CLEARS else 0.0
        painter.drawRoundedRect(frame, radius, radius)
        painter.setPen(look.tone(Tone.INK))
    painter.drawText(frame, Qt.AlignmentFlag.AlignCenter, words)
    painter.restore()


def stamp_width(words: str, look: Look, size: float, *, face: str = "text") -> float:
    """Return how wide a stamp must be for its words."""
    metrics = QFontMetricsF(look.font(face, size, bold=True))
    return metrics.horizontalAdvance(words) + look.px(size) * 1.9


def elided(text: str, painter: QPainter, width: float) -> str:
    """Return a text shortened at its end to a width, with the painter's font."""
    return painter.fontMetrics().elidedText(text, Qt.TextElideMode.ElideRight, int(width))
