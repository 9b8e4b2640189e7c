"""The lines of a slip: a heading that folds, a fact, and a number one can change."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QEvent, QObject, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QFocusEvent,
    QFont,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QWheelEvent,
)
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QLineEdit, QPlainTextEdit, QWidget

from clearturn.drawing import Tone
from clearturn.errors import InputError
from clearturn.report.lettering import breakable
from clearturn_app.document import Document
from clearturn_app.sheets.fields import Fact, Field
from clearturn_app.window.look import Look

LABEL_PX, VALUE_PX, UNIT_PX = 200, 116, 26
TEXT_PX = 300
_WORDS_PX = 84
_TEXTS = ("text", "words")
_WRAP = int(Qt.TextFlag.TextWordWrap)


class SectionHead(QWidget):
    """A heading with a line; touching it folds what follows."""

    switched = Signal(bool)

    def __init__(self, title: str, look: Look, is_open: bool, *, foldable: bool) -> None:
        super().__init__()
        self._title, self._look, self._open, self._foldable = title, look, is_open, foldable
        self.setFixedHeight(round(look.px(28)))
        self.setAccessibleName(title)
        if foldable:
            self.setCursor(Qt.CursorShape.PointingHandCursor)
            self.setFocusPolicy(Qt.FocusPolicy.TabFocus)

    def switch(self) -> None:
        """Fold or unfold."""
        if self._foldable:
            self._open = not self._open
            self.switched.emit(self._open)
            self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Fold or unfold."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.switch()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Fold or unfold with Return or space."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space):
            self.switch()
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Write the heading over its line."""
        look = self._look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        base = self.height() - look.px(7)
        painter.setPen(QPen(look.tone(Tone.INK), look.px(0.8)))
        line = self.height() - look.px(2)
        painter.drawLine(QPointF(0, line), QPointF(self.width(), line))
        painter.setFont(look.font("figures", 14, bold=self.hasFocus(), spaced=2))
        painter.drawText(QPointF(0, base), self._title[:1].upper() + self._title[1:])
        if self._foldable:
            x, y, s = self.width() - look.px(12), base - look.px(4), look.px(4)
            down = [(-s, -s / 2), (s, -s / 2), (0, s)]
            side = [(-s / 2, -s), (s, 0), (-s / 2, s)]
            shape = [QPointF(x + a, y + b) for a, b in (down if self._open else side)]
            painter.setBrush(look.tone(Tone.INK))
            painter.drawPolygon(QPolygonF(shape))


class FactBlock(QWidget):
    """Labels and what is so, written by hand: a sum tells many, and widgets for each are slow."""

    def __init__(self, facts: Sequence[Fact], look: Look) -> None:
        super().__init__()
        # Runs without a blank, a file name for one, get places to break.
        self._facts = tuple(Fact(f.label, breakable(f.text), f.strong) for f in facts)
        self._look = look
        self._places: list[tuple[QRectF, QRectF]] = []
        told = (f"{fact.label}: {fact.text}" if fact.label else fact.text for fact in facts)
        self.setAccessibleName("; ".join(told))

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Break the lines anew."""
        look = self._look
        self._places = []
        top, gap = 0.0, look.px(4)
        for fact in self._facts:
            narrow = fact.label.isdigit()
            left = look.px(24 if narrow else LABEL_PX) + look.px(8) if fact.label else 0.0
            label = self._high(fact.label, left - look.px(8), look.font("text", 11))
            text = self._high(fact.text, self.width() - left, self._font(fact))
            self._places.append(
                (
                    QRectF(0, top + look.px(1), left - look.px(8), label),
                    QRectF(left, top, self.width() - left, text),
                )
            )
            top += max(label + look.px(1), text) + gap
        self.setFixedHeight(max(1, math.ceil(top)))

    def _font(self, fact: Fact) -> QFont:
        return self._look.font("text", 12.5, bold=fact.strong)

    def _high(self, text: str, wide: float, font: QFont) -> float:
        if not text or wide <= 0:
            return 0.0
        box = QRectF(0, 0, wide, 1e5)
        return QFontMetricsF(font).boundingRect(box, _WRAP, text).height()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Write them."""
        look = self._look
        painter = QPainter(self)
        for fact, (label, text) in zip(self._facts, self._places, strict=True):
            painter.setFont(look.font("text", 11))
            painter.setPen(look.tone(Tone.QUIET))
            painter.drawText(label, _WRAP, fact.label)
            painter.setFont(self._font(fact))
            painter.setPen(look.tone(Tone.INK))
            painter.drawText(text, _WRAP, fact.text)


