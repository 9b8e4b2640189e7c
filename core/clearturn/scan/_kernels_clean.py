# mypy: allow-untyped-defs, allow-untyped-calls, allow-untyped-decorators, no-check-untyped-defs
"""Compiled loops of cleaning: leave out faces and points, list rims, close small holes."""

from __future__ import annotations

import numpy as np
from numba import njit

SIDES_PART = 0.01
THIN_PART = 1.0e-9


@njit(nogil=True, cache=True, error_model="numpy")
def keep_faces(faces, origin, keep, new_faces, new_origin):
    """Copy the faces to keep to the front of the new arrays; return how many."""
    count = 0
    for i in range(faces.shape[0]):
        if keep[i]:
            new_faces[count, 0] = faces[i, 0]
            new_faces[count, 1] = faces[i, 1]
            new_faces[count, 2] = faces[i, 2]
            new_origin[count] = origin[i]
            count += 1
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def number_used(faces, new):
    """Number the vertices the faces use, in their old order; −1 for the others."""
    for v in range(new.shape[0]):
        new[v] = -1
    for i in range(faces.shape[0]):
        for k in range(3):
            new[faces[i, k]] = 0
    count = 0
    for v in range(new.shape[0]):
        if new[v] == 0:
            new[v] = count
            count += 1
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def move_used(vertices, faces, new, new_vertices):
    """Copy the used vertices and renumber the faces in place."""
    for v in range(new.shape[0]):
        if new[v] >= 0:
            new_vertices[new[v], 0] = vertices[v, 0]
            new_vertices[new[v], 1] = vertices[v, 1]
            new_vertices[new[v], 2] = vertices[v, 2]
    for i in range(faces.shape[0]):
        for k in range(3):
            faces[i, k] = new[faces[i, k]]


@njit(nogil=True, cache=True, error_model="numpy")
def all_inside(faces, inside, first, last, out):
    """Whether all three corners of a face are inside."""
    for i in range(first, last):
        out[i] = inside[faces[i, 0]] and inside[faces[i, 1]] and inside[faces[i, 2]]


@njit(nogil=True, cache=True, error_model="numpy")
def list_open_edges(start, entries, edges):
    """List the edges one face uses, in that face's direction; return how many.

    `start` and `entries` as `count_edges` leaves them: sorted in each bin.
    """
    count = 0
    for v in range(start.shape[0] - 2):
        i = start[v]
        while i < start[v + 1]:
            w = np.int64(entries[i]) >> 1
            j = i + 1
            while j < start[v + 1] and np.int64(entries[j]) >> 1 == w:
                j += 1
            if j == i + 1:
                if np.int64(entries[i]) & 1 == 0:
                    edges[count, 0] = v
                    edges[count, 1] = w
                else:
                    edges[count, 0] = w
                    edges[count, 1] = v
                count += 1
            i = j
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def close_rim(points, taken, triangles):
    """Close a ring of points with the skin of least weight and no new points.

    Dynamic programming over chords (Barequet and Sharir 1995, "Filling gaps in the boundary of a
    polyhedron", section 4).  The weight of a triangle is its area and a hundredth of its sides
    squared, which shuns slivers; one without area is never used.  ``taken[i, j]`` marks chords
    that are edges of the mesh already and may not be used.  Returns the weight, infinite if there
    is no such skin.
    """
    n = points.shape[0]
    least = np.zeros((n, n))
    split = np.full((n, n), -1, np.int32)
    for span in range(2, n):
        for i in range(n - span):
            j = i + span
            best = np.inf
            if not (taken[i, j] and span < n - 1):
                for k in range(i + 1, j):
                    below = least[i, k] + least[k, j]
                    if below >= best:
                        continue
                    ux = points[k, 0] - points[i, 0]
                    uy = points[k, 1] - points[i, 1]
                    uz = points[k, 2] - points[i, 2]
                    wx = points[j, 0] - points[i, 0]
                    wy = points[j, 1] - points[i, 1]
                    wz = points[j, 2] - points[i, 2]
                    nx = uy * wz - uz * wy
                    ny = uz * wx - ux * wz
                    nz = ux * wy - uy * wx
                    twice = np.sqrt(nx * nx + ny * ny + nz * nz)
                    vx = wx - ux
                    vy = wy - uy
                    vz = wz - uz
                    sides = (
                        (ux * ux + uy * uy + uz * uz)
                        + (wx * wx + wy * wy + wz * wz)
                        + (vx * vx + vy * vy + vz * vz)
                    )
                    weight = below + 0.5 * twice + SIDES_PART * sides
                    if weight < best and twice > THIN_PART * sides:
                        best = weight
                        split[i, j] = k
            least[i, j] = best
    if not np.isfinite(least[0, n - 1]):
        return np.inf
    stack = np.empty((n, 2), np.int64)
    stack[0, 0] = 0
    stack[0, 1] = n - 1
    depth = 1
    count = 0
    while depth > 0:
        depth -= 1
        i = stack[depth, 0]
        j = stack[depth, 1]
        if j - i < 2:
            continue
        k = split[i, j]
        triangles[count, 0] = i
        triangles[count, 1] = k
        triangles[count, 2] = j
        count += 1
        stack[depth, 0] = i
        stack[depth, 1] = k
        stack[depth + 1, 0] = k
        stack[depth + 1, 1] = j
        depth += 2
    return least[0, n - 1]


