# mypy: disable-error-code="no-untyped-def"
"""Compiled inner loop over pairs of points: how residuals hang together over distance."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(nogil=True, cache=True, error_model="numpy")
def pair_sums(
    points, rows, values, parts, seeds, window, start, stop, low2, high2, scale, out, products
):
    """Add up residual products of seeds with the points near them, by logarithmic bins.

    ``window`` (seeds, 2) are the first and last + 1 of the points that can be near a seed.
    ``rows`` and ``values`` are the derivatives and residuals, ``parts`` rows a point.  Bins are
    ``int(log(d²/low²) * scale)`` for low² ≤ d² < high².  ``out`` (bins, 3): pairs, Σd, Σrr';
    ``products`` (bins, k, k): ΣJ'ᵀJ with the seed's row on the right.
    """
    size = rows.shape[1]
    bins = out.shape[0]
    for s in range(start, stop):
        i = seeds[s]
        x = points[i, 0]
        y = points[i, 1]
        z = points[i, 2]
        for j in range(window[s, 0], window[s, 1]):
            dx = points[j, 0] - x
            dy = points[j, 1] - y
            dz = points[j, 2] - z
            d2 = dx * dx + dy * dy + dz * dz
            if d2 >= high2 or d2 < low2 or j == i:
                continue
            k = min(int(np.log(d2 / low2) * scale), bins - 1)
            out[k, 0] += 1.0
            out[k, 1] += np.sqrt(d2)
            for part in range(parts):
                p = parts * i + part
                q = parts * j + part
                out[k, 2] += values[p] * values[q]
                for m in range(size):
                    w = rows[q, m]
                    for c in range(size):
                        products[k, m, c] += w * rows[p, c]


@njit(nogil=True, cache=True, error_model="numpy")
def nth_distance2(points, seeds, count, out):
    """Write the squared distance of each seed to its ``count``-th nearest point."""
    near = np.empty(count)
    for s in range(seeds.shape[0]):
        near[:] = np.inf
        i = seeds[s]
        for j in range(points.shape[0]):
            if j == i:
                continue
            dx = points[j, 0] - points[i, 0]
            dy = points[j, 1] - points[i, 1]
            dz = points[j, 2] - points[i, 2]
            d2 = dx * dx + dy * dy + dz * dz
            if d2 >= near[count - 1]:
                continue
            k = count - 1
            while k > 0 and near[k - 1] > d2:
                near[k] = near[k - 1]
                k -= 1
            near[k] = d2
        out[s] = near[count - 1]
