"""The turn section on the sheet: magnified, moved, read off; parts are moved in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPixmap, QWheelEvent
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Dimension, Tone
from clearturn_app.views.moved_parts import MovedParts
from clearturn_app.views.paint import PaintedDrawing, Window
from clearturn_app.views.panel import Panel
from clearturn_app.window.look import Look
from clearturn_app.window.moving import Moving
from clearturn_app.window.session import MOST_DIMENSIONS, Session, State

if TYPE_CHECKING:
    from clearturn.trial import Freedom


PX_PER_MM = 4.45  # of the paper, on the plain sheet
_MOST = 40.0
_NEAR_PX = 14.0
_ROOM_PX = 330.0
_HOLD_PX = 4.0  # how near an outline counts as on it
_READ_MM = 40.0
_STEPS_BACK = 0.4  # how much of the drawing is seen under what is moved
_STEPS_MM = {False: (0.1, 0.01), True: (0.127, 0.0127)}  # plain and magnified; 0.005 and 0.0005 in
_FINE_PX_PER_MM = 6.0


class TurnSection(Panel):
    """Paints the section; the wheel magnifies, dragging moves, the pointer reads r and z.

    A part that can really be moved is dragged along its freedom; everywhere else, and with another
    button, dragging moves the paper.
    """

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Turn section")
        self._painted: PaintedDrawing | None = None
        self._zoom = 1.0
        self._shift = QPointF(0, 0)
        self._grabbed: QPointF | None = None
        self._moved = False
        self._pointer: QPointF | None = None
        self._picture: QPixmap | None = None
        self.moving = Moving(session, self)
        self._moved_parts = MovedParts(self.moving, look)
        self._hold: tuple[Freedom, float] | None = None
        self._start = QPointF()
        self.moving.changed.connect(self.update)
        session.drawing_changed.connect(self._take)
        session.chosen_changed.connect(self.update)
        session.state_changed.connect(self.update)
        look.changed.connect(self._redraw)
        self._take()

    def _take(self) -> None:
        drawing = self.session.drawing
        self._painted = PaintedDrawing(drawing) if drawing is not None else None
        self._redraw()

    def _redraw(self) -> None:
        self._picture = None
        self.update()

    def paper_size(self) -> tuple[float, float]:
        """Return the paper that fits this view at the lettering's size, mm."""
        scale = self.look.px(PX_PER_MM)
        if self.is_small:  # outlines only: letters would be too small to read
            scale = min(self.width() / 120.0, self.height() / 78.0)
        return (round(max(self.width() / scale, 110.0)), round(max(self.height() / scale, 70.0)))

    @property
    def is_small(self) -> bool:
        """Whether there is no room for dimensions, only for outlines."""
        return self.height() < self.look.px(_ROOM_PX)

    @property
    def dimensions(self) -> int:
        """How many gaps there is room to dimension."""
        return 0 if self.is_small else MOST_DIMENSIONS

    def window(self) -> Window:  # type: ignore[override]
        """Return where the paper lies in this view."""
        drawing = self.session.drawing
        x0, y0, x1, y1 = drawing.bounds if drawing else (0.0, 0.0, 100.0, 60.0)
        base = min(self.width() / max(1e-6, x1 - x0), self.height() / max(1e-6, y1 - y0))
        scale = base * self._zoom
        left = (self.width() - base * (x1 - x0)) / 2 - base * x0
        foot = (self.height() + base * (y1 - y0)) / 2 + base * y0
        return Window(scale, left + self._shift.x(), foot + self._shift.y(), base)

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Draw anew for the other size."""
        self._redraw()

    # -- magnifying and moving --------------------------------------------------------------

    @property
    def zoom(self) -> float:
        """How much the drawing is magnified; 1 shows it whole."""
        return self._zoom

    def magnify(self, factor: float, at: QPointF) -> None:
        """Magnify about a place of the view that stays where it is."""
        before = self.window().to_paper(at)
        self._zoom = min(max(self._zoom * factor, 1.0), _MOST)
        if self._zoom == 1.0:
            self._shift = QPointF(0, 0)
        else:
            self._shift += at - self.window().to_px(*before)
        self._redraw()

    def fit(self) -> None:
        """Show the whole drawing."""
        self._zoom, self._shift = 1.0, QPointF(0, 0)
        self._redraw()

    def look_at_chosen(self) -> None:
        """Magnify the place of the chosen gap."""
        place = self._chosen_place()
        if place is None:
            return
        self._zoom = 5.0
        self._shift = QPointF(0, 0)
        self._shift = QPointF(self.width() / 2, self.height() / 2) - self.window().to_px(*place[:2])
        self._redraw()

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Magnify about the pointer."""
        self.magnify(1.0015 ** event.angleDelta().y(), event.position())

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Take hold of the part under the pointer, or else of the paper."""
        self._grabbed, self._moved = event.position(), False
        self._start = event.position()
        freedom = self._freedom_at(event.position())
        is_plain = event.button() == Qt.MouseButton.LeftButton
        self._hold = (freedom, 0.0) if freedom is not None and is_plain else None

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Move the part or the paper, or read the place under the pointer."""
        self._pointer = event.position()
        if self._grabbed is None:
            self._show_hold(self._freedom_at(event.position()))
        elif self._moved or (event.position() - self._grabbed).manhattanLength() > 3:
            if self._hold is not None:
                self._drag(*self._hold, event.position())
            else:
                self._shift += event.position() - self._grabbed
                self._grabbed = event.position()
                self._picture = None
            self._moved = True
        self.update()

    def _drag(self, freedom: Freedom, before: float, at: QPointF) -> None:
        moving = self.moving
        if not self._moved:
            before = moving.take(freedom)
            self._hold = (freedom, before)
        elif not moving.held:
            return  # put back by Escape while the button was still down
        step = at - self._start
        way = step.x() if freedom.along == "z" else -step.y()
        moving.move_to(before + way / self._px_per_mm(), self.step_mm)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Let go; a click on a dimension chooses its gap."""
        if self._grabbed is not None and not self._moved:
            self._choose_at(event.position())
        elif self._hold is not None:
            self.moving.let_go()
        self._grabbed = self._hold = None

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Magnify there, or show the whole again."""
        if self._zoom > 1.01:
            self.fit()
        else:
            self.magnify(4.0, event.position())

    def leaveEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Read nothing any more."""
        self._pointer = None
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Move with the arrows: what is held, or else the paper."""
        if event.key() == Qt.Key.Key_M:
            self.moving.take_next()
            return
        if self.moving.held and self._key_moves(event):
            return
        step = self.look.px(40)
        moves = {
            Qt.Key.Key_Left: (step, 0), Qt.Key.Key_Right: (-step, 0),
            Qt.Key.Key_Up: (0, step), Qt.Key.Key_Down: (0, -step),
        }  # fmt: skip
        move = moves.get(Qt.Key(event.key()))
        if move is None:
            super().keyPressEvent(event)
            return
        self._shift += QPointF(*move)
        self._redraw()

    def _key_moves(self, event: QKeyEvent) -> bool:
        moving = self.moving
        along = moving.freedom.along if moving.freedom is not None else "z"
        ways = {
            "z": {Qt.Key.Key_Right: 1, Qt.Key.Key_Left: -1},
            "r": {Qt.Key.Key_Up: 1, Qt.Key.Key_Down: -1},
        }
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            moving.let_go()
        elif event.key() == Qt.Key.Key_Escape:
            moving.give_up()
        elif Qt.Key(event.key()) in ways[along]:
            large = event.modifiers() & Qt.KeyboardModifier.ShiftModifier
            step = self.step_mm * (10 if large else 1)
            moving.move_to(moving.by_mm + ways[along][Qt.Key(event.key())] * step, self.step_mm)
        else:
            return False
        return True

    @property
    def step_mm(self) -> float:
        """The step in which parts move; finer where the drawing is magnified."""
        plain, fine = _STEPS_MM[self.look.inch]
        return fine if self._px_per_mm() >= self.look.px(_FINE_PX_PER_MM) else plain

    def _px_per_mm(self) -> float:
        drawing = self.session.drawing
        return self.window().scale * (drawing.scale if drawing is not None else 1.0)

    def _freedom_at(self, at: QPointF) -> Freedom | None:
        place = self.place_at(at)
        if place is None or self.is_small:
            return None
        return self.moving.at(place[1], place[0], self.look.px(_HOLD_PX) / self._px_per_mm())

    def _show_hold(self, freedom: Freedom | None) -> None:
        shapes = {"z": Qt.CursorShape.SizeHorCursor, "r": Qt.CursorShape.SizeVerCursor}
        self.setCursor(shapes[freedom.along] if freedom is not None else Qt.CursorShape.ArrowCursor)

    def _choose_at(self, at: QPointF) -> None:
        from clearturn.drawing import pair_words

        drawing, result = self.session.drawing, self.session.result
        if drawing is None or result is None:
            return
        window = self.window()
        best: tuple[float, str] | None = None
        for mark in drawing.marks:
            if not isinstance(mark, Dimension) or not mark.notes:
                continue
            shelf = window.to_px(mark.elbow[0] + mark.shelf_mm / 2, mark.elbow[1])
            ends = [window.to_px(*mark.first), window.to_px(*mark.second), shelf]
            far = min((end - at).manhattanLength() for end in ends)
            far = min(far, 0.0 if self._label_box(window, mark).contains(at) else far)
            if best is None or far < best[0]:
                best = (far, mark.notes[0])
        if best is None or best[0] > self.look.px(_NEAR_PX):
            return
        for index, pair in enumerate(result.pairs):
            if pair_words(pair.first, pair.second) == best[1]:
                self.session.choose(index)
                return

    def _label_box(self, window: Window, mark: Dimension) -> QRectF:
        start = window.to_px(*mark.elbow)
        wide = abs(mark.shelf_mm) * window.scale
        left = start.x() if mark.shelf_mm >= 0 else start.x() - wide
        up = 4.5 * window.lettering
        return QRectF(left, start.y() - up, wide, up + 10.5 * window.lettering)

    # -- reading ----------------------------------------------------------------------------

    def place_at(self, at: QPointF) -> tuple[float, float] | None:
        """Return (r, z) of the place seen at a pixel, mm, or None where there is none."""
        drawing = self.session.drawing
        if drawing is None:
            return None
        z, r = drawing.to_part(*self.window().to_paper(at))
        return (max(r, 0.0), z) if r > -1e-6 else None

    def _chosen_place(self) -> tuple[float, float, float] | None:
        """Middle of the chosen gap on the paper, and its length there, mm."""
        pair, drawing = self.session.chosen_pair, self.session.drawing
        access = self.session.chosen_access
        if drawing is not None and access is not None:
            if access.r_mm is None or access.z_mm is None:
                return None
            return (*drawing.to_paper(access.z_mm, access.r_mm), 0.0)
        if pair is None or drawing is None:
            return None
        gap = pair.gap
        ends = []
        for rz, point in ((gap.first_rz_mm, gap.first_point_mm),
                          (gap.second_rz_mm, gap.second_point_mm)):  # fmt: skip
            r, z = (rz[0], rz[1]) if rz is not None else (np.hypot(point[0], point[1]), point[2])
            ends.append(drawing.to_paper(float(z), float(r)))
        (x0, y0), (x1, y1) = ends
        return (x0 + x1) / 2, (y0 + y1) / 2, float(np.hypot(x1 - x0, y1 - y0))

    # -- painting ---------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Paint drawing, ring around the chosen gap and read-out."""
        painter = self.painter()
        if self._painted is None:
            self._paint_empty(painter)
            return
        if self._picture is None:
            self._picture = self._drawn(self._painted)
        painter.setOpacity(1.0 if self.moving.freedom is None else _STEPS_BACK)
        painter.drawPixmap(0, 0, self._picture)
        painter.setOpacity(1.0)
        if self.is_small:
            self.heading(painter, "TURN SECTION", "r against z")
        if self.moving.freedom is None:
            self._paint_chosen(painter)
        drawing = self.session.drawing
        if drawing is not None:
            self._moved_parts.paint(painter, self.window(), drawing, QRectF(self.rect()))
        if self.moving.freedom is None and not self.session.is_current:
            self._paint_remark(painter, "drawn before the last change")
        if self._pointer is not None and self._grabbed is None:
            self._paint_reading(painter, self._pointer)

    def _drawn(self, painted: PaintedDrawing) -> QPixmap:
        ratio = self.devicePixelRatioF()
        picture = QPixmap(int(self.width() * ratio), int(self.height() * ratio))
        picture.setDevicePixelRatio(ratio)
        picture.fill(self.look.tone(Tone.PAPER))
        painter = QPainter(picture)
        painted.paint(painter, self.window(), self.look, outlines_only=self.is_small)
        painter.end()
        return picture

    def _paint_empty(self, painter: QPainter) -> None:
        look, session = self.look, self.session
        self.heading(painter, "TURN SECTION", "r against z, full turn of the hub")
        told = {
            State.CHECKING: "The section is drawn when the parts are in their places.",
            State.STOPPED: "The check was stopped before the parts were in their places.",
            State.CURRENT: "There is no pair of parts to draw yet.",
        }
        if session.result is not None and session.result.pairs and session.is_current:
            told[State.CURRENT] = "The section is being drawn."
        painter.setFont(look.font("text", 12))
        painter.setPen(look.tone(Tone.QUIET))
        text = told.get(session.state, "Nothing to draw until the job can be checked.")
        painter.drawText(self.rect(), int(Qt.AlignmentFlag.AlignCenter), text)

    def _paint_chosen(self, painter: QPainter) -> None:
        place = self._chosen_place()
        if place is None:
            return
        look, window = self.look, self.window()
        radius = max(look.px(13), place[2] * window.scale / 2 + look.px(7))
        pen = QPen(look.tone(Tone.INK), look.px(1.4))
        pen.setDashPattern([6.0, 2.0, 1.0, 2.0])
        painter.setPen(pen)
        painter.drawEllipse(window.to_px(place[0], place[1]), radius, radius)

    def _paint_remark(self, painter: QPainter, words: str) -> None:
        look = self.look
        painter.setFont(look.font("text", 11.5))
        wide = painter.fontMetrics().horizontalAdvance(words) + look.px(20)
        box = QRectF(self.width() - wide - look.px(12), look.px(8), wide, look.px(23))
        painter.fillRect(box, look.tone(Tone.PAPER))
        pen = QPen(look.tone(Tone.INK), look.px(1.0))
        pen.setDashPattern([4.0, 3.0])
        painter.setPen(pen)
        painter.drawRect(box)
        painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), words)

    def _paint_reading(self, painter: QPainter, at: QPointF) -> None:
        place = self.place_at(at)
        if place is None:
            return
        look = self.look
        painter.setPen(QPen(look.tone(Tone.QUIET), 0.8))
        painter.drawLine(QPointF(at.x(), 0), QPointF(at.x(), self.height()))
        painter.drawLine(QPointF(0, at.y()), QPointF(self.width(), at.y()))
        words = f"r {look.length(place[0], 1)}   z {look.length(place[1], 1)} {look.unit}"
        freedom = self._freedom_at(at)
        words += self._gap_words(place) if freedom is None else f"   drag: {freedom.name}"
        painter.setFont(look.font("figures", 14))
        metrics = painter.fontMetrics()
        wide, high = metrics.horizontalAdvance(words) + look.px(12), metrics.height() + look.px(4)
        x, y = at.x() + look.px(10), at.y() - high - look.px(6)
        x = x if x + wide < self.width() else at.x() - wide - look.px(10)
        y = y if y > 0 else at.y() + look.px(10)
        box = QRectF(x, y, wide, high)
        painter.fillRect(box, look.tone(Tone.PAPER))
        painter.setPen(QPen(look.tone(Tone.INK), 0.8))
        painter.drawRect(box)
        painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), words)

    def _gap_words(self, place: tuple[float, float]) -> str:
        from clearturn.trial import gap_there

        result = self.session.result
        if result is None or self.session.drawing is None or self.is_small:
            return ""
        found = gap_there(result.parts, place[1], place[0], _READ_MM)
        return "" if found is None else f"   gap {self.look.length(found.gap_mm, 1)}"
