"""What comes while something else is under way: a slow disk, another program, another job."""

from __future__ import annotations

import shutil
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from window_support import DEMO, SCANS, choose, needs_window

needs_window()

from PySide6.QtCore import Qt  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QFileDialog  # noqa: E402

from clearturn.corner.touched_part import touch_part  # noqa: E402
from clearturn.job.edits import path_of, value_at, with_value  # noqa: E402
from clearturn.job.file import load_job, save_job  # noqa: E402
from clearturn_app.document import Document, empty_job, opened  # noqa: E402
from clearturn_app.window import recovery, saving  # noqa: E402
from clearturn_app.window.joining import take_dropped  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402

pytestmark = pytest.mark.gui

SPACER = path_of("axles[0].corner.seat_stack.spacer_mm")
LONG_MS = 60_000


@pytest.fixture
def window(make, qtbot, job_file: Path) -> MainWindow:
    window = make(opened(job_file))
    qtbot.waitUntil(lambda: window.session.is_current, timeout=LONG_MS)
    return window


class SlowDisk:
    """Lets a write end when it is told to."""

    def __init__(self, write) -> None:
        self.gates = [threading.Event(), threading.Event()]
        self._write, self._next = write, iter(self.gates)

    def __call__(self, *given) -> None:
        next(self._next).wait(30)
        self._write(*given)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> SlowDisk:
    slow = SlowDisk(saving.save_job)
    monkeypatch.setattr(saving, "save_job", slow)
    return slow


def change(window: MainWindow, spacer_mm: float) -> None:
    window.document.edit("spacer", with_value(window.document.job, SPACER, spacer_mm))


def saved(window: MainWindow, qtbot) -> None:
    qtbot.waitUntil(lambda: not window.tasks.running("save"), timeout=LONG_MS)


# -- saving ---------------------------------------------------------------------------------


def test_newer_state_is_in_the_file_whichever_save_ends_first(
    window: MainWindow, qtbot, job_file: Path, disk: SlowDisk
) -> None:
    change(window, 3.0)
    window.save()
    qtbot.wait(50)
    change(window, 4.0)
    window.save()
    for gate in reversed(disk.gates):
        gate.set()
        qtbot.wait(100)
    saved(window, qtbot)
    assert window.tasks.wait(30)
    assert window.document.is_clean
    assert value_at(load_job(job_file), SPACER) == 4.0


def test_job_begun_while_another_is_saved_has_not_its_file(
    window: MainWindow, qtbot, job_file: Path, disk: SlowDisk
) -> None:
    change(window, 3.0)
    window.save()
    window.new_job()
    disk.gates[0].set()
    saved(window, qtbot)
    assert value_at(load_job(job_file), SPACER) == 3.0
    assert window.document.path is None
    assert window.document.job.axles[0].corner.scans == ()


def test_what_another_program_wrote_is_only_written_over_when_asked_to(
    window: MainWindow, qtbot, job_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = with_value(load_job(job_file), ("notes",), "by another program")
    save_job(other, job_file)
    change(window, 3.0)
    window.save()
    saved(window, qtbot)
    note = window.sheet.note
    assert note.heading == "THE FILE WAS WRITTEN MEANWHILE"
    assert load_job(job_file) == other
    assert not window.document.is_clean
    beside = tmp_path / "job" / "mine.clearturn.json"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_a, **_k: (str(beside), ""))
    choose(window, "save under another name")
    saved(window, qtbot)
    assert value_at(load_job(beside), SPACER) == 3.0
    assert load_job(job_file) == other
    assert window.document.path == beside
    # Its own file is written again without a word, also after someone has laid it out anew.
    beside.write_text(beside.read_text(encoding="utf-8").replace("\n", "\n "), encoding="utf-8")
    change(window, 4.0)
    window.save()
    saved(window, qtbot)
    assert not note.isVisible()
    assert value_at(load_job(beside), SPACER) == 4.0


