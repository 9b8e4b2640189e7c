"""Compiled inner loops of the fits.

One local frame serves all features: a point minus the origin, seen along the rows of ``axes``, has
the coordinates (a, b, t); t runs along the feature's axis or normal.  Kinds are the numbers of
`clearturn.datum.shape.Kind`.
"""

from __future__ import annotations

import numpy as np
from numba import njit

LINE, PLANE, CIRCLE, CYLINDER, CONE, SPHERE = 0, 1, 2, 3, 4, 5


@njit(nogil=True, cache=True, error_model="numpy")
def fill_row(kind, a, b, t, radius, cos, sin, rows):
    """Fill ``rows`` (2, 6) with the derivatives by the local parameters; return both residuals.

    A shift of the origin changes f by -∂f; a turn of the axis towards e1 changes a by -t and t by
    +a per radian.
    """
    if kind == PLANE:
        rows[0, 0] = -1.0
        rows[0, 1] = a
        rows[0, 2] = b
        return t, 0.0
    if kind == LINE:
        rows[0, 0] = -1.0
        rows[0, 1] = 0.0
        rows[0, 2] = -t
        rows[0, 3] = 0.0
        rows[1, 0] = 0.0
        rows[1, 1] = -1.0
        rows[1, 2] = 0.0
        rows[1, 3] = -t
        return a, b
    if kind == SPHERE:
        r = np.sqrt(a * a + b * b + t * t)
        inv = 1.0 / r if r > 0.0 else 0.0
        rows[0, 0] = -a * inv
        rows[0, 1] = -b * inv
        rows[0, 2] = -t * inv
        rows[0, 3] = -1.0
        return r - radius, 0.0
    r = np.sqrt(a * a + b * b)
    inv = 1.0 / r if r > 0.0 else 0.0
    ca = a * inv
    cb = b * inv
    if kind == CIRCLE:
        rows[0, 0] = -ca
        rows[0, 1] = -cb
        rows[0, 2] = 0.0
        rows[0, 3] = -t * ca
        rows[0, 4] = -t * cb
        rows[0, 5] = -1.0
        rows[1, 0] = 0.0
        rows[1, 1] = 0.0
        rows[1, 2] = -1.0
        rows[1, 3] = a
        rows[1, 4] = b
        rows[1, 5] = 0.0
        return r - radius, t
    if kind == CYLINDER:
        rows[0, 0] = -ca
        rows[0, 1] = -cb
        rows[0, 2] = -t * ca
        rows[0, 3] = -t * cb
        rows[0, 4] = -1.0
        return r - radius, 0.0
    rows[0, 0] = -ca * cos
    rows[0, 1] = -cb * cos
    rows[0, 2] = -t * ca * cos - a * sin
    rows[0, 3] = -t * cb * cos - b * sin
    rows[0, 4] = -(r - radius) * sin - t * cos
    rows[0, 5] = -cos
    return (r - radius) * cos - t * sin, 0.0


@njit(nogil=True, cache=True, error_model="numpy")
def accumulate(points, start, stop, kind, origin, axes, radius, cos, sin, bound, size, normal, out):
    """Add the weighted normal equations of ``points[start:stop]`` in one pass.

    Weights are Tukey's (1 - (d/bound)²)², or 1 where ``bound`` is infinite.  ``normal`` is
    (size, size + 1): upper triangle of JᵀWJ and JᵀWf.  ``out`` (8): cost, weight sum, points with
    weight, Σd², least and greatest signed residual, Σψ², Σψ' (ψ of Tukey, for the covariance).
    """
    rows = np.zeros((2, 6))
    two = kind == LINE or kind == CIRCLE
    weigh = not np.isinf(bound)
    for i in range(start, stop):
        x = points[i, 0] - origin[0]
        y = points[i, 1] - origin[1]
        z = points[i, 2] - origin[2]
        a = x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]
        b = x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]
        t = x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]
        f, g = fill_row(kind, a, b, t, radius, cos, sin, rows)
        d2 = f * f + g * g
        w = 1.0
        if weigh:
            u2 = d2 / (bound * bound)
            if u2 >= 1.0:
                out[0] += bound * bound / 6.0
                continue
            v = 1.0 - u2
            w = v * v
            out[0] += bound * bound / 6.0 * (1.0 - v * v * v)
            out[6] += w * w * d2
            out[7] += v * (1.0 - (3.0 if two else 5.0) * u2)
        else:
            out[0] += 0.5 * d2
        out[1] += w
        out[2] += 1.0
        out[3] += d2
        signed = np.sqrt(d2) if two else f
        out[4] = min(out[4], signed)
        out[5] = max(out[5], signed)
        for k in range(size):
            wk = w * rows[0, k]
            normal[k, size] += wk * f
            for m in range(k, size):
                normal[k, m] += wk * rows[0, m]
        if two:
            for k in range(size):
                wk = w * rows[1, k]
                normal[k, size] += wk * g
                for m in range(k, size):
                    normal[k, m] += wk * rows[1, m]


