"""Refining a spin axis in the meridian plane: every turn of the surface on one outline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn.datum.shape import frame_along
from clearturn.datum.solve import MEDIAN_TO_SIGMA, TUKEY
from clearturn.errors import FitProblem

Array = NDArray[np.float64]
Index = NDArray[np.int64]

LEAN = math.sin(math.radians(8.0))  # normals that lean out further are no part of the outline
SECTORS = 36  # of azimuth, to tell which pieces of the outline go round
TURNS_OF_NORMAL = 8  # outline pieces are told apart by the normal's side too
CELL = 1.0 / 25.0  # size of a piece, of the points' spread; each is taken as a parabola
ROUND_SHARE = 0.7  # a piece goes round if seen in this share of the best piece's sectors
LEAST_IN_CELL = 24
ROUNDS = 30
PIECES_ANEW = (1, 3, 6)  # rounds before which the pieces are cut again
LEAST_DETERMINED = 5e-4  # of the best determined motion; a short ring has about 1e-3


@dataclass(frozen=True, slots=True)
class Outline:
    """The refined axis, in the coordinates given."""

    place: Array
    axes: Array
    points: Array  # those used
    rows: Array  # (n, 4) derivatives by shifts and tilts, the outline taken out
    values: Array  # (n,) distances from the common outline
    scale: float
    variance: float  # that makes (JᵀJ)⁻¹ the covariance
    arc_deg: float


def refine_axis(points: Array, normals: Array, place: Array, direction: Array) -> Outline:
    """Move the axis until the outlines of all turns agree.

    The distance of a point from the outline is taken along the outline's normal; each piece of
    outline is a parabola of its own, found together with the axis (variables projected out).

    Parameters
    ----------
    points, normals : (n, 3) ndarray
        Centred and scaled to a spread of about 1; normals of unit length.
    place, direction : (3,) ndarray
        The axis to start from.

    Raises
    ------
    FitProblem
        If no part of the surface goes round the axis.
    """
    axes = frame_along(direction)
    chosen, cell = _pieces(points, normals, place, axes)
    last = math.inf
    for turn in range(ROUNDS):
        if turn in PIECES_ANEW:  # the pieces follow the axis, then stand
            chosen, cell = _pieces(points, normals, place, axes)
        local, turned = points[chosen], normals[chosen]
        rows, values, weight, scale, variance = _equations(local, turned, cell, place, axes)
        scaled = rows * weight[:, None]
        normal = scaled.T @ rows
        spectrum = np.linalg.eigvalsh(normal)
        if spectrum[0] < LEAST_DETERMINED * spectrum[-1]:
            raise FitProblem(
                "the surface turns into itself about more than one axis",
                mend="choose a part that is not a plane, sphere or short ring only",
            )
        step = -np.linalg.solve(normal, scaled.T @ values)
        place = place + step[0] * axes[0] + step[1] * axes[1]
        axes = frame_along(axes[2] + step[2] * axes[0] + step[3] * axes[1], axes[0])
        place = place - (place @ axes[2]) * axes[2]
        size = float(np.abs(step).max())
        if turn > PIECES_ANEW[-1] and (size < 1e-9 or (size < 1e-6 and size >= 0.3 * last)):
            break
        last = size
    used = weight > 0.0
    return Outline(
        place,
        axes,
        local[used],
        rows[used],
        values[used],
        scale,
        variance,
        _arc(local[used], place, axes),
    )


def _rz(points: Array, place: Array, axes: Array) -> tuple[Array, Array, Array, Array]:
    x, y, z = ((points - place) @ axes.T).T
    r = np.maximum(np.hypot(x, y), 1e-12)
    return r, z, x / r, y / r


def _pieces(points: Array, normals: Array, place: Array, axes: Array) -> tuple[Index, Index]:
    """Return the points on parts of the outline that go round, and the piece each belongs to."""
    r, z, c, s = _rz(points, place, axes)
    out = normals @ axes.T
    lean = np.abs(c * out[:, 1] - s * out[:, 0])
    along = c * out[:, 0] + s * out[:, 1]
    side = np.floor((np.arctan2(out[:, 2], along) / (2 * math.pi) + 0.5) * TURNS_OF_NORMAL)
    keys = np.stack([np.floor(r / CELL), np.floor(z / CELL), side], axis=1).astype(np.int64)
    meets = np.flatnonzero(lean < LEAN)
    if len(meets) < LEAST_IN_CELL:
        raise FitProblem("no part of the surface goes round an axis")
    _, found = np.unique(keys[meets], axis=0, return_inverse=True)
    cell: Index = found.ravel().astype(np.int64)
    turned = np.floor((np.arctan2(s, c)[meets] / (2 * math.pi) + 0.5) * SECTORS)
    sector = np.minimum(turned.astype(np.int64), SECTORS - 1)
    members = np.bincount(cell)
    filled = np.zeros((len(members), SECTORS), dtype=bool)
    filled[cell, sector] = True
    seen = filled.sum(axis=1)
    enough = members >= LEAST_IN_CELL
    if not enough.any():
        raise FitProblem("no part of the surface goes round an axis")
    best = np.percentile(seen[enough], 95)
    keep = enough & (seen >= ROUND_SHARE * best)
    inside = keep[cell]
    _, renumbered = np.unique(cell[inside], return_inverse=True)
    return meets[inside], renumbered.ravel()


def _equations(
    points: Array, normals: Array, cell: Index, place: Array, axes: Array
) -> tuple[Array, Array, Array, float, float]:
    """Return rows, distances, Tukey weights, scale and variance, the outline projected out."""
    r, z, c, s = _rz(points, place, axes)
    out = normals @ axes.T
    along, up = c * out[:, 0] + s * out[:, 1], out[:, 2]
    count = int(cell.max()) + 1
    # One direction a piece: the mean normal in the meridian plane.
    sum_r = np.bincount(cell, along, count)[cell]
    sum_z = np.bincount(cell, up, count)[cell]
    size = np.maximum(np.hypot(sum_r, sum_z), 1e-300)
    nr, nz = sum_r / size, sum_z / size
    inside = np.bincount(cell, minlength=count)[cell]
    mean_r = np.bincount(cell, r, count)[cell] / inside
    mean_z = np.bincount(cell, z, count)[cell] / inside
    height = nr * (r - mean_r) + nz * (z - mean_z)
    tangent = (-nz * (r - mean_r) + nr * (z - mean_z)) / CELL
    basis = np.stack([np.ones_like(tangent), tangent, tangent**2], axis=1)
    # Shift of the axis: dr = -c, -s; tilt: dr = -z c, dz = r c.
    raw = np.stack([-nr * c, -nr * s, c * (nz * r - nr * z), s * (nz * r - nr * z)], axis=1)
    both = np.column_stack([height, raw])
    weight = np.ones(len(points))
    scale = 0.0
    for _ in range(3):
        free = _project(both, basis, weight, cell, count)
        values = free[:, 0]
        new = MEDIAN_TO_SIGMA[0] * float(np.median(np.abs(values[weight > 0.0])))
        new = max(new, 1e-11)
        square = (values / (TUKEY * new)) ** 2
        weight = np.clip(1.0 - square, 0.0, None) ** 2
        if abs(new - scale) <= 1e-2 * new:
            break
        scale = new
    used = int((weight > 0.0).sum())
    slope = float(np.where(square < 1, (1 - square) * (1 - 5 * square), 0.0).sum()) / used
    psi = float((weight**2 * values**2).sum()) / used
    free_count = max(used - 3 * count - 4, 1)
    variance = psi / max(slope, 1e-6) ** 2 * used / free_count
    return free[:, 1:], values, weight, scale, variance


def _project(both: Array, basis: Array, weight: Array, cell: Index, count: int) -> Array:
    """Return `both` with each piece's weighted parabola taken out of every column."""
    k, m = basis.shape[1], both.shape[1]
    gram = np.empty((count, k, k))
    mixed = np.empty((count, k, m))
    for i in range(k):
        wi = weight * basis[:, i]
        for j in range(i, k):
            gram[:, i, j] = gram[:, j, i] = np.bincount(cell, wi * basis[:, j], count)
        for j in range(m):
            mixed[:, i, j] = np.bincount(cell, wi * both[:, j], count)
    gram[:, np.arange(k), np.arange(k)] += 1e-9 * np.maximum(gram[:, :1, 0], 1e-12)
    answer = np.linalg.solve(gram, mixed)
    free: Array = both - np.einsum("ni,nij->nj", basis, answer[cell])
    return free


def _arc(points: Array, place: Array, axes: Array) -> float:
    _, _, c, s = _rz(points, place, axes)
    marks = np.unique(np.floor((np.arctan2(s, c) / (2 * math.pi) + 0.5) * 360.0))
    gaps = np.diff(np.append(marks, marks[0] + 360.0))
    largest = float(gaps.max())
    return 360.0 if largest <= 2.5 * 360.0 / max(len(marks), 1) else 360.0 - largest
