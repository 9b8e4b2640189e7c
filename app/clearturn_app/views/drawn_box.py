"""Draw a box over the scan in the corner picture: by dragging, or by keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QMouseEvent, QPainter, QPen
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn_app.views.camera import Camera
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session

if TYPE_CHECKING:
    from clearturn.corner.boxed import Side

_SIDES: dict[Qt.Key, Side] = {
    Qt.Key.Key_Right: "right", Qt.Key.Key_Left: "left",
    Qt.Key.Key_Up: "above", Qt.Key.Key_Down: "below",
}  # fmt: skip
_MIDDLE = (0.25, 0.75)  # what the space key takes of the picture, both ways


class DrawnBox:
    """Takes the mouse and the keys while a box is wanted.

    Parameters
    ----------
    session : Session
    view : QWidget
        The picture.
    go : callable
        Turns the picture to another view.
    """

    def __init__(self, session: Session, view: QWidget, go: Callable[[Camera], None]) -> None:
        self._session, self._view, self._go = session, view, go
        self._from: QPointF | None = None
        self._to = QPointF()

    @property
    def wanted(self) -> bool:
        """Whether a box is to be drawn."""
        goal = self._session.work.goal
        return goal is not None and goal.box and self._session.work.is_ready

    @property
    def dragging(self) -> bool:
        """Whether one is being drawn."""
        return self._from is not None

    def squared(self, camera: Camera) -> Camera:
        """Return the nearest view on which a rectangle is a box."""
        from clearturn.corner.boxed import square_view

        return Camera.looking(camera.centre, *square_view(camera.eye, camera.up), camera.half_mm)

    def press(self, event: QMouseEvent) -> bool:
        """Begin a rectangle; return whether one was begun."""
        shift = event.modifiers() & Qt.KeyboardModifier.ShiftModifier
        if not self.wanted or event.button() != Qt.MouseButton.LeftButton or shift:
            return False
        self._from = self._to = event.position()
        return True

    def move(self, at: QPointF) -> None:
        """Draw the rectangle to a place."""
        self._to = at
        self._view.update()

    def release(self, camera: Camera, least_px: float) -> None:
        """Take the rectangle drawn, if it has a size."""
        start, self._from = self._from, None
        if start is None or not self.wanted:
            return
        way = self._to - start
        if min(abs(way.x()), abs(way.y())) >= least_px:
            self._draw(camera, start, self._to)
        self._view.update()

    def give_up(self) -> None:
        """Draw no more, though the button is still down."""
        self._from = None
        self._view.update()

    def key(self, key: int, camera: Camera) -> bool:
        """Turn to another side, or lay a box in the middle; return whether the key does that."""
        from clearturn.corner.boxed import view_from

        if not self.wanted:
            return False
        if key == Qt.Key.Key_Space:
            low, high = (QPointF(self._view.width() * part, self._view.height() * part)
                         for part in _MIDDLE)  # fmt: skip
            self._draw(camera, low, high)
            return True
        if key not in _SIDES:
            return False
        view = view_from(camera.eye, camera.up, _SIDES[Qt.Key(key)])
        self._go(Camera.looking(camera.centre, *view, camera.half_mm))
        return True

    def _draw(self, camera: Camera, first: QPointF, second: QPointF) -> None:
        work = self._session.work
        if work.source is None:
            return
        size = (self._view.width(), self._view.height())
        corners = np.array([camera.sight_at(p.x(), p.y(), *size)[0] for p in (first, second)])
        work.boxing.draw(work.source, camera.eye, corners)

    def paint(self, painter: QPainter, look: Look, camera: Camera) -> None:
        """Draw the edges of the box, or the rectangle under way."""
        from clearturn.corner.boxed import box_edges

        pen = QPen(look.tone(Tone.INK), look.px(1.4))
        pen.setDashPattern([5.0, 3.0])
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        step = self._session.work.boxing.step
        if self._from is not None:
            painter.drawRect(QRectF(self._from, self._to).normalized())
        elif self.wanted and step is not None:
            size = (self._view.width(), self._view.height())
            for edge in box_edges(step):
                first, second = (QPointF(*camera.seen_at(end, *size)) for end in edge)
                painter.drawLine(first, second)
