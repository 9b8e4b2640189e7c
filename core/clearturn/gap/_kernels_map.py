"""Compiled kernels for many points against a meridian image."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_lanes import boxes_in_plane, lowest
from clearturn.gap._kernels_tree import WIDTH
from clearturn.gap._kernels_turning import map_triangle

_DEEPEST = 40
#: How far above the true distance a point's turning distance may lie, mm.
TOLERANCE = 1e-3


@njit(nogil=True, cache=True, error_model="numpy")
def _to_flat(r, z, R, w):
    """Squared distance of (r, z) to the flat triangle R; weights of the nearest point into w."""
    s1 = (R[1, 0] - R[0, 0]) * (z - R[0, 1]) - (R[1, 1] - R[0, 1]) * (r - R[0, 0])
    s2 = (R[2, 0] - R[1, 0]) * (z - R[1, 1]) - (R[2, 1] - R[1, 1]) * (r - R[1, 0])
    s3 = (R[0, 0] - R[2, 0]) * (z - R[2, 1]) - (R[0, 1] - R[2, 1]) * (r - R[2, 0])
    if (s1 > 0 and s2 > 0 and s3 > 0) or (s1 < 0 and s2 < 0 and s3 < 0):
        total = s1 + s2 + s3
        w[0] = s2 / total
        w[1] = s3 / total
        w[2] = s1 / total
        return 0.0
    best = 1e300
    for e in range(3):
        f = (e + 1) % 3
        u0 = R[f, 0] - R[e, 0]
        u1 = R[f, 1] - R[e, 1]
        uu = u0 * u0 + u1 * u1
        t = 0.0
        if uu > 0:
            t = min(max(((r - R[e, 0]) * u0 + (z - R[e, 1]) * u1) / uu, 0.0), 1.0)
        d = (R[e, 0] + t * u0 - r) ** 2 + (R[e, 1] + t * u1 - z) ** 2
        if d < best:
            best = d
            w[e] = 1.0 - t
            w[f] = t
            w[(e + 2) % 3] = 0.0
    return best


@njit(nogil=True, cache=True, error_model="numpy")
def point_to_image(r, z, stack, depth, work, best, held):
    """Distance of (r, z) to the true image of the triangle in ``stack[0]`` (9,), if below best.

    The result is a distance that is reached by the point in held (3,), at most the tolerance
    above the least one.
    """
    X = work[0:9].reshape(3, 3)
    R = work[9:15].reshape(3, 2)
    w = work[15:18]
    top = 1
    depth[0] = 0
    while top > 0:
        top -= 1
        level = depth[top]
        for k in range(3):
            for c in range(3):
                X[k, c] = stack[top, 3 * k + c]
        dip = map_triangle(X, R)
        flat = math.sqrt(_to_flat(r, z, R, w))
        # The image lies axis-side of the flat triangle: a dip away from the point costs nothing.
        toward = w[0] * R[0, 0] + w[1] * R[1, 0] + w[2] * R[2, 0] - r
        lower = flat - dip * max(toward / flat, 0.0) if flat > 0 else -dip
        px = w[0] * X[0, 0] + w[1] * X[1, 0] + w[2] * X[2, 0]
        py = w[0] * X[0, 1] + w[1] * X[1, 1] + w[2] * X[2, 1]
        pz = w[0] * X[0, 2] + w[1] * X[1, 2] + w[2] * X[2, 2]
        true = math.sqrt((math.sqrt(px * px + py * py) - r) ** 2 + (pz - z) ** 2)
        if true < best:
            best = true
            held[0] = px
            held[1] = py
            held[2] = pz
        if lower >= best - TOLERANCE or level >= _DEEPEST or top > depth.size - 8:
            continue
        for q in range(4):
            for c in range(3):
                ab = 0.5 * (X[0, c] + X[1, c])
                bc = 0.5 * (X[1, c] + X[2, c])
                ca = 0.5 * (X[2, c] + X[0, c])
                if q == 0:
                    stack[top, c] = X[0, c]
                    stack[top, 3 + c] = ab
                    stack[top, 6 + c] = ca
                elif q == 1:
                    stack[top, c] = ab
                    stack[top, 3 + c] = X[1, c]
                    stack[top, 6 + c] = bc
                elif q == 2:
                    stack[top, c] = ca
                    stack[top, 3 + c] = bc
                    stack[top, 6 + c] = X[2, c]
                else:
                    stack[top, c] = ab
                    stack[top, 3 + c] = bc
                    stack[top, 6 + c] = ca
            depth[top] = level + 1
            top += 1
    return best


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_in_plane(
    rz, start, stop, limit_mm, xyz, faces, boxes, level_start, distance, nearest, triangle
):
    """Distance of ``rz[start:stop]`` to a meridian image; nearest (n, 3) in the axis frame."""
    stack_n = np.empty(512, np.int64)
    stack_l = np.empty(512, np.int64)
    stack_d = np.empty(512, np.float32)
    near = np.empty(WIDTH, np.float32)
    stack = np.empty((200, 9))
    depth = np.empty(200, np.int64)
    work = np.empty(18)
    held = np.empty(3)
    zero = np.float32(0)
    hint = -1
    for i in range(start, stop):
        r = rz[i, 0]
        z = rz[i, 1]
        best = limit_mm
        at = -1
        if hint >= 0:
            for k in range(3):
                for c in range(3):
                    stack[0, 3 * k + c] = xyz[faces[hint, k], c]
            d = point_to_image(r, z, stack, depth, work, best, held)
            if d < best:
                best = d
                at = hint
        slack = 1.3e-7 * (r + abs(z)) + 1e-12
        limit = np.float32((best + slack) ** 2 * (1 + 2e-6))
        x = np.float32(r)
        y = np.float32(z)
        stack_n[0] = 0
        stack_l[0] = level_start.size - 2
        stack_d[0] = zero
        top = 1
        while top > 0:
            top -= 1
            if stack_d[top] > limit or best == 0.0:
                continue
            level = stack_l[top]
            k = stack_n[top]
            node = level_start[level] + k
            bits = boxes_in_plane(boxes, node, x, y, x, y, limit, near)
            base = top
            while bits != 0:
                j = lowest(bits)
                bits &= bits - 1
                d32 = near[j]
                if d32 > limit:
                    continue
                if level == 0:
                    t = WIDTH * k + j
                    for e in range(3):
                        for c in range(3):
                            stack[0, 3 * e + c] = xyz[faces[t, e], c]
                    d = point_to_image(r, z, stack, depth, work, best, held)
                    if d < best:
                        best = d
                        at = t
                        for c in range(3):
                            nearest[i, c] = held[c]
                        limit = np.float32((best + slack) ** 2 * (1 + 2e-6))
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
        triangle[i] = at
        if at < 0:
            distance[i] = math.inf
            nearest[i, 0] = math.nan
            nearest[i, 1] = math.nan
            nearest[i, 2] = math.nan
        else:
            distance[i] = best
            if at == hint:
                # The hint's own point was put into held first and may not have been copied.
                for k in range(3):
                    for c in range(3):
                        stack[0, 3 * k + c] = xyz[faces[at, k], c]
                point_to_image(r, z, stack, depth, work, 1e300, held)
                for c in range(3):
                    nearest[i, c] = held[c]
            hint = at
