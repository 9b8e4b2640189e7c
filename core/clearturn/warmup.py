"""Compile every kernel once, so that the first answer does not wait for the compiler.

Each package with kernels has a module ``_warm`` whose ``warm_up()`` calls every one of them with
a tiny input.  ``python -m clearturn.warmup`` does it with progress on stderr; the window does it
in the background.  What was compiled stays in numba's cache, so a second run takes a second.
"""

from __future__ import annotations

import importlib
import importlib.util
import sys
import time
from collections.abc import Callable
from pathlib import Path

from clearturn.errors import Cancelled
from clearturn.progress import Progress, report

_EXIT_CANCELLED = 130


def packages() -> tuple[str, ...]:
    """Return the names of the packages that have kernels, in alphabetical order."""
    folder = Path(__file__).parent
    return tuple(sorted(f"clearturn.{path.parent.name}" for path in folder.glob("*/_warm.py")))


def warm_up(progress: Progress | None = None) -> None:
    """Call every kernel once.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    names = packages()
    for done, name in enumerate(names):
        report(progress, done / len(names), f"preparing {name.removeprefix('clearturn.')}")
        call: Callable[[], None] = importlib.import_module(f"{name}._warm").warm_up
        call()
    report(progress, 1.0, "prepared")


def main() -> int:
    """Warm up with a line a package on stderr; return the exit code."""
    start = time.perf_counter()

    def tell(fraction: float, text: str) -> None:
        sys.stderr.write(f"{fraction:4.0%} {text} ({time.perf_counter() - start:.1f} s)\n")
        sys.stderr.flush()

    try:
        warm_up(Progress(tell))
    except (KeyboardInterrupt, Cancelled):
        return _EXIT_CANCELLED
    return 0


if __name__ == "__main__":
    sys.exit(main())
