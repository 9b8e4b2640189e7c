"""Compiled kernels for the full turn: exact distance of two meridian images.

The wheel turns about z (every mesh is brought into the axis frame first).  With the meridian map
m(x, y, z) = (hypot(x, y), z) the least distance over a full turn is the planar distance of the two
images (docs/methods/gap.md).  The image of a triangle lies on the axis side of the flat triangle on
its mapped corners, by no more than the sagitta of its edges.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_lanes import boxes_in_plane, lowest
from clearturn.gap._kernels_tree import (
    _BOX_MATH,
    FAR,
    WIDTH,
    child_box,
    round_down,
    round_up,
    whole_box,
)

#: How much lower than its triangle a leaf's box may begin, mm, to save working it out.
_LOWER_MM = 0.005
#: Deepest subdivision of a pair of triangles: edges shrink by 2**-40, far below rounding.
DEEPEST = 40
_STACK = 16_384


@njit(nogil=True, cache=True, error_model="numpy")
def project(vertices, turn, shift, start, stop, xyz, rz):
    """Bring vertices into the axis frame (turn @ v + shift) and map them to (r, z)."""
    for i in range(start, stop):
        x = vertices[i, 0]
        y = vertices[i, 1]
        z = vertices[i, 2]
        a = turn[0, 0] * x + turn[0, 1] * y + turn[0, 2] * z + shift[0]
        b = turn[1, 0] * x + turn[1, 1] * y + turn[1, 2] * z + shift[1]
        c = turn[2, 0] * x + turn[2, 1] * y + turn[2, 2] * z + shift[2]
        xyz[i, 0] = a
        xyz[i, 1] = b
        xyz[i, 2] = c
        rz[i, 0] = math.sqrt(a * a + b * b)
        rz[i, 1] = c


@njit(nogil=True, cache=True, error_model="numpy")
def least_radius_of_edge(ax, ay, bx, by):
    """Distance of the axis from the segment a–b in the xy plane."""
    dx = bx - ax
    dy = by - ay
    length2 = dx * dx + dy * dy
    s = 0.0
    if length2 > 0:
        s = min(max(-(ax * dx + ay * dy) / length2, 0.0), 1.0)
    x = ax + s * dx
    y = ay + s * dy
    return math.sqrt(x * x + y * y)


@njit(nogil=True, cache=True, error_model="numpy")
def holds_axis(ax, ay, bx, by, cx, cy):
    """Whether the axis pierces the triangle strictly inside, seen along z.

    Strict on purpose: a triangle in a half plane through the axis has all three areas zero and
    must fall to its edges, else it would be cut up without end.
    """
    s1 = ax * by - ay * bx
    s2 = bx * cy - by * cx
    s3 = cx * ay - cy * ax
    return (s1 > 0 and s2 > 0 and s3 > 0) or (s1 < 0 and s2 < 0 and s3 < 0)


@njit(nogil=True, cache=True, error_model="numpy")
def least_radius(ax, ay, bx, by, cx, cy):
    """Least distance from the axis over a triangle."""
    if holds_axis(ax, ay, bx, by, cx, cy):
        return 0.0
    e = least_radius_of_edge(ax, ay, bx, by)
    f = least_radius_of_edge(bx, by, cx, cy)
    g = least_radius_of_edge(cx, cy, ax, ay)
    return min(e, min(f, g))


@njit(nogil=True, cache=True, error_model="numpy")
def low_radius(xyz, rz, a, b, c, most):
    """A radius that a triangle does not come below, at most `most` under its least one.

    Points of a triangle with corners at radius r and beyond lie beyond sqrt(r² - e²/3), e being
    its longest edge seen along the axis: |Σ w v|² = Σ w |v|² - Σ w w' |v - v'|².  Where that could
    be too low the edges are asked.
    """
    r = min(rz[a, 0], min(rz[b, 0], rz[c, 0]))
    ax = xyz[a, 0]
    ay = xyz[a, 1]
    bx = xyz[b, 0]
    by = xyz[b, 1]
    cx = xyz[c, 0]
    cy = xyz[c, 1]
    e = (ax - bx) * (ax - bx) + (ay - by) * (ay - by)
    e = max(e, (bx - cx) * (bx - cx) + (by - cy) * (by - cy))
    e = max(e, (cx - ax) * (cx - ax) + (cy - ay) * (cy - ay))
    # A hair more covers rounding.
    if e < 2.9 * r * most:
        return r * (1 - 1e-14) - e / (2.9 * r)
    return least_radius(ax, ay, bx, by, cx, cy)


@njit(nogil=True, cache=True, error_model="numpy", fastmath=_BOX_MATH)
def leaf_boxes_in_plane(xyz, rz, faces, start, stop, boxes):
    """Fill nodes ``start:stop`` of level 0; boxes is (nodes, 4, 8): low r z, high r z."""
    n = faces.shape[0]
    for k in range(start, stop):
        for j in range(WIDTH):
            i = WIDTH * k + j
            if i < n:
                a = faces[i, 0]
                b = faces[i, 1]
                c = faces[i, 2]
                low = low_radius(xyz, rz, a, b, c, _LOWER_MM)
                boxes[k, 0, j] = round_down(low * (1.0 - 1e-15))
                boxes[k, 1, j] = round_down(min(rz[a, 1], min(rz[b, 1], rz[c, 1])))
                boxes[k, 2, j] = round_up(max(rz[a, 0], max(rz[b, 0], rz[c, 0])))
                boxes[k, 3, j] = round_up(max(rz[a, 1], max(rz[b, 1], rz[c, 1])))
            else:
                boxes[k, 0, j] = FAR
                boxes[k, 1, j] = FAR
                boxes[k, 2, j] = -FAR
                boxes[k, 3, j] = -FAR


@njit(nogil=True, cache=True, error_model="numpy")
def edge_sagitta(ax, ay, bx, by):
    """How far the true image of a segment dips below its chord towards the axis; exact.

    With m the slope of r along the chord and d the axis' distance from the line, the dip is
    greatest where r' = m, at s = m d / sqrt(1 - m**2) from the foot, clamped to the segment.
    """
    dx = bx - ax
    dy = by - ay
    length = math.sqrt(dx * dx + dy * dy)
    if length == 0.0:
        return 0.0
    ra = math.sqrt(ax * ax + ay * ay)
    rb = math.sqrt(bx * bx + by * by)
    m = (rb - ra) / length
    d = abs(ax * by - ay * bx) / length
    sa = (ax * dx + ay * dy) / length  # places along the line, from the foot of the axis
    if abs(m) >= 1.0:
        return 0.0  # the line meets the axis and the segment does not cross it: r is linear
    s = m * d / math.sqrt(1.0 - m * m)
    s = min(max(s, sa), sa + length)
    dip = ra + m * (s - sa) - math.sqrt(d * d + s * s)
    # r changes by no more than the length; an edge along the axis that rounding left a hair of
    # length in xy has no meaningful d.
    return min(max(dip, 0.0), length)


@njit(nogil=True, cache=True, error_model="numpy")
def map_triangle(X, R):
    """Map corners X (3, 3) to R (3, 2); return how far the image may dip towards the axis.

    Off the axis r is linear along every ray, so the greatest dip lies on an edge.  Where the axis
    pierces the triangle, the greatest radius bounds it.
    """
    most = 0.0
    for k in range(3):
        R[k, 0] = math.sqrt(X[k, 0] * X[k, 0] + X[k, 1] * X[k, 1])
        R[k, 1] = X[k, 2]
        most = max(most, R[k, 0])
    if holds_axis(X[0, 0], X[0, 1], X[1, 0], X[1, 1], X[2, 0], X[2, 1]):
        return most
    dip = edge_sagitta(X[0, 0], X[0, 1], X[1, 0], X[1, 1])
    dip = max(dip, edge_sagitta(X[1, 0], X[1, 1], X[2, 0], X[2, 1]))
    return max(dip, edge_sagitta(X[2, 0], X[2, 1], X[0, 0], X[0, 1]))


@njit(nogil=True, cache=True, error_model="numpy")
def _map_roughly(X, R):
    """As `map_triangle`, with a dip that is too large by some times but takes no root.

    |Σ w v|² = Σ w |v|² - Σ w w' |v - v'|², at least (Σ w |v|)² - e²/3 for the longest edge e.
    """
    most = 0.0
    least = 1e300
    for k in range(3):
        R[k, 0] = math.sqrt(X[k, 0] * X[k, 0] + X[k, 1] * X[k, 1])
        R[k, 1] = X[k, 2]
        most = max(most, R[k, 0])
        least = min(least, R[k, 0])
    e = (X[0, 0] - X[1, 0]) ** 2 + (X[0, 1] - X[1, 1]) ** 2
    e = max(e, (X[1, 0] - X[2, 0]) ** 2 + (X[1, 1] - X[2, 1]) ** 2)
    e = max(e, (X[2, 0] - X[0, 0]) ** 2 + (X[2, 1] - X[0, 1]) ** 2)
    return e / (2.9 * least) if e < least * least else most


@njit(nogil=True, cache=True, error_model="numpy")
def segments_in_plane(p0, p1, u0, u1, q0, q1, v0, v1):
    """Squared distance of segments p + s u and q + t v in the plane, with s and t."""
    r0 = p0 - q0
    r1 = p1 - q1
    den = u0 * v1 - u1 * v0
    if den != 0:
        s = (v0 * r1 - v1 * r0) / den
        t = (u0 * r1 - u1 * r0) / den
        if s >= 0 and s <= 1 and t >= 0 and t <= 1:
            return 0.0, s, t
    uu = u0 * u0 + u1 * u1
    vv = v0 * v0 + v1 * v1
    best = 1e300
    bs = 0.0
    bt = 0.0
    for k in range(4):
        if k < 2:
            s = float(k)
            t = 0.0
            if vv > 0:
                t = min(max((v0 * (r0 + s * u0) + v1 * (r1 + s * u1)) / vv, 0.0), 1.0)
        else:
            t = float(k - 2)
            s = 0.0
            if uu > 0:
                s = min(max(-(u0 * (r0 - t * v0) + u1 * (r1 - t * v1)) / uu, 0.0), 1.0)
        x = r0 + u0 * s - v0 * t
        y = r1 + u1 * s - v1 * t
        d = x * x + y * y
        if d < best:
            best = d
            bs = s
            bt = t
    return best, bs, bt


@njit(nogil=True, cache=True, error_model="numpy")
def weights_in_triangle(x, y, R, w):
    """Whether (x, y) lies strictly in the flat triangle R; its barycentric weights into w."""
    ax = R[0, 0]
    ay = R[0, 1]
    s3 = (R[1, 0] - ax) * (y - ay) - (R[1, 1] - ay) * (x - ax)
    s1 = (R[2, 0] - R[1, 0]) * (y - R[1, 1]) - (R[2, 1] - R[1, 1]) * (x - R[1, 0])
    s2 = (ax - R[2, 0]) * (y - R[2, 1]) - (ay - R[2, 1]) * (x - R[2, 0])
    inside = (s1 > 0 and s2 > 0 and s3 > 0) or (s1 < 0 and s2 < 0 and s3 < 0)
    if inside:
        total = s1 + s2 + s3
        w[0] = s1 / total
        w[1] = s2 / total
        w[2] = s3 / total
    return inside


@njit(nogil=True, cache=True, error_model="numpy")
def _take_quarter(X, part, out):
    """Corner triangles 0–2 and the middle one 3 of X cut at its edges' middles; part < 0: all."""
    if part < 0:
        out[:] = X
        return
    for c in range(3):
        ab = 0.5 * (X[0, c] + X[1, c])
        bc = 0.5 * (X[1, c] + X[2, c])
        ca = 0.5 * (X[2, c] + X[0, c])
        if part == 0:
            out[0, c] = X[0, c]
            out[1, c] = ab
            out[2, c] = ca
        elif part == 1:
            out[0, c] = ab
            out[1, c] = X[1, c]
            out[2, c] = bc
        elif part == 2:
            out[0, c] = ca
            out[1, c] = bc
            out[2, c] = X[2, c]
        else:
            out[0, c] = ab
            out[1, c] = bc
            out[2, c] = ca


