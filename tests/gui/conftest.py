"""What window tests share, and what a window must not leave behind once it is closed."""

from __future__ import annotations

import gc
import os
import shutil
import tempfile
import threading
import weakref
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from window_support import DEMO, SCANS, cases

_POOL = {"clearturn_0", "clearturn_1", "clearturn_2", "clearturn_3"}  # shared by all windows
_earlier: list[weakref.ref[object]] = []


@pytest.fixture(autouse=True)
def nothing_left(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Hold every window test to it; a test's own window may live as long as the test does."""
    try:
        from PySide6.QtCore import QEvent
        from PySide6.QtWidgets import QApplication

        from clearturn_app.window.main import MainWindow
    except ImportError:  # the test itself says why it is left out
        yield
        return
    made: list[weakref.ref[object]] = []
    begin = MainWindow.__init__

    def begun(self: MainWindow, *args: object, **more: object) -> None:
        begin(self, *args, **more)  # type: ignore[arg-type]
        made.append(weakref.ref(self))

    monkeypatch.setattr(MainWindow, "__init__", begun)
    threads = set(threading.enumerate())
    yield
    application = QApplication.instance()
    if application is None:
        return
    application.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    application.processEvents()
    gc.collect()
    assert [one for one in QApplication.topLevelWidgets() if one.isVisible()] == []
    assert [one() for one in _earlier if one() is not None] == []
    _earlier[:] = made
    fresh = {one.name for one in set(threading.enumerate()) - threads if not one.daemon}
    assert fresh <= _POOL
    assert _children() == []
    assert list(Path(tempfile.gettempdir()).glob(f"clearturn-corner-{os.getpid()}-*")) == []


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    """The demo job with its scans, in a folder of its own."""
    folder = tmp_path / "job"
    folder.mkdir()
    for name in (DEMO.name, *SCANS):
        shutil.copy(DEMO.parent / name, folder / name)
    return folder / DEMO.name


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where windows keep what is theirs; they draw nothing in this test."""
    from clearturn_app.views.picture_process import PictureProcess
    from clearturn_app.window import background

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(background, "section", lambda *_a: None)
    monkeypatch.setattr(background, "strip", lambda *_a: None)
    return tmp_path / "state"


@pytest.fixture
def windows() -> Iterator[list[Any]]:
    """Windows put in here are closed after the test, and must leave no thread behind."""
    made: list[Any] = []
    yield made
    for window in made:
        window.close()
        assert window.tasks.wait(60)


@pytest.fixture
def make(
    qtbot: Any, state: Path, windows: list[Any], monkeypatch: pytest.MonkeyPatch
) -> Callable[[Any], Any]:
    """Make windows that check a job's files as they are, with an invented result."""
    from PySide6.QtWidgets import QMessageBox

    from clearturn.corner.sources import check_files
    from clearturn_app.window.main import MainWindow

    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )

    def checker(job, folder, progress):
        check_files(job, folder, progress=progress)
        return cases("report_cases").demo()

    def one(document):
        window = MainWindow(document, checker=checker)
        qtbot.addWidget(window)
        windows.append(window)
        window.show()
        window.start()
        return window

    return one


def _children() -> list[str]:
    """Return the names of the processes that this one has begun and that still run (Linux)."""
    tasks = Path("/proc/self/task")
    found = []
    for one in tasks.glob("*/children"):
        for number in one.read_text().split():
            try:
                found.append(Path(f"/proc/{number}/comm").read_text().strip())
            except OSError:  # it has just ended
                continue
    return found
