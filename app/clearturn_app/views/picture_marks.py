"""What a draughtsman adds to the corner picture: the clock ring, and the gap as a dimension."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from clearturn.drawing import Tone
from clearturn.result import AccessResult, PairResult, Verdict
from clearturn.trade.bracket import at_clock
from clearturn_app.views.camera import Camera
from clearturn_app.views.report_pictures import HALF_HEIGHT_MM, TILT, View
from clearturn_app.window.look import Look

if TYPE_CHECKING:
    from clearturn.gap import Gap
    from clearturn.trial import TurnedGap


def paint_ring(painter: QPainter, look: Look, camera: Camera, high: float) -> None:
    """The clock ring as it lies in the view, with the arrow that points outboard."""
    radius = look.px(24)
    middle = QPointF(look.px(52), high - look.px(46))

    def at(vector: Any) -> QPointF:
        v = np.asarray(vector, dtype=float)
        return middle + radius * QPointF(float(v @ camera.right), -float(v @ camera.up))

    angles = np.radians(np.arange(0, 361, 6))
    ring = QPolygonF([at((np.sin(a), np.cos(a), 0.0)) for a in angles])
    back = QColor(look.tone(Tone.PAPER))
    back.setAlpha(215)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(back)
    painter.drawEllipse(middle, radius * 1.75, radius * 1.75)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QPen(look.tone(Tone.INK), look.px(1.2)))
    painter.drawPolyline(ring)
    painter.setFont(look.font("figures", 11))
    for clock in (0, 90, 180, 270):
        a = np.radians(clock)
        way = np.array([np.sin(a), np.cos(a), 0.0])
        painter.drawLine(at(0.86 * way), at(1.14 * way))
        seen = at(1.45 * way) - middle
        if clock in (0, 90) and _length(seen) > 0.75 * radius:
            _centred(painter, at(1.45 * way), f"{clock}°")
    tip = at((0, 0, 1.35))
    painter.drawLine(middle, tip)
    _arrow(painter, middle, tip, look.px(7), look.tone(Tone.INK))
    if (tip - middle).manhattanLength() > look.px(9):
        painter.setFont(look.font("text", 10))
        out = tip + (tip - middle) / max(1.0, _length(tip - middle)) * look.px(15)
        _centred(painter, out, "out")


def view_of_access(one: AccessResult) -> View | None:
    """Return the view on the place where a tool, a pad or the wheel comes nearest, if known."""
    if one.clock_deg is None or one.r_mm is None or one.z_mm is None:
        return None
    out = np.array([*at_clock(one.clock_deg, 1.0), 0.0])
    normal = np.array([*at_clock(one.clock_deg - 90.0, 1.0), 0.0])
    point = one.r_mm * out + np.array([0.0, 0.0, one.z_mm])
    eye = normal + TILT * out + TILT * np.cross(out, normal)
    eye = eye / float(np.linalg.norm(eye))
    return View(point.tolist(), normal.tolist(), out.tolist(), eye.tolist(), 0.0, HALF_HEIGHT_MM)


def paint_access(
    painter: QPainter, look: Look, camera: Camera, one: AccessResult, size: tuple[float, float]
) -> None:
    """A ring about the place, and the least gap beside it."""
    view = view_of_access(one)
    if view is None:
        return
    at = QPointF(*camera.seen_at(view.point, *size))
    painter.setPen(QPen(look.tone(Tone.INK), look.px(1.6)))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(at, look.px(13), look.px(13))
    if one.gap_mm is not None:
        words = f"{look.length(one.gap_mm.lower)} ±{look.length(one.expanded_uncertainty_mm)}"
        painter.setFont(look.font("figures", 15))
        wide = painter.fontMetrics().horizontalAdvance(words) + look.px(12)
        box = QRectF(at.x() + look.px(20), at.y() - look.px(11), wide, look.px(22))
        painter.fillRect(box, look.tone(Tone.PAPER))
        painter.drawRect(box)
        painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), words)


def paint_witness(
    painter: QPainter, look: Look, camera: Camera, pair: PairResult, size: tuple[float, float]
) -> None:
    """The gap as a dimension line in space, with value and U."""
    words = f"{look.length(pair.least_mm)} ±{look.length(pair.expanded_uncertainty_mm)} {look.unit}"
    below = f"{look.length(pair.required_mm, 1)} asked · {pair.verdict}"
    tone = look.tone(Tone.ALERT if pair.verdict is Verdict.FAILS else Tone.INK)
    _paint_dimension(painter, look, camera, pair.gap, (words, below), tone, size)


def paint_turned(
    painter: QPainter, look: Look, camera: Camera, found: TurnedGap, size: tuple[float, float]
) -> None:
    """The gap where the wheel stands as a dimension line in space; the verdict is the turn's."""
    words = f"{look.length(found.estimate_mm)} {look.unit}"
    if found.estimate_mm == 0.0:
        words = "they meet"
    below = f"wheel at {found.turn_deg:.0f}°"
    _paint_dimension(painter, look, camera, found.gap, (words, below), look.tone(Tone.INK), size)