def test_second_window_on_a_job_is_told_what_the_first_one_saved(
    make, window: MainWindow, qtbot, job_file: Path
) -> None:
    second = make(opened(job_file))
    change(window, 3.0)
    change(second, 4.0)
    window.save()
    saved(window, qtbot)
    second.save()
    saved(second, qtbot)
    assert value_at(load_job(job_file), SPACER) == 3.0
    choose(second, "save over it")
    saved(second, qtbot)
    assert value_at(load_job(job_file), SPACER) == 4.0
    assert second.document.is_clean


@pytest.mark.parametrize("typed", ["kit 2.5", "kit"])
def test_file_whose_name_got_its_ending_here_is_not_written_over_unasked(
    window: MainWindow, qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    path = tmp_path / f"{typed}.clearturn.json"
    save_job(empty_job("another"), path)
    monkeypatch.setattr(
        QFileDialog, "getSaveFileName", lambda *_a, **_k: (str(tmp_path / typed), "")
    )
    window.save_as()
    saved(window, qtbot)
    assert window.sheet.note.heading == "THERE IS SUCH A FILE"
    assert load_job(path).name == "another"
    choose(window, "save over it")
    saved(window, qtbot)
    assert load_job(path).name == window.document.job.name
    assert window.document.path == path


def test_state_put_aside_last_is_the_newest_and_none_stays_of_a_saved_job(
    window: MainWindow, qtbot, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = SlowDisk(recovery.os.fsync)
    monkeypatch.setattr(recovery.os, "fsync", disk)
    change(window, 3.0)
    window._put_aside()
    qtbot.wait(50)
    change(window, 4.0)
    window._put_aside()
    for gate in reversed(disk.gates):
        gate.set()
        qtbot.wait(100)
    qtbot.waitUntil(lambda: not window.tasks.running("put aside"), timeout=LONG_MS)
    assert window.tasks.wait(30)
    kept = recovery._read(window.safe.file)
    assert kept is not None
    assert value_at(kept.job, SPACER) == 4.0
    monkeypatch.undo()
    disk = SlowDisk(recovery.os.fsync)
    monkeypatch.setattr(recovery.os, "fsync", disk)
    change(window, 5.0)
    window._put_aside()
    for _ in range(3):
        window.document.stack.undo()
    assert window.document.is_clean
    disk.gates[0].set()
    qtbot.waitUntil(lambda: not window.tasks.running("put aside"), timeout=LONG_MS)
    assert not window.safe.file.exists()


# -- another job ----------------------------------------------------------------------------


def test_scans_being_read_do_not_end_in_a_job_opened_meanwhile(
    make, qtbot, job_file: Path, tmp_path: Path
) -> None:
    window = make(Document(empty_job(), tmp_path))
    take_dropped(window, [job_file.parent / name for name in SCANS])
    assert window.tasks.running("take scan")
    other = tmp_path / "other.clearturn.json"
    save_job(empty_job("other"), other)
    assert window.open(other)
    assert window.tasks.wait(60)
    qtbot.wait(50)
    assert window.tasks.wait(60)
    assert window.document.job == empty_job("other")
    assert window.document.is_clean


def test_question_about_the_files_of_a_job_goes_with_it_and_is_asked_once(
    make, qtbot, job_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = tmp_path / "whole"
    shutil.copytree(job_file.parent, whole)
    scan = job_file.parent / SCANS[1]
    scan.write_bytes(scan.read_bytes()[:-3] + b"\1\1\1")
    window = make(opened(job_file))
    note = window.sheet.note
    qtbot.waitUntil(lambda: note.heading == "A FILE HAS CHANGED", timeout=LONG_MS)
    said, say = [], note.say
    monkeypatch.setattr(note, "say", lambda *words, **how: (said.append(words), say(*words, **how)))
    change(window, 3.0)
    qtbot.waitUntil(lambda: (note.heading, *note.lines) in said, timeout=LONG_MS)
    assert note.isVisible()
    assert note._waiting == []
    take = note._shown.choices[1].act
    window.open(whole / DEMO.name)
    assert not note.isVisible()
    qtbot.waitUntil(lambda: window.session.is_current, timeout=LONG_MS)
    # An answer that comes late all the same finds no such file named.
    window.document.edit(
        "where", with_value(window.document.job, ("axles", 0, "corner", "scans", 1, "path"),
                            f"../whole/{SCANS[1]}"),
    )  # fmt: skip
    before = window.document.job
    take()
    assert window.document.job is before
    assert "names this file no more" in note.lines[0]


# -- touching -------------------------------------------------------------------------------


def test_nothing_is_touched_on_the_scan_shown_while_the_wanted_one_is_read(
    window: MainWindow, qtbot
) -> None:
    work = window.session.work
    work.show("wheel")
    qtbot.waitUntil(lambda: work.shown == "wheel", timeout=LONG_MS)
    window.builder.act("touch:hub face")
    assert (work.goal.scan, work.shown) == ("knuckle", "wheel")
    mesh = work.source.cleaned
    middle = mesh.vertices[mesh.faces[1000]].mean(axis=0)
    work.touch(middle + np.array([0.0, 0.0, 5.0]), np.array([0.0, 0.0, -1.0]))
    assert not work.serves
    qtbot.waitUntil(lambda: not window.tasks.running("touch"), timeout=LONG_MS)
    assert work.touched is None
    qtbot.waitUntil(lambda: work.shown == "knuckle", timeout=LONG_MS)


def test_proposals_are_asked_for_once_the_scan_is_there(window: MainWindow, qtbot) -> None:
    work, take = window.session.work, window.sheet.picture.bar.take
    window.builder.act("look:knuckle")
    assert not take.isEnabled()
    QTest.keyClick(window.sheet.picture, Qt.Key.Key_Return)
    assert not window.tasks.running("propose")
    qtbot.waitUntil(lambda: work.shown == "knuckle", timeout=LONG_MS)
    assert take.isEnabled()


def test_what_was_proposed_is_not_taken_on_another_scan_of_the_name(
    window: MainWindow, qtbot
) -> None:
    window.builder.act("look:knuckle")
    work, note = window.session.work, window.sheet.note
    qtbot.waitUntil(lambda: work.serves, timeout=LONG_MS)
    QTest.keyClick(window.sheet.picture, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: note.heading.startswith("PROPOSED"), timeout=LONG_MS)
    job, where = window.document.job, ("axles", 0, "corner", "scans", 0, "sha256")
    window.document.edit("another file", with_value(job, where, "0" * 64))
    before = window.document.job
    choose(window, "accept these")
    assert window.document.job is before
    assert "not there any more; look again" in note.lines[0]


def test_touching_ends_with_the_axle_it_was_begun_for(window: MainWindow) -> None:
    view = window.sheet.view
    window.builder.act("add axle:rear")
    # The new axle shows scans of the same names.
    job = window.document.job
    scans = tuple(replace(one, size_check=()) for one in job.axles[0].corner.scans)
    rear = replace(job.axles[1], corner=replace(job.axles[1].corner,
                                                scans=scans))  # fmt: skip
    window.document.edit("its scans", replace(job, axles=(job.axles[0], rear)))
    window.builder.act("touch:hub face")
    assert window.session.work.axle == 1
    assert window.session.work.goal is not None
    window.document.stack.undo()
    window.document.stack.undo()
    assert window.session.work.axle == 0
    assert window.session.work.goal is None
    assert window.sheet.view == view


def test_place_touched_on_the_old_corner_is_not_shown_on_the_new_one(
    window: MainWindow, qtbot, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen, result, go = window.session.seen, window.session.result, threading.Event()

    def slow(*given, **more):
        go.wait(30)
        return touch_part(*given, **more)

    monkeypatch.setattr("clearturn.corner.touched_part.touch_part", slow)
    part = next(one for one in result.parts if one.name == "caliper")
    middle = part.mesh.vertices[part.mesh.faces[0]].mean(axis=0)
    sight = (middle + np.array([0.0, 0.0, 900.0]), np.array([0.0, 0.0, -1.0]))
    seen.touch(result, sight, 0.0, None)
    window.session.take_result(replace(result))
    go.set()
    qtbot.waitUntil(lambda: not window.tasks.running("touch"), timeout=LONG_MS)
    assert seen.found is None
    seen.touch(result, sight, 0.0, None)
    qtbot.waitUntil(lambda: seen.found is not None, timeout=LONG_MS)
