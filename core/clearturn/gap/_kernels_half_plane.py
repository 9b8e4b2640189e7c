"""Compiled kernels for many points over a full turn: the nearest place of a meridian image.

As in `_kernels_corners`, in the half plane of (r, z).  Each triangle is first taken as flat; only
where its dip towards the axis can still matter is it cut up.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from clearturn.gap._kernels_corners import STACK, push_children, take_corners
from clearturn.gap._kernels_lanes import leaves_in_plane, lowest, nodes_in_plane
from clearturn.gap._kernels_map import TOLERANCE, point_to_image
from clearturn.gap._kernels_tree import WIDTH

#: Triangles of one point that may wait until all have been seen; more are cut up at once.
_LATE = 256
#: Tries to bend the place found in a flat triangle onto its image; two nearly always do.
_BENDS = 4


@njit(nogil=True, cache=True, error_model="numpy")
def _flat_at_corner(r, z, rz, v, b, c, w):
    """Squared distance of (r, z) from a flat triangle, as far as corner v answers for it.

    Zero inside it, else the distance from the two edges at v: the third is the other corners'.
    w (3,) gets the weights of the point reached.
    """
    ar = rz[v, 0] - r
    az = rz[v, 1] - z
    br = rz[b, 0] - r
    bz = rz[b, 1] - z
    cr = rz[c, 0] - r
    cz = rz[c, 1] - z
    s1 = br * cz - bz * cr
    s2 = cr * az - cz * ar
    s3 = ar * bz - az * br
    if (s1 > 0 and s2 > 0 and s3 > 0) or (s1 < 0 and s2 < 0 and s3 < 0):
        total = s1 + s2 + s3
        w[0] = s1 / total
        w[1] = s2 / total
        w[2] = s3 / total
        return 0.0
    best = ar * ar + az * az
    w[0] = 1.0
    w[1] = 0.0
    w[2] = 0.0
    down_b = -(ar * (br - ar) + az * (bz - az))
    if down_b > 0:
        s = min(down_b / ((br - ar) ** 2 + (bz - az) ** 2), 1.0)
        d = (ar + s * (br - ar)) ** 2 + (az + s * (bz - az)) ** 2
        if d < best:
            best = d
            w[0] = 1.0 - s
            w[1] = s
    down_c = -(ar * (cr - ar) + az * (cz - az))
    if down_c > 0:
        s = min(down_c / ((cr - ar) ** 2 + (cz - az) ** 2), 1.0)
        d = (ar + s * (cr - ar)) ** 2 + (az + s * (cz - az)) ** 2
        if d < best:
            best = d
            w[0] = 1.0 - s
            w[1] = 0.0
            w[2] = s
    return best


@njit(nogil=True, cache=True, error_model="numpy")
def _from_flat(r, z, rz, xyz, a, b, c, flat2, dip, w, held):
    """Bounds of the distance of (r, z) from a triangle's image, from its flat triangle's.

    The upper one is reached by the point put into held (3,).  The image lies axis-side of the flat
    triangle, so a dip that leads away from (r, z) takes nothing off the lower one.
    """
    for q in range(3):
        held[q] = w[0] * xyz[a, q] + w[1] * xyz[b, q] + w[2] * xyz[c, q]
    flat = math.sqrt(flat2)
    true = math.sqrt(
        (math.sqrt(held[0] * held[0] + held[1] * held[1]) - r) ** 2 + (held[2] - z) ** 2
    )
    toward = 1.0
    if flat > 0:
        toward = max(w[0] * rz[a, 0] + w[1] * rz[b, 0] + w[2] * rz[c, 0] - r, 0.0) / flat
    return flat - dip * toward, true


@njit(nogil=True, cache=True, error_model="numpy")
def _onto_image(r, z, rz, xyz, a, b, c, held):
    """Move held (3,), a point of a triangle that covers (r, z), to where it turns through (r, z).

    The image bends, so the flat triangle's weights miss by up to its dip; asked again with the
    miss made up for, they close in at once.  Returns the distance left, at a point of the triangle.
    """
    reached = 1e300
    ask = r
    lasting_x = held[0]
    lasting_y = held[1]
    for _ in range(_BENDS):
        miss = r - math.sqrt(held[0] * held[0] + held[1] * held[1])
        left = math.hypot(miss, held[2] - z)
        if left >= reached:
            break
        reached = left
        lasting_x = held[0]
        lasting_y = held[1]
        if reached <= TOLERANCE:
            break
        ask += miss
        s1 = (rz[b, 0] - ask) * (rz[c, 1] - z) - (rz[b, 1] - z) * (rz[c, 0] - ask)
        s2 = (rz[c, 0] - ask) * (rz[a, 1] - z) - (rz[c, 1] - z) * (rz[a, 0] - ask)
        s3 = (rz[a, 0] - ask) * (rz[b, 1] - z) - (rz[a, 1] - z) * (rz[b, 0] - ask)
        total = s1 + s2 + s3
        if total == 0 or s1 / total < 0 or s2 / total < 0 or s3 / total < 0:
            break
        for q in range(2):
            held[q] = (s1 * xyz[a, q] + s2 * xyz[b, q] + s3 * xyz[c, q]) / total
    held[0] = lasting_x
    held[1] = lasting_y
    return reached


@njit(nogil=True, cache=True, error_model="numpy")
def _plane_limit(best, dip, rounding, within):
    """Greatest |p - v|**2 - reach**2 of a corner whose triangles' images may come below `best`.

    Here reach is half the longest edge, enough outside a triangle; inside one `within`, a twelfth
    of the longest edge's square, makes up the difference to a third.
    """
    h = max(best + dip, 0.0) + rounding
    return np.float32(max(h * h * (1 + 2e-6), within))


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_in_half_plane(
    asked, order, start, stop, limit_mm, origin, scale, dip, within,
    xyz, rz, leaves, nodes, level_start, ring_start, ring, ring_dip, distance, nearest, at,
):  # fmt: skip
    """As `nearest_in_space` for (r, z) ``asked[order[start:stop]]`` and a meridian image.

    xyz (n, 3) and rz (n, 2) are the corners in tree order, ring (c, 4) and ring_dip (c, 4) as
    `fill_rings` leaves them, no dip above `dip`.  nearest is in the axis frame.  Triangles are
    first taken as flat; those whose dip can still matter when all have been seen are cut up then.
    """
    stack_n = np.empty(STACK, np.int64)
    stack_l = np.empty(STACK, np.int64)
    stack_d = np.empty(STACK, np.float32)
    near = np.empty(WIDTH, np.float32)
    stack = np.empty((200, 9))
    depth = np.empty(200, np.int64)
    work = np.empty(18)
    held = np.empty(3)
    w = np.empty(3)
    late = np.empty((_LATE, 2), np.int64)
    late_low = np.empty(_LATE)
    first = level_start[1]
    root = level_start.size - 2
    hint = -1
    hint_corner = 0
    for i in range(start, stop):
        p = order[i]
        pr = asked[p, 0]
        pz = asked[p, 1]
        best = limit_mm
        found = -1
        if hint >= 0:
            # A bound only: its own point is found again, for it lies no farther than this.
            d = _flat_at_corner(pr, pz, rz, hint_corner, ring[hint, 0], ring[hint, 1], w)
            best = min(best, math.sqrt(d) + dip + 1e-9)
        r = np.float32(pr - origin[0])
        z = np.float32(pz - origin[1])
        rounding = 3e-7 * (scale + abs(pr - origin[0]) + abs(pz - origin[1]))
        limit = _plane_limit(best, dip, rounding, within)
        waiting = 0
        stack_n[0] = 0
        stack_l[0] = root
        stack_d[0] = np.float32(-1e30)
        top = 1
        while top > 0:
            top -= 1
            if stack_d[top] > limit:
                continue
            if found >= 0 and best <= TOLERANCE:
                break
            level = stack_l[top]
            k = stack_n[top]
            if level > 0:
                at_node = level_start[level] - first + k
                bits = nodes_in_plane(nodes, at_node, r, z, limit, near)
                top = push_children(near, bits, k, level - 1, stack_n, stack_l, stack_d, top)
                continue
            bits = leaves_in_plane(leaves, k, r, z, limit, near)
            while bits != 0:
                j = lowest(bits)
                bits &= bits - 1
                if near[j] > limit:
                    continue
                v = WIDTH * k + j
                if found >= 0 and best <= TOLERANCE:
                    break
                for s in range(ring_start[v], ring_start[v + 1]):
                    b = ring[s, 0]
                    c = ring[s, 1]
                    reach = best + ring_dip[s, 3] - TOLERANCE if found >= 0 else best + dip
                    flat2 = _flat_at_corner(pr, pz, rz, v, b, c, w)
                    if flat2 > reach * abs(reach):
                        continue
                    low, d = _from_flat(pr, pz, rz, xyz, v, b, c, flat2, ring_dip[s, 3], w, held)
                    if flat2 == 0 and d > TOLERANCE:
                        d = _onto_image(pr, pz, rz, xyz, v, b, c, held)
                    if d < best or (found < 0 and d <= best):
                        best = d
                        found = s
                        hint_corner = v
                        nearest[p] = held
                        limit = _plane_limit(best - TOLERANCE, dip, rounding, within)
                        if best <= TOLERANCE:
                            waiting = 0
                            break
                    if low < best - TOLERANCE and waiting < _LATE:
                        late[waiting, 0] = v
                        late[waiting, 1] = s
                        late_low[waiting] = low
                        waiting += 1
                    elif low < best - TOLERANCE:
                        take_corners(xyz, v, b, c, stack[0])
                        d = point_to_image(pr, pz, stack, depth, work, best, held)
                        if d < best:
                            best = d
                            found = s
                            hint_corner = v
                            nearest[p] = held
        for i_late in range(waiting):
            if late_low[i_late] >= best - TOLERANCE:
                continue
            v = late[i_late, 0]
            s = late[i_late, 1]
            take_corners(xyz, v, ring[s, 0], ring[s, 1], stack[0])
            d = point_to_image(pr, pz, stack, depth, work, best, held)
            if d < best:
                best = d
                found = s
                hint_corner = v
                nearest[p] = held
        at[p] = found
        if found < 0:
            hint = -1
            distance[p] = math.inf
            nearest[p] = math.nan
            continue
        hint = found
        distance[p] = best