def _paint_dimension(
    painter: QPainter,
    look: Look,
    camera: Camera,
    gap: Gap,
    told: tuple[str, str],
    tone: QColor,
    size: tuple[float, float],
) -> None:
    wide, high = size
    ends = [
        QPointF(*camera.seen_at(p, wide, high)) for p in (gap.first_point_mm, gap.second_point_mm)
    ]
    way = ends[1] - ends[0]
    length = _length(way)
    unit = way / length if length > 1e-6 else QPointF(1, 0)
    painter.setPen(QPen(tone, look.px(1.3)))
    tail, head = look.px(20), look.px(8)
    painter.drawLine(ends[0], ends[1])
    for end, sign in ((ends[0], -1.0), (ends[1], 1.0)):
        if length < 3.5 * head:  # arrows from outside
            painter.drawLine(end, end + sign * unit * tail)
            _arrow(painter, end + sign * unit * tail, end, head, tone)
        else:
            _arrow(painter, end - sign * unit * tail, end, head, tone)
    _paint_value(painter, look, told, ends[1] + unit * tail, tone, size)


def _paint_value(
    painter: QPainter,
    look: Look,
    told: tuple[str, str],
    start: QPointF,
    tone: QColor,
    size: tuple[float, float],
) -> None:
    wide, high = size
    words, below = told
    painter.setFont(look.font("figures", 17))
    room = painter.fontMetrics().horizontalAdvance(words) + look.px(10)
    painter.setFont(look.font("text", 11))
    room = max(room, painter.fontMetrics().horizontalAdvance(below) + look.px(10))
    right = start.x() < wide / 2
    elbow = QPointF(
        start.x() + look.px(34 if right else -34),
        min(max(start.y() - look.px(34), look.px(64)), high - look.px(30)),
    )
    left = elbow.x() if right else elbow.x() - room
    left = min(max(left, look.px(6)), wide - room - look.px(6))
    box = QRectF(left - look.px(3), elbow.y() - look.px(21), room + look.px(6), look.px(40))
    back = QColor(look.tone(Tone.PAPER))
    back.setAlpha(225)
    painter.fillRect(box, back)
    painter.setPen(QPen(tone, look.px(1.1)))
    painter.drawLine(start, QPointF(left if right else left + room, elbow.y()))
    painter.drawLine(QPointF(left, elbow.y()), QPointF(left + room, elbow.y()))
    painter.setFont(look.font("figures", 17))
    painter.drawText(QPointF(left + look.px(4), elbow.y() - look.px(5)), words)
    painter.setFont(look.font("text", 11))
    painter.drawText(QPointF(left + look.px(4), elbow.y() + look.px(14)), below)


def _length(way: QPointF) -> float:
    return float(np.hypot(way.x(), way.y()))


def _centred(painter: QPainter, at: QPointF, text: str) -> None:
    metrics = painter.fontMetrics()
    painter.drawText(
        QPointF(at.x() - metrics.horizontalAdvance(text) / 2, at.y() + metrics.ascent() / 2.6), text
    )


def _arrow(painter: QPainter, start: QPointF, tip: QPointF, size: float, colour: QColor) -> None:
    way = tip - start
    length = _length(way)
    if length < 1e-6:
        return
    unit = way / length
    side = QPointF(-unit.y(), unit.x())
    foot = tip - unit * size
    painter.setBrush(colour)
    painter.drawPolygon(QPolygonF([tip, foot + side * size * 0.28, foot - side * size * 0.28]))
    painter.setBrush(Qt.BrushStyle.NoBrush)
