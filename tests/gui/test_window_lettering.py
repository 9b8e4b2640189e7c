"""The lettering of the sheet: what is written is to be read, whole and with enough contrast."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from window_support import DEMO, cases, needs_window

needs_window()

from PySide6.QtCore import QPoint, QRect, Qt  # noqa: E402
from PySide6.QtGui import QColor, QFontMetricsF, QImage, QPainter  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QLineEdit  # noqa: E402

from clearturn.drawing import Tone  # noqa: E402
from clearturn.errors import InputError  # noqa: E402
from clearturn.trade.sheet import Ruling, Sheet  # noqa: E402
from clearturn.trade.sums import SumsResult  # noqa: E402
from clearturn_app.document import opened  # noqa: E402
from clearturn_app.resources.colours import BLUE, PAPER  # noqa: E402
from clearturn_app.resources.words import KEYS  # noqa: E402
from clearturn_app.sheets.operations import OPERATIONS, told  # noqa: E402
from clearturn_app.views import gap_list  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.views.title_block import broken  # noqa: E402
from clearturn_app.window import background  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402
from clearturn_app.window.session import State  # noqa: E402

pytestmark = pytest.mark.gui

REPORT = cases("report_cases")
TEXT = (Tone.INK, Tone.QUIET, Tone.ALERT)


class Checker:
    """Gives a result or raises; waits while `gate` is shut."""

    def __init__(self, result: object) -> None:
        self.result = result
        self.gate = threading.Event()
        self.gate.set()

    def __call__(self, _job, _folder, progress):
        while not self.gate.wait(0.01):
            progress.report(0.4, "gap of caliper and wheel")
        progress.check()
        if isinstance(self.result, Exception):
            raise self.result
        return self.result


@pytest.fixture
def checker() -> Checker:
    return Checker(REPORT.demo())


@pytest.fixture
def window(qtbot, checker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[MainWindow]:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(background, "section", lambda *_a: None)
    monkeypatch.setattr(background, "strip", lambda *_a: None)
    made = MainWindow(opened(DEMO), checker=checker)
    qtbot.addWidget(made)
    made.resize(1280, 800)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow, timeout=60_000)
    made.start()
    qtbot.waitUntil(lambda: made.session.is_current, timeout=60_000)
    yield made
    made.close()
    assert made.tasks.wait(60)


def _luminance(colour: QColor) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    parts = [colour.redF(), colour.greenF(), colour.blueF()]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    low, high = sorted(_luminance(QColor(colour)) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("sheet", [PAPER, BLUE], ids=["paper", "blue"])
@pytest.mark.parametrize("ground", ["chosen", "slip", "field", "paper"])
def test_every_tone_of_lettering_has_the_contrast_of_wcag_aa_on_every_ground(
    sheet, ground: str
) -> None:
    """WCAG 2.1, success criterion 1.4.3: 4.5 : 1."""
    tones = sheet.tones.colours
    under = tones[Tone.PAPER] if ground == "paper" else getattr(sheet, ground)
    for tone in TEXT:
        assert _contrast(tones[tone], under) >= 4.5, (ground, tone)


@pytest.mark.parametrize("sheet", [PAPER, BLUE], ids=["paper", "blue"])
def test_names_written_on_parts_and_borders_of_fields_are_seen(sheet) -> None:
    """WCAG 2.1: 4.5 : 1 for text (1.4.3), 3 : 1 for the edge of what one can use (1.4.11)."""
    tones = sheet.tones.colours
    for part in (Tone.TURNS, Tone.FIXED, Tone.POSED):
        assert _contrast(tones[Tone.INK], tones[part]) >= 4.5
    assert _contrast(tones[Tone.QUIET], sheet.slip) >= 3.0


def _written(monkeypatch: pytest.MonkeyPatch, view) -> list[str]:
    """Return what a view writes when it is painted."""
    texts: list[str] = []
    real = QPainter.drawText

    def drawn(self, *args):
        texts.extend(arg for arg in args if isinstance(arg, str))
        return real(self, *args)

    with monkeypatch.context() as patch:
        patch.setattr(QPainter, "drawText", drawn)
        view.render(QImage(view.size(), QImage.Format.Format_RGB32), QPoint())
    return texts


def test_nothing_of_the_demo_is_cut_off_on_the_smallest_sheet(window, monkeypatch) -> None:
    for view in (window.sheet.card, window.sheet.gaps, window.sheet.title):
        texts = _written(monkeypatch, view)
        assert len(texts) > 5
        assert [text for text in texts if "…" in text] == []


@pytest.mark.parametrize("inch", [False, True])
@pytest.mark.parametrize("zoom", [1.0, 2.0])
def test_gap_and_margin_stand_apart_in_the_gap_list(window, inch: bool, zoom: float) -> None:
    window.look.set(inch=inch, zoom=zoom)
    rows, columns = window.sheet.gaps.rows, window.sheet.gaps._columns()
    figures = QFontMetricsF(window.look.font("figures", 15))
    assert sum(bool(row.margin) for row in rows) > 5
    for row in rows:
        ends = columns["least"][1], columns["margin"][1] - figures.horizontalAdvance(row.margin)
        assert ends[1] - ends[0] >= window.look.px(10), row


def test_rows_are_shown_whole_and_from_the_same_one_at_every_size(window) -> None:
    gaps = window.sheet.gaps
    for _ in range(5):
        QTest.keyClick(gaps, Qt.Key.Key_Down)
    gaps._scroll_to(3)
    for size, zoom in (((1280, 800), 2.0), ((1500, 950), 1.0), ((1640, 1000), 1.5)):
        window.resize(*size)
        window.look.set(zoom=zoom)
        first = gaps._bar.value() / window.look.px(gap_list.ROW_PX)
        assert first == pytest.approx(round(first), abs=0.03)
        chosen = next(n for n, row in enumerate(gaps.rows) if gaps._is_chosen(row))
        box = gaps.row_box(chosen)
        assert gaps._top() - 1.0 <= box.top()
        assert box.bottom() <= gaps._top() + gaps._room() + 1.0


def test_long_names_that_begin_alike_stay_apart_in_the_gap_list(window) -> None:
    image = QImage(400, 50, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    painter.setFont(window.look.font("text", 11))
    names = ("caliper bridge bolt head, upper", "caliper bridge bolt head, lower")
    first, second = gap_list._names(names, painter, 180.0).split(" – ")
    painter.end()
    assert first != second


def test_a_text_is_broken_before_it_is_cut(window) -> None:
    image = QImage(400, 50, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    painter.setFont(window.look.font("text", 11))
    wide = painter.fontMetrics().horizontalAdvance("one two three")
    assert broken("one two three four five", painter, wide, 2) == ["one two three", "four five"]
    assert broken("", painter, wide, 2) == [""]
    (cut,) = broken("Bremssattelhalterungsverschraubung", painter, wide, 2)
    assert "…" in cut
    assert painter.fontMetrics().horizontalAdvance(cut) <= wide
    painter.end()


def test_tab_walks_down_a_slip_before_it_comes_to_the_signature(window) -> None:
    slip = window.sheet.slip
    window.sheet.open_slip(2)
    slip.setFocus()
    seen = []
    for _ in range(5):
        QTest.keyClick(window.focusWidget(), Qt.Key.Key_Tab)
        seen.append(window.focusWidget().accessibleName())
    fields = [name for name in seen if name in slip.rows]
    assert fields == list(slip.rows)[: len(fields)]
    assert len(fields) >= 2
    assert slip._name.accessibleName() not in seen


def test_a_long_text_has_the_room_the_slip_has(window) -> None:
    window.sheet.open_slip(9)
    job = window.sheet.slip.rows["job"].editor
    assert isinstance(job, QLineEdit)
    text = job.text()
    assert job.fontMetrics().horizontalAdvance(text) < job.contentsRect().width() - 10


def test_a_choice_bears_the_dots_of_a_word_that_does_something(window) -> None:
    window.sheet.open_slip(0)
    rows = window.sheet.slip.rows
    ink, look = window.look.tone(Tone.INK), window.look

    def dots(kind: str) -> int:
        editor = next(row.editor for row in rows.values() if row.field.kind == kind)
        image = editor.grab().toImage()
        y = editor.height() - round(look.px(4.5))
        dark = [
            any(abs(image.pixelColor(x, y + by).lightness() - ink.lightness()) < 120
                for by in (-1, 0))
            for x in range(6, editor.width() - 6)
        ]  # fmt: skip
        return sum(one and not other for one, other in itertools.pairwise(dark))

    assert dots("choice") >= 5
    assert dots("length") <= 1


def test_a_sum_that_fails_is_told_in_words_and_not_by_hatching_alone(window) -> None:
    job, look = window.document.job, window.look
    hub = next(one for one in OPERATIONS if one.number == 70)
    ruling = Ruling("clamp load", "40 kN", "at least 60 kN", "fails")
    failing = SumsResult((Sheet("bolts", "Bolts", "too loose", rulings=(ruling,)),), ())
    clear = REPORT.clearing()
    assert told(hub, job, clear, failing, look) == "1 sum fails"
    assert told(hub, job, clear, None, look) != "1 sum fails"


def test_a_check_that_cannot_be_repeated_takes_its_verdict_away(window, checker, qtbot) -> None:
    checker.result = InputError("the scan is gone", file="knuckle.stl")
    window.session.check_now()
    qtbot.waitUntil(lambda: window.session.state is State.REFUSED, timeout=60_000)
    verdict, words, _ = window.sheet.title.verdict()
    assert verdict is None
    assert words == "cannot be checked"


def test_a_second_check_that_is_stopped_leaves_the_first_one_standing(window, checker) -> None:
    checker.gate.clear()
    window.session.check_now()
    window.session.stop()
    checker.gate.set()
    assert window.session.is_current
    assert window.session.state is State.CURRENT


def test_keys_stand_in_columns_and_no_text_lies_on_another(window) -> None:
    window.show_keys()
    note = window.sheet.note
    inside = note.width() - 2 * window.look.px(18)
    starts = set()
    for line in note.lines:
        cells = note._cells(line, inside)
        assert all(a.right() <= b.left() for (a, _), (b, _) in itertools.pairwise(cells))
        assert cells[-1][0].right() <= inside
        starts.add(tuple(box.left() for box, _ in cells))
    assert len(starts) == 1
    told = {text for line in note.lines for text in line.split("\t") if text}
    assert told == {text for row in KEYS for text in row}


def test_the_sheet_at_200_percent_needs_no_more_than_a_screen_of_2560_by_1440(window) -> None:
    window.look.set(zoom=2.0)
    assert window.sheet.minimumWidth() <= 2560
    assert window.sheet.minimumHeight() <= 1440


def test_the_words_of_a_note_stand_at_its_foot_also_when_it_takes_another_s_place(window) -> None:
    note = window.sheet.note
    note.say("A HEADING", "A sentence.")
    note.say("A HEADING", "Another sentence.", first=True)
    foot = note.height() - window.look.px(10)
    for _ in range(2):
        (word,) = note.words
        assert word.geometry().bottom() == pytest.approx(foot, abs=2)
        assert word.x() >= window.look.px(10)
        note.put_away()


def test_a_note_is_seen_whole_wherever_a_large_sheet_is_scrolled_to(window, qtbot) -> None:
    window.look.set(zoom=2.0)
    window.sheet.note.say("A HEADING", "A sentence that is long enough to be broken. " * 4)
    bars = window.table.horizontalScrollBar(), window.table.verticalScrollBar()
    qtbot.waitUntil(lambda: all(bar.maximum() > 0 for bar in bars), timeout=60_000)
    note, port = window.sheet.note, window.table.viewport()
    for at in (0.0, 0.5, 1.0):
        for bar in bars:
            bar.setValue(round(at * bar.maximum()))
        shown = QRect(note.mapTo(port, QPoint(0, 0)), note.size())
        assert port.rect().contains(shown), at
