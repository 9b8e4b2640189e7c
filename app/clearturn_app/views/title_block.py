"""The title block: the verdict, what job this is, and whatever runs just now."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn.report.content import verdict_head, verdict_sentence
from clearturn.result import Verdict
from clearturn_app.views.paint import elided, stamp, stamp_width
from clearturn_app.views.panel import Panel, Word
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session, State

_LEFT_PART = 0.62
_FOOT_PX = 30.0
_NAMES = 2  # cells whose words are written in the slip of the hand-over


class TitleBlock(Panel):
    """Verdict and sentence on the left, cells on the right, what runs at the foot."""

    stop_asked = Signal()
    names_asked = Signal()
    """The job's name was touched, or the vehicle's and kit's."""

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setAccessibleName("Title block")
        self._stop = Word("stop", look, self, size=11.5, keys="Esc")
        self._stop.clicked.connect(self.stop_asked)
        self._again = Word("check anew", look, self, size=11.5, keys="F5")
        self._again.clicked.connect(session.check_now)
        self._names = QRectF()
        self.setMouseTracking(True)
        session.job_changed.connect(self._refresh)
        session.state_changed.connect(self._refresh)
        session.tasks.progressed.connect(self._refresh)
        look.changed.connect(self._refresh)
        self._refresh()

    def _refresh(self, _task: object = None) -> None:
        running = self.session.tasks.shown is not None
        self._stop.setVisible(running)
        waiting = self.session.state in (State.STOPPED, State.REFUSED, State.NONE)
        self._again.setVisible(not running and waiting)
        left = self.width() * _LEFT_PART
        for word in (self._stop, self._again):
            word.resize(word.sizeHint())
            middle = self.height() - self.look.px(_FOOT_PX) / 2
            word.move(int(left - word.width() - self.look.px(8)), int(middle - word.height() / 2))
        self.update()

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Keep the words in their places."""
        self._refresh()

    @property
    def names(self) -> QRectF:
        """Where the names stand that are given in the slip of the hand-over."""
        return self._names

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Show a hand over what can be touched."""
        over = self._names.contains(event.position())
        self.setCursor(Qt.CursorShape.PointingHandCursor if over else Qt.CursorShape.ArrowCursor)

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Ask for the slip that holds the names."""
        if event.button() == Qt.MouseButton.LeftButton and self._names.contains(event.position()):
            self.names_asked.emit()
        else:
            super().mousePressEvent(event)

    def verdict(self) -> tuple[Verdict | None, str, str]:
        """Return verdict, its words and the sentence below, as they are shown."""
        session, result = self.session, self.session.result
        if session.is_current and result is not None:
            told = self.look.sentence(verdict_sentence(result))
            return result.verdict, verdict_head(result), told
        if session.missing is not None and session.state is State.NONE:
            return None, "not built yet", f"Next: {session.missing}"
        if session.state is State.CHECKING:
            return None, "being checked", "No verdict holds until the check has ended."
        if session.state is State.REFUSED:
            return None, "cannot be checked", session.refusal or "The note on the sheet says why."
        return None, str(session.state), "No verdict holds until the job is checked."

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Paint it."""
        painter = self.painter()
        look = self.look
        left = self.width() * _LEFT_PART
        foot = self.height() - look.px(_FOOT_PX)
        painter.setPen(QPen(look.tone(Tone.INK), look.px(1.0)))
        painter.drawLine(QPointF(left, 0), QPointF(left, self.height()))
        painter.drawLine(QPointF(0, foot), QPointF(left, foot))
        self._paint_verdict(painter, QRectF(0, 0, left, foot))
        self._paint_running(painter, QRectF(0, foot, left, look.px(_FOOT_PX)))
        self._paint_cells(painter, QRectF(left, 0, self.width() - left, self.height()))

    def _paint_verdict(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        verdict, words, sentence = self.verdict()
        self._label(painter, QPointF(look.px(14), look.px(17)), "VERDICT")
        top, high = look.px(24), look.px(42)
        size = 25.0
        room = box.width() - look.px(28)
        while verdict is not None and size > 14 and stamp_width(words, look, size) > room:
            size -= 1
        if verdict is not None:
            wide = min(room, stamp_width(words, look, size))
            stamp(painter, QRectF(look.px(14), top, wide, high), verdict, words, look, size)
        else:
            painter.setFont(look.font("text", 22))
            painter.setPen(look.tone(Tone.INK))
            painter.drawText(QPointF(look.px(14), top + look.px(28)), elided(words, painter, room))
        painter.setFont(look.font("text", 11.5))
        painter.setPen(look.tone(Tone.INK))
        area = QRectF(look.px(14), top + high + look.px(7), room,
                      box.height() - top - high - look.px(8))  # fmt: skip
        painter.drawText(area, int(Qt.TextFlag.TextWordWrap), _fitted(sentence, painter, area))

    def _paint_running(self, painter: QPainter, box: QRectF) -> None:
        look, task = self.look, self.session.tasks.shown
        base = box.center().y() + look.px(4)
        painter.setFont(look.font("text", 11))
        painter.setPen(look.tone(Tone.INK))
        if task is None:
            room = box.width() - look.px(28)
            if self._again.isVisible():
                room -= self._again.width()
            painter.drawText(QPointF(look.px(14), base), elided(self._at_rest(), painter, room))
            return
        words = f"{task.words}: {task.text}" if task.text else task.words
        room = self._stop.x() - look.px(14 + 8)
        if painter.fontMetrics().horizontalAdvance(words) > room:
            words = task.text or task.words
        painter.drawText(QPointF(look.px(14), base), elided(words, painter, room))
        # How far it is stands on the line above: the words have the whole width.
        bar = QRectF(box.left(), box.top(), box.width(), look.px(5))
        done = QRectF(bar.left(), bar.top(), bar.width() * task.fraction, bar.height())
        painter.fillRect(done, look.tone(Tone.INK))
        painter.setPen(QPen(look.tone(Tone.INK), look.px(0.8)))
        painter.drawRect(bar)

    def _at_rest(self) -> str:
        told = {
            State.CURRENT: "checked as it stands",
            State.STOPPED: "the check was stopped",
            State.REFUSED: "the check did not begin",
            State.CHECKING: "about to check",
        }
        return told.get(self.session.state, "not checked yet")

    def _paint_cells(self, painter: QPainter, box: QRectF) -> None:
        look, document, result = self.look, self.session.document, self.session.result
        job = document.job
        corners = ", ".join(f"{a.name} {a.corner.side}" for a in job.axles) or "none yet"
        star = "" if document.is_clean else " *"
        name = document.path.name if document.path else "not saved to a file yet"
        sha = result.job_sha256[:12] if result and self.session.is_current else "–"
        vehicle = " · ".join(t for t in (job.vehicle, job.kit) if t) or "not stated"
        cells = (
            ("JOB" + (" · INVENTED" if job.invented else ""), (job.name or "no name") + star, 2),
            ("VEHICLE · KIT", vehicle, 2),
            ("CORNER · UNIT", f"{corners} · {look.unit}", 1),
            ("JOB HASH", sha, 1),
            ("FILE", name, 1),
        )
        step, head = look.px(13.5), look.px(13)
        spare = box.height() - len(cells) * head - step * sum(lines for _, _, lines in cells)
        pad = max(0.0, spare / len(cells))
        left, wide = box.left() + look.px(8), box.width() - look.px(14)
        top = box.top()
        for number, (label, text, lines) in enumerate(cells):
            if number:
                painter.setPen(QPen(look.tone(Tone.INK), look.px(0.7)))
                painter.drawLine(QPointF(box.left(), top), QPointF(box.right(), top))
            top += pad / 2
            self._label(painter, QPointF(left, top + look.px(11.5)), label)
            painter.setFont(look.font("text", 11))
            painter.setPen(look.tone(Tone.INK))
            told = broken(text, painter, wide, lines)
            base = top + head + look.px(10.5) + (lines - len(told)) * step / 2
            for line in told:
                painter.drawText(QPointF(left, base), line)
                base += step
            top += pad / 2 + head + lines * step
            if number < _NAMES:
                self._names = QRectF(box.left(), box.top(), box.width(), top - box.top())
                # Dots, as under every word of the sheet that does something.
                pen = QPen(look.tone(Tone.INK), look.px(0.7))
                pen.setDashPattern([1.5, 2.5])
                painter.setPen(pen)
                under = base - step + look.px(3.5)
                end = left + painter.fontMetrics().horizontalAdvance(told[-1])
                painter.drawLine(QPointF(left, under), QPointF(end, under))

    def _label(self, painter: QPainter, at: QPointF, words: str) -> None:
        painter.setFont(self.look.font("figures", 10.5, spaced=6))
        painter.setPen(self.look.tone(Tone.QUIET))
        painter.drawText(at, words)


def broken(text: str, painter: QPainter, wide: float, most: int) -> list[str]:
    """Return a text in at most so many lines; what does not fit loses the middle of the last."""
    metrics = painter.fontMetrics()
    lines, words = [], text.split(" ")
    while words and len(lines) < most - 1:
        count = len(words)
        while count > 1 and metrics.horizontalAdvance(" ".join(words[:count])) > wide:
            count -= 1
        if metrics.horizontalAdvance(words[0]) > wide:
            break
        lines.append(" ".join(words[:count]))
        words = words[count:]
    if words:
        rest = " ".join(words)
        lines.append(metrics.elidedText(rest, Qt.TextElideMode.ElideMiddle, int(wide)))
    return lines


def _fitted(text: str, painter: QPainter, area: QRectF) -> str:
    """Return a text cut at a word so that it fits an area, with an ellipsis."""
    flags = int(Qt.TextFlag.TextWordWrap)
    limit = QRectF(0, 0, area.width(), 1e6)
    words = text.split(" ")
    for count in range(len(words), 0, -1):
        shown = " ".join(words[:count]) + ("" if count == len(words) else " …")
        if painter.boundingRect(limit, flags, shown).height() <= area.height():
            return shown
    return ""
