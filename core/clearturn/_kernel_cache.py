"""Where compiled kernels are kept.

numba keeps them beside the source or in the user's home.  Where both are read-only it finds no
place and refuses to compile, so a folder that can be written is named before numba is imported.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


def choose_cache_folder() -> None:
    """Set ``NUMBA_CACHE_DIR`` unless the user has set it or numba can find a place itself."""
    if os.environ.get("NUMBA_CACHE_DIR"):
        return
    if _source_is_writable():
        return
    for folder in _candidates():
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError:
            continue
        if _writable(folder) and _ours(folder):
            os.environ["NUMBA_CACHE_DIR"] = str(folder)
            return


def _source_is_writable() -> bool:
    # One folder speaks for all: they were installed together.
    folder = Path(__file__).resolve().parent / "gap"
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
