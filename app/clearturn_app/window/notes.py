"""The note: the one place where the window says something in words, and asks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn.errors import InputError
from clearturn_app.sheets.rows import told
from clearturn_app.views.panel import Word
from clearturn_app.window.look import Look

_COLUMNS = (0.0, 0.16, 0.44, 0.62)  # of a line parted by tabs, as shares of the width
_WRAP = int(Qt.TextFlag.TextWordWrap)


def sentence(error: BaseException) -> str:
    """Return an error as a sentence; without the line of a job that lies in no file yet."""
    in_no_file = isinstance(error, InputError) and error.file is None
    if in_no_file and (error.place or "").startswith("line "):
        return told(error)
    return f"{error}."


@dataclass(frozen=True, slots=True)
class Choice:
    """A word to touch, and what it does."""

    word: str
    act: Callable[[], None]


@dataclass(frozen=True, slots=True)
class _Item:
    heading: str
    lines: tuple[str, ...]
    choices: tuple[Choice, ...]
    of_job: bool

    @property
    def told(self) -> tuple[str, tuple[str, ...]]:
        return self.heading, self.lines


class Note(QWidget):
    """A slip of paper with a heading, sentences and choices, laid on the sheet.

    Notes that come while one lies there wait until it is put away; an error lies on top.
    """

    resized = Signal()

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = look
        self.heading = ""
        self.lines: tuple[str, ...] = ()
        self._words: list[Word] = []
        self._waiting: list[_Item] = []
        self._shown: _Item | None = None
        self.setAccessibleName("Note")
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        look.changed.connect(self.resized)
        self.hide()

    def say(
        self, heading: str, *lines: str, choices: Sequence[Choice] = (), first: bool = False,
        of_job: bool = False,
    ) -> None:  # fmt: skip
        """Lay a note on the sheet; one without choices of its own can be put away.

        Parameters
        ----------
        first : bool
            It goes before those that lie there.
        of_job : bool
            It has no sense any more once another job is taken up.
        """
        item = _Item(heading, tuple(lines), tuple(choices), of_job)
        shown = self._shown if self.isVisible() else None
        # Told again, with choices that fit the job as it is now: once is enough.
        self._waiting = [one for one in self._waiting if one.told != item.told]
        if shown is not None and shown.told != item.told:
            if not first:
                self._waiting.append(item)
                return
            self._waiting.insert(0, shown)
        self._show(item)

    def put_away(self) -> None:
        """Take the note off, and lay the next one there."""
        if self._waiting:
            self._show(self._waiting.pop(0))
        else:
            self.hide()

    def withdraw(self, line: str) -> None:
        """Take off the note whose first sentence is this one, if it still lies there or waits."""
        self._waiting = [one for one in self._waiting if one.lines[:1] != (line,)]
        if self.isVisible() and self.lines[:1] == (line,):
            self.put_away()

    def forget_job(self) -> None:
        """Take off what was said about the job that is left."""
        self._waiting = [one for one in self._waiting if not one.of_job]
        if self.isVisible() and self._shown is not None and self._shown.of_job:
            self.put_away()

    def _show(self, item: _Item) -> None:
        self._shown = item
        self.heading, self.lines = item.heading, item.lines
        for word in self._words:
            word.hide()
            word.deleteLater()
        self._words = []
        for choice in item.choices or (Choice("put away", lambda: None),):
            word = Word(choice.word, self.look, self)
            word.clicked.connect(lambda _checked=False, act=choice.act: self._chosen(act))
            word.show()
            self._words.append(word)
        self.setAccessibleDescription(" ".join((item.heading, *item.lines)).replace("\t", " "))
        self.show()
        self.resized.emit()
        self._place_words()  # a note as high as the one before is not resized
        self.update()

    def _chosen(self, act: Callable[[], None]) -> None:
        self.put_away()
        act()

    @property
    def words(self) -> list[Word]:
        """The choices, in their order."""
        return self._words

    def height_for(self, wide: int) -> int:
        """Return how high the note is at a width."""
        inside = wide - 2 * self.look.px(18)
        return round(self._text_height(inside) + self.look.px(40 + 44))

    def _text_height(self, wide: float) -> float:
        return sum(
            max(box.height() for box, _ in self._cells(line, wide)) + self.look.px(5)
            for line in self.lines
        )

    def _cells(self, line: str, wide: float) -> list[tuple[QRectF, str]]:
        """Return where the texts of a line stand from its top; tabs part them into columns."""
        metrics = QFontMetrics(self.look.font("text", 12.5))
        texts = line.split("\t")
        ends = [0.0, 1.0] if len(texts) == 1 else [*_COLUMNS[: len(texts)], 1.0]
        out = []
        for text, low, high in zip(texts, ends, ends[1:], strict=False):
            room = (high - low) * wide - (self.look.px(8) if len(texts) > 1 else 0.0)
            limit = QRectF(0, 0, room, 1e6).toRect()
            high_px = metrics.boundingRect(limit, _WRAP, text).height()
            out.append((QRectF(low * wide, 0.0, room, high_px + 1.0), text))
        return out

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Put the words at the foot."""
        self._place_words()

    def _place_words(self) -> None:
        x = self.look.px(13)
        for word in self._words:
            size = word.sizeHint()
            word.setGeometry(int(x), int(self.height() - size.height() - self.look.px(10)),
                             size.width(), size.height())  # fmt: skip
            x += size.width() + self.look.px(16)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Draw the slip."""
        look = self.look
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), look.colour("slip"))
        painter.setPen(QPen(look.tone(Tone.INK), look.px(1.2)))
        painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))
        painter.setFont(look.font("figures", 15, spaced=4))
        left = look.px(18)
        painter.drawText(int(left), int(look.px(26)), self.heading)
        painter.setFont(look.font("text", 12.5))
        top = look.px(38)
        for line in self.lines:
            cells = self._cells(line, self.width() - 2 * left)
            for box, text in cells:
                painter.drawText(box.translated(left, top), _WRAP, text)
            top += max(box.height() for box, _ in cells) + look.px(5)
