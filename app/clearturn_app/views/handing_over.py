"""Hand a result's meshes over to the corner picture's process."""

from __future__ import annotations

import json
import math
import os
import re
import secrets
import shutil
import tempfile
import threading
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QLockFile

from clearturn.result import CheckResult, Motion, PairResult

if TYPE_CHECKING:
    from clearturn.corner.sources import Source
    from clearturn.mesh import Mesh

_OURS = re.compile(r"clearturn-corner-\d+-[0-9a-f]{16}")
_LOCK = ".lock"


class HandOver:
    """The folder through which one window hands meshes to its picture's process.

    It is made when something is first handed over; then what windows that are gone have left is
    swept away.  A lock beside it tells whether its window still lives.

    Parameters
    ----------
    base : Path, optional
        Where such folders lie; the system's folder for temporary files if not given.
    """

    def __init__(self, base: Path | None = None) -> None:
        self._base = base
        self._making = threading.Lock()  # what is handed over is written by threads
        self._lock: QLockFile | None = None
        self._numbers = count(1)
        self._closed = False
        self.folder: Path | None = None

    def result(self, result: CheckResult) -> Path:
        """Write parts and places below the requirement into a new folder and return it."""
        arrays: dict[str, Any] = {}
        names = [part.name for part in result.parts]
        for k, part in enumerate(result.parts):
            arrays[f"vertices{k}"] = part.mesh.vertices.astype(np.float32)
            arrays[f"faces{k}"] = part.mesh.faces
        below: dict[int, int] = {}
        for index, pair in enumerate(result.pairs):
            faces = [place.faces for place in pair.places if len(place.faces)]
            if faces and pair.first in names:
                below[index] = names.index(pair.first)
                arrays[f"below{index}"] = np.concatenate(faces)
                arrays[f"bands{index}"] = bands(result, pair).astype(np.float32)
        return self._scene(arrays, [str(part.motion) for part in result.parts], below)

    def scan(self, source: Source) -> Path:
        """Write the cleaned faces of a scan, in its own pose, into a new folder and return it."""
        mesh = source.cleaned
        arrays = {"vertices0": mesh.vertices.astype(np.float32), "faces0": mesh.faces}
        return self._scene(arrays, [str(Motion.FIXED)], {})

    def lit(self, mesh: Mesh) -> Path:
        """Write a surface that lights up into a new file and return it."""
        file = self._new("lit").with_suffix(".npz")
        np.savez(file, vertices=mesh.vertices.astype(np.float32), faces=mesh.faces)
        return file

    def drop_before(self, handed: Path) -> None:
        """Remove what was handed over before something of the same kind: nobody reads it now."""
        kind, number = handed.stem.split("-")
        for old in handed.parent.glob(f"{kind}-*"):
            if int(old.stem.split("-")[1]) < int(number):
                _remove(old)

    def close(self) -> None:
        """Remove the folder; called when the window closes and its process has ended."""
        with self._making:
            self._closed = True
            if self.folder is not None:
                _remove(self.folder)
            if self._lock is not None:
                self._lock.unlock()
                self._lock = None

    def _scene(self, arrays: dict[str, Any], motions: list[str], below: dict[int, int]) -> Path:
        folder = self._new("scene")
        folder.mkdir()
        np.savez(folder / "parts.npz", **arrays)
        (folder / "scene.json").write_text(json.dumps({"motions": motions, "below": below}))
        return folder

    def _new(self, kind: str) -> Path:
        with self._making:
            if self.folder is None and not self._closed:
                self.folder = self._made(self._base or Path(tempfile.gettempdir()))
            if self.folder is None:
                raise FileNotFoundError("the window is closed")
            return self.folder / f"{kind}-{next(self._numbers)}"

    def _made(self, base: Path) -> Path:
        sweep(base)
        folder = base / f"clearturn-corner-{os.getpid()}-{secrets.token_hex(8)}"
        # Locked before it is there, so that another window never takes it for one left behind.
        self._lock = _lock_of(folder)
        self._lock.tryLock(0)
        folder.mkdir(mode=0o700)
        return folder


def bands(result: CheckResult, pair: PairResult) -> NDArray[np.float64]:
    """Return the lines of every whole millimetre of gap below what is asked, (n, 2, 3)."""
    from clearturn.gap import level_lines

    parts = {part.name: part for part in result.parts}
    first, second = parts.get(pair.first), parts.get(pair.second)
    asked = pair.required_mm + pair.allowances_mm + pair.expanded_uncertainty_mm
    levels = [float(level) for level in range(1, math.ceil(asked))]
    if first is None or second is None or not levels:
        return np.empty((0, 2, 3))
    faces = np.concatenate([place.faces for place in pair.places])
    found = level_lines(first.mesh, faces, second.mesh, levels, turning=pair.motion == "turning")
    return np.concatenate(found)


def sweep(base: Path) -> None:
    """Remove the folders of windows whose process is gone; never one whose lock is missing."""
    for lock_file in base.glob(f"clearturn-corner-*{_LOCK}"):
        folder = lock_file.with_suffix("")
        if not _OURS.fullmatch(folder.name):
            continue
        lock = _lock_of(folder)
        if lock.tryLock(0):  # else its window is open, or it is not ours to remove
            _remove(folder)
            lock.unlock()


def _lock_of(folder: Path) -> QLockFile:
    lock = QLockFile(f"{folder}{_LOCK}")
    lock.setStaleLockTime(0)  # stale only if its process is gone
    return lock


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)
