"""Progress and cancelling, without any window type.

Long work takes ``progress: Progress | None = None`` and calls :meth:`Progress.report` and
:meth:`Progress.check` between slices of 20 to 50 ms.  ``None`` is allowed everywhere.
"""

from __future__ import annotations

import threading
import weakref
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from clearturn.errors import Cancelled

Listener = Callable[[float, str], None]


class _Asked:
    """Whether the user asked to stop, for one task and the tasks within it."""

    def __init__(self) -> None:
        self.event = threading.Event()
        self.stop = np.zeros(1, np.uint8)
        self._inner: weakref.WeakSet[_Asked] = weakref.WeakSet()
        self._lock = threading.Lock()

    def set(self) -> None:
        self.event.set()
        # After it, so that who stops by the number finds the task cancelled.
        self.stop[0] = 1
        with self._lock:
            inner = tuple(self._inner)
        for one in inner:
            one.set()

    def add(self, one: _Asked) -> None:
        with self._lock:
            self._inner.add(one)
        if self.event.is_set():  # perhaps only just before it was added
            one.set()


class Progress:
    """What a running task tells and asks.

    Parameters
    ----------
    listener : callable, optional
        Called as ``listener(fraction, text)`` from the working thread, fraction in 0 … 1.
    """

    def __init__(self, listener: Listener | None = None) -> None:
        self._listener = listener
        self._asked = _Asked()
        self._low = 0.0
        self._high = 1.0

    def report(self, fraction: float, text: str = "") -> None:
        """Tell how far the work is (0 … 1), then raise `Cancelled` if the user asked to stop."""
        self.check()
        if self._listener is not None:
            fraction = min(max(fraction, 0.0), 1.0)
            self._listener(self._low + (self._high - self._low) * fraction, text)

    def check(self) -> None:
        """Raise `Cancelled` if the user asked to stop."""
        if self._asked.event.is_set():
            raise Cancelled

    def cancel(self) -> None:
        """Ask the work to stop; callable from any thread."""
        self._asked.set()

    @property
    def stop(self) -> NDArray[np.uint8]:
        """One number for compiled work to look at, not 0 once the user asked to stop."""
        return self._asked.stop

    @property
    def cancelled(self) -> bool:
        """Whether the user asked to stop."""
        return self._asked.event.is_set()

    def part(self, low: float, high: float) -> Progress:
        """Return a view that maps 0 … 1 to ``low … high`` of this one and shares its cancelling."""
        child = Progress(self._listener)
        child._asked = self._asked
        span = self._high - self._low
        child._low = self._low + span * low
        child._high = self._low + span * high
        return child

    def silent(self) -> Progress:
        """Return a view that shares the cancelling and tells nothing, for work side by side."""
        child = Progress()
        child._asked = self._asked
        return child

    def within(self) -> Progress:
        """Return one for a piece of the work: silent, cancelled with this one or by itself."""
        child = Progress()
        self._asked.add(child._asked)
        return child


def report(progress: Progress | None, fraction: float, text: str = "") -> None:
    """Report on `progress` if there is one."""
    if progress is not None:
        progress.report(fraction, text)


def check(progress: Progress | None) -> None:
    """Raise `Cancelled` if `progress` is there and was cancelled."""
    if progress is not None:
        progress.check()


def stop_of(progress: Progress | None) -> NDArray[np.uint8]:
    """Return `Progress.stop`, or one that is never set.

    Compiled work that sees it set returns at once with whatever it has; `check` must follow.
    """
    return np.zeros(1, np.uint8) if progress is None else progress.stop


def silent(progress: Progress | None) -> Progress | None:
    """Return `Progress.silent` of `progress`, or None."""
    return None if progress is None else progress.silent()


def part(progress: Progress | None, low: float, high: float) -> Progress | None:
    """Return the part of `progress` from `low` to `high`, or None."""
    return None if progress is None else progress.part(low, high)
