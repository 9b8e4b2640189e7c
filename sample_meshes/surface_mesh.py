"""A near-uniform triangle mesh of the surface of a solid given by its signed distance.

Only for making the sample meshes. First the zero surface on a grid, then rounds of splitting
long edges, collapsing short ones, turning edges over (Delaunay) and sliding vertices along the
surface, each followed by putting every vertex back on the true surface by Newton steps.
"""

# ruff: noqa: SIM110 - compiled loops: many arrays, no generators

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Faces = NDArray[np.int32]
Solid = Callable[[Array], Array]

WIDTH = 32  # most faces round one vertex


def gradient(solid: Solid, points: Array, step: float = 1e-4) -> Array:
    """Gradient of the signed distance by differences over a small tetrahedron, (n, 3)."""
    corners = np.array([(1, -1, -1), (-1, -1, 1), (-1, 1, -1), (1, 1, 1)], dtype=float)
    return sum(k * solid(points + step * k)[:, None] for k in corners) / (4 * step)


def unit(vectors: Array) -> Array:
    return vectors / np.maximum(np.linalg.norm(vectors, axis=1), 1e-12)[:, None]


def onto(solid: Solid, points: Array, rounds: int = 4, longest: float = 1.0) -> Array:
    """Move points onto the surface along the gradient."""
    p = points.copy()
    active = np.arange(len(p))
    for _ in range(rounds):
        f = solid(p[active])
        active, f = active[np.abs(f) > 1e-9], f[np.abs(f) > 1e-9]
        if not len(active):
            break
        g = gradient(solid, p[active])
        step = (f / np.maximum((g * g).sum(axis=1), 0.05))[:, None] * g
        size = np.linalg.norm(step, axis=1, keepdims=True)
        p[active] -= step * np.minimum(1.0, longest / np.maximum(size, 1e-12))
    return p


BLOCK = 4  # grid points a side of the blocks that are looked at first
STEEPEST = 1.3  # a signed distance here never changes faster than this, per mm