@njit(nogil=True, cache=True, error_model="numpy")
def _flat_distance(XA, RA, XB, RB, w, P):
    """Squared distance of two flat triangles; P gets the two points of the true triangles."""
    best = 1e300
    be = 0
    bg = 0
    bs = 0.0
    bt = 0.0
    for e in range(3):
        f = (e + 1) % 3
        for g in range(3):
            h = (g + 1) % 3
            d, s, t = segments_in_plane(
                RA[e, 0], RA[e, 1], RA[f, 0] - RA[e, 0], RA[f, 1] - RA[e, 1],
                RB[g, 0], RB[g, 1], RB[h, 0] - RB[g, 0], RB[h, 1] - RB[g, 1],
            )  # fmt: skip
            if d < best:
                best = d
                be = e
                bg = g
                bs = s
                bt = t
    if best > 0:
        for k in range(3):
            if weights_in_triangle(RA[k, 0], RA[k, 1], RB, w):
                for c in range(3):
                    P[c] = XA[k, c]
                    P[3 + c] = w[0] * XB[0, c] + w[1] * XB[1, c] + w[2] * XB[2, c]
                return 0.0
            if weights_in_triangle(RB[k, 0], RB[k, 1], RA, w):
                for c in range(3):
                    P[c] = w[0] * XA[0, c] + w[1] * XA[1, c] + w[2] * XA[2, c]
                    P[3 + c] = XB[k, c]
                return 0.0
    f = (be + 1) % 3
    h = (bg + 1) % 3
    for c in range(3):
        P[c] = XA[be, c] + bs * (XA[f, c] - XA[be, c])
        P[3 + c] = XB[bg, c] + bt * (XB[h, c] - XB[bg, c])
    return best


