"""A box drawn over a scan in the picture: what it would take, taking it, and leaving it be.

Sizes and counts are those of the two bodies as they are made here.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import trimesh
from window_support import needs_window

needs_window()

from PySide6.QtCore import QPoint, Qt  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QMessageBox  # noqa: E402
from window_hand import LEFT, Hand  # noqa: E402

from clearturn.job.model import DropBox  # noqa: E402
from clearturn_app.window.main import MainWindow, first_document  # noqa: E402

pytestmark = pytest.mark.gui

CUBE = np.array([120.0, 0.0, 0.0])  # 8 mm wide: twelve triangles from x = 116 to 124


@pytest.fixture
def hand(qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Hand]:
    """A window with a new job: a disc about z, and a small loose cube beside it."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    disc = trimesh.creation.annulus(r_min=35.0, r_max=75.0, height=10.0, sections=90)
    cube = trimesh.creation.box(extents=(8.0, 8.0, 8.0))
    cube.apply_translation(CUBE)
    trimesh.util.concatenate([disc, cube]).export(tmp_path / "knuckle.stl")
    window = MainWindow(first_document()[0])
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow, timeout=60_000)
    made = Hand(window, qtbot, monkeypatch)
    made.click(window.sheet.actions.words["new"])
    made.choose_files("choose scans", tmp_path / "knuckle.stl")
    made.wait(lambda: len(made.corner.scans) == 1)
    made.settle()
    yield made
    window.close()
    assert window.tasks.wait(60)


def begin(hand: Hand) -> None:
    hand.operation(0)
    hand.deed("drop box:knuckle")
    hand.wait(lambda: hand.picture.is_settled)


def pixel(hand: Hand, point) -> QPoint:
    x, y = hand.picture.camera.seen_at(point, hand.picture.width(), hand.picture.height())
    return QPoint(round(x), round(y))


def draw(hand: Hand, first, second, *, release: bool = True) -> None:
    """Drag a rectangle whose corners lie over two points of the scan."""
    hand.drags += 1
    start, end = pixel(hand, first), pixel(hand, second)
    QTest.mousePress(hand.picture, LEFT, Qt.KeyboardModifier.NoModifier, start)
    for part in (0.3, 0.7, 1.0):
        QTest.mouseMove(hand.picture, start + (end - start) * part)
    QTest.qWait(30)
    if release:
        QTest.mouseRelease(hand.picture, LEFT, Qt.KeyboardModifier.NoModifier, end)
        hand.wait(lambda: hand.window.session.work.boxing.found is not None)
        hand.wait(lambda: hand.picture.is_settled)


def around(hand: Hand, margin_mm: float = 8.0) -> tuple[np.ndarray, np.ndarray]:
    camera = hand.picture.camera
    way = margin_mm * (camera.right + camera.up)
    return CUBE - way, CUBE + way


def steps(hand: Hand) -> tuple[object, ...]:
    return hand.corner.scans[0].cleaning


def names(hand: Hand) -> list[str]:
    stack = hand.window.document.stack
    return [stack.text(i) for i in range(stack.count())]


def words(hand: Hand) -> str:
    return str(hand.picture.bar.accessibleDescription())


def test_box_drawn_over_a_body_is_shown_counted_taken_and_undone(hand: Hand) -> None:
    begin(hand)
    assert sorted(np.abs(hand.picture.camera.eye)) == pytest.approx([0, 0, 1])
    before = hand.picture.grab().toImage().pixelColor(pixel(hand, CUBE))
    draw(hand, *around(hand))
    assert "12 triangles would go" in words(hand)
    hand.wait(lambda: hand.picture._lit and hand.picture.is_settled)
    hand.step("box drawn")
    after = hand.picture.grab().toImage().pixelColor(pixel(hand, CUBE))
    assert after != before  # what would go lights up
    assert steps(hand) == ()  # nothing is written before it is taken
    hand.take()
    (step,) = steps(hand)
    assert isinstance(step, DropBox)
    # Drawn 8 mm around the cube's middle both ways, to a pixel; through everything in depth.
    mm = 2.0 * hand.picture.camera.half_mm / hand.picture.height()
    depth = int(np.argmax(np.abs(hand.picture.camera.eye)))
    for k in set(range(3)) - {depth}:
        assert step.from_mm[k] == pytest.approx(CUBE[k] - 8.0, abs=mm + 0.01)
        assert step.to_mm[k] == pytest.approx(CUBE[k] + 8.0, abs=mm + 0.01)
    assert hand.window.session.work.goal is None
    assert names(hand)[-1] == "leave a box of knuckle out"
    work = hand.window.session.work
    hand.wait(lambda: work.loaded["knuckle"].removed == ("12 triangles left out, 1 whole piece",))
    hand.click(hand.window.sheet.actions.words["undo"])
    assert steps(hand) == ()
    hand.wait(lambda: work.loaded["knuckle"].removed == ())


