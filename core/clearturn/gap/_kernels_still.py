"""Compiled kernels in space: distance of two triangle sets, nearest points, winding numbers."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_lanes import boxes_in_space, lowest
from clearturn.gap._kernels_tree import (
    WIDTH,
    child_box,
    round_down,
    round_up,
    whole_box,
)

_STACK = 16_384
#: Levels from the leaves up whose nodes are told apart by slabs, not by boxes alone.
_SLABS = 2
#: A region is far when its centre is this many radii away; its winding is then taken from moments.
_FAR_RATIO = 2.3


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_on_triangle(px, py, pz, t, q):
    """Squared distance of a point from the triangle t (9,); its nearest point into q (3,).

    By the region of the plane the point projects to (Ericson 2005, section 5.1.5).
    """
    ax = t[0]
    ay = t[1]
    az = t[2]
    abx = t[3] - ax
    aby = t[4] - ay
    abz = t[5] - az
    acx = t[6] - ax
    acy = t[7] - ay
    acz = t[8] - az
    apx = px - ax
    apy = py - ay
    apz = pz - az
    d1 = abx * apx + aby * apy + abz * apz
    d2 = acx * apx + acy * apy + acz * apz
    v = 0.0
    w = 0.0
    if not (d1 <= 0 and d2 <= 0):
        bpx = apx - abx
        bpy = apy - aby
        bpz = apz - abz
        d3 = abx * bpx + aby * bpy + abz * bpz
        d4 = acx * bpx + acy * bpy + acz * bpz
        vc = d1 * d4 - d3 * d2
        cpx = apx - acx
        cpy = apy - acy
        cpz = apz - acz
        d5 = abx * cpx + aby * cpy + abz * cpz
        d6 = acx * cpx + acy * cpy + acz * cpz
        vb = d5 * d2 - d1 * d6
        va = d3 * d6 - d5 * d4
        if d3 >= 0 and d4 <= d3:
            v = 1.0
        elif vc <= 0 and d1 >= 0 and d3 <= 0:
            v = d1 / (d1 - d3) if d1 != d3 else 0.0
        elif d6 >= 0 and d5 <= d6:
            w = 1.0
        elif vb <= 0 and d2 >= 0 and d6 <= 0:
            w = d2 / (d2 - d6) if d2 != d6 else 0.0
        elif va <= 0 and d4 - d3 >= 0 and d5 - d6 >= 0:
            total = (d4 - d3) + (d5 - d6)
            w = (d4 - d3) / total if total > 0 else 0.0
            v = 1.0 - w
        else:
            total = va + vb + vc
            if total > 0:
                v = vb / total
                w = vc / total
    qx = abx * v + acx * w
    qy = aby * v + acy * w
    qz = abz * v + acz * w
    q[0] = ax + qx
    q[1] = ay + qy
    q[2] = az + qz
    return (apx - qx) ** 2 + (apy - qy) ** 2 + (apz - qz) ** 2


@njit(nogil=True, cache=True, error_model="numpy")
def segments_in_space(p0, p1, p2, u0, u1, u2, q0, q1, q2, v0, v1, v2):
    """Squared distance of segments p + s u and q + t v, with s and t."""
    r0 = p0 - q0
    r1 = p1 - q1
    r2 = p2 - q2
    a = u0 * u0 + u1 * u1 + u2 * u2
    e = v0 * v0 + v1 * v1 + v2 * v2
    f = v0 * r0 + v1 * r1 + v2 * r2
    c = u0 * r0 + u1 * r1 + u2 * r2
    if a <= 0 and e <= 0:
        s = 0.0
        t = 0.0
    elif a <= 0:
        s = 0.0
        t = min(max(f / e, 0.0), 1.0)
    elif e <= 0:
        t = 0.0
        s = min(max(-c / a, 0.0), 1.0)
    else:
        b = u0 * v0 + u1 * v1 + u2 * v2
        den = a * e - b * b
        s = 0.0
        if den > 1e-14 * a * e:
            s = min(max((b * f - c * e) / den, 0.0), 1.0)
        elif c - b * min(max(f / e, 0.0), 1.0) < 0:
            s = 1.0  # nearly parallel: begin from the nearer end
        t = (b * s + f) / e
        if t < 0:
            t = 0.0
            s = min(max(-c / a, 0.0), 1.0)
        elif t > 1:
            t = 1.0
            s = min(max((b - c) / a, 0.0), 1.0)
    x = r0 + u0 * s - v0 * t
    y = r1 + u1 * s - v1 * t
    z = r2 + u2 * s - v2 * t
    return x * x + y * y + z * z, s, t


@njit(nogil=True, cache=True, error_model="numpy")
def edge_through_face(p0, p1, p2, q0, q1, q2, t):
    """Where the segment p–q meets the triangle t (9,): its parameter, or -1."""
    e1x = t[3] - t[0]
    e1y = t[4] - t[1]
    e1z = t[5] - t[2]
    e2x = t[6] - t[0]
    e2y = t[7] - t[1]
    e2z = t[8] - t[2]
    ox = p0 - t[0]
    oy = p1 - t[1]
    oz = p2 - t[2]
    dx = q0 - p0
    dy = q1 - p1
    dz = q2 - p2
    hx = dy * e2z - dz * e2y
    hy = dz * e2x - dx * e2z
    hz = dx * e2y - dy * e2x
    det = e1x * hx + e1y * hy + e1z * hz
    if det == 0:
        return -1.0
    u = (ox * hx + oy * hy + oz * hz) / det
    if u < 0 or u > 1:
        return -1.0
    gx = oy * e1z - oz * e1y
    gy = oz * e1x - ox * e1z
    gz = ox * e1y - oy * e1x
    v = (dx * gx + dy * gy + dz * gz) / det
    if v < 0 or u + v > 1:
        return -1.0
    s = (e2x * gx + e2y * gy + e2z * gz) / det
    if s < 0 or s > 1:
        return -1.0
    return s


@njit(nogil=True, cache=True, error_model="numpy")
def triangle_distance(a, b, q, best, witness, pierce):
    """Squared distance of triangles a and b (9,); witness (6,) is set where it is below best.

    Least of nine edge pairs, six corner–face pairs, and zero where an edge pierces a face, which
    is looked for only with `pierce`: triangles whose boxes are apart cannot.
    """
    found = best
    for e in range(3):
        i = 3 * e
        j = 3 * ((e + 1) % 3)
        for g in range(3):
            k = 3 * g
            m = 3 * ((g + 1) % 3)
            d, s, t = segments_in_space(
                a[i], a[i + 1], a[i + 2], a[j] - a[i], a[j + 1] - a[i + 1], a[j + 2] - a[i + 2],
                b[k], b[k + 1], b[k + 2], b[m] - b[k], b[m + 1] - b[k + 1], b[m + 2] - b[k + 2],
            )  # fmt: skip
            if d < found:
                found = d
                for c in range(3):
                    witness[c] = a[i + c] + s * (a[j + c] - a[i + c])
                    witness[3 + c] = b[k + c] + t * (b[m + c] - b[k + c])
    for e in range(3):
        i = 3 * e
        d = nearest_on_triangle(a[i], a[i + 1], a[i + 2], b, q)
        if d < found:
            found = d
            for c in range(3):
                witness[c] = a[i + c]
                witness[3 + c] = q[c]
        d = nearest_on_triangle(b[i], b[i + 1], b[i + 2], a, q)
        if d < found:
            found = d
            for c in range(3):
                witness[c] = q[c]
                witness[3 + c] = b[i + c]
    if not pierce:
        return found
    for e in range(3):
        i = 3 * e
        j = 3 * ((e + 1) % 3)
        s = edge_through_face(a[i], a[i + 1], a[i + 2], a[j], a[j + 1], a[j + 2], b)
        if s >= 0:
            for c in range(3):
                witness[c] = a[i + c] + s * (a[j + c] - a[i + c])
                witness[3 + c] = witness[c]
            return 0.0
        s = edge_through_face(b[i], b[i + 1], b[i + 2], b[j], b[j + 1], b[j + 2], a)
        if s >= 0:
            for c in range(3):
                witness[c] = b[i + c] + s * (b[j + c] - b[i + c])
                witness[3 + c] = witness[c]
            return 0.0
    return found


@njit(nogil=True, cache=True, error_model="numpy")
def apart_beyond(a, b, limit):
    """Whether a slab between the triangles a and b (9,) shows them apart: its width² > limit.

    The slab stands across the line of their centres.  The boxes of slanting triangles are far
    thicker than the triangles, and this takes a tenth of the time of their distance.
    """
    nx = b[0] + b[3] + b[6] - (a[0] + a[3] + a[6])
    ny = b[1] + b[4] + b[7] - (a[1] + a[4] + a[7])
    nz = b[2] + b[5] + b[8] - (a[2] + a[5] + a[8])
    # From one corner of a, so that what is rounded is as small as the triangles and their gap.
    reach = max(
        0.0,
        nx * (a[3] - a[0]) + ny * (a[4] - a[1]) + nz * (a[5] - a[2]),
        nx * (a[6] - a[0]) + ny * (a[7] - a[1]) + nz * (a[8] - a[2]),
    )
    begin = min(
        nx * (b[0] - a[0]) + ny * (b[1] - a[1]) + nz * (b[2] - a[2]),
        nx * (b[3] - a[0]) + ny * (b[4] - a[1]) + nz * (b[5] - a[2]),
        nx * (b[6] - a[0]) + ny * (b[7] - a[1]) + nz * (b[8] - a[2]),
    )
    width = begin - reach
    return width > 0 and width * width > limit * (nx * nx + ny * ny + nz * nz)


@njit(nogil=True, cache=True, error_model="numpy")
def _slab_beyond(
    nx, ny, nz, vertices_a, faces_a, ka, turn, shift, vertices_b, faces_b, kb, wide, limit
):  # fmt: skip
    """As `apart_beyond` for two nodes of `wide` triangles each, by a slab across a given line."""
    v = faces_b[wide * kb, 0]
    qx = vertices_b[v, 0]
    qy = vertices_b[v, 1]
    qz = vertices_b[v, 2]
    begin = 0.0
    for t in range(wide * kb, min(wide * kb + wide, faces_b.shape[0])):
        for c in range(3):
            v = faces_b[t, c]
            x = vertices_b[v, 0] - qx
            y = vertices_b[v, 1] - qy
            z = vertices_b[v, 2] - qz
            begin = min(begin, nx * x + ny * y + nz * z)
    # The line as a's own frame has it.
    mx = turn[0, 0] * nx + turn[1, 0] * ny + turn[2, 0] * nz
    my = turn[0, 1] * nx + turn[1, 1] * ny + turn[2, 1] * nz
    mz = turn[0, 2] * nx + turn[1, 2] * ny + turn[2, 2] * nz
    v = faces_a[wide * ka, 0]
    px = vertices_a[v, 0]
    py = vertices_a[v, 1]
    pz = vertices_a[v, 2]
    reach = 0.0
    for t in range(wide * ka, min(wide * ka + wide, faces_a.shape[0])):
        for c in range(3):
            v = faces_a[t, c]
            x = vertices_a[v, 0] - px
            y = vertices_a[v, 1] - py
            z = vertices_a[v, 2] - pz
            reach = max(reach, mx * x + my * y + mz * z)
    # From the first corner of a to the first of b.
    x = qx - (turn[0, 0] * px + turn[0, 1] * py + turn[0, 2] * pz + shift[0])
    y = qy - (turn[1, 0] * px + turn[1, 1] * py + turn[1, 2] * pz + shift[1])
    z = qz - (turn[2, 0] * px + turn[2, 1] * py + turn[2, 2] * pz + shift[2])
    width = nx * x + ny * y + nz * z + begin - reach
    return width > 0 and width * width > limit * (nx * nx + ny * ny + nz * nz)


@njit(nogil=True, cache=True, error_model="numpy")
def nodes_apart_beyond(
    vertices_a, faces_a, ka, box_a, turn, shift, vertices_b, faces_b, kb, box_b, wide, limit
):  # fmt: skip
    """As `apart_beyond` for two nodes of `wide` triangles each, whose boxes (6,) are given.

    Pieces of facing walls are told apart at once, where their triangles would be one by one.  The
    slab stands across the line of the middles, then across the wall that b is.
    """
    nx = 0.5 * (np.float64(box_b[0]) + box_b[3] - box_a[0] - box_a[3])
    ny = 0.5 * (np.float64(box_b[1]) + box_b[4] - box_a[1] - box_a[4])
    nz = 0.5 * (np.float64(box_b[2]) + box_b[5] - box_a[2] - box_a[5])
    if _slab_beyond(
        nx, ny, nz, vertices_a, faces_a, ka, turn, shift, vertices_b, faces_b, kb, wide, limit
    ):
        return True
    wx = 0.0
    wy = 0.0
    wz = 0.0
    for t in range(wide * kb, min(wide * kb + wide, faces_b.shape[0])):
        a = faces_b[t, 0]
        b = faces_b[t, 1]
        c = faces_b[t, 2]
        ux = vertices_b[b, 0] - vertices_b[a, 0]
        uy = vertices_b[b, 1] - vertices_b[a, 1]
        uz = vertices_b[b, 2] - vertices_b[a, 2]
        vx = vertices_b[c, 0] - vertices_b[a, 0]
        vy = vertices_b[c, 1] - vertices_b[a, 1]
        vz = vertices_b[c, 2] - vertices_b[a, 2]
        wx += uy * vz - uz * vy
        wy += uz * vx - ux * vz
        wz += ux * vy - uy * vx
    if wx * nx + wy * ny + wz * nz < 0:
        wx = -wx
        wy = -wy
        wz = -wz
    return _slab_beyond(
        wx, wy, wz, vertices_a, faces_a, ka, turn, shift, vertices_b, faces_b, kb, wide, limit
    )


@njit(nogil=True, cache=True, error_model="numpy")
def take_triangle(vertices, faces, k, turn, shift, out):
    """Corners of triangle k under a rigid motion into out (9,)."""
    for j in range(3):
        v = faces[k, j]
        x = vertices[v, 0]
        y = vertices[v, 1]
        z = vertices[v, 2]
        for c in range(3):
            out[3 * j + c] = turn[c, 0] * x + turn[c, 1] * y + turn[c, 2] * z + shift[c]


@njit(nogil=True, cache=True, error_model="numpy")
def _move_box(box, turn, shift, identity, out):
    """Box of a moved box, rounded outward."""
    if identity:
        for q in range(6):
            out[q] = box[q]
        return
    for c in range(3):
        mid = shift[c]
        half = 0.0
        for q in range(3):
            mid += turn[c, q] * 0.5 * (np.float64(box[q]) + np.float64(box[3 + q]))
            half += abs(turn[c, q]) * 0.5 * (np.float64(box[3 + q]) - np.float64(box[q]))
        half += 1e-14 * (abs(mid) + half)
        out[c] = round_down(mid - half)
        out[3 + c] = round_up(mid + half)


@njit(nogil=True, cache=True, error_model="numpy")
def search_space(
    vertices_a, faces_a, boxes_a, start_a, turn, shift, identity, level_a, node_a,
    vertices_b, faces_b, boxes_b, start_b,
    upper, tolerance, slack, witness, triangles, counts, stop,
):  # fmt: skip
    """Search the pairs below one node of tree a (under a rigid motion) and the root of tree b.

    ``upper`` must be a distance that is reached by the points in ``witness``.  Returns upper: no
    pair below is nearer than upper - tolerance.  Stops where upper falls to the tolerance, and
    soon after ``stop`` (1,) is set: then nothing is certified.
    """
    sa = np.empty(_STACK, np.int64)
    sb = np.empty(_STACK, np.int64)
    la = np.empty(_STACK, np.int8)
    lb = np.empty(_STACK, np.int8)
    sd = np.empty(_STACK, np.float32)
    near = np.empty(WIDTH, np.float32)
    raw = np.empty(6, np.float32)
    box_a = np.empty(6, np.float32)
    box_b = np.empty(6, np.float32)
    ta = np.empty(9)
    tb = np.empty(9)
    q = np.empty(3)
    still_turn = np.eye(3)
    still_shift = np.zeros(3)
    zero = np.float32(0)
    best = upper * upper
    # Room for rounding: of the boxes' distances in single precision, of the slabs' in double.
    beyond = max(upper - tolerance + slack, slack) ** 2 * (1 + 1e-12)
    limit = np.float32(beyond * (1 + 2e-6) + 1e-30)
    sa[0] = node_a
    la[0] = level_a
    sb[0] = 0
    lb[0] = start_b.size - 2
    sd[0] = zero
    top = 1
    while top > 0:
        top -= 1
        if sd[top] > limit:
            continue
        if best <= tolerance * tolerance:
            break
        ka = sa[top]
        va = la[top]
        kb = sb[top]
        vb = lb[top]
        counts[0] += 1
        if stop[0] != 0:
            break
        if va < 0 and vb < 0:
            counts[1] += 1
            take_triangle(vertices_a, faces_a, ka, turn, shift, ta)
            take_triangle(vertices_b, faces_b, kb, still_turn, still_shift, tb)
            d = triangle_distance(ta, tb, q, best, witness, sd[top] <= zero)
            if d < best:
                best = d
                triangles[0] = ka
                triangles[1] = kb
                beyond = max(math.sqrt(best) - tolerance + slack, slack) ** 2 * (1 + 1e-12)
                limit = np.float32(beyond * (1 + 2e-6) + 1e-30)
            continue
        open_a = va >= vb
        if open_a:
            node = start_a[va] + ka
            if vb >= 0:
                whole_box(boxes_b, start_b[vb] + kb, box_b)
            else:
                child_box(boxes_b, kb // WIDTH, kb % WIDTH, box_b)
            if va == vb and 0 <= va < _SLABS:
                whole_box(boxes_a, node, raw)
                _move_box(raw, turn, shift, identity, box_a)
                if nodes_apart_beyond(
                    vertices_a, faces_a, ka, box_a, turn, shift,
                    vertices_b, faces_b, kb, box_b, WIDTH ** (va + 1), beyond,
                ):  # fmt: skip
                    continue
            if identity:
                bits = boxes_in_space(
                    boxes_a, node,
                    box_b[0], box_b[1], box_b[2], box_b[3], box_b[4], box_b[5], limit, near,
                )  # fmt: skip
            else:
                bits = 0
                for j in range(WIDTH):
                    if boxes_a[node, 0, j] > boxes_a[node, 3, j]:
                        continue
                    child_box(boxes_a, node, j, raw)
                    _move_box(raw, turn, shift, identity, box_a)
                    ex = max(max(box_a[0] - box_b[3], box_b[0] - box_a[3]), zero)
                    ey = max(max(box_a[1] - box_b[4], box_b[1] - box_a[4]), zero)
                    ez = max(max(box_a[2] - box_b[5], box_b[2] - box_a[5]), zero)
                    near[j] = ex * ex + ey * ey + ez * ez
                    if near[j] <= limit:
                        bits |= 1 << j
        else:
            node = start_b[vb] + kb
            if va >= 0:
                whole_box(boxes_a, start_a[va] + ka, raw)
            else:
                child_box(boxes_a, ka // WIDTH, ka % WIDTH, raw)
            _move_box(raw, turn, shift, identity, box_a)
            bits = boxes_in_space(
                boxes_b, node,
                box_a[0], box_a[1], box_a[2], box_a[3], box_a[4], box_a[5], limit, near,
            )  # fmt: skip
        base = top
        # Both are triangles from here on: most such pairs are told apart before they are stacked.
        a_known = va < 0 and vb == 0
        b_known = vb < 0 and va == 0
        if a_known:
            take_triangle(vertices_a, faces_a, ka, turn, shift, ta)
        elif b_known:
            take_triangle(vertices_b, faces_b, kb, still_turn, still_shift, tb)
        while bits != 0:
            j = lowest(bits)
            bits &= bits - 1
            if a_known:
                take_triangle(vertices_b, faces_b, WIDTH * kb + j, still_turn, still_shift, tb)
            elif b_known:
                take_triangle(vertices_a, faces_a, WIDTH * ka + j, turn, shift, ta)
            if (a_known or b_known) and apart_beyond(ta, tb, beyond):
                continue
            d32 = near[j]
            p = top
            while p > base and sd[p - 1] < d32:
                sd[p] = sd[p - 1]
                sa[p] = sa[p - 1]
                sb[p] = sb[p - 1]
                p -= 1
            sd[p] = d32
            sa[p] = WIDTH * ka + j if open_a else ka
            sb[p] = kb if open_a else WIDTH * kb + j
            la[top] = va - 1 if open_a else va
            lb[top] = vb if open_a else vb - 1
            top += 1
    return math.sqrt(best)


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_points(
    points, order, start, stop, limit_mm,
    vertices, faces, boxes, level_start, distance, nearest, triangle,
):  # fmt: skip
    """Nearest point of a tree's surface for ``points[order[start:stop]]``.

    Distances above limit_mm are left at infinity with triangle -1.  Points in Morton order let
    each begin with the last one's triangle.
    """
    stack_n = np.empty(512, np.int64)
    stack_l = np.empty(512, np.int64)
    stack_d = np.empty(512, np.float32)
    near = np.empty(WIDTH, np.float32)
    t = np.empty(9)
    q = np.empty(3)
    held = np.empty(3)
    turn = np.eye(3)
    shift = np.zeros(3)
    zero = np.float32(0)
    hint = -1
    for i in range(start, stop):
        p = order[i]
        px = points[p, 0]
        py = points[p, 1]
        pz = points[p, 2]
        best = limit_mm * limit_mm
        at = -1
        if hint >= 0:
            take_triangle(vertices, faces, hint, turn, shift, t)
            d = nearest_on_triangle(px, py, pz, t, q)
            if d < best:
                best = d
                at = hint
                held[:] = q
        # The query point is rounded to float32 for the boxes: widen by what that can lose.
        slack = 1.3e-7 * (abs(px) + abs(py) + abs(pz)) + 1e-12
        limit = np.float32((math.sqrt(best) + slack) ** 2 * (1 + 2e-6))
        x = np.float32(px)
        y = np.float32(py)
        z = np.float32(pz)
        stack_n[0] = 0
        stack_l[0] = level_start.size - 2
        stack_d[0] = zero
        top = 1
        while top > 0:
            top -= 1
            if stack_d[top] > limit:
                continue
            level = stack_l[top]
            k = stack_n[top]
            node = level_start[level] + k
            bits = boxes_in_space(boxes, node, x, y, z, x, y, z, limit, near)
            base = top
            while bits != 0:
                j = lowest(bits)
                bits &= bits - 1
                d32 = near[j]
                if d32 > limit:
                    continue
                if level == 0:
                    take_triangle(vertices, faces, WIDTH * k + j, turn, shift, t)
                    d = nearest_on_triangle(px, py, pz, t, q)
                    if d < best:
                        best = d
                        at = WIDTH * k + j
                        held[:] = q
                        limit = np.float32((math.sqrt(best) + slack) ** 2 * (1 + 2e-6))
                else:
                    s = top
                    while s > base and stack_d[s - 1] < d32:
                        stack_d[s] = stack_d[s - 1]
                        stack_n[s] = stack_n[s - 1]
                        stack_l[s] = stack_l[s - 1]
                        s -= 1
                    stack_d[s] = d32
                    stack_n[s] = WIDTH * k + j
                    stack_l[s] = level - 1
                    top += 1
        triangle[p] = at
        if at >= 0:
            hint = at
            distance[p] = math.sqrt(best)
            nearest[p] = held
        else:
            distance[p] = math.inf
            nearest[p, 0] = math.nan
            nearest[p, 1] = math.nan
            nearest[p, 2] = math.nan


@njit(nogil=True, cache=True, error_model="numpy")
def solid_angle(px, py, pz, t):
    """Signed solid angle of the triangle t (9,) seen from a point (van Oosterom, Strackee 1983)."""
    ax = t[0] - px
    ay = t[1] - py
    az = t[2] - pz
    bx = t[3] - px
    by = t[4] - py
    bz = t[5] - pz
    cx = t[6] - px
    cy = t[7] - py
    cz = t[8] - pz
    a = math.sqrt(ax * ax + ay * ay + az * az)
    b = math.sqrt(bx * bx + by * by + bz * bz)
    c = math.sqrt(cx * cx + cy * cy + cz * cz)
    det = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    den = (
        a * b * c
        + (ax * bx + ay * by + az * bz) * c
        + (bx * cx + by * cy + bz * cz) * a
        + (cx * ax + cy * ay + cz * az) * b
    )
    return 2.0 * math.atan2(det, den)


@njit(nogil=True, cache=True, error_model="numpy")
def node_moments(vertices, faces, level_start, moments):
    """Area-weighted centre, radius and area vector of every node; moments is (nodes, 8).

    Columns: centre xyz, radius, area vector xyz, area.
    """
    n = faces.shape[0]
    levels = level_start.size - 1
    for level in range(levels):
        count_below = n if level == 0 else level_start[level] - level_start[level - 1]
        for k in range(level_start[level + 1] - level_start[level]):
            node = level_start[level] + k
            for q in range(8):
                moments[node, q] = 0.0
            for j in range(WIDTH):
                child = WIDTH * k + j
                if child >= count_below:
                    break
                if level == 0:
                    a = faces[child, 0]
                    b = faces[child, 1]
                    c = faces[child, 2]
                    ux = vertices[b, 0] - vertices[a, 0]
                    uy = vertices[b, 1] - vertices[a, 1]
                    uz = vertices[b, 2] - vertices[a, 2]
                    wx = vertices[c, 0] - vertices[a, 0]
                    wy = vertices[c, 1] - vertices[a, 1]
                    wz = vertices[c, 2] - vertices[a, 2]
                    nx = 0.5 * (uy * wz - uz * wy)
                    ny = 0.5 * (uz * wx - ux * wz)
                    nz = 0.5 * (ux * wy - uy * wx)
                    area = math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-300
                    for q in range(3):
                        mid = (vertices[a, q] + vertices[b, q] + vertices[c, q]) / 3.0
                        moments[node, q] += area * mid
                    moments[node, 4] += nx
                    moments[node, 5] += ny
                    moments[node, 6] += nz
                    moments[node, 7] += area
                else:
                    below = level_start[level - 1] + child
                    area = moments[below, 7]
                    for q in range(3):
                        moments[node, q] += area * moments[below, q]
                        moments[node, 4 + q] += moments[below, 4 + q]
                    moments[node, 7] += area
            for q in range(3):
                moments[node, q] /= moments[node, 7]
            reach = 0.0
            for j in range(WIDTH):
                child = WIDTH * k + j
                if child >= count_below:
                    break
                if level == 0:
                    for e in range(3):
                        v = faces[child, e]
                        d = 0.0
                        for q in range(3):
                            d += (vertices[v, q] - moments[node, q]) ** 2
                        reach = max(reach, math.sqrt(d))
                else:
                    below = level_start[level - 1] + child
                    d = 0.0
                    for q in range(3):
                        d += (moments[below, q] - moments[node, q]) ** 2
                    reach = max(reach, math.sqrt(d) + moments[below, 3])
            moments[node, 3] = reach


@njit(nogil=True, cache=True, error_model="numpy")
def winding_at(px, py, pz, vertices, faces, level_start, moments, stack_n, stack_l, t):
    """Generalised winding number at a point; stack_n, stack_l (2048,) and t (9,) are scratch."""
    n = faces.shape[0]
    total = 0.0
    stack_n[0] = 0
    stack_l[0] = level_start.size - 2
    top = 1
    while top > 0:
        top -= 1
        level = stack_l[top]
        k = stack_n[top]
        node = level_start[level] + k
        dx = moments[node, 0] - px
        dy = moments[node, 1] - py
        dz = moments[node, 2] - pz
        d2 = dx * dx + dy * dy + dz * dz
        far = _FAR_RATIO * moments[node, 3]
        if d2 > far * far:
            dot = dx * moments[node, 4] + dy * moments[node, 5] + dz * moments[node, 6]
            total += dot / (d2 * math.sqrt(d2))
        elif level == 0:
            for i in range(WIDTH * k, min(WIDTH * k + WIDTH, n)):
                for j in range(3):
                    v = faces[i, j]
                    t[3 * j] = vertices[v, 0]
                    t[3 * j + 1] = vertices[v, 1]
                    t[3 * j + 2] = vertices[v, 2]
                total += solid_angle(px, py, pz, t)
        else:
            count_below = level_start[level] - level_start[level - 1]
            for child in range(WIDTH * k, min(WIDTH * k + WIDTH, count_below)):
                stack_n[top] = child
                stack_l[top] = level - 1
                top += 1
    return total / (4.0 * math.pi)


@njit(nogil=True, cache=True, error_model="numpy")
def winding_numbers(points, start, stop, vertices, faces, level_start, moments, out):
    """Generalised winding number of ``points[start:stop]``; far nodes by their dipole.

    After Jacobson et al. 2013 (the number) and Barill et al. 2018 (the far field).
    """
    stack_n = np.empty(2048, np.int64)
    stack_l = np.empty(2048, np.int64)
    t = np.empty(9)
    for i in range(start, stop):
        out[i] = winding_at(
            points[i, 0], points[i, 1], points[i, 2],
            vertices, faces, level_start, moments, stack_n, stack_l, t,
        )  # fmt: skip


@njit(nogil=True, cache=True, error_model="numpy")
def pieces_of(faces, count, parent):
    """Union of vertices by faces; parent (n,) int32 ends as each vertex' root."""
    for i in range(count):
        parent[i] = i
    for f in range(faces.shape[0]):
        a = faces[f, 0]
        while parent[a] != a:
            parent[a] = parent[parent[a]]
            a = parent[a]
        for k in range(1, 3):
            b = faces[f, k]
            while parent[b] != b:
                parent[b] = parent[parent[b]]
                b = parent[b]
            if a < b:
                parent[b] = a
            elif b < a:
                parent[a] = b
                a = b
    for i in range(count):
        r = i
        while parent[r] != r:
            r = parent[r]
        parent[i] = r


@njit(nogil=True, cache=True, error_model="numpy")
def spread_of_pieces(faces, parent, each, rows):
    """Rows of up to `each` vertices of every piece, spread over its used vertices.

    parent (n,) int32 is each vertex' piece; rows must hold ``each`` times the pieces.  Returns
    how many rows were filled, piece after piece in no order.
    """
    n = parent.size
    used = np.zeros(n, np.uint8)
    for f in range(faces.shape[0]):
        for k in range(3):
            used[faces[f, k]] = 1
    count = np.zeros(n, np.int32)
    for i in range(n):
        if used[i]:
            count[parent[i]] += 1
    seen = np.zeros(n, np.int32)
    filled = 0
    for i in range(n):
        if not used[i]:
            continue
        p = parent[i]
        # The k-th of `each` picks is the first vertex from k / each of the piece on.
        before = (seen[p] * each + count[p] - 1) // count[p]
        if before * count[p] // each == seen[p] and before < each:
            rows[filled] = i
            filled += 1
        seen[p] += 1
    return filled
