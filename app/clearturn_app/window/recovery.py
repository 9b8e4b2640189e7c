"""Nothing lost: the job is put aside while it has unsaved changes, and offered after a crash."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtCore import QLockFile

from clearturn.errors import ClearturnError
from clearturn.job.file import job_json, parse_job
from clearturn.job.model import Job
from clearturn.progress import Progress, check

_SUFFIX = ".unsaved.json"


def state_folder() -> Path:
    """Return the folder for what the window remembers; made if it is not there."""
    base = os.environ.get("XDG_STATE_HOME", "")
    try:
        folder = (Path(base) if base else Path.home() / ".local" / "state") / "clearturn"
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except (OSError, RuntimeError):  # no home, or not ours to write
        folder = Path(tempfile.gettempdir()) / "clearturn-state"
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


@dataclass(frozen=True)
class Kept:
    """A job that was put aside by a window that did not end well.

    Attributes
    ----------
    file : Path
        Where it was put aside.
    job : Job
    folder : Path
        What its paths are relative to.
    path : Path or None
        Its own file.
    when : float
        Seconds since the epoch.
    """

    file: Path
    job: Job
    folder: Path
    path: Path | None
    when: float


class Safekeeping:
    """Puts one window's job aside; a lock tells whether that window still lives."""

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder or state_folder()
        self._file = self._folder / f"{os.getpid()}-{secrets.token_hex(4)}{_SUFFIX}"
        self._lock = QLockFile(str(self._file) + ".lock")
        self._lock.setStaleLockTime(0)  # stale only if its process is gone
        self._lock.tryLock(0)
        self._turn = threading.Lock()

    @property
    def file(self) -> Path:
        """Where the job is put aside."""
        return self._file

    def put(
        self, job: Job, folder: Path, path: Path | None, progress: Progress | None = None
    ) -> None:
        """Put a job aside: wholly, or as it was before.

        Raises
        ------
        Cancelled
            If a newer state is to be put aside.
        """
        with self._turn:  # a slow disk would else put an older state over a newer one
            check(progress)
            self._put(job, folder, path)

    def _put(self, job: Job, folder: Path, path: Path | None) -> None:
        told = {
            "path": None if path is None else str(path),
            "folder": str(folder),
            "when": time.time(),
            "job": json.loads(job_json(job)),
        }
        temporary = self._file.with_suffix(f".{secrets.token_hex(4)}.part")
        try:
            with temporary.open("w", encoding="utf-8") as file:
                json.dump(told, file, ensure_ascii=False)
                file.flush()
                os.fsync(file.fileno())
            temporary.replace(self._file)
        finally:
            temporary.unlink(missing_ok=True)

    def drop(self) -> None:
        """Forget the job: it is saved, or not wanted."""
        with contextlib.suppress(OSError):
            self._file.unlink(missing_ok=True)

    def close(self) -> None:
        """End safekeeping when the window has ended well."""
        self.drop()
        self._lock.unlock()

    def left_behind(self) -> Iterator[Kept]:
        """Yield the jobs of windows that are gone, newest first."""
        files = sorted(self._folder.glob(f"*{_SUFFIX}"), key=_age)
        for file in files:
            if file == self._file:
                continue
            lock = QLockFile(str(file) + ".lock")
            lock.setStaleLockTime(0)
            if not lock.tryLock(0):
                continue  # its window is open
            lock.unlock()
            kept = _read(file)
            if kept is None:
                with contextlib.suppress(OSError):  # nothing anyone could use
                    file.rename(file.with_suffix(".unreadable"))
            else:
                yield kept


def _age(file: Path) -> float:
    try:
        return -file.stat().st_mtime
    except OSError:
        return 0.0


def _read(file: Path) -> Kept | None:
    try:
        told: Any = json.loads(file.read_text(encoding="utf-8"))
        job = parse_job(json.dumps(told["job"]), file=str(file)).job
        path = None if told["path"] is None else Path(told["path"])
        return Kept(file, job, Path(told["folder"]), path, float(told["when"]))
    except (OSError, ValueError, KeyError, TypeError, ClearturnError):
        return None
