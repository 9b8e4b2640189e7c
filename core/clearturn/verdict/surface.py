"""Local surfaces of a scan: quadrics fitted to the connected neighbourhood of a vertex.

A scanned surface is smooth between its edges, its noise is not.  At a vertex the neighbours that
are joined to it by faces looking the same way (within 35°) are fitted with a quadric in windows of
growing radius; a window counts only where its residuals agree with the noise.  One radius is
chosen for all vertices of a place together, by least mean square error: the variance falls with
the radius, and how far the fitted surface drifts from that of narrower windows, on average over
all vertices, tells the error of the model.  Choosing it for each vertex alone would follow the
noise.

A vertex on an edge is fitted once for each side and goes to where the sides meet, so that edges are
not rounded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

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
_GROWTH = 1.4
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
    radius_mm : float
        The radius chosen for all; 0 if none helps.
    """

    targets: Indices
    moves: Array
    sides: Indices
    side_normals: Array
    summaries: Array
    radius_mm: float

    def joined(self, other: LocalSurfaces) -> LocalSurfaces:
        """Return these and the surfaces at other vertices, ascending."""
        order = np.argsort(np.concatenate([self.targets, other.targets]), kind="stable")

        def both(name: str) -> NDArray[Any]:
            return np.concatenate([getattr(self, name), getattr(other, name)])[order]

        return LocalSurfaces(
            both("targets"),
            both("moves"),
            both("sides"),
            both("side_normals"),
            both("summaries"),
            self.radius_mm,
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
    *,
    radius_mm: float | None = None,
    progress: Progress | None = None,
) -> LocalSurfaces:
    """Fit the local surface at every target vertex.

    Parameters
    ----------
    mesh : Mesh
    targets : (t,) int64
        Vertices to fit at: all of one place, since one window is chosen for them together.
    sigma_mm : float
        Noise of the scan along its normals.
    correlation_mm : float
        Its correlation length L, ρ(d) = exp(−d²/2L²); 0 for independent vertices.
    radius_mm : float, optional
        Take this window instead of choosing one.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    tables = ring(mesh)
    chosen = np.unique(np.asarray(targets, dtype=np.int64))
    count = len(chosen)
    radii = _radii(tables, chosen, radius_mm)
    windows = np.tile(radii, (count, 1))
    sides = np.zeros(count, np.int64)
    normals = np.zeros((count, kernels.MOST_SIDES, 3))
    offsets = np.zeros((count, len(radii), kernels.MOST_SIDES))
    summaries = np.zeros((count, len(radii), kernels.MOST_SIDES, 4))
    valid = np.zeros((count, len(radii)), np.bool_)

    def work(begin: int, end: int) -> None:
        kernels.smooth(
            chosen, begin, end, windows, sigma_mm, correlation_mm, _COS,
            mesh.vertices, mesh.faces, tables.start, tables.incident, tables.normals,
            tables.areas, sides, normals, offsets, summaries, valid,
        )  # fmt: skip

    threads.run(work, threads.spans(count, _SLICE), progress)
    most = len(radii) - 1
    if radius_mm is None:
        most = _best_level(
            mesh.vertices[chosen], radii, sides, offsets, summaries, valid=valid, sigma=sigma_mm
        )
    # Where the chosen window does not agree, the widest narrower one that does.
    usable = valid & (np.arange(len(radii)) <= most)
    level = np.where(usable.any(axis=1), len(radii) - 1 - np.argmax(usable[:, ::-1], axis=1), -1)
    moves = np.zeros((count, 3))
    kernels.assemble(sides, normals, offsets, level, moves)
    rows = np.arange(count)
    return LocalSurfaces(
        chosen,
        moves,
        np.where(level >= 0, sides, 0),
        normals,
        summaries[rows, np.maximum(level, 0)],
        float(radii[most]) if most >= 0 else 0.0,
    )


def _radii(tables: Ring, chosen: Indices, radius_mm: float | None) -> Array:
    if radius_mm is not None and radius_mm > 0:
        narrower = [radius_mm / _GROWTH**k for k in range(2, -1, -1)]
        return np.array(narrower)
    edge = float(np.median(tables.edge[chosen])) if len(chosen) else 1.0
    smallest = max(SMALLEST_EDGES * edge, 1e-9)
    greatest = max(min(GREATEST_EDGES * edge, GREATEST_MM), smallest)
    levels = 1 + int(math.log(greatest / smallest) / math.log(_GROWTH) + 1e-9)
    return np.asarray(smallest * _GROWTH ** np.arange(levels), dtype=np.float64)


def _best_level(
    points: Array,
    radii: Array,
    sides: Indices,
    offsets: Array,
    summaries: Array,
    *,
    valid: NDArray[np.bool_],
    sigma: float,
) -> int:
    """Return the window with the least mean square error over all vertices, -1 if none helps."""
    present = np.arange(kernels.MOST_SIDES)[None, :] < sides[:, None]
    ever = valid.any(axis=1)
    best, least, before, before_variance = -1, sigma * sigma, -1, 0.0
    drift, drift_variance = 0.0, 0.0
    for level, radius in enumerate(radii):
        used = valid[:, level]
        if used.sum() < max(1.0, 0.5 * ever.sum()):
            continue
        variances = np.where(present, summaries[:, level, :, kernels.VARIANCE], 0.0)
        variance = float(variances[used].max(axis=1).mean())
        both = used & valid[:, before] & (sides == 1) if before >= 0 else np.zeros_like(used)
        if both.any():
            drift += float((offsets[both, level, 0] - offsets[both, before, 0]).mean())
            # Vertices in one cell drift together, so cells are what is averaged over.
            cells = len(np.unique(np.floor(points[both] / radius), axis=0))
            drift_variance += max(before_variance - variance, 0.0) / cells
        before, before_variance = level, variance
        error = variance + max(drift * drift - drift_variance, 0.0)
        if error < least:
            best, least = level, error
    return best


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


def correlation_length(
    meshes: Sequence[Mesh], sigma_mm: float, windows: int = 24
) -> tuple[float, float]:
    """Estimate noise and correlation length of a scan from residuals of local quadrics.

    Parameters
    ----------
    meshes : sequence of Mesh
        Parts of one scan: its smoothest places tell most.
    sigma_mm : float
        Stated noise; windows with far larger residuals (edges) are left out.
    windows : int
        How many windows at most, spread over the meshes.

    Returns
    -------
    (correlation length L, noise) : float, float
        mm; L of ρ(d) = exp(−d²/2L²), 0 for independent noise; NaN noise where no window fits.

    Notes
    -----
    A fitted quadric takes up the widest waves of the noise.  With the hat matrix H of a window
    its residuals have the covariance σ²(I − H)R(L)(I − H), so the mean products of residuals at
    each distance are compared with those expected for every L, and σ follows by least squares.
    """
    solid = [mesh for mesh in meshes if len(mesh.faces)]
    if sigma_mm <= 0 or not solid:
        return 0.0, math.nan
    edge = float(np.median(np.concatenate([ring(mesh).edge for mesh in solid])))
    for edges in _WINDOW_EDGES:
        found = _quiet(
            [
                one
                for mesh in solid
                for one in _windows(mesh, sigma_mm, edges, 50 * windows // len(solid))
            ],
            windows,
        )
        if len(found) >= _LEAST_WINDOWS:
            return _matched(found, edge)
    return 0.0, math.nan


_WINDOW_EDGES = (12.0, 9.0, 6.5, 4.5)
_LEAST_WINDOWS = 6
_WINDOW_POINTS = 180
_NEAREST = 60
_Window = tuple[Array, Array, Array]  # residuals (n,), points (n, 3), base of the hat matrix (n, k)


def _windows(mesh: Mesh, sigma: float, edges: float, most: int) -> list[tuple[float, _Window]]:
    """Return windows spread over a mesh, with the rms of their residuals."""
    tables = ring(mesh)
    used = np.flatnonzero(np.diff(tables.start) > 0)
    picked = used[np.linspace(0, len(used) - 1, min(most, len(used))).astype(np.int64)]
    members = np.empty(kernels.MOST_POINTS, np.int64)
    local = np.empty((kernels.MOST_POINTS, 3))
    found: list[tuple[float, _Window]] = []
    for v in picked:
        radius = edges * float(tables.edge[v])
        total = kernels.window(
            v, radius, _COS, mesh.vertices, mesh.faces, tables.start, tables.incident,
            tables.normals, tables.areas, members, local,
        )  # fmt: skip
        if total < 4 * _UNKNOWNS:
            continue
        # The nearest all, for the short distances that tell L; of the rest an even share.
        rest = np.arange(_NEAREST, total)
        rows = np.concatenate(
            [np.arange(min(_NEAREST, total)), rest[:: len(rest) // (_WINDOW_POINTS - _NEAREST) + 1]]
        )
        u, w, h = (local[rows] / radius).T
        design = np.stack([u**i * w**j for i in range(3) for j in range(3 - i)], axis=1)
        base, triangle = np.linalg.qr(design)
        if np.abs(np.diag(triangle)).min() < 1e-6:
            continue
        residuals = radius * (h - base @ (base.T @ h))
        rms = float(np.sqrt(residuals @ residuals / (len(h) - _UNKNOWNS)))
        if rms <= 2.0 * sigma:
            found.append((rms, (residuals, mesh.vertices[members[:total][rows]], base)))
    return found


def _quiet(found: list[tuple[float, _Window]], most: int) -> list[_Window]:
    """Return the windows that show noise alone: misfit only adds, and noise spreads little."""
    if not found:
        return []
    found = sorted(found, key=lambda one: one[0])
    kept = [one for rms, one in found if rms <= 1.25 * found[len(found) // 40][0]]
    return kept[:: len(kept) // most + 1]


_UNKNOWNS = 6


def _matched(windows: list[_Window], edge: float) -> tuple[float, float]:
    """Return (L, σ) whose expected products of residuals fit the measured ones best."""
    bins = 14
    apart = [np.linalg.norm(p[:, None] - p[None], axis=2) for _, p, _ in windows]
    slots = [np.minimum((d / edge + 0.5).astype(np.int64), bins).ravel() for d in apart]
    counts, seen = np.zeros(bins), np.zeros(bins)
    for slot, (r, _, _) in zip(slots, windows, strict=True):
        counts += np.bincount(slot, minlength=bins + 1)[:bins]
        seen += np.bincount(slot, weights=np.outer(r, r).ravel(), minlength=bins + 1)[:bins]
    used = counts > 0
    weight = 1.0 / counts[used]
    best: tuple[float, float, float] = (math.inf, 0.0, math.nan)
    for tried in (0.0, *(edge * np.geomspace(0.3, 5.0, 24))):
        expected = np.zeros(bins)
        for d, slot, (_, _, base) in zip(apart, slots, windows, strict=True):
            rho = np.eye(len(d)) if tried == 0 else np.exp(-(d**2) / (2.0 * tried**2))
            taken = base @ (base.T @ rho)
            left = rho - taken - taken.T + (taken @ base) @ base.T
            expected += np.bincount(slot, weights=left.ravel(), minlength=bins + 1)[:bins]
        variance = float(
            (weight * expected[used]) @ seen[used] / ((weight * expected[used]) @ expected[used])
        )
        misfit = float(weight @ (seen[used] - variance * expected[used]) ** 2)
        if variance > 0 and misfit < best[0]:
            best = (misfit, float(tried), math.sqrt(variance))
    return best[1], best[2]
