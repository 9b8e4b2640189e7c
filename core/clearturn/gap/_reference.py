"""A slow plain twin of the gap engine, for tests: no trees, no sagitta, no compiled code.

Both answers come from one idea only: halving triangles until their middles, with a Lipschitz
radius about each, pin the least distance down.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearturn.gap.model import Interval
from clearturn.mesh import Mesh

Matrix = NDArray[np.float64]
_LARGEST = 4_000_000


def distance_by_halving(
    first: Mesh, second: Mesh, *, turning: bool, width_mm: float = 1e-3
) -> Interval:
    """Return an interval that holds the least distance of two small meshes about the z axis.

    Parameters
    ----------
    turning : bool
        Least over a full turn of either mesh about z, else as they stand.
    width_mm : float
        Stop when the interval is this narrow, or when the pairs left grow beyond memory.

    Notes
    -----
    Any point of a triangle is within the triangle's radius of its middle, and mapping to (r, z)
    lengthens nothing, so |m(a) - m(b)| - radius - radius is a lower bound for a pair.
    """
    a, b = first.corners, second.corners
    left, right = np.meshgrid(np.arange(len(a)), np.arange(len(b)), indexing="ij")
    pairs_a, pairs_b = a[left.ravel()], b[right.ravel()]
    upper = np.inf
    while True:
        between, radius = _bounds(pairs_a, pairs_b, turning)
        upper = min(upper, float(between.min()))
        low = between - radius
        lower = max(0.0, float(low.min()))
        keep = low < upper - 0.5 * width_mm
        if upper - lower <= width_mm or not keep.any() or keep.sum() * 4 > _LARGEST:
            return Interval(min(lower, upper), upper)
        pairs_a, pairs_b = _halve(pairs_a[keep], pairs_b[keep])


def _bounds(a: Matrix, b: Matrix, turning: bool) -> tuple[Matrix, Matrix]:
    middle_a, middle_b = a.mean(axis=1), b.mean(axis=1)
    reach = np.linalg.norm(a - middle_a[:, None], axis=2).max(axis=1)
    reach = reach + np.linalg.norm(b - middle_b[:, None], axis=2).max(axis=1)
    if turning:
        dr = np.hypot(middle_a[:, 0], middle_a[:, 1]) - np.hypot(middle_b[:, 0], middle_b[:, 1])
        return np.hypot(dr, middle_a[:, 2] - middle_b[:, 2]), reach
    return np.linalg.norm(middle_a - middle_b, axis=1), reach


def _halve(a: Matrix, b: Matrix) -> tuple[Matrix, Matrix]:
    """Cut the larger triangle of each pair in four."""
    size_a = np.linalg.norm(np.ptp(a, axis=1), axis=1)
    size_b = np.linalg.norm(np.ptp(b, axis=1), axis=1)
    cut_a = size_a >= size_b
    first = [_quarters(a[cut_a]), np.repeat(a[~cut_a], 4, axis=0)]
    second = [np.repeat(b[cut_a], 4, axis=0), _quarters(b[~cut_a])]
    return np.concatenate(first), np.concatenate(second)


def _quarters(t: Matrix) -> Matrix:
    p, q, r = t[:, 0], t[:, 1], t[:, 2]
    pq, qr, rp = (p + q) / 2, (q + r) / 2, (r + p) / 2
    four = [[p, pq, rp], [pq, q, qr], [rp, qr, r], [pq, qr, rp]]
    return np.stack([np.stack(part, axis=1) for part in four], axis=1).reshape(-1, 3, 3)