@njit(nogil=True, cache=True, error_model="numpy")
def _slab_across(nr, nz, RA, dip_a, RB, dip_b):
    """Lower bound of the distance of two images by a slab across a line, from the first on.

    An image lies axis-side of its flat triangle, so a dip matters only where it leads towards the
    other one.  This takes a tenth of the time of the flat triangles' distance.
    """
    r = RA[0, 0]
    z = RA[0, 1]
    reach = max(
        0.0,
        nr * (RA[1, 0] - r) + nz * (RA[1, 1] - z),
        nr * (RA[2, 0] - r) + nz * (RA[2, 1] - z),
    )
    begin = min(
        nr * (RB[0, 0] - r) + nz * (RB[0, 1] - z),
        nr * (RB[1, 0] - r) + nz * (RB[1, 1] - z),
        nr * (RB[2, 0] - r) + nz * (RB[2, 1] - z),
    )
    dip = dip_b * nr if nr > 0 else -dip_a * nr
    length = math.sqrt(nr * nr + nz * nz)
    return (begin - reach - dip) / length if length > 0 else 0.0


@njit(nogil=True, cache=True, error_model="numpy")
def meridian_distance(P):
    """Distance of the meridian images of the two points P (6,)."""
    dr = math.sqrt(P[0] * P[0] + P[1] * P[1]) - math.sqrt(P[3] * P[3] + P[4] * P[4])
    dz = P[2] - P[5]
    return math.sqrt(dr * dr + dz * dz)


