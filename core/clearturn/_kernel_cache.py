"""Where compiled kernels are kept, and which of them are out of date.

numba keeps them beside the source or in the user's home.  Where both are read-only it finds no
place and refuses to compile, so a folder that can be written is named before numba is imported.

numba notices a change in a kernel's own file, not in another file whose functions it calls.  So
what was compiled from a file is dropped when a kernel file it imports has changed.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import tempfile
from collections.abc import Iterable
from pathlib import Path

_HERE = Path(__file__).resolve().parent
_TAKES = re.compile(r"^from clearturn\.(\w+)\.(_kernels\w*) import", re.MULTILINE)


def choose_cache_folder() -> None:
    """Set ``NUMBA_CACHE_DIR`` unless the user has set it or numba can find a place itself."""
    if os.environ.get("NUMBA_CACHE_DIR") or _source_is_writable():
        return
    for folder in _candidates():
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError:
            continue
        if _writable(folder) and _ours(folder):
            os.environ["NUMBA_CACHE_DIR"] = str(folder)
            return


def drop_outdated() -> None:
    """Drop what was compiled from files that take functions from a kernel file since changed."""
    files = {f"{path.parent.name}.{path.stem}": path for path in _HERE.glob("*/_kernels*.py")}
    stamps = {}
    for name, path in files.items():
        state = path.stat()
        stamps[name] = f"{state.st_mtime_ns} {state.st_size}"
    # Nothing here may keep the program from starting: at worst a kernel is compiled once more.
    with contextlib.suppress(OSError):
        note = _note()
        known = _known(note)
        if known == stamps:
            return
        changed = {name for name in stamps if known.get(name) != stamps[name]}
        for name in _takers(files, changed):
            for made in cache_files(files[name].parent, name.partition(".")[2]):
                made.unlink(missing_ok=True)
        note.parent.mkdir(exist_ok=True)
        unfinished = note.with_suffix(f".{os.getpid()}")
        unfinished.write_text(json.dumps(stamps), encoding="utf-8")
        unfinished.replace(note)


def cache_files(package: Path, module: str = "_kernels*") -> Iterable[Path]:
    """Return the compiler's index files of a package's kernel files."""
    chosen = os.environ.get("NUMBA_CACHE_DIR")
    if chosen:
        # numba names the folder after the source's and a hash of its whole path.
        return list(Path(chosen).glob(f"{package.name}_*/{module}.*.nbi"))
    return list((package / "__pycache__").glob(f"{module}.*.nbi"))


def _takers(files: dict[str, Path], changed: set[str]) -> set[str]:
    """Return the files that import a changed one, directly or through others."""
    takes = {
        name: {".".join(found) for found in _TAKES.findall(path.read_text(encoding="utf-8"))}
        for name, path in files.items()
    }
    outdated: set[str] = set()
    while True:
        more = {name for name, taken in takes.items() if taken & (changed | outdated)}
        if more <= outdated:
            return outdated
        outdated |= more


def _note() -> Path:
    """Return the file that says which kernel files the cache was made from."""
    chosen = os.environ.get("NUMBA_CACHE_DIR")
    if not chosen:
        return _HERE / "gap" / "__pycache__" / "kernel_files.json"
    source = hashlib.sha256(os.fsencode(_HERE)).hexdigest()[:16]
    return Path(chosen) / f"clearturn-{source}.json"


def _known(note: Path) -> dict[str, str]:
    try:
        known = json.loads(note.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return known if isinstance(known, dict) else {}


def _source_is_writable() -> bool:
    # One folder speaks for all: they were installed together.
    folder = _HERE / "gap"
    kept = folder / "__pycache__"
    return _writable(kept if kept.is_dir() else folder)


def _candidates() -> list[Path]:
    folders = []
    if os.environ.get("XDG_CACHE_HOME"):
        folders.append(Path(os.environ["XDG_CACHE_HOME"]) / "clearturn" / "kernels")
    with contextlib.suppress(RuntimeError):  # no home at all
        folders.append(Path.home() / ".cache" / "clearturn" / "kernels")
    user = str(os.getuid()) if hasattr(os, "getuid") else "user"
    folders.append(Path(tempfile.gettempdir()) / f"clearturn-kernels-{user}")
    return folders


def _writable(folder: Path) -> bool:
    return folder.is_dir() and os.access(folder, os.W_OK)


def _ours(folder: Path) -> bool:
    # Compiled code is loaded from here: never from a folder that somebody else prepared or may
    # write into.
    if not hasattr(os, "getuid"):
        return True
    state = folder.stat()
    return state.st_uid == os.getuid() and not state.st_mode & 0o022
