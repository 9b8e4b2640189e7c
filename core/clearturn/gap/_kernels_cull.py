"""Compiled kernels that throw away, before any sorting, what cannot hold the least gap.

A grid over the meridian plane holds, for every cell, the distance to the nearest cell the small
part's image touches.  A point in a cell is at least that distance, less one cell diagonal, away
from the image; mapping lengthens nothing, so a triangle is at least the least such bound of its
corners, less its reach, away.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_lanes import boxes_in_plane, lowest
from clearturn.gap._kernels_tree import WIDTH, round_down, round_up
from clearturn.gap._kernels_turning import low_radius

#: What a quick bound of a triangle's least radius may give away, in cells of the grid.
_DIP_CELLS = 0.25


@njit(nogil=True, cache=True, error_model="numpy")
def mark_triangles(xyz, rz, faces, start, stop, low_r, low_z, per_mm, marks):
    """Mark every cell the images' boxes of ``faces[start:stop]`` touch; marks is (n, m) uint8.

    Returns the least radius met.
    """
    n, m = marks.shape
    least = 1e300
    for f in range(start, stop):
        a = faces[f, 0]
        b = faces[f, 1]
        c = faces[f, 2]
        r0 = low_radius(xyz, rz, a, b, c, _DIP_CELLS / per_mm)
        least = min(least, r0)
        r1 = max(rz[a, 0], max(rz[b, 0], rz[c, 0]))
        z0 = min(rz[a, 1], min(rz[b, 1], rz[c, 1]))
        z1 = max(rz[a, 1], max(rz[b, 1], rz[c, 1]))
        # Below zero only where clamped, so that cutting off serves as rounding down.
        i0 = min(max(np.int64((r0 - low_r) * per_mm - 1e-6), 0), n - 1)
        i1 = min(max(np.int64((r1 - low_r) * per_mm + 1e-6), 0), n - 1)
        j0 = min(max(np.int64((z0 - low_z) * per_mm - 1e-6), 0), m - 1)
        j1 = min(max(np.int64((z1 - low_z) * per_mm + 1e-6), 0), m - 1)
        if i1 - i0 <= 2 and j1 - j0 <= 2:
            # Nearly all; without loops whose length cannot be foreseen.
            i = (i0 + i1) >> 1
            j = (j0 + j1) >> 1
            marks[i0, j0] = 1
            marks[i0, j] = 1
            marks[i0, j1] = 1
            marks[i, j0] = 1
            marks[i, j] = 1
            marks[i, j1] = 1
            marks[i1, j0] = 1
            marks[i1, j] = 1
            marks[i1, j1] = 1
            continue
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                marks[i, j] = 1
    return least


@njit(nogil=True, cache=True, error_model="numpy")
def distance_grid(marks, cell, out):
    """Exact distance (mm, float32) of every cell's middle to the nearest marked cell's middle.

    Two passes, lower envelope of parabolas (Felzenszwalb and Huttenlocher 2012).
    """
    n, m = marks.shape
    far = 1e9
    g = np.empty((n, m))
    for i in range(n):
        d = far
        for j in range(m):
            d = 0.0 if marks[i, j] else d + 1
            g[i, j] = d
        d = far
        for j in range(m - 1, -1, -1):
            d = 0.0 if marks[i, j] else d + 1
            if d < g[i, j]:
                g[i, j] = d
    v = np.empty(n, np.int64)
    z = np.empty(n + 1)
    for j in range(m):
        k = 0
        v[0] = 0
        z[0] = -1e18
        z[1] = 1e18
        for q in range(1, n):
            while True:
                p = v[k]
                s = ((g[q, j] ** 2 + q * q) - (g[p, j] ** 2 + p * p)) / (2.0 * (q - p))
                if s <= z[k] and k > 0:
                    k -= 1
                else:
                    break
            if s <= z[k]:
                v[0] = q
            else:
                k += 1
                v[k] = q
                z[k] = s
            z[k + 1] = 1e18
        k = 0
        for q in range(n):
            while z[k + 1] < q:
                k += 1
            out[q, j] = cell * math.sqrt((q - v[k]) ** 2 + g[v[k], j] ** 2)


@njit(nogil=True, cache=True, error_model="numpy")
def bound_at(r, z, grid, low_r, low_z, per_mm):
    """Lower bound of the distance of (r, z) to the image the grid was made of."""
    n, m = grid.shape
    fr = (r - low_r) * per_mm
    fz = (z - low_z) * per_mm
    out_r = max(max(-fr, fr - n), 0.0)
    out_z = max(max(-fz, fz - m), 0.0)
    i = min(max(int(fr), 0), n - 1)
    j = min(max(int(fz), 0), m - 1)
    # One diagonal covers both places within their cells; a hair more covers rounding.
    inside = max(np.float64(grid[i, j]) - 1.41422 / per_mm - 1e-5, 0.0)
    if out_r == 0.0 and out_z == 0.0:
        return inside
    outside2 = (out_r * out_r + out_z * out_z) / (per_mm * per_mm)
    return math.sqrt(inside * inside + outside2) * (1 - 1e-7)


@njit(nogil=True, cache=True, error_model="numpy")
def bound_vertices(
    vertices, turn, shift, start, stop, grid, low_r, low_z, per_mm, bound
):  # fmt: skip
    """Lower bound (float32, rounded down) for every vertex.

    Vertices are mapped on the way and not kept: memory is what this pass costs.
    """
    n, m = grid.shape
    cell = 1.0 / per_mm
    diagonal = 1.41422 * cell + 1e-5
    for i in range(start, stop):
        x = vertices[i, 0]
        y = vertices[i, 1]
        z = vertices[i, 2]
        a = turn[0, 0] * x + turn[0, 1] * y + turn[0, 2] * z + shift[0]
        b = turn[1, 0] * x + turn[1, 1] * y + turn[1, 2] * z + shift[1]
        c = turn[2, 0] * x + turn[2, 1] * y + turn[2, 2] * z + shift[2]
        fr = (math.sqrt(a * a + b * b) - low_r) * per_mm
        fz = (c - low_z) * per_mm
        if fr >= 0.0 and fz >= 0.0 and fr < n and fz < m:
            low = max(grid[int(fr), int(fz)] - diagonal, 0.0)
        else:
            # As `bound_at`, without its divisions.
            out_r = max(max(-fr, fr - n), 0.0) * cell
            out_z = max(max(-fz, fz - m), 0.0) * cell
            j = min(max(int(fz), 0), m - 1)
            inside = max(grid[min(max(int(fr), 0), n - 1), j] - diagonal, 0.0)
            low = math.sqrt(inside * inside + out_r * out_r + out_z * out_z) * (1 - 1e-7)
        bound[i] = np.float32(low * (1.0 - 2e-7))


@njit(nogil=True, cache=True, error_model="numpy")
def bound_mapped(rz, start, stop, grid, low_r, low_z, per_mm, bound):
    """As `bound_vertices` for vertices that are mapped already."""
    for i in range(start, stop):
        low = bound_at(rz[i, 0], rz[i, 1], grid, low_r, low_z, per_mm)
        bound[i] = np.float32(low * (1.0 - 2e-7))


@njit(nogil=True, cache=True, error_model="numpy")
def most_promising(faces, bound, start, stop, step):
    """Corner of every `step`-th of ``faces[start:stop]`` with the least bound.

    Corners of faces, for a vertex that no face uses is no part of the surface.
    """
    at = faces[start, 0]
    for f in range(start, stop, step):
        v = faces[f, 0]
        if bound[v] < bound[at]:
            at = v
    return at


@njit(nogil=True, cache=True, error_model="numpy")
def keep_faces(vertices, faces, bound, upper, start, stop, kept):
    """Indices of ``faces[start:stop]`` that may come nearer than `upper`; returns their number.

    Every point of a triangle is within its longest edge over sqrt(3) of a corner.
    """
    count = 0
    for f in range(start, stop):
        a = faces[f, 0]
        b = faces[f, 1]
        c = faces[f, 2]
        left = np.float64(min(bound[a], min(bound[b], bound[c]))) - upper
        if left > 0:
            u0 = 0.0
            u1 = 0.0
            for q in range(3):
                p1 = vertices[b, q]
                d0 = vertices[a, q] - p1
                d1 = p1 - vertices[c, q]
                u0 += d0 * d0
                u1 += d1 * d1
            reach2 = left * left * 2.999
            # The third edge is no longer than both others together: far ones need not ask it.
            if reach2 > 2.0 * (u0 + u1):
                continue
            u2 = 0.0
            for q in range(3):
                d2 = vertices[c, q] - vertices[a, q]
                u2 += d2 * d2
            if reach2 > max(u0, max(u1, u2)):
                continue
        kept[start + count] = f
        count += 1
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def keep_boxes(xyz, rz, faces, grid, low_r, low_z, per_mm, upper, start, stop, kept):
    """As `keep_faces`, by the bound at the middle of each image's box less half its diagonal."""
    count = 0
    for f in range(start, stop):
        a = faces[f, 0]
        b = faces[f, 1]
        c = faces[f, 2]
        r1 = max(rz[a, 0], max(rz[b, 0], rz[c, 0]))
        z0 = min(rz[a, 1], min(rz[b, 1], rz[c, 1]))
        z1 = max(rz[a, 1], max(rz[b, 1], rz[c, 1]))
        r0 = low_radius(xyz, rz, a, b, c, _DIP_CELLS / per_mm)
        half = 0.5 * math.sqrt((r1 - r0) ** 2 + (z1 - z0) ** 2)
        low = bound_at(0.5 * (r0 + r1), 0.5 * (z0 + z1), grid, low_r, low_z, per_mm)
        if low - half * 1.0000001 > upper:
            continue
        kept[start + count] = f
        count += 1
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def keep_clusters(
    boxes, leaves, turn, shift, grid, low_r, low_z, per_mm, bounds_out
):  # fmt: skip
    """Lower bound for each leaf node of a space tree under a rigid motion, by its bounding ball."""
    for k in range(leaves):
        low0 = boxes[k, 0, 0]
        low1 = boxes[k, 1, 0]
        low2 = boxes[k, 2, 0]
        high0 = boxes[k, 3, 0]
        high1 = boxes[k, 4, 0]
        high2 = boxes[k, 5, 0]
        for j in range(1, 8):
            low0 = min(low0, boxes[k, 0, j])
            low1 = min(low1, boxes[k, 1, j])
            low2 = min(low2, boxes[k, 2, j])
            high0 = max(high0, boxes[k, 3, j])
            high1 = max(high1, boxes[k, 4, j])
            high2 = max(high2, boxes[k, 5, j])
        x = 0.5 * (np.float64(low0) + np.float64(high0))
        y = 0.5 * (np.float64(low1) + np.float64(high1))
        z = 0.5 * (np.float64(low2) + np.float64(high2))
        d0 = np.float64(high0) - x
        d1 = np.float64(high1) - y
        d2 = np.float64(high2) - z
        ball = math.sqrt(d0 * d0 + d1 * d1 + d2 * d2) * 1.0000001
        a = turn[0, 0] * x + turn[0, 1] * y + turn[0, 2] * z + shift[0]
        b = turn[1, 0] * x + turn[1, 1] * y + turn[1, 2] * z + shift[1]
        c = turn[2, 0] * x + turn[2, 1] * y + turn[2, 2] * z + shift[2]
        bounds_out[k] = bound_at(math.sqrt(a * a + b * b), c, grid, low_r, low_z, per_mm) - ball


