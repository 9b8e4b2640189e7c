"""The best estimate of a gap measured on noisy scans, and the bias of the plain least distance.

The least of many noisy distances is too small.  Two steps take that out:

1.  Every scanned vertex that could hold the minimum goes to its local surface
    (`clearturn.verdict.surface`), and the exact engine runs again on the smoothed parts.
2.  The smoothed distances still carry some noise, and where many places compete (a barrel is near
    a caliper all the way round) their least is still a little too small.  Simulation and
    extrapolation (Cook and Stefanski 1994) takes that out: more noise of the same kind is added,
    and the least distance is followed back to no noise at all.

With total noise variance λ times that of the smoothed surface, the mean least distance follows
T(λ) = A − B·λ^q; q = ½ where many equal places compete, q = 1 where one rounded place does.
λ = 2, 4, 8 give q = log2((T8 − T4)/(T4 − T2)) and A, the estimate.  λ = 1, the smoothed surface as
it is, is left out of the extrapolation: it is one draw, and its luck would be multiplied.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import cKDTree

from clearturn.findings import Finding
from clearturn.gap import Gap, Interval
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check
from clearturn.verdict.field import Field, Pair
from clearturn.verdict.surface import (
    LocalSurfaces,
    correlation_length,
    fit_surfaces,
    noise_rows,
)

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

REACH_SIGMAS = 6.0
"""Vertices this many σ beyond the gap cannot hold the minimum in a million draws."""
DRAWS = 96
MOST_ROWS = 1000
_CORRELATION_REACH = 3.5
_ROUNDS = 6
# The least of ten thousand normal draws is 3.9 σ too small: twice this covers it.
_UNCORRECTED_SIGMAS = 2.0
_REST_SHARE = 0.6
_MODEL_SHARE = 0.35
_RAISED = 1.25


@dataclass(frozen=True, slots=True)
class ScanNoise:
    """The noise of one scan.

    Attributes
    ----------
    sigma_mm : float
        Standard deviation along the normal.
    correlation_mm : float
        L of the correlation exp(−d²/2L²) at distance d; 0 for independent points.
    findings : tuple of Finding
    """

    sigma_mm: float
    correlation_mm: float = 0.0
    findings: tuple[Finding, ...] = ()


def scan_noise(meshes: Sequence[Mesh], stated_mm: float) -> ScanNoise:
    """Return a scan's noise as its own smooth places show it.

    Parameters
    ----------
    meshes : sequence of Mesh
        Parts of one scan.
    stated_mm : float
        Noise as stated or as seen by the datums' fits.
    """
    correlation, seen = correlation_length(meshes, stated_mm)
    if not math.isfinite(seen):
        return ScanNoise(stated_mm)
    findings: tuple[Finding, ...] = ()
    if seen > 1.5 * stated_mm:
        findings = (
            Finding(
                "noise-larger-than-stated",
                "warning",
                f"{meshes[0].name or 'the scan'}: residuals of {seen:.3f} mm from local surfaces, "
                f"{stated_mm:.3f} mm stated; rough or finely shaped surfaces look like that too",
            ),
        )
    # Fine shape adds to the residuals, so they may raise the stated noise only so far.
    return ScanNoise(min(max(stated_mm, seen), _RAISED * stated_mm), correlation, findings)


@dataclass(frozen=True, slots=True)
class NoiseEstimate:
    """The gap as the smooth surfaces have it.

    Attributes
    ----------
    estimate_mm : Interval
        Best estimate.
    bias_mm : float
        Certified gap minus estimate (middles); negative where the scan reads too small.
    standard_mm : float
        Standard uncertainty of the estimate through noise.
    gap : Gap
        Of the smoothed parts, as the engine certifies it.
    pair : Pair
        The smoothed parts.
    findings : tuple of Finding
    """

    estimate_mm: Interval
    bias_mm: float
    standard_mm: float
    gap: Gap
    pair: Pair
    findings: tuple[Finding, ...] = ()


@dataclass(slots=True)
class _Side:
    """One noisy part while it is being smoothed."""

    from_first: bool
    mesh: Mesh
    sigma: float
    correlation: float
    field: Field  # as scanned
    surfaces: LocalSurfaces
    smooth: Mesh


def estimate_gap(
    pair: Pair,
    gap: Gap,
    first: ScanNoise | None,
    second: ScanNoise | None,
    *,
    enough_mm: float = math.inf,
    progress: Progress | None = None,
) -> NoiseEstimate:
    """Return the best estimate of a pair's gap beside the certified one.

    Parameters
    ----------
    pair : Pair
    gap : Gap
        Its certified gap.
    first, second : ScanNoise or None
        Noise of either surface; None for a part from dimensions.
    enough_mm : float
        From this gap on the bias is not looked for: it is left in, with an uncertainty that covers
        it.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    upper = gap.gap_mm.upper
    noise = math.hypot(*(one.sigma_mm for one in (first, second) if one is not None))
    if noise <= 0 or upper is None or gap.gap_mm.lower is None:
        return NoiseEstimate(gap.gap_mm, 0.0, 0.0, gap, pair)
    if gap.gap_mm.lower > enough_mm:
        return NoiseEstimate(gap.gap_mm, 0.0, _UNCORRECTED_SIGMAS * noise, gap, pair)
    if upper < -REACH_SIGMAS * noise:
        # So deep that noise decides nothing; its share of the depth is one vertex's noise.
        return NoiseEstimate(gap.gap_mm, 0.0, noise, gap, pair)
    reach = max(upper, 0.0) + REACH_SIGMAS * noise
    sides: list[_Side] = []
    findings: list[Finding] = []
    for from_first, one in ((True, first), (False, second)):
        if one is not None and one.sigma_mm > 0:
            near = pair.field(from_first, reach, progress=progress)
            sides.append(_start_side(pair.mesh(from_first), one, near, progress))
            findings += one.findings
    smooth_pair, smooth_gap = _smoothed(pair, sides, progress)
    base = smooth_gap.gap_mm
    if base.lower is None or base.upper is None:
        return NoiseEstimate(gap.gap_mm, 0.0, noise, gap, pair, tuple(findings))
    rest, scatter = _rest_of_bias(smooth_pair, sides, progress)
    # The last share is what windows cut by borders and no quadrics leave (noise-bias.md).
    standard = math.hypot(scatter, _MODEL_SHARE * noise)
    findings += _unsmoothed_finding(smooth_gap, sides)
    estimate = Interval(base.lower + rest, base.upper + rest)
    bias = 0.5 * (gap.gap_mm.lower + upper) - 0.5 * (base.lower + base.upper) - rest
    return NoiseEstimate(estimate, bias, standard, smooth_gap, smooth_pair, tuple(findings))


