"""The gap list: a row for each pair, hub diameter and access, worst first."""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QFontMetricsF,
    QHelpEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QWheelEvent,
)
from PySide6.QtWidgets import QScrollBar, QToolTip, QWidget

from clearturn.drawing import Tone
from clearturn.result import AccessResult, HubResult, PairResult, Verdict
from clearturn_app.views.paint import elided, stamp, stamp_width
from clearturn_app.views.panel import Panel
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session, State

_FIGURES_PX = 15  # of the gaps and margins
ROW_PX = 40.0
_HEAD_PX = 20.0


@dataclass(frozen=True, slots=True)
class Row:
    """What one row says.

    Attributes
    ----------
    index : int or None
        Of the pair in the result; None for a hub diameter or an access.
    between : tuple of str
        Names to be joined by a dash; each is shortened alone where there is no room for both.
    below : tuple of str
        What stands below, from long to short: the first that has room is shown.
    asked : str
        What stands below the least gap.
    access : int or None
        Of the access in the result.
    """

    index: int | None
    item: str
    between: tuple[str, ...]
    below: tuple[str, ...]
    least: str
    asked: str
    margin: str
    verdict: Verdict
    access: int | None = None


def pair_row(index: int, pair: PairResult, look: Look) -> Row:
    """Return the row of a pair."""
    clock = f"{pair.clock_deg:.0f}°"
    place = f"{clock} · r {look.length(pair.r_mm, 1)} · z {look.length(pair.z_mm, 1)}"
    remedy = cure(pair, look)
    below = (f"{place} · {remedy}", f"{clock} · {remedy}", remedy) if remedy else (place, clock)
    less = f"less {look.length(pair.allowances_mm)} · " if pair.allowances_mm > 0 else ""
    return Row(
        index,
        str(index + 1),
        (pair.first, pair.second),
        below,
        f"{look.length(pair.least_mm)} ±{look.length(pair.expanded_uncertainty_mm)}",
        f"{less}{look.length(pair.required_mm, 1)} asked",
        look.length(pair.margin_mm, signed=True),
        pair.verdict,
    )


def cure(pair: PairResult, look: Look) -> str:
    """Return what would clear a pair, or settle it, in a few words."""
    if pair.would_clear:
        best = sorted(pair.would_clear, key=lambda one: not one.clears_all)[0]
        alone = "" if best.clears_all else ", not alone"
        return f"{best.change} {look.length_up(best.amount_mm)}{alone}"
    return "measure to settle" if pair.settle_by else ""


def hub_row(number: int, hub: HubResult, look: Look) -> Row:
    """Return the row of a hub diameter; its "least" is the clearance on the diameter."""
    below = f"Ø {look.length(hub.shaft_mm)} in Ø {look.length(hub.hole_mm)}"
    if hub.machine is not None:
        verb = "open" if hub.machine.to_diameter_mm > hub.hole_mm else "turn"
        below = f"{verb} to Ø {look.length(hub.machine.to_diameter_mm, 3)}"
    spread = math.hypot(hub.shaft_uncertainty_mm, hub.hole_uncertainty_mm)
    least = f"{look.length(hub.clearance_mm, signed=True)} ±{look.length(spread)}"
    return Row(None, f"H{number}", (hub.name,), (below,), least, "on the diameter", "", hub.verdict)


def access_row(index: int, one: AccessResult, look: Look) -> Row:
    """Return the row of what must be workable: a tool, a pad or the wheel on its way."""
    below: tuple[str, ...] = (one.what,)
    if one.clock_deg is not None:
        place = (
            f"{one.clock_deg:.0f}° · r {look.length(one.r_mm, 1)} · z {look.length(one.z_mm, 1)}"
        )
        below = (f"{one.what} · {place}", f"{one.what} · {one.clock_deg:.0f}°", one.what)
    least = "–"
    if one.gap_mm is not None:
        spread = look.length(one.expanded_uncertainty_mm)
        least = f"{look.length(one.gap_mm.lower)} ±{spread}"
    names = (one.name, one.against) if one.against else (one.name,)
    asked = f"{look.length(one.required_mm, 1)} asked"
    margin = look.length(one.margin_mm, signed=True)
    return Row(None, f"A{index + 1}", names, below, least, asked, margin, one.verdict, index)