@njit(nogil=True, cache=True, error_model="numpy")
def near_leaves(
    leaves, rows, start, stop, turn, shift, boxes, level_start, upper, keep
):  # fmt: skip
    """Whether the leaves ``rows[start:stop]`` of a space tree may come within `upper` of an image.

    What a leaf's box sweeps under a rigid motion is asked of the boxes of the image's tree, the
    single triangles' too; a grid's cells cannot tell one rough wall's peaks from its valleys.
    """
    stack_n = np.empty(512, np.int64)
    stack_l = np.empty(512, np.int64)
    near = np.empty(WIDTH, np.float32)
    low = np.empty(3)
    high = np.empty(3)
    limit = np.float32(upper * upper * (1 + 2e-6) + 1e-30)
    root = level_start.size - 2
    for i in range(start, stop):
        k = rows[i]
        for c in range(3):
            mid = shift[c]
            half = 0.0
            for q in range(3):
                least = leaves[k, q, 0]
                most = leaves[k, 3 + q, 0]
                for j in range(1, WIDTH):
                    least = min(least, leaves[k, q, j])
                    most = max(most, leaves[k, 3 + q, j])
                mid += turn[c, q] * 0.5 * (np.float64(least) + np.float64(most))
                half += abs(turn[c, q]) * 0.5 * (np.float64(most) - np.float64(least))
            half += 1e-14 * (abs(mid) + half)
            low[c] = mid - half
            high[c] = mid + half
        x = max(max(low[0], -high[0]), 0.0)
        y = max(max(low[1], -high[1]), 0.0)
        r0 = round_down(math.sqrt(x * x + y * y))
        x = max(high[0], -low[0])
        y = max(high[1], -low[1])
        r1 = round_up(math.sqrt(x * x + y * y))
        z0 = round_down(low[2])
        z1 = round_up(high[2])
        stack_n[0] = 0
        stack_l[0] = root
        top = 1
        found = 0
        while top > 0 and found == 0:
            top -= 1
            level = stack_l[top]
            node = stack_n[top]
            bits = boxes_in_plane(boxes, level_start[level] + node, r0, z0, r1, z1, limit, near)
            if level == 0:
                found = 1 if bits != 0 else 0
                continue
            while bits != 0:
                stack_n[top] = WIDTH * node + lowest(bits)
                bits &= bits - 1
                stack_l[top] = level - 1
                top += 1
        keep[i] = found


