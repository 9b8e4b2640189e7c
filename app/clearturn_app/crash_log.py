"""Where an unexpected error is written down, for the command line and the window alike."""

from __future__ import annotations

import contextlib
import os
import platform
import sys
import tempfile
import time
import traceback
from pathlib import Path

from clearturn import __version__


def write_crash_log(error: BaseException) -> Path | None:
    """Write `error` with its traceback into a new file and return where.

    Returns
    -------
    path or None
        None if no folder can be written.
    """
    text = (
        f"clearturn {__version__}, Python {platform.python_version()}, {platform.platform()}\n"
        f"{time.strftime('%Y-%m-%d %H:%M:%S %z')}\n"
        f"command: {sys.argv!r}\n\n" + "".join(traceback.format_exception(error))
    )
    stamp = time.strftime("%Y%m%d-%H%M%S")
    for folder in _folders():
        path = folder / f"crash-{stamp}-{os.getpid()}.log"
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            with path.open("x", encoding="utf-8", errors="backslashreplace") as file:
                file.write(text)
        except OSError:
            continue
        return path
    return None


def _folders() -> list[Path]:
    folders = []
    if os.environ.get("XDG_STATE_HOME"):
        folders.append(Path(os.environ["XDG_STATE_HOME"]) / "clearturn")
    elif os.environ.get("LOCALAPPDATA"):
        folders.append(Path(os.environ["LOCALAPPDATA"]) / "clearturn" / "logs")
    else:
        with contextlib.suppress(RuntimeError):  # no home at all
            folders.append(Path.home() / ".local" / "state" / "clearturn")
    folders.append(Path(tempfile.gettempdir()) / "clearturn-logs")
    return folders
