"""Our own threads for compiled kernels.

Kernels release the interpreter lock, so plain threads suffice.  numba's parallel layer is not
used: without libgomp it aborts when two threads call it, and with it idle threads spin.  Work is
cut at fixed places, independent of the number of threads, so results have the same bits on any.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor, wait

from clearturn.progress import Progress, check

_pool: ThreadPoolExecutor | None = None
_lock = threading.Lock()


def thread_count() -> int:
    """Return how many threads to use: CLEARTURN_THREADS, else the cores this process may use."""
    text = os.environ.get("CLEARTURN_THREADS", "")
    if text.isdigit() and int(text) > 0:
        return int(text)
    try:
        return max(1, len(os.sched_getaffinity(0)))
    except AttributeError:  # not on every system
        return max(1, os.cpu_count() or 1)


def spans(count: int, size: int) -> list[tuple[int, int]]:
    """Cut ``range(count)`` into pieces of `size`, the same on every machine."""
    return [(start, min(start + size, count)) for start in range(0, count, size)]


def run(
    work: Callable[[int, int], object],
    pieces: Iterable[tuple[int, int]],
    progress: Progress | None = None,
) -> None:
    """Run ``work(start, stop)`` for every piece on our threads; stop early when cancelled.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    todo = list(pieces)
    if len(todo) <= 1 or thread_count() == 1:
        for start, stop in todo:
            check(progress)
            work(start, stop)
        return
    iterator = iter(todo)
    guard = threading.Lock()

    def drain() -> None:
        while True:
            with guard:
                piece = next(iterator, None)
            if piece is None:
                return
            check(progress)
            work(*piece)

    workers = min(thread_count(), len(todo))
    futures = [_executor().submit(drain) for _ in range(workers - 1)]
    try:
        drain()
    finally:
        # The kernels write into arrays of the caller: never return while one still runs.  A
        # helper that has not started is called off, else work started from a worker could wait
        # for a thread that waits for it.
        running = [future for future in futures if not future.cancel()]
        wait(running)
    for future in running:
        future.result()


def _executor() -> ThreadPoolExecutor:
    global _pool
    with _lock:
        if _pool is None:
            _pool = ThreadPoolExecutor(max(1, thread_count()), thread_name_prefix="clearturn")
        return _pool
