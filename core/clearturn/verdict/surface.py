"""Local surfaces of a scan: quadrics fitted to the connected neighbourhood of a vertex.

A scanned surface is smooth between its edges, its noise is not.  At a vertex the neighbours that
are joined to it by faces looking the same way (within 35°) are fitted with a quadric; the window
grows as long as the residuals agree with the noise and the fitted value agrees with that of the
narrower windows (intersection of confidence intervals, Goldenshluger and Nemirovski 1997).  A
vertex on an edge is fitted once for each side and goes to where the sides meet, so that edges are
not rounded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist

from clearturn import threads
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.verdict import _kernels as kernels

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

SIDE_DEG = 35.0
"""Faces turned further than this from a vertex's side belong to another side."""
SMALLEST_EDGES = 2.2
"""First window radius, in mean edge lengths at the vertex: about fifteen neighbours."""
GREATEST_MM = 30.0
GREATEST_EDGES = 12.0
_COS = math.cos(math.radians(SIDE_DEG))
_SLICE = 512


@dataclass(frozen=True, slots=True)
class Ring:
    """What the fits need of a mesh, made once.

    Attributes
    ----------
    start, incident : (n + 1,), (k,) int64
        Faces at every vertex, in compressed rows.
    normals : (m, 3) float64
        Unit face normals; zero for a face without area.
    areas : (m,) float64
    edge : (n,) float64
        Mean edge length at every vertex, mm.
    """

    start: Indices
    incident: Indices
    normals: Array
    areas: Array
    edge: Array


@dataclass(frozen=True, slots=True)
class LocalSurfaces:
    """Local surfaces at some vertices of a mesh.

    Attributes
    ----------
    targets : (t,) int64
        Vertices, ascending.
    moves : (t, 3) float64
        From the vertex to its local surface, mm.
    sides : (t,) int64
        Sides fitted there; 0 where no window agreed and the vertex stays.
    side_normals : (t, 3, 3), summaries : (t, 3, 4) float64
        Normal of each side; window radius, points used, variance of the value, residual rms.
    """

    targets: Indices
    moves: Array
    sides: Indices
    side_normals: Array
    summaries: Array

    def joined(self, other: LocalSurfaces) -> LocalSurfaces:
        """Return these and the surfaces at other vertices, ascending."""
        order = np.argsort(np.concatenate([self.targets, other.targets]), kind="stable")
        return LocalSurfaces(
            *(
                np.concatenate([getattr(self, name), getattr(other, name)])[order]
                for name in ("targets", "moves", "sides", "side_normals", "summaries")
            )
        )

    def standards(self, sigma_mm: float) -> Array:
        """Return the standard uncertainty of every moved vertex along its normal, (t,) mm."""
        variance = np.max(
            np.where(
                np.arange(kernels.MOST_SIDES)[None, :] < self.sides[:, None],
                self.summaries[:, :, kernels.VARIANCE],
                0.0,
            ),
            axis=1,
        )
        return np.asarray(np.where(self.sides > 0, np.sqrt(variance), sigma_mm))


def ring(mesh: Mesh) -> Ring:
    """Return the neighbourhood tables of `mesh`, kept with it."""
    return mesh.cached("local surface tables", lambda: _make_ring(mesh))


def _make_ring(mesh: Mesh) -> Ring:
    faces = mesh.faces
    count = len(mesh.vertices)
    flat = faces.ravel()
    start = np.zeros(count + 1, np.int64)
    np.cumsum(np.bincount(flat, minlength=count), out=start[1:])
    incident = np.argsort(flat, kind="stable") // 3
    normals = np.empty((len(faces), 3))
    areas = np.empty(len(faces))
    kernels.face_vectors(mesh.vertices, faces, normals, areas)
    corner = mesh.corners
    lengths = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).mean(axis=1)
    total = np.bincount(flat, weights=np.repeat(lengths, 3), minlength=count)
    edge = total / np.maximum(np.diff(start), 1)
    return Ring(start, incident.astype(np.int64), normals, areas, edge)


