"""Work in the background: one task of a kind at a time, outdated answers dropped.

A task runs on a thread of its own with a `Progress`.  Everything it tells arrives as a signal on
the thread this object lives on, which is the window's.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal

from clearturn.errors import Cancelled
from clearturn.progress import Progress

Work = Callable[[Progress], Any]
_BETWEEN_REPORTS_S = 0.05


@dataclass(eq=False)
class Task:
    """One piece of work under way.

    Attributes
    ----------
    kind : str
        "check", "section", "report", …
    words : str
        What it does, for the title block.
    shown : bool
        Whether the title block tells of it.
    """

    kind: str
    words: str
    done: Callable[[Any], None]
    failed: Callable[[BaseException], None]
    shown: bool
    progress: Progress = field(default_factory=Progress)
    thread: threading.Thread | None = None
    fraction: float = 0.0
    text: str = ""


class Tasks(QObject):
    """Starts, cancels and forgets tasks."""

    progressed = Signal(object)
    """A task has come further, has begun or has ended."""

    _told = Signal(object, float, str)
    _ended = Signal(object, object, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._running: dict[str, Task] = {}
        self._threads: set[threading.Thread] = set()
        self._closed = False
        queued = Qt.ConnectionType.QueuedConnection
        self._told.connect(self._on_told, queued)
        self._ended.connect(self._on_ended, queued)

    def start(
        self,
        kind: str,
        work: Work,
        *,
        done: Callable[[Any], None],
        failed: Callable[[BaseException], None],
        words: str = "",
        shown: bool = False,
    ) -> Task:
        """Run ``work(progress)`` in the background.

        A running task of the same kind is cancelled and its answer dropped.  Nothing is run any
        more once this is closed.

        Parameters
        ----------
        done : callable
            Takes what the work returned, on this object's thread; not called for a task that was
            cancelled or replaced.
        failed : callable
            Takes what the work raised (never `Cancelled`).
        """
        self.cancel(kind)
        task = Task(kind, words, done, failed, shown)
        if self._closed:
            task.progress.cancel()
            return task
        task.progress = Progress(_Teller(task, self._told))
        task.thread = threading.Thread(
            target=self._run, args=(task, work), name=f"window-{kind}", daemon=True
        )
        self._running[kind] = task
        self._threads.add(task.thread)
        task.thread.start()
        self.progressed.emit(task)
        return task

    def cancel(self, kind: str) -> None:
        """Stop the task of a kind, if one runs; its answer is dropped."""
        task = self._running.pop(kind, None)
        if task is not None:
            task.progress.cancel()
            self.progressed.emit(task)

    def cancel_all(self, but: Collection[str] = ()) -> None:
        """Stop everything, but what is of some kinds."""
        for kind in list(self._running):
            if kind not in but:
                self.cancel(kind)

    def close(self) -> None:
        """Stop everything, and begin nothing any more.

        An edit just before the window closes would else begin a check after it: a thread that
        still works while the interpreter is taken down ends the process by a crash.
        """
        self._closed = True
        self.cancel_all()

    def running(self, kind: str) -> bool:
        """Return whether a task of a kind is under way and its answer still wanted."""
        return kind in self._running

    @property
    def shown(self) -> Task | None:
        """The task the title block tells of: the one that was started last."""
        told = [task for task in self._running.values() if task.shown]
        return told[-1] if told else None

    def wait(self, seconds: float = 30.0) -> bool:
        """Wait for every thread to end; called when the window closes.

        Returns
        -------
        bool
            False if one did not in time.
        """
        deadline = time.monotonic() + seconds
        for thread in list(self._threads):
            thread.join(max(0.0, deadline - time.monotonic()))
        self._threads = {thread for thread in self._threads if thread.is_alive()}
        return not self._threads

    def _run(self, task: Task, work: Work) -> None:
        value: Any = None
        error: BaseException | None = None
        try:
            value = work(task.progress)
        except BaseException as raised:
            error = raised
        try:
            self._ended.emit(task, value, error)
        except RuntimeError:  # the window is gone, and with it this object's other half
            return

    def _on_told(self, task: Task, fraction: float, text: str) -> None:
        if self._running.get(task.kind) is task:
            task.fraction = fraction
            task.text = text or task.text
            self.progressed.emit(task)

    def _on_ended(self, task: Task, value: Any, error: BaseException | None) -> None:
        if task.thread is not None:
            self._threads.discard(task.thread)
        if self._running.get(task.kind) is not task:
            return  # cancelled or replaced: nobody waits for this answer
        del self._running[task.kind]
        self.progressed.emit(task)
        if error is None:
            task.done(value)
        elif not isinstance(error, Cancelled):
            task.failed(error)


class _Teller:
    """Hands on a task's reports, but not faster than anyone can see."""

    def __init__(self, task: Task, told: Any) -> None:
        self._task = task
        self._told = told
        self._last = -1.0

    def __call__(self, fraction: float, text: str) -> None:
        now = time.monotonic()
        if now - self._last < _BETWEEN_REPORTS_S and fraction < 1.0:
            return
        self._last = now
        try:
            self._told.emit(self._task, fraction, text)
        except RuntimeError:  # as above
            return
