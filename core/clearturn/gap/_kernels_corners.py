"""Compiled kernels for many points: the nearest point of a surface, found by its corners.

If q is the point of a triangle nearest to p, then p - q is square to the face or to the edge q
lies on, so one of the triangle's corners v is no farther from p than

    |p - v|**2 <= |p - q|**2 + reach**2,    reach = longest edge / sqrt(3),

since no point of a triangle is farther than that from its nearest corner.  So a tree of corners
suffices: only triangles at corners with |p - v|**2 - reach**2 below the best so far are looked at.
Far off, where a scan's triangles are all nearly equally near, those are a few; boxes of triangles
hold hundreds.

Leaves hold eight corners: (nodes, axes + 1, 8) float32, coordinates from an origin and reach**2.
Nodes above hold their children's boxes: (nodes, 2 axes + 1, 8), low, high and greatest reach**2.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_lanes import leaves_in_space, lowest, nodes_in_space
from clearturn.gap._kernels_still import nearest_on_triangle, winding_at
from clearturn.gap._kernels_tree import FAR, WIDTH, round_up, spread_by_two
from clearturn.gap._kernels_turning import edge_sagitta, holds_axis

STACK = 1024


@njit(nogil=True, cache=True, error_model="numpy")
def longest_edges(points, faces, start, stop, longest2):
    """Square of the longest edge of ``faces[start:stop]``, rounded up; points are (n, k)."""
    k = points.shape[1]
    for f in range(start, stop):
        most = 0.0
        for e in range(3):
            a = faces[f, e]
            b = faces[f, (e + 1) % 3]
            d = 0.0
            for q in range(k):
                d += (points[a, q] - points[b, q]) ** 2
            most = max(most, d)
        longest2[f] = round_up(most)


@njit(nogil=True, cache=True, error_model="numpy")
def codes_of_mapped(rz, low, per_mm, start, stop, codes):
    """Morton code of each mapped point, eleven bits an axis; points outside are clamped."""
    for i in range(start, stop):
        r = min(max((rz[i, 0] - low[0]) * per_mm, 0.0), 2047.0)
        z = min(max((rz[i, 1] - low[1]) * per_mm, 0.0), 2047.0)
        codes[i] = spread_by_two(np.uint32(r)) | (spread_by_two(np.uint32(z)) << np.uint32(1))


@njit(nogil=True, cache=True, error_model="numpy")
def dips_of_images(xyz, rz, faces, start, stop, dips):
    """How far the images of ``faces[start:stop]`` may dip towards the axis; infinite about it.

    With corners r_i u_i, |u_i| = 1, a place w has r = l |sum(p_i u_i)| for l = sum(w_i r_i) and
    p_i = w_i r_i / l.  Seen from the axis the corners lie within an angle whose chord c is the
    longest of |u_i - u_j|, so r >= l sqrt(1 - c**2 / 4) and the dip l - r <= l c**2 / (8 - c**2).
    Wide angles are left to `edge_sagitta`.
    """
    for f in range(start, stop):
        a = faces[f, 0]
        b = faces[f, 1]
        c = faces[f, 2]
        ax = xyz[a, 0]
        ay = xyz[a, 1]
        bx = xyz[b, 0]
        by = xyz[b, 1]
        cx = xyz[c, 0]
        cy = xyz[c, 1]
        ra = rz[a, 0]
        rb = rz[b, 0]
        rc = rz[c, 0]
        low = min(ra, min(rb, rc))
        high = max(ra, max(rb, rc))
        # r_i r_j |u_i - u_j|**2 is what is left of the edge's square.
        wide = (ax - bx) * (ax - bx) + (ay - by) * (ay - by) - (ra - rb) * (ra - rb)
        wide = max(wide, (bx - cx) * (bx - cx) + (by - cy) * (by - cy) - (rb - rc) * (rb - rc))
        wide = max(wide, (cx - ax) * (cx - ax) + (cy - ay) * (cy - ay) - (rc - ra) * (rc - ra))
        # More than its rounding.
        wide = max(wide, 0.0) + 4e-15 * high * high
        if wide < 0.25 * low * low:
            dips[f] = high * wide / (8.0 * low * low - wide)
            continue
        if holds_axis(ax, ay, bx, by, cx, cy):
            dips[f] = math.inf
            continue
        dip = max(edge_sagitta(ax, ay, bx, by), edge_sagitta(bx, by, cx, cy))
        dips[f] = max(dip, edge_sagitta(cx, cy, ax, ay))


@njit(nogil=True, cache=True, error_model="numpy")
def count_corners(faces, longest2, limit2, share, start, stop, count, reach2):
    """Count ``faces[start:stop]`` at every vertex; `share` of the longest edge squared of those.

    count (n, 2) and reach2 (n, 2) are the same bytes, as int32 and as float32; the first of each
    row is the one, the second the other.  Faces beyond the limit are left out.

    Returns how many faces were left out.
    """
    left_out = 0
    for f in range(start, stop):
        if longest2[f] > limit2:
            left_out += 1
            continue
        reach = longest2[f] * np.float32(share)
        for e in range(3):
            v = faces[f, e]
            count[v, 0] += 1
            reach2[v, 1] = max(reach2[v, 1], reach)
    return left_out


@njit(nogil=True, cache=True, error_model="numpy")
def lay_out(order, counts, reaches2, rank, kept, ring_start, reach2):
    """Lay the corners that have faces out in ``order``; returns how many they are.

    counts (parts, n, 2) of the faces at every vertex become the places where each part's faces
    go: those behind the parts before it, whichever is done first; reaches2 are the same bytes as
    float32.  kept, ring_start and reach2 are filled from the start, rank (n,) where kept.
    """
    parts = counts.shape[0]
    total = 0
    at = 0
    for v in order:
        begin = total
        reach = np.float32(0)
        for k in range(parts):
            number = counts[k, v, 0]
            counts[k, v, 0] = total
            total += number
            reach = max(reach, reaches2[k, v, 1])
        if total > begin:
            rank[v] = at
            kept[at] = v
            ring_start[at] = begin
            reach2[at] = reach
            at += 1
    ring_start[at] = total
    return at


@njit(nogil=True, cache=True, error_model="numpy")
def take_rows(points, order, start, stop, out):
    """Points (n, k) in another order."""
    for i in range(start, stop):
        for q in range(points.shape[1]):
            out[i, q] = points[order[i], q]


@njit(nogil=True, cache=True, error_model="numpy")
def fill_rings(faces, longest2, limit2, dips, rank, start, stop, place, ring, ring_dip):
    """The other two corners, in tree order, and the row of ``faces[start:stop]`` at every vertex.

    place (n, 2) holds first where each vertex's go and is used up.  One row of ring (c, 4) takes
    all, of which ring_dip is the bytes as float32: three places of memory a face, not nine.
    """
    for f in range(start, stop):
        if longest2[f] > limit2:
            continue
        dip = round_up(dips[f]) if dips.size > 0 else np.float32(0)
        for e in range(3):
            v = faces[f, e]
            p = place[v, 0]
            place[v, 0] = p + 1
            ring[p, 0] = rank[faces[f, (e + 1) % 3]]
            ring[p, 1] = rank[faces[f, (e + 2) % 3]]
            ring[p, 2] = f
            ring_dip[p, 3] = dip


@njit(nogil=True, cache=True, error_model="numpy")
def fill_leaves(points, reach2, origin, start, stop, leaves):
    """Leaves ``start:stop`` of points (n, k) in tree order."""
    n, k = points.shape
    for node in range(start, stop):
        for j in range(WIDTH):
            i = WIDTH * node + j
            if i < n:
                for q in range(k):
                    leaves[node, q, j] = np.float32(points[i, q] - origin[q])
                leaves[node, k, j] = reach2[i]
            else:
                for q in range(k):
                    leaves[node, q, j] = FAR
                leaves[node, k, j] = np.float32(0)


@njit(nogil=True, cache=True, error_model="numpy")
def fill_nodes(leaves, count, level_start, nodes):
    """Boxes above `count` corners in leaves; the first level's nodes hold the leaves' boxes."""
    k = leaves.shape[1] - 1
    first = level_start[1]
    for level in range(1, level_start.size - 1):
        below = level_start[level - 1] - first
        below_count = level_start[level] - level_start[level - 1]
        for i in range(level_start[level + 1] - level_start[level]):
            node = level_start[level] - first + i
            for j in range(WIDTH):
                child = WIDTH * i + j
                reach = np.float32(0)
                for q in range(k):
                    low = FAR
                    high = -FAR
                    if child < below_count:
                        for e in range(WIDTH):
                            if level == 1:
                                if WIDTH * child + e < count:
                                    low = min(low, leaves[child, q, e])
                                    high = max(high, leaves[child, q, e])
                            else:
                                low = min(low, nodes[below + child, q, e])
                                high = max(high, nodes[below + child, k + q, e])
                    nodes[node, q, j] = low
                    nodes[node, k + q, j] = high
                if child < below_count:
                    for e in range(WIDTH):
                        if level == 1:
                            reach = max(reach, leaves[child, k, e])
                        else:
                            reach = max(reach, nodes[below + child, 2 * k, e])
                nodes[node, 2 * k, j] = reach


@njit(nogil=True, cache=True, error_model="numpy")
def open_length(points, ring_start, ring):
    """Length of all edges that are not run along both ways; zero for a closed surface."""
    total = 0.0
    for v in range(ring_start.size - 1):
        first = ring_start[v]
        last = ring_start[v + 1]
        for i in range(first, last):
            b = ring[i, 0]
            # The first of equal ones answers for all of them.
            net = 0
            seen = False
            for j in range(first, last):
                if ring[j, 0] == b:
                    net += 1
                    seen = seen or j < i
                if ring[j, 1] == b:
                    net -= 1
            if not seen and net > 0:
                d = 0.0
                for q in range(3):
                    d += (points[v, q] - points[b, q]) ** 2
                total += net * math.sqrt(d)
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def push_children(near, bits, k, level, stack_n, stack_l, stack_d, top):
    """Put the children in `bits` on the stack, nearest on top; returns the new top."""
    base = top
    while bits != 0:
        j = lowest(bits)
        bits &= bits - 1
        d = near[j]
        s = top
        while s > base and stack_d[s - 1] < d:
            stack_d[s] = stack_d[s - 1]
            stack_n[s] = stack_n[s - 1]
            s -= 1
        stack_d[s] = d
        stack_n[s] = WIDTH * k + j
        stack_l[top] = level
        top += 1
    return top


@njit(nogil=True, cache=True, error_model="numpy")
def take_corners(points, a, b, c, t):
    for q in range(3):
        t[q] = points[a, q]
        t[3 + q] = points[b, q]
        t[6 + q] = points[c, q]


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_in_space(
    asked, order, start, stop, limit_mm, origin, scale,
    points, leaves, nodes, level_start, ring_start, ring, distance, nearest, at,
):  # fmt: skip
    """Nearest point of a surface for ``asked[order[start:stop]]``; at (n,) gets the ring's row.

    As good as the last one's answer the next one's search begins, so the order should be one of
    neighbours.  Beyond limit_mm: infinity and -1.
    """
    stack_n = np.empty(STACK, np.int64)
    stack_l = np.empty(STACK, np.int64)
    stack_d = np.empty(STACK, np.float32)
    near = np.empty(WIDTH, np.float32)
    t = np.empty(9)
    q = np.empty(3)
    held = np.empty(3)
    first = level_start[1]
    root = level_start.size - 2
    hint = -1
    hint_corner = 0
    for i in range(start, stop):
        p = order[i]
        px = asked[p, 0]
        py = asked[p, 1]
        pz = asked[p, 2]
        best = limit_mm * limit_mm
        found = -1
        if hint >= 0:
            take_corners(points, hint_corner, ring[hint, 0], ring[hint, 1], t)
            d = nearest_on_triangle(px, py, pz, t, q)
            if d <= best:
                best = d
                found = hint
                held[:] = q
        x = np.float32(px - origin[0])
        y = np.float32(py - origin[1])
        z = np.float32(pz - origin[2])
        # Both ends of a distance were rounded to float32: 2 sqrt(3) half steps, and some more.
        slack = 3e-7 * (scale + abs(px - origin[0]) + abs(py - origin[1]) + abs(pz - origin[2]))
        limit = np.float32((math.sqrt(best) + slack) ** 2 * (1 + 2e-6))
        stack_n[0] = 0
        stack_l[0] = root
        stack_d[0] = np.float32(-1e30)
        top = 1
        while top > 0:
            top -= 1
            if stack_d[top] > limit:
                continue
            level = stack_l[top]
            k = stack_n[top]
            if level > 0:
                at_node = level_start[level] - first + k
                bits = nodes_in_space(nodes, at_node, x, y, z, limit, near)
                top = push_children(near, bits, k, level - 1, stack_n, stack_l, stack_d, top)
                continue
            bits = leaves_in_space(leaves, k, x, y, z, limit, near)
            while bits != 0:
                j = lowest(bits)
                bits &= bits - 1
                if near[j] > limit:
                    continue
                v = WIDTH * k + j
                for s in range(ring_start[v], ring_start[v + 1]):
                    take_corners(points, v, ring[s, 0], ring[s, 1], t)
                    d = nearest_on_triangle(px, py, pz, t, q)
                    if d < best:
                        best = d
                        found = s
                        hint_corner = v
                        held[:] = q
                        limit = np.float32((math.sqrt(best) + slack) ** 2 * (1 + 2e-6))
        at[p] = found
        if found >= 0:
            hint = found
            distance[p] = math.sqrt(best)
            nearest[p] = held
        else:
            hint = -1
            distance[p] = math.inf
            nearest[p] = math.nan


@njit(nogil=True, cache=True, error_model="numpy")
def windings_in_order(
    asked, order, start, stop, distance, limit_mm, open_mm,
    vertices, faces, level_start, moments, out,
):  # fmt: skip
    """Winding numbers of ``asked[order[start:stop]]``, carried over where they cannot have changed.

    The balls about two points of the radius of their distances hold no surface; where they meet,
    the way between the points crosses none.  The number then changes by the surface's open edges
    alone, at most by way * length / (4 pi r**2) with r their least distance from the way (it is
    the field of a wire along them).  More than a tenth in all is not carried.
    """
    stack_n = np.empty(2048, np.int64)
    stack_l = np.empty(2048, np.int64)
    t = np.empty(9)
    number = 0.0
    doubt = 1e300
    last = 0
    for i in range(start, stop):
        p = order[i]
        if i > start:
            way = math.sqrt(
                (asked[p, 0] - asked[last, 0]) ** 2
                + (asked[p, 1] - asked[last, 1]) ** 2
                + (asked[p, 2] - asked[last, 2]) ** 2
            )
            both = min(distance[p], limit_mm) + min(distance[last], limit_mm)
            if way * (1 + 1e-9) >= both:
                doubt = 1e300
            elif open_mm > 0:
                # Anywhere on the way one of the two balls leaves at least this much room.
                room = 0.5 * (both - way)
                doubt += way * open_mm / (4 * math.pi * room * room)
        if doubt > 0.1:
            number = winding_at(
                asked[p, 0], asked[p, 1], asked[p, 2],
                vertices, faces, level_start, moments, stack_n, stack_l, t,
            )  # fmt: skip
            size = abs(number)
            doubt = 0.0 if size <= 0.15 or (size >= 0.85 and size <= 1.15) else 1e300
        out[p] = number
        last = p
