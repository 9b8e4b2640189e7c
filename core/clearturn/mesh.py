"""One mesh type for the whole program: read-only arrays with a content hash."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.errors import InputError

T = TypeVar("T")
Points = NDArray[np.float64]
Faces = NDArray[np.int32]


class Mesh:
    """Triangles in space, never changed after they are made.

    Parameters
    ----------
    vertices : (n, 3) array_like of float
        Corner points, mm.
    faces : (m, 3) array_like of int
        Corner indices, counter-clockwise seen from outside.
    name : str, optional
        What the user calls it; not part of the content hash.

    Raises
    ------
    InputError
        If a shape is wrong, an index is out of range or a coordinate is not finite.
    """

    __slots__ = ("__weakref__", "_cache", "_lock", "_sha256", "faces", "name", "vertices")

    def __init__(self, vertices: ArrayLike, faces: ArrayLike, name: str = "") -> None:
        v = np.ascontiguousarray(vertices, dtype=np.float64)
        f = np.ascontiguousarray(faces, dtype=np.int32)
        if v.ndim != 2 or v.shape[1] != 3:
            raise InputError("vertices must be an (n, 3) array", found=f"shape {v.shape}")
        if f.ndim != 2 or f.shape[1] != 3:
            raise InputError("faces must be an (m, 3) array", found=f"shape {f.shape}")
        if f.size and (int(f.min()) < 0 or int(f.max()) >= len(v)):
            raise InputError(
                "a face names a vertex that is not there",
                found=f"index {int(f.max() if f.min() >= 0 else f.min())}",
                allowed=f"0 to {len(v) - 1}",
            )
        if not np.isfinite(v).all():
            row = int(np.flatnonzero(~np.isfinite(v).all(axis=1))[0])
            raise InputError("a coordinate is not a finite number", place=f"vertex {row}")
        self.vertices: Points = _frozen(v, vertices)
        self.faces: Faces = _frozen(f, faces)
        self.name = name
        self._sha256: str | None = None
        self._cache: dict[Any, Any] = {}
        self._lock = threading.RLock()

    def __repr__(self) -> str:
        return f"Mesh({self.name!r}, {len(self.vertices)} vertices, {len(self.faces)} triangles)"

    def __reduce__(self) -> tuple[type[Mesh], tuple[Points, Faces, str]]:
        # What is cached or locked stays behind.
        return Mesh, (self.vertices, self.faces, self.name)

    @property
    def sha256(self) -> str:
        """Hash of the content: vertices and faces as little-endian bytes."""
        if self._sha256 is None:
            digest = hashlib.sha256(b"clearturn mesh 1")
            digest.update(np.array([len(self.vertices), len(self.faces)], "<i8").tobytes())
            digest.update(_bytes(self.vertices.astype("<f8", copy=False)))
            digest.update(_bytes(self.faces.astype("<i4", copy=False)))
            self._sha256 = digest.hexdigest()
        return self._sha256

    @property
    def bounds(self) -> Points:
        """Least and greatest coordinates, (2, 3), mm."""
        if len(self.vertices) == 0:
            return np.zeros((2, 3))
        # column by column: eight times as fast as along the first axis of three columns
        columns = self.vertices.T
        return np.array([[c.min() for c in columns], [c.max() for c in columns]])

    @property
    def corners(self) -> Points:
        """Corner points of every triangle, (m, 3, 3), mm."""
        return self.vertices[self.faces]

    def moved(self, pose: ArrayLike) -> Mesh:
        """Return this mesh under a rigid motion.

        Parameters
        ----------
        pose : (4, 4) array_like
            Row-major homogeneous matrix.
        """
        m = np.asarray(pose, dtype=np.float64)
        return Mesh(self.vertices @ m[:3, :3].T + m[:3, 3], self.faces, self.name)

    def part(self, faces: ArrayLike, name: str = "") -> Mesh:
        """Return the faces chosen (index or mask), with only the vertices they use."""
        chosen = self.faces[np.asarray(faces)]
        used = np.zeros(len(self.vertices), np.bool_)
        used[chosen.ravel()] = True
        row = np.cumsum(used, dtype=np.int32) - 1
        return Mesh(self.vertices[used], row[chosen], name or self.name)

    def cached(self, key: Any, make: Callable[[], T]) -> T:
        """Return `make()`, made once for this mesh and kept under `key`.

        For search trees and the like, which depend on nothing but the content.
        """
        with self._lock:
            if key not in self._cache:
                self._cache[key] = make()
            value: T = self._cache[key]
            return value


def join(meshes: list[Mesh], name: str = "") -> Mesh:
    """Return all meshes as one, vertices and faces in the order given."""
    offsets = np.cumsum([0] + [len(m.vertices) for m in meshes])
    if not meshes:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32), name)
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + o for m, o in zip(meshes, offsets, strict=False)]),
        name,
    )


def _bytes(array: NDArray[Any]) -> memoryview:
    # Without a copy; a plain cast refuses empty arrays.
    return array.reshape(-1).view(np.uint8).data


def _frozen(array: NDArray[Any], source: object) -> NDArray[Any]:
    # A read-only array of the caller is shared; a writable one is copied so that nobody changes it.
    if array is source or np.shares_memory(array, np.asarray(source)):
        if not array.flags.writeable:
            return array
        array = array.copy()
    array.flags.writeable = False
    return array
