"""Results kept from one check of a job to the next, found again by the content of all that went in.

An edit changes a little of a job.  What a step of the check is given is hashed, every field and
every number of it; where nothing of that has changed, the step's result is the one it gave before.
A step therefore gets only what it may depend on, and cannot be stale by something it never saw.
"""

from __future__ import annotations

import dataclasses
import enum
import hashlib
import struct
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import PurePath
from typing import Any, TypeVar

import numpy as np

from clearturn.mesh import Mesh

T = TypeVar("T")
#: A result that so many checks in a row did not ask for is dropped: an edit can be taken back.
_ROUNDS = 3


class KeptSteps:
    """Results of pure functions by the content of their arguments, and meshes by their own.

    One check at a time works with it.  Results are frozen, so handing out the same one again is
    as good as working it out anew.
    """

    def __init__(self) -> None:
        self._results: dict[bytes, tuple[int, Any]] = {}
        self._meshes: dict[tuple[str, str], tuple[int, Mesh]] = {}
        self._round = 0
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._results)

    def begin(self) -> None:
        """Begin another check; what the last few did not ask for is dropped."""
        with self._lock:
            self._round += 1
            oldest = self._round - _ROUNDS
            self._results = {k: v for k, v in self._results.items() if v[0] >= oldest}
            self._meshes = {k: v for k, v in self._meshes.items() if v[0] >= oldest}

    def result(self, name: str, work: Callable[[], T], *given: object) -> T:
        """Return ``work()``, or what it gave when everything in `given` was the same.

        Parameters
        ----------
        name : str
            Of the step: two steps may be given the same.
        work : callable
            Depends on nothing but `given` and what never changes.
        *given : dataclasses, meshes, arrays, mappings, sequences, numbers, words
            All that the result depends on.

        Raises
        ------
        TypeError
            If something in `given` has no content that can be hashed.
        """
        key = fingerprint((name, given))
        with self._lock:
            known = self._results.get(key)
            if known is not None:
                self._results[key] = (self._round, known[1])
                value: T = known[1]
                return value
        made = work()
        with self._lock:
            self._results[key] = (self._round, made)
        return made

    def mesh(self, mesh: Mesh) -> Mesh:
        """Return a mesh of the same content and name that was here before, trees and all."""
        key = (mesh.sha256, mesh.name)
        with self._lock:
            known = self._meshes.get(key, (0, mesh))[1]
            self._meshes[key] = (self._round, known)
        return known


def kept_step(steps: KeptSteps | None, name: str, work: Callable[[], T], *given: object) -> T:
    """Return ``work()``, kept if there is anything to keep it in."""
    return work() if steps is None else steps.result(name, work, *given)


def fingerprint(value: object) -> bytes:
    """Return a hash of everything a value holds: types, names of fields, numbers to the last bit.

    Raises
    ------
    TypeError
        If it holds something without a content of its own, such as a function.
    """
    digest = hashlib.sha256()
    for chunk in _chunks(value):
        # With its length before it, so that what follows cannot be taken for a part of it.
        digest.update(struct.pack("<q", len(chunk)))
        digest.update(chunk)
    return digest.digest()


def _chunks(value: object) -> Iterator[bytes]:
    kind = type(value)
    yield f"{kind.__module__}.{kind.__qualname__}".encode()
    if value is None:
        return
    if isinstance(value, enum.Enum):
        yield value.name.encode()
    elif isinstance(value, bool | int | str | PurePath):
        yield str(value).encode("utf-8", "surrogatepass")
    elif isinstance(value, bytes):
        yield value
    elif isinstance(value, float):
        yield struct.pack("<d", value)
    elif isinstance(value, Mesh):
        yield value.sha256.encode()
        yield value.name.encode()
    elif isinstance(value, np.ndarray | np.generic):
        array = np.asarray(value)
        if array.dtype.hasobject:
            raise TypeError("an array of objects has no content that can be hashed")
        yield f"{array.dtype.str} {array.shape}".encode()
        yield np.ascontiguousarray(array).tobytes()
    else:
        yield from _members(value)


def _members(value: object) -> Iterator[bytes]:
    """What things made of other things hold."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            yield field.name.encode()
            yield from _chunks(getattr(value, field.name))
    elif isinstance(value, Mapping):
        yield str(len(value)).encode()
        # In their own order: a result may follow it.
        for key, one in value.items():
            yield from _chunks(key)
            yield from _chunks(one)
    elif isinstance(value, tuple | list):
        yield str(len(value)).encode()
        for one in value:
            yield from _chunks(one)
    elif isinstance(value, set | frozenset):
        yield from sorted(fingerprint(one) for one in value)
    else:
        raise TypeError(f"{type(value).__name__} has no content that can be hashed")
