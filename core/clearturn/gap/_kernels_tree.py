"""Compiled kernels for the search trees: sorting, Morton codes, boxes.

A tree is implicit: triangles are put in Morton order, each node of level 0 holds eight of them,
each node of level k holds eight of level k - 1.  Box k of a node belongs to its child k.  Boxes
are float32 and rounded outward, so that a box never cuts off what it holds.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

#: Boxes hold no NaN and no infinity, so that their loops may be vectorised.
_BOX_MATH = {"nnan", "ninf", "nsz"}
#: Children of a node.
WIDTH = 8
#: An empty box: never near anything.
FAR = np.float32(1e18)


@njit(nogil=True, cache=True, error_model="numpy")
def round_down(x):
    """Return a float32 that is not above x."""
    return np.float32(x - abs(x) * 1.2e-7 - 1e-37)


@njit(nogil=True, cache=True, error_model="numpy")
def round_up(x):
    """Return a float32 that is not below x."""
    return np.float32(x + abs(x) * 1.2e-7 + 1e-37)


@njit(nogil=True, cache=True, error_model="numpy")
def histogram(keys, shift, start, stop, counts):
    """Count the 11-bit digits of ``keys[start:stop]`` into one row of counts."""
    counts[:] = 0
    for i in range(start, stop):
        counts[(keys[i] >> np.uint32(shift)) & np.uint32(2047)] += 1


@njit(nogil=True, cache=True, error_model="numpy")
def offsets_of(counts):
    """Turn digit counts of all blocks (blocks, 2048) into start places, in place."""
    total = 0
    for digit in range(counts.shape[1]):
        for block in range(counts.shape[0]):
            n = counts[block, digit]
            counts[block, digit] = total
            total += n


@njit(nogil=True, cache=True, error_model="numpy")
def scatter(keys, order, shift, start, stop, places, keys_out, order_out):
    """Move ``keys[start:stop]`` and their order to their places; stable."""
    for i in range(start, stop):
        digit = (keys[i] >> np.uint32(shift)) & np.uint32(2047)
        p = places[digit]
        places[digit] = p + 1
        keys_out[p] = keys[i]
        order_out[p] = order[i]


@njit(nogil=True, cache=True, error_model="numpy")
def spread_by_three(x):
    """Put two zero bits between the low ten bits of x."""
    x = np.uint32(x) & np.uint32(0x3FF)
    x = (x | (x << np.uint32(16))) & np.uint32(0x030000FF)
    x = (x | (x << np.uint32(8))) & np.uint32(0x0300F00F)
    x = (x | (x << np.uint32(4))) & np.uint32(0x030C30C3)
    return (x | (x << np.uint32(2))) & np.uint32(0x09249249)


@njit(nogil=True, cache=True, error_model="numpy")
def spread_by_two(x):
    """Put one zero bit between the low eleven bits of x."""
    x = np.uint32(x) & np.uint32(0xFFFF)
    x = (x | (x << np.uint32(8))) & np.uint32(0x00FF00FF)
    x = (x | (x << np.uint32(4))) & np.uint32(0x0F0F0F0F)
    x = (x | (x << np.uint32(2))) & np.uint32(0x33333333)
    return (x | (x << np.uint32(1))) & np.uint32(0x55555555)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=_BOX_MATH)
def codes_in_space(vertices, faces, low, per_mm, start, stop, codes):
    """Morton code of each triangle's centroid, ten bits an axis."""
    s = per_mm / 3.0
    for i in range(start, stop):
        a = faces[i, 0]
        b = faces[i, 1]
        c = faces[i, 2]
        x = (vertices[a, 0] + vertices[b, 0] + vertices[c, 0] - 3 * low[0]) * s
        y = (vertices[a, 1] + vertices[b, 1] + vertices[c, 1] - 3 * low[1]) * s
        z = (vertices[a, 2] + vertices[b, 2] + vertices[c, 2] - 3 * low[2]) * s
        codes[i] = (
            spread_by_three(np.uint32(x))
            | (spread_by_three(np.uint32(y)) << np.uint32(1))
            | (spread_by_three(np.uint32(z)) << np.uint32(2))
        )


@njit(nogil=True, cache=True, error_model="numpy")
def codes_of_points(points, low, per_mm, start, stop, codes):
    """Morton code of each point, ten bits an axis; points outside are clamped."""
    for i in range(start, stop):
        x = min(max((points[i, 0] - low[0]) * per_mm, 0.0), 1023.0)
        y = min(max((points[i, 1] - low[1]) * per_mm, 0.0), 1023.0)
        z = min(max((points[i, 2] - low[2]) * per_mm, 0.0), 1023.0)
        codes[i] = (
            spread_by_three(np.uint32(x))
            | (spread_by_three(np.uint32(y)) << np.uint32(1))
            | (spread_by_three(np.uint32(z)) << np.uint32(2))
        )


