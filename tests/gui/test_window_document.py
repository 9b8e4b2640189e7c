"""The window's document, its history and its background tasks, without a window."""

from __future__ import annotations

import gc
import random
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from window_support import DEMO, needs_window

needs_window()

from clearturn import kept  # noqa: E402
from clearturn.errors import InputError, JobProblem  # noqa: E402
from clearturn.job.edits import path_of, with_value  # noqa: E402
from clearturn.job.file import job_sha256, load_job, save_job  # noqa: E402
from clearturn_app.document import Document, opened, rebased  # noqa: E402
from clearturn_app.tasks import Tasks  # noqa: E402
from clearturn_app.window import background  # noqa: E402

pytestmark = pytest.mark.gui

SPACER = path_of("axles[0].corner.seat_stack.spacer_mm")
EDITS = {
    "axles[0].corner.seat_stack.spacer_mm": (0.0, 3.0, 5.0),
    "axles[0].corner.rotor.ring_thickness_mm": (32.0, 34.0, 36.0),
    "axles[0].corner.caliper.outer_radius_mm": (199.0, 201.9, 203.0),
    "axles[0].corner.coverage_factor": (2.0, 1.65),
    "notes": ("a", "b"),
}


@pytest.fixture
def document(qapp) -> Document:
    return opened(DEMO)


def test_edit_is_undone_and_redone_by_name(document: Document) -> None:
    first = document.job
    assert document.edit("spacer 0 → 3 mm", with_value(first, SPACER, 3.0))
    second = document.job
    assert second != first
    assert document.stack.undoText() == "spacer 0 → 3 mm"
    document.stack.undo()
    assert document.job is first
    document.stack.redo()
    assert document.job is second


def test_edit_to_the_same_job_is_no_step(document: Document) -> None:
    assert not document.edit("nothing", with_value(document.job, SPACER, 0.0))
    assert document.stack.count() == 0


def test_faulty_job_is_refused_and_changes_nothing(document: Document) -> None:
    before = document.job
    with pytest.raises(JobProblem):
        document.edit("spacer", with_value(before, SPACER, -1.0))
    assert document.job is before
    assert document.stack.count() == 0


def test_dragging_merges_into_one_step_and_back_to_start_into_none(document: Document) -> None:
    first = document.job
    for value in (1.0, 2.0, 3.0):
        document.edit("spacer", with_value(document.job, SPACER, value), merge="spacer")
    assert document.stack.count() == 1
    document.edit("spacer", with_value(document.job, SPACER, 0.0), merge="spacer")
    assert document.stack.count() == 0
    assert document.job == first


def test_several_edits_can_be_one_step(document: Document) -> None:
    first = document.job
    with document.one_step("both"):
        document.edit("spacer", with_value(document.job, SPACER, 3.0))
        document.edit("notes", with_value(document.job, ("notes",), "x"))
    document.stack.undo()
    assert document.job == first


def test_200_random_walks_through_the_history_come_back_to_the_same_job(
    document: Document,
) -> None:
    first = document.job
    chance = random.Random(6)
    for _ in range(200):
        for _ in range(chance.randint(1, 8)):
            move = chance.random()
            if move < 0.6:
                key = chance.choice(sorted(EDITS))
                value = chance.choice(EDITS[key])
                merge = key if chance.random() < 0.3 else ""
                document.edit(key, with_value(document.job, path_of(key), value), merge=merge)
            elif move < 0.85:
                document.stack.undo()
            else:
                document.stack.redo()
        end = job_sha256(document.job)
        steps = document.stack.index()
        while document.stack.canUndo():
            document.stack.undo()
        assert document.job == first
        document.stack.setIndex(steps)
        assert job_sha256(document.job) == end
        document.stack.setIndex(0)


def test_star_follows_the_saved_state(document: Document, tmp_path: Path) -> None:
    path = tmp_path / "job.clearturn.json"
    assert document.is_clean
    document.edit("spacer", with_value(document.job, SPACER, 3.0))
    assert not document.is_clean
    moved = rebased(document.job, document.folder, tmp_path)
    save_job(moved, path)
    document.saved_as(moved, path)
    assert document.is_clean
    assert document.path == path
    document.edit("spacer", with_value(document.job, SPACER, 5.0))
    assert not document.is_clean
    document.stack.undo()
    assert document.is_clean