@njit(nogil=True, cache=True, error_model="numpy")
def take_soup(vertices, faces, kept, turn, shift, xyz, rz, soup):
    """Corners of the kept faces, mapped, each triangle with its own three."""
    for i in range(kept.size):
        f = kept[i]
        for j in range(3):
            v = faces[f, j]
            x = vertices[v, 0]
            y = vertices[v, 1]
            z = vertices[v, 2]
            a = turn[0, 0] * x + turn[0, 1] * y + turn[0, 2] * z + shift[0]
            b = turn[1, 0] * x + turn[1, 1] * y + turn[1, 2] * z + shift[1]
            c = turn[2, 0] * x + turn[2, 1] * y + turn[2, 2] * z + shift[2]
            k = 3 * i + j
            xyz[k, 0] = a
            xyz[k, 1] = b
            xyz[k, 2] = c
            rz[k, 0] = math.sqrt(a * a + b * b)
            rz[k, 1] = c
            soup[i, j] = k


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_mapped(r, z, rz, rows, out):
    """Squared distance and row of the one of some mapped points that is nearest to (r, z).

    out (1,) gets the row.
    """
    best = 1e300
    at = rows[0]
    for i in rows:
        d = (rz[i, 0] - r) ** 2 + (rz[i, 1] - z) ** 2
        if d < best:
            best = d
            at = i
    out[0] = at
    return best