class FieldRow(QWidget):
    """Label, value, unit, source; help and range while it has the focus; the fault if there is one.

    Attributes
    ----------
    field : Field
    """

    def __init__(self, field: Field, document: Document, look: Look) -> None:
        super().__init__()
        self.field = field
        self._document, self._look = document, look
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(round(look.px(6)))
        grid.setVerticalSpacing(round(look.px(1)))
        label = QLabel(field.label)
        label.setTextFormat(Qt.TextFormat.PlainText)
        label.setWordWrap(True)
        label.setFixedWidth(round(look.px(LABEL_PX)))
        grid.addWidget(label, 0, 0)
        self.editor = self._made_editor()
        self.editor.setAccessibleName(field.label)
        self.editor.setAccessibleDescription(field.help)
        grid.addWidget(self.editor, 0, 1)
        wide = VALUE_PX
        if field.kind in _TEXTS:
            wide = TEXT_PX
        elif field.kind != "choice":
            unit = QLabel(field.unit(look))
            unit.setFixedWidth(round(look.px(UNIT_PX)))
            grid.addWidget(unit, 0, 2)
        else:
            wide = VALUE_PX + UNIT_PX
        self.editor.setFixedWidth(round(look.px(wide)))
        self._source = QLabel(field.source if field.kind not in _TEXTS else "")
        self._source.setTextFormat(Qt.TextFormat.PlainText)
        self._source.setProperty("quiet", True)
        self._source.setWordWrap(True)
        grid.addWidget(self._source, 0, 3)
        grid.setColumnStretch(3, 1)
        self.help = QLabel()
        self.help.setTextFormat(Qt.TextFormat.PlainText)
        self.help.setProperty("quiet", True)
        self.help.setWordWrap(True)
        self.help.hide()
        grid.addWidget(self.help, 1, 0, 1, 4)
        self.fault = QLabel()
        self.fault.setTextFormat(Qt.TextFormat.PlainText)
        self.fault.setProperty("fault", True)
        self.fault.setWordWrap(True)
        self.fault.hide()
        grid.addWidget(self.fault, 2, 0, 1, 4)

    def _made_editor(self) -> QLineEdit | QComboBox | Words:
        text = self.field.shown(self._document.job, self._look)
        if self.field.kind == "words":
            words = Words(text, self._look)
            words.editingFinished.connect(self.take)
            words.installEventFilter(self)
            return words
        if self.field.kind in ("choice", "yes"):
            box = StillBox(self._look)
            box.addItems(list(self.field.choices or ("yes", "no")))
            box.setCurrentText(text)
            box.activated.connect(self.take)
            box.installEventFilter(self)
            return box
        line = QLineEdit(text)
        if self.field.kind != "text":
            line.setAlignment(Qt.AlignmentFlag.AlignRight)
        line.setCursorPosition(0)  # a long text shows its beginning
        line.editingFinished.connect(self.take)
        line.installEventFilter(self)
        return line

    @property
    def text(self) -> str:
        """What stands in the row."""
        if isinstance(self.editor, QComboBox):
            return self.editor.currentText()
        return self.editor.text()

    def refresh(self, field: Field) -> None:
        """Show the job's value, unless someone is writing here."""
        self.field = field
        self._source.setText(field.source if field.kind not in _TEXTS else "")
        text = field.shown(self._document.job, self._look)
        if isinstance(self.editor, QComboBox):
            if self.fault.text() and self.editor.currentText() != text:
                self.take()  # what a refused choice lacked may be there now
            else:
                self.editor.setCurrentText(text)
        elif not self.editor.isModified() or not self.editor.hasFocus():
            if self.fault.text() and self.editor.text() != text and self.editor.isModified():
                return  # a refused value stays to be mended
            self.editor.setText(text)
            self.editor.setCursorPosition(0)

    @property
    def unfinished(self) -> tuple[str, str] | None:
        """What is being written here, and the fault of it; None if nothing is."""
        line = self.editor
        if not isinstance(line, QLineEdit | Words) or not line.isModified():
            return None
        return line.text(), self.fault.text()

    def drop_unfinished(self) -> None:
        """Forget what is being written."""
        if isinstance(self.editor, QLineEdit | Words):
            self.editor.setModified(False)

    def resume(self, unfinished: tuple[str, str]) -> None:
        """Go on with what was being written when the slip was built anew."""
        assert isinstance(self.editor, QLineEdit | Words)
        text, fault = unfinished
        self.editor.setText(text)
        self.editor.setModified(True)
        self._show_fault(fault)

    def take(self) -> None:
        """Put what stands here into the job, or say why that cannot be."""
        try:
            name, job = self.field.edited(self._document.job, self.text, self._look)
            if name:
                self._document.edit(name, job)
        except InputError as error:
            self._show_fault(told(error))
            return
        self._show_fault("")
        if isinstance(self.editor, QLineEdit | Words):
            self.editor.setModified(False)
            self.editor.setText(self.field.shown(self._document.job, self._look))

    def _show_fault(self, text: str) -> None:
        self.fault.setText(text)
        self.fault.setVisible(bool(text))
        self.editor.setProperty("fault", bool(text))
        self.editor.style().unpolish(self.editor)
        self.editor.style().polish(self.editor)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Show the help while the value has the focus; Escape brings the old value back."""
        if event.type() == QEvent.Type.FocusIn:
            allowed = self.field.range_words(self._look)
            self.help.setText(self.field.help + (f" Range: {allowed}." if allowed else ""))
            self.help.show()
        elif event.type() == QEvent.Type.FocusOut:
            self.help.hide()
        elif (
            event.type() == QEvent.Type.KeyPress
            and isinstance(event, QKeyEvent)
            and event.key() == Qt.Key.Key_Escape
            and isinstance(self.editor, QLineEdit | Words)
            and self.editor.isModified()
        ):
            self.editor.setText(self.field.shown(self._document.job, self._look))
            self.editor.setModified(False)
            self._show_fault("")
            return True
        return super().eventFilter(watched, event)


class Words(QPlainTextEdit):
    """A place for several lines, with the ways of a line; Tab leaves it, Return begins a line."""

    editingFinished = Signal()  # noqa: N815

    def __init__(self, text: str, look: Look) -> None:
        super().__init__(text)
        self.setTabChangesFocus(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFixedHeight(round(look.px(_WORDS_PX)))

    def text(self) -> str:
        """Return what stands here."""
        return self.toPlainText()

    def setText(self, text: str) -> None:  # noqa: N802
        """Put other words here."""
        self.setPlainText(text)

    def isModified(self) -> bool:  # noqa: N802
        """Return whether someone has written here since."""
        return self.document().isModified()

    def setModified(self, modified: bool) -> None:  # noqa: N802
        """Say that someone has, or not."""
        self.document().setModified(modified)

    def setCursorPosition(self, position: int) -> None:  # noqa: N802
        """Put the cursor before a letter."""
        cursor = self.textCursor()
        cursor.setPosition(position)
        self.setTextCursor(cursor)

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        """Give what was written when it is left."""
        super().focusOutEvent(event)
        self.editingFinished.emit()

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Let the slip scroll where there is nothing more to scroll here."""
        bar = self.verticalScrollBar()
        end = bar.minimum() if event.angleDelta().y() > 0 else bar.maximum()
        if not self.hasFocus() or bar.value() == end:
            event.ignore()
        else:
            super().wheelEvent(event)


class StillBox(QComboBox):
    """A choice that the wheel does not change while one scrolls past.

    Dots under it, as under every word of the sheet that does something, tell it from a place to
    write in.
    """

    def __init__(self, look: Look) -> None:
        super().__init__()
        self._look = look

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Paint the choice and its dots."""
        super().paintEvent(event)
        look = self._look
        painter = QPainter(self)
        pen = QPen(look.tone(Tone.INK), look.px(0.9))
        pen.setDashPattern([1.5, 2.5])
        painter.setPen(pen)
        left = look.px(8)
        wide = self.fontMetrics().horizontalAdvance(self.currentText())
        line = self.height() - look.px(4.5)
        painter.drawLine(QPointF(left, line), QPointF(min(left + wide, self.width() - left), line))

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Let the slip scroll."""
        event.ignore()


def told(error: InputError) -> str:
    """Return a refusal without the place in a file nobody sees here."""
    text = error.problem[:1].upper() + error.problem[1:]
    if error.found is not None:
        text += f", found {error.found}"
    if error.allowed is not None:
        text += f", allowed: {error.allowed}"
    if error.mend is not None:
        text += f"; {error.mend}"
    return text + "."