def _grid_values(solid: Solid, low: Array, shape: NDArray[np.int64], spacing: float) -> Array:
    """Signed distance on the grid; far from the surface only its sign is right."""
    blocks = -(-shape // BLOCK)
    index = np.stack(np.meshgrid(*(np.arange(n) for n in blocks), indexing="ij"), -1).reshape(-1, 3)
    middle = low + spacing * (BLOCK * index + (BLOCK - 1) / 2)
    at_middle = solid(middle)
    # to the farthest point of the block and one grid step on, into a cell that may be crossed
    reach = STEEPEST * spacing * (BLOCK + 1) / 2 * np.sqrt(3.0)
    values = np.empty(blocks * BLOCK)
    values.reshape(blocks[0], BLOCK, blocks[1], BLOCK, blocks[2], BLOCK).transpose(
        0, 2, 4, 1, 3, 5
    )[:] = at_middle.reshape(*blocks, 1, 1, 1)
    within = np.stack(np.meshgrid(*(np.arange(BLOCK),) * 3, indexing="ij"), -1).reshape(-1, 3)
    near = index[np.abs(at_middle) <= reach]
    for part in np.array_split(near, max(1, len(near) // 4000)):
        nodes = (BLOCK * part[:, None] + within).reshape(-1, 3)
        values[tuple(nodes.T)] = solid(low + spacing * nodes)
    return values[: shape[0], : shape[1], : shape[2]]


def grid_surface(solid: Solid, low: Array, high: Array, spacing: float) -> tuple[Array, Faces]:
    """Zero surface on a regular grid, outward faces."""
    import pyvista as pv

    shape = np.ceil((np.asarray(high) - low) / spacing).astype(int) + 1
    values = _grid_values(solid, np.asarray(low, float), shape, spacing)
    # A value of exactly nought would make triangles without area.
    values[np.abs(values) < 1e-3 * spacing] = 1e-3 * spacing
    grid = pv.ImageData(dimensions=tuple(shape), spacing=(spacing,) * 3, origin=tuple(low))
    grid["f"] = values.ravel(order="F")
    surface = grid.contour([0.0], scalars="f", method="flying_edges").clean(tolerance=0.0)
    vertices = np.asarray(surface.points, dtype=np.float64)
    faces = surface.faces.reshape(-1, 4)[:, 1:].astype(np.int32)
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    if np.einsum("ij,ij->", a, np.cross(b, c)) < 0:
        faces = faces[:, ::-1].copy()
    return vertices, faces


@njit(cache=True)
def _third(F, f, a, b):
    for k in range(3):
        v = F[f, k]
        if v not in (a, b):
            return v
    return -1


@njit(cache=True)
def _faces_of_edge(F, VF, VC, a, b):
    f1, f2, n = -1, -1, 0
    for i in range(VC[a]):
        f = VF[a, i]
        if F[f, 0] == b or F[f, 1] == b or F[f, 2] == b:
            if n == 0:
                f1 = f
            elif n == 1:
                f2 = f
            n += 1
    return f1, f2, n


@njit(cache=True)
def _oriented(F, f, a, b):
    """True if the face runs a to b."""
    for k in range(3):
        if F[f, k] == a and F[f, (k + 1) % 3] == b:
            return True
    return False


@njit(cache=True)
def _drop(VF, VC, v, f):
    for i in range(VC[v]):
        if VF[v, i] == f:
            VC[v] -= 1
            VF[v, i] = VF[v, VC[v]]
            return


@njit(cache=True)
def _add(VF, VC, v, f):
    VF[v, VC[v]] = f
    VC[v] += 1


@njit(cache=True)
def _swap(F, f, old, new):
    for k in range(3):
        if F[f, k] == old:
            F[f, k] = new


@njit(cache=True)
def _joined(F, VF, VC, a, b):
    for i in range(VC[a]):
        f = VF[a, i]
        if F[f, 0] == b or F[f, 1] == b or F[f, 2] == b:
            return True
    return False


@njit(cache=True)
def _normal(p, q, r):
    ux, uy, uz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    vx, vy, vz = r[0] - p[0], r[1] - p[1], r[2] - p[2]
    return np.array((uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx))


@njit(cache=True)
def _length(p, q):
    return np.sqrt((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2)


@njit(cache=True)
def split(V, N, L, F, VF, VC, nv, nf, factor):
    """Split every edge longer than factor times the wanted length."""
    done = 0
    f = 0
    while f < nf:
        if F[f, 0] < 0:
            f += 1
            continue
        again = False
        for k in range(3):
            a, b = F[f, k], F[f, (k + 1) % 3]
            if _length(V[a], V[b]) <= factor * 0.5 * (L[a] + L[b]):
                continue
            f1, f2, n = _faces_of_edge(F, VF, VC, a, b)
            if n != 2 or nv >= len(V) or nf + 2 > len(F):
                continue
            if not _oriented(F, f1, a, b):
                f1, f2 = f2, f1
            c, d = _third(F, f1, a, b), _third(F, f2, a, b)
            if VC[c] >= WIDTH - 1 or VC[d] >= WIDTH - 1:
                continue
            m = nv
            nv += 1
            for j in range(3):
                V[m, j] = 0.5 * (V[a, j] + V[b, j])
                N[m, j] = N[a, j] + N[b, j]
            s = np.sqrt(N[m, 0] ** 2 + N[m, 1] ** 2 + N[m, 2] ** 2) + 1e-12
            for j in range(3):
                N[m, j] /= s
            L[m] = 0.5 * (L[a] + L[b])
            _swap(F, f1, b, m)
            _swap(F, f2, a, m)
            f3, f4 = nf, nf + 1
            nf += 2
            F[f3, 0], F[f3, 1], F[f3, 2] = m, b, c
            F[f4, 0], F[f4, 1], F[f4, 2] = m, a, d
            _drop(VF, VC, b, f1)
            _add(VF, VC, b, f3)
            _drop(VF, VC, a, f2)
            _add(VF, VC, a, f4)
            _add(VF, VC, c, f3)
            _add(VF, VC, d, f4)
            for g in (f1, f2, f3, f4):
                _add(VF, VC, m, g)
            done += 1
            again = True
            break
        if not again:
            f += 1
    return nv, nf, done


@njit(cache=True)
def collapse(V, N, L, F, VF, VC, nf, factor):
    """Collapse every edge shorter than factor times the wanted length where that is safe."""
    done = 0
    for f in range(nf):
        for k in range(3):
            if F[f, 0] < 0:
                break
            a, b = F[f, k], F[f, (k + 1) % 3]
            if _length(V[a], V[b]) >= factor * 0.5 * (L[a] + L[b]):
                continue
            f1, f2, n = _faces_of_edge(F, VF, VC, a, b)
            if n != 2:
                continue
            c, d = _third(F, f1, a, b), _third(F, f2, a, b)
            if VC[c] < 4 or VC[d] < 4 or VC[a] + VC[b] - 4 > WIDTH - 6:
                continue
            shared = 0
            for i in range(VC[b]):
                g = VF[b, i]
                for j in range(3):
                    v = F[g, j]
                    # each neighbour of b is met in two faces
                    if v not in (a, b) and _joined(F, VF, VC, v, a):
                        shared += 1
            if shared != 4:
                continue
            mid = np.empty(3)
            for j in range(3):
                mid[j] = 0.5 * (V[a, j] + V[b, j])
            safe = True
            for side in range(2):
                v = a if side == 0 else b
                for i in range(VC[v]):
                    g = VF[v, i]
                    if g in (f1, f2):
                        continue
                    p, q, r = V[F[g, 0]], V[F[g, 1]], V[F[g, 2]]
                    old = _normal(p, q, r)
                    if F[g, 0] == v:
                        new = _normal(mid, q, r)
                    elif F[g, 1] == v:
                        new = _normal(p, mid, r)
                    else:
                        new = _normal(p, q, mid)
                    so = np.sqrt((old * old).sum())
                    sn = np.sqrt((new * new).sum())
                    if sn < 1e-3 or (old * new).sum() < 0.6 * so * sn:
                        safe = False
                        break
                    for j in range(3):
                        w = F[g, j]
                        if w != v and _length(V[w], mid) > 1.35 * 0.5 * (L[w] + L[a]):
                            safe = False
                    if not safe:
                        break
                if not safe:
                    break
            if not safe:
                continue
            V[a] = mid
            L[a] = 0.5 * (L[a] + L[b])
            for j in range(3):
                N[a, j] = N[a, j] + N[b, j]
            N[a] /= np.sqrt((N[a] * N[a]).sum()) + 1e-12
            for g in (f1, f2):
                _drop(VF, VC, a, g)
                _drop(VF, VC, c if g == f1 else d, g)
                F[g, 0] = F[g, 1] = F[g, 2] = -1
            for i in range(VC[b]):
                g = VF[b, i]
                if g in (f1, f2):
                    continue
                _swap(F, g, b, a)
                _add(VF, VC, a, g)
            VC[b] = 0
            done += 1
            break
    return done


@njit(cache=True)
def _angle_at(p, q, r):
    """Cosine and sine-like pair of the angle at p."""
    ux, uy, uz = q[0] - p[0], q[1] - p[1], q[2] - p[2]
    vx, vy, vz = r[0] - p[0], r[1] - p[1], r[2] - p[2]
    n = _normal(p, q, r)
    return np.arctan2(np.sqrt((n * n).sum()), ux * vx + uy * vy + uz * vz)


@njit(cache=True)
def turn(V, N, F, VF, VC, nf):
    """Turn edges over where the two opposite angles add up to more than half a turn."""
    done = 0
    for f in range(nf):
        for k in range(3):
            if F[f, 0] < 0:
                break
            a, b = F[f, k], F[f, (k + 1) % 3]
            f1, f2, n = _faces_of_edge(F, VF, VC, a, b)
            if n != 2:
                continue
            if not _oriented(F, f1, a, b):
                f1, f2 = f2, f1
            c, d = _third(F, f1, a, b), _third(F, f2, a, b)
            if VC[a] < 4 or VC[b] < 4 or VC[c] > WIDTH - 2 or VC[d] > WIDTH - 2:
                continue
            if _angle_at(V[c], V[a], V[b]) + _angle_at(V[d], V[a], V[b]) <= np.pi + 1e-6:
                continue
            if _joined(F, VF, VC, c, d):
                continue
            safe = True
            o1, o2 = _normal(V[a], V[b], V[c]), _normal(V[b], V[a], V[d])
            n1, n2 = _normal(V[a], V[d], V[c]), _normal(V[d], V[b], V[c])
            s1, s2 = np.sqrt((n1 * n1).sum()), np.sqrt((n2 * n2).sum())
            if s1 < 1e-6 or s2 < 1e-6 or (n1 * n2).sum() < 0.5 * s1 * s2:
                safe = False
            mean = N[a] + N[b] + N[c] + N[d]
            size = np.sqrt((mean * mean).sum()) + 1e-12
            if (n1 * mean).sum() < 0.5 * s1 * size or (n2 * mean).sum() < 0.5 * s2 * size:
                safe = False
            if (o1 * mean).sum() < 0 or (o2 * mean).sum() < 0:
                safe = safe or (s1 > 1e-6 and s2 > 1e-6)
            if not safe:
                continue
            F[f1, 0], F[f1, 1], F[f1, 2] = a, d, c
            F[f2, 0], F[f2, 1], F[f2, 2] = d, b, c
            _drop(VF, VC, a, f2)
            _drop(VF, VC, b, f1)
            _add(VF, VC, c, f2)
            _add(VF, VC, d, f1)
            done += 1
            break
    return done


@njit(cache=True)
def slide(V, N, L, F, nv, nf, share):
    """Move vertices along the surface towards the middle of their faces."""
    total, weight = np.zeros((nv, 3)), np.zeros(nv)
    for f in range(nf):
        if F[f, 0] < 0:
            continue
        p, q, r = V[F[f, 0]], V[F[f, 1]], V[F[f, 2]]
        n = _normal(p, q, r)
        wanted = (L[F[f, 0]] + L[F[f, 1]] + L[F[f, 2]]) / 3
        w = np.sqrt((n * n).sum()) / wanted**2
        for k in range(3):
            v = F[f, k]
            weight[v] += w
            for j in range(3):
                total[v, j] += w * (p[j] + q[j] + r[j]) / 3
    for v in range(nv):
        if weight[v] <= 0:
            continue
        d = total[v] / weight[v] - V[v]
        along = (d * N[v]).sum()
        for j in range(3):
            V[v, j] += share * (d[j] - along * N[v, j])


def _compact(V: Array, F: Faces) -> tuple[Array, Faces, NDArray[np.int64]]:
    faces = F[F[:, 0] >= 0]
    used, inverse = np.unique(faces, return_inverse=True)
    return V[used], inverse.reshape(-1, 3).astype(np.int32), used


def _incidence(n: int, F: Faces) -> tuple[Faces, Faces]:
    count = np.bincount(F.ravel(), minlength=n)
    if count.max() > WIDTH:
        raise ValueError("too many faces round one vertex")
    order = np.argsort(F.ravel(), kind="stable")
    start = np.concatenate([[0], np.cumsum(count)[:-1]])
    slot = np.arange(len(order)) - np.repeat(start, count)
    table = np.full((n, WIDTH), -1, np.int32)
    table[F.ravel()[order], slot] = order // 3
    return table, count.astype(np.int32)


def wanted_length(
    V: Array, N: Array, F: Faces, limit: Array, chord: float, least: float, growth: float = 0.4
) -> Array:
    """Edge length per vertex: chord error on curved surface, a local limit, gentle grading."""
    edges = np.unique(np.sort(F[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    i, j = edges.T
    d = np.linalg.norm(V[i] - V[j], axis=1)
    bend = np.arccos(np.clip((N[i] * N[j]).sum(axis=1), -1, 1)) / np.maximum(d, 1e-6)
    kappa = np.zeros(len(V))
    np.maximum.at(kappa, i, bend)
    np.maximum.at(kappa, j, bend)
    length = np.sqrt(8 * chord / np.maximum(kappa, 1e-6))
    length = np.clip(length, np.maximum(least, 0.45 * limit), limit)
    for _ in range(25):
        before = length.copy()
        np.minimum.at(length, i, length[j] + growth * d)
        np.minimum.at(length, j, length[i] + growth * d)
        if np.array_equal(before, length):
            break
    return length


def mesh_of(
    solid: Solid,
    low: Array,
    high: Array,
    spacing: float,
    limit: Callable[[Array], Array],
    chord: float = 0.04,
    least: float = 1.2,
    rounds: int = 8,
) -> tuple[Array, Faces]:
    """Closed mesh of a solid: vertices on the true surface, faces outward.

    `limit(points)` is the longest wanted edge at each point.
    """
    V, F = grid_surface(solid, np.asarray(low, float), np.asarray(high, float), spacing)
    V = onto(solid, V, rounds=2, longest=0.3 * spacing)
    for turn_no in range(rounds):
        N = unit(gradient(solid, V))
        L = wanted_length(V, N, F, limit(V), chord, least)
        n, m = len(V), len(F)
        cap_v, cap_f = 4 * n + 1000, 4 * m + 1000
        bigV, bigN, bigL = np.zeros((cap_v, 3)), np.zeros((cap_v, 3)), np.zeros(cap_v)
        bigF = np.full((cap_f, 3), -1, np.int32)
        bigV[:n], bigN[:n], bigL[:n], bigF[:m] = V, N, L, F
        VF, VC = np.full((cap_v, WIDTH), -1, np.int32), np.zeros(cap_v, np.int32)
        VF[:n], VC[:n] = _incidence(n, F)
        nv, nf = n, m
        if turn_no < rounds - 2:
            nv, nf, _ = split(bigV, bigN, bigL, bigF, VF, VC, nv, nf, 1.35)
            collapse(bigV, bigN, bigL, bigF, VF, VC, nf, 0.75)
        for _ in range(3):
            if turn(bigV, bigN, bigF, VF, VC, nf) == 0:
                break
        slide(bigV, bigN, bigL, bigF, nv, nf, 0.6)
        V, F, _ = _compact(bigV[:nv], bigF[:nf])
        V = onto(solid, V, rounds=6 if turn_no == rounds - 1 else 2, longest=0.5)
    return V, F


def report(V: Array, F: Faces, solid: Solid) -> dict[str, float]:
    """Figures that show whether a mesh is closed, outward and near the true surface."""
    a, b, c = (V[F[:, i]] for i in range(3))
    n = np.cross(b - a, c - a)
    edges = np.sort(F[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, count = np.unique(edges, axis=0, return_counts=True)
    length = np.linalg.norm(V[edges[:, 0]] - V[edges[:, 1]], axis=1)
    middle = (a + b + c) / 3
    off = solid(middle)
    facing = (unit(n) * unit(gradient(solid, middle))).sum(axis=1)
    return {
        "faces": len(F),
        "open_or_shared_edges": int((count != 2).sum()),
        "volume": float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6),
        "vertex_off_um": float(1e3 * np.abs(solid(V)).max()),
        "middle_off_99_um": float(1e3 * np.quantile(np.abs(off), 0.99)),
        "middle_off_max_um": float(1e3 * np.abs(off).max()),
        "edge_1": float(np.quantile(length, 0.01)),
        "edge_50": float(np.median(length)),
        "edge_99": float(np.quantile(length, 0.99)),
        "turned_faces": int((facing < 0.3).sum()),
        "least_area": float(np.linalg.norm(n, axis=1).min() / 2),
    }
