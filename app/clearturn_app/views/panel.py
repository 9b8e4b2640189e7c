"""What every view of the sheet has in common."""

from __future__ import annotations

import math

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QAbstractButton, QWidget

from clearturn.drawing import Tone
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session


class Panel(QWidget):
    """A view: paints itself from the session, in the sheet's look."""

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.look = look
        look.changed.connect(self.update)

    def painter(self) -> QPainter:
        """Return a painter on the panel with the sheet's paper under it."""
        painter = QPainter(self)
        painter.setRenderHints(
            QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing
        )
        painter.fillRect(self.rect(), self.look.tone(Tone.PAPER))
        return painter

    def heading(self, painter: QPainter, title: str, words: str = "") -> float:
        """Write the panel's heading and return where it ends, from the top."""
        look = self.look
        left, base = look.px(14), look.px(24)
        font = look.font("figures", 15, spaced=8)
        painter.setFont(font)
        painter.setPen(look.tone(Tone.INK))
        painter.drawText(int(left), int(base), title)
        if words:
            left += painter.fontMetrics().horizontalAdvance(title) + look.px(12)
            painter.setFont(look.font("text", 11))
            painter.setPen(look.tone(Tone.QUIET))
            room = self.width() - left - look.px(12)
            text = painter.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight, int(room))
            painter.drawText(int(left), int(base), text)
        return look.px(34)


class Word(QAbstractButton):
    """A word on the sheet that does something when it is touched; no button's box around it."""

    def __init__(self, text: str, look: Look, parent: QWidget | None = None, *, size: float = 12.0,
                 keys: str = "") -> None:  # fmt: skip
        super().__init__(parent)
        self.look = look
        self._size = size
        self._over = False
        self._keys = keys
        self.setText(text)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        if keys:
            self.setToolTip(keys)
        look.changed.connect(self._refit)

    def set_size(self, size: float) -> None:
        """Write it smaller or larger."""
        self._size = size
        self.update()

    def _refit(self) -> None:
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802  (Qt's name)
        """Return the room the word needs."""
        from PySide6.QtGui import QFontMetrics

        metrics = QFontMetrics(self.look.font("text", self._size))
        return QSize(
            math.ceil(metrics.horizontalAdvance(self.text()) + self.look.px(0.8 * self._size)) + 3,
            int(metrics.height() + self.look.px(7)),
        )

    def enterEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Underline while the pointer is over it."""
        self._over = True
        self.update()

    def leaveEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Take the line away."""
        self._over = False
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Let Return do it, as a click does."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Write the word over a thin line."""
        look = self.look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(look.font("text", self._size))
        tone = Tone.INK if self.isEnabled() else Tone.QUIET
        painter.setPen(look.tone(tone))
        inset = look.px(0.4 * self._size)
        room = self.width() - 2 * inset
        metrics = painter.fontMetrics()
        text = metrics.elidedText(self.text(), Qt.TextElideMode.ElideRight, math.ceil(room) + 2)
        base = (self.height() + metrics.ascent() - metrics.descent()) / 2
        painter.drawText(int(inset), int(base), text)
        if not self.isEnabled():
            return
        wide = metrics.horizontalAdvance(text)
        strong = self._over or self.hasFocus() or self.isDown()
        pen = QPen(look.tone(Tone.INK), look.px(1.6 if strong else 0.7))
        if not strong:
            pen.setDashPattern([1.5, 2.5])
        painter.setPen(pen)
        line = base + look.px(4)
        painter.drawLine(int(inset), int(line), int(inset + wide), int(line))
        if self.hasFocus():
            painter.setPen(QPen(look.tone(Tone.INK), 1.0, Qt.PenStyle.DotLine))
            painter.drawRect(QRectF(0.5, 0.5, self.width() - 1, self.height() - 1))

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Take the press; the sheet below shall not see it."""
        super().mousePressEvent(event)
        event.accept()
