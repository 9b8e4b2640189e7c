"""Equal points become one: bit-exact, in the order of first appearance, on our own threads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearturn.progress import Progress, report
from clearturn.scan import _kernels
from clearturn.threads import run, spans, thread_count

Bits = NDArray[np.unsignedinteger[Any]]
Step = Callable[["_Table", int, int], int]

SLICE = 100_000  # triangles between two looks at cancelling: about 10 ms
LEAST_PART = 100_000  # triangles below which a second thread does not pay


@dataclass
class _Table:
    """A growing hash table from point bits to point number."""

    keys: Bits
    slots: NDArray[np.int32]
    count: int = 0

    @classmethod
    def sized(cls, capacity: int, kind: type[np.uint32] | type[np.uint64]) -> _Table:
        capacity += 2 * _kernels.BATCH
        return cls(np.empty((capacity, 3), kind), _slots(capacity))

    def room_for(self, more: int) -> None:
        """Grow until at least `more` further points fit."""
        self._grow(self.count + more + _kernels.BATCH)

    def grow(self) -> None:
        self._grow(2 * len(self.keys))

    def _grow(self, capacity: int) -> None:
        if capacity <= len(self.keys):
            return
        keys = np.empty((capacity, 3), self.keys.dtype)
        keys[: self.count] = self.keys[: self.count]
        self.keys = keys
        if 5 * capacity > 4 * len(self.slots):
            self.slots = _slots(capacity)
            _kernels.fill_table(keys, self.count, self.slots)


def _slots(capacity: int) -> NDArray[np.int32]:
    return np.full(1 << int(1.4 * capacity).bit_length(), -1, np.int32)


def weld_binary(
    raw: NDArray[np.uint8], triangles: int, progress: Progress | None = None
) -> tuple[NDArray[np.float32], NDArray[np.int32], int]:
    """Weld the triangles of a binary STL.

    Parameters
    ----------
    raw : (50 · triangles,) uint8
        The records, without the 84 bytes before them.
    triangles : int
        How many.

    Returns
    -------
    vertices : (n, 3) float32
        Points in the order of their first appearance.
    faces : (m, 3) int32
    bad : int
        First triangle with a coordinate that is not finite, and nothing is welded then; −1 if
        there is none.
    """
    faces = np.empty((triangles, 3), np.int32)
    flat = faces.reshape(-1)
    bad = np.full(1, triangles, np.int64)

    def step(table: _Table, first: int, last: int) -> int:
        done, table.count, wrong = _kernels.weld_binary(
            raw, first, last, table.keys, table.count, table.slots, flat
        )
        if wrong >= 0:
            bad[0] = min(bad[0], wrong)
            return last
        return int(done)

    def whole() -> bool:
        return bool(bad[0] == triangles)

    keys = _weld(step, triangles, 3, np.uint32, flat, whole=whole, progress=progress)
    if not whole():
        return np.empty((0, 3), np.float32), faces[:0], int(bad[0])
    return keys.view(np.float32), faces, -1


def weld_points(
    points: NDArray[np.float64], progress: Progress | None = None
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Weld points given as numbers.

    Parameters
    ----------
    points : (k, 3) float64

    Returns
    -------
    vertices : (n, 3) float64
    numbers : (k,) int32
        ``vertices[numbers]`` equals `points`.
    """
    bits = (points + 0.0).view(np.uint64)  # −0 + 0 = +0
    numbers = np.empty(len(points), np.int32)

    def step(table: _Table, first: int, last: int) -> int:
        done, table.count = _kernels.weld_points(
            bits, first, last, table.keys, table.count, table.slots, numbers
        )
        return int(done)

    keys = _weld(step, len(points), 1, np.uint64, numbers, progress=progress)
    return keys.view(np.float64), numbers


def _weld(
    step: Step,
    items: int,
    corners: int,
    kind: type[np.uint32] | type[np.uint64],
    numbers: NDArray[np.int32],
    *,
    whole: Callable[[], bool] = lambda: True,
    progress: Progress | None,
) -> Bits:
    """Weld `items` in parts, one a thread, then the later parts' points into the first's.

    The parts are joined only if all were welded to their end, else `numbers` holds garbage.
    """
    parts = max(1, min(thread_count(), items // LEAST_PART, 8))
    cuts = spans(items, max(1, -(-items // parts)))
    # A closed surface has half as many points as triangles and six corners a point; a scan's
    # rim adds a few.
    likely = 0.55 if corners == 3 else 0.2
    tables = [
        _Table.sized(int(likely * (items if p == 0 else stop - start)), kind)
        for p, (start, stop) in enumerate(cuts)
    ]

    def work(part: int, _: int) -> None:
        start, stop = cuts[part]
        for first, last in spans(stop - start, SLICE):
            at = start + first
            while at < start + last:
                at = step(tables[part], at, start + last)
                if at < start + last:
                    tables[part].grow()
            if part == 0:
                report(progress, 0.8 * last / (stop - start), "reading")

    run(work, [(p, p + 1) for p in range(len(cuts))], progress)
    if not tables or not whole():
        return np.empty((0, 3), kind)
    first_table = tables[0]
    for (start, stop), table in zip(cuts[1:], tables[1:], strict=True):
        _join(first_table, table, numbers[corners * start : corners * stop], progress)
    return first_table.keys[: first_table.count]


def _join(
    whole: _Table, table: _Table, numbers: NDArray[np.int32], progress: Progress | None
) -> None:
    new = np.empty(table.count, np.int32)
    whole.room_for(table.count)
    for first, last in spans(table.count, SLICE):
        report(progress, 0.8 + 0.2 * first / table.count, "reading")
        _, whole.count = _kernels.weld_points(
            table.keys, first, last, whole.keys, whole.count, whole.slots, new
        )
    run(
        lambda first, last: _kernels.renumber(numbers, first, last, new),
        spans(len(numbers), 10 * SLICE),
        progress,
    )
