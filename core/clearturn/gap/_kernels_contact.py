"""Compiled kernels that prove a crossing of two surfaces, in space and over a full turn."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_still import edge_through_face, take_triangle
from clearturn.gap._kernels_tree import WIDTH, child_box, whole_box
from clearturn.gap._kernels_turning import map_triangle

_STACK = 16_384


@njit(nogil=True, cache=True, error_model="numpy")
def _box_of(boxes, level_start, level, k, out):
    """Box of node k of a level, or of triangle k where level is -1."""
    if level < 0:
        child_box(boxes, k // WIDTH, k % WIDTH, out)
    else:
        whole_box(boxes, level_start[level] + k, out)


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
def _depth_in_face(t, x, y, z):
    """Distance of a point of the plane of t (9,) from the nearest side of t; rough sign outside."""
    least = 1e300
    for e in range(3):
        i = 3 * e
        j = 3 * ((e + 1) % 3)
        ux = t[j] - t[i]
        uy = t[j + 1] - t[i + 1]
        uz = t[j + 2] - t[i + 2]
        length = math.sqrt(ux * ux + uy * uy + uz * uz)
        if length == 0:
            return 0.0
        px = x - t[i]
        py = y - t[i + 1]
        pz = z - t[i + 2]
        cx = uy * pz - uz * py
        cy = uz * px - ux * pz
        cz = ux * py - uy * px
        least = min(least, math.sqrt(cx * cx + cy * cy + cz * cz) / length)
    return least


@njit(nogil=True, cache=True, error_model="numpy")
def _crosses(a, b, least):
    """Whether an edge of a passes through the face b by more than `least`.

    Both its ends are more than that off the plane, and it pierces the face farther than that from
    the face's sides: an edge that lies along the rim of a face it touches does not count.
    """
    for e in range(3):
        i = 3 * e
        j = 3 * ((e + 1) % 3)
        d0 = _side(b, a[i], a[i + 1], a[i + 2])
        d1 = _side(b, a[j], a[j + 1], a[j + 2])
        if d0 * d1 < 0 and min(abs(d0), abs(d1)) > least:
            s = edge_through_face(a[i], a[i + 1], a[i + 2], a[j], a[j + 1], a[j + 2], b)
            if s >= 0:
                x = a[i] + s * (a[j] - a[i])
                y = a[i + 1] + s * (a[j + 1] - a[i + 1])
                z = a[i + 2] + s * (a[j + 2] - a[i + 2])
                if _depth_in_face(b, x, y, z) > least:
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
    margin = 0.2 * least
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
            # Boxes that meet by less than this cannot hold a crossing deeper than `least`.
            if ba[q] > bb[3 + q] - margin or bb[q] > ba[3 + q] - margin:
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
def _images_overlap(RA, dip_a, RB, dip_b, least):
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
def _boxes_meet(RA, dip_a, RB, dip_b, least):
    """Whether the images' bounds overlap by more than `least`."""
    ra = min(RA[0, 0], min(RA[1, 0], RA[2, 0])) - dip_a
    rb = min(RB[0, 0], min(RB[1, 0], RB[2, 0])) - dip_b
    za = min(RA[0, 1], min(RA[1, 1], RA[2, 1]))
    zb = min(RB[0, 1], min(RB[1, 1], RB[2, 1]))
    ra2 = max(RA[0, 0], max(RA[1, 0], RA[2, 0]))
    rb2 = max(RB[0, 0], max(RB[1, 0], RB[2, 0]))
    za2 = max(RA[0, 1], max(RA[1, 1], RA[2, 1]))
    zb2 = max(RB[0, 1], max(RB[1, 1], RB[2, 1]))
    m = 0.5 * least
    return ra < rb2 - m and rb < ra2 - m and za < zb2 - m and zb < za2 - m


@njit(nogil=True, cache=True, error_model="numpy")
def pair_overlaps(stack, depth, XA, XB, RA, RB, least):
    """Whether the images of the two triangles in ``stack[0]`` (18,) surely overlap.

    Triangles whose dip hides the answer are cut up a few times.
    """
    depth[0] = 0
    top = 1
    while top > 0:
        top -= 1
        level = depth[top]
        for k in range(3):
            for c in range(3):
                XA[k, c] = stack[top, 3 * k + c]
                XB[k, c] = stack[top, 9 + 3 * k + c]
        dip_a = map_triangle(XA, RA)
        dip_b = map_triangle(XB, RB)
        if not _boxes_meet(RA, dip_a, RB, dip_b, least):
            continue
        if _images_overlap(RA, dip_a, RB, dip_b, least):
            return True
        if level >= 6 or dip_a + dip_b < 0.2 * least or top > depth.size - 20:
            continue
        for i in range(4 if dip_a >= 0.25 * dip_b else 1):
            for j in range(4 if dip_b >= 0.25 * dip_a else 1):
                for c in range(3):
                    for k in range(3):
                        stack[top, 3 * k + c] = _corner(XA, i, k, c, dip_a >= 0.25 * dip_b)
                        stack[top, 9 + 3 * k + c] = _corner(XB, j, k, c, dip_b >= 0.25 * dip_a)
                depth[top] = level + 1
                top += 1
    return False


@njit(nogil=True, cache=True, error_model="numpy")
def _corner(X, part, k, c, cut):
    """Coordinate c of corner k of quarter `part` of X, or of X itself where it is not cut."""
    if not cut:
        return X[k, c]
    if part == 3:
        return 0.5 * (X[k, c] + X[(k + 1) % 3, c])
    return 0.5 * (X[part, c] + X[k, c])


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
    stack = np.empty((150, 18))
    depth = np.empty(150, np.int64)
    margin = 0.5 * least
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
        if (
            ba[0] > bb[2] - margin
            or bb[0] > ba[2] - margin
            or ba[1] > bb[3] - margin
            or bb[1] > ba[3] - margin
        ):
            continue
        if va < 0 and vb < 0:
            for k in range(3):
                for c in range(3):
                    stack[0, 3 * k + c] = xyz_a[faces_a[ka, k], c]
                    stack[0, 9 + 3 * k + c] = xyz_b[faces_b[kb, k], c]
            if pair_overlaps(stack, depth, XA, XB, RA, RB, least):
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
