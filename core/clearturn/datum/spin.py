"""The spin axis of a surface of revolution, from the surface itself.

All normals of a surface of revolution meet its axis.  The axis is first found as the linear line
complex nearest to the normals (Pottmann & Randrup 1998), by consensus so that spokes and holes do
not pull it, then refined on the points: seen in the meridian plane (r, z) all turns of the
surface must lie on one outline.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.datum.correlation import LEAST_POINTS, correlate
from clearturn.datum.grow import surface
from clearturn.datum.meridian import Outline, refine_axis
from clearturn.errors import FitProblem
from clearturn.findings import Finding
from clearturn.mesh import Mesh
from clearturn.progress import Progress, report

Array = NDArray[np.float64]
Index = NDArray[np.int64]

MOST_POINTS = 40_000  # surface points used; drawn by area with a fixed seed
TRIAL_POINTS = 1500
TRIALS = 1500
MEETING_DEG = 4.0  # a normal meets the axis if it leans out of the meridian plane by less
LEAST_SHARE = 0.3  # of the surface that must meet the axis


@dataclass(frozen=True)
class SpinAxis:
    """The axis of a surface of revolution.

    Attributes
    ----------
    point_mm : (3,) ndarray
        The axis's point nearest the centroid of the points used.
    axes : (3, 3) ndarray
        Rows e1, e2, direction.
    covariance : (4, 4) ndarray
        Of shifts along e1, e2 at the point and tilts to e1, e2 (mm, rad).
    rms_mm, scale_mm : float
        Of the points' distances from the common outline: root mean square of those used and
        robust standard deviation.
    points, used : int
        Points looked at and points on parts of the outline that go round.
    arc_deg : float
        Turn over which the outline was seen.
    effective_points : float
    correlation_mm : float or None
    share : float
        Part of the surface's area whose normals meet the axis.
    findings : tuple of Finding
    """

    point_mm: Array
    axes: Array
    covariance: Array
    rms_mm: float
    scale_mm: float
    points: int
    used: int
    arc_deg: float
    effective_points: float
    correlation_mm: float | None
    share: float
    findings: tuple[Finding, ...]

    @property
    def direction(self) -> Array:
        """Unit vector along the axis, its largest component positive."""
        axis: Array = self.axes[2]
        return axis

    @property
    def axis_covariance(self) -> Array:
        """The covariance, as frames want it."""
        return self.covariance


def spin_axis(
    mesh: Mesh,
    faces: ArrayLike | None = None,
    *,
    hint: ArrayLike | None = None,
    progress: Progress | None = None,
) -> SpinAxis:
    """Find the axis of the surface of revolution that a mesh, or a part of it, mostly is.

    Parameters
    ----------
    mesh : Mesh
    faces : (k,) array_like of int, optional
        The part to use; the whole mesh by default.
    hint : (3,) array_like, optional
        About where the axis points.
    progress : Progress, optional

    Raises
    ------
    FitProblem
        If no axis stands out: too few faces, a plane, a sphere, or no surface of revolution.

    References
    ----------
    H Pottmann, T Randrup, "Rotational and helical surface approximation for reverse
    engineering", Computing 60 (1998) 307-322.
    """
    report(progress, 0.0, "looking at the normals")
    seen = surface(mesh)
    chosen = np.arange(len(mesh.faces)) if faces is None else np.asarray(faces, dtype=np.int64)
    area = np.linalg.norm(seen.raw[chosen], axis=1)
    good = (area > 0.0) & (np.linalg.norm(seen.smooth[chosen], axis=1) > 0.0)
    chosen, area = chosen[good], area[good]
    if len(chosen) < 60:
        raise FitProblem(
            "too few triangles to find an axis of revolution",
            found=str(len(chosen)),
            allowed="at least 60",
        )
    points, normals = _draw(mesh, seen.smooth, chosen, area)
    centre = points.mean(axis=0)
    spread = math.sqrt(float(((points - centre) ** 2).sum(axis=1).mean()))
    local = (points - centre) / spread
    report(progress, 0.2, "finding the axis by its normals")
    place, direction, share = _consensus(local, normals, hint)
    report(progress, 0.5, "refining the axis on the outline")
    outline = refine_axis(local, normals, place, direction)
    report(progress, 1.0, "")
    return _result(outline, len(local), centre, spread, share)


def _draw(mesh: Mesh, smooth: Array, chosen: Index, area: Array) -> tuple[Array, Array]:
    """Return points spread evenly over the surface and unit normals there.

    Corner points of the drawn faces rather than centres: a centre of a flat facet lies inside the
    curved surface it stands for.
    """
    rng = np.random.default_rng(6_113)
    count = min(MOST_POINTS, 3 * len(chosen))
    total = np.cumsum(area)
    at = (np.arange(count) + rng.random(count)) / count * total[-1]
    drawn = np.unique(np.minimum(np.searchsorted(total, at), len(chosen) - 1))
    corner = rng.integers(0, 3, len(drawn))
    vertices = mesh.faces[chosen[drawn], corner]
    vertices, first = np.unique(vertices, return_index=True)
    normals = smooth[chosen[drawn[first]]]
    return mesh.vertices[vertices], normals / np.linalg.norm(normals, axis=1)[:, None]


def _complex_rows(points: Array, normals: Array) -> Array:
    # A turn (c, c̄) moves p with c̄ + c × p; a normal meets the axis where that has no part along
    # n: c̄·n + c·(p × n) = 0.
    rows: Array = np.hstack([np.cross(points, normals), normals])
    return rows


def _line_of(c: Array, moment: Array) -> tuple[Array, Array] | None:
    size = float(np.linalg.norm(c))
    if size < 1e-6 * max(float(np.linalg.norm(moment)), 1e-300) or size == 0.0:
        return None
    return np.cross(c, moment) / size**2, c / size


def _lean(points: Array, normals: Array, place: Array, direction: Array) -> Array:
    """Return the sine of the angle by which each normal leans out of the meridian plane."""
    sweep = np.cross(direction, points - place)
    reach = np.maximum(np.linalg.norm(sweep, axis=1), 1e-9)
    sine: Array = np.abs((sweep * normals).sum(axis=1)) / reach
    return sine


def _consensus(points: Array, normals: Array, hint: ArrayLike | None) -> tuple[Array, Array, float]:
    rng = np.random.default_rng(77)
    judged = rng.permutation(len(points))[:TRIAL_POINTS]
    p, n = points[judged], normals[judged]
    rows = _complex_rows(p, n)
    picks = rng.integers(0, len(p), (TRIALS, 5))
    _, _, right = np.linalg.svd(rows[picks], full_matrices=True)
    lines = [line for x in right[:, 5] if (line := _line_of(x[:3], x[3:])) is not None]
    centre = np.zeros(3)
    lines += [(centre, axis) for axis in np.eye(3)]
    lines += [(centre, row) for row in np.linalg.svd(points, full_matrices=False)[2]]
    if hint is not None:
        h = np.asarray(hint, dtype=np.float64)
        lines = [line for line in lines if abs(line[1] @ h) > 0.9 * np.linalg.norm(h)]
        lines.append((centre, h / np.linalg.norm(h)))
    limit = math.sin(math.radians(MEETING_DEG))
    best = max(lines, key=lambda line: _score(p, n, line, limit))
    place, direction = best
    for _ in range(30):
        lean = _lean(points, normals, place, direction)
        weight = np.clip(1.0 - (lean / (1.5 * limit)) ** 2, 0.0, None) ** 2
        reach = np.linalg.norm(np.cross(direction, points - place), axis=1)
        factor = np.sqrt(weight) / np.maximum(reach, 0.05)
        line = _smallest(_complex_rows(points, normals) * factor[:, None], direction)
        if line is None:
            break
        moved = abs(1.0 - abs(line[1] @ direction)) + float(np.abs(line[0] - place).max())
        place, direction = line
        if moved < 1e-10:
            break
    share = float((_lean(points, normals, place, direction) < limit).mean())
    return place, direction, share


def _score(p: Array, n: Array, line: tuple[Array, Array], limit: float) -> float:
    # Normals along the axis (a flat face) meet every parallel line: they tell little.
    lean = _lean(p, n, *line)
    tells = 1.0 - 0.9 * np.abs(n @ line[1]) ** 2
    value: float = float((tells * np.clip(1.0 - (lean / limit) ** 2, 0.0, None)).sum())
    return value


def _smallest(rows: Array, near: Array) -> tuple[Array, Array] | None:
    """Return the line of the complex with the least residual for a unit turn, without pitch.

    Minimise |rows·x|² with |c| = 1: the generalised eigenproblem of Pottmann & Randrup, reduced
    to c by eliminating c̄ (their section 3).  A second small eigenvalue means a surface that
    slides into itself in more than one way.
    """
    m = rows.T @ rows
    cc, cm, mm = m[:3, :3], m[:3, 3:], m[3:, 3:]
    values, vectors = np.linalg.eigh(mm)
    keep = values > 1e-9 * values[-1]
    inverse = (vectors[:, keep] / values[keep]) @ vectors[:, keep].T
    reduced = cc - cm @ inverse @ cm.T
    _, directions = np.linalg.eigh(reduced)
    c = directions[:, 0]
    if abs(float(c @ near)) < 0.7:
        c = directions[:, int(np.argmax(np.abs(directions.T @ near)))]
    c = c * np.sign(c @ near)
    return _line_of(c, -inverse @ cm.T @ c)


def _result(outline: Outline, points: int, centre: Array, spread: float, share: float) -> SpinAxis:
    axes = outline.axes
    if axes[2][int(np.argmax(np.abs(axes[2])))] < 0.0:
        axes = np.stack([axes[0], -axes[1], -axes[2]])
    # Rows in the frame reported: e2 and the axis may have turned over together.
    sign = np.array([1.0, float(axes[1] @ outline.axes[1])])
    flip = float(axes[2] @ outline.axes[2])
    rows = outline.rows * np.array([1.0, sign[1], flip, flip * sign[1]])
    middle = outline.points.mean(axis=0)
    along = float((middle - outline.place) @ axes[2])
    place = outline.place + along * axes[2]
    # The same rows for an axis that tilts about the new point.
    rows = rows.copy()
    rows[:, 2] -= along * rows[:, 0]
    rows[:, 3] -= along * rows[:, 1]
    inverse = np.linalg.inv(rows.T @ rows)
    effective, length = float(len(rows)), None
    if len(rows) >= LEAST_POINTS and outline.scale > 1e-10:
        tied = correlate(outline.points, rows, outline.values)
        inverse, effective, length = tied.factor, tied.effective_points, tied.length * spread
    units = np.array([spread, spread, 1.0, 1.0])
    covariance = inverse * outline.variance * np.outer(units, units)
    rms = math.sqrt(float((outline.values**2).mean())) * spread
    answer = SpinAxis(
        point_mm=_frozen(place * spread + centre),
        axes=_frozen(axes),
        covariance=_frozen(covariance),
        rms_mm=rms,
        scale_mm=outline.scale * spread,
        points=points,
        used=len(rows),
        arc_deg=outline.arc_deg,
        effective_points=effective,
        correlation_mm=length,
        share=share,
        findings=(),
    )
    return replace(answer, findings=_findings(answer))


def _findings(axis: SpinAxis) -> tuple[Finding, ...]:
    found = []
    if axis.share < LEAST_SHARE:
        found.append(
            Finding(
                "little-revolution",
                "warning",
                f"Only {axis.share:.0%} of the surface turns into itself about this axis: choose "
                "the barrel or another turned part.",
            )
        )
    if axis.arc_deg < 120.0:
        found.append(
            Finding(
                "short-arc",
                "warning",
                f"The outline is seen over {axis.arc_deg:.0f}° of the turn only.",
            )
        )
    return tuple(found)


def _frozen(array: Array) -> Array:
    array = np.ascontiguousarray(array)
    array.flags.writeable = False
    return array
