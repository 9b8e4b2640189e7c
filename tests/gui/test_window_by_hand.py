"""Sizes measured by hand, written into the window: taken in, changed, taken away, judged."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from window_support import cases, needs_window

needs_window()

from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QMessageBox  # noqa: E402
from window_hand import Hand  # noqa: E402

from clearturn.check import check  # noqa: E402
from clearturn.job.file import load_job, parse_job, save_job  # noqa: E402
from clearturn.result import Verdict  # noqa: E402
from clearturn_app.document import Document  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402

pytestmark = pytest.mark.gui

MADE: Any = cases("job_cases")
REGISTER = "register, diameter"


@pytest.fixture
def hand(qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    job = parse_job(json.dumps(MADE.write_corner(tmp_path))).job

    def checker(job, folder, progress):
        return check(job, folder=folder, progress=progress)

    window = MainWindow(Document(job, tmp_path), checker=checker)
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow, timeout=60_000)
    window.start()
    hand = Hand(window, qtbot, monkeypatch)
    hand.wait(lambda: window.session.is_current)
    yield hand
    window.close()
    assert window.tasks.wait(60)


def sizes(hand: Hand):
    return hand.corner.scans[0].size_check


def take_in(hand: Hand, size: str, value: str, room: str = "0.02", tool: str = "micrometer"):
    hand.operation(0)
    hand.fill("hand size", {"measured": size, "size as read": value, "± of it": room, "with": tool})


def test_size_measured_by_hand_is_taken_in_judged_changed_and_taken_away(
    hand: Hand, tmp_path: Path
) -> None:
    document = hand.window.document
    before = document.job
    take_in(hand, REGISTER, f"{2 * MADE.SPIGOT_RADIUS:g}")
    (one,) = sizes(hand)
    assert (one.kind, one.datums, one.value_mm) == ("diameter", ("register",), 70.0)
    assert (one.uncertainty_mm, one.instrument) == (0.02, "micrometer")
    assert document.stack.undoText().endswith("measured by hand")
    hand.wait(lambda: hand.window.session.is_current)
    (found,) = hand.window.session.result.size_checks
    assert found.state == "agrees"
    # A scan a hundredth too small is off, and leaves the job not proven at best.
    hand.set_number(REGISTER, "70.7")
    assert sizes(hand)[0].value_mm == 70.7
    hand.wait(lambda: hand.window.session.is_current)
    (found,) = hand.window.session.result.size_checks
    assert found.state == "off"
    assert hand.window.session.result.verdict is not Verdict.CLEARS
    path = tmp_path / "corner.clearturn.json"
    save_job(document.job, path)
    assert load_job(path).axles[0].corner.scans[0].size_check == sizes(hand)
    hand.deed(f"drop size:knuckle:{REGISTER}")
    assert sizes(hand) == ()
    for _ in range(3):
        document.stack.undo()
    assert document.job == before


def test_second_size_of_one_feature_gets_a_number(hand: Hand) -> None:
    take_in(hand, REGISTER, "70")
    QTest.qWait(50)
    take_in(hand, REGISTER, "70.01", tool="bore gauge")
    assert [one.name for one in sizes(hand)] == [REGISTER, f"{REGISTER} 2"]


def test_size_without_its_instrument_is_refused_in_words(hand: Hand) -> None:
    take_in(hand, REGISTER, "70", tool=" ")
    assert sizes(hand) == ()
    fault = hand.slip.forms["hand size"].faults["instrument"]
    assert fault.isVisible()
    assert fault.text().startswith("Nothing is written here yet")