def test_numbers_of_a_box_are_changed_in_the_slip(hand: Hand) -> None:
    begin(hand)
    draw(hand, *around(hand))
    hand.click(hand.picture.bar.take)
    hand.settle()
    assert hand.slip.isVisible()
    hand.wait(lambda: "box left out, from x" in hand.slip.rows)
    hand.set_number("box left out, from x", "122")
    (step,) = steps(hand)
    assert step.from_mm[0] == 122.0
    assert names(hand)[-1].startswith("box left out, from x ")
    # Only the cube's side at x = 124 lies wholly beyond 122: two triangles.
    work = hand.window.session.work
    hand.wait(lambda: work.loaded["knuckle"].removed == ("2 triangles left out, 0 whole pieces",))


def test_escape_gives_up_the_rectangle_and_then_the_box(hand: Hand) -> None:
    begin(hand)
    work = hand.window.session.work
    draw(hand, *around(hand), release=False)
    hand.key(Qt.Key.Key_Escape)
    end = pixel(hand, around(hand)[1])
    QTest.mouseRelease(hand.picture, LEFT, Qt.KeyboardModifier.NoModifier, end)
    QTest.qWait(50)
    assert work.boxing.step is None
    assert work.goal is not None
    draw(hand, *around(hand))
    hand.key(Qt.Key.Key_Escape)
    assert work.goal is None
    assert work.boxing.step is None
    assert steps(hand) == ()
    assert names(hand) == ["take in knuckle.stl"]
    assert hand.slip.isVisible()  # back where one came from


def test_box_that_holds_nothing_or_everything_cannot_be_taken(hand: Hand) -> None:
    begin(hand)
    camera = hand.picture.camera
    draw(hand, CUBE + 6.0 * camera.up, CUBE + 12.0 * (camera.up + camera.right))
    assert "0 triangles would go" in words(hand)
    hand.key(Qt.Key.Key_Return)
    low, high = hand.window.session.work.source.cleaned.bounds
    draw(hand, low - 5.0, high + 5.0)
    assert "nothing of the scan would be left" in words(hand)
    assert not hand.picture.bar.take.isEnabled()
    hand.key(Qt.Key.Key_Return)
    assert steps(hand) == ()


def test_box_by_keys_alone_and_limited_in_depth_from_another_side(hand: Hand) -> None:
    begin(hand)
    work = hand.window.session.work
    hand.picture.camera = hand.picture.camera.magnified(2.0)  # else the middle holds everything
    eye = hand.picture.camera.eye
    hand.key(Qt.Key.Key_Space)
    hand.wait(lambda: work.boxing.found is not None)
    first = work.boxing.step
    depth = int(np.argmax(np.abs(eye)))
    low, high = work.source.cleaned.bounds
    assert first.from_mm[depth] < low[depth]
    assert first.to_mm[depth] > high[depth]
    right = hand.picture.camera.right
    hand.key(Qt.Key.Key_Right)
    hand.wait(lambda: hand.picture.is_settled)
    assert hand.picture.camera.eye == pytest.approx(right)
    hand.key(Qt.Key.Key_Space)
    hand.wait(lambda: work.boxing.found is not None)
    second = work.boxing.step
    # The middle half of the picture's height, and as much more of its width as it is wider.
    half = hand.picture.camera.half_mm
    wide = second.to_mm[depth] - second.from_mm[depth]
    aspect = hand.picture.width() / hand.picture.height()
    assert wide == pytest.approx(half * aspect, abs=0.05)
    assert second.from_mm[int(np.argmax(np.abs(right)))] == first.from_mm[
        int(np.argmax(np.abs(right)))
    ]  # fmt: skip
    mesh = work.source.mesh
    inside = ((mesh.vertices >= second.from_mm) & (mesh.vertices <= second.to_mm)).all(axis=1)
    count = int(inside[mesh.faces].all(axis=1).sum())
    assert count > 0
    assert f"{count:,} triangles would go" in words(hand)
    hand.key(Qt.Key.Key_Return)
    assert steps(hand) == (second,)