@njit(nogil=True, cache=True, error_model="numpy")
def residuals(points, start, stop, kind, origin, axes, radius, cos, sin, out):
    """Write the signed distance of every point (for line and circle: the unsigned distance)."""
    rows = np.zeros((2, 6))
    two = kind == LINE or kind == CIRCLE
    for i in range(start, stop):
        x = points[i, 0] - origin[0]
        y = points[i, 1] - origin[1]
        z = points[i, 2] - origin[2]
        a = x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]
        b = x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]
        t = x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]
        f, g = fill_row(kind, a, b, t, radius, cos, sin, rows)
        out[i] = np.sqrt(f * f + g * g) if two else f


@njit(nogil=True, cache=True, error_model="numpy")
def jacobian(points, kind, origin, axes, radius, cos, sin, size, out):
    """Write derivatives and residual of every point: (n, size + 1), line and circle (2 n, …)."""
    rows = np.zeros((2, 6))
    two = kind == LINE or kind == CIRCLE
    for i in range(points.shape[0]):
        x = points[i, 0] - origin[0]
        y = points[i, 1] - origin[1]
        z = points[i, 2] - origin[2]
        a = x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]
        b = x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]
        t = x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]
        f, g = fill_row(kind, a, b, t, radius, cos, sin, rows)
        if two:
            out[2 * i, size] = f
            out[2 * i + 1, size] = g
            for k in range(size):
                out[2 * i, k] = rows[0, k]
                out[2 * i + 1, k] = rows[1, k]
        else:
            out[i, size] = f
            for k in range(size):
                out[i, k] = rows[0, k]


@njit(nogil=True, cache=True, error_model="numpy")
def mark_angles(points, start, stop, origin, axes, occupied, extent):
    """Mark the azimuth bins the points fall in and widen ``extent`` (2) along the axis."""
    bins = occupied.shape[0]
    for i in range(start, stop):
        x = points[i, 0] - origin[0]
        y = points[i, 1] - origin[1]
        z = points[i, 2] - origin[2]
        a = x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]
        b = x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]
        t = x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]
        k = int((np.arctan2(b, a) + np.pi) / (2.0 * np.pi) * bins)
        occupied[min(k, bins - 1)] = True
        extent[0] = min(extent[0], t)
        extent[1] = max(extent[1], t)


@njit(nogil=True, cache=True, error_model="numpy")
def solve_small(matrix, size):
    """Solve the (size, size + 1) augmented system in place; False where it is singular."""
    for k in range(size):
        pivot = k
        for i in range(k + 1, size):
            if abs(matrix[i, k]) > abs(matrix[pivot, k]):
                pivot = i
        if abs(matrix[pivot, k]) < 1e-12:
            return False
        if pivot != k:
            for j in range(k, size + 1):
                matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
        for i in range(k + 1, size):
            q = matrix[i, k] / matrix[k, k]
            for j in range(k, size + 1):
                matrix[i, j] -= q * matrix[k, j]
    for k in range(size - 1, -1, -1):
        for j in range(k + 1, size):
            matrix[k, size] -= matrix[k, j] * matrix[j, size]
        matrix[k, size] /= matrix[k, k]
    return True


@njit(nogil=True, cache=True, error_model="numpy")
def see_along(points, axes, a, b, t):
    """Write the coordinates of the points along the rows of ``axes``."""
    for i in range(points.shape[0]):
        x = points[i, 0]
        y = points[i, 1]
        z = points[i, 2]
        a[i] = x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]
        b[i] = x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]
        t[i] = x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]


