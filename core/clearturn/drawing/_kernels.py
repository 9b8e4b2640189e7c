"""Meridian image of triangles and distance of raster nodes from it."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, cache=True, error_model="numpy")
def splat(triangles, field, x0, y0, step, reach, row_from, row_to):
    """Lower `field` to each node's distance from the nearest triangle, within `reach`.

    triangles: (m, 6) x and y of the corners; field: (rows, columns), node (i, j) at
    (x0 + j step, y0 + i step); only rows row_from … row_to − 1 are written, so that threads can
    share the field.
    """
    columns = field.shape[1]
    for t in range(triangles.shape[0]):
        ax = triangles[t, 0]
        ay = triangles[t, 1]
        bx = triangles[t, 2]
        by = triangles[t, 3]
        cx = triangles[t, 4]
        cy = triangles[t, 5]
        low = max(row_from, int(np.ceil((min(ay, by, cy) - reach - y0) / step)))
        high = min(row_to - 1, int(np.floor((max(ay, by, cy) + reach - y0) / step)))
        if low > high:
            continue
        left = max(0, int(np.ceil((min(ax, bx, cx) - reach - x0) / step)))
        right = min(columns - 1, int(np.floor((max(ax, bx, cx) + reach - x0) / step)))
        abx = bx - ax
        aby = by - ay
        bcx = cx - bx
        bcy = cy - by
        cax = ax - cx
        cay = ay - cy
        turn = abx * (cy - ay) - aby * (cx - ax)
        side = 1.0 if turn >= 0.0 else -1.0
        lab = abx * abx + aby * aby
        lbc = bcx * bcx + bcy * bcy
        lca = cax * cax + cay * cay
        for i in range(low, high + 1):
            y = y0 + i * step
            for j in range(left, right + 1):
                now = field[i, j]
                if now <= 0.0:
                    continue
                x = x0 + j * step
                dax = x - ax
                day = y - ay
                dbx = x - bx
                dby = y - by
                dcx = x - cx
                dcy = y - cy
                if (
                    turn != 0.0
                    and side * (abx * day - aby * dax) >= 0.0
                    and side * (bcx * dby - bcy * dbx) >= 0.0
                    and side * (cax * dcy - cay * dcx) >= 0.0
                ):
                    field[i, j] = 0.0
                    continue
                s = (dax * abx + day * aby) / lab if lab > 0.0 else 0.0
                s = min(max(s, 0.0), 1.0)
                ux = dax - s * abx
                uy = day - s * aby
                best = ux * ux + uy * uy
                s = (dbx * bcx + dby * bcy) / lbc if lbc > 0.0 else 0.0
                s = min(max(s, 0.0), 1.0)
                ux = dbx - s * bcx
                uy = dby - s * bcy
                best = min(best, ux * ux + uy * uy)
                s = (dcx * cax + dcy * cay) / lca if lca > 0.0 else 0.0
                s = min(max(s, 0.0), 1.0)
                ux = dcx - s * cax
                uy = dcy - s * cay
                best = min(best, ux * ux + uy * uy)
                if best < now * now:
                    field[i, j] = np.sqrt(best)


@njit(nogil=True, cache=True, error_model="numpy")
def image(vertices, faces, tolerance, out, bows):
    """Write z and r of each face's corners to `out` (m, 6); mark faces that bow by more.

    The image of an edge bows towards the axis by at most h²/(8 r0), and never by more than h/2.
    """
    for t in range(faces.shape[0]):
        longest = 0.0
        least = np.inf
        for k in range(3):
            a = faces[t, k]
            b = faces[t, (k + 1) % 3]
            x = vertices[a, 0]
            y = vertices[a, 1]
            dx = vertices[b, 0] - x
            dy = vertices[b, 1] - y
            longest = max(longest, dx * dx + dy * dy)
            r = np.sqrt(x * x + y * y)
            least = min(least, r)
            out[t, 2 * k] = vertices[a, 2]
            out[t, 2 * k + 1] = r
        h = np.sqrt(longest)
        # A point of the face may lie nearer the axis than its corners, by half an edge at most.
        r0 = max(least - 0.5 * h, 1e-9)
        bows[t] = min(longest / (8.0 * r0), 0.5 * h) > tolerance