def _start_side(mesh: Mesh, noise: ScanNoise, near: Field, progress: Progress | None) -> _Side:
    surfaces = fit_surfaces(
        mesh, near.vertices, noise.sigma_mm, noise.correlation_mm, progress=progress
    )
    return _Side(
        near.from_first,
        mesh,
        noise.sigma_mm,
        noise.correlation_mm,
        near,
        surfaces,
        _moved(mesh, surfaces),
    )


def _moved(mesh: Mesh, surfaces: LocalSurfaces) -> Mesh:
    vertices = mesh.vertices.copy()
    vertices[surfaces.targets] += surfaces.moves
    return Mesh(vertices, mesh.faces, mesh.name)


def _with_sides(pair: Pair, sides: list[_Side]) -> Pair:
    for side in sides:
        if side.from_first:
            pair = pair.with_meshes(first=side.smooth)
        else:
            pair = pair.with_meshes(second=side.smooth)
    return pair


def _smoothed(pair: Pair, sides: list[_Side], progress: Progress | None) -> tuple[Pair, Gap]:
    """Smooth until the closest place of the smoothed parts lies on smoothed vertices only."""
    for _ in range(_ROUNDS):
        check(progress)
        smooth_pair = _with_sides(pair, sides)
        smooth_gap = smooth_pair.gap(progress)
        complete = True
        for side in sides:
            triangle = smooth_gap.first_triangle if side.from_first else smooth_gap.second_triangle
            corners = side.mesh.faces[triangle].astype(np.int64)
            if np.isin(corners, side.surfaces.targets).all():
                continue
            complete = False
            # A face between farther corners came nearest: take its whole neighbourhood.
            around = np.isin(side.mesh.faces, corners).any(axis=1)
            wanted = np.unique(side.mesh.faces[around]).astype(np.int64)
            fresh = np.setdiff1d(wanted, side.surfaces.targets)
            added = fit_surfaces(
                side.mesh,
                fresh,
                side.sigma,
                side.correlation,
                radius_mm=side.surfaces.radius_mm,
                progress=progress,
            )
            side.surfaces = side.surfaces.joined(added)
            side.smooth = _moved(side.mesh, side.surfaces)
        if complete:
            break
    return smooth_pair, smooth_gap


