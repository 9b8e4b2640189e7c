"""Compiled kernels that prove a crossing of two surfaces, in space and over a full turn."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_still import edge_through_face, take_triangle
from clearturn.gap._kernels_tree import WIDTH
from clearturn.gap._kernels_turning import map_triangle

_STACK = 16_384


@njit(nogil=True, cache=True, error_model="numpy")
def _box_of(boxes, level_start, level, k, out):
    """Box of node k of a level, or of triangle k where level is -1."""
    axes = boxes.shape[1] // 2
    if level < 0:
        for q in range(2 * axes):
            out[q] = boxes[k // WIDTH, q, k % WIDTH]
        return
    node = level_start[level] + k
    for q in range(axes):
        low = boxes[node, q, 0]
        high = boxes[node, axes + q, 0]
        for j in range(1, WIDTH):
            low = min(low, boxes[node, q, j])
            high = max(high, boxes[node, axes + q, j])
        out[q] = low
        out[axes + q] = high


@njit(nogil=True, cache=True, error_model="numpy")
def _side(t, x, y, z):
    """Signed distance of a point from the plane of triangle t (9,); zero if it has no plane."""
    ux = t[3] - t[0]
    uy = t[4] - t[1]
    uz = t[5] - t[2]
    wx = t[6] - t[0]
    wy = t[7] - t[1]
    wz = t[8] - t[2]
    nx = uy * wz - uz * wy
    ny = uz * wx - ux * wz
    nz = ux * wy - uy * wx
    length = math.sqrt(nx * nx + ny * ny + nz * nz)
    if length == 0:
        return 0.0
    return (nx * (x - t[0]) + ny * (y - t[1]) + nz * (z - t[2])) / length


@njit(nogil=True, cache=True, error_model="numpy")
def _crosses(a, b, least):
    """Whether an edge of a passes through the face b with both ends more than `least` off it."""
    for e in range(3):
        i = 3 * e
        j = 3 * ((e + 1) % 3)
        d0 = _side(b, a[i], a[i + 1], a[i + 2])
        d1 = _side(b, a[j], a[j + 1], a[j + 2])
        if d0 * d1 < 0 and min(abs(d0), abs(d1)) > least:
            s = edge_through_face(a[i], a[i + 1], a[i + 2], a[j], a[j + 1], a[j + 2], b)
            if s >= 0:
                return True
    return False


@njit(nogil=True, cache=True, error_model="numpy")
def find_crossing(
    vertices_a, faces_a, boxes_a, start_a, turn, shift,
    vertices_b, faces_b, boxes_b, start_b, least, budget, hit,
):  # fmt: skip
    """Look for two triangles that cross by more than `least`, tree a under a rigid motion.

    Returns 1 if found (tree positions in hit (2,)), 0 if there is none, -1 if `budget` pairs were
    visited before that was known.
    """
    sa = np.empty(_STACK, np.int64)
    sb = np.empty(_STACK, np.int64)
    la = np.empty(_STACK, np.int8)
    lb = np.empty(_STACK, np.int8)
    raw = np.empty(6, np.float32)
    ba = np.empty(6)
    bb = np.empty(6, np.float32)
    ta = np.empty(9)
    tb = np.empty(9)
    eye = np.eye(3)
    none = np.zeros(3)
    sa[0] = 0
    la[0] = start_a.size - 2
    sb[0] = 0
    lb[0] = start_b.size - 2
    top = 1
    visited = 0
    while top > 0:
        top -= 1
        ka = sa[top]
        va = la[top]
        kb = sb[top]
        vb = lb[top]
        visited += 1
        if visited > budget:
            return -1
        _box_of(boxes_a, start_a, va, ka, raw)
        if raw[0] > raw[3]:
            continue
        for c in range(3):
            mid = shift[c]
            half = 0.0
            for q in range(3):
                mid += turn[c, q] * 0.5 * (np.float64(raw[q]) + np.float64(raw[3 + q]))
                half += abs(turn[c, q]) * 0.5 * (np.float64(raw[3 + q]) - np.float64(raw[q]))
            ba[c] = mid - half - 1e-9
            ba[3 + c] = mid + half + 1e-9
        _box_of(boxes_b, start_b, vb, kb, bb)
        apart = False
        for q in range(3):
            if ba[q] > bb[3 + q] or bb[q] > ba[3 + q]:
                apart = True
        if apart:
            continue
        if va < 0 and vb < 0:
            take_triangle(vertices_a, faces_a, ka, turn, shift, ta)
            take_triangle(vertices_b, faces_b, kb, eye, none, tb)
            if _crosses(ta, tb, least) or _crosses(tb, ta, least):
                hit[0] = ka
                hit[1] = kb
                return 1
            continue
        open_a = va >= vb
        level = va if open_a else vb
        k = ka if open_a else kb
        count = faces_a.shape[0] if open_a else faces_b.shape[0]
        starts = start_a if open_a else start_b
        if level > 0:
            count = starts[level] - starts[level - 1]
        for j in range(WIDTH):
            child = WIDTH * k + j
            if child >= count or top >= _STACK:
                break
            sa[top] = child if open_a else ka
            la[top] = va - 1 if open_a else va
            sb[top] = kb if open_a else child
            lb[top] = vb if open_a else vb - 1
            top += 1
    return 0


@njit(nogil=True, cache=True, error_model="numpy")
def _depth_in_flat(r, z, R):
    """Distance of (r, z) from the nearest side of the flat triangle R, negative outside."""
    area = (R[1, 0] - R[0, 0]) * (R[2, 1] - R[0, 1]) - (R[1, 1] - R[0, 1]) * (R[2, 0] - R[0, 0])
    if area == 0:
        return -1.0
    sign = 1.0 if area > 0 else -1.0
    least = 1e300
    for e in range(3):
        f = (e + 1) % 3
        u0 = R[f, 0] - R[e, 0]
        u1 = R[f, 1] - R[e, 1]
        length = math.sqrt(u0 * u0 + u1 * u1)
        if length == 0:
            return -1.0
        d = sign * (u0 * (z - R[e, 1]) - u1 * (r - R[e, 0])) / length
        least = min(least, d)
    return least


@njit(nogil=True, cache=True, error_model="numpy")
def _images_overlap(XA, RA, dip_a, XB, RB, dip_b, least):
    """Whether the images surely overlap by more than `least`.

    A mapped corner that lies deeper in the other flat triangle than the dip lies in the true
    image too.  Two edges' images that cross with all four ends well beyond each other cross too.
    """
    for k in range(3):
        if _depth_in_flat(RA[k, 0], RA[k, 1], RB) > dip_b + least:
            return True
        if _depth_in_flat(RB[k, 0], RB[k, 1], RA) > dip_a + least:
            return True
    both = dip_a + dip_b + least
    for e in range(3):
        f = (e + 1) % 3
        u0 = RA[f, 0] - RA[e, 0]
        u1 = RA[f, 1] - RA[e, 1]
        lu = math.sqrt(u0 * u0 + u1 * u1)
        for g in range(3):
            h = (g + 1) % 3
            v0 = RB[h, 0] - RB[g, 0]
            v1 = RB[h, 1] - RB[g, 1]
            lv = math.sqrt(v0 * v0 + v1 * v1)
            if lu == 0 or lv == 0:
                continue
            a0 = (v0 * (RA[e, 1] - RB[g, 1]) - v1 * (RA[e, 0] - RB[g, 0])) / lv
            a1 = (v0 * (RA[f, 1] - RB[g, 1]) - v1 * (RA[f, 0] - RB[g, 0])) / lv
            b0 = (u0 * (RB[g, 1] - RA[e, 1]) - u1 * (RB[g, 0] - RA[e, 0])) / lu
            b1 = (u0 * (RB[h, 1] - RA[e, 1]) - u1 * (RB[h, 0] - RA[e, 0])) / lu
            if (
                a0 * a1 < 0
                and b0 * b1 < 0
                and min(min(abs(a0), abs(a1)), min(abs(b0), abs(b1))) > both
            ):
                return True
    return False


@njit(nogil=True, cache=True, error_model="numpy")
def find_overlap(
    xyz_a, faces_a, boxes_a, start_a, xyz_b, faces_b, boxes_b, start_b, least, budget, hit
):
    """Look for two triangles whose meridian images overlap by more than `least`.

    Such triangles run through each other in a full turn.  Returns as `find_crossing`.
    """
    sa = np.empty(_STACK, np.int64)
    sb = np.empty(_STACK, np.int64)
    la = np.empty(_STACK, np.int8)
    lb = np.empty(_STACK, np.int8)
    ba = np.empty(4, np.float32)
    bb = np.empty(4, np.float32)
    XA = np.empty((3, 3))
    XB = np.empty((3, 3))
    RA = np.empty((3, 2))
    RB = np.empty((3, 2))
    sa[0] = 0
    la[0] = start_a.size - 2
    sb[0] = 0
    lb[0] = start_b.size - 2
    top = 1
    visited = 0
    while top > 0:
        top -= 1
        ka = sa[top]
        va = la[top]
        kb = sb[top]
        vb = lb[top]
        visited += 1
        if visited > budget:
            return -1
        _box_of(boxes_a, start_a, va, ka, ba)
        _box_of(boxes_b, start_b, vb, kb, bb)
        if ba[0] > bb[2] or bb[0] > ba[2] or ba[1] > bb[3] or bb[1] > ba[3]:
            continue
        if va < 0 and vb < 0:
            for k in range(3):
                for c in range(3):
                    XA[k, c] = xyz_a[faces_a[ka, k], c]
                    XB[k, c] = xyz_b[faces_b[kb, k], c]
            dip_a = map_triangle(XA, RA)
            dip_b = map_triangle(XB, RB)
            if _images_overlap(XA, RA, dip_a, XB, RB, dip_b, least):
                hit[0] = ka
                hit[1] = kb
                return 1
            continue
        open_a = va >= vb
        level = va if open_a else vb
        k = ka if open_a else kb
        count = faces_a.shape[0] if open_a else faces_b.shape[0]
        starts = start_a if open_a else start_b
        if level > 0:
            count = starts[level] - starts[level - 1]
        for j in range(WIDTH):
            child = WIDTH * k + j
            if child >= count or top >= _STACK:
                break
            sa[top] = child if open_a else ka
            la[top] = va - 1 if open_a else va
            sb[top] = kb if open_a else child
            lb[top] = vb if open_a else vb - 1
            top += 1
    return 0
