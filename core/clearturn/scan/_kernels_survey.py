# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators, no-check-untyped-defs
"""Compiled loops that take stock of a mesh: bad triangles, edges, pieces, sides.

Edges are brought together by their lower vertex with a counting sort rather than a hash:
neighbours in a scan lie near each other in memory, and so do their bins.
"""

from __future__ import annotations

import numpy as np
from numba import njit

GOOD, REPEATED, FLAT, DUPLICATE = 0, 1, 2, 3
# A triangle is flat if twice its area is below this part of its longest side squared.  Rounding
# of the products in double precision is ten thousand times smaller.
FLAT_PART = 1.0e-12
MANY = 48  # bin size above which a library sort beats inserting
BATCH = 128
FEW = 32  # triangles whose corners' lines fit the first cache


@njit(nogil=True, cache=True, error_model="numpy")
def has_area(vertices, faces):
    """Whether any triangle has an area; stops at the first."""
    for i in range(faces.shape[0]):
        if not _is_flat(vertices, faces[i, 0], faces[i, 1], faces[i, 2]):
            return True
    return False


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _is_flat(v, a, b, c):
    ux = v[b, 0] - v[a, 0]
    uy = v[b, 1] - v[a, 1]
    uz = v[b, 2] - v[a, 2]
    wx = v[c, 0] - v[a, 0]
    wy = v[c, 1] - v[a, 1]
    wz = v[c, 2] - v[a, 2]
    nx = uy * wz - uz * wy
    ny = uz * wx - ux * wz
    nz = ux * wy - uy * wx
    dx = wx - ux
    dy = wy - uy
    dz = wz - uz
    longest = max(
        ux * ux + uy * uy + uz * uz, wx * wx + wy * wy + wz * wz, dx * dx + dy * dy + dz * dz
    )
    return nx * nx + ny * ny + nz * nz <= (FLAT_PART * longest) ** 2


@njit(nogil=True, cache=True, error_model="numpy")
def mark_flat(vertices, faces, first, last, state, hashes):
    """Set ``state[i]`` to GOOD, REPEATED or FLAT, and a hash of the corners in sorted order."""
    touched = 0.0
    for block in range(first, last, FEW):
        stop = min(block + FEW, last)
        for i in range(block, stop):
            a = faces[i, 0]
            b = faces[i, 1]
            c = faces[i, 2]
            # The ends of each corner are read here, so that the waits for memory overlap.
            touched += vertices[a, 0] + vertices[b, 0] + vertices[c, 0]
            touched += vertices[a, 2] + vertices[b, 2] + vertices[c, 2]
            low = min(a, b, c)
            high = max(a, b, c)
            middle = np.int64(a) + np.int64(b) + np.int64(c) - low - high
            h = (
                np.uint64(low) * np.uint64(0x9E3779B97F4A7C15)
                ^ np.uint64(middle) * np.uint64(0xC2B2AE3D27D4EB4F)
                ^ np.uint64(high) * np.uint64(0x165667B19E3779F9)
            )
            h ^= h >> np.uint64(29)
            h *= np.uint64(0xBF58476D1CE4E5B9)
            hashes[i] = h ^ (h >> np.uint64(32))
        for i in range(block, stop):
            a = faces[i, 0]
            b = faces[i, 1]
            c = faces[i, 2]
            if a == b or b == c or c == a:
                state[i] = REPEATED
            elif _is_flat(vertices, a, b, c):
                state[i] = FLAT
            else:
                state[i] = GOOD
    return touched  # so that the reads are not optimised away


@njit(nogil=True, cache=True, error_model="numpy")
def count_shares(hashes, counts):
    """Count the hashes that fall to each share."""
    mask = np.uint64(counts.shape[0] - 1)
    for i in range(hashes.shape[0]):
        counts[np.int64((hashes[i] >> np.uint64(28)) & mask)] += 1


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _same_corners(faces, i, j):
    a = faces[i, 0]
    b = faces[i, 1]
    c = faces[i, 2]
    p = faces[j, 0]
    q = faces[j, 1]
    r = faces[j, 2]
    return (
        min(a, b, c) == min(p, q, r)
        and max(a, b, c) == max(p, q, r)
        and np.int64(a) + np.int64(b) + np.int64(c) == np.int64(p) + np.int64(q) + np.int64(r)
    )