def _unsmoothed_finding(gap: Gap, sides: list[_Side]) -> list[Finding]:
    found = []
    for side in sides:
        triangle = gap.first_triangle if side.from_first else gap.second_triangle
        corners = side.mesh.faces[triangle].astype(np.int64)
        rows = np.searchsorted(side.surfaces.targets, corners)
        rows = np.minimum(rows, max(len(side.surfaces.targets) - 1, 0))
        if len(side.surfaces.targets) == 0 or (side.surfaces.sides[rows] == 0).any():
            found.append(
                Finding(
                    "noise-not-smoothed",
                    "note",
                    f"{side.mesh.name or 'the scan'}: no local surface agrees with the points at "
                    "the closest place, so the noise of single points counts in full",
                )
            )
    return found


def _rest_of_bias(pair: Pair, sides: list[_Side], progress: Progress | None) -> tuple[float, float]:
    """Return (what the smoothed least distance still reads too small, its standard), mm."""
    fields = [
        (side, _after_smoothing(side, sides, pair)) for side in sides if len(side.field.vertices)
    ]
    if not fields:
        return 0.0, math.hypot(*[side.sigma for side in sides], 0.0)
    least = min(float(field.distance_mm.min()) for _, field in fields)
    picked = [(side, _competing(side, field, least)) for side, field in fields]
    distance = np.concatenate([field.distance_mm for _, field in picked])
    covariance = np.zeros((len(distance), len(distance)))
    for side in sides:
        check(progress)
        covariance += _covariance(side, _rows_of(side, picked, pair))
    return extrapolate(distance, _draws(covariance))


def _after_smoothing(side: _Side, sides: list[_Side], pair: Pair) -> Field:
    """Return a side's field with both parts smoothed.

    Moves are a few hundredths of a millimetre against gaps of millimetres, so the distance changes
    by the move along its direction, to less than a micrometre.
    """
    field = side.field
    distance = field.distance_mm - np.einsum(
        "ij,ij->i", field.toward, _moves_at(side, field.vertices)
    )
    for other in sides:
        if other is not side:
            at = _nearest_corner(other.mesh, field)
            back = _back(field, pair, other, at)
            distance = distance - np.einsum("ij,ij->i", back, _moves_at(other, at))
    return replace(field, distance_mm=np.maximum(distance, 0.0))


def _moves_at(side: _Side, vertices: Indices) -> Array:
    targets = side.surfaces.targets
    if len(targets) == 0:
        return np.zeros((len(vertices), 3))
    position = np.minimum(np.searchsorted(targets, vertices), len(targets) - 1)
    known = targets[position] == vertices
    return np.asarray(np.where(known[:, None], side.surfaces.moves[position], 0.0))


def _competing(side: _Side, field: Field, least: float) -> Field:
    """Keep the vertices that may be least after more noise, one in each small cell."""
    position = np.searchsorted(side.surfaces.targets, field.vertices)
    standard = side.surfaces.standards(side.sigma)[position]
    spread = float(np.quantile(standard, 0.9))
    kept = field.pick(field.distance_mm <= least + 12.0 * spread)
    # Smoothed neighbours move together, so one of them speaks for all: the nearest one.
    radius = side.surfaces.summaries[position, 0, 0]
    cell = max(float(np.median(radius)) / 4.0, side.correlation / 2.0, 1e-6)
    while True:
        order = np.argsort(kept.distance_mm, kind="stable")
        key = np.floor(side.mesh.vertices[kept.vertices[order]] / cell).astype(np.int64)
        _, first = np.unique(key, axis=0, return_index=True)
        if len(first) <= MOST_ROWS:
            return kept.pick(np.sort(order[first]))
        cell *= 1.3


def _rows_of(side: _Side, picked: list[tuple[_Side, Field]], pair: Pair) -> sparse.csr_matrix:
    """Return how one part's noise moves every picked distance, (rows, its vertices)."""
    blocks = []
    for owner, field in picked:
        if owner is side:
            at, direction = field.vertices, field.toward
        else:
            at = _nearest_corner(pair.mesh(side.from_first), field)
            direction = _back(field, pair, side, at)
        position = np.searchsorted(side.surfaces.targets, at)
        position = np.minimum(position, len(side.surfaces.targets) - 1)
        known = side.surfaces.targets[position] == at
        block = noise_rows(
            side.mesh,
            side.surfaces,
            position,
            direction,
            sigma_mm=side.sigma,
            correlation_mm=side.correlation,
        )
        blocks.append(sparse.diags(known.astype(np.float64)) @ block)
    return sparse.csr_matrix(sparse.vstack(blocks))