@njit(nogil=True, cache=True, error_model="numpy")
def _shape_of(xyz, rz, faces, f, per_mm, key):
    """Rounded numbers that two triangles share if one is the other turned about the axis.

    Corners in the order of their place, then the lengths of the sides seen along the axis.
    """
    a = faces[f, 0]
    b = faces[f, 1]
    c = faces[f, 2]
    for k in range(3):
        v = faces[f, k]
        key[2 * k] = np.int64(np.rint(rz[v, 0] * per_mm))
        key[2 * k + 1] = np.int64(np.rint(rz[v, 1] * per_mm))
    sides = (
        math.hypot(xyz[b, 0] - xyz[c, 0], xyz[b, 1] - xyz[c, 1]),
        math.hypot(xyz[c, 0] - xyz[a, 0], xyz[c, 1] - xyz[a, 1]),
        math.hypot(xyz[a, 0] - xyz[b, 0], xyz[a, 1] - xyz[b, 1]),
    )
    for k in range(3):
        key[6 + k] = np.int64(np.rint(sides[k] * per_mm))
    # The side opposite each corner moves with it while the corners are sorted.
    for i in range(2):
        for j in range(2 - i):
            later = key[2 * j] > key[2 * j + 2] or (
                key[2 * j] == key[2 * j + 2] and key[2 * j + 1] > key[2 * j + 3]
            )
            if later:
                for q in (0, 1):
                    t = key[2 * j + q]
                    key[2 * j + q] = key[2 * j + 2 + q]
                    key[2 * j + 2 + q] = t
                t = key[6 + j]
                key[6 + j] = key[7 + j]
                key[7 + j] = t


