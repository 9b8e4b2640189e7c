"""Nothing lost in the real window: killed while it works, files moved or changed, closing."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from window_support import DEMO, SCANS, choose, needs_window

needs_window()

from PySide6.QtWidgets import QFileDialog, QMessageBox  # noqa: E402

from clearturn.corner.sources import file_sha256, troubled_files  # noqa: E402
from clearturn.job.edits import path_of, value_at, with_value  # noqa: E402
from clearturn.job.file import load_job  # noqa: E402
from clearturn_app.document import opened  # noqa: E402

pytestmark = pytest.mark.gui

SPACER = path_of("axles[0].corner.seat_stack.spacer_mm")

# A real window changes a number, and is killed while it checks, or while it saves again and again.
CHILD = """
import os, signal, sys, threading
from pathlib import Path
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from clearturn.job.edits import path_of, with_value
from clearturn_app.document import opened
from clearturn_app.views.picture_process import PictureProcess
from clearturn_app.window.main import MainWindow
PictureProcess._start = lambda self: None
spacer = path_of("axles[0].corner.seat_stack.spacer_mm")
application = QApplication([])

def never_ends(job, folder, progress):
    while True:
        progress.report(0.5, "checking")
        threading.Event().wait(0.01)

window = MainWindow(opened(sys.argv[1]), checker=never_ends)
window.show()
window.start()
document = window.document
document.edit("spacer", with_value(document.job, spacer, 3.0))

def wait_for_it():
    if not window.safe.file.exists() or not window.tasks.running("check"):
        return
    print("at work", flush=True)
    if sys.argv[2] == "check":
        os.kill(os.getpid(), signal.SIGKILL)
    again(4.0)

def again(value):
    document.edit("spacer", with_value(document.job, spacer, value))
    window.saving.save_to(document.path, then=lambda: again(7.0 - value))

timer = QTimer()
timer.timeout.connect(wait_for_it)
timer.start(20)
if sys.argv[2] == "save":
    timer.setSingleShot(False)
application.exec()
"""


def killed(job_file: Path, when: str, wait_s: float = 0.0) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(job_file), when], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "at work\n"
    if when == "save":
        time.sleep(wait_s)
        os.kill(child.pid, signal.SIGKILL)
    child.communicate(timeout=60)
    assert child.returncode == -signal.SIGKILL


def test_job_of_a_window_killed_while_it_checks_is_offered_and_taken_up(
    make, qtbot, job_file: Path
) -> None:
    before = job_file.read_bytes()
    killed(job_file, "check")
    assert job_file.read_bytes() == before
    window = make(opened(DEMO))
    assert window.sheet.note.heading == "A JOB WAS NOT SAVED"
    choose(window, "take it up")
    assert value_at(window.document.job, SPACER) == 3.0
    assert window.document.path == job_file
    assert not window.document.is_clean
    qtbot.waitUntil(lambda: window.session.is_current, timeout=60_000)


@pytest.mark.parametrize("wait_s", [0.0, 0.017, 0.041, 0.093])
def test_file_of_a_window_killed_while_it_saves_is_whole(
    make, job_file: Path, wait_s: float
) -> None:
    killed(job_file, "save", wait_s)
    in_file = value_at(load_job(job_file), SPACER)
    assert in_file in (0.0, 3.0, 4.0)
    # What was put aside last is offered, unless the last save had just ended well.
    window = make(opened(DEMO))
    if window.sheet.note.isVisible():
        choose(window, "take it up")
        assert value_at(window.document.job, SPACER) in (3.0, 4.0)
    else:
        assert in_file in (3.0, 4.0)


def test_missing_scan_is_asked_for_and_its_sibling_found_with_it(
    make, qtbot, job_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "elsewhere"
    other.mkdir()
    for name in SCANS:
        shutil.move(job_file.parent / name, other / name)
    window = make(opened(job_file))
    qtbot.waitUntil(lambda: window.sheet.note.heading == "A FILE IS NOT WHERE IT WAS",
                    timeout=30_000)  # fmt: skip
    assert SCANS[0] in window.sheet.note.lines[0]
    monkeypatch.setattr(
        QFileDialog, "getOpenFileName", lambda *_a, **_k: (str(other / SCANS[0]), "")
    )
    choose(window, "look for it")
    qtbot.waitUntil(lambda: window.session.is_current, timeout=30_000)
    scans = window.document.job.axles[0].corner.scans
    assert [scan.path for scan in scans] == [f"../elsewhere/{name}" for name in SCANS]
    assert window.document.stack.count() == 1
    window.document.stack.undo()
    assert [scan.path for scan in window.document.job.axles[0].corner.scans] == list(SCANS)


def test_another_file_is_told_by_its_hash_and_only_taken_when_asked_to(
    make, qtbot, job_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = job_file.parent
    (folder / SCANS[0]).rename(folder / "old.stl")
    shutil.copy(folder / SCANS[1], folder / "other.stl")
    window = make(opened(job_file))
    note = window.sheet.note
    qtbot.waitUntil(lambda: note.heading == "A FILE IS NOT WHERE IT WAS", timeout=30_000)
    monkeypatch.setattr(
        QFileDialog, "getOpenFileName", lambda *_a, **_k: (str(folder / "other.stl"), "")
    )
    choose(window, "look for it")
    qtbot.waitUntil(lambda: note.heading == "THAT IS ANOTHER FILE", timeout=30_000)
    assert window.document.is_clean
    monkeypatch.setattr(
        QFileDialog, "getOpenFileName", lambda *_a, **_k: (str(folder / "old.stl"), "")
    )
    choose(window, "look again")
    qtbot.waitUntil(lambda: window.session.is_current, timeout=30_000)
    scan = window.document.job.axles[0].corner.scans[0]
    assert (scan.path, scan.sha256) == ("old.stl", file_sha256(folder / "old.stl"))


def test_changed_scan_is_told_and_can_be_taken_as_it_is_now(make, qtbot, job_file: Path) -> None:
    scan = job_file.parent / SCANS[1]
    data = bytearray(scan.read_bytes())
    data[-3] ^= 1
    scan.write_bytes(bytes(data))
    window = make(opened(job_file))
    note = window.sheet.note
    qtbot.waitUntil(lambda: note.heading == "A FILE HAS CHANGED", timeout=30_000)
    choose(window, "take it all the same")
    qtbot.waitUntil(lambda: window.session.is_current, timeout=30_000)
    assert window.document.job.axles[0].corner.scans[1].sha256 == file_sha256(scan)
    assert troubled_files(window.document.job, job_file.parent) == ()


@pytest.mark.parametrize(
    ("answer", "closes", "written"),
    [("Cancel", False, 0.0), ("Discard", True, 0.0), ("Save", True, 3.0)],
)
def test_unsaved_work_is_asked_about_on_closing(
    make, qtbot, job_file: Path, monkeypatch: pytest.MonkeyPatch, answer: str, closes: bool,
    written: float,
) -> None:  # fmt: skip
    window = make(opened(job_file))
    window.document.edit("spacer", with_value(window.document.job, SPACER, 3.0))
    asked = threading.Event()

    def question(*_a, **_k):
        asked.set()
        return getattr(QMessageBox.StandardButton, answer)

    monkeypatch.setattr(QMessageBox, "question", question)
    window.close()
    assert asked.is_set()
    if closes:
        qtbot.waitUntil(lambda: not window.isVisible(), timeout=30_000)
    else:
        assert window.isVisible()
    assert value_at(load_job(job_file), SPACER) == written
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
