"""The sheet: border with zones, and the panels on it."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRect, QRectF, Qt, QTimer
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn_app.sheets.operations import OPERATIONS
from clearturn_app.sheets.slip import Slip, SlipPlace
from clearturn_app.views.clock_strip import ClockStrip
from clearturn_app.views.corner_picture import CornerPicture
from clearturn_app.views.gap_list import GapList
from clearturn_app.views.route_card import RouteCard
from clearturn_app.views.title_block import TitleBlock
from clearturn_app.views.turn_section import TurnSection
from clearturn_app.window.actions import ActionLine
from clearturn_app.window.look import Look
from clearturn_app.window.notes import Note
from clearturn_app.window.places import EDGE_PX, Places, places
from clearturn_app.window.session import Session

PLAIN_PX = (1280, 800)
_LEAST_PX = (1240, 700)  # of the plain sheet; below it the sheet scrolls under the window
_ROOM_SHARE = 0.45  # how much of a larger sheet goes into larger lettering, not more room
_REDRAW_MS = 200
VIEWS = ("both", "section", "picture")


class Sheet(QWidget):
    """Lays the panels out and draws border, zones and the lines between them.

    Attributes
    ----------
    swapped : bool
        Whether the corner picture has the large place.
    view : str
        "both", or the one view that has the whole sheet.
    """

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session, self.look = session, look
        self.swapped = False
        self.view = "both"
        self._places: Places | None = None
        self._before: tuple[str, SlipPlace | None] | None = None
        self.card = RouteCard(session, look, self)
        self.section = TurnSection(session, look, self)
        self.picture = CornerPicture(session, look, self)
        self.strip = ClockStrip(session, look, self)
        self.gaps = GapList(session, look, self)
        self.title = TitleBlock(session, look, self)
        self.actions = ActionLine(session, look, self)
        self.slip = Slip(session, look, self)
        self.note = Note(look, self)
        self._redraw = QTimer(self)
        self._redraw.setSingleShot(True)
        self._redraw.setInterval(_REDRAW_MS)
        self._redraw.timeout.connect(self._size_drawings)
        self.card.opened.connect(self.open_slip)
        self.gaps.hub_chosen.connect(lambda: self.open_slip(_index_of(70), fold=False))
        self.title.names_asked.connect(lambda: self.open_slip(_index_of(100), fold=False))
        self.slip.folded.connect(lambda: self.card.set_open(None))
        self.note.resized.connect(self._place_note)
        look.changed.connect(self._lay_out)

    # -- what is shown ----------------------------------------------------------------------

    def swap(self) -> None:
        """Let section and picture change places."""
        self.swapped = not self.swapped
        if self.view != "both":
            self.view = "picture" if self.view == "section" else "section"
        self._lay_out()

    def next_view(self) -> None:
        """Give the whole sheet to one view, then the other, then share it again."""
        self.show_view(VIEWS[(VIEWS.index(self.view) + 1) % len(VIEWS)])

    def show_view(self, view: str) -> None:
        """Show both views, or "section" or "picture" on the whole sheet."""
        self.view = view if view in VIEWS else "both"
        self._lay_out()

    def look_closely(self, on: bool) -> None:
        """Give the picture the whole sheet for touching; bring back what was there after it."""
        if on:
            if self._before is None:
                self._before = (self.view, self.slip.place() if self.slip.isVisible() else None)
            self.slip.fold()
            self.show_view("picture")
            self.picture.setFocus()
        elif self._before is not None:
            (view, place), self._before = self._before, None
            self.show_view(view)
            if place is not None:
                self.open_slip(place.index, fold=False, place=place)

    def open_slip(self, index: int, *, fold: bool = True, place: SlipPlace | None = None) -> None:
        """Unfold the slip of an operation, at a place of it if one is given; fold an open one."""
        if self.slip.isVisible() and self.slip.index == index:
            if fold:
                self.slip.fold()
            return
        self.slip.unfold(index, place)
        self.card.set_open(index)
        self._place_slip()

    # -- layout -----------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802, ARG002
        """Lay out anew."""
        self._lay_out()

    def _lay_out(self) -> None:
        zoom = self.look.zoom
        self.setMinimumSize(round(_LEAST_PX[0] * zoom), round(_LEAST_PX[1] * zoom))
        fit = min(self.width() / PLAIN_PX[0], self.height() / PLAIN_PX[1]) / zoom
        room = max(1.0, 1.0 + _ROOM_SHARE * (fit - 1.0))
        if abs(room - self.look.room) > 1e-6:
            self.look.room = room
            self.look.changed.emit()  # comes back here with the room settled
            return
        found = places(self.width(), self.height(), self.look, full=self.view != "both")
        self._places = found
        picture_large = self.view == "picture" or (self.view == "both" and self.swapped)
        large, small = self.section, self.picture
        if picture_large:
            large, small = self.picture, self.section
        for panel, box in (
            (self.card, found.card), (large, found.large), (small, found.small),
            (self.strip, found.strip), (self.gaps, found.gaps), (self.title, found.title),
            (self.actions, found.actions),
        ):  # fmt: skip
            panel.setVisible(not box.isEmpty())
            if not box.isEmpty():
                panel.setGeometry(box.adjusted(1, 1, 0, 0))
        self._place_slip()
        self._place_note()
        self._redraw.start()
        self.update()

    def _size_drawings(self) -> None:
        self.session.set_unit(self.look.unit)
        if self.section.isVisible():
            self.session.set_section_size(self.section.paper_size(), self.section.dimensions)
        if self.strip.isVisible():
            self.session.set_strip_size(self.strip.paper_size())

    def _place_slip(self) -> None:
        if self._places is None or not self.slip.isVisible():
            return
        large, frame = self._places.large, self._places.frame
        wide = min(round(self.look.px(560)), frame.width())
        cell = self.card.cell(self.slip.index)
        left = frame.left() + round(cell.left())
        # It lies over the large view; the picture beside it stays to be seen.
        most = max(large.left(), large.right() + 1 - wide)
        left = min(left, most)
        seen = self._seen()  # less than the sheet where large lettering makes it scroll
        left = max(large.left(), min(left, seen.right() + 1 - wide))
        self.slip.setGeometry(QRect(left, large.top(), wide, large.height()))
        self.slip.raise_()
        self.note.raise_()  # it asks or tells something; its words must stay in reach

    def _seen(self) -> QRect:
        """Return the part of the sheet that its window shows."""
        under = self.parentWidget()
        if under is None:
            return self.rect()
        return QRect(-self.pos(), under.size()).intersected(self.rect())

    def keep_seen(self) -> None:
        """Put the note where it is seen, when the sheet was scrolled."""
        self._place_note()

    def _place_note(self) -> None:
        if self._places is None or not self.note.isVisible():
            return
        large, seen = self._places.large, self._seen()
        if not seen.contains(large):
            large = seen
        wide = min(round(self.look.px(720)), large.width() - round(self.look.px(40)))
        high = self.note.height_for(wide)
        gap = round(self.look.px(42))  # scale bar and legend stay to be read below it
        left = large.left() + (large.width() - wide) // 2
        self.note.setGeometry(QRect(left, large.bottom() - high - gap, wide, high))
        self.note.raise_()

    # -- the paper --------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Draw table, paper, border, zones and the lines between the panels."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        look = self.look
        painter.fillRect(self.rect(), look.tone(Tone.PAPER))
        if self._places is None:
            return
        frame = QRectF(self._places.frame)
        edge = look.px(EDGE_PX)
        outer = frame.adjusted(-edge * 0.62, -edge * 0.62, edge * 0.62, edge * 0.62)
        painter.setPen(QPen(look.tone(Tone.INK), look.px(0.7)))
        painter.drawRect(outer)
        self._paint_zones(painter, frame, outer)
        painter.setPen(QPen(look.tone(Tone.INK), look.px(1.6)))
        painter.drawRect(frame)
        painter.setPen(QPen(look.tone(Tone.INK), look.px(1.6)))
        self._paint_lines(painter)

    def _paint_zones(self, painter: QPainter, frame: QRectF, outer: QRectF) -> None:
        look = self.look
        painter.setFont(look.font("figures", 11))
        middle = (frame.top() - outer.top()) / 2
        for n in range(8):
            low = frame.left() + frame.width() * n / 8
            for top, bottom in ((outer.top(), frame.top()), (frame.bottom(), outer.bottom())):
                painter.setPen(QPen(look.tone(Tone.INK), look.px(0.7)))
                if n:
                    painter.drawLine(QPointF(low, top), QPointF(low, bottom))
                painter.setPen(look.tone(Tone.QUIET))
                box = QRectF(low, top, frame.width() / 8, 2 * middle)
                painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), str(n + 1))
        for n, letter in enumerate("ABCDEF"):
            low = frame.top() + frame.height() * n / 6
            for left, right in ((outer.left(), frame.left()), (frame.right(), outer.right())):
                painter.setPen(QPen(look.tone(Tone.INK), look.px(0.7)))
                if n:
                    painter.drawLine(QPointF(left, low), QPointF(right, low))
                painter.setPen(look.tone(Tone.QUIET))
                box = QRectF(left, low, 2 * middle, frame.height() / 6)
                painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), letter)

    def _paint_lines(self, painter: QPainter) -> None:
        found = self._places
        assert found is not None
        for box in (found.card, found.large, found.strip, found.small, found.gaps, found.title,
                    found.actions):  # fmt: skip
            if not box.isEmpty():
                painter.drawLine(QPointF(box.left(), box.top()),
                                 QPointF(box.right() + 1, box.top()))  # fmt: skip
        if not found.small.isEmpty():
            x = found.small.left()
            painter.drawLine(QPointF(x, found.small.top()), QPointF(x, found.frame.bottom() + 1))


def _index_of(number: int) -> int:
    return next(i for i, operation in enumerate(OPERATIONS) if operation.number == number)
