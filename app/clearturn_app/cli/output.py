"""How commands speak: answers on stdout, progress and messages on stderr."""

from __future__ import annotations

import json
import math
import os
import shutil
import signal
import sys
import threading
import time
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import FrameType
from typing import Any

import numpy as np

from clearturn.errors import Cancelled, ClearturnError, InputError
from clearturn.findings import Finding
from clearturn.progress import Progress

# What scripts may rely on (docs/manual/command-line.md).
EXIT_DONE = 0
EXIT_FAILS = 1
EXIT_BAD_INPUT = 2
EXIT_NOT_PROVEN = 3
EXIT_BUG = 70  # the number sysexits.h gives to an internal software error
EXIT_CANCELLED = 130  # 128 + SIGINT, as a shell reports it
EXIT_PIPE_CLOSED = 141  # 128 + SIGPIPE, as a shell reports it

_SECONDS_BETWEEN_DRAWS = 0.1


def print_json(answer: Mapping[str, Any]) -> None:
    """Print one JSON object on stdout.

    Parameters
    ----------
    answer : mapping
        May hold numpy numbers and arrays, enums of str and nested mappings and sequences.

    Raises
    ------
    ValueError
        If a number is NaN or infinite: an unknown must be None with a finding that says why.
    """
    text = json.dumps(plain(answer), allow_nan=False, ensure_ascii=False, indent=2)
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:  # an old terminal, or a file name that is no valid text
        text = json.dumps(plain(answer), allow_nan=False, ensure_ascii=True, indent=2)
    print(text)


def plain(value: Any) -> Any:
    """Return `value` with numpy numbers and arrays turned into Python's own.

    Raises
    ------
    ValueError
        If a number is NaN or infinite.
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, str):  # before Sequence; turns enums of str into their text
        return str(value)
    if isinstance(value, np.generic | np.ndarray):
        return plain(value.tolist())
    if isinstance(value, Sequence | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{value} has no place in JSON")
        return value + 0.0  # never "-0.0"
    return value


def say(text: str = "") -> None:
    """Print one line of a message on stderr, which may be closed."""
    try:
        sys.stderr.write(text + "\n")
        sys.stderr.flush()
    except (OSError, ValueError, AttributeError):
        pass  # nobody listens


def say_findings(findings: Iterable[Finding]) -> None:
    """Print each finding as a line on stderr."""
    for finding in findings:
        say(f"{finding.severity}: {finding.text}")


def table(rows: Sequence[Sequence[str]], *, right: Iterable[int] = (), gap: int = 2) -> str:
    """Return rows as text in columns.

    Parameters
    ----------
    rows : sequence of sequence of str
        The first row is the heading, underlined.
    right : iterable of int
        Columns set flush right.
    gap : int
        Blanks between columns.
    """
    if not rows:
        return ""
    widths = [max(_cells(row[i]) for row in rows) for i in range(len(rows[0]))]
    flush = set(right)
    lines = []
    for number, row in enumerate(rows):
        cells = [
            _pad(cell, width, right=column in flush)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append((" " * gap).join(cells).rstrip())
        if number == 0:
            lines.append((" " * gap).join("-" * width for width in widths))
    return "\n".join(lines)


def _cells(text: str) -> int:
    # How many places a terminal gives the text: wide East Asian signs take two, accents none.
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _pad(text: str, width: int, *, right: bool) -> str:
    blanks = " " * (width - _cells(text))
    return blanks + text if right else text + blanks


@contextmanager
def naming(file: str | os.PathLike[str]) -> Iterator[None]:
    """Name `file` in faults found while working on it, which know a part or datum at most.

    Raises
    ------
    InputError
        Instead of whatever told its fault without a file.
    """
    try:
        yield
    except Cancelled:
        raise
    except InputError as error:
        if error.file is not None:
            raise
        raise InputError(
            error.problem, file=os.fspath(file), place=error.place, found=error.found,
            allowed=error.allowed, mend=error.mend,
        ) from None  # fmt: skip
    except ClearturnError as error:
        raise InputError(str(error), file=os.fspath(file)) from None


@contextmanager
def progress_bar(*, quiet: bool = False) -> Iterator[Progress]:
    """Give a `Progress` that draws a bar on stderr if that is a terminal, else stays quiet.

    Ctrl-C cancels the work on every thread at once and ends as `KeyboardInterrupt`.

    Parameters
    ----------
    quiet : bool
        Draw nothing even on a terminal.
    """
    draw = not quiet and _is_terminal()
    bar = _Bar() if draw else None
    progress = Progress(bar.show if bar is not None else None)
    with _interrupt_cancels(progress):
        try:
            yield progress
        finally:
            if bar is not None:
                bar.clear()


def _is_terminal() -> bool:
    try:
        return sys.stderr.isatty()
    except (ValueError, AttributeError):  # closed, or none at all
        return False


class _Bar:
    """One line on stderr, redrawn at most ten times a second, wiped at the end."""

    def __init__(self) -> None:
        self._last = -math.inf
        self._drawn = False
        self._lock = threading.Lock()

    def show(self, fraction: float, text: str) -> None:
        with self._lock:
            now = time.monotonic()
            if now - self._last < _SECONDS_BETWEEN_DRAWS and fraction < 1.0:
                return
            self._last = now
            self._drawn = True
            columns = shutil.get_terminal_size().columns
            width = max(10, min(30, columns - 40))
            done = round(width * fraction)
            line = f"[{'=' * done}{' ' * (width - done)}] {fraction:4.0%} {text}"
            sys.stderr.write("\r\x1b[K" + line[: columns - 1])
            sys.stderr.flush()

    def clear(self) -> None:
        with self._lock:
            if self._drawn:
                sys.stderr.write("\r\x1b[K")
                sys.stderr.flush()


@contextmanager
def _interrupt_cancels(progress: Progress) -> Iterator[None]:
    # Python raises KeyboardInterrupt on the main thread only; our own threads stop because their
    # Progress is cancelled in the same breath.  Being asked to end (SIGTERM) is taken alike: child
    # processes and temporary files must not stay behind.
    before = {
        number: usual
        for number, usual in (
            (signal.SIGINT, signal.default_int_handler),
            (signal.SIGTERM, signal.SIG_DFL),
        )
        if signal.getsignal(number) == usual
    }
    if threading.current_thread() is not threading.main_thread():
        before = {}

    def stop(_number: int, _frame: FrameType | None) -> None:
        progress.cancel()
        raise KeyboardInterrupt

    for number in before:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
