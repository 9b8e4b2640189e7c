"""The real window driven by clicks and keys; the result of the check is given to it."""

from __future__ import annotations

import itertools
import json
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from window_support import DEMO, cases, needs_window

needs_window()

from PySide6.QtCore import QPoint, Qt  # noqa: E402
from PySide6.QtGui import QImage, QPainter  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QMessageBox  # noqa: E402

from clearturn.drawing import Tone  # noqa: E402
from clearturn.errors import GeometryProblem, InputError  # noqa: E402
from clearturn.job.edits import path_of, value_at, with_value  # noqa: E402
from clearturn.job.file import load_job  # noqa: E402
from clearturn.report import write_report  # noqa: E402
from clearturn.result import Verdict  # noqa: E402
from clearturn.trade.sheet import Grid  # noqa: E402
from clearturn_app.document import Document, empty_job, opened  # noqa: E402
from clearturn_app.resources.colours import BLUE, PAPER  # noqa: E402
from clearturn_app.sheets.contents import sections  # noqa: E402
from clearturn_app.sheets.fields import Field  # noqa: E402
from clearturn_app.sheets.operations import OPERATIONS  # noqa: E402
from clearturn_app.sheets.sums import _grid, _whole  # noqa: E402
from clearturn_app.views.paint import stamp  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.window import background  # noqa: E402
from clearturn_app.window.look import Look  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402
from clearturn_app.window.session import State  # noqa: E402

pytestmark = pytest.mark.gui

REPORT = cases("report_cases")
SPACER = path_of("axles[0].corner.seat_stack.spacer_mm")
WHEEL = next(i for i, operation in enumerate(OPERATIONS) if operation.name == "Wheel")


class Checker:
    """Gives a result; `gate` holds the next check up until it is opened."""

    def __init__(self, result: object) -> None:
        self.result = result
        self.gate = threading.Event()
        self.gate.set()
        self.jobs: list[object] = []

    def __call__(self, job, _folder, progress):
        self.jobs.append(job)
        while not self.gate.wait(0.01):
            progress.report(0.3, "waiting")
        progress.check()
        if isinstance(self.result, Exception):
            raise self.result
        return self.result


@pytest.fixture
def checker() -> Checker:
    return Checker(REPORT.demo())


@pytest.fixture(scope="module")
def section():
    """The real turn section of the invented result, drawn once."""
    return background.section(REPORT.demo(), (164.0, 104.0), 6, None)


