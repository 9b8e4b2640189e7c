"""Compiled local surface fits; the plain twin is in `_reference.py`."""

from __future__ import annotations

import numpy as np
from numba import njit

MOST_POINTS = 600
MOST_SIDES = 3
LEAST_POINTS = 10  # six coefficients and something left to judge them by

# Columns of the summary written for every side of every target.
RADIUS, COUNT, VARIANCE, RMS = 0, 1, 2, 3


@njit(nogil=True, cache=True, error_model="numpy")
def face_vectors(vertices, faces, normals, areas):
    """Write unit normals (m, 3) and areas (m,); a face without area gets a zero normal."""
    for f in range(len(faces)):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        vx = vertices[c, 0] - vertices[a, 0]
        vy = vertices[c, 1] - vertices[a, 1]
        vz = vertices[c, 2] - vertices[a, 2]
        nx = uy * vz - uz * vy
        ny = uz * vx - ux * vz
        nz = ux * vy - uy * vx
        length = np.sqrt(nx * nx + ny * ny + nz * nz)
        areas[f] = 0.5 * length
        if length > 0.0:
            normals[f, 0] = nx / length
            normals[f, 1] = ny / length
            normals[f, 2] = nz / length
        else:
            normals[f, 0] = normals[f, 1] = normals[f, 2] = 0.0


@njit(nogil=True, cache=True, error_model="numpy")
def _sides_of(v, start, incident, normals, areas, cos_limit, side_normals):
    """Split the faces around vertex `v` into smooth sides; return their number.

    The biggest face left seeds a side; faces within the limit join it.  A side with less than a
    tenth of the area around the vertex is a sliver's noise and is dropped.
    """
    first, last = start[v], start[v + 1]
    total = 0.0
    mean = np.zeros(3)
    for k in range(first, last):
        f = incident[k]
        total += areas[f]
        for c in range(3):
            mean[c] += areas[f] * normals[f, c]
    length = np.sqrt(mean[0] ** 2 + mean[1] ** 2 + mean[2] ** 2)
    if total <= 0.0:
        return 0
    if length > 0.0:
        together = True
        for k in range(first, last):
            f = incident[k]
            dot = (
                normals[f, 0] * mean[0] + normals[f, 1] * mean[1] + normals[f, 2] * mean[2]
            ) / length
            if dot < cos_limit and areas[f] > 0.1 * total:
                together = False
                break
        if together:
            for c in range(3):
                side_normals[0, c] = mean[c] / length
            return 1
    taken = np.zeros(last - first, np.bool_)
    sides = 0
    while sides < MOST_SIDES:
        best, best_area = -1, 0.0
        for k in range(first, last):
            if not taken[k - first] and areas[incident[k]] > best_area:
                best, best_area = k, areas[incident[k]]
        if best < 0:
            break
        seed = incident[best]
        gathered = 0.0
        normal = np.zeros(3)
        for k in range(first, last):
            f = incident[k]
            if taken[k - first]:
                continue
            dot = (
                normals[f, 0] * normals[seed, 0]
                + normals[f, 1] * normals[seed, 1]
                + normals[f, 2] * normals[seed, 2]
            )
            if dot >= cos_limit:
                taken[k - first] = True
                gathered += areas[f]
                for c in range(3):
                    normal[c] += areas[f] * normals[f, c]
        taken[best - first] = True
        size = np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2)
        if gathered >= 0.1 * total and size > 0.0:
            for c in range(3):
                side_normals[sides, c] = normal[c] / size
            sides += 1
    return sides


@njit(nogil=True, cache=True, error_model="numpy")
def _gather(v, normal, reach, vertices, faces, start, incident, normals, cos_limit, stamp, mark,
            members):  # fmt: skip
    """Collect vertices joined to `v` by faces that look along `normal`, nearer than `reach`.

    Breadth first, so the nearest come first; stops at MOST_POINTS.  Returns their number.
    """
    members[0] = v
    stamp[v] = mark
    count = 1
    head = 0
    reach2 = reach * reach
    while head < count:
        w = members[head]
        head += 1
        for k in range(start[w], start[w + 1]):
            f = incident[k]
            dot = normals[f, 0] * normal[0] + normals[f, 1] * normal[1] + normals[f, 2] * normal[2]
            if dot < cos_limit:
                continue
            for c in range(3):
                u = faces[f, c]
                if stamp[u] == mark:
                    continue
                dx = vertices[u, 0] - vertices[v, 0]
                dy = vertices[u, 1] - vertices[v, 1]
                dz = vertices[u, 2] - vertices[v, 2]
                if dx * dx + dy * dy + dz * dz > reach2:
                    continue
                stamp[u] = mark
                members[count] = u
                count += 1
                if count == MOST_POINTS:
                    return count
    return count


