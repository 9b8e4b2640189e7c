"""Access and limits in the window: told, chosen by clicks, changed by keys; the result is given."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from window_support import DEMO, cases, needs_window

needs_window()

from PySide6.QtCore import Qt  # noqa: E402
from PySide6.QtGui import QImage  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QMessageBox  # noqa: E402

from clearturn.drawing import Tone  # noqa: E402
from clearturn.job.edits import with_value  # noqa: E402
from clearturn.job.file import load_job  # noqa: E402
from clearturn.result import AccessResult, FitLimit, Interval, Verdict  # noqa: E402
from clearturn_app.document import opened  # noqa: E402
from clearturn_app.sheets.contents import sections  # noqa: E402
from clearturn_app.sheets.fields import Fact  # noqa: E402
from clearturn_app.sheets.operations import OPERATIONS, alerts  # noqa: E402
from clearturn_app.views.gap_list import hub_row  # noqa: E402
from clearturn_app.views.picture_asked import colours_of  # noqa: E402
from clearturn_app.views.picture_marks import view_of_access  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.window import background  # noqa: E402
from clearturn_app.window.look import Look  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402

pytestmark = pytest.mark.gui

REPORT = cases("report_cases")
GAPS = next(i for i, operation in enumerate(OPERATIONS) if operation.number == 60)
# Invented for the test; the names are those of the demo's job.
ACCESS = (
    AccessResult("upper bracket bolt", "bolt out", 1.0, Verdict.CLEARS, "knuckle",
                 Interval(2.96, 2.97), 0.09, 1.87, 303.0, 128.0, -134.5),
    AccessResult("outboard pad", "pad out", 1.0, Verdict.FAILS, "bearing housing",
                 Interval(0.4, 0.41), 0.12, -0.72, 270.0, 100.0, -16.0),
    AccessResult("wheel over caliper and studs", "wheel on", 1.0, Verdict.NOT_PROVEN),
)  # fmt: skip
LIMITS = (FitLimit("largest ring", 2.0, 352.0, "rotor and caliper"),)


def result():
    job = load_job(DEMO)
    return replace(REPORT.demo(), job=job, access=ACCESS, limits=LIMITS)


@pytest.fixture
def window(qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[MainWindow]:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    one = MainWindow(opened(DEMO), checker=lambda *_a: result())
    monkeypatch.setattr(background, "strip", lambda *_a: None)
    qtbot.addWidget(one)
    one.resize(1280, 800)
    one.show()
    one.activateWindow()
    qtbot.waitUntil(one.isActiveWindow, timeout=60_000)
    one.start()
    qtbot.waitUntil(lambda: one.session.is_current, timeout=60_000)
    yield one
    one.close()
    assert one.tasks.wait(60)


def click_row(window: MainWindow, item: str) -> None:
    gaps = window.sheet.gaps
    number = next(n for n, row in enumerate(gaps.rows) if row.item == item)
    gaps._scroll_to(number)
    QTest.mouseClick(gaps, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier,
                     gaps.row_box(number).center().toPoint())  # fmt: skip


def test_each_access_has_a_row_with_its_verdict_and_what_fails_stands_before_what_clears(
    window: MainWindow,
) -> None:
    rows = {row.item: row for row in window.sheet.gaps.rows}
    assert [rows[f"A{n + 1}"].verdict for n in range(3)] == [one.verdict for one in ACCESS]
    assert rows["A1"].between == ("upper bracket bolt", "knuckle")
    assert rows["A1"].least == "2.96 ±0.09"
    assert rows["A3"].least == "–"
    order = [row.item for row in window.sheet.gaps.rows]
    assert order.index("A2") < min(order.index(r.item) for r in rows.values()
                                   if r.verdict is Verdict.CLEARS)  # fmt: skip
    assert alerts(OPERATIONS[GAPS], replace(result(), pairs=()), None)


def test_clicked_access_is_shown_at_its_place_in_section_and_picture(
    window: MainWindow, qtbot
) -> None:
    qtbot.waitUntil(lambda: window.session.drawing is not None, timeout=200_000)
    click_row(window, "A1")
    assert window.session.chosen_access == ACCESS[0]
    place = window.sheet.section._chosen_place()
    assert window.session.drawing.to_part(*place[:2]) == pytest.approx((-134.5, 128.0))
    qtbot.waitUntil(lambda: not window.sheet.picture._way, timeout=20_000)
    # Clock 0° is up and grows clockwise seen from outboard: (r sin φ, r cos φ, z), by hand.
    assert window.sheet.picture.camera.centre == pytest.approx((-107.35, 69.71, -134.5), abs=0.02)
    # The next pair walked to takes the choice back.
    window.sheet.setFocus()
    QTest.keyClick(window, Qt.Key.Key_Down)
    assert window.session.chosen_access is None


def test_picture_of_the_other_sheet_is_never_shown_after_a_switch(window: MainWindow) -> None:
    picture = window.sheet.picture

    def drawn(name: str) -> None:
        image = QImage(40, 30, QImage.Format.Format_RGBX8888)
        image.fill(name)
        colours = {**colours_of(window.look), "paper": name}
        picture._on_drawn(image, {"centre": (0, 0, 0), "eye": (0, 0, 1), "up": (0, 1, 0),
                                  "half": 50.0, "below": None, "colours": colours})  # fmt: skip

    def seen() -> str:
        return picture.grab().toImage().pixelColor(picture.width() - 3, 60).name()

    light = window.look.tone(Tone.PAPER).name()
    drawn(light)
    assert seen() == light
    window.sheet.setFocus()
    QTest.keyClick(window, Qt.Key.Key_D)
    dark = window.look.tone(Tone.PAPER).name()
    assert dark != light
    assert seen() == dark
    drawn(light)  # an answer that was under way
    assert seen() == dark
    assert picture._image is None
    drawn(dark)
    assert picture._image is not None
    assert seen() == dark


def test_access_without_a_place_is_chosen_and_marked_nowhere(window: MainWindow) -> None:
    click_row(window, "A3")
    assert window.session.chosen_access == ACCESS[2]
    assert window.sheet.section._chosen_place() is None
    assert view_of_access(ACCESS[2]) is None
    assert not window.grab().isNull()


def test_slip_tells_access_and_limits_and_a_number_typed_there_is_undone_by_key(
    window: MainWindow,
) -> None:
    card = window.sheet.card
    QTest.mouseClick(card, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier,
                     card.cell(GAPS).center().toPoint())  # fmt: skip
    slip = window.sheet.slip
    QTest.qWait(50)
    made = sections(OPERATIONS[GAPS], window.document.job, window.session.result, window.look)
    told = {line.label: line.text for one in made for line in one.lines if isinstance(line, Fact)}
    assert told["outboard pad"].startswith("fails, 0.40 ±0.12 mm past bearing housing")
    assert told["largest ring"] == "352.00 mm, +2.00 mm; next fails rotor and caliper"
    slip._area.ensureWidgetVisible(slip._heads["upper bracket bolt"])
    QTest.mouseClick(slip._heads["upper bracket bolt"], Qt.MouseButton.LeftButton)
    editor = slip.rows["upper bracket bolt: socket, diameter"].editor
    editor.setFocus()
    editor.selectAll()
    QTest.keyClicks(editor, "30")
    QTest.keyClick(editor, Qt.Key.Key_Return)
    assert window.document.job.axles[0].corner.access[0].socket_diameter_mm == 30.0
    QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert window.document.job == load_job(DEMO)


def test_rows_and_slip_name_the_axle_of_a_hub_diameter_where_there_are_two(qapp) -> None:
    look, job = Look(), load_job(DEMO)
    front, rear = job.axles[0], replace(job.axles[0], name="rear")
    job = with_value(job, ("axles",), (front, rear))
    found = tuple(
        replace(hub, axle=axle.name, shaft_mm=hub.shaft_mm + n)
        for n, axle in enumerate(job.axles) for hub in REPORT.hub()
    )  # fmt: skip
    assert hub_row(1, found[-1], look).between == ("rear housing in hat",)
    made = sections(
        next(one for one in OPERATIONS if one.number == 70), job,
        replace(result(), job=job, hub=found), look,
    )  # fmt: skip
    sizes = {
        one.title: [f.text for f in one.lines if isinstance(f, Fact) and f.label == "sizes"]
        for one in made
    }
    for axle, diameter in (("front", "70.00"), ("rear", "71.00")):
        assert len(sizes[f"{axle}: rotor register"]) == 1
        assert sizes[f"{axle}: rotor register"][0].startswith(f"Ø {diameter} ")