@pytest.fixture
def make(qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, section, windows):
    """Make windows that are always closed, and must leave no thread behind."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    # Drawing takes its time, and other tests have it; here it matters where it goes.
    monkeypatch.setattr(background, "section", lambda *_a: section)
    monkeypatch.setattr(background, "strip", lambda *_a: None)

    def one(document: Document, checker: Checker, size: tuple[int, int] = (1280, 800)):
        window = MainWindow(document, checker=checker)
        qtbot.addWidget(window)
        windows.append(window)
        window.resize(*size)
        window.show()
        window.activateWindow()
        qtbot.waitUntil(window.isActiveWindow, timeout=60_000)
        window.start()
        return window

    return one


@pytest.fixture
def window(make, checker: Checker, qtbot) -> MainWindow:
    window = make(opened(DEMO), checker)
    qtbot.waitUntil(lambda: window.session.is_current, timeout=60_000)
    return window


def press(window: MainWindow, key: Qt.Key) -> None:
    window.sheet.setFocus()
    QTest.keyClick(window, key)


def row(window: MainWindow, label: str):
    return window.sheet.slip.rows[label]


def write(window: MainWindow, label: str, text: str) -> None:
    editor = row(window, label).editor
    editor.setFocus()
    editor.selectAll()
    QTest.keyClicks(editor, text)
    QTest.keyClick(editor, Qt.Key.Key_Return)


def test_verdict_and_hash_of_the_result_stand_in_the_title_block(window: MainWindow) -> None:
    verdict, words, sentence = window.sheet.title.verdict()
    failing = sum(p.verdict is Verdict.FAILS for p in REPORT.demo().pairs)
    failing += sum(h.verdict is Verdict.FAILS for h in REPORT.demo().hub)
    assert verdict is Verdict.FAILS
    assert words == f"fails in {failing} places"
    assert "Do not machine" in sentence


def test_the_names_in_the_title_block_open_the_slip_they_are_written_in(
    window: MainWindow, qtbot
) -> None:
    title = window.sheet.title
    title.grab()  # painted once: the names are where they were written
    qtbot.mouseClick(title, Qt.MouseButton.LeftButton, pos=QPoint(20, 20))
    assert not window.sheet.slip.isVisible()  # the verdict stands there
    qtbot.mouseClick(
        title, Qt.MouseButton.LeftButton, pos=title.names.topLeft().toPoint() + QPoint(12, 24)
    )
    assert window.sheet.slip.operation.number == 100
    write(window, "job", "Walk")
    assert window.document.job.name == "Walk"


def test_every_pair_and_hub_diameter_has_a_row_and_what_fails_stands_first(
    window: MainWindow,
) -> None:
    rows = window.sheet.gaps.rows
    assert len(rows) == len(REPORT.demo().pairs) + len(REPORT.demo().hub)
    verdicts = [r.verdict for r in rows]
    failing = verdicts.count(Verdict.FAILS)
    assert set(verdicts[:failing]) == {Verdict.FAILS}


def test_clicking_a_row_chooses_its_pair_everywhere(window: MainWindow, qtbot) -> None:
    gaps = window.sheet.gaps
    number = next(
        n for n, r in enumerate(gaps.rows) if r.index not in (None, window.session.chosen)
    )
    qtbot.mouseClick(gaps, Qt.MouseButton.LeftButton, pos=gaps.row_box(number).center().toPoint())
    assert window.session.chosen == gaps.rows[number].index


def test_arrows_walk_through_the_gaps_in_the_order_of_the_list(window: MainWindow) -> None:
    order = window.session.order()
    assert window.session.chosen == order[0]
    press(window, Qt.Key.Key_Down)
    assert window.session.chosen == order[1]
    press(window, Qt.Key.Key_Up)
    press(window, Qt.Key.Key_Up)
    assert window.session.chosen == order[0]


def test_the_chosen_pair_stays_chosen_when_a_changed_job_numbers_its_pairs_anew(
    window: MainWindow, checker: Checker, qtbot
) -> None:
    result, session = checker.result, window.session
    at = session.order()[2]
    session.choose(at)
    first, second = result.pairs[at].first, result.pairs[at].second

    def check_with(pairs) -> None:
        checker.result = replace(result, pairs=tuple(pairs))
        session.check_now()
        qtbot.waitUntil(
            lambda: session.is_current and session.result is checker.result, timeout=60_000
        )

    check_with(reversed(result.pairs))
    assert {session.chosen_pair.first, session.chosen_pair.second} == {first, second}
    check_with(one for one in result.pairs if {one.first, one.second} != {first, second})
    assert session.chosen == session.order()[0]  # it is judged no more: the worst instead


def test_section_reads_the_place_under_the_pointer(window: MainWindow, qtbot) -> None:
    qtbot.waitUntil(lambda: window.session.drawing is not None, timeout=120_000)
    section, drawing = window.sheet.section, window.session.drawing
    for r, z in ((175.0, -38.0), (0.0, 0.0), (100.0, 20.0)):
        at = section.window().to_px(*drawing.to_paper(z, r))
        assert section.place_at(at) == pytest.approx((r, z), abs=1e-6)
    section.magnify(6.0, at)
    assert section.place_at(at) == pytest.approx((100.0, 20.0), abs=1e-6)
    section.fit()
    assert section.zoom == 1.0


def test_number_typed_into_a_slip_changes_the_job_and_is_undone_by_key(
    window: MainWindow, qtbot
) -> None:
    card = window.sheet.card
    qtbot.mouseClick(card, Qt.MouseButton.LeftButton, pos=card.cell(WHEEL).center().toPoint())
    assert window.sheet.slip.isVisible()
    write(window, "spacer", "3")
    assert value_at(window.document.job, SPACER) == 3.0
    assert window.document.stack.undoText() == "spacer 0 → 3 mm"
    assert not window.session.is_current
    window.sheet.setFocus()
    QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert value_at(window.document.job, SPACER) == 0.0
    qtbot.waitUntil(lambda: row(window, "spacer").text == "0")
    press(window, Qt.Key.Key_Escape)
    assert not window.sheet.slip.isVisible()


@pytest.mark.parametrize("text", ["-3", "many", "1e9", "3,5", "", "nan", "3 kg"])
def test_nonsense_is_refused_in_words_and_changes_nothing(window: MainWindow, text: str) -> None:
    before = window.document.job
    window.sheet.open_slip(WHEEL)
    spacer = row(window, "spacer")
    spacer.editor.setFocus()
    spacer.editor.selectAll()
    QTest.keyClick(spacer.editor, Qt.Key.Key_Delete)
    QTest.keyClicks(spacer.editor, text)
    QTest.keyClick(spacer.editor, Qt.Key.Key_Return)
    assert window.document.job is before
    assert spacer.fault.isVisible()
    assert len(spacer.fault.text()) > 10
    spacer.editor.setFocus()
    spacer.editor.setModified(True)
    QTest.keyClick(spacer.editor, Qt.Key.Key_Escape)
    assert spacer.text == "0"
    assert not spacer.fault.isVisible()


def test_help_and_range_are_shown_for_the_number_one_writes(window: MainWindow, qtbot) -> None:
    window.sheet.open_slip(WHEEL)
    window.activateWindow()
    spacer = row(window, "spacer")
    spacer.editor.setFocus()
    qtbot.waitUntil(spacer.help.isVisible, timeout=20_000)
    assert "0 to 60 mm" in spacer.help.text()


def test_inch_is_understood_and_shown(window: MainWindow, qtbot) -> None:
    window.sheet.open_slip(WHEEL)
    write(window, "spacer", "0.5 in")
    # 1 in is 25.4 mm exactly (NIST SP 811, appendix B.8)
    assert value_at(window.document.job, SPACER) == pytest.approx(12.7, abs=1e-12)
    press(window, Qt.Key.Key_U)
    assert row(window, "spacer").text == "0.5"
    write(window, "spacer", "0.25")
    assert value_at(window.document.job, SPACER) == pytest.approx(6.35, abs=1e-12)
    press(window, Qt.Key.Key_U)
    assert row(window, "spacer").text == "6.35"


def every_field(window: MainWindow) -> list[Field]:
    session = window.session
    made = [
        sections(operation, session.document.job, session.result, window.look, session.sums)
        for operation in OPERATIONS
    ]
    return [
        line
        for of_one in made
        for section in of_one
        for line in section.lines
        if isinstance(line, Field)
    ]


def test_showing_another_unit_changes_no_number(window: MainWindow) -> None:
    job = window.document.job
    for inch in (True, False):
        window.look.set(inch=inch)
        for field in every_field(window):
            name, changed = field.edited(job, field.shown(job, window.look), window.look)
            assert name == ""
            assert changed is job


def test_every_number_has_help_and_source_and_its_own_text_is_understood(
    window: MainWindow,
) -> None:
    fields = every_field(window)
    assert len(fields) > 100
    for field in fields:
        assert field.help
        assert field.source
        value = value_at(window.document.job, field.path)
        understood = field.parsed(field.shown(window.document.job, window.look), window.look)
        if isinstance(value, float):
            assert understood == pytest.approx(value, rel=1e-4, abs=1e-4)


def test_signature_is_lifted_by_a_later_change_and_comes_back_with_undo(
    window: MainWindow,
) -> None:
    slip = window.sheet.slip
    for index in (1, WHEEL):  # datums, and the wheel that builds on them
        window.sheet.open_slip(index, fold=False)
        slip._name.setText("m. k.")
        slip._sign.click()
    signed = {one.operation for one in window.document.job.sign_offs}
    assert signed == {"20 Datums", "50 Wheel"}
    write(window, "spacer", "3")
    assert {one.operation for one in window.document.job.sign_offs} == {"20 Datums"}
    window.document.stack.undo()
    assert {one.operation for one in window.document.job.sign_offs} == signed


def test_no_verdict_is_shown_while_the_job_is_another(
    window: MainWindow, checker: Checker, qtbot
) -> None:
    checker.gate.clear()
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    assert window.sheet.title.verdict()[0] is None
    qtbot.waitUntil(lambda: window.tasks.shown is not None, timeout=60_000)
    assert window.session.state is State.CHECKING
    checker.gate.set()
    qtbot.waitUntil(lambda: window.session.is_current, timeout=60_000)
    assert window.sheet.title.verdict()[0] is Verdict.FAILS


def test_result_of_an_older_job_is_dropped(window: MainWindow, checker: Checker, qtbot) -> None:
    checker.gate.clear()
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    qtbot.waitUntil(lambda: window.tasks.running("check"), timeout=60_000)
    newest = with_value(window.document.job, SPACER, 5.0)
    checker.result = REPORT.clearing()
    window.document.edit("spacer", newest)
    checker.gate.set()
    qtbot.waitUntil(lambda: window.session.is_current, timeout=60_000)
    assert checker.jobs[-1] is newest
    assert window.sheet.title.verdict()[0] is Verdict.CLEARS


def test_escape_stops_what_runs_and_f5_begins_anew(
    window: MainWindow, checker: Checker, qtbot
) -> None:
    checker.gate.clear()
    press(window, Qt.Key.Key_F5)
    qtbot.waitUntil(lambda: window.tasks.running("check"), timeout=60_000)
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    press(window, Qt.Key.Key_Escape)
    assert window.session.state is State.STOPPED
    assert not window.tasks.running("check")
    checker.gate.set()
    press(window, Qt.Key.Key_F5)
    qtbot.waitUntil(lambda: window.session.is_current, timeout=60_000)


def test_job_that_cannot_be_checked_is_told_once_in_words(make, qtbot) -> None:
    refusal = InputError("the scan is not there", file="a.stl", mend="put it back")
    window = make(opened(DEMO), Checker(refusal))
    qtbot.waitUntil(window.sheet.note.isVisible, timeout=60_000)
    assert "the scan is not there" in " ".join(window.sheet.note.lines)
    assert window.session.state is State.REFUSED
    press(window, Qt.Key.Key_Escape)
    assert not window.sheet.note.isVisible()


def test_unexpected_error_keeps_the_job_and_says_where_the_log_is(
    window: MainWindow, tmp_path: Path, qtbot
) -> None:
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    window.tell(RuntimeError("planted"))
    logs = list((tmp_path / "state" / "clearturn").glob("crash-*.log"))
    assert len(logs) == 1
    assert "planted" in logs[0].read_text(encoding="utf-8")
    assert str(logs[0]) in " ".join(window.sheet.note.lines)
    qtbot.waitUntil(window.safe.file.exists, timeout=60_000)
    assert json.loads(window.safe.file.read_text(encoding="utf-8"))["job"]


def test_expected_errors_leave_no_log(window: MainWindow, tmp_path: Path) -> None:
    window.tell(GeometryProblem("no answer"))
    assert not list((tmp_path / "state" / "clearturn").glob("crash-*.log"))
    assert "no answer." in window.sheet.note.lines


def test_saving_writes_the_same_job_and_takes_the_star_away(
    window: MainWindow, tmp_path: Path, qtbot
) -> None:
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    assert "*" in window.windowTitle()
    path = tmp_path / "other" / "mine.clearturn.json"
    path.parent.mkdir()
    window.saving.save_to(path)
    qtbot.waitUntil(lambda: window.document.is_clean, timeout=60_000)
    assert "*" not in window.windowTitle()
    saved = load_job(path)
    assert saved == window.document.job
    for scan in saved.axles[0].corner.scans:
        assert (path.parent / scan.path).is_file()
    assert not window.safe.file.exists()


def test_saving_where_nothing_can_be_written_is_told_and_loses_nothing(
    window: MainWindow, tmp_path: Path, qtbot
) -> None:
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    window.saving.save_to(tmp_path / "not there" / "mine.clearturn.json")
    qtbot.waitUntil(window.sheet.note.isVisible, timeout=60_000)
    assert "cannot be saved" in " ".join(window.sheet.note.lines)
    assert not window.document.is_clean
    assert value_at(window.document.job, SPACER) == 3.0


def test_file_that_is_no_job_is_refused_and_the_job_stays(
    window: MainWindow, tmp_path: Path
) -> None:
    before = window.document.job
    bad = tmp_path / "bad.clearturn.json"
    bad.write_text('{"format": "other"}')
    assert not window.open(bad)
    assert "not a job file" in " ".join(window.sheet.note.lines)
    assert window.document.job is before


def test_another_job_replaces_all_that_was_shown(window: MainWindow, qtbot, tmp_path: Path) -> None:
    path = tmp_path / "copy.clearturn.json"
    path.write_text(DEMO.read_text(encoding="utf-8"), encoding="utf-8")
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    assert window.open(path)
    assert window.document.path == path
    assert window.document.stack.count() == 0
    qtbot.waitUntil(lambda: window.session.is_current, timeout=60_000)


@pytest.mark.slow
def test_report_from_the_window_has_the_numbers_of_the_command_line(
    window: MainWindow, tmp_path: Path, qtbot
) -> None:
    window.write_report(tmp_path / "window")
    qtbot.waitUntil(window.sheet.note.isVisible, timeout=300_000)
    assert window.sheet.note.heading == "REPORT WRITTEN"
    direct = write_report(REPORT.demo(), tmp_path / "direct")
    for name in ("result.json", "gaps.csv"):
        assert (tmp_path / "window" / name).read_bytes() == (direct.folder / name).read_bytes()


def test_look_and_views_are_remembered(window: MainWindow, make, checker: Checker) -> None:
    for key in (Qt.Key.Key_D, Qt.Key.Key_U, Qt.Key.Key_V, Qt.Key.Key_S):
        press(window, key)
    look = (window.look.dark, window.look.inch, window.sheet.view, window.sheet.swapped)
    assert look == (True, True, "picture", True)
    window.close()
    again = make(opened(DEMO), checker)
    assert (again.look.dark, again.look.inch, again.sheet.view, again.sheet.swapped) == look


def test_three_sentences_are_said_on_the_first_start_only(
    window: MainWindow, make, checker: Checker
) -> None:
    window.welcome()
    assert len(window.sheet.note.lines) == 4  # three, and the caution
    window.sheet.note.words[0].click()
    window.close()
    again = make(opened(DEMO), checker)
    again.welcome()
    assert not again.sheet.note.isVisible()


def test_a_refused_choice_is_taken_when_what_it_lacked_is_written(window: MainWindow) -> None:
    corner = path_of("axles[0].corner.weights")
    job = with_value(window.document.job, (*corner, "where"), "anywhere")
    for end in ("z_from_mm", "z_to_mm"):
        job = with_value(job, (*corner, end), None)
    window.document.edit("weights anywhere", job)
    window.sheet.open_slip(WHEEL)
    window.sheet.slip.open_section("balance weights")
    choice = row(window, "stick-on weights may sit")
    choice.editor.setCurrentText("not in band")
    choice.editor.activated.emit(choice.editor.currentIndex())
    assert "give both ends of the band" in choice.fault.text()
    assert "None" not in choice.fault.text()
    assert "_mm" not in choice.fault.text()
    write(window, "band from z", "-108")
    QTest.qWait(30)
    assert choice.editor.currentText() == "not in band"  # still to be mended, and still refused
    assert value_at(window.document.job, (*corner, "where")) == "anywhere"
    write(window, "band to z", "30")
    QTest.qWait(30)
    assert value_at(window.document.job, (*corner, "where")) == "not in band"
    assert choice.fault.text() == ""


def test_a_second_note_of_the_same_size_has_its_word_at_the_foot(window: MainWindow) -> None:
    note, places = window.sheet.note, []
    for _ in range(2):
        note.say("SOMETHING", "One sentence.")
        (word,) = note.words
        places.append((note.geometry(), word.geometry()))
        word.click()
        assert not note.isVisible()
    assert places[0] == places[1]
    assert places[0][1].top() > note.height() / 2


def test_a_slip_that_is_opened_does_not_cover_a_note(window: MainWindow) -> None:
    sheet = window.sheet
    sheet.note.say("SOMETHING", "One sentence.")
    sheet.open_slip(WHEEL)
    assert sheet.slip.geometry().intersects(sheet.note.geometry())
    assert sheet.childAt(sheet.note.geometry().center()) is sheet.note


def test_a_new_job_takes_the_words_about_the_demo_off(window: MainWindow) -> None:
    window.welcome()
    window.sheet.note.say("SOMETHING", "Else.")
    window.act("new")
    assert window.sheet.note.lines == ("Else.",)
    window.sheet.note.words[0].click()
    assert not window.sheet.note.isVisible()


@pytest.mark.parametrize("size", [(960, 640), (1280, 800), (2560, 1440)])
@pytest.mark.parametrize("case", ["empty", "many", "unknowns", "clearing"])
def test_any_result_is_shown_on_any_sheet(make, qtbot, case: str, size: tuple[int, int]) -> None:
    result = getattr(REPORT, case)()
    document = Document(empty_job("x" * 300), Path.cwd())
    window = make(document, Checker(result), size)
    qtbot.waitUntil(lambda: window.session.is_current, timeout=60_000)
    for index in range(len(OPERATIONS)):
        window.sheet.open_slip(index, fold=False)
    window.sheet.slip.fold()
    window.look.set(zoom=2.0, dark=True)
    assert not window.grab().isNull()
    boxes = [w.geometry() for w in window.sheet.actions.words.values()]
    for left, right in itertools.pairwise(boxes):
        assert left.right() < right.left()
    assert boxes[-1].right() <= window.sheet.actions.width()


def luminance(colour: str) -> float:
    # Relative luminance and contrast ratio: WCAG 2.1, definitions.
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("sheet", [PAPER, BLUE], ids=["light", "dark"])
@pytest.mark.parametrize("tone", [Tone.INK, Tone.QUIET, Tone.ALERT])
def test_lettering_keeps_the_contrast_of_wcag_aa_on_every_ground(sheet, tone: Tone) -> None:
    text = luminance(sheet.tones.colours[tone])
    for ground in (sheet.tones.colours[Tone.PAPER], sheet.chosen, sheet.slip, sheet.field):
        low, high = sorted((text, luminance(ground)))
        assert (high + 0.05) / (low + 0.05) >= 4.5, ground


def drawn(verdict: Verdict, look: Look) -> QImage:
    image = QImage(120, 30, QImage.Format.Format_Grayscale8)
    image.fill(255)
    painter = QPainter(image)
    stamp(painter, image.rect(), verdict, "", look, 12)
    painter.end()
    return image


def test_verdicts_differ_in_shape_without_any_colour_or_word(qapp) -> None:
    look = Look()
    images = {verdict: drawn(verdict, look) for verdict in Verdict}

    def dark(verdict: Verdict, points: list[QPoint]) -> list[bool]:
        return [images[verdict].pixelColor(p).value() < 160 for p in points]

    inside = [QPoint(60, 10), QPoint(40, 20)]
    assert all(dark(Verdict.FAILS, inside))
    assert not any(dark(Verdict.CLEARS, inside))
    assert not any(dark(Verdict.NOT_PROVEN, inside))
    top = [QPoint(x, y) for x in range(20, 100) for y in (0, 1, 2)]
    solid = sum(dark(Verdict.CLEARS, top))
    assert 0 < sum(dark(Verdict.NOT_PROVEN, top)) < 0.8 * solid


def test_sums_stand_on_their_slip_and_follow_a_changed_number(window: MainWindow, qtbot) -> None:
    index = next(i for i, operation in enumerate(OPERATIONS) if operation.number == 80)
    qtbot.waitUntil(lambda: window.session.sums is not None, timeout=60_000)
    window.sheet.open_slip(index)
    before = {sheet.name: sheet.gist for sheet in window.session.sums.sheets}
    window.sheet.slip.open_section("numbers of: ")
    mass = next(
        row
        for row in window.sheet.slip.rows.values()
        if row.field.path == ("sums", "heat", "mass_kg")
    )
    old = float(mass.text)
    mass.editor.setText(f"{old * 1.25:g}")
    mass.editor.setModified(True)
    mass.take()
    assert value_at(window.document.job, mass.field.path) == pytest.approx(old * 1.25)
    qtbot.waitUntil(lambda: window.session.sums is not None, timeout=60_000)
    direct = background.sums(window.document.job)
    after = {sheet.name: sheet.gist for sheet in window.session.sums.sheets}
    assert after == {sheet.name: sheet.gist for sheet in direct.sheets}
    # A heavier vehicle heats the ring more: the energy of a stop grows with its mass.
    assert after["heat"] != before["heat"]


@pytest.mark.parametrize("inch", [False, True])
@pytest.mark.parametrize("amount_mm", [2.4061, 2.4, 0.001, 3.0, 2.446171])
def test_amount_that_cures_is_never_told_smaller_than_it_is(
    qapp, inch: bool, amount_mm: float
) -> None:
    look = Look()
    look.set(inch=inch)
    told = float(look.length_up(amount_mm)) * (25.4 if inch else 1.0)
    step = 0.001 * 25.4 if inch else 0.01
    assert amount_mm - 1e-6 <= told < amount_mm + step


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("1.87 ±0.31 mm where 4.00 mm is asked", "0.074 ±0.012 in where 0.157 in is asked"),
        ("1.87\u00a0±0.31\u00a0mm where", "0.074\u00a0±0.012\u00a0in where"),
        ("(Ø70.00 in Ø64.00)", "(Ø2.756 in Ø2.520)"),
        ("overlaps by −0.50 mm", "overlaps by −0.020 in"),
        ("U at 95.4 %, 6 gaps of 26", "U at 95.4 %, 6 gaps of 26"),
    ],
)  # fmt: skip
def test_sentences_tell_their_lengths_in_inch(qapp, told: str, shown: str) -> None:
    """1 in is 25.4 mm (NIST SP 811)."""
    look = Look()
    assert look.sentence(told) == told
    look.set(inch=True)
    assert look.sentence(told) == shown


def test_section_and_strip_are_drawn_in_the_unit_shown(
    window: MainWindow, qtbot, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(background, "section", lambda *args: asked.append(args[-1]))
    monkeypatch.setattr(background, "strip", lambda *args: asked.append(args[-1]))
    press(window, Qt.Key.Key_U)
    qtbot.waitUntil(lambda: len(asked) >= 2, timeout=30_000)
    assert set(asked) == {"in"}


def test_table_of_a_sum_reads_as_sentences_with_the_unit_behind_its_number() -> None:
    heads = ("order", "amplitude, mm", "phase, °", "fit")
    told = [(f.label, f.text) for f in _grid(Grid("x", heads, (("1", "0.02", "48", "H7"),)))]
    assert told == [("order 1", "amplitude 0.02 mm, phase 48°, fit H7")]
    warm = next(iter(_grid(Grid("x", ("°C", "seen"), (("430", "stayed"),)))))
    assert (warm.label, warm.text) == ("430 °C", "seen stayed")
    assert _whole("needed 0.050 mm at 12 places") == "needed 0.050\u00a0mm at 12 places"