@njit(nogil=True, cache=True, error_model="numpy")
def _solve6(matrix, right):
    """Solve a symmetric positive 6×6 system in place by Cholesky; False if it is singular."""
    for i in range(6):
        for j in range(i + 1):
            s = matrix[i, j]
            for k in range(j):
                s -= matrix[i, k] * matrix[j, k]
            if i == j:
                if s <= 1e-9 * matrix[i, i] or s <= 0.0:
                    return False
                matrix[i, i] = np.sqrt(s)
            else:
                matrix[i, j] = s / matrix[j, j]
    for i in range(6):
        s = right[i]
        for k in range(i):
            s -= matrix[i, k] * right[k]
        right[i] = s / matrix[i, i]
    for i in range(5, -1, -1):
        s = right[i]
        for k in range(i + 1, 6):
            s -= matrix[k, i] * right[k]
        right[i] = s / matrix[i, i]
    return True


@njit(nogil=True, cache=True, error_model="numpy")
def _fit(local, weights, count, radius, coefficients, equivalent):
    """Weighted least squares of z = c·(1, u, v, u², uv, v²); u, v in units of `radius`.

    Writes the coefficients and the equivalent weights of the value at the origin.
    """
    matrix = np.zeros((6, 6))
    right = np.zeros(6)
    unit = np.zeros(6)
    row = np.zeros(6)
    for i in range(count):
        w = weights[i]
        if w <= 0.0:
            continue
        u, v = local[i, 0] / radius, local[i, 1] / radius
        row[0], row[1], row[2], row[3], row[4], row[5] = 1.0, u, v, u * u, u * v, v * v
        for a in range(6):
            right[a] += w * row[a] * local[i, 2]
            for b in range(a + 1):
                matrix[a, b] += w * row[a] * row[b]
    copy = matrix.copy()
    if not _solve6(matrix, right):
        return False
    for a in range(6):
        coefficients[a] = right[a]
    unit[0] = 1.0
    _solve6(copy, unit)
    for i in range(count):
        if weights[i] <= 0.0:
            equivalent[i] = 0.0
            continue
        u, v = local[i, 0] / radius, local[i, 1] / radius
        equivalent[i] = weights[i] * (
            unit[0]
            + unit[1] * u
            + unit[2] * v
            + unit[3] * u * u
            + unit[4] * u * v
            + unit[5] * v * v
        )
    return True


@njit(nogil=True, cache=True, error_model="numpy")
def _value(c, u, v):
    return c[0] + c[1] * u + c[2] * v + c[3] * u * u + c[4] * u * v + c[5] * v * v


@njit(nogil=True, cache=True, error_model="numpy")
def _level(local, total, radius, sigma, correlation, weights, coefficients, equivalent, out):
    """Fit within one radius, leaving strays out; False if too few points or no quadric fits.

    Writes radius, points used (0: too few), variance of the value at the origin and residual rms.
    """
    used = 0
    for i in range(total):
        rho2 = (local[i, 0] ** 2 + local[i, 1] ** 2) / (radius * radius)
        weights[i] = 1.0 - rho2 if rho2 < 1.0 else 0.0
        if weights[i] > 0.0:
            used += 1
    out[COUNT] = 0.0
    if used < LEAST_POINTS:
        return False
    residuals = np.empty(total)
    for turn in range(3):
        if not _fit(local, weights, total, radius, coefficients, equivalent):
            return False
        if turn == 2:
            break
        n = 0
        for i in range(total):
            rho2 = (local[i, 0] ** 2 + local[i, 1] ** 2) / (radius * radius)
            if rho2 < 1.0:
                residuals[n] = abs(
                    local[i, 2] - _value(coefficients, local[i, 0] / radius, local[i, 1] / radius)
                )
                n += 1
        middle = 1.4826 * np.median(residuals[:n])
        scale = 4.685 * max(sigma, middle)  # Tukey's constant
        strays = False
        for i in range(total):
            rho2 = (local[i, 0] ** 2 + local[i, 1] ** 2) / (radius * radius)
            if rho2 >= 1.0:
                continue
            res = local[i, 2] - _value(coefficients, local[i, 0] / radius, local[i, 1] / radius)
            t = res / scale
            if abs(t) > 1.0:
                strays = True
            # Only strays lose weight: a smooth down-weighting would cost efficiency for nothing.
            weights[i] = (1.0 - rho2) if abs(t) <= 1.0 else 0.0
        if not strays:
            break
    top = 0.0
    squares = 0.0
    power = 0.0
    n = 0
    for i in range(total):
        if weights[i] <= 0.0:
            continue
        n += 1
        res = local[i, 2] - _value(coefficients, local[i, 0] / radius, local[i, 1] / radius)
        squares += weights[i] * res * res
        top += weights[i]
        power += equivalent[i] * equivalent[i]
    if n < LEAST_POINTS:
        return False
    # Neighbours within the correlation length repeat each other: 2πL² of the window's area each.
    repeat = 1.0 + (n - 1) * min(1.0, 2.0 * correlation**2 / (0.6 * radius * radius))
    out[RADIUS] = radius
    out[COUNT] = n
    out[VARIANCE] = sigma * sigma * min(1.0, power * repeat)
    out[RMS] = np.sqrt(squares / top * n / max(n - 6, 1))
    # Residuals as large as this speak against a quadric.  Squares of correlated noise repeat each
    # other over half that area; 3.5 standard deviations, since thousands of windows are asked.
    squared = 1.0 + (n - 1) * min(1.0, correlation**2 / (0.6 * radius * radius))
    freedom = max(n / squared - 6.0, 1.5)
    return out[RMS] <= sigma * (1.15 + 3.5 / np.sqrt(2.0 * freedom))