def fit_surfaces(
    mesh: Mesh,
    targets: Indices,
    sigma_mm: float,
    correlation_mm: float = 0.0,
    progress: Progress | None = None,
) -> LocalSurfaces:
    """Fit the local surface at every target vertex.

    Parameters
    ----------
    mesh : Mesh
    targets : (t,) int64
        Vertices to fit at.
    sigma_mm : float
        Noise of the scan along its normals.
    correlation_mm : float
        Its correlation length L, ρ(d) = exp(−d²/2L²); 0 for independent vertices.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    tables = ring(mesh)
    chosen = np.unique(np.asarray(targets, dtype=np.int64))
    count = len(chosen)
    # With correlated noise a window narrower than the correlation follows the noise.
    smallest = np.maximum(SMALLEST_EDGES * tables.edge[chosen], correlation_mm)
    greatest = np.maximum(np.minimum(GREATEST_EDGES * tables.edge[chosen], GREATEST_MM), smallest)
    found = LocalSurfaces(
        chosen,
        np.zeros((count, 3)),
        np.zeros(count, np.int64),
        np.zeros((count, kernels.MOST_SIDES, 3)),
        np.zeros((count, kernels.MOST_SIDES, 4)),
    )

    def work(begin: int, end: int) -> None:
        kernels.smooth(
            chosen, begin, end, smallest, greatest, sigma_mm, correlation_mm, _COS,
            mesh.vertices, mesh.faces, tables.start, tables.incident, tables.normals,
            tables.areas, found.moves, found.sides, found.side_normals, found.summaries,
        )  # fmt: skip

    threads.run(work, threads.spans(count, _SLICE), progress)
    return found


def noise_rows(
    mesh: Mesh,
    surfaces: LocalSurfaces,
    rows: Indices,
    directions: Array,
    *,
    sigma_mm: float,
    correlation_mm: float,
) -> sparse.csr_matrix:
    """Return how noise of the vertices moves fitted vertices along given directions.

    Parameters
    ----------
    surfaces : LocalSurfaces
    rows : (k,) int64
        Which of its targets.
    directions : (k, 3) ndarray
        Unit vectors.

    Returns
    -------
    csr_matrix, (k, n vertices)
        Applied to the noise of the vertices along their normals, mm.
    """
    tables = ring(mesh)
    room = max(1024, len(rows) * 128)
    start = np.zeros(len(rows) + 1, np.int64)
    while True:
        columns = np.empty(room, np.int64)
        weights = np.empty(room)
        filled = kernels.weight_rows(
            surfaces.targets[rows], surfaces.sides[rows], surfaces.side_normals[rows],
            surfaces.summaries[rows], np.ascontiguousarray(directions), sigma_mm, correlation_mm,
            _COS, mesh.vertices, mesh.faces, tables.start, tables.incident, tables.normals,
            start, columns, weights,
        )  # fmt: skip
        if filled >= 0:
            break
        room = max(2 * room, -filled + len(rows) * 64)
    matrix = sparse.csr_matrix(
        (weights[:filled], columns[:filled], start), shape=(len(rows), len(mesh.vertices))
    )
    matrix.sum_duplicates()
    return matrix


def correlation_length(mesh: Mesh, sigma_mm: float, windows: int = 48) -> tuple[float, float]:
    """Estimate how far the noise of a scan is correlated, from residuals of local quadrics.

    Parameters
    ----------
    mesh : Mesh
    sigma_mm : float
        Stated noise; windows whose residuals exceed it by far (edges) are left out.
    windows : int
        How many windows at most, spread over the mesh.

    Returns
    -------
    (correlation length L, noise) : float, float
        mm; L of ρ(d) = exp(−d²/2L²), 0 for independent noise, and the rms of the residuals over all
        windows, NaN where no window could be used.
    """
    everywhere = np.flatnonzero(np.diff(ring(mesh).start) > 0)
    if len(everywhere) == 0 or sigma_mm <= 0:
        return 0.0, math.nan
    picked = everywhere[
        np.linspace(0, len(everywhere) - 1, min(windows, len(everywhere))).astype(np.int64)
    ]
    # A quadric takes up noise that is wider than a third of its window, so wide windows first.
    for edges in _WINDOW_EDGES:
        found = _correlation(mesh, sigma_mm, picked, edges)
        if found is not None:
            return found
    return 0.0, math.nan


_WINDOW_EDGES = (15.0, 10.0, 7.0)
_LEAST_WINDOWS = 6
_WINDOW_POINTS = 300


def _correlation(
    mesh: Mesh, sigma: float, picked: Indices, edges: float
) -> tuple[float, float] | None:
    """Return (L, noise) from windows of one size, None where too few fit."""
    tables = ring(mesh)
    tree = mesh.cached("vertex tree", lambda: cKDTree(mesh.vertices))
    edge = float(np.median(tables.edge[picked]))
    bins = int(edges)
    sums, counts, lengths = np.zeros(bins), np.zeros(bins), np.zeros(bins)
    squares, freedom, used = 0.0, 0.0, 0
    for v in picked:
        residuals, points = _window_residuals(
            mesh, tables, tree, v=int(v), radius=edges * edge, sigma=sigma
        )
        if residuals is None or points is None:
            continue
        used += 1
        squares += float(residuals @ residuals)
        freedom += len(residuals) - 6
        apart = pdist(points)
        slot = (apart / edge + 0.5).astype(np.int64)
        inside = slot < bins
        products = (residuals[:, None] * residuals[None])[np.triu_indices(len(points), 1)]
        sums += np.bincount(slot[inside], weights=products[inside], minlength=bins)
        counts += np.bincount(slot[inside], minlength=bins)
        lengths += np.bincount(slot[inside], weights=apart[inside], minlength=bins)
    if used < _LEAST_WINDOWS:
        return None
    variance = squares / freedom
    if variance <= 0:
        return 0.0, 0.0
    rho = np.divide(sums, counts, out=np.zeros(bins), where=counts > 0) / variance
    means = np.divide(lengths, counts, out=np.zeros(bins), where=counts > 0)
    return _matched_length(rho[1:], means[1:], counts[1:], edge), math.sqrt(variance)


def _matched_length(rho: Array, apart: Array, counts: Array, edge: float) -> float:
    """Return the L whose exp(−d²/2L²) fits measured correlations best, 0 if none does better.

    The quadric has taken up the widest waves of the noise, which lowers all correlations alike:
    measured ρ = (1 + a)·exp(−d²/2L²) − a with a ≥ 0, fitted together with L.
    """
    used = counts > 0
    if not used.any():
        return 0.0
    measured, d, weight = rho[used], apart[used], counts[used]
    best, length = float(weight @ measured**2), 0.0
    for tried in edge * np.geomspace(0.25, 6.0, 60):
        model = np.exp(-(d**2) / (2.0 * tried**2))
        lack = 1.0 - model
        below = model - measured
        taken = float(np.clip((weight * lack) @ below / max(weight @ lack**2, 1e-300), 0.0, 0.6))
        misfit = float(weight @ (below - taken * lack) ** 2)
        if misfit < best:
            best, length = misfit, float(tried)
    return length


def _window_residuals(
    mesh: Mesh, tables: Ring, tree: cKDTree, *, v: int, radius: float, sigma: float
) -> tuple[Array | None, Array | None]:
    faces = tables.incident[tables.start[v] : tables.start[v + 1]]
    normal = (tables.normals[faces] * tables.areas[faces, None]).sum(axis=0)
    size = float(np.linalg.norm(normal))
    if size <= 0:
        return None, None
    normal /= size
    chosen = np.asarray(tree.query_ball_point(mesh.vertices[v], radius), dtype=np.int64)
    if len(chosen) > _WINDOW_POINTS:
        chosen = chosen[:: len(chosen) // _WINDOW_POINTS + 1]
    if len(chosen) < 20:
        return None, None
    offset = mesh.vertices[chosen] - mesh.vertices[v]
    height = offset @ normal
    helper = np.eye(3)[int(np.argmin(np.abs(normal)))]
    e1 = np.cross(helper, normal)
    e1 /= np.linalg.norm(e1)
    u, w = offset @ e1 / radius, offset @ np.cross(normal, e1) / radius
    design = np.stack([np.ones_like(u), u, w, u * u, u * w, w * w], axis=1)
    solution, *_ = np.linalg.lstsq(design, height, rcond=None)
    residuals = height - design @ solution
    if np.sqrt(np.mean(residuals**2)) > 1.6 * sigma:
        return None, None
    return residuals, mesh.vertices[chosen]
