"""The corner picture: the corner in space, drawn into the sheet as a second view."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt, QTimer
from PySide6.QtGui import (
    QColor,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget

from clearturn.drawing import Tone
from clearturn.result import Motion
from clearturn_app.views.camera import Camera
from clearturn_app.views.drawn_box import DrawnBox
from clearturn_app.views.handing_over import HandOver
from clearturn_app.views.panel import Panel
from clearturn_app.views.picture_asked import (
    asked,
    chosen_view,
    cut_plane,
    heading_words,
    turn_deg,
)
from clearturn_app.views.picture_marks import (
    paint_access,
    paint_ring,
    paint_turned,
    paint_witness,
)
from clearturn_app.views.picture_process import PictureProcess
from clearturn_app.views.touching import BAR_PX, TouchBar, paint_features, paint_seen
from clearturn_app.views.turn_rule import RULE_PX, TurnRule
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session

if TYPE_CHECKING:
    from clearturn.corner.sources import Source
    from clearturn.mesh import Mesh


_WHOLE_EYE = (0.62, 0.42, 0.85)
_NEAR_HALF_MM = 62.0
_STEPS, _STEP_MS = 7, 30
_REST_MS = 180
_STILL_PX = 4.0  # a press that moves by less is a touch


class CornerPicture(Panel):
    """Shows the picture its process draws, with what a draughtsman adds on top.

    Attributes
    ----------
    cut : bool
        Whether the corner is cut through the chosen gap.
    """

    def __init__(self, session: Session, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(session, look, parent)
        self.setAccessibleName("Corner picture")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.cut = True
        self.camera = Camera.looking((0, 0, 0), _WHOLE_EYE, (0, 1, 0), 260.0)
        self._bounds = np.array([[-230.0, -230.0, -150.0], [230.0, 230.0, 80.0]])
        self._image: QImage | None = None
        self._image_camera = self.camera
        self._image_key: object = None
        self._image_paper = ""
        self._trouble = ""
        self._scan_shown = ""
        self._moved = False
        self.hand_over = HandOver()
        self._grabbed: tuple[QPointF, Qt.MouseButton] | None = None
        self._way: list[Camera] = []
        self._clock = QTimer(self)
        self._clock.setInterval(_STEP_MS)
        self._clock.timeout.connect(self._on_way)
        # What moves is drawn thinned; once it has come to rest, whole.
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(_REST_MS)
        self._rest.timeout.connect(self._ask)
        self.process = PictureProcess(self)
        self.process.drawn.connect(self._on_drawn)
        self.process.taken.connect(self.hand_over.drop_before)
        self.process.failed.connect(self._on_failed)
        self.bar = TouchBar(session, look, self)
        self.rule = TurnRule(session, look, self)
        self.box = DrawnBox(session, self, self.go)
        self._lit = ""
        self._pressed = QPointF()
        session.result_changed.connect(self._take_result)
        session.work.changed.connect(self._take_result)
        session.work.touched_changed.connect(self._light)
        session.seen.changed.connect(self._light)
        session.turning.changed.connect(self._on_turned)
        session.turning.answered.connect(self.update)
        session.work.goal_changed.connect(self._on_goal)
        session.chosen_changed.connect(self.go_to_chosen)
        session.state_changed.connect(self.update)
        look.changed.connect(self._on_look)
        self._take_result()

    # -- the scene --------------------------------------------------------------------------

    def _take_result(self) -> None:
        source, result = self.session.work.source, self.session.result
        self._lit = ""
        if source is not None:
            self._show_scan(source)
            return
        self._scan_shown = ""
        if result is None or not result.parts:
            self._image = None
            self.update()
            return
        self.session.tasks.start(
            "hand over", lambda _progress: self.hand_over.result(result), done=self._on_handed,
            failed=self.session.trouble.emit,
        )  # fmt: skip
        lows = np.array([p.mesh.bounds[0] for p in result.parts if p.motion is not Motion.POSED])
        highs = np.array([p.mesh.bounds[1] for p in result.parts if p.motion is not Motion.POSED])
        if len(lows):
            self._bounds = np.array([lows.min(axis=0), highs.max(axis=0)])

    def _show_scan(self, source: Source) -> None:
        """Show a scan in its own pose; another one is looked at anew."""
        self.session.tasks.start(
            "hand over", lambda _progress: self.hand_over.scan(source), done=self._on_handed,
            failed=self.session.trouble.emit,
        )  # fmt: skip
        self._bounds = source.cleaned.bounds
        if self._scan_shown != source.scan.sha256:
            self._scan_shown = source.scan.sha256
            self._image = None
            self.show_whole()

    def _light(self) -> None:
        """Light up what was touched."""
        work, seen = self.session.work, self.session.seen
        source, faces, found = work.source, work.lit, seen.found
        if (faces is None or not len(faces)) if source is not None else found is None:
            self._lit = ""
            self.session.tasks.cancel("light")
            self._ask()
            self.update()
            return

        def surface() -> Mesh:
            if source is not None and faces is not None:
                return source.mesh.part(faces)
            assert found is not None
            return found.mesh

        def done(file: Path) -> None:
            if (work.source, work.lit, seen.found) == (source, faces, found):
                self._lit = str(file)
                self._ask()

        self.session.tasks.start(
            "light", lambda _progress: self.hand_over.lit(surface()), done=done,
            failed=self.session.trouble.emit,
        )  # fmt: skip
        self.update()

    def _on_look(self) -> None:
        """Drop a picture in the tones of the other sheet: the new one may take a while."""
        if self._image_paper != self.look.tone(Tone.PAPER).name():
            self._image = None
            self.update()
        self._ask()

    def _on_turned(self) -> None:
        self._rest.start()
        self._ask()
        self.update()

    def _on_goal(self) -> None:
        wanted = self.session.work.goal is not None
        self.setCursor(Qt.CursorShape.CrossCursor if wanted else Qt.CursorShape.ArrowCursor)
        if wanted:
            self.setFocus()
        if self.box.wanted:
            self.go(self.camera)
        self.update()

    def _on_handed(self, folder: Path) -> None:
        self.process.set_scene(folder)
        self._ask()

    def close_process(self) -> None:
        """End the process; called when the window closes."""
        self._clock.stop()
        self._rest.stop()
        self.process.close()

    def _on_failed(self, reason: str) -> None:
        self._trouble = reason
        self.update()

    # -- looking ----------------------------------------------------------------------------

    def go_to_chosen(self) -> None:
        """Turn the view to the chosen gap."""
        view, pair = chosen_view(self.session), self.session.chosen_pair
        if view is None or not self.cut or self.session.work.source is not None:
            self._ask()
            self.update()
            return
        half = _NEAR_HALF_MM
        if self.session.chosen_access is None and pair is not None:
            apart = pair.gap.second_point_mm - pair.gap.first_point_mm
            half = max(half, 1.2 * float(np.linalg.norm(apart)))
        self.go(Camera.looking(view.point, view.eye, view.up, half))

    def show_whole(self) -> None:
        """Look at the whole corner from outboard."""
        low, high = self._bounds
        half = 0.6 * float(np.linalg.norm(high - low)) / 1.35
        self.go(Camera.looking((low + high) / 2, _WHOLE_EYE, (0, 1, 0), half))

    def toggle_cut(self) -> None:
        """Cut the corner at the chosen gap, or show it whole."""
        self.cut = not self.cut
        if self.cut:
            self.go_to_chosen()
        else:
            self.show_whole()

    def fit(self) -> None:
        """Show the chosen gap again, or the whole corner."""
        on_bench = self.session.work.source is not None
        if self.cut and self.session.chosen_pair is not None and not on_bench:
            self.go_to_chosen()
        else:
            self.show_whole()

    def go(self, camera: Camera) -> None:
        """Move the view to another in a few steps; where a box is drawn, to the nearest square."""
        start = self.camera
        if self.box.wanted:
            camera = self.box.squared(camera)
        self._way = [start.towards(camera, (k + 1) / _STEPS) for k in range(_STEPS - 1)] + [camera]
        if not self.isVisible():
            self.camera, self._way = camera, []
            return
        self._clock.start()

    def _on_way(self) -> None:
        if not self._way:
            self._clock.stop()
            return
        self.camera = self._way.pop(0)
        self._ask()

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Take hold of the corner, or begin a box."""
        if self._way and self.box.wanted:
            self.camera = self._way[-1]  # only there it is square
            self._ask()
        if self._way:
            self._rest.start()
        self._way = []
        if self.box.press(event):
            return
        self._grabbed = (event.position(), event.button())
        self._pressed = event.position()
        self._moved = False

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Turn it, roll it with Ctrl, or move it with another button or with shift."""
        if self.box.dragging:
            self.box.move(event.position())
            return
        if self._grabbed is None:
            return
        if not self._moved and (event.position() - self._pressed).manhattanLength() < _STILL_PX:
            return
        self._moved = True
        step = event.position() - self._grabbed[0]
        turns = self._grabbed[1] == Qt.MouseButton.LeftButton and not (
            event.modifiers() & Qt.KeyboardModifier.ShiftModifier or self.box.wanted
        )
        if turns and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.camera = self.camera.rolled(step.x())
        elif turns:
            self.camera = self.camera.orbited(step.x(), step.y())
        else:
            self.camera = self.camera.moved(step.x(), step.y(), self.height())
        self._grabbed = (event.position(), self._grabbed[1])
        self._ask()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Let go; a click touches what is wanted, or reads the checked corner."""
        if self.box.dragging:
            self.box.release(self.camera, _STILL_PX)
            return
        touches = self._grabbed is not None and not self._moved
        if self._grabbed is not None and self._moved:
            self._rest.start()
        self._grabbed = None
        goal = self.session.work.goal
        if not touches or event.button() != Qt.MouseButton.LeftButton:
            return
        at, session = self._pressed, self.session
        sight = self.camera.sight_at(at.x(), at.y(), self.width(), self.height())
        if goal and goal.touches:
            session.work.touch(*sight)
        elif goal is None and session.work.source is None and session.result and self._image:
            cut = cut_plane(session, cut=self.cut)
            session.seen.touch(session.result, sight, turn_deg(session), cut)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Take what was touched with Return, end touching with Escape; turn a box's view."""
        wanted = self.session.work.goal is not None
        if self.box.dragging and event.key() == Qt.Key.Key_Escape:
            self.box.give_up()
        elif self.box.key(event.key(), self._way[-1] if self._way else self.camera):
            pass
        elif wanted and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.bar.take.click()
        elif wanted and event.key() == Qt.Key.Key_Escape:
            self.bar.end.click()
        else:
            super().keyPressEvent(event)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        """Look nearer or wider."""
        self._way = []
        self.camera = self.camera.magnified(1.0015 ** event.angleDelta().y())
        self._rest.start()
        self._ask()

    @property
    def is_moving(self) -> bool:
        """Whether the view, or the wheel in it, is being moved."""
        dragged = self._grabbed is not None and self._moved
        return dragged or bool(self._way) or self._rest.isActive()

    @property
    def is_settled(self) -> bool:
        """Whether the picture shown is that of the view as it stands."""
        return self._image is not None and not self.is_moving and self.process.is_idle

    @property
    def trouble(self) -> str:
        """Why there is no picture, if that is so."""
        return self._trouble

    # -- asking for pictures ----------------------------------------------------------------

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Ask for a picture of the other size."""
        high = round(self.look.px(BAR_PX))
        self.bar.setGeometry(0, self.height() - high, self.width(), high)
        foot = round(self.look.px(RULE_PX))
        self.rule.setGeometry(0, self.height() - foot, self.width(), foot)
        self._ask()

    def showEvent(self, event: object) -> None:  # noqa: N802, ARG002
        """Ask for a picture when it can be seen."""
        self._ask()

    def _ask(self) -> None:
        if self.session.result is None and self.session.work.source is None:
            return
        if self.width() < 8 or not self.isVisible():
            return
        size, ratio = (self.width(), self.height()), self.devicePixelRatioF()
        want = asked(self.session, self.look, self.camera, size, ratio, cut=self.cut)
        self.process.ask({**want, "lit": self._lit, "moving": self.is_moving})

    def _on_drawn(self, image: QImage, asked: dict[str, Any]) -> None:
        if asked.get("lit"):
            self.hand_over.drop_before(Path(asked["lit"]))
        paper = asked["colours"]["paper"]
        if paper != self.look.tone(Tone.PAPER).name():
            self._ask()  # begun before the sheet was switched, perhaps while it was not seen
            return
        self._image, self._image_paper = image, paper
        self._image_camera = Camera.looking(
            asked["centre"], asked["eye"], asked["up"], asked["half"]
        )
        self._image_key = asked["below"]
        self.update()

    # -- painting ---------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002
        """Lay the picture down and draw over it."""
        painter = self.painter()
        if self._image is not None:
            painter.drawImage(QRectF(self.rect()), self._image)
            if self.session.work.source is not None:
                size = (self.width(), self.height())
                paint_features(painter, self.look, self.session, self._image_camera, size)
                self.box.paint(painter, self.look, self._image_camera)
                self._paint_words(painter)
                return
            size = (self.width(), self.height())
            if self.session.seen.found is None:
                foot = self.rule.height() if self.rule.isVisible() else 0
                paint_ring(painter, self.look, self._image_camera, self.height() - foot)
            else:
                paint_seen(painter, self.look, self.session.seen, self._image_camera, size)
            pair, access = self.session.chosen_pair, self.session.chosen_access
            if access is not None:
                paint_access(painter, self.look, self._image_camera, access, size)
            elif pair is not None and self._image_key == self.session.chosen:
                turning = self.session.turning
                if turning.turn_deg is None:
                    paint_witness(painter, self.look, self._image_camera, pair, size)
                elif turning.found is not None:
                    paint_turned(painter, self.look, self._image_camera, turning.found, size)
        self._paint_words(painter)

    def _paint_words(self, painter: QPainter) -> None:
        look, shown = self.look, self.session.work.source
        words = heading_words(self.session, cut=self.cut, drawn=self._image is not None)
        if self._image is not None:
            band = QColor(look.tone(Tone.PAPER))
            band.setAlpha(225)
            painter.fillRect(QRectF(0, 0, self.width(), look.px(34)), band)
        self.heading(painter, "CORNER PICTURE", words)
        told = ""
        if self._trouble:
            told = f"There is no corner picture: {self._trouble}."
        elif self._image is None:
            told = "The picture is drawn when the parts are in their places."
            if self.session.result is not None or shown is not None:
                told = "The picture is being drawn."
        painter.setFont(look.font("text", 12))
        painter.setPen(look.tone(Tone.QUIET))
        box = QRectF(self.rect()).adjusted(look.px(20), 0, -look.px(20), 0)
        flags = int(Qt.AlignmentFlag.AlignCenter) | int(Qt.TextFlag.TextWordWrap)
        painter.drawText(box, flags, told)
