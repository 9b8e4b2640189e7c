"""How far a fit's residuals hang together, and what that does to its covariance.

Neighbours in a scan share their error, so a million of them say no more than the few hundred
patches of error they belong to.  The covariance of a least-squares estimate with correlated
noise is (JᵀJ)⁻¹ JᵀΣJ (JᵀJ)⁻¹; Σ comes from the residuals' correlation over distance, corrected
for what the fit has taken out of them.  docs/methods/uncertainty.md has the steps.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn import threads
from clearturn.datum import _kernels_pairs
from clearturn.datum.shape import Array

LEAST_POINTS = 200  # fewer points are taken as a hand's measurement: independent
MOST_POINTS = 20_000  # more are drawn from; the draw is taken as all there is
# Levels of pairs: points looked at, seeds, neighbours that bound the level's distances.
LEVELS = ((MOST_POINTS, 500), (2_000, 200))
NEIGHBOURS = 12
BINS_PER_LEVEL = 8
LAST_BINS = 14
ROUNDS = 12
SEEN_LENGTHS = 1.5  # correlation lengths up to which the averages themselves are used
LEAST_SHARE = 0.05  # a smaller correlated part has no length worth telling
LENGTHS = 40  # correlation lengths tried


@dataclass(frozen=True, slots=True)
class Pairs:
    """Sums over pairs by distance.

    Attributes
    ----------
    distance : (b,) ndarray
        Mean distance of each bin.
    count : (b,) ndarray
        Neighbours a point has in the bin, on average, among all points.
    product : (b,) ndarray
        Mean product of the residuals.
    weight : (b,) ndarray
        Pairs seen.
    outer : (b, k, k) ndarray
        Mean of J'ᵀJ over the bin's pairs.
    variance : float
        Mean square residual.
    own : (k, k) ndarray
        Mean of JᵀJ.
    """

    distance: Array
    count: Array
    product: Array
    weight: Array
    outer: Array
    variance: float
    own: Array


@dataclass(frozen=True, slots=True)
class Correlation:
    """What the residuals' correlation does.

    Attributes
    ----------
    factor : (k, k) ndarray
        The covariance of the parameters for residual variance 1 as seen in the fit.
    effective_points : float
    length : float
        Distance at which the correlation has fallen to 1/e of its start; 0 if there is hardly any.
    share : float
        Part of the variance that is correlated.
    """

    factor: Array
    effective_points: float
    length: float
    share: float


def correlate(points: Array, rows: Array, values: Array) -> Correlation:
    """Judge the residuals' correlation.

    Parameters
    ----------
    points : (n, 3) ndarray
    rows : (n·c, k) ndarray
        Derivatives; c = 2 for line and circle, else 1.
    values : (n·c,) ndarray
        Residuals.
    """
    n = len(points)
    pairs = _pairs(points, rows, values)
    parts = len(values) // n
    inverse = np.linalg.inv(rows.T @ rows).astype(np.float64)
    return _solve(pairs, inverse, n, parts)


def _pairs(points: Array, rows: Array, values: Array) -> Pairs:
    n = len(points)
    parts = len(values) // n
    rng = np.random.default_rng(4_711)
    order = rng.permutation(n)
    size = rows.shape[1]
    levels = [(min(n, most), min(n, seeds)) for most, seeds in LEVELS]
    while len(levels) > 1 and levels[0][0] == levels[1][0]:
        levels.pop(0)
    span = float(np.ptp(points, axis=0).max()) * 1.8
    coarse = levels[-1][0]
    reach = _reach(points[order[:coarse]], rng)
    # On a surface the distance to the n-th neighbour goes with the root of the points drawn.
    radii = [reach * math.sqrt(coarse / most) for most, _ in levels]
    low = radii[0] / 40.0 if len(levels) == 1 else radii[0] / 6.0
    along = int(np.argmax(np.ptp(points, axis=0)))
    collected: list[tuple[float, Array, Array]] = []
    for level, (most, seed_count) in enumerate(levels):
        last = level == len(levels) - 1
        high = span if last else radii[level + 1]
        bins = LAST_BINS if last else BINS_PER_LEVEL
        if high <= low * 1.05:
            continue
        # Sorted along one coordinate, so that only a strip is looked at for each seed.
        drawn = order[:most] if most < n else np.arange(n)
        drawn = drawn[np.argsort(points[drawn, along])]
        lines = (parts * drawn[:, None] + np.arange(parts)).ravel()
        seeds = rng.permutation(most)[:seed_count]
        local = np.ascontiguousarray(points[drawn])
        place = local[:, along]
        window = np.stack(
            [
                np.searchsorted(place, place[seeds] - high),
                np.searchsorted(place, place[seeds] + high, side="right"),
            ],
            axis=1,
        )
        out, products = _level(
            local, rows[lines], values[lines], parts, (seeds, window), (low, high), bins, size
        )
        collected.append((n / (most * seed_count), out, products))
        low = high
    own = rows.T @ rows / (n * parts)
    filled = [(f, o[o[:, 0] > 0], p[o[:, 0] > 0]) for f, o, p in collected]
    out = np.concatenate([o for _, o, _ in filled])
    products = np.concatenate([p for _, _, p in filled])
    factor = np.concatenate([np.full(len(o), f) for f, o, _ in filled])
    weight = out[:, 0]
    return Pairs(
        distance=out[:, 1] / weight,
        count=weight * factor,
        product=out[:, 2] / (weight * parts),
        weight=weight,
        outer=products / (weight * parts)[:, None, None],
        variance=float((values**2).mean()),
        own=own,
    )


def _reach(points: Array, rng: np.random.Generator) -> float:
    """Return the distance within which a point has about `NEIGHBOURS` neighbours."""
    seeds = rng.permutation(len(points))[:24]
    out = np.empty(len(seeds))
    local = np.ascontiguousarray(points)
    _kernels_pairs.nth_distance2(local, seeds, min(NEIGHBOURS, len(points) - 1), out)
    return math.sqrt(max(float(np.median(out)), 1e-300))


def _level(
    points: Array,
    rows: Array,
    values: Array,
    parts: int,
    chosen: tuple[NDArray[np.int64], NDArray[np.int64]],
    reach: tuple[float, float],
    bins: int,
    size: int,
) -> tuple[Array, Array]:
    seeds, window = chosen
    low2, high2 = reach[0] ** 2, reach[1] ** 2
    scale = bins / math.log(high2 / low2)
    pieces = threads.spans(len(seeds), 32)
    out = np.zeros((len(pieces), bins, 3))
    products = np.zeros((len(pieces), bins, size, size))
    rows = np.ascontiguousarray(rows)
    values = np.ascontiguousarray(values)

    def work(start: int, stop: int) -> None:
        k = start // 32
        _kernels_pairs.pair_sums(
            points,
            rows,
            values,
            parts,
            seeds,
            window,
            start,
            stop,
            low2,
            high2,
            scale,
            out[k],
            products[k],
        )

    threads.run(work, pieces)
    return out.sum(axis=0), products.sum(axis=0)


def _solve(pairs: Pairs, inverse: Array, n: int, parts: int) -> Correlation:
    """Fit the correlation, carry it into the covariance, correct, and again until it stands."""
    sandwich = np.zeros_like(inverse)  # covariance of the parameters, taken out by the fit
    outer = (pairs.outer + pairs.outer.transpose(0, 2, 1)) / 2.0
    share, rho = 0.0, np.zeros(len(pairs.distance))
    length = 0.0
    total = pairs.variance
    for _ in range(ROUNDS):
        # E[r r'] = Σ - J C J' to first order, C the parameters' covariance (see the docs page).
        bias = np.einsum("kij,ij->k", outer, sandwich)
        total = pairs.variance + float((pairs.own * sandwich).sum())
        covariance = pairs.product + bias
        share, length, rho = _model(pairs, covariance / total)
        middle = n * parts * total * (pairs.own + np.einsum("k,kij->ij", pairs.count * rho, outer))
        new = inverse @ middle @ inverse
        new = (new + new.T) / 2.0
        if np.abs(new - sandwich).max() <= 1e-3 * np.abs(new).max():
            sandwich = new
            break
        sandwich = new
    effective = n / max(1.0 + float((pairs.count * rho).sum()), 1.0)
    return Correlation(sandwich / pairs.variance, effective, length, share)


def _model(pairs: Pairs, seen: Array) -> tuple[float, float, Array]:
    """Return correlated share, length and correlation at the bins, of the best simple model."""
    d = pairs.distance
    lengths = np.geomspace(d[0] / 3.0, d[-1] / 2.0, LENGTHS)
    best = (math.inf, 0.0, 0.0, np.zeros_like(d))
    # Every bin tells about as much: close pairs are few but far ones share their errors.
    weight = np.minimum(pairs.weight, 2000.0) / (1.0 + (d / (0.25 * d[-1])) ** 2)
    x = d[None, :] / lengths[:, None]
    # Exponential, Gaussian, and one that ends: the autocorrelation of a sphere, with the same
    # length to 1/e (the spherical model of geostatistics; from memory).
    ended = np.minimum(x / 2.21, 1.0)
    for shapes in (np.exp(-x), np.exp(-(x**2)), 1.0 - 1.5 * ended + 0.5 * ended**3):
        top = (shapes * seen * weight).sum(axis=1)
        low = (shapes**2 * weight).sum(axis=1)
        share = np.clip(top / np.maximum(low, 1e-300), 0.0, 1.0)
        cost = ((seen - share[:, None] * shapes) ** 2 * weight).sum(axis=1)
        k = int(np.argmin(cost))
        if cost[k] < best[0]:
            best = (float(cost[k]), float(share[k]), float(lengths[k]), share[k] * shapes[k])
    # Near pairs are seen well enough as they are; the model carries the far ones.
    rho = np.where(d < SEEN_LENGTHS * best[2], seen, best[3])
    return best[1], best[2] if best[1] > LEAST_SHARE else 0.0, rho
