"""Touching in the corner picture: what is asked for, what was touched, and what to do with it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn_app.views.camera import Camera
from clearturn_app.views.panel import Panel, Word
from clearturn_app.window.look import Look
from clearturn_app.window.seen import Seen
from clearturn_app.window.session import Session

if TYPE_CHECKING:
    from clearturn.corner.touched import FeatureLines


BAR_PX = 92.0
_FOOT_PX = 68.0
_ROOM_PX = 300.0  # a picture of less height has no room for names
_CHAIN = (9.0, 3.0, 2.0, 3.0)  # a centre line, ISO 128-2 no. 04: long dash, gap, dot, gap
_HELP = (
    "Click touches; dragging turns, with Ctrl it rolls, with Shift it moves; the wheel goes near."
)
_LOOK_HELP = "Dragging turns, with Ctrl it rolls, with Shift it moves; the wheel goes near."
_BOX_HELP = (
    "Dragging draws, with Shift it moves; the wheel goes near; Space lays one in the middle."
)


class TouchBar(Panel):
    """A strip along the picture's foot; without a goal, the words that change what is shown."""

    take_asked = Signal()
    skip_asked = Signal()
    end_asked = Signal()
    show_asked = Signal(str)

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setAccessibleName("Touching")
        self.take = Word("take", look, self, size=12.5, keys="Return")
        self.skip = Word("skip", look, self, size=12.5, keys="leave it untouched and go on")
        self.end = Word("end", look, self, size=12.5, keys="Esc")
        self.take.clicked.connect(self.take_asked)
        self.skip.clicked.connect(self.skip_asked)
        self.end.clicked.connect(self.end_asked)
        work = session.work
        for signal in (work.goal_changed, work.touched_changed, work.changed, look.changed,
                       session.tasks.progressed):  # fmt: skip
            signal.connect(self._refresh)
        self._refresh()

    def _refresh(self, _task: object = None) -> None:
        work = self.session.work
        goal = work.goal
        self.setVisible(goal is not None)
        if goal is None:
            return
        self.take.setText(goal.take)
        self.take.setEnabled(work.serves)
        self.skip.setVisible(goal.role is not None and not goal.joins)
        x = self.look.px(14)
        for word in (self.take, self.skip, self.end):
            size = word.sizeHint()
            word.setGeometry(int(x), int(self.height() - size.height() - self.look.px(6)),
                             size.width(), size.height())  # fmt: skip
            x += size.width() + self.look.px(18) if word.isVisibleTo(self) else 0
        self.setAccessibleDescription(f"{goal.ask} {work.touched_words(self.look)}")
        self.update()

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Put the words in their places."""
        self._refresh()

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Keep a press beside the words from the picture under the bar."""
        event.accept()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Write what is asked for and what was touched."""
        work, look = self.session.work, self.look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.TextAntialiasing)
        painter.fillRect(self.rect(), look.colour("slip"))
        painter.setPen(QPen(look.tone(Tone.INK), look.px(1.2)))
        painter.drawLine(0, 0, self.width(), 0)
        if work.goal is None:
            return
        left, room = look.px(18), self.width() - look.px(36)
        painter.setFont(look.font("text", 13, bold=True))
        told = painter.fontMetrics().elidedText(
            work.goal.ask, Qt.TextElideMode.ElideRight, int(room)
        )
        painter.drawText(QPointF(left, look.px(23)), told)
        painter.setFont(look.font("text", 12.5))
        words = work.touched_words(look)
        if self.session.tasks.running("touch"):
            words = "The patch is growing …"
        elif self.session.tasks.running("propose"):
            words = f"Looking for the {work.goal.scan}'s datums …"
        elif not words:
            words = _HELP if work.goal.touches else _LOOK_HELP
            words = _BOX_HELP if work.goal.box else words
            painter.setPen(look.tone(Tone.QUIET))
        told = painter.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight, int(room))
        painter.drawText(QPointF(left, look.px(45)), told)


def paint_features(painter: QPainter, look: Look, session: Session, camera: Camera,
                   size: tuple[float, float]) -> None:  # fmt: skip
    """Draw what was touched on the scan shown as what it is: outline or axis, with its name."""
    work = session.work
    seen = lambda p: QPointF(*camera.seen_at(p, *size))  # noqa: E731
    datums = work.corner.datums if work.corner is not None else ()
    here = {datum.name for datum in datums if datum.scan == work.shown}
    roles = [name for name, lines in work.lines.items() if lines is not None and name in here]
    has_room = size[1] >= look.px(_ROOM_PX)
    for name in roles:
        told = name if has_room else ""
        _paint_lines(painter, look, work.lines[name], seen, told, strong=False)
    for name, lines in work.offered.items():
        _paint_lines(painter, look, lines, seen, name, strong=True)
    name = work.goal.role.name if work.goal is not None and work.goal.role is not None else ""
    _paint_lines(painter, look, work.touched_lines, seen, name, strong=True)


def paint_seen(
    painter: QPainter, look: Look, seen: Seen, camera: Camera, size: tuple[float, float]
) -> None:
    """Draw what was touched on the checked corner, and write what it is along the foot."""
    if seen.found is None:
        return
    _paint_lines(painter, look, seen.found.lines, lambda p: QPointF(*camera.seen_at(p, *size)), "",
                 strong=True)  # fmt: skip
    place = QPointF(*camera.seen_at(seen.found.place_mm, *size))
    painter.setPen(QPen(look.tone(Tone.INK), look.px(1.4)))
    painter.drawEllipse(place, look.px(3.5), look.px(3.5))
    high, left = look.px(_FOOT_PX), look.px(18)
    painter.fillRect(QRectF(0, size[1] - high, size[0], high), look.colour("slip"))
    painter.setPen(QPen(look.tone(Tone.INK), look.px(1.2)))
    painter.drawLine(QPointF(0, size[1] - high), QPointF(size[0], size[1] - high))
    for line, words in enumerate(seen.words(look)):
        painter.setFont(look.font("text", 12.5, bold=line == 0))
        told = painter.fontMetrics().elidedText(
            words, Qt.TextElideMode.ElideRight, int(size[0] - 2 * left)
        )
        painter.drawText(QPointF(left, size[1] - high + look.px(19 * (line + 1))), told)


def _paint_lines(
    painter: QPainter,
    look: Look,
    lines: FeatureLines,
    seen: Callable[[np.ndarray], QPointF],
    name: str,
    *,
    strong: bool,
) -> None:
    pen = QPen(look.tone(Tone.INK), look.px(1.6 if strong else 1.0))
    at = None
    if lines.outline is not None:
        painter.setPen(pen)
        corners = [seen(p) for p in lines.outline]
        painter.drawPolyline(QPolygonF(corners))
        at = min(corners, key=lambda p: (p.y(), p.x()))
    if lines.axis is not None:
        pen.setDashPattern(list(_CHAIN))
        painter.setPen(pen)
        ends = [seen(p) for p in lines.axis]
        painter.drawLine(ends[0], ends[1])
        at = min(ends, key=lambda p: (p.y(), p.x()))
    if at is None or not name:
        return
    at.setY(max(at.y(), look.px(52)))
    painter.setFont(look.font("text", 11, bold=strong))
    wide = painter.fontMetrics().horizontalAdvance(name)
    box = QRectF(at.x() + look.px(4), at.y() - look.px(17), wide + look.px(8), look.px(16))
    back = QColor(look.tone(Tone.PAPER))
    back.setAlpha(225)
    painter.fillRect(box, back)
    painter.setPen(look.tone(Tone.INK))
    painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), name)
