"""The route card along the sheet's top edge: the operations in the order the work is done."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn_app.sheets.operations import OPERATIONS, Operation, alerts, signature_on, told
from clearturn_app.views.paint import elided, hatch
from clearturn_app.views.panel import Panel
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session


class RouteCard(Panel):
    """Shows each operation with its result and signature; touching one opens its slip."""

    opened = Signal(int)
    """Index of the operation to open, or to fold where it is open."""

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAccessibleName("Route card")
        self._open: int | None = None
        self._over: int | None = None
        self._at = 0
        for signal in (session.job_changed, session.result_changed, session.state_changed,
                       session.sums_changed):  # fmt: skip
            signal.connect(self.update)

    def set_open(self, index: int | None) -> None:
        """Show which slip lies open."""
        self._open = index
        if index is not None:
            self._at = index
        self.update()

    def cell(self, index: int) -> QRectF:
        """Return where an operation's cell is."""
        wide = self.width() / len(OPERATIONS)
        return QRectF(index * wide, 0, wide, self.height())

    def words(self, operation: Operation) -> str:
        """Return what an operation's cell states."""
        session = self.session
        return told(operation, session.document.job, session.result, session.sums, self.look)

    def _cell_at(self, at: QPointF) -> int:
        return min(max(int(at.x() / max(1, self.width()) * len(OPERATIONS)), 0),
                   len(OPERATIONS) - 1)  # fmt: skip

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Open or fold."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.opened.emit(self._cell_at(event.position()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Mark the cell under the pointer."""
        over = self._cell_at(event.position())
        if over != self._over:
            self._over = over
            operation = OPERATIONS[over]
            words = self.words(operation)
            self.setToolTip(f"{operation.title}: {words}")
            self.update()

    def leaveEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Take the mark away."""
        self._over = None
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Walk along the card with the arrows, open with Return."""
        step = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(Qt.Key(event.key()))
        if step is not None:
            self._at = min(max(self._at + step, 0), len(OPERATIONS) - 1)
            self.update()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space):
            self.opened.emit(self._at)
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Paint all cells."""
        painter = self.painter()
        for index, operation in enumerate(OPERATIONS):
            self._paint_cell(painter, index, operation)

    def _paint_cell(self, painter: QPainter, index: int, operation: Operation) -> None:
        look, box = self.look, self.cell(index)
        if index == self._open:
            painter.fillRect(box, look.colour("slip"))
        elif index == self._over:
            painter.fillRect(box, look.colour("chosen"))
        if index:
            painter.setPen(QPen(look.tone(Tone.INK), look.px(0.7)))
            painter.drawLine(box.topLeft(), box.bottomLeft())
        left, room = box.left() + look.px(10), box.width() - look.px(16)
        painter.setPen(look.tone(Tone.INK))
        painter.setFont(look.font("figures", 15))
        number = str(operation.number)
        painter.drawText(QPointF(left, look.px(20)), number)
        beside = painter.fontMetrics().horizontalAdvance(number) + look.px(8)
        painter.setFont(look.font("figures", 15, bold=index == self._open))
        name = operation.name
        if painter.fontMetrics().horizontalAdvance(name) > room - beside:
            name = elided(operation.short or name, painter, room - beside)
        painter.drawText(QPointF(left + beside, look.px(20)), name)
        painter.setFont(look.font("text", 11))
        words = self.words(operation)
        painter.drawText(QPointF(left, look.px(37)), elided(words, painter, room))
        self._paint_foot(painter, operation, QPointF(left, look.px(52)), room)
        if self.hasFocus() and index == self._at:
            inset = look.px(3)
            painter.setPen(QPen(look.tone(Tone.INK), look.px(1.6)))
            painter.drawRect(box.adjusted(inset, inset, -inset, -inset))

    def _paint_foot(
        self, painter: QPainter, operation: Operation, at: QPointF, room: float
    ) -> None:
        look = self.look
        wide = 0.0
        if alerts(operation, self.session.result, self.session.sums):
            wide = look.px(40)
            area = QPainterPath()
            area.addRect(QRectF(at.x(), at.y() - look.px(8), wide, look.px(8)))
            hatch(painter, area, look.tone(Tone.ALERT), look.px(4), look.px(1.2))
            wide += look.px(8)
        signed = signature_on(self.session.document.job, operation)
        painter.setFont(look.font("text", 10))
        painter.setPen(look.tone(Tone.QUIET))
        text = f"{signed.name}, {signed.date}" if signed else "not signed"
        painter.drawText(QPointF(at.x() + wide, at.y()), elided(text, painter, room - wide))
