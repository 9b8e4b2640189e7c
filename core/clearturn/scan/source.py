"""Open what the user named, once, and refuse what is not a plain file.

A name can be anything: a folder, a pipe that nobody writes to, a link that points at itself, a
file one may not read.  Each is told in one sentence; nothing here waits.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import stat
import threading
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearturn.errors import FileProblem
from clearturn.progress import Progress, check

HASH_SLICE = 1 << 23  # bytes read or hashed between two looks at cancelling

_KINDS = (
    (stat.S_ISDIR, "this is a folder, not a file", "name a file in it"),
    (stat.S_ISFIFO, "this is a pipe, not a file", "write the data to a file first"),
    (stat.S_ISSOCK, "this is a socket, not a file", "write the data to a file first"),
    (stat.S_ISCHR, "this is a device, not a file", "name a plain file"),
    (stat.S_ISBLK, "this is a device, not a file", "name a plain file"),
)

_SYSTEM = {
    errno.ENOENT: ("there is no such file", "check the name and the folder"),
    errno.ENOTDIR: ("a part of this path is a file, not a folder", "check the path"),
    errno.ELOOP: ("these links point at each other in a circle", "name the real file"),
    errno.EACCES: ("this file may not be read", "ask for the right to read it, or copy it"),
    errno.EPERM: ("this file may not be read", "ask for the right to read it, or copy it"),
    errno.ENAMETOOLONG: ("this name is too long", "give the file a shorter name"),
    errno.ENXIO: ("this is not a plain file", "name a plain file"),
    errno.EIO: ("the disk could not deliver this file", "copy it from the source again"),
}


class Source:
    """The bytes of one open file.

    They are read, not mapped: a mapped file that shrinks under its reader ends the program.

    Attributes
    ----------
    file : str
        The name as given, for messages.
    size : int
        Bytes in the file when it was opened.
    """

    def __init__(self, file: str, handle: int) -> None:
        self.file = file
        self._handle = handle
        found = os.fstat(handle)
        self.size = found.st_size
        self._as_opened = _state(found)
        self._stream = io.FileIO(handle, closefd=False)
        self._turn = threading.Lock()  # the place in the stream belongs to one at a time
        self._data: NDArray[np.uint8] | None = None

    def __del__(self) -> None:
        os.close(self._handle)

    @property
    def data(self) -> NDArray[np.uint8]:
        """The content, (size,); read when it is first asked for."""
        return self.load()

    def load(self, progress: Progress | None = None) -> NDArray[np.uint8]:
        """Read the content, if it is not yet, and return it.

        Raises
        ------
        FileProblem
            If the file has become shorter or cannot be read.
        Cancelled
        """
        if self._data is None:
            data = np.empty(self.size, np.uint8)
            for start in range(0, self.size, HASH_SLICE):
                check(progress)
                self._read(start, data[start : start + HASH_SLICE])
            self._data = data
        return self._data

    def head(self, count: int) -> bytes:
        """Return the first `count` bytes, or fewer."""
        first = np.empty(min(count, self.size), np.uint8)
        self._read(0, first)
        return first.tobytes()

    def sha256(self, progress: Progress | None = None) -> str:
        """Return the hash of the content, hexadecimal; may run beside the reading."""
        digest = hashlib.sha256()
        block = np.empty(min(HASH_SLICE, self.size), np.uint8)
        for start in range(0, self.size, HASH_SLICE):
            check(progress)
            part = block[: self.size - start]
            self._read(start, part)
            digest.update(part.data)
        return digest.hexdigest()

    def check_unchanged(self) -> None:
        """Raise `FileProblem` if the file was written to since it was opened."""
        if _state(os.fstat(self._handle)) != self._as_opened:
            raise self._changed()

    def line_at(self, at: int) -> int:
        """Return the number of the line byte `at` lies in, counted from 1."""
        lines = 1
        for start in range(0, at, HASH_SLICE):
            lines += int(np.count_nonzero(self.data[start : min(at, start + HASH_SLICE)] == 10))
        return lines

    def _read(self, start: int, into: NDArray[np.uint8]) -> None:
        try:
            with self._turn:
                self._stream.seek(start)
                done = 0
                while done < len(into):
                    count = self._stream.readinto(into[done:].data)
                    if not count:
                        raise self._changed()
                    done += count
        except OSError as error:
            raise _told(self.file, error) from None

    def _changed(self) -> FileProblem:
        return FileProblem(
            "this file was changed while it was being read", file=self.file,
            mend="wait until it is written, then read it again",
        )  # fmt: skip


def _state(found: os.stat_result) -> tuple[int, int]:
    return found.st_size, found.st_mtime_ns


def open_source(path: str | os.PathLike[str]) -> Source:
    """Open a plain file; nothing of it is read yet.

    Parameters
    ----------
    path : path
        Any name; it may hold any bytes the system allows.

    Raises
    ------
    FileProblem
        If it is not there, not a plain file, empty or not readable.
    """
    name = os.fspath(path)
    if not name:
        raise FileProblem("no file is named", mend="name a file")
    try:
        # A pipe would wait for its writer, so it is looked at before it is opened, and the
        # opening itself does not wait either should the name change in between.
        _refuse_other(name, Path(name).stat().st_mode)
        handle = os.open(name, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY)
    except OSError as error:
        raise _told(name, error) from None
    except ValueError:  # a zero byte in the name
        raise FileProblem(
            "a file name cannot hold a zero byte", file=name, mend="check the name"
        ) from None
    try:
        source = Source(name, handle)
        _refuse_other(name, os.fstat(handle).st_mode)
    except OSError as error:
        raise _told(name, error) from None
    if source.size == 0:
        raise FileProblem("this file is empty", file=name, mend="export or copy it again")
    return source


_BINARY = getattr(os, "O_BINARY", 0)


def _refuse_other(name: str, mode: int) -> None:
    for is_kind, problem, mend in _KINDS:
        if is_kind(mode):
            raise FileProblem(problem, file=name, mend=mend)


def _told(name: str, error: OSError) -> FileProblem:
    problem, mend = _SYSTEM.get(
        error.errno or 0, (f"the system cannot open this file ({error.strerror})", "copy it first")
    )
    return FileProblem(problem, file=name, mend=mend)