@njit(nogil=True, cache=True, error_model="numpy")
def _into_frame(v, normal, total, members, vertices, local):
    """Write members as (u, v, height) about a vertex, square to a normal."""
    least = 0
    for c in range(3):
        if abs(normal[c]) < abs(normal[least]):
            least = c
    helper = np.zeros(3)
    helper[least] = 1.0
    e1 = np.empty(3)
    e1[0] = helper[1] * normal[2] - helper[2] * normal[1]
    e1[1] = helper[2] * normal[0] - helper[0] * normal[2]
    e1[2] = helper[0] * normal[1] - helper[1] * normal[0]
    size = np.sqrt(e1[0] ** 2 + e1[1] ** 2 + e1[2] ** 2)
    for c in range(3):
        e1[c] /= size
    e2 = np.empty(3)
    e2[0] = normal[1] * e1[2] - normal[2] * e1[1]
    e2[1] = normal[2] * e1[0] - normal[0] * e1[2]
    e2[2] = normal[0] * e1[1] - normal[1] * e1[0]
    for i in range(total):
        u = w = h = 0.0
        for c in range(3):
            d = vertices[members[i], c] - vertices[v, c]
            u += d * e1[c]
            w += d * e2[c]
            h += d * normal[c]
        local[i, 0], local[i, 1], local[i, 2] = u, w, h


@njit(nogil=True, cache=True, error_model="numpy")
def window(
    v, reach, cos_limit, vertices, faces, start, incident, normals, areas, members, local
):  # fmt: skip
    """Gather the window of a vertex that has one smooth side; returns the points, or 0."""
    raw = np.empty((MOST_SIDES, 3))
    if _sides_of(v, start, incident, normals, areas, cos_limit, raw) != 1:
        return 0
    stamp = np.full(len(vertices), -1, np.int64)
    total = _gather(
        v, raw[0], reach, vertices, faces, start, incident, normals, cos_limit, stamp, 1, members
    )
    _into_frame(v, raw[0], total, members, vertices, local)
    return total


@njit(nogil=True, cache=True, error_model="numpy")
def fit_side(
    v, normal, radius, sigma, correlation, cos_limit,
    vertices, faces, start, incident, normals, stamp, mark, members, local,
    equivalent, summary,
):  # fmt: skip
    """Fit one side at vertex `v` in one window.

    Returns (points gathered, offset along `normal` from vertex to surface); `equivalent` holds
    the weights of `members` that give the offset.
    """
    total = _gather(
        v, normal, radius, vertices, faces, start, incident, normals, cos_limit, stamp, mark,
        members,
    )  # fmt: skip
    if total < LEAST_POINTS:
        return 0, 0.0
    _into_frame(v, normal, total, members, vertices, local)
    weights = np.empty(total)
    coefficients = np.zeros(6)
    _level(local, total, radius, sigma, correlation, weights, coefficients, equivalent, summary)
    return total, coefficients[0]


@njit(nogil=True, cache=True, error_model="numpy")
def _spread(side_normals, sides, columns):
    """Write the columns p_k (3, sides) of the shortest move x = Σ a_k p_k with n_k·x = a_k."""
    if sides == 1:
        for c in range(3):
            columns[c, 0] = side_normals[0, c]
        return
    gram = np.zeros((sides, sides))
    for i in range(sides):
        for j in range(sides):
            for c in range(3):
                gram[i, j] += side_normals[i, c] * side_normals[j, c]
        gram[i, i] += 1e-3  # nearly parallel sides must not throw the vertex far
    inverse = np.linalg.inv(gram)
    for k in range(sides):
        for c in range(3):
            columns[c, k] = 0.0
            for j in range(sides):
                columns[c, k] += side_normals[j, c] * inverse[j, k]


