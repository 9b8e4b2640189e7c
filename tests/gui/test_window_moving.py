"""Parts dragged in the turn section: by mouse and keys, one undo step, Escape, stale answers."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest
from window_support import cases, needs_window

needs_window()

from PySide6.QtCore import QEvent, QPoint, QPointF, Qt  # noqa: E402
from PySide6.QtGui import QMouseEvent  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QApplication, QMessageBox  # noqa: E402

from clearturn.check import check  # noqa: E402
from clearturn.job.file import parse_job  # noqa: E402
from clearturn.result import CheckResult  # noqa: E402
from clearturn_app.document import Document  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.window import background  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402

pytestmark = pytest.mark.gui

MADE: Any = cases("job_cases")
SPOKE_GAP = MADE.FLANGE_MM + MADE.SPOKE_BACK_Z - (MADE.OUTBOARD_WIDTH_MM - MADE.HAT_OFFSET_MM)
ON_SPOKES = (MADE.FLANGE_MM + MADE.SPOKE_BACK_Z, 150.0)
ON_CALIPER = (-MADE.HAT_OFFSET_MM, 198.0)


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, CheckResult]:
    folder = tmp_path_factory.mktemp("moving")
    job = parse_job(json.dumps(MADE.write_corner(folder))).job
    return folder, check(job, folder=folder)


@pytest.fixture(scope="module")
def section(checked: tuple[Path, CheckResult]):
    """The real turn section, drawn once; it leaves the outlines with the meshes."""
    return background.section(checked[1], (164.0, 104.0), 6, None)


@pytest.fixture
def window(qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, checked, section):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    monkeypatch.setattr(background, "section", lambda *_a: section)
    monkeypatch.setattr(background, "strip", lambda *_a: None)
    folder, result = checked

    def checker(job, _folder, progress):
        """Give the result of the unchanged job; a changed one is never ready."""
        while job != result.job:
            progress.check()
            time.sleep(0.01)
        return result

    made = MainWindow(Document(result.job, folder), checker=checker)
    qtbot.addWidget(made)
    made.resize(1280, 800)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow, timeout=60_000)
    made.start()
    qtbot.waitUntil(lambda: made.session.drawing is not None, timeout=60_000)
    yield made
    made.close()
    assert made.tasks.wait(60)


def px(window: MainWindow, z_mm: float, r_mm: float) -> QPoint:
    drawing, section = window.session.drawing, window.sheet.section
    return section.window().to_px(*drawing.to_paper(z_mm, r_mm)).toPoint()


def point(window: MainWindow, kind: QEvent.Type, at: QPoint, button: Qt.MouseButton) -> None:
    """Send one event of the pointer; QTest moves the real one, whose own events come between."""
    section = window.sheet.section
    down = Qt.MouseButton.NoButton if kind == QEvent.Type.MouseButtonRelease else button
    pressed = Qt.MouseButton.NoButton if kind == QEvent.Type.MouseMove else button
    event = QMouseEvent(
        kind, QPointF(at), QPointF(section.mapToGlobal(at)), pressed, down,
        Qt.KeyboardModifier.NoModifier,
    )  # fmt: skip
    QApplication.sendEvent(section, event)


def move(window: MainWindow, at: QPoint, button: Qt.MouseButton = Qt.MouseButton.LeftButton):
    point(window, QEvent.Type.MouseMove, at, button)


def down(window: MainWindow, at: QPoint, button: Qt.MouseButton = Qt.MouseButton.LeftButton):
    point(window, QEvent.Type.MouseButtonPress, at, button)


def up(window: MainWindow, at: QPoint, button: Qt.MouseButton = Qt.MouseButton.LeftButton):
    point(window, QEvent.Type.MouseButtonRelease, at, button)


def grab(window: MainWindow, place: tuple[float, float], dx: int, dy: int) -> QPoint:
    """Press on a place and drag by pixels, in steps; the button stays down."""
    at = px(window, *place)
    window.sheet.section.setFocus()
    down(window, at)
    for k in range(1, 6):
        move(window, at + QPoint(dx * k // 5, dy * k // 5))
    return at + QPoint(dx, dy)


def let_go(window: MainWindow, at: QPoint) -> None:
    up(window, at)


def spacer(window: MainWindow) -> float:
    return window.document.job.axles[0].corner.seat_stack.spacer_mm


def spoke_gap(window: MainWindow) -> float | None:
    """Certified gap of caliper and spokes for the place the part is at, if it has come."""
    moving = window.sheet.section.moving
    for pair, figure in moving.figures.items():
        if set(pair) == {"caliper", "spokes"} and figure.by_mm == moving.by_mm:
            return figure.gap.gap.gap_mm.upper
    return None


def test_dragged_wheel_tells_its_gap_and_writes_one_step_when_let_go(
    window: MainWindow, qtbot
) -> None:
    before = window.document.job
    end = grab(window, ON_SPOKES, 9, 0)
    moving = window.sheet.section.moving
    assert moving.held
    assert moving.freedom.name == "spacer"
    assert moving.by_mm > 1.0
    assert window.document.job is before  # nothing is written under way
    qtbot.waitUntil(lambda: spoke_gap(window) is not None, timeout=30_000)
    assert spoke_gap(window) == pytest.approx(SPOKE_GAP + moving.by_mm, abs=2e-3)
    told, by_mm = moving.words(window.look)[0], moving.by_mm
    let_go(window, end)
    assert window.document.stack.count() == 1
    assert spacer(window) == pytest.approx(by_mm, abs=1e-9)
    assert told == f"spacer {by_mm:.2f} mm"
    assert moving.freedom is not None  # stays drawn there until the check has its own drawing
    assert not moving.held
    window.document.stack.undo()
    assert window.document.job == before
    assert moving.freedom is None


def test_drags_of_one_part_merge_and_start_where_it_was_left(window: MainWindow) -> None:
    let_go(window, grab(window, ON_SPOKES, 6, 0))
    first = spacer(window)
    let_go(window, grab(window, (ON_SPOKES[0], 150.0), 6, 0))
    assert spacer(window) == pytest.approx(2 * first, abs=0.11)
    assert window.document.stack.count() == 1
    window.document.stack.undo()
    assert spacer(window) == 0.0
    assert window.document.is_clean


def test_escape_puts_a_dragged_part_back_and_writes_nothing(window: MainWindow) -> None:
    before = window.document.job
    end = grab(window, ON_CALIPER, 0, -7)
    moving = window.sheet.section.moving
    assert moving.freedom.name == "caliper in and out"
    assert moving.by_mm > 1.0
    QTest.keyClick(window.sheet.section, Qt.Key.Key_Escape)
    assert moving.freedom is None
    move(window, end + QPoint(0, -5))
    let_go(window, end)
    assert window.document.job is before
    assert window.document.stack.count() == 0


def test_click_on_a_part_moves_nothing(window: MainWindow) -> None:
    at = px(window, *ON_CALIPER)
    QTest.mouseClick(window.sheet.section, Qt.MouseButton.LeftButton, pos=at)
    assert window.sheet.section.moving.freedom is None
    assert window.document.stack.count() == 0


def test_paper_moves_where_no_part_is_and_by_another_button(window: MainWindow) -> None:
    section = window.sheet.section
    before = window.document.job
    for place, button in (
        ((-150.0, 190.0), Qt.MouseButton.LeftButton), (ON_CALIPER, Qt.MouseButton.MiddleButton),
    ):  # fmt: skip
        at, was = px(window, *place), section.window()
        down(window, at, button)
        move(window, at + QPoint(30, 10), button)
        move(window, at + QPoint(40, 10), button)
        up(window, at + QPoint(40, 10), button)
        assert section.window().x == pytest.approx(was.x + 40, abs=1.5)
    assert window.document.job is before


def test_parts_are_moved_by_keys_as_well(window: MainWindow) -> None:
    section, moving = window.sheet.section, window.sheet.section.moving
    window.sheet.setFocus()
    QTest.keyClick(window, Qt.Key.Key_M)
    assert moving.freedom.name == "caliper in and out"
    assert section.hasFocus()
    QTest.keyClick(section, Qt.Key.Key_Down)
    QTest.keyClick(section, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    assert moving.by_mm == pytest.approx(-1.1, abs=1e-9)
    QTest.keyClick(section, Qt.Key.Key_M)  # the next one; what is held is put back
    QTest.keyClick(section, Qt.Key.Key_M)
    assert moving.freedom.name == "spacer"
    QTest.keyClick(section, Qt.Key.Key_Left)  # no thinner than nothing
    assert moving.by_mm == 0.0
    QTest.keyClick(section, Qt.Key.Key_Right)
    QTest.keyClick(section, Qt.Key.Key_Return)
    assert spacer(window) == pytest.approx(0.1, abs=1e-9)
    assert window.document.stack.count() == 1
    QTest.keyClick(section, Qt.Key.Key_M)
    QTest.keyClick(section, Qt.Key.Key_Escape)
    assert window.document.stack.count() == 1


def test_section_in_the_small_place_is_given_room_first(window: MainWindow) -> None:
    window.sheet.swap()
    assert window.sheet.section.is_small
    window.sheet.setFocus()
    QTest.keyClick(window, Qt.Key.Key_M)
    assert not window.sheet.section.is_small
    assert window.sheet.section.moving.held
    window.sheet.section.moving.give_up()


def test_number_without_sense_is_told_and_writes_nothing(window: MainWindow, qtbot) -> None:
    moving = window.sheet.section.moving
    offset = next(one for one in moving.choice if one.name == "rotor offset")
    moving.take(offset)
    moving.move_to(60.0, 0.1)  # the hat would be turned inside out
    assert moving.refusal
    assert not moving.figures
    moving.let_go()
    qtbot.waitUntil(window.sheet.note.isVisible, timeout=10_000)
    assert window.document.stack.count() == 0
    moving.take(offset)
    moving.move_to(1.0, 0.1)
    assert not moving.refusal


def test_steps_are_thousandths_in_inch_and_finer_where_magnified(window: MainWindow) -> None:
    section = window.sheet.section
    assert section.step_mm == 0.1
    window.look.set(inch=True)
    assert section.step_mm == pytest.approx(0.005 * 25.4)
    section.magnify(8.0, section.window().to_px(80.0, 60.0))
    assert section.step_mm == pytest.approx(0.0005 * 25.4)
    window.look.set(inch=False)


def test_pointer_reads_the_gap_there_and_what_can_be_dragged(window: MainWindow) -> None:
    section = window.sheet.section
    between = section.place_at(px(window, ON_CALIPER[0], 204.0))
    told = section._gap_words(between).removeprefix("   gap ")
    assert float(told) == pytest.approx(208.0 - 200.0, abs=0.15)  # made so; drawn outlines
    move(window, px(window, *ON_CALIPER), Qt.MouseButton.NoButton)
    assert section.cursor().shape() is Qt.CursorShape.SizeVerCursor


def test_outlines_follow_the_pointer_within_a_frame(window: MainWindow) -> None:
    """Thirty frames a second: from the pointer's move to the painted view at most 33 ms."""
    section = window.sheet.section
    end = grab(window, ON_SPOKES, 5, 0)
    took = []
    for k in range(25):
        start = time.perf_counter()
        move(window, end + QPoint(k, 0))
        section.repaint()
        took.append(time.perf_counter() - start)
    QTest.keyClick(section, Qt.Key.Key_Escape)
    let_go(window, end)
    assert sorted(took)[len(took) // 2] < 1 / 30


def test_newer_place_ends_the_work_on_an_older_one_that_has_told_its_nearest_gap(
    window: MainWindow, qtbot, monkeypatch
) -> None:
    """Else a pair that takes long would keep what is dragged now from being told."""
    from clearturn import trial

    real, places, ended = trial.trial_gaps, [], []

    def slow_after_the_first(result, freedom, by_mm, progress):
        places.append(by_mm)
        try:
            yield next(real(result, freedom, by_mm, progress))
            while True:
                progress.check()
                time.sleep(0.001)
        finally:
            ended.append(by_mm)

    monkeypatch.setattr(trial, "trial_gaps", slow_after_the_first)
    moving = window.sheet.section.moving
    end = grab(window, ON_SPOKES, 5, 0)
    for k in range(4):
        move(window, end + QPoint(3 * k, 0))
        qtbot.waitUntil(
            lambda: any(f.by_mm == moving.by_mm for f in moving.figures.values()), timeout=30_000
        )
    assert ended == places[:-1]
    QTest.keyClick(window.sheet.section, Qt.Key.Key_Escape)
    let_go(window, end)
    qtbot.waitUntil(lambda: ended == places, timeout=30_000)
