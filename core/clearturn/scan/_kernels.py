# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators, no-check-untyped-defs
"""Compiled loops of reading: equal coordinates become one vertex, text becomes numbers.

Welding is bit-exact.  Keys are the raw bits of a point with −0 turned into +0; a point gets the
number of its first appearance in the file, so the result does not depend on how the work is cut.

The tables do not fit the processor's cache, so each lookup would wait for memory.  Corners are
therefore taken in small batches: first all hashes, then one read of every table slot and key (the
reads overlap), then the lookups proper, which by then find their lines in the cache.
"""

from __future__ import annotations

import numpy as np
from numba import njit

BATCH = 192
RECORD = 50  # bytes of one triangle in a binary STL: normal, three corners, two spare bytes
CORNERS = 12  # offset of the corners in it


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _word(raw, at):
    # Unsigned places, else each byte is checked for counting from the end.
    return (
        np.uint32(raw[at])
        | (np.uint32(raw[at + np.uint64(1)]) << np.uint32(8))
        | (np.uint32(raw[at + np.uint64(2)]) << np.uint32(16))
        | (np.uint32(raw[at + np.uint64(3)]) << np.uint32(24))
    )


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _hash(x, y, z):
    h = (
        np.uint64(x) * np.uint64(0x9E3779B97F4A7C15)
        ^ np.uint64(y) * np.uint64(0xC2B2AE3D27D4EB4F)
        ^ np.uint64(z) * np.uint64(0x165667B19E3779F9)
    )
    h ^= h >> np.uint64(29)
    h *= np.uint64(0xBF58476D1CE4E5B9)
    return h ^ (h >> np.uint64(32))


@njit(nogil=True, cache=True, error_model="numpy")
def _lookup(batch, slots, size, keys, count, table, out, out_at):
    """Number the `size` points of `batch`, adding the new ones; return the new count."""
    mask = np.uint64(table.shape[0] - 1)
    touched = np.uint64(0)
    for i in range(size):
        v = table[np.int64(slots[i])]
        touched ^= np.uint64(keys[max(v, 0), 0])
    for i in range(size):
        x = batch[i, 0]
        y = batch[i, 1]
        z = batch[i, 2]
        s = slots[i]
        while True:
            v = table[np.int64(s)]
            if v < 0:
                v = count
                table[np.int64(s)] = count
                keys[count, 0] = x
                keys[count, 1] = y
                keys[count, 2] = z
                count += 1
                break
            if keys[v, 0] == x and keys[v, 1] == y and keys[v, 2] == z:
                break
            s = (s + np.uint64(1)) & mask
        out[out_at + i] = v
    # Returned so that the reads above are not optimised away.
    return count, touched


@njit(nogil=True, cache=True, error_model="numpy")
def weld_binary(raw, first, last, keys, count, table, faces):
    """Weld triangles `first` … `last` of a binary STL.

    Stops early when `keys` may run full.  `faces` is flat.  Returns the next triangle, the number
    of points, and the first triangle with a coordinate that is not finite (−1: none).
    """
    mask = np.uint64(table.shape[0] - 1)
    batch = np.empty((BATCH, 3), np.uint32)
    slots = np.empty(BATCH, np.uint64)
    room = keys.shape[0] - BATCH
    i = first
    while i < last and count <= room:
        stop = min(i + BATCH // 3, last)
        size = 0
        worst = np.uint32(0)
        for t in range(i, stop):
            at = np.uint64(t) * np.uint64(RECORD) + np.uint64(CORNERS)
            for _ in range(3):
                x = _word(raw, at)
                y = _word(raw, at + np.uint64(4))
                z = _word(raw, at + np.uint64(8))
                at += np.uint64(12)
                for w in (x, y, z):
                    worst = max(worst, w & np.uint32(0x7FFFFFFF))
                x = np.uint32(0) if x == np.uint32(0x80000000) else x
                y = np.uint32(0) if y == np.uint32(0x80000000) else y
                z = np.uint32(0) if z == np.uint32(0x80000000) else z
                batch[size, 0] = x
                batch[size, 1] = y
                batch[size, 2] = z
                slots[size] = _hash(x, y, z) & mask
                size += 1
        if worst >= np.uint32(0x7F800000):
            for t in range(i, stop):
                at = np.uint64(t) * np.uint64(RECORD) + np.uint64(CORNERS)
                for _ in range(9):
                    if _word(raw, at) & np.uint32(0x7FFFFFFF) >= np.uint32(0x7F800000):
                        return t, count, t
                    at += np.uint64(4)
        count, _ = _lookup(batch, slots, size, keys, count, table, faces, 3 * i)
        i = stop
    return i, count, -1


@njit(nogil=True, cache=True, error_model="numpy")
def weld_points(points, first, last, keys, count, table, out):
    """Weld rows `first` … `last` of points given as bits (no −0 among them).

    Returns the next row and the number of points, as `weld_binary` does.
    """
    mask = np.uint64(table.shape[0] - 1)
    slots = np.empty(BATCH, np.uint64)
    room = keys.shape[0] - BATCH
    i = first
    while i < last and count <= room:
        stop = min(i + BATCH, last)
        for k in range(i, stop):
            slots[k - i] = _hash(points[k, 0], points[k, 1], points[k, 2]) & mask
        count, _ = _lookup(points[i:stop], slots, stop - i, keys, count, table, out, i)
        i = stop
    return i, count


@njit(nogil=True, cache=True, error_model="numpy")
def fill_table(keys, count, table):
    """Enter keys 0 … `count` into an empty table (all −1), for growing."""
    mask = np.uint64(table.shape[0] - 1)
    for v in range(count):
        s = _hash(keys[v, 0], keys[v, 1], keys[v, 2]) & mask
        while table[np.int64(s)] >= 0:
            s = (s + np.uint64(1)) & mask
        table[np.int64(s)] = v


@njit(nogil=True, cache=True, error_model="numpy")
def renumber(numbers, first, last, new):
    """Replace ``numbers[i]`` by ``new[numbers[i]]`` for `first` … `last`."""
    for i in range(first, last):
        numbers[i] = new[numbers[i]]