@njit(nogil=True, cache=True, error_model="numpy")
def algebraic(points, axes, start, stop, cone, found):
    """Fit the linear circle (or cone) model about each direction; ``found`` as in `consensus`.

    The score is the root mean square of the geometric distances.
    """
    count = points.shape[0]
    size = 5 if cone else 3
    a = np.empty(count)
    b = np.empty(count)
    t = np.empty(count)
    row = np.empty(6)
    system = np.zeros((5, 6))
    for k in range(start, stop):
        see_along(points, axes[k], a, b, t)
        found[k, 0] = np.inf
        system[:] = 0.0
        for i in range(count):
            row[0] = 2.0 * a[i]
            row[1] = 2.0 * b[i]
            row[2] = 1.0
            if cone:
                row[3] = t[i]
                row[4] = t[i] * t[i]
            row[size] = a[i] * a[i] + b[i] * b[i]
            for p in range(size):
                for q in range(size + 1):
                    system[p, q] += row[p] * row[q]
        if not solve_small(system, size):
            continue
        ca = system[0, size]
        cb = system[1, size]
        st = sr = stt = srt = 0.0
        for i in range(count):
            r = np.sqrt((a[i] - ca) ** 2 + (b[i] - cb) ** 2)
            st += t[i]
            sr += r
            stt += t[i] * t[i]
            srt += r * t[i]
        slope = 0.0
        if cone:
            low = stt - st * st / count
            if low < 1e-12:
                continue
            slope = (srt - st * sr / count) / low
        radius = (sr - slope * st) / count
        cos2 = 1.0 / (1.0 + slope * slope)
        total = 0.0
        for i in range(count):
            r = np.sqrt((a[i] - ca) ** 2 + (b[i] - cb) ** 2)
            total += (r - radius - slope * t[i]) ** 2 * cos2
        found[k, 0] = np.sqrt(total / count)
        found[k, 1] = ca
        found[k, 2] = cb
        found[k, 3] = radius
        found[k, 4] = slope


@njit(nogil=True, cache=True, error_model="numpy")
def consensus(points, axes, start, stop, picks, cone, found):
    """Try circles (or cones) about the third rows of ``axes`` (k, 3, 3); keep the least median.

    ``picks`` (directions, trials, 5) are rows of ``points``: 3 used for a circle, 5 for a cone.
    ``found`` (directions, 5): median residual, a, b of the axis, radius at t = 0, slope.
    The linear model of a cone about a known direction is
    a² + b² = 2 p a + 2 q b + c0 + c1 t + c2 t²; a cylinder drops c1 and c2.
    """
    count = points.shape[0]
    size = 5 if cone else 3
    a = np.empty(count)
    b = np.empty(count)
    t = np.empty(count)
    residual = np.empty(count)
    system = np.zeros((5, 6))
    for k in range(start, stop):
        see_along(points, axes[k], a, b, t)
        found[k, 0] = np.inf
        for trial in range(picks.shape[1]):
            for i in range(size):
                j = picks[k, trial, i]
                system[i, 0] = 2.0 * a[j]
                system[i, 1] = 2.0 * b[j]
                system[i, 2] = 1.0
                if cone:
                    system[i, 3] = t[j]
                    system[i, 4] = t[j] * t[j]
                system[i, size] = a[j] * a[j] + b[j] * b[j]
            if not solve_small(system, size):
                continue
            ca = system[0, size]
            cb = system[1, size]
            slope = 0.0
            if cone:
                # Radius against height by least squares over the picks: c2 may come out negative.
                st = sr = stt = srt = 0.0
                for i in range(5):
                    j = picks[k, trial, i]
                    r = np.sqrt((a[j] - ca) ** 2 + (b[j] - cb) ** 2)
                    st += t[j]
                    sr += r
                    stt += t[j] * t[j]
                    srt += r * t[j]
                low = stt - st * st / 5.0
                if low < 1e-12:
                    continue
                slope = (srt - st * sr / 5.0) / low
                radius = (sr - slope * st) / 5.0
            else:
                square = system[2, 3] + ca * ca + cb * cb
                if square <= 0.0:
                    continue
                radius = np.sqrt(square)
            cos = 1.0 / np.sqrt(1.0 + slope * slope)
            for i in range(count):
                r = np.sqrt((a[i] - ca) ** 2 + (b[i] - cb) ** 2)
                residual[i] = abs(r - radius - slope * t[i]) * cos
            score = np.median(residual)
            if score < found[k, 0]:
                found[k, 0] = score
                found[k, 1] = ca
                found[k, 2] = cb
                found[k, 3] = radius
                found[k, 4] = slope


