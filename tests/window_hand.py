"""A hand for the window's tests: clicks, keys and drags as a user makes them, and counts them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QFileDialog, QWidget

from clearturn.datum.grow import surface
from clearturn.scan.ray import first_hit

LEFT = Qt.MouseButton.LeftButton
LONG_MS = 400_000  # with everything else on the machine at work


class Hand:
    """Works one window.

    Attributes
    ----------
    clicks, keys, drags : int
        What was done so far; a value written counts as one key action.
    """

    def __init__(self, window, qtbot, monkeypatch) -> None:
        self.window, self.qtbot, self.patch = window, qtbot, monkeypatch
        self.clicks = self.keys = self.drags = 0

    @property
    def slip(self):
        return self.window.sheet.slip

    @property
    def picture(self):
        return self.window.sheet.picture

    @property
    def corner(self):
        return self.window.document.job.axles[0].corner

    def step(self, name: str) -> None:
        """A place to look at the window; overridden where pictures are taken."""

    def wait(self, ready) -> None:
        self.qtbot.waitUntil(ready, timeout=LONG_MS)

    def settle(self) -> None:
        """Wait until nothing runs that the title block tells of, and the slip is up to date."""
        QTest.qWait(30)
        self.wait(lambda: self.window.tasks.shown is None)
        QTest.qWait(30)

    # -- clicks and keys ----------------------------------------------------------------------

    def click(self, widget: QWidget, at: QPoint | None = None) -> None:
        self.clicks += 1
        QTest.mouseClick(widget, LEFT, Qt.KeyboardModifier.NoModifier, at or widget.rect().center())

    def key(self, key: Qt.Key) -> None:
        self.keys += 1
        QTest.keyClick(self.window.focusWidget() or self.window, key)

    def operation(self, index: int) -> None:
        """Unfold an operation's slip by a click on the route card."""
        if self.slip.isVisible() and self.slip.index == index:
            return
        card = self.window.sheet.card
        self.click(card, card.cell(index).center().toPoint())
        assert self.slip.isVisible()
        QTest.qWait(30)

    def deed(self, name: str) -> None:
        """Click a word of the slip."""
        for title in list(self.slip._heads):
            if name in self.slip.deeds:
                break
            if not self.slip._open[self.slip._known_as[title]]:
                self.click(self.slip._heads[title])
                QTest.qWait(10)
        word = self.slip.deeds[name]
        self.slip._area.ensureWidgetVisible(word)
        self.click(word)
        QTest.qWait(30)

    def fill(self, deed: str, values: dict[str, str]) -> None:
        """Write into a form, place by place, and touch its word."""
        for title in list(self.slip._heads):
            if deed in self.slip.forms:
                break
            if not self.slip._open[self.slip._known_as[title]]:
                self.click(self.slip._heads[title])
                QTest.qWait(10)
        form = self.slip.forms[deed]
        for label, text in values.items():
            self.write(form.editors[label], text)
        self.slip._area.ensureWidgetVisible(form.word)
        self.click(form.word)
        QTest.qWait(50)

    def write(self, editor: QWidget, text: str) -> None:
        self.keys += 1
        self.slip._area.ensureWidgetVisible(editor)
        if isinstance(editor, QComboBox):
            # By the arrow keys: what is typed is taken for the beginning of a word, no more.
            editor.setFocus()
            QTest.keyClick(editor, Qt.Key.Key_Home)
            for _ in range(editor.count()):
                if editor.currentText() == text:
                    return
                QTest.keyClick(editor, Qt.Key.Key_Down)
            assert editor.currentText() == text
            return
        QTest.mouseClick(editor, LEFT)
        editor.selectAll()
        QTest.keyClicks(editor, text)

    def set_number(self, label: str, text: str) -> None:
        """Change a number that stands in a slip already."""
        self.write(self.slip.rows[label].editor, text)
        QTest.keyClick(self.slip.rows[label].editor, Qt.Key.Key_Return)
        QTest.qWait(30)

    def choose_files(self, deed: str, *files: Path) -> None:
        """Answer the dialog that asks for files; the dialog itself is the system's."""
        names = [str(file) for file in files]
        self.patch.setattr(QFileDialog, "getOpenFileNames", lambda *_a, **_k: (names, ""))
        self.patch.setattr(QFileDialog, "getOpenFileName", lambda *_a, **_k: (names[0], ""))
        self.deed(deed)
        self.clicks += 1
        self.settle()

    # -- the picture --------------------------------------------------------------------------

    def touch(self, seed) -> None:
        """Turn the scan until a place is seen, and click on it."""
        picture, work = self.picture, self.window.session.work
        self.wait(lambda: picture.is_settled and work.source is not None)
        source = work.source
        eye = _seen_from(source, np.asarray(seed, float), picture.camera.eye)
        self.turn_to(eye)
        x, y = picture.camera.seen_at(seed, picture.width(), picture.height())
        self.click(picture, QPoint(round(x), round(y)))
        QTest.qWait(30)
        self.wait(lambda: not self.window.tasks.running("touch"))
        QTest.qWait(30)

    def turn_to(self, eye) -> None:
        """Drag once so that the picture is looked at from a direction."""
        camera = self.picture.camera
        right, up, ahead = (float(eye @ way) for way in (camera.right, camera.up, camera.eye))
        if ahead > 0.9999:
            return
        across = -math.degrees(math.atan2(right, ahead)) / 0.4
        down = -math.degrees(math.asin(max(-1.0, min(1.0, -up)))) / 0.4
        self.drag(QPoint(round(across), round(down)))

    def drag(self, way: QPoint, modifier=Qt.KeyboardModifier.NoModifier) -> None:
        self.drags += 1
        start = self.picture.rect().center()
        QTest.mousePress(self.picture, LEFT, modifier, start)
        move = QMouseEvent(
            QEvent.Type.MouseMove, QPointF(start + way),
            self.picture.mapToGlobal(QPointF(start + way)), Qt.MouseButton.NoButton, LEFT, modifier,
        )  # fmt: skip
        QApplication.sendEvent(self.picture, move)  # QTest's own moves know no modifier
        QTest.mouseRelease(self.picture, LEFT, modifier, start + way)
        QTest.qWait(30)

    def take(self) -> None:
        """Take what was touched."""
        self.key(Qt.Key.Key_Return)
        QTest.qWait(60)
        self.settle()


def _seen_from(source, seed, now):
    """Return a direction from which nothing lies before a place, near where one looks from."""
    centres = surface(source.mesh).centres
    kept = np.flatnonzero(source.kept)
    face = int(kept[np.argmin(((centres[kept] - seed) ** 2).sum(axis=1))])
    normal = surface(source.mesh).smooth[face]
    normal = normal / np.linalg.norm(normal)
    rng = np.random.default_rng(5)
    tries = rng.normal(size=(400, 3))
    tries /= np.linalg.norm(tries, axis=1)[:, None]
    # Within 60° of the normal, the nearest to where one looks from first.
    tries = np.concatenate([[now], tries[tries @ normal > 0.5], [normal]])
    tries = tries[tries @ normal > 0.4]
    for eye in tries[np.argsort(-(tries @ now))]:
        hit = first_hit(source.mesh, seed + 2000.0 * eye, -eye, source.kept)
        if hit is not None and np.linalg.norm(hit.point_mm - seed) < 1.0:
            return eye
    raise AssertionError("the place is seen from nowhere")
