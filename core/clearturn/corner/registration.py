"""Laying another scan of the same part onto the first, by the surface that did not change.

Point to surface distances are made least (Chen & Medioni 1992) with Tukey's weights, whose scale is
judged from the better half of the distances: what was machined, taken off or moved is then no part
of the sum.  The start comes from the datum frames of both scans or from points touched on both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from clearturn.datum.correlation import LEAST_POINTS, correlate
from clearturn.datum.grow import surface
from clearturn.errors import FitProblem, InputError
from clearturn.findings import Finding
from clearturn.gap.surface_map import surface_distances
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

POINTS = 16_000  # of the second scan, drawn by area with a fixed seed
ROUNDS = 40
REACH_MM = 12.0  # how far off the start may be
LEAST_REACH_MM = 0.6
FACING = math.cos(math.radians(45.0))  # of normals that may belong together
TUKEY = 4.685
HALF_NORMAL = 0.6745  # median of |d| for a standard normal d
BEST_SHARE = 0.5  # of the points from whose distances the scale is judged
LEAST_SHARE = 0.15  # of the surface that must not have changed
LEAST_DETERMINED = 2e-4  # of the best determined motion
LEAST_SCALE_MM = 1e-4


@dataclass(frozen=True)
class Registration:
    """Where a second scan lies on the first.

    Attributes
    ----------
    first_from_second : (4, 4) ndarray
        Row-major, rigid.
    covariance : (6, 6) ndarray
        Of a small move (mm) and turn (rad) of the second scan about `centre_mm`.
    centre_mm : (3,) ndarray
        Middle of the surface used, in the first scan.
    scale_mm, rms_mm : float
        Of the unchanged surface's distances: robust standard deviation, root mean square.
    points, used : int
        Points of the second scan with surface of the first within reach, and those with weight.
    unchanged : float
        Share of them that did not change.
    effective_points : float
    correlation_mm : float or None
    findings : tuple of Finding
    """

    first_from_second: Array
    covariance: Array
    centre_mm: Array
    scale_mm: float
    rms_mm: float
    points: int
    used: int
    unchanged: float
    effective_points: float
    correlation_mm: float | None
    findings: tuple[Finding, ...]

    def standard_mm(self, points: ArrayLike) -> float:
        """Return the greatest standard uncertainty of place the laying adds at points, mm."""
        worst = 0.0
        for x, y, z in np.asarray(points, dtype=np.float64) - self.centre_mm:
            lever = np.array([[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]])
            rows = np.hstack([np.eye(3), lever])
            spread = np.linalg.eigvalsh(rows @ self.covariance @ rows.T)[-1]
            worst = max(worst, math.sqrt(max(float(spread), 0.0)))
        return worst


def start_from_points(first_mm: ArrayLike, second_mm: ArrayLike) -> Array:
    """Return the pose that brings points touched on the second scan onto those of the first.

    Parameters
    ----------
    first_mm, second_mm : (n, 3) array_like
        The same places on both, in the same order; three or more, not on one line.

    Returns
    -------
    (4, 4) ndarray
        first_from_second, by least squares (Kabsch 1976).

    Raises
    ------
    InputError
        If the points do not determine a pose, or their distances contradict each other.
    """
    a, b = np.asarray(first_mm, dtype=np.float64), np.asarray(second_mm, dtype=np.float64)
    if (
        a.ndim != 2
        or len(a) == 0
        or a.shape[1:] != (3,)
        or a.shape != b.shape
        or not np.isfinite([a, b]).all()
    ):
        raise InputError("touched points must be given in pairs of three finite numbers each")
    if len(a) < 3:
        raise InputError(
            "too few touched points to lay one scan onto the other",
            found=str(len(a)),
            allowed="three or more, not on one line",
        )
    middle, other = a.mean(axis=0), b.mean(axis=0)
    for points in (a - middle, b - other):
        values = np.linalg.svd(points, compute_uv=False)
        if values[1] < 1e-3 * max(values[0], 1e-12) or values[0] < 1.0:
            raise InputError(
                "the touched points lie on one line or in one place: they tell no pose",
                mend="touch points spread over the part",
            )
    turn, _ = Rotation.align_vectors(a - middle, b - other)
    pose = np.eye(4)
    pose[:3, :3] = turn.as_matrix()
    pose[:3, 3] = middle - pose[:3, :3] @ other
    off = float(np.linalg.norm(b @ pose[:3, :3].T + pose[:3, 3] - a, axis=1).max())
    if off > REACH_MM:
        raise InputError(
            "the touched points are not the same places on both scans",
            found=f"{off:.1f} mm between a pair at the best pose",
            allowed=f"{REACH_MM:g} mm",
            mend="touch them again in the same order, or check the unit",
        )
    return pose


def register(
    first: Mesh,
    second: Mesh,
    first_from_second: ArrayLike,
    *,
    reach_mm: float = REACH_MM,
    progress: Progress | None = None,
) -> Registration:
    """Lay a second scan onto the first by the surface that did not change.

    Parameters
    ----------
    first, second : Mesh
        In their own coordinates, mm.
    first_from_second : (4, 4) array_like
        The start, off by less than `reach_mm` and about 10°.
    reach_mm : float
        How far off the start may be.
    progress : Progress, optional

    Raises
    ------
    FitProblem
        If too little surface agrees, or what agrees may slide on itself.

    References
    ----------
    Y Chen, G Medioni, "Object modelling by registration of multiple range images", Image and
    Vision Computing 10 (1992) 145-155.
    """
    pose = np.array(first_from_second, dtype=np.float64)
    points, normals = _draw(second)
    scale, reach, last = reach_mm / 3.0, reach_mm, math.inf
    near = _near(first, points, normals, pose, reach, progress)
    _scale(near.distance)  # refuses scans that lie apart
    for turn in range(ROUNDS):
        report(progress, turn / ROUNDS, "laying the scans onto each other")
        rows, values, weight, centre = _equations(near, scale)
        step = _step(rows, values, weight)
        pose = _moved(pose, step, centre)
        size = float(np.linalg.norm(step[:3]) + 100.0 * np.linalg.norm(step[3:]))
        near = _near(first, points, normals, pose, reach, progress)
        found = _scale(near.distance)
        scale = max(found, 0.5 * scale, LEAST_SCALE_MM)
        reach = max(min(reach, 8.0 * scale), LEAST_REACH_MM)
        settled = scale <= 1.02 * found
        if settled and (size < 1e-6 or (size < 1e-3 and size >= 0.9 * last)):
            break
        last = size
    report(progress, 1.0, "")
    return _result(first, pose, near, scale, len(points))


@dataclass(frozen=True, slots=True)
class _Near:
    """Points of the second scan that have surface of the first within reach."""

    moved: Array
    normal: Array  # of the first's surface there
    distance: Array  # along it


def _draw(mesh: Mesh) -> tuple[Array, Array]:
    """Return vertices spread evenly over the surface, and unit normals there."""
    seen = surface(mesh)
    area = np.linalg.norm(seen.raw, axis=1)
    good = np.flatnonzero((area > 0.0) & (np.linalg.norm(seen.smooth, axis=1) > 0.0))
    if len(good) < 100:
        raise FitProblem("too few triangles to lay onto another scan", found=str(len(good)))
    rng = np.random.default_rng(9_337)
    total = np.cumsum(area[good])
    at = (np.arange(POINTS) + rng.random(POINTS)) / POINTS * total[-1]
    faces = good[np.unique(np.minimum(np.searchsorted(total, at), len(good) - 1))]
    vertices, row = np.unique(mesh.faces[faces, 0], return_index=True)
    normals = seen.smooth[faces[row]]
    return mesh.vertices[vertices], normals / np.linalg.norm(normals, axis=1)[:, None]


def _near(
    first: Mesh, points: Array, normals: Array, pose: Array, reach: float, progress: Progress | None
) -> _Near:
    moved = points @ pose[:3, :3].T + pose[:3, 3]
    turned = normals @ pose[:3, :3].T
    found = surface_distances(moved, first, limit_mm=reach, signed=False, progress=_quiet(progress))
    seen = surface(first)
    face = found.triangle
    normal = seen.smooth[np.maximum(face, 0)]
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    # Beyond an open rim the nearest point lies on the rim: no counterpart.
    inner = (seen.across[np.maximum(face, 0)] >= 0).all(axis=1)
    good = (face >= 0) & inner & ((turned * normal).sum(axis=1) > FACING)
    gap = moved[good] - found.nearest[good]
    return _Near(moved[good], normal[good], (gap * normal[good]).sum(axis=1))


def _quiet(progress: Progress | None) -> Progress | None:
    # Cancelling goes on, the bar stays with the rounds.
    return None if progress is None else part(progress, 0.0, 0.0)


def _scale(distance: Array) -> float:
    if len(distance) < 50:
        raise FitProblem(
            "the scans do not lie near each other",
            found=f"{len(distance)} points with surface within reach",
            mend="touch three points on both scans to bring them together",
        )
    best = np.sort(np.abs(distance))[: max(int(BEST_SHARE * len(distance)), 50)]
    # The better half of |d| of a normal ends at its median.
    return float(best[-1]) / HALF_NORMAL


def _equations(near: _Near, scale: float) -> tuple[Array, Array, Array, Array]:
    """Return rows of the linear equations, distances, weights, and the centre of turning."""
    square = (near.distance / (TUKEY * scale)) ** 2
    weight = np.clip(1.0 - square, 0.0, None) ** 2
    if float((weight > 0.0).mean()) < LEAST_SHARE or int((weight > 0.0).sum()) < 50:
        raise FitProblem(
            "too little surface agrees to lay one scan onto the other",
            found=f"{float((weight > 0.0).mean()):.0%} of what is within reach",
            allowed=f"at least {LEAST_SHARE:.0%}",
            mend="start nearer, by points touched on both",
        )
    centre = np.average(near.moved, axis=0, weights=weight)
    # A move t and turn w about the centre change n·(p − q) by n·t + ((p − c) × n)·w.
    rows = np.hstack([near.normal, np.cross(near.moved - centre, near.normal)])
    return rows, near.distance, weight, centre


def _step(rows: Array, values: Array, weight: Array) -> Array:
    scaled = rows * weight[:, None]
    normal = scaled.T @ rows
    spread = math.sqrt(float((rows[:, 3:] ** 2).sum(axis=1).mean()))
    units = np.array([1.0, 1.0, 1.0, spread, spread, spread])
    values_, _ = np.linalg.eigh(normal / np.outer(units, units))
    if values_[0] < LEAST_DETERMINED * values_[-1]:
        raise FitProblem(
            "the surface that agrees slides or turns on itself: it does not tell the pose",
            mend="scan more of the part, such as lugs and arms",
        )
    step: Array = np.asarray(-np.linalg.solve(normal, scaled.T @ values), dtype=np.float64)
    return step


def _moved(pose: Array, step: Array, centre: Array) -> Array:
    turn = Rotation.from_rotvec(step[3:]).as_matrix()
    small = np.eye(4)
    small[:3, :3] = turn
    small[:3, 3] = centre + step[:3] - turn @ centre
    answer: Array = small @ pose
    left, _, right = np.linalg.svd(answer[:3, :3])
    answer[:3, :3] = left @ right
    return answer


def _result(first: Mesh, pose: Array, near: _Near, scale: float, drawn: int) -> Registration:
    rows, values, weight, centre = _equations(near, scale)
    used = weight > 0.0
    spread = math.sqrt(float((rows[used, 3:] ** 2).sum(axis=1).mean()))
    units = np.array([1.0, 1.0, 1.0, spread, spread, spread])
    local = rows[used] / units
    variance = _variance(values, weight, scale)
    inverse: Array = np.asarray(np.linalg.inv(local.T @ local), dtype=np.float64)
    effective, length = float(used.sum()), None
    if int(used.sum()) >= LEAST_POINTS and scale > 10.0 * LEAST_SCALE_MM:
        size = math.sqrt(float(near.moved[used].var(axis=0).sum()))
        tied = correlate((near.moved[used] - centre) / size, local, values[used])
        effective, length = tied.effective_points, tied.length * size
        inverse = np.asarray(tied.factor, dtype=np.float64)
    covariance = inverse * variance / np.outer(units, units)
    answer = Registration(
        first_from_second=_frozen(pose),
        covariance=_frozen((covariance + covariance.T) / 2.0),
        centre_mm=_frozen(centre),
        scale_mm=scale,
        rms_mm=math.sqrt(float((values[used] ** 2).mean())),
        points=len(values),
        used=int(used.sum()),
        unchanged=float(used.mean()),
        effective_points=effective,
        correlation_mm=length,
        findings=(),
    )
    return replace(answer, findings=_findings(answer, drawn, first))


def _variance(values: Array, weight: Array, scale: float) -> float:
    # E[ψ²]/E[ψ']² of an M-estimate, as in the fits.
    square = np.minimum((values / (TUKEY * scale)) ** 2, 1.0)
    slope = float(((1.0 - square) * (1.0 - 5.0 * square)).sum())
    used = int((weight > 0.0).sum())
    psi = float((weight**2 * values**2).sum()) / used
    return psi / max(slope / used, 1e-6) ** 2 * used / max(used - 6, 1)


def _findings(found: Registration, drawn: int, first: Mesh) -> tuple[Finding, ...]:
    answer = []
    seen = found.points / drawn
    if seen < 0.4:
        answer.append(
            Finding(
                "little-overlap",
                "warning",
                f"Only {seen:.0%} of the second scan lies on surface of {first.name or 'the first'}"
                "; what the other did not see cannot be compared.",
            )
        )
    if found.unchanged < 0.5:
        answer.append(
            Finding(
                "much-changed",
                "warning",
                f"Only {found.unchanged:.0%} of the surface seen by both agrees: check by eye that "
                "the scans show the same part in the same place.",
            )
        )
    return tuple(answer)


def _frozen(array: Array) -> Array:
    array = np.ascontiguousarray(array)
    array.flags.writeable = False
    return array