@njit(nogil=True, cache=True, error_model="numpy")
def smooth(
    targets, begin, end, radii, sigma, correlation, cos_limit,
    vertices, faces, start, incident, normals, areas,
    sides_found, side_normals, offsets, summaries, valid,
):  # fmt: skip
    """Fit targets[begin:end] in every window of `radii` (t, levels).

    `sides_found` (t,) is the number of smooth sides, `side_normals` (t, 3, 3) their normals;
    `offsets` (t, levels, 3), `summaries` (t, levels, 3, 4) and `valid` (t, levels) tell what the
    quadric gives on each side and whether all sides agree with it.
    """
    stamp = np.full(len(vertices), -1, np.int64)
    members = np.empty(MOST_POINTS, np.int64)
    local = np.empty((MOST_POINTS, 3))
    equivalent = np.empty(MOST_POINTS)
    weights = np.empty(MOST_POINTS)
    coefficients = np.empty(6)
    levels = radii.shape[1]
    mark = 0
    for t in range(begin, end):
        v = targets[t]
        sides = _sides_of(v, start, incident, normals, areas, cos_limit, side_normals[t])
        sides_found[t] = sides
        for k in range(levels):
            valid[t, k] = sides > 0
        for s in range(sides):
            mark += 1
            total = _gather(
                v, side_normals[t, s], radii[t, levels - 1], vertices, faces, start, incident,
                normals, cos_limit, stamp, mark, members,
            )  # fmt: skip
            _into_frame(v, side_normals[t, s], total, members, vertices, local)
            for k in range(levels):
                good = _level(
                    local, total, radii[t, k], sigma, correlation, weights, coefficients,
                    equivalent, summaries[t, k, s],
                )  # fmt: skip
                offsets[t, k, s] = coefficients[0]
                valid[t, k] = valid[t, k] and good


@njit(nogil=True, cache=True, error_model="numpy")
def assemble(sides_found, side_normals, offsets, chosen, moves):
    """Turn the offsets at the chosen level (t,) into moves (t, 3); -1 leaves the vertex."""
    columns = np.empty((3, MOST_SIDES))
    for t in range(len(chosen)):
        for c in range(3):
            moves[t, c] = 0.0
        if chosen[t] < 0:
            continue
        _spread(side_normals[t], sides_found[t], columns)
        for c in range(3):
            for s in range(sides_found[t]):
                moves[t, c] += columns[c, s] * offsets[t, chosen[t], s]


@njit(nogil=True, cache=True, error_model="numpy")
def weight_rows(
    targets, sides_found, side_normals, summaries, directions, sigma, correlation, cos_limit,
    vertices, faces, start, incident, normals, row_start, columns_out, weights_out,
):  # fmt: skip
    """Write how noise of the vertices moves each smoothed target along its direction.

    Row t says: (move of target t)·direction = Σ weight·(noise of a vertex along its normal).
    Returns the number of entries written; with short output arrays the count needed so far is
    negative.
    """
    stamp = np.full(len(vertices), -1, np.int64)
    members = np.empty(MOST_POINTS, np.int64)
    local = np.empty((MOST_POINTS, 3))
    equivalent = np.empty(MOST_POINTS)
    spread = np.empty((3, MOST_SIDES))
    summary = np.empty(4)
    mark = 0
    filled = 0
    for t in range(len(targets)):
        row_start[t] = filled
        v = targets[t]
        sides = sides_found[t]
        if sides == 0:
            if filled + 1 > len(columns_out):
                return -(filled + 1)
            columns_out[filled] = v
            weights_out[filled] = 1.0
            filled += 1
            continue
        _spread(side_normals[t], sides, spread)
        for k in range(sides):
            share = 0.0
            for c in range(3):
                share += directions[t, c] * spread[c, k]
            mark += 1
            count, _ = fit_side(
                v, side_normals[t, k], summaries[t, k, RADIUS], sigma, correlation,
                cos_limit, vertices, faces, start, incident, normals, stamp, mark, members, local,
                equivalent, summary,
            )  # fmt: skip
            if filled + count > len(columns_out):
                return -(filled + count)
            for i in range(count):
                if equivalent[i] != 0.0:
                    columns_out[filled] = members[i]
                    weights_out[filled] = share * equivalent[i]
                    filled += 1
    row_start[len(targets)] = filled
    return filled