@njit(nogil=True, cache=True, error_model="numpy", inline="always")
def _segment(px, py, pz, ax, ay, az, bx, by, bz):
    """Squared distance of p from the segment a–b."""
    ux = bx - ax
    uy = by - ay
    uz = bz - az
    length = ux * ux + uy * uy + uz * uz
    t = 0.0
    if length > 0.0:
        t = ((px - ax) * ux + (py - ay) * uy + (pz - az) * uz) / length
        t = min(max(t, 0.0), 1.0)
    dx = ax + t * ux - px
    dy = ay + t * uy - py
    dz = az + t * uz - pz
    return dx * dx + dy * dy + dz * dz


@njit(nogil=True, cache=True, error_model="numpy")
def squared_distances(vertices, faces, point, first, last, out):
    """Squared distance of a point from each triangle."""
    px = point[0]
    py = point[1]
    pz = point[2]
    for i in range(first, last):
        ax = vertices[faces[i, 0], 0]
        ay = vertices[faces[i, 0], 1]
        az = vertices[faces[i, 0], 2]
        bx = vertices[faces[i, 1], 0]
        by = vertices[faces[i, 1], 1]
        bz = vertices[faces[i, 1], 2]
        cx = vertices[faces[i, 2], 0]
        cy = vertices[faces[i, 2], 1]
        cz = vertices[faces[i, 2], 2]
        best = _segment(px, py, pz, ax, ay, az, bx, by, bz)
        best = min(best, _segment(px, py, pz, bx, by, bz, cx, cy, cz))
        best = min(best, _segment(px, py, pz, cx, cy, cz, ax, ay, az))
        nx = (by - ay) * (cz - az) - (bz - az) * (cy - ay)
        ny = (bz - az) * (cx - ax) - (bx - ax) * (cz - az)
        nz = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        size = nx * nx + ny * ny + nz * nz
        if size > 0.0:
            # The foot of the point lies inside if it is on the inner side of all three edges.
            h = (px - ax) * nx + (py - ay) * ny + (pz - az) * nz
            fx = px - h * nx / size
            fy = py - h * ny / size
            fz = pz - h * nz / size
            inside = True
            for k in range(3):
                if k == 0:
                    sx, sy, sz, ex, ey, ez = ax, ay, az, bx - ax, by - ay, bz - az
                elif k == 1:
                    sx, sy, sz, ex, ey, ez = bx, by, bz, cx - bx, cy - by, cz - bz
                else:
                    sx, sy, sz, ex, ey, ez = cx, cy, cz, ax - cx, ay - cy, az - cz
                kx = ey * (fz - sz) - ez * (fy - sy)
                ky = ez * (fx - sx) - ex * (fz - sz)
                kz = ex * (fy - sy) - ey * (fx - sx)
                if kx * nx + ky * ny + kz * nz < 0.0:
                    inside = False
            if inside:
                best = min(best, h * h / size)
        out[i] = best