@njit(nogil=True, cache=True, error_model="numpy")
def mark_duplicates(faces, hashes, shares, share, table, state):
    """Mark every face but the first of those with the same three corners (either winding).

    Looks at the faces whose hash falls to this share, so that `table` (all ones: empty) stays
    small enough for the cache and shares run side by side.  A slot holds the upper half of the
    hash and the face.  A flat face seen before stays degenerate, as REPEATED, so that its edges
    do not count twice.
    """
    mask = np.uint64(table.shape[0] - 1)
    upper = np.uint64(0xFFFFFFFF00000000)
    lower = np.uint64(0xFFFFFFFF)
    empty = ~np.uint64(0)
    share_mask = np.uint64(shares - 1)
    mine = np.empty(BATCH, np.int64)
    at = 0
    n = faces.shape[0]
    touched = np.uint64(0)
    while at < n:
        size = 0
        while at < n and size < BATCH:
            if (hashes[at] >> np.uint64(28)) & share_mask == np.uint64(share):
                if state[at] != REPEATED:
                    mine[size] = at
                    size += 1
            at += 1
        for k in range(size):  # the reads overlap
            touched ^= table[np.int64(hashes[mine[k]] & mask)]
        for k in range(size):
            i = mine[k]
            h = hashes[i]
            slot = h & mask
            while True:
                held = table[np.int64(slot)]
                if held == empty:
                    table[np.int64(slot)] = (h & upper) | np.uint64(i)
                    break
                if (held ^ h) & upper == np.uint64(0) and _same_corners(
                    faces, i, np.int64(held & lower)
                ):
                    state[i] = DUPLICATE if state[i] == GOOD else REPEATED
                    break
                slot = (slot + np.uint64(1)) & mask
    return touched  # so that the reads are not optimised away


@njit(nogil=True, cache=True, error_model="numpy")
def bin_edges(faces, state, start, entries):
    """Counting sort of the edges by lower vertex; an entry is 2 × higher vertex + direction."""
    for i in range(faces.shape[0]):
        if state[i] == REPEATED or state[i] == DUPLICATE:
            continue
        for k in range(3):
            start[min(faces[i, k], faces[i, (k + 1) % 3]) + 2] += 1
    for v in range(2, start.shape[0]):
        start[v] += start[v - 1]
    for i in range(faces.shape[0]):
        if state[i] == REPEATED or state[i] == DUPLICATE:
            continue
        for k in range(3):
            a = faces[i, k]
            b = faces[i, (k + 1) % 3]
            if a < b:
                entries[start[a + 1]] = np.uint32(2 * np.int64(b))
                start[a + 1] += 1
            else:
                entries[start[b + 1]] = np.uint32(2 * np.int64(a) + 1)
                start[b + 1] += 1


@njit(nogil=True, cache=True, error_model="numpy")
def count_edges(vertices, start, entries, first, last, open_length):
    """Classify the edges whose lower vertex lies in `first` … `last`.

    Adds the length of open edges to ``open_length[lower vertex]``.  Sorts the bins in place.
    Returns (edges, open, shared by more than two, shared by two that run the same way, sum of
    lengths).
    """
    edges = 0
    single = 0
    many = 0
    mixed = 0
    total = 0.0
    for v in range(first, last):
        low = start[v]
        high = start[v + 1]
        if high - low > MANY:
            entries[low:high] = np.sort(entries[low:high])
        else:
            for i in range(low + 1, high):
                e = entries[i]
                j = i - 1
                while j >= low and entries[j] > e:
                    entries[j + 1] = entries[j]
                    j -= 1
                entries[j + 1] = e
        i = low
        while i < high:
            w = np.int64(entries[i]) >> 1
            j = i
            forward = 0
            while j < high and np.int64(entries[j]) >> 1 == w:
                forward += 1 - (np.int64(entries[j]) & 1)
                j += 1
            uses = j - i
            dx = vertices[v, 0] - vertices[w, 0]
            dy = vertices[v, 1] - vertices[w, 1]
            dz = vertices[v, 2] - vertices[w, 2]
            length = np.sqrt(dx * dx + dy * dy + dz * dz)
            edges += 1
            total += length
            if uses == 1:
                single += 1
                open_length[v] += length
            elif uses > 2:
                many += 1
            elif forward != 1:
                mixed += 1
            i = j
    return edges, single, many, mixed, total