class GapList(Panel):
    """Rows to choose from with mouse and keys."""

    hub_chosen = Signal()
    """A hub diameter was touched."""

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Gap list")
        self._rows: list[Row] = []
        self._high = 0.0  # of a row when last fitted, pixels
        self._bar = QScrollBar(Qt.Orientation.Vertical, self)
        self._bar.valueChanged.connect(self.update)
        session.result_changed.connect(self._refill)
        session.chosen_changed.connect(self._show_chosen)
        session.state_changed.connect(self.update)
        look.changed.connect(self._refill)
        self._refill()

    @property
    def rows(self) -> list[Row]:
        """The rows as they stand."""
        return self._rows

    def _refill(self) -> None:
        result = self.session.result
        self._rows = []
        if result is not None:
            self._rows = [pair_row(i, result.pairs[i], self.look) for i in self.session.order()]
            hubs = sorted(result.hub, key=lambda hub: hub.verdict is Verdict.CLEARS)
            made = [hub_row(n + 1, hub, self.look) for n, hub in enumerate(hubs)]
            made += [access_row(n, one, self.look) for n, one in enumerate(result.access)]
            # What fails stands at the top, whatever kind it is of.
            bad = [row for row in made if row.verdict is Verdict.FAILS]
            first = sum(row.verdict is Verdict.FAILS for row in self._rows)
            rest = [row for row in made if row not in bad]
            self._rows = [*self._rows[:first], *bad, *self._rows[first:], *rest]
        self._fit_bar()
        self.update()

    def _top(self) -> float:
        return self.look.px(34 + _HEAD_PX)

    def _room(self) -> float:
        high = self.look.px(ROW_PX)
        return max(1, int((self.height() - self._top()) / high)) * high

    def _fit_bar(self) -> None:
        high = self.look.px(ROW_PX)
        need = len(self._rows) * high
        # Whole rows only: half a row reads as a fault.
        room = max(1.0, self._room())
        wide = int(self.look.px(9))
        first = round(self._bar.value() / self._high) if self._high else 0
        self._high = high
        self._bar.setGeometry(self.width() - wide, int(self._top()), wide, int(room))
        self._bar.setRange(0, max(0, math.ceil(need - room)))
        self._bar.setPageStep(int(room))
        self._bar.setSingleStep(int(high))
        self._bar.setVisible(need > room)
        self._scroll_to(first)  # the same row, however high rows are now

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Keep the bar fitting."""
        self._fit_bar()
        self._show_chosen()

    def _is_chosen(self, row: Row) -> bool:
        result, access = self.session.result, self.session.chosen_access
        if result is not None and access is not None:
            return row.access is not None and result.access[row.access] is access
        return row.index is not None and row.index == self.session.chosen

    def _show_chosen(self) -> None:
        at = next((n for n, row in enumerate(self._rows) if self._is_chosen(row)), None)
        if at is not None:
            high = self.look.px(ROW_PX)
            shown = round(self._room() / high)
            first = round(self._bar.value() / high)
            if at < first:
                self._scroll_to(at)
            elif at >= first + shown:
                self._scroll_to(at - shown + 1)
        self.update()

    def row_box(self, number: int) -> QRectF:
        """Return where a row stands."""
        high = self.look.px(ROW_PX)
        bar = self._bar.width() if self._bar.isVisible() else 0
        return QRectF(0, self._top() + number * high - self._bar.value(), self.width() - bar, high)

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Choose the row under the pointer."""
        number = self._row_at(event.position().y())
        if number is not None:
            index, access = self._rows[number].index, self._rows[number].access
            if access is not None:
                self.session.choose_access(access)
            elif index is None:
                self.hub_chosen.emit()
            else:
                self.session.choose(index)

    def event(self, event: QEvent) -> bool:
        """Tell a row in full where the pointer rests on it."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            number = self._row_at(event.pos().y())
            if number is None:
                QToolTip.hideText()
            else:
                row = self._rows[number]
                told = f"{' – '.join(row.between)}\n{row.below[0]}"
                QToolTip.showText(event.globalPos(), told, self)
            return True
        return super().event(event)

    def _row_at(self, y: float) -> int | None:
        if y < self._top():
            return None
        number = int((y - self._top() + self._bar.value()) / self.look.px(ROW_PX))
        return number if 0 <= number < len(self._rows) else None

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Scroll."""
        rows = event.angleDelta().y() / 120.0
        self._scroll_to(self._bar.value() / self.look.px(ROW_PX) - rows)

    def _scroll_to(self, row: float) -> None:
        self._bar.setValue(math.ceil(round(row) * self.look.px(ROW_PX)))

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Walk through the list."""
        step = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(Qt.Key(event.key()))
        if step is None:
            super().keyPressEvent(event)
        else:
            self.session.choose_next(step)

    def _columns(self) -> dict[str, tuple[float, float]]:
        """Left and right ends of the columns."""
        look, wide = self.look, self.width() - self.look.px(14)
        stamp_wide = stamp_width("not proven", look, 11.5)
        verdict = (wide - stamp_wide, wide)
        figures = QFontMetricsF(look.font("figures", _FIGURES_PX))
        widest = max((figures.horizontalAdvance(row.margin) for row in self._rows), default=0.0)
        right = verdict[0] - look.px(10)
        margin = (right - max(look.px(46), widest), right)
        least = (margin[0] - look.px(128), margin[0] - look.px(12))
        item = (look.px(14), look.px(40))
        return {
            "item": item, "between": (look.px(44), least[0] - look.px(4)), "least": least,
            "margin": margin, "verdict": verdict,
        }  # fmt: skip

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Paint heading and rows."""
        painter = self.painter()
        session = self.session
        count = len(self._rows)
        words = f"{count} judged · worst first" if count else ""
        if session.result is not None and not session.is_current:
            words = "as before the last change"
        self.heading(painter, "GAPS", words)
        if not self._rows:
            self._paint_empty(painter)
            return
        columns = self._columns()
        self._paint_head(painter, columns)
        painter.setClipRect(QRectF(0, self._top(), self.width(), self._room() + 1))
        for number, row in enumerate(self._rows):
            box = self.row_box(number)
            if box.bottom() >= self._top() and box.top() <= self.height():
                self._paint_row(painter, box, row, columns)

    def _paint_empty(self, painter: QPainter) -> None:
        look = self.look
        told = {
            State.CHECKING: "The gaps are being worked out.",
            State.REFUSED: "The job cannot be checked yet; the note on the sheet says why.",
            State.STOPPED: "The check was stopped. F5 checks anew.",
            State.CURRENT: "The job holds no pair of parts to judge, so nothing is proven.",
        }
        painter.setFont(look.font("text", 12))
        painter.setPen(look.tone(Tone.QUIET))
        box = QRectF(look.px(14), look.px(40), self.width() - look.px(28), look.px(60))
        text = told.get(self.session.state, "Not checked yet.")
        painter.drawText(box, int(Qt.TextFlag.TextWordWrap), text)

    def _paint_head(self, painter: QPainter, columns: dict[str, tuple[float, float]]) -> None:
        look = self.look
        painter.setFont(look.font("figures", 11, spaced=4))
        painter.setPen(look.tone(Tone.QUIET))
        base = self._top() - look.px(6)
        unit = look.unit
        for key, words in (("item", "NO"), ("between", "BETWEEN")):
            painter.drawText(QPointF(columns[key][0], base), words)
        for key, words in (("least", f"LEAST ±U, {unit}"), ("margin", "MARGIN")):
            _right(painter, columns[key][1], base, words)
        painter.drawText(QPointF(columns["verdict"][0], base), "VERDICT")
        painter.setPen(QPen(look.tone(Tone.INK), look.px(0.7)))
        painter.drawLine(QPointF(look.px(8), self._top() - 1),
                         QPointF(self.width() - look.px(8), self._top() - 1))  # fmt: skip

    def _paint_row(
        self, painter: QPainter, box: QRectF, row: Row, columns: dict[str, tuple[float, float]]
    ) -> None:
        look = self.look
        chosen = self._is_chosen(row)
        if chosen:
            painter.fillRect(box, look.colour("chosen"))
            mark = QRectF(box.left(), box.top(), look.px(4), box.height())
            painter.fillRect(mark, look.tone(Tone.INK))
        painter.setPen(QPen(look.colour("rule"), 1.0))
        painter.drawLine(box.bottomLeft(), box.bottomRight())
        first, second = box.top() + look.px(17), box.top() + look.px(32)
        bad = row.verdict is Verdict.FAILS
        painter.setFont(look.font("text", 12))  # a lone 1 of the figures reads as a letter
        painter.setPen(look.tone(Tone.QUIET))
        painter.drawText(QPointF(columns["item"][0], first), row.item)
        low, high = columns["between"]
        painter.setFont(look.font("text", 12.5, bold=chosen))
        if painter.fontMetrics().horizontalAdvance(" – ".join(row.between)) > high - low:
            painter.setFont(look.font("text", 11))
        painter.setPen(look.tone(Tone.INK))
        painter.drawText(QPointF(low, first), _names(row.between, painter, high - low))
        painter.setFont(look.font("text", 11))
        painter.setPen(look.tone(Tone.QUIET))
        metrics = painter.fontMetrics()
        fits = [t for t in row.below if metrics.horizontalAdvance(t) <= high - low]
        below = fits[0] if fits else elided(row.below[-1], painter, high - low)
        painter.drawText(QPointF(low, second), below)
        _right(painter, columns["least"][1], second, row.asked)
        painter.setPen(look.tone(Tone.ALERT if bad else Tone.INK))
        painter.setFont(look.font("figures", _FIGURES_PX))
        _right(painter, columns["least"][1], first, row.least)
        _right(painter, columns["margin"][1], first, row.margin)
        left, right = columns["verdict"]
        high_px = look.px(21)
        frame = QRectF(left, box.center().y() - high_px / 2, right - left, high_px)
        stamp(painter, frame, row.verdict, str(row.verdict), look, 11.5)


def _right(painter: QPainter, right: float, base: float, text: str) -> None:
    wide = painter.fontMetrics().horizontalAdvance(text)
    painter.drawText(QPointF(right - wide, base), text)


def _names(names: tuple[str, ...], painter: QPainter, room: float) -> str:
    """Return names joined by a dash, each shortened by as much as needed."""
    metrics = painter.fontMetrics()
    dash = " – "
    joined = dash.join(names)
    if metrics.horizontalAdvance(joined) <= room or len(names) < 2:
        return elided(joined, painter, room)
    room -= metrics.horizontalAdvance(dash) * (len(names) - 1)
    fair = room / len(names)
    short = [n for n in names if metrics.horizontalAdvance(n) <= fair]
    spare = sum(fair - metrics.horizontalAdvance(n) for n in short)
    each = fair + spare / max(1, len(names) - len(short))
    # Parts often begin alike and differ at the end.
    middle = Qt.TextElideMode.ElideMiddle
    return dash.join(n if n in short else metrics.elidedText(n, middle, int(each)) for n in names)