@njit(nogil=True, cache=True, error_model="numpy")
def pair_distance(stack, depth, work, upper, tolerance, slack, witness):
    """Bound the least distance over a full turn of the two triangles in ``stack[0]``.

    stack is (s, 18): corners of the first, then of the second triangle; depth (s,) int64; work
    (36,) is scratch.  Pairs are cut up only while their lower bound is below ``upper -
    tolerance``.  Returns (lower, upper, improved): lower holds for every part of the pair, as far
    as it is below ``upper - tolerance``; witness (6,) is set where upper improves.
    """
    XA = work[0:9].reshape(3, 3)
    XB = work[9:18].reshape(3, 3)
    RA = work[18:24].reshape(3, 2)
    RB = work[24:30].reshape(3, 2)
    P = work[30:36]
    YA = work[36:45].reshape(3, 3)
    YB = work[45:54].reshape(3, 3)
    w = work[54:57]
    wr = math.sqrt(witness[3] ** 2 + witness[4] ** 2) - math.sqrt(witness[0] ** 2 + witness[1] ** 2)
    wz = witness[5] - witness[2]
    low = 1e300
    improved = False
    top = 1
    depth[0] = 0
    while top > 0:
        top -= 1
        level = depth[top]
        for k in range(3):
            for c in range(3):
                XA[k, c] = stack[top, 3 * k + c]
                XB[k, c] = stack[top, 9 + 3 * k + c]
        dip_a = _map_roughly(XA, RA)
        dip_b = _map_roughly(XB, RB)
        # Across the line of the nearest points so far, which is that of two facing walls.
        lower = _slab_across(wr, wz, RA, dip_a, RB, dip_b) - slack
        if lower >= upper:
            low = min(low, lower)
            continue
        dip_a = map_triangle(XA, RA)
        dip_b = map_triangle(XB, RB)
        flat = _flat_distance(XA, RA, XB, RB, w, P)
        lower = max(0.0, math.sqrt(flat) - dip_a - dip_b - slack)
        true = meridian_distance(P)
        if true < upper:
            upper = true
            improved = True
            witness[:] = P
        if lower >= upper - tolerance or level >= DEEPEST or top > depth.size - 20:
            low = min(low, lower)
            continue
        # Cut what carries the dip; where both are flat and overlap, cut both.
        cut_a = dip_a >= 0.25 * dip_b
        cut_b = dip_b >= 0.25 * dip_a
        for i in range(4 if cut_a else 1):
            _take_quarter(XA, i if cut_a else -1, YA)
            for j in range(4 if cut_b else 1):
                _take_quarter(XB, j if cut_b else -1, YB)
                for k in range(3):
                    for c in range(3):
                        stack[top, 3 * k + c] = YA[k, c]
                        stack[top, 9 + 3 * k + c] = YB[k, c]
                depth[top] = level + 1
                top += 1
    return low, upper, improved