@njit(nogil=True, cache=True, error_model="numpy", fastmath=_BOX_MATH)
def codes_in_plane(rz, faces, low, per_mm, start, stop, codes):
    """Morton code of each triangle's centroid in the meridian plane, eleven bits an axis."""
    s = per_mm / 3.0
    for i in range(start, stop):
        a = faces[i, 0]
        b = faces[i, 1]
        c = faces[i, 2]
        r = max((rz[a, 0] + rz[b, 0] + rz[c, 0] - 3 * low[0]) * s, 0.0)
        z = max((rz[a, 1] + rz[b, 1] + rz[c, 1] - 3 * low[1]) * s, 0.0)
        codes[i] = spread_by_two(np.uint32(r)) | (spread_by_two(np.uint32(z)) << np.uint32(1))


@njit(nogil=True, cache=True, error_model="numpy", fastmath=_BOX_MATH)
def take_faces(faces, order, start, stop, out):
    """Copy faces in tree order."""
    for i in range(start, stop):
        f = order[i]
        out[i, 0] = faces[f, 0]
        out[i, 1] = faces[f, 1]
        out[i, 2] = faces[f, 2]


@njit(nogil=True, cache=True, error_model="numpy", fastmath=_BOX_MATH)
def leaf_boxes_in_space(vertices, faces, start, stop, boxes):
    """Fill nodes ``start:stop`` of level 0; boxes is (nodes, 6, 8): low xyz, high xyz."""
    n = faces.shape[0]
    for k in range(start, stop):
        for j in range(WIDTH):
            i = WIDTH * k + j
            if i < n:
                a = faces[i, 0]
                b = faces[i, 1]
                c = faces[i, 2]
                for q in range(3):
                    p = vertices[a, q]
                    s = vertices[b, q]
                    t = vertices[c, q]
                    boxes[k, q, j] = round_down(min(p, min(s, t)))
                    boxes[k, 3 + q, j] = round_up(max(p, max(s, t)))
            else:
                for q in range(3):
                    boxes[k, q, j] = FAR
                    boxes[k, 3 + q, j] = -FAR


@njit(nogil=True, cache=True, error_model="numpy", fastmath=_BOX_MATH)
def upper_boxes(boxes, level_start):
    """Fill the nodes above level 0; works for any number of axes."""
    axes = boxes.shape[1] // 2
    for level in range(1, level_start.size - 1):
        below = level_start[level - 1]
        count_below = level_start[level] - below
        for k in range(level_start[level + 1] - level_start[level]):
            node = level_start[level] + k
            for j in range(WIDTH):
                child = WIDTH * k + j
                for q in range(axes):
                    low = FAR
                    high = -FAR
                    if child < count_below:
                        for e in range(WIDTH):
                            low = min(low, boxes[below + child, q, e])
                            high = max(high, boxes[below + child, axes + q, e])
                    boxes[node, q, j] = low
                    boxes[node, axes + q, j] = high


@njit(nogil=True, cache=True, error_model="numpy")
def bounds_of(points, start, stop, out):
    """Least and greatest coordinates of ``points[start:stop]`` into out (2, k)."""
    # Two of each, so that none has to wait for the one before it.
    for q in range(points.shape[1]):
        low = math.inf
        high = -math.inf
        other_low = math.inf
        other_high = -math.inf
        for i in range(start, stop - 1, 2):
            one = points[i, q]
            two = points[i + 1, q]
            low = low if low < one else one
            high = high if high > one else one
            other_low = other_low if other_low < two else two
            other_high = other_high if other_high > two else two
        if stop > start:
            last = points[stop - 1, q]
            low = low if low < last else last
            high = high if high > last else last
        out[0, q] = low if low < other_low else other_low
        out[1, q] = high if high > other_high else other_high


@njit(nogil=True, cache=True, error_model="numpy", fastmath=_BOX_MATH)
def whole_box(boxes, node, out):
    """Box round all children of a node, any number of axes, into out (float32)."""
    axes = boxes.shape[1] // 2
    for q in range(axes):
        low = boxes[node, q, 0]
        high = boxes[node, axes + q, 0]
        for j in range(1, WIDTH):
            low = min(low, boxes[node, q, j])
            high = max(high, boxes[node, axes + q, j])
        out[q] = low
        out[axes + q] = high


@njit(nogil=True, cache=True, error_model="numpy")
def child_box(boxes, node, j, out):
    """Box of child j of a node into out."""
    for q in range(boxes.shape[1]):
        out[q] = boxes[node, q, j]


@njit(nogil=True, cache=True, error_model="numpy")
def mark_used(faces, start, stop, used):
    """Set used (n,) uint8 to 1 for every vertex of ``faces[start:stop]``."""
    for f in range(start, stop):
        used[faces[f, 0]] = 1
        used[faces[f, 1]] = 1
        used[faces[f, 2]] = 1