def _nearest_corner(other: Mesh, field: Field) -> Indices:
    corners = other.faces[field.triangle].astype(np.int64)
    far = np.linalg.norm(other.vertices[corners] - field.nearest_mm[:, None, :], axis=2)
    return np.asarray(corners[np.arange(len(corners)), np.argmin(far, axis=1)])


def _back(field: Field, pair: Pair, side: _Side, at: Indices) -> Array:
    """Return unit vectors from the other part's vertices `at` back to the field's vertices."""
    if pair.turns is None:
        return -field.toward
    own = pair.mesh(field.from_first).vertices[field.vertices]
    radial = np.einsum("ij,ij->i", field.toward[:, :2], _unit(own[:, :2]))
    there = _unit(side.mesh.vertices[at][:, :2])
    return -np.column_stack([radial[:, None] * there, field.toward[:, 2]])


def _unit(xy: Array) -> Array:
    size = np.linalg.norm(xy, axis=1, keepdims=True)
    return np.asarray(xy / np.where(size > 0, size, 1.0))


def _covariance(side: _Side, rows: sparse.csr_matrix) -> Array:
    """Return the covariance of the rows under the scan's noise, (rows, rows) mm²."""
    used = np.unique(rows.indices)
    weights = rows[:, used]
    carried = weights
    if side.correlation > 0 and len(used) > 1:
        points = side.mesh.vertices[used]
        reach = _CORRELATION_REACH * side.correlation
        pairs = cKDTree(points).query_pairs(reach, output_type="ndarray")
        one, two = pairs[:, 0], pairs[:, 1]
        square = ((points[one] - points[two]) ** 2).sum(axis=1)
        share = np.exp(-square / (2.0 * side.correlation**2))
        half = sparse.coo_matrix((share, (one, two)), shape=(len(used), len(used)))
        carried = weights @ sparse.csr_matrix(half + half.T + sparse.identity(len(used)))
    return np.asarray(side.sigma**2 * (carried @ weights.T).toarray())


def _draws(covariance: Array) -> Array:
    """Return draws of noise with a covariance, (rows, draws), the same each time."""
    count = len(covariance)
    white = np.random.default_rng(20_240_229).standard_normal((count, DRAWS))
    size = float(np.trace(covariance)) / count
    if size <= 0:
        return np.zeros((count, DRAWS))
    jitter = 1e-9
    while True:  # cut-off correlations may leave it slightly indefinite
        try:
            root = np.linalg.cholesky(covariance + jitter * size * np.eye(count))
        except np.linalg.LinAlgError:
            jitter *= 10.0
            continue
        return np.asarray(root @ white)


def extrapolate(distance: Array, noise: Array) -> tuple[float, float]:
    """Follow the least of noisy distances back to no noise.

    Parameters
    ----------
    distance : (m,) ndarray
        Distances that hold one draw of the noise already.
    noise : (m, draws) ndarray
        Further draws of the same noise.

    Returns
    -------
    (rest, standard) : float, float
        What the least of `distance` reads too small on average (zero or more), and the standard
        uncertainty of the corrected least.

    References
    ----------
    Cook and Stefanski, J. Am. Stat. Assoc. 89 (1994) 1314: simulation-extrapolation.
    """
    # Each draw with both signs: the odd part of the scatter cancels.
    both = np.concatenate([noise, -noise], axis=1)
    least = [
        (distance[:, None] + math.sqrt(total - 1.0) * both).min(axis=0) for total in (2.0, 4.0, 8.0)
    ]
    two, four, eight = (float(draws.mean()) for draws in least)
    scatter = float(least[0].std())
    first, second = four - two, eight - four
    if first >= -1e-9:
        return 0.0, scatter
    power = min(max(math.log2(second / first) if second < 0 else 0.5, 0.5), 1.0)
    estimate = two - first / (2.0**power - 1.0)
    rest = max(estimate - float(distance.min()), 0.0)
    # The share is what simulated flats, valleys, bowls and rough surfaces need (noise-bias.md).
    return rest, math.hypot(scatter, _REST_SHARE * rest)