@njit(nogil=True, cache=True, error_model="numpy")
def _limit(upper, tolerance):
    """Squared box distance above which a pair of boxes cannot matter, safe in float32."""
    h = max(0.0, upper - tolerance)
    return np.float32(h * h * (1.0 + 2e-6) + 1e-30)


@njit(nogil=True, cache=True, error_model="numpy")
def search(
    xyz_a, faces_a, boxes_a, start_a, level_a, node_a,
    xyz_b, faces_b, boxes_b, start_b,
    upper, tolerance, slack, witness, triangles, counts, stop,
):  # fmt: skip
    """Search the pairs below one node of tree a and the root of tree b.

    Both trees hold meridian images.  ``upper`` must be a distance that is reached by the points in
    ``witness``.  Returns (lower, upper): every pair below is at least lower away, and lower is not
    below ``upper - tolerance`` unless ``upper <= tolerance``.  Once ``stop`` (1,) is set it ends
    soon, and nothing is certified.
    """
    sa = np.empty(_STACK, np.int64)
    sb = np.empty(_STACK, np.int64)
    la = np.empty(_STACK, np.int8)
    lb = np.empty(_STACK, np.int8)
    sd = np.empty(_STACK, np.float32)
    near = np.empty(WIDTH, np.float32)
    box = np.empty(4, np.float32)
    stack = np.empty((700, 18))
    depth = np.empty(700, np.int64)
    work = np.empty(57)
    zero = np.float32(0)
    low = 1e300
    limit = _limit(upper, tolerance)
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
        if upper <= tolerance:
            return 0.0, upper  # touching: without this an overlap visits millions of pairs
        ka = sa[top]
        va = la[top]
        kb = sb[top]
        vb = lb[top]
        counts[0] += 1
        if stop[0] != 0:
            return 0.0, upper
        if va < 0 and vb < 0:
            counts[1] += 1
            for k in range(3):
                i = faces_a[ka, k]
                j = faces_b[kb, k]
                for c in range(3):
                    stack[0, 3 * k + c] = xyz_a[i, c]
                    stack[0, 9 + 3 * k + c] = xyz_b[j, c]
            lower, upper, better = pair_distance(
                stack, depth, work, upper, tolerance, slack, witness
            )
            low = min(low, lower)
            if better:
                triangles[0] = ka
                triangles[1] = kb
                limit = _limit(upper, tolerance)
            continue
        # Open the larger of the two: the one on the higher level, tree a first.
        open_a = va >= vb
        if open_a:
            node = start_a[va] + ka
            if vb >= 0:
                whole_box(boxes_b, start_b[vb] + kb, box)
            else:
                child_box(boxes_b, kb // WIDTH, kb % WIDTH, box)
            bits = boxes_in_plane(boxes_a, node, box[0], box[1], box[2], box[3], limit, near)
        else:
            node = start_b[vb] + kb
            if va >= 0:
                whole_box(boxes_a, start_a[va] + ka, box)
            else:
                child_box(boxes_a, ka // WIDTH, ka % WIDTH, box)
            bits = boxes_in_plane(boxes_b, node, box[0], box[1], box[2], box[3], limit, near)
        base = top
        while bits != 0:
            j = lowest(bits)
            bits &= bits - 1
            d = near[j]
            p = top
            while p > base and sd[p - 1] < d:
                sd[p] = sd[p - 1]
                sa[p] = sa[p - 1]
                sb[p] = sb[p - 1]
                p -= 1
            sd[p] = d
            sa[p] = WIDTH * ka + j if open_a else ka
            sb[p] = kb if open_a else WIDTH * kb + j
            la[top] = va - 1 if open_a else va
            lb[top] = vb if open_a else vb - 1
            top += 1
    return max(0.0, min(low, upper - tolerance)), upper


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_corner(r, z, rz, faces, boxes, level_start, best, stack_n, stack_l, stack_d, near):
    """Nearest mapped corner of a tree's triangles to (r, z).

    Returns (squared distance, tree position, corner number); position -1 where none is nearer than
    ``best``.
    """
    zero = np.float32(0)
    x = np.float32(r)
    y = np.float32(z)
    at = -1
    corner = 0
    limit = np.float32(min(best * (1 + 1e-5) + 1e-6, 1e30))
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
        bits = boxes_in_plane(boxes, node, x, y, x, y, limit, near)
        base = top
        while bits != 0:
            j = lowest(bits)
            bits &= bits - 1
            d = near[j]
            if d > limit:
                continue
            if level == 0:
                t = WIDTH * k + j
                for c in range(3):
                    v = faces[t, c]
                    e = (rz[v, 0] - r) ** 2 + (rz[v, 1] - z) ** 2
                    if e < best:
                        best = e
                        at = t
                        corner = c
                        limit = np.float32(best * (1 + 1e-5) + 1e-6)
            else:
                p = top
                while p > base and stack_d[p - 1] < d:
                    stack_d[p] = stack_d[p - 1]
                    stack_n[p] = stack_n[p - 1]
                    stack_l[p] = stack_l[p - 1]
                    p -= 1
                stack_d[p] = d
                stack_n[p] = WIDTH * k + j
                stack_l[p] = level - 1
                top += 1
    return best, at, corner


@njit(nogil=True, cache=True, error_model="numpy")
def seed(xyz_a, rz_a, faces_a, step, xyz_b, rz_b, faces_b, boxes_b, start_b, witness, triangles):
    """Upper bound from every step-th triangle's first corner of a to the nearest corner of b."""
    stack_n = np.empty(512, np.int64)
    stack_l = np.empty(512, np.int64)
    stack_d = np.empty(512, np.float32)
    near = np.empty(WIDTH, np.float32)
    best = 1e30
    for t in range(0, faces_a.shape[0], step):
        v = faces_a[t, 0]
        d, at, corner = nearest_corner(
            rz_a[v, 0], rz_a[v, 1], rz_b, faces_b, boxes_b, start_b, best,
            stack_n, stack_l, stack_d, near,
        )  # fmt: skip
        if at >= 0 and d < best:
            best = d
            u = faces_b[at, corner]
            for c in range(3):
                witness[c] = xyz_a[v, c]
                witness[3 + c] = xyz_b[u, c]
            triangles[0] = t
            triangles[1] = at
    return meridian_distance(witness)
