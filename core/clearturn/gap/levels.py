"""Lines of equal gap on a part: where it is one millimetre, two, three."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.gap.surface_map import surface_distances
from clearturn.mesh import Mesh
from clearturn.progress import Progress

Floats = NDArray[np.float64]
_EDGE_MM = 2.0  # longer sides are halved: between corners the gap is taken to change evenly
_MOST = 400_000  # triangles


def level_lines(
    mesh: Mesh,
    faces: ArrayLike,
    other: Mesh,
    levels_mm: Sequence[float],
    *,
    turning: bool,
    progress: Progress | None = None,
) -> tuple[Floats, ...]:
    """Return where the gap to another part is each of some values, as pieces of line.

    Parameters
    ----------
    mesh : Mesh
    faces : (k,) array_like of int
        The faces of it that are looked at.
    other : Mesh
        In the same frame.
    levels_mm : sequence of float
    turning : bool
        The gap is the least over a full turn of one against the other about z, else as they stand.
    progress : Progress, optional

    Returns
    -------
    tuple of (n, 2, 3) ndarray
        For each level the ends of its pieces.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    corners = mesh.corners[np.asarray(faces, dtype=np.int64)]
    if len(levels_mm) == 0 or len(corners) == 0:
        return tuple(np.empty((0, 2, 3)) for _ in levels_mm)
    corners = _finer(corners)
    places, row = np.unique(np.round(corners.reshape(-1, 3), 6), axis=0, return_inverse=True)
    reach = max(levels_mm) + 2.0 * _EDGE_MM
    found = surface_distances(
        places, other, turning=turning, limit_mm=reach, signed=False, progress=progress
    ).distance_mm
    gap = np.where(np.isfinite(found), found, reach)[row.ravel()].reshape(-1, 3)
    return tuple(_line(corners, gap - level) for level in levels_mm)


def _line(corners: Floats, above: Floats) -> Floats:
    """Return where a value given at the corners (n, 3) is nothing, (k, 2, 3)."""
    low = above < 0.0
    met = np.flatnonzero(low.any(axis=1) & ~low.all(axis=1))
    start, value = corners[met], above[met]
    end, after = np.roll(start, -1, axis=1), np.roll(value, -1, axis=1)
    crosses = (value < 0.0) != (after < 0.0)  # two of each triangle's sides
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(crosses, value / (value - after), 0.0)
    return np.asarray((start + share[..., None] * (end - start))[crosses].reshape(-1, 2, 3))


def _finer(corners: Floats) -> Floats:
    """Return triangles with their longest sides halved until these are short."""
    done: list[Floats] = []
    while len(corners):
        sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        long_ = sides.max(axis=1) > _EDGE_MM
        if sum(len(one) for one in done) + 2 * len(corners) > _MOST:
            long_[:] = False
        done.append(corners[~long_])
        corners, sides = corners[long_], sides[long_]
        turn = (sides.argmax(axis=1)[:, None] + np.arange(3)) % 3
        corners = np.take_along_axis(corners, turn[:, :, None], axis=1)
        middle = 0.5 * (corners[:, 0] + corners[:, 1])
        one, two = corners.copy(), corners.copy()
        one[:, 1], two[:, 0] = middle, middle
        corners = np.concatenate([one, two])
    return np.concatenate(done)
