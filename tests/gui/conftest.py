"""What a window must not leave behind once it is closed: itself, processes, threads, files."""

from __future__ import annotations

import gc
import os
import tempfile
import threading
import weakref
from collections.abc import Iterator
from pathlib import Path

import pytest

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
