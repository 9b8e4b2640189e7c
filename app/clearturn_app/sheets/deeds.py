"""The lines of a slip that build the job: words to touch, and forms to fill in."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFontMetrics, QKeyEvent
from PySide6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QLabel, QLineEdit, QWidget

from clearturn.errors import InputError
from clearturn_app.sheets.fields import Blank, Deed, Form
from clearturn_app.sheets.rows import LABEL_PX, TEXT_PX, UNIT_PX, VALUE_PX, StillBox, told
from clearturn_app.views.panel import Word
from clearturn_app.window.look import Look

_WIDE_PX = 500.0  # of a slip's lines
_BESIDE_PX = 90.0  # words that need no more stand beside the text, not below it


class DeedRow(QWidget):
    """Label, what stands there, and below it the words."""

    asked = Signal(str)

    def __init__(self, deed: Deed, look: Look) -> None:
        super().__init__()
        self.words: dict[str, Word] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(round(look.px(6)))
        grid.setVerticalSpacing(0)
        column = 1 if deed.label else 0
        if deed.label:
            label = _text(deed.label)
            label.setFixedWidth(round(look.px(LABEL_PX)))
            grid.addWidget(label, 0, 0)
        for text, name in deed.words:
            word = Word(text, look, self, size=11.5)
            word.clicked.connect(lambda _checked=False, name=name: self.asked.emit(name))
            word.setFixedSize(word.sizeHint())
            self.words[name] = word
        wide = sum(word.width() for word in self.words.values())
        if deed.text:
            grid.addWidget(_text(deed.text, quiet=not deed.label), 0, column)
        is_beside = bool(deed.text and deed.label) and wide <= look.px(_BESIDE_PX)
        room = look.px(_WIDE_PX - (LABEL_PX if deed.label else 0))
        for row, line in enumerate(_lines(list(self.words.values()), room, round(look.px(8)))):
            if is_beside:
                grid.addLayout(line, 0, 2, Qt.AlignmentFlag.AlignRight)
                continue
            line.addStretch(1)
            grid.addLayout(line, row + (1 if deed.text else 0), column)
        grid.setColumnStretch(column, 1)


def _lines(words: list[Word], room: float, between: int) -> list[QHBoxLayout]:
    """Put words side by side, in as many lines as they need."""
    lines: list[QHBoxLayout] = []
    left = 0.0
    for word in words:
        if not lines or left < word.width():
            lines.append(QHBoxLayout())
            lines[-1].setSpacing(between)
            left = room
        lines[-1].addWidget(word)
        left -= word.width() + between
    return lines


class FormBlock(QWidget):
    """Places to write in, and the word that takes them all.

    Attributes
    ----------
    editors : dict of str to QLineEdit or QComboBox
        By label.
    """

    given = Signal(str, dict)

    def __init__(self, form: Form, drafts: dict[str, str], look: Look) -> None:
        super().__init__()
        self._form, self._drafts, self._look = form, drafts, look
        self.editors: dict[str, QLineEdit | QComboBox] = {}
        self.faults: dict[str, QLabel] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(round(look.px(6)))
        grid.setVerticalSpacing(round(look.px(2)))
        for at, blank in enumerate(form.blanks):
            self._add(grid, 2 * at, blank)
        self.word = Word(form.word, look, self, size=11.5, keys="Return in the last place")
        self.word.clicked.connect(self.take)
        self.word.setFixedSize(self.word.sizeHint())
        grid.addWidget(self.word, 2 * len(form.blanks), 1, 1, 2)
        grid.setColumnStretch(3, 1)

    def _add(self, grid: QGridLayout, row: int, blank: Blank) -> None:
        look, field = self._look, blank.field
        label = _text(field.label)
        label.setFixedWidth(round(look.px(LABEL_PX)))
        grid.addWidget(label, row, 0)
        key = f"{self._form.deed} {blank.key}"
        start = self._drafts.get(key, blank.start)
        editor: QLineEdit | QComboBox
        if field.kind == "choice":
            editor = StillBox(look)
            editor.addItems(list(field.choices))
            editor.setCurrentText(start or field.choices[0])
            editor.currentTextChanged.connect(lambda text: self._drafts.update({key: text}))
        else:
            editor = QLineEdit(start)
            if field.kind != "text":
                editor.setAlignment(Qt.AlignmentFlag.AlignRight)
            editor.textEdited.connect(lambda text: self._drafts.update({key: text}))
            editor.returnPressed.connect(self._on_return)
        editor.setAccessibleName(field.label)
        editor.setAccessibleDescription(field.help)
        editor.setToolTip(field.help)
        room = QFontMetrics(look.font("text", 12.5)).horizontalAdvance(field.help)
        short = not blank.start and room < look.px(TEXT_PX - 20)
        if field.kind == "text" and isinstance(editor, QLineEdit) and short:
            # A name or a reason needs the room; its help stands where it will be written.
            editor.setPlaceholderText(field.help)
            editor.setFixedWidth(round(look.px(TEXT_PX)))
            grid.addWidget(editor, row, 1, 1, 3)
        else:
            wide = VALUE_PX + (UNIT_PX if field.kind == "choice" else 0)
            editor.setFixedWidth(round(look.px(wide)))
            grid.addWidget(editor, row, 1, 1, 2 if field.kind == "choice" else 1)
            if field.kind != "choice":
                unit = _text(field.unit(look))
                unit.setFixedWidth(round(look.px(UNIT_PX)))
                grid.addWidget(unit, row, 2)
            grid.addWidget(_text(field.help, quiet=True), row, 3)
        fault = _text("")
        fault.setProperty("fault", True)
        fault.hide()
        grid.addWidget(fault, row + 1, 0, 1, 4)
        self.editors[field.label], self.faults[blank.key] = editor, fault

    def _on_return(self) -> None:
        editors = list(self.editors.values())
        at = next((i for i, one in enumerate(editors) if one.hasFocus()), len(editors) - 1)
        if at + 1 < len(editors):
            editors[at + 1].setFocus()
        else:
            self.take()

    def take(self) -> None:
        """Hand all numbers on, or say at each place what is wrong."""
        values: dict[str, Any] = {}
        first: QWidget | None = None
        for blank in self._form.blanks:
            editor = self.editors[blank.field.label]
            text = editor.currentText() if isinstance(editor, QComboBox) else editor.text()
            fault = self.faults[blank.key]
            try:
                if not text.strip() and not blank.field.optional:
                    raise InputError("nothing is written here yet")
                values[blank.key] = blank.field.parsed(text, self._look)
                fault.hide()
            except InputError as error:
                fault.setText(told(error))
                fault.show()
                first = first or editor
        if first is not None:
            first.setFocus()
            return
        self.given.emit(self._form.deed, values)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Keep Return from what lies under the slip."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            event.accept()
        else:
            super().keyPressEvent(event)


def _text(words: str, *, quiet: bool = False) -> QLabel:
    label = QLabel(words)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setWordWrap(True)
    label.setProperty("quiet", quiet)
    return label