@njit(nogil=True, cache=True, error_model="numpy")
def unlike_faces(xyz, rz, faces, per_mm, table, kept):
    """Rows of faces of which none is another turned about the axis; returns their number.

    table (a power of two, filled with -1) is the hash table; keys are compared, not only hashed.
    """
    key = np.empty(9, np.int64)
    other = np.empty(9, np.int64)
    mask = table.size - 1
    count = 0
    for f in range(faces.shape[0]):
        _shape_of(xyz, rz, faces, f, per_mm, key)
        h = np.uint64(1469598103934665603)
        for q in range(9):
            h = (h ^ np.uint64(key[q])) * np.uint64(1099511628211)
            h ^= h >> np.uint64(29)
        at = np.int64(h & np.uint64(mask))
        new = True
        while table[at] >= 0:
            _shape_of(xyz, rz, faces, table[at], per_mm, other)
            same = True
            for q in range(9):
                if key[q] != other[q]:
                    same = False
                    break
            if same:
                new = False
                break
            at = (at + 1) & mask
        if new:
            table[at] = f
            kept[count] = f
            count += 1
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def _squared_length(rz, a, b):
    """Squared length of the straight line between two mapped points."""
    dr = rz[a, 0] - rz[b, 0]
    dz = rz[a, 1] - rz[b, 1]
    return dr * dr + dz * dz


@njit(nogil=True, cache=True, error_model="numpy")
def _image_length(rz, a, b):
    """Length of the straight line between two mapped points."""
    return math.sqrt(_squared_length(rz, a, b))


@njit(nogil=True, cache=True, error_model="numpy")
def count_halved(rz, faces, most, limit):
    """About how many pieces the faces longer than `most` in the image make; stops at `limit`."""
    total = 0.0
    most2 = most * most
    for f in range(faces.shape[0]):
        a = faces[f, 0]
        b = faces[f, 1]
        c = faces[f, 2]
        if (
            _squared_length(rz, a, b) <= most2
            and _squared_length(rz, b, c) <= most2
            and _squared_length(rz, c, a) <= most2
        ):
            continue
        e0 = _image_length(rz, a, b)
        e1 = _image_length(rz, b, c)
        e2 = _image_length(rz, c, a)
        longest = max(e0, max(e1, e2))
        if longest > most:
            # Thin ones are cut across only; fat ones both ways.
            rest = max(e0 + e1 + e2 - longest - longest, 0.0) + min(e0, min(e1, e2))
            total += 2.0 * (longest / most) * max(1.0, 2.0 * rest / most)
            if total > limit:
                break
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def halve_long(given, faces, most, points, rz, pieces, origin):
    """Halve faces longer than `most` in the image, edge by edge, until none is.

    points (p, 3) and rz (p, 2) begin with the `given` ones, new ones follow; pieces (q, 3) and
    origin (q,) get
    every face, short ones as they are.  Returns the numbers of points and pieces; where room runs
    out the rest is left long.
    """
    stack = np.empty((64, 3), np.int64)
    n_points = given
    n_pieces = 0
    left = faces.shape[0]
    for f in range(faces.shape[0]):
        stack[0, 0] = faces[f, 0]
        stack[0, 1] = faces[f, 1]
        stack[0, 2] = faces[f, 2]
        left -= 1
        top = 1
        while top > 0:
            top -= 1
            a = stack[top, 0]
            b = stack[top, 1]
            c = stack[top, 2]
            e0 = _image_length(rz, a, b)
            e1 = _image_length(rz, b, c)
            e2 = _image_length(rz, c, a)
            longest = max(e0, max(e1, e2))
            room = (
                n_points < points.shape[0]
                and n_pieces + left + top + 2 < pieces.shape[0]
                and top < 60
            )
            if longest <= most or not room:
                pieces[n_pieces, 0] = a
                pieces[n_pieces, 1] = b
                pieces[n_pieces, 2] = c
                origin[n_pieces] = f
                n_pieces += 1
                continue
            if e1 == longest:
                a, b, c = b, c, a
            elif e2 == longest:
                a, b, c = c, a, b
            for q in range(3):
                points[n_points, q] = 0.5 * (points[a, q] + points[b, q])
            rz[n_points, 0] = math.hypot(points[n_points, 0], points[n_points, 1])
            rz[n_points, 1] = points[n_points, 2]
            stack[top, 0] = a
            stack[top, 1] = n_points
            stack[top, 2] = c
            stack[top + 1, 0] = n_points
            stack[top + 1, 1] = b
            stack[top + 1, 2] = c
            top += 2
            n_points += 1
    return n_points, n_pieces
