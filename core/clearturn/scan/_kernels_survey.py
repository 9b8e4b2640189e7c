# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators, no-check-untyped-defs
"""Compiled loops that take stock of a mesh: bad triangles, edges, pieces, sides.

Triangles and edges are brought together by their lowest vertex with a counting sort rather than a
hash: neighbours in a scan lie near each other in memory, and so do their bins.
"""

from __future__ import annotations

import numpy as np
from numba import njit

GOOD, REPEATED, FLAT, DUPLICATE = 0, 1, 2, 3
# A triangle is flat if twice its area is below this part of its longest side squared.  Rounding
# of the products in double precision is ten thousand times smaller.
FLAT_PART = 1.0e-12
MANY = 48  # bin size above which sorting beats comparing all


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
def mark_flat(vertices, faces, first, last, state):
    """Set ``state[i]`` to GOOD, REPEATED or FLAT."""
    for i in range(first, last):
        a = faces[i, 0]
        b = faces[i, 1]
        c = faces[i, 2]
        if a == b or b == c or c == a:
            state[i] = REPEATED
        elif _is_flat(vertices, a, b, c):
            state[i] = FLAT
        else:
            state[i] = GOOD


@njit(nogil=True, cache=True, error_model="numpy")
def bin_faces(faces, state, start, entries):
    """Counting sort of the faces not REPEATED by lowest vertex; `start` comes in as zeros (n+2)."""
    for i in range(faces.shape[0]):
        if state[i] != REPEATED:
            low = min(faces[i, 0], faces[i, 1], faces[i, 2])
            start[low + 2] += 1
    for v in range(2, start.shape[0]):
        start[v] += start[v - 1]
    for i in range(faces.shape[0]):
        if state[i] != REPEATED:
            low = min(faces[i, 0], faces[i, 1], faces[i, 2])
            entries[start[low + 1]] = i
            start[low + 1] += 1


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _rest(faces, i, low):
    """The two higher corners of a face as one number, whichever way it is wound."""
    a = faces[i, 0]
    b = faces[i, 1]
    c = faces[i, 2]
    high = max(a, b, c)
    middle = np.int64(a) + np.int64(b) + np.int64(c) - high - low
    return (middle << np.int64(32)) | np.int64(high)


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _again(state):
    """A flat triangle seen before stays degenerate, but its edges must not count twice."""
    return DUPLICATE if state == GOOD else REPEATED


@njit(nogil=True, cache=True, error_model="numpy")
def mark_duplicates(faces, start, entries, first, last, state):
    """Mark every face but the first of those with the same three corners (either winding)."""
    keys = np.empty(MANY, np.int64)
    for v in range(first, last):
        low = start[v]
        size = start[v + 1] - low
        if size < 2:
            continue
        if size <= MANY:
            for k in range(size):
                keys[k] = _rest(faces, entries[low + k], v)
                for j in range(k):
                    if keys[j] == keys[k]:
                        state[entries[low + k]] = _again(state[entries[low + k]])
                        break
        else:
            many = np.empty(size, np.int64)
            for k in range(size):
                many[k] = _rest(faces, entries[low + k], v)
            order = np.argsort(many, kind="mergesort")  # stable: the first stays first
            for k in range(1, size):
                if many[order[k]] == many[order[k - 1]]:
                    i = entries[low + order[k]]
                    state[i] = _again(state[i])


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
    for i in range(first, last):
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


@njit(nogil=True, cache=True, error_model="numpy")
def number_pieces(faces, state, parent, labels):
    """Flatten the roots and number the pieces by their first good face; return how many.

    `parent` becomes the piece of each vertex, −1 where no good face belongs to it.
    """
    n = parent.shape[0]
    for v in range(n):
        parent[v] = parent[parent[v]]
    piece = np.full(n, -1, np.int32)
    count = 0
    for i in range(faces.shape[0]):
        if state[i] == GOOD:
            root = parent[faces[i, 0]]
            if piece[root] < 0:
                piece[root] = count
                count += 1
    for i in range(faces.shape[0]):
        labels[i] = piece[parent[faces[i, 0]]]
    for v in range(n):
        parent[v] = piece[parent[v]]
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def sum_pieces(vertices, faces, state, labels, first, last, origin, triangles, sums, bounds):
    """Add each good face to its piece: count, area, signed volume about `origin`, bounds."""
    for i in range(first, last):
        p = labels[i]
        if p < 0 or state[i] != GOOD:
            continue
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