@njit(nogil=True, cache=True, error_model="numpy")
def join_corners(faces, first, last, parent):
    """Union-find over vertices: the corners of each face belong together.  Roots are lowest."""
    touched = np.int32(0)
    for block in range(first, last, BATCH):
        stop = min(block + BATCH, last)
        for i in range(block, stop):  # the reads overlap
            touched ^= parent[faces[i, 0]] ^ parent[faces[i, 1]] ^ parent[faces[i, 2]]
        for i in range(block, stop):
            a = faces[i, 0]
            while parent[a] != a:
                parent[a] = parent[parent[a]]
                a = parent[a]
            for k in range(1, 3):
                b = faces[i, k]
                while parent[b] != b:
                    parent[b] = parent[parent[b]]
                    b = parent[b]
                if a < b:
                    parent[b] = a
                elif b < a:
                    parent[a] = b
                    a = b
    return touched  # so that the reads are not optimised away


@njit(nogil=True, cache=True, error_model="numpy")
def number_pieces(faces, state, parent, labels):
    """Flatten the roots and number the pieces by their first good face; return how many.

    What holds no good face gets the numbers after those.  `parent` becomes the piece of each
    vertex, −1 where no face uses it.
    """
    n = parent.shape[0]
    for v in range(n):
        parent[v] = parent[parent[v]]
    piece = np.full(n, -1, np.int32)
    count = 0
    bad = 0
    for i in range(faces.shape[0]):
        if state[i] == GOOD:
            root = parent[faces[i, 0]]
            if piece[root] < 0:
                piece[root] = count
                count += 1
            labels[i] = piece[root]
        else:
            bad += 1
    good = count
    if bad > 0:
        for i in range(faces.shape[0]):
            if state[i] != GOOD:
                root = parent[faces[i, 0]]
                if piece[root] < 0:
                    piece[root] = count
                    count += 1
                labels[i] = piece[root]
    for v in range(n):
        parent[v] = piece[parent[v]]
    return good


@njit(nogil=True, cache=True, error_model="numpy")
def sum_pieces(vertices, faces, state, labels, first, last, origin, triangles, sums, bounds):
    """Add each good face to its piece: count, area, signed volume about `origin`, bounds."""
    for i in range(first, last):
        if state[i] != GOOD:
            continue
        p = labels[i]
        a = faces[i, 0]
        b = faces[i, 1]
        c = faces[i, 2]
        ax = vertices[a, 0] - origin[0]
        ay = vertices[a, 1] - origin[1]
        az = vertices[a, 2] - origin[2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        wx = vertices[c, 0] - vertices[a, 0]
        wy = vertices[c, 1] - vertices[a, 1]
        wz = vertices[c, 2] - vertices[a, 2]
        nx = uy * wz - uz * wy
        ny = uz * wx - ux * wz
        nz = ux * wy - uy * wx
        triangles[p] += 1
        sums[p, 0] += 0.5 * np.sqrt(nx * nx + ny * ny + nz * nz)
        # a · (b × c) = a · (u × w), with b = a + u and c = a + w
        sums[p, 1] += (ax * nx + ay * ny + az * nz) / 6.0
        for k in range(3):
            q = faces[i, k]
            for d in range(3):
                x = vertices[q, d]
                bounds[p, 0, d] = min(bounds[p, 0, d], x)
                bounds[p, 1, d] = max(bounds[p, 1, d], x)


@njit(nogil=True, cache=True, error_model="numpy")
def winding_number(vertices, faces, state, labels, without, point, first, last):
    """Solid angle of the good faces not in piece `without`, seen from `point`, over 4π.

    Van Oosterom and Strackee 1983, "The solid angle of a plane triangle", eq. 8.
    """
    total = 0.0
    for i in range(first, last):
        if state[i] != GOOD or labels[i] == without:
            continue
        ax = vertices[faces[i, 0], 0] - point[0]
        ay = vertices[faces[i, 0], 1] - point[1]
        az = vertices[faces[i, 0], 2] - point[2]
        bx = vertices[faces[i, 1], 0] - point[0]
        by = vertices[faces[i, 1], 1] - point[1]
        bz = vertices[faces[i, 1], 2] - point[2]
        cx = vertices[faces[i, 2], 0] - point[0]
        cy = vertices[faces[i, 2], 1] - point[1]
        cz = vertices[faces[i, 2], 2] - point[2]
        a = np.sqrt(ax * ax + ay * ay + az * az)
        b = np.sqrt(bx * bx + by * by + bz * bz)
        c = np.sqrt(cx * cx + cy * cy + cz * cz)
        triple = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        below = (
            a * b * c
            + (ax * bx + ay * by + az * bz) * c
            + (bx * cx + by * cy + bz * cz) * a
            + (cx * ax + cy * ay + cz * az) * b
        )
        total += 2.0 * np.arctan2(triple, below)
    return total / (4.0 * np.pi)
