"""What is drawn over the turn section while a part is moved along its freedom."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPainterPath, QPen, QPolygonF, QTransform

from clearturn.drawing import Drawing, Fill, Tone
from clearturn_app.views.paint import Window
from clearturn_app.window.look import Look
from clearturn_app.window.moving import Figure, Moving

_SHOWN = 5  # gaps told while moving
_ALPHA = 215


class MovedParts:
    """Paints moved outlines, the least gaps at their places, and a list of the figures."""

    def __init__(self, moving: Moving, look: Look) -> None:
        self._moving, self._look = moving, look
        self._paths: dict[str, tuple[tuple[Fill, ...], QPainterPath]] = {}

    def paint(self, painter: QPainter, window: Window, drawing: Drawing, room: QRectF) -> None:
        """Paint all of it, the list into the upper right corner of a room."""
        moving, look = self._moving, self._look
        if moving.freedom is None:
            return
        painter.save()
        for outline in moving.outlines:
            path = self._path(outline.name, outline.marks)
            step = drawing.to_paper(*outline.step_mm)
            to_px = QTransform(drawing.scale, 0.0, 0.0, drawing.scale, *step) * window.transform()
            shown = to_px.map(path)
            tone = look.tone(outline.marks[0].tone if outline.marks else Tone.FIXED)
            tone.setAlpha(_ALPHA)
            painter.fillPath(shown, tone)
            painter.strokePath(shown, QPen(look.tone(Tone.INK), look.px(1.6)))
        figures = self._figures()
        for figure in figures[:2]:
            self._paint_gap(painter, window, drawing, figure)
        self._paint_list(painter, figures, room)
        painter.restore()

    def _path(self, name: str, marks: tuple[Fill, ...]) -> QPainterPath:
        kept = self._paths.get(name)
        if kept is not None and kept[0] is marks:
            return kept[1]
        path = QPainterPath()
        path.setFillRule(Qt.FillRule.OddEvenFill)
        for mark in marks:
            for ring in mark.rings:
                path.addPolygon(QPolygonF([QPointF(z, r) for z, r in ring]))
                path.closeSubpath()
        self._paths[name] = (marks, path)
        return path

    def _figures(self) -> list[Figure]:
        every = self._moving.figures.values()
        return sorted(every, key=lambda one: (one.gap.margin_mm is not None, one.gap.margin_mm))

    def _paint_gap(
        self, painter: QPainter, window: Window, drawing: Drawing, figure: Figure
    ) -> None:
        if figure.by_mm != self._moving.by_mm:
            return  # its ends lie where the part was a moment ago
        look = self._look
        ends = [window.to_px(*drawing.to_paper(*end)) for end in figure.gap.ends_mm]
        bad = figure.gap.margin_mm is None or figure.gap.margin_mm < 0
        painter.setPen(QPen(look.tone(Tone.ALERT if bad else Tone.INK), look.px(2.2)))
        painter.drawLine(*ends)
        painter.setBrush(look.tone(Tone.PAPER))
        for end in ends:
            painter.drawEllipse(end, look.px(2.6), look.px(2.6))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _paint_list(self, painter: QPainter, figures: list[Figure], room: QRectF) -> None:
        from clearturn.drawing import pair_words

        moving, look = self._moving, self._look
        number, before = moving.words(look)
        foot = "let go to check · Esc puts it back" if moving.held else "being checked"
        high = look.px(19)
        shown = figures[:_SHOWN]
        metrics = QFontMetricsF(look.font("text", 11.5))
        names = [pair_words(f.gap.before.first, f.gap.before.second) for f in shown]
        wide_name = max((metrics.horizontalAdvance(name) for name in names), default=0.0)
        wide = max(look.px(236), wide_name + look.px(178))
        lines = max(1, len(shown))
        box = QRectF(room.right() - wide - look.px(10), room.top() + look.px(8), wide,
                     look.px(66) + high * lines)  # fmt: skip
        painter.fillRect(box, look.colour("slip"))
        painter.setPen(QPen(look.tone(Tone.INK), look.px(1.2)))
        painter.drawRect(box)
        left, top = box.left() + look.px(10), box.top()
        painter.setFont(look.font("figures", 15))
        painter.drawText(QPointF(left, top + look.px(21)), number)
        self._right(painter, before, box, top + look.px(21), Tone.QUIET, 11.0)
        top += look.px(40)
        if moving.refusal:
            painter.setFont(look.font("text", 11.5))
            painter.setPen(look.tone(Tone.ALERT))
            text = painter.fontMetrics().elidedText(
                moving.refusal, Qt.TextElideMode.ElideRight, int(wide - look.px(20))
            )
            painter.drawText(QPointF(left, top), text)
            return
        self._right(painter, f"gap, {look.unit}", box, top, Tone.QUIET, 11.0, look.px(74))
        self._right(painter, "margin", box, top, Tone.QUIET, 11.0)
        for name, figure in zip(names, shown, strict=True):
            top += high
            late = figure.by_mm != moving.by_mm
            margin = figure.gap.margin_mm
            bad = margin is None or margin < 0
            tone = Tone.QUIET if late else Tone.ALERT if bad else Tone.INK
            painter.setPen(look.tone(tone))
            painter.setFont(look.font("text", 11.5))
            painter.drawText(QPointF(left, top), name)
            gap = look.length(figure.gap.estimate_mm)
            self._right(painter, gap, box, top, tone, 14.0, look.px(74))
            told = look.length(margin, signed=True) if margin is not None else "touches"
            self._right(painter, told, box, top, tone, 14.0)
        painter.setFont(look.font("text", 11))
        painter.setPen(look.tone(Tone.QUIET))
        painter.drawText(QPointF(left, box.bottom() - look.px(8)), foot)

    def _right(
        self, painter: QPainter, text: str, box: QRectF, base: float, tone: Tone, size: float,
        inset: float = 0.0,
    ) -> None:  # fmt: skip
        look = self._look
        painter.setFont(look.font("figures" if size > 12 else "text", size))
        painter.setPen(look.tone(tone))
        wide = painter.fontMetrics().horizontalAdvance(text)
        painter.drawText(QPointF(box.right() - look.px(10) - inset - wide, base), text)
