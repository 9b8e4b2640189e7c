"""The line under the title block: what can be done with the job, in words."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from clearturn_app.views.panel import Panel, Word
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session

_SIZE_PX = 12.0
_WORDS = (
    ("new", "new", "Ctrl+N: a new job"),
    ("open", "open", "Ctrl+O"),
    ("save", "save", "Ctrl+S"),
    ("report", "report", "Ctrl+R: write the clearance report"),
    ("undo", "undo", "Ctrl+Z"),
    ("redo", "redo", "Ctrl+Y"),
    ("dark", "dark", "D: light or dark sheet"),
    ("unit", "inch", "U: mm or inch"),
    ("keys", "keys", "F1: all keys"),
)


class ActionLine(Panel):
    """Words in a row; each says what it does as things stand."""

    asked = Signal(str)

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.words: dict[str, Word] = {}
        for name, text, keys in _WORDS:
            word = Word(text, look, self, keys=keys)
            word.clicked.connect(lambda _checked=False, name=name: self.asked.emit(name))
            self.words[name] = word
        session.document.stack.indexChanged.connect(self._refresh)
        session.job_changed.connect(self._refresh)
        session.state_changed.connect(self._refresh)
        look.changed.connect(self._refresh)
        self._refresh()

    def _refresh(self, _index: int = 0) -> None:
        stack, words = self.session.document.stack, self.words
        words["undo"].setEnabled(stack.canUndo())
        words["undo"].setToolTip(f"Ctrl+Z: undo {stack.undoText()}".strip())
        words["redo"].setEnabled(stack.canRedo())
        words["redo"].setToolTip(f"Ctrl+Y: redo {stack.redoText()}".strip())
        words["save"].setEnabled(
            not self.session.document.is_clean or self.session.document.path is None
        )
        words["report"].setEnabled(self.session.is_current)
        words["dark"].setText("light" if self.look.dark else "dark")
        words["unit"].setText("mm" if self.look.inch else "inch")
        self._lay_out()

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Spread the words."""
        self._lay_out()

    def _lay_out(self) -> None:
        margin = self.look.px(9)
        for part in (1.0, 0.92, 0.85, 0.78, 0.7, 0.62, 0.55, 0.48, 0.4):
            for word in self.words.values():
                word.set_size(_SIZE_PX * part)
            sizes = [word.sizeHint() for word in self.words.values()]
            total = sum(size.width() for size in sizes)
            if total <= self.width() - 2 * margin:
                break
        gap = max(0.0, (self.width() - 2 * margin - total) / max(1, len(sizes) - 1))
        gap = min(gap, self.look.px(34))
        x = margin
        for word, size in zip(self.words.values(), sizes, strict=True):
            word.setGeometry(int(x), (self.height() - size.height()) // 2, size.width(),
                             size.height())  # fmt: skip
            x += size.width() + gap

    def paintEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Lay the paper."""
        self.painter()
