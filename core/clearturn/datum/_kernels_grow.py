"""Compiled inner loops of patch growing: neighbours, smoothed normals, the growing itself."""

# mypy: disable-error-code="no-untyped-def"
from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, cache=True, error_model="numpy")
def neighbours(faces, vertex_count):
    """Return (m, 3) the face across each edge (corner k to k + 1), -1 where there is not just one.

    Half edges are sorted into buckets by their lower vertex, then matched by the other one.
    """
    count = faces.shape[0]
    start = np.zeros(vertex_count + 1, np.int64)
    for i in range(count):
        for k in range(3):
            a = faces[i, k]
            b = faces[i, (k + 1) % 3]
            start[min(a, b) + 1] += 1
    for v in range(vertex_count):
        start[v + 1] += start[v]
    fill = start[:-1].copy()
    other = np.empty(3 * count, np.int32)
    half = np.empty(3 * count, np.int32)
    for i in range(count):
        for k in range(3):
            a = faces[i, k]
            b = faces[i, (k + 1) % 3]
            p = fill[min(a, b)]
            fill[min(a, b)] = p + 1
            other[p] = max(a, b)
            half[p] = 3 * i + k
    out = np.full((count, 3), -1, np.int32)
    for v in range(vertex_count):
        low, high = start[v], start[v + 1]
        if high - low > 48:
            # The hub of a large fan: sorted, so that its cost does not grow with the square.
            order = np.argsort(other[low:high])
            other[low:high] = other[low:high][order]
            half[low:high] = half[low:high][order]
            p = low
            while p < high:
                q = p + 1
                while q < high and other[q] == other[p]:
                    q += 1
                if q == p + 2:
                    out[half[p] // 3, half[p] % 3] = half[p + 1] // 3
                    out[half[p + 1] // 3, half[p + 1] % 3] = half[p] // 3
                p = q
            continue
        for p in range(low, high):
            mate = -1
            shared = 0
            for q in range(low, high):
                if q != p and other[q] == other[p]:
                    shared += 1
                    mate = half[q]
            if shared == 1:
                out[half[p] // 3, half[p] % 3] = mate // 3
    return out


@njit(nogil=True, cache=True, error_model="numpy")
def face_normals(vertices, faces, start, stop, normals, centres):
    """Write area-weighted normals (length twice the area) and centres of the faces."""
    for i in range(start, stop):
        a = vertices[faces[i, 0]]
        b = vertices[faces[i, 1]]
        c = vertices[faces[i, 2]]
        for k in range(3):
            centres[i, k] = (a[k] + b[k] + c[k]) / 3.0
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        normals[i, 0] = uy * vz - uz * vy
        normals[i, 1] = uz * vx - ux * vz
        normals[i, 2] = ux * vy - uy * vx


@njit(nogil=True, cache=True, error_model="numpy")
def smooth(across, normals, start, stop, limit_cos, out):
    """Write each face's normal summed with those across its edges, but never over a sharp edge."""
    for i in range(start, stop):
        x, y, z = normals[i, 0], normals[i, 1], normals[i, 2]
        own = np.sqrt(x * x + y * y + z * z)
        sx, sy, sz = x, y, z
        for k in range(3):
            j = across[i, k]
            if j < 0:
                continue
            p, q, r = normals[j, 0], normals[j, 1], normals[j, 2]
            size = np.sqrt(p * p + q * q + r * r)
            if x * p + y * q + z * r >= limit_cos * own * size:
                sx += p
                sy += q
                sz += r
        out[i, 0] = sx
        out[i, 1] = sy
        out[i, 2] = sz


@njit(nogil=True, cache=True, error_model="numpy")
def grow(
    across,
    normals,
    centres,
    seed,
    step_cos,
    curvature,
    slack,
    seed_point,
    seed_normal,
    spread_cos,
    limit2,
    taken,
    queue,
    head,
    tail,
    budget,
):
    """Take neighbours across smooth edges, breadth first, from ``queue[head:tail]``.

    An edge is smooth if the normals of its faces turn by less than the step and by less than
    ``curvature`` (rad/mm) times the distance of their centres plus ``slack`` (rad).  Returns the
    new head and tail after at most ``budget`` faces; ``taken`` and ``queue`` are kept between
    calls.
    """
    if tail == 0:
        taken[seed] = True
        queue[0] = seed
        tail = 1
    done = 0
    while head < tail and done < budget:
        i = queue[head]
        head += 1
        done += 1
        ni = normals[i]
        li = np.sqrt(ni[0] * ni[0] + ni[1] * ni[1] + ni[2] * ni[2])
        for k in range(3):
            j = across[i, k]
            if j < 0 or taken[j]:
                continue
            nj = normals[j]
            lj = np.sqrt(nj[0] * nj[0] + nj[1] * nj[1] + nj[2] * nj[2])
            if li == 0.0 or lj == 0.0:
                continue
            cos = (ni[0] * nj[0] + ni[1] * nj[1] + ni[2] * nj[2]) / (li * lj)
            if cos < step_cos:
                continue
            dx = centres[j, 0] - centres[i, 0]
            dy = centres[j, 1] - centres[i, 1]
            dz = centres[j, 2] - centres[i, 2]
            angle = np.arccos(min(cos, 1.0))
            if angle > curvature * np.sqrt(dx * dx + dy * dy + dz * dz) + slack:
                continue
            cos = (seed_normal[0] * nj[0] + seed_normal[1] * nj[1] + seed_normal[2] * nj[2]) / lj
            if cos < spread_cos:
                continue
            dx = centres[j, 0] - seed_point[0]
            dy = centres[j, 1] - seed_point[1]
            dz = centres[j, 2] - seed_point[2]
            if dx * dx + dy * dy + dz * dz > limit2:
                continue
            taken[j] = True
            queue[tail] = j
            tail += 1
    return head, tail


@njit(nogil=True, cache=True, error_model="numpy")
def nearest_centre(centres, start, stop, point, out):
    """Write index and squared distance of the nearest face centre: ``out`` (2)."""
    best = np.inf
    which = -1
    for i in range(start, stop):
        dx = centres[i, 0] - point[0]
        dy = centres[i, 1] - point[1]
        dz = centres[i, 2] - point[2]
        d = dx * dx + dy * dy + dz * dz
        if d < best:
            best = d
            which = i
    out[0] = which
    out[1] = best
