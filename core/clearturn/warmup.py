"""Compile every kernel once, so that the first answer does not wait for the compiler.

Each package with kernels has a module ``_warm`` whose ``warm_up()`` calls every one of them with
a tiny input.  ``python -m clearturn.warmup`` does it for all packages, one process each, with
progress on stderr; the window does it in the background, and a command whose kernels are not
compiled yet does it with its progress bar.  What was compiled stays in numba's cache.
"""

from __future__ import annotations

import importlib
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path

from clearturn._kernel_cache import cache_files
from clearturn.errors import Cancelled
from clearturn.progress import Progress, report
from clearturn.threads import thread_count

_HERE = Path(__file__).resolve().parent
_EXIT_CANCELLED = 130


def packages() -> tuple[str, ...]:
    """Return the names of the packages that have kernels ("gap", …), in alphabetical order."""
    return tuple(sorted(path.parent.name for path in _HERE.glob("*/_warm.py")))


def is_cold(package: str) -> bool:
    """Whether a kernel file of `package` has nothing in the compiler's cache.

    Only looks for names, so that it costs next to nothing: after an update of the program it may
    take old code for current, and the kernels are then compiled when they are called.
    """
    folder = _HERE / package
    kept = {path.name.partition(".")[0] for path in cache_files(folder)}
    return any(path.stem not in kept for path in folder.glob("_kernels*.py"))


def warm_up(progress: Progress | None = None, names: Iterable[str] | None = None) -> None:
    """Call every kernel once, in this process.

    Parameters
    ----------
    progress : Progress, optional
    names : iterable of str, optional
        Packages; all by default.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    chosen = packages() if names is None else tuple(names)
    for done, name in enumerate(chosen):
        report(progress, done / len(chosen), f"preparing {name}, on the first run only")
        call: Callable[[], None] = importlib.import_module(f"clearturn.{name}._warm").warm_up
        call()
    report(progress, 1.0, "prepared")


def warm_up_if_cold(names: Iterable[str], progress: Progress | None = None) -> None:
    """Call the kernels of those packages that are not compiled yet; quick where all are.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    cold = [name for name in names if is_cold(name)]
    if cold:
        warm_up(progress, cold)


def main(names: Sequence[str]) -> int:
    """Warm up the packages named, or all with a process each; return the exit code."""
    try:
        if names:
            warm_up(names=names)
            return 0
        return _in_processes()
    except (KeyboardInterrupt, Cancelled):
        return _EXIT_CANCELLED


def _in_processes() -> int:
    # The compiler holds a lock of its process, so only processes use more than one core.
    start = time.perf_counter()
    names = packages()

    def work(name: str) -> tuple[str, int]:
        done = subprocess.run([sys.executable, "-m", "clearturn.warmup", name], check=False)
        return name, done.returncode

    worst = 0
    with ThreadPoolExecutor(max_workers=thread_count()) as pool:
        futures = [pool.submit(work, name) for name in names]
        for count, future in enumerate(as_completed(futures), start=1):
            name, code = future.result()
            worst = max(worst, abs(code))
            word = "ready" if code == 0 else f"FAILED with {code}"
            seconds = time.perf_counter() - start
            sys.stderr.write(f"  {count}/{len(names)} {name} {word} after {seconds:.0f} s\n")
            sys.stderr.flush()
    return min(worst, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
