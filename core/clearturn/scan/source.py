"""Open what the user named, once, and refuse what is not a plain file.

A name can be anything: a folder, a pipe that nobody writes to, a link that points at itself, a
file one may not read.  Each is told in one sentence; nothing here waits.
"""

from __future__ import annotations

import errno
import hashlib
import mmap
import os
import stat
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearturn.errors import FileProblem
from clearturn.progress import Progress, check

HASH_SLICE = 1 << 23  # bytes hashed between two looks at cancelling

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


@dataclass(frozen=True, slots=True)
class Source:
    """The bytes of one file, mapped into memory.

    Attributes
    ----------
    file : str
        The name as given, for messages.
    data : (size,) uint8
        The content, read-only; pages come in as they are touched.
    """

    file: str
    data: NDArray[np.uint8]
    _map: mmap.mmap | None = field(default=None, repr=False)

    @property
    def size(self) -> int:
        """Bytes in the file."""
        return len(self.data)

    def head(self, count: int) -> bytes:
        """Return the first `count` bytes, or fewer."""
        return self.data[:count].tobytes()

    def sha256(self, progress: Progress | None = None) -> str:
        """Return the hash of the content, hexadecimal."""
        digest = hashlib.sha256()
        for start in range(0, self.size, HASH_SLICE):
            check(progress)
            digest.update(self.data[start : start + HASH_SLICE].data)
        return digest.hexdigest()

    def line_at(self, at: int) -> int:
        """Return the number of the line byte `at` lies in, counted from 1."""
        lines = 1
        for start in range(0, at, HASH_SLICE):
            lines += int(np.count_nonzero(self.data[start : min(at, start + HASH_SLICE)] == 10))
        return lines


def open_source(path: str | os.PathLike[str]) -> Source:
    """Map a plain file.

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
        found = os.fstat(handle)
        _refuse_other(name, found.st_mode)
        if found.st_size == 0:
            raise FileProblem("this file is empty", file=name, mend="export or copy it again")
        mapped = mmap.mmap(handle, found.st_size, access=mmap.ACCESS_READ)
    except OSError as error:
        raise _told(name, error) from None
    finally:
        os.close(handle)
    return Source(name, np.frombuffer(mapped, np.uint8), mapped)


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