@njit(nogil=True, cache=True, error_model="numpy")
def turn_frame(axes, p, q):
    """Tilt the third row of ``axes`` by p towards the first and q towards the second, in place."""
    w = axes[2] + p * axes[0] + q * axes[1]
    w /= np.sqrt(w[0] * w[0] + w[1] * w[1] + w[2] * w[2])
    u = axes[0] - (axes[0, 0] * w[0] + axes[0, 1] * w[1] + axes[0, 2] * w[2]) * w
    u /= np.sqrt(u[0] * u[0] + u[1] * u[1] + u[2] * u[2])
    axes[0] = u
    axes[1] = np.cross(w, u)
    axes[2] = w


@njit(nogil=True, cache=True, error_model="numpy")
def take_step(kind, step, origin, axes, state):
    """Move the feature by a step in its local parameters, in place; ``state``: radius, angle."""
    first_tilt = 2
    if kind == PLANE:
        origin += step[0] * axes[2]
        first_tilt = 1
    else:
        origin += step[0] * axes[0] + step[1] * axes[1]
    if kind == SPHERE:
        origin += step[2] * axes[2]
        state[0] += step[3]
        return
    if kind == CIRCLE:
        origin += step[2] * axes[2]
        state[0] += step[5]
        first_tilt = 3
    elif kind == CYLINDER:
        state[0] += step[4]
    elif kind == CONE:
        state[1] += step[4]
        state[0] += step[5]
    turn_frame(axes, step[first_tilt], step[first_tilt + 1])
    if kind != CIRCLE and kind != PLANE:
        along = origin[0] * axes[2, 0] + origin[1] * axes[2, 1] + origin[2] * axes[2, 2]
        origin -= along * axes[2]
        if kind == CONE:
            state[0] -= along * np.tan(state[1])


@njit(nogil=True, cache=True, error_model="numpy")
def anneal(points, kind, size, origin, axes, state, rounds, factor, floor):
    """Follow the bulk of the points: Tukey's bound shrinks with the median distance.

    Moves ``origin``, ``axes`` and ``state`` (radius, half angle) in place and returns the median
    distance at the end.
    """
    count = points.shape[0]
    distance = np.empty(count)
    normal = np.zeros((size, size + 1))
    scaled = np.zeros((size, size + 1))
    out = np.zeros(8)
    step = np.zeros(size)
    best = np.inf
    settled = False
    for turn in range(rounds + 1):
        cos = np.cos(state[1])
        sin = np.sin(state[1])
        residuals(points, 0, count, kind, origin, axes, state[0], cos, sin, distance)
        best = np.median(np.abs(distance))
        if turn == rounds or settled or not np.isfinite(best):
            return best
        bound = factor * max(best, floor)
        for _ in range(2):
            normal[:] = 0.0
            out[:] = 0.0
            cos = np.cos(state[1])
            sin = np.sin(state[1])
            accumulate(
                points, 0, count, kind, origin, axes, state[0], cos, sin, bound, size, normal, out
            )
            for i in range(size):
                for j in range(size):
                    low = min(i, j)
                    high = max(i, j)
                    width = np.sqrt(max(normal[i, i] * normal[j, j], 1e-300))
                    scaled[i, j] = normal[low, high] / width
                scaled[i, size] = -normal[i, size] / np.sqrt(max(normal[i, i], 1e-300))
                scaled[i, i] += 1e-9
            if not solve_small(scaled, size):
                return best
            moved = 0.0
            for i in range(size):
                step[i] = scaled[i, size] / np.sqrt(max(normal[i, i], 1e-300))
                moved = max(moved, abs(step[i]))
            if not np.isfinite(moved):
                return np.inf
            if moved > 0.5:  # a wild step of a bad start
                step *= 0.5 / moved
            take_step(kind, step, origin, axes, state)
        settled = moved < 1e-6
    return best
