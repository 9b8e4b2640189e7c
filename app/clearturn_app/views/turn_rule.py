"""The rule along the picture's foot: the wheel turned by hand, and the gap where it stands."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn_app.views.panel import Panel
from clearturn_app.views.picture_asked import turn_deg
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session

RULE_PX = 40.0
_EDGE_PX = 18.0
_STEPS = {Qt.Key.Key_Left: -1.0, Qt.Key.Key_Right: 1.0}
_FURTHER = 10.0


class TurnRule(Panel):
    """A graduated line from 0° to 360° with a mark on it that turns the wheel.

    Dragging or the arrows turn it in whole degrees (with Shift ten); a double click or Home brings
    it back to where the chosen gap is least.
    """

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setAccessibleName("Wheel's angle")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.SizeHorCursor)
        self.setToolTip("turn the wheel: drag, or arrows (with Shift ten degrees); Home: least gap")
        for signal in (session.turning.changed, session.turning.answered, session.chosen_changed,
                       session.seen.changed, session.work.goal_changed, session.work.changed,
                       session.result_changed):  # fmt: skip
            signal.connect(self.refresh)
        self.refresh()

    @property
    def wanted(self) -> bool:
        """Whether there is a wheel to turn."""
        session, pair = self.session, self.session.chosen_pair
        return (
            pair is not None
            and pair.motion == "turning"
            and pair.gap.turn_angle_deg is not None
            and session.chosen_access is None
            and session.work.source is None
            and session.work.goal is None
            and session.seen.found is None
        )

    def refresh(self) -> None:
        """Show it where there is a wheel to turn, and say where that stands."""
        self.setVisible(self.wanted)
        if self.wanted:
            self.setAccessibleDescription(self.words())
        self.update()

    def words(self) -> str:
        """Return the gap where the wheel stands, beside that over the full turn."""
        pair, turning, look = self.session.chosen_pair, self.session.turning, self.look
        if pair is None:
            return ""
        over = f"over the turn {look.length(pair.least_mm)} {look.unit}"
        at = f"wheel at {turn_deg(self.session):.0f}°"
        if turning.turn_deg is None:
            return f"{at} · {over}, least here"
        if turning.found is None:
            return f"{at} · here … · {over}"
        here = turning.found.estimate_mm
        if here == 0.0:
            return f"{at} · they meet here · {over}"
        return f"{at} · here {look.length(here)} {look.unit} · {over}"

    # -- turning ----------------------------------------------------------------------------

    def _turn(self, degrees: float) -> None:
        session = self.session
        if session.result is not None and session.chosen_pair is not None:
            session.turning.turn(session.result, session.chosen_pair, degrees)

    def _turn_to(self, x: float) -> None:
        edge = self.look.px(_EDGE_PX)
        share = (x - edge) / max(1.0, self.width() - 2 * edge)
        self._turn(float(round(min(max(share, 0.0), 1.0) * 359.0)))

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Turn the wheel to the place touched."""
        if event.button() == Qt.MouseButton.LeftButton:
            self._turn_to(event.position().x())
        event.accept()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Turn it along."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._turn_to(event.position().x())
        event.accept()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Let go; the picture below shall not take it for a touch."""
        event.accept()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Back to where the gap is least."""
        self.session.turning.clear()
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Turn by the arrows; Home goes back to where the gap is least."""
        step = _STEPS.get(Qt.Key(event.key()))
        if event.key() == Qt.Key.Key_Home:
            self.session.turning.clear()
        elif step is not None:
            further = event.modifiers() & Qt.KeyboardModifier.ShiftModifier
            self._turn(round(turn_deg(self.session)) + step * (_FURTHER if further else 1.0))
        else:
            super().keyPressEvent(event)

    # -- painting ---------------------------------------------------------------------------

    def _at(self, degrees: float) -> float:
        edge = self.look.px(_EDGE_PX)
        return edge + (self.width() - 2 * edge) * (degrees % 360.0) / 359.0

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Draw the rule, its mark, and what the wheel's place means."""
        look = self.look
        painter = QPainter(self)
        painter.setRenderHints(
            QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing
        )
        back = QColor(look.tone(Tone.PAPER))
        back.setAlpha(235)
        painter.fillRect(self.rect(), back)
        ink = look.tone(Tone.INK)
        line = self.height() - look.px(9)
        painter.setPen(QPen(ink, look.px(1.0)))
        painter.drawLine(QPointF(self._at(0), line), QPointF(self._at(359), line))
        for degrees in range(0, 360, 10):
            up = look.px(6 if degrees % 90 == 0 else 4 if degrees % 30 == 0 else 2.5)
            x = self._at(degrees)
            painter.drawLine(QPointF(x, line), QPointF(x, line - up))
        pair = self.session.chosen_pair
        if pair is not None and pair.gap.turn_angle_deg is not None:
            x = self._at(pair.gap.turn_angle_deg)
            painter.setPen(QPen(ink, look.px(1.8)))
            painter.drawLine(QPointF(x, line + look.px(5)), QPointF(x, line))
        x = self._at(turn_deg(self.session))
        wide = look.px(5)
        painter.setBrush(ink)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.drawPolygon(QPolygonF([
            QPointF(x, line - look.px(1)), QPointF(x - wide, line - look.px(10)),
            QPointF(x + wide, line - look.px(10)),
        ]))  # fmt: skip
        painter.setFont(look.font("text", 11.5))
        painter.setPen(ink)
        left = look.px(_EDGE_PX)
        told = painter.fontMetrics().elidedText(
            self.words(), Qt.TextElideMode.ElideRight, int(self.width() - 2 * left)
        )
        painter.drawText(QPointF(left, look.px(15)), told)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(ink, 1.0, Qt.PenStyle.DotLine))
            painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))