def test_change_made_while_saving_is_not_taken_for_saved(
    document: Document, tmp_path: Path
) -> None:
    written = rebased(document.job, document.folder, tmp_path)
    document.edit("spacer", with_value(document.job, SPACER, 3.0))
    document.saved_as(written, tmp_path / "job.clearturn.json")
    assert not document.is_clean


def test_paths_lead_to_the_same_files_from_another_folder(tmp_path: Path) -> None:
    job = load_job(DEMO)
    moved = rebased(job, DEMO.parent, tmp_path)
    for old, new in zip(job.axles[0].corner.scans, moved.axles[0].corner.scans, strict=True):
        assert (DEMO.parent / old.path).samefile(tmp_path / new.path)
        assert "\\" not in new.path
        assert not new.path.startswith("/")
    assert rebased(moved, tmp_path, DEMO.parent) == job


def test_recovered_job_is_unsaved_from_the_start(document: Document) -> None:
    document.replace(replace(document.job, notes="x"), document.folder, DEMO, unsaved=True)
    assert not document.is_clean
    assert document.stack.count() == 0


def test_task_gives_its_answer_and_error_on_the_own_thread(qtbot) -> None:
    tasks = Tasks()
    told: list[object] = []
    here = threading.current_thread()

    def tell(value: object) -> None:
        told.append((value, threading.current_thread() is here))

    def refuse(_progress: object) -> None:
        raise InputError("no")

    tasks.start("a", lambda _p: 7, done=tell, failed=tell)
    qtbot.waitUntil(lambda: bool(told))
    assert told == [(7, True)]
    tasks.start("a", refuse, done=tell, failed=tell)
    qtbot.waitUntil(lambda: len(told) == 2)
    error, same_thread = told[1]  # type: ignore[misc]
    assert isinstance(error, InputError)
    assert same_thread
    assert tasks.wait(5.0)


def test_answer_of_a_replaced_task_is_dropped(qtbot) -> None:
    tasks = Tasks()
    go = threading.Event()
    told: list[object] = []

    def slow(_progress: object) -> str:
        go.wait(30)
        return "old"

    old = tasks.start("check", slow, done=told.append, failed=told.append)
    tasks.start("check", lambda _p: "new", done=told.append, failed=told.append)
    assert old.progress.cancelled
    go.set()
    qtbot.waitUntil(lambda: bool(told))
    assert tasks.wait(5.0)
    qtbot.wait(50)
    assert told == ["new"]


def test_cancelled_task_tells_nothing_and_stops(qtbot) -> None:
    tasks = Tasks()
    started = threading.Event()
    told: list[object] = []

    def endless(progress) -> None:
        started.set()
        while True:
            progress.report(0.5, "turning")

    tasks.start("check", endless, done=told.append, failed=told.append, shown=True)
    assert started.wait(10)
    qtbot.waitUntil(lambda: tasks.shown is not None and tasks.shown.text == "turning")
    tasks.cancel_all()
    assert tasks.shown is None
    assert tasks.wait(10)
    qtbot.wait(20)
    assert told == []


def test_nothing_is_begun_once_the_window_is_closed(qtbot) -> None:
    """A thread that still works at the end of the process would end it by a crash."""
    tasks = Tasks()
    told: list[object] = []
    ended = threading.Event()

    def work(progress) -> None:
        try:
            while True:
                progress.check()
        finally:
            ended.set()

    tasks.start("check", work, done=told.append, failed=told.append)
    tasks.close()
    task = tasks.start("check", lambda _progress: told.append("ran"), done=told.append,
                       failed=told.append)  # fmt: skip
    assert task.progress.cancelled
    assert not tasks.running("check")
    assert tasks.wait(10)
    assert ended.is_set()
    qtbot.wait(50)
    assert told == []


def test_lost_names_are_looked_for_again_once_the_engine_is_read(monkeypatch, tmp_path) -> None:
    seen = []
    monkeypatch.setattr(background, "when_read", lambda: seen.append(gc.isenabled()))
    monkeypatch.setattr(kept, "kept_check", lambda *_a, **_k: gc.isenabled())
    assert gc.isenabled()
    # Off while it is read, on while it works.
    assert background.checked(None, tmp_path, None) is True
    assert seen == [False]

    def fails() -> None:
        raise MemoryError

    monkeypatch.setattr(background, "when_read", fails)
    with pytest.raises(MemoryError):
        background.checked(None, tmp_path, None)
    assert gc.isenabled()
