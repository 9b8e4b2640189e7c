"""Growing a patch over smooth surface from a touched point."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn import threads
from clearturn.datum import _kernels_grow
from clearturn.errors import FitProblem, InputError
from clearturn.mesh import Mesh
from clearturn.progress import Progress, report

Array = NDArray[np.float64]
Index = NDArray[np.int32]

SLICE = 65_536
SMOOTHINGS = 3  # rounds of averaging normals over neighbours; each takes about half the noise
SHARP_DEG = 50.0  # normals are not averaged over edges sharper than this
BUDGET = 200_000  # faces grown between two checks for cancelling
LOCAL_FACES = 240  # faces round the seed from which its curvature and noise are judged
CURVATURE_FLOOR = 0.02  # 1/mm; a plane's patch may follow radii above 50 mm
STEP_DEG = 15.0
EYE = np.eye(3)
FREE = 1e9  # no bound


@dataclass(frozen=True, slots=True)
class Patch:
    """Faces grown from a seed.

    Attributes
    ----------
    faces : (k,) ndarray of int32
        Face indices of the mesh, ascending.
    vertices : (j,) ndarray of int32
        Vertices to fit to: those inside the patch, whose faces all belong to it; all of its
        vertices where too few are inside (a coarse mesh).
    points_mm : (j, 3) ndarray
        Their coordinates.
    area_mm2 : float
    seed_face : int
    curvature_per_mm : float
        Bound the growth kept to.
    """

    faces: Index
    vertices: Index
    points_mm: Array
    area_mm2: float
    seed_face: int
    curvature_per_mm: float


@dataclass(frozen=True, slots=True)
class Surface:
    """What growing needs of a mesh, made once and kept with it.

    Attributes
    ----------
    across : (m, 3) ndarray of int32
        The face across the edge from corner k to k + 1; -1 where there is not exactly one.
    raw, smooth : (m, 3) ndarray
        Face normals, not of unit length, as they are and averaged over neighbours.
    centres : (m, 3) ndarray
    """

    across: Index
    raw: Array
    smooth: Array
    centres: Array


@dataclass(frozen=True, slots=True)
class _Bounds:
    """What the growing keeps to; the defaults bind nothing but the step."""

    step_cos: float
    curvature: float = FREE
    slack: float = FREE
    spread_cos: float = -2.0
    limit2: float = math.inf


def surface(mesh: Mesh, progress: Progress | None = None) -> Surface:
    """Return neighbours and smoothed normals of `mesh`, made at the first call."""

    def make() -> Surface:
        report(progress, 0.0, "finding neighbours")
        count = len(mesh.faces)
        across = _kernels_grow.neighbours(mesh.faces, len(mesh.vertices))
        report(progress, 0.6, "averaging normals")
        raw = np.empty((count, 3))
        centres = np.empty((count, 3))
        pieces = threads.spans(count, SLICE)

        def normals_of(start: int, stop: int) -> None:
            _kernels_grow.face_normals(mesh.vertices, mesh.faces, start, stop, raw, centres)

        threads.run(normals_of, pieces, progress)
        now = raw
        for _ in range(SMOOTHINGS):
            out = np.empty((count, 3))

            def average(start: int, stop: int, now: Array = now, out: Array = out) -> None:
                cos = math.cos(math.radians(SHARP_DEG))
                _kernels_grow.smooth(across, now, start, stop, cos, out)

            threads.run(average, pieces, progress)
            now = out
        for array in (across, raw, now, centres):
            array.flags.writeable = False
        report(progress, 1.0, "")
        return Surface(across, raw, now, centres)

    return mesh.cached("datum.surface", make)


def nearest_face(mesh: Mesh, point_mm: ArrayLike) -> tuple[int, float]:
    """Return the face whose centre is nearest to a point, and the distance in mm."""
    centres = surface(mesh).centres
    point = np.asarray(point_mm, dtype=np.float64)
    pieces = threads.spans(len(centres), SLICE)
    out = np.empty((len(pieces), 2))

    def work(start: int, stop: int) -> None:
        _kernels_grow.nearest_centre(centres, start, stop, point, out[start // SLICE])

    threads.run(work, pieces)
    best = int(np.argmin(out[:, 1]))
    return int(out[best, 0]), math.sqrt(float(out[best, 1]))


def grow_patch(
    mesh: Mesh,
    seed_mm: ArrayLike,
    *,
    normal_deg: float = STEP_DEG,
    curvature: float | None = None,
    limit_mm: float | None = None,
    spread_deg: float | None = None,
    progress: Progress | None = None,
) -> Patch:
    """Grow a patch over smooth surface from the face nearest to a touched point.

    Parameters
    ----------
    mesh : Mesh
    seed_mm : (3,) array_like
        The touched point; the face with the nearest centre is the seed.
    normal_deg : float
        Most the averaged normals of neighbouring faces may differ.
    curvature : float, optional
        Most they may differ per mm between the faces' centres, rad/mm, beside an allowance for
        the noise seen round the seed.  Default: twice the curvature at the seed and 0.02/mm.
    limit_mm : float, optional
        Keep within this distance of the seed.
    spread_deg : float, optional
        Most a normal may differ from the seed's (for a plane; a bore needs 180).
    progress : Progress, optional

    Returns
    -------
    Patch

    Raises
    ------
    FitProblem
        If the mesh has no face, or the seed's face has no area.
    InputError
        If a parameter makes no sense.
    """
    seed_point = np.array(seed_mm, dtype=np.float64)
    if seed_point.shape != (3,) or not np.isfinite(seed_point).all():
        raise InputError("the seed needs three finite numbers")
    for name, value in (("normal_deg", normal_deg), ("limit_mm", limit_mm)):
        if value is not None and not value > 0.0:
            raise InputError(f"{name} must be positive", found=str(value))
    if len(mesh.faces) == 0:
        raise FitProblem("the mesh has no triangles to grow a patch on")
    seen = surface(mesh, progress)
    seed = _seed_with_area(mesh, seen, seed_point)
    step_cos = math.cos(math.radians(normal_deg))
    bound, slack = _judge_seed(seen, seed, step_cos)
    bounds = _Bounds(
        step_cos=step_cos,
        curvature=bound if curvature is None else float(curvature),
        slack=slack,
        spread_cos=-2.0 if spread_deg is None else math.cos(math.radians(min(spread_deg, 180.0))),
        limit2=math.inf if limit_mm is None else limit_mm * limit_mm,
    )
    taken, grown = _grow(seen, seed, bounds, progress=progress)
    _close(seen, taken, grown)
    return _patch(mesh, seen, taken, seed, bounds.curvature)


def _seed_with_area(mesh: Mesh, seen: Surface, point: Array) -> int:
    face, _ = nearest_face(mesh, point)
    if np.linalg.norm(seen.smooth[face]) > 0.0:
        return face
    good = np.flatnonzero((seen.smooth**2).sum(axis=1) > 0.0)
    if len(good) == 0:
        raise FitProblem("the mesh has no triangle with an area")
    far = ((seen.centres[good] - point) ** 2).sum(axis=1)
    return int(good[int(np.argmin(far))])


def _judge_seed(seen: Surface, seed: int, step_cos: float) -> tuple[float, float]:
    """Return the curvature to follow (rad/mm) and the angle to allow for noise (rad)."""
    _, local = _grow(seen, seed, _Bounds(step_cos=step_cos), most=LOCAL_FACES)
    normals = seen.smooth[local]
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    centres = seen.centres[local]
    mean = normals.mean(axis=0)
    size = float(np.linalg.norm(mean))
    if len(local) < 6 or size < 0.2:
        return FREE, FREE
    mean /= size
    u = np.cross(mean, EYE[int(np.argmin(np.abs(mean)))])
    u /= np.linalg.norm(u)
    across = np.stack([u, np.cross(mean, u)])
    place = (centres - centres.mean(axis=0)) @ across.T
    turn = normals @ across.T
    turn = turn - turn.mean(axis=0)
    shape, *_ = np.linalg.lstsq(place, turn, rcond=None)
    kappa = float(np.abs(np.linalg.eigvalsh((shape + shape.T) / 2.0)).max())
    pairs = seen.across[local]
    mine, side = np.nonzero(pairs >= 0)
    a = seen.smooth[local[mine]]
    b = seen.smooth[pairs[mine, side]]
    cos = (a * b).sum(axis=1)
    cos /= np.maximum(np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1), 1e-300)
    noise = float(np.median(np.arccos(np.clip(cos, -1.0, 1.0))))
    return 2.0 * kappa + CURVATURE_FLOOR, 3.0 * noise + math.radians(0.5)


def _grow(
    seen: Surface,
    seed: int,
    bounds: _Bounds,
    *,
    most: int | None = None,
    progress: Progress | None = None,
) -> tuple[NDArray[np.bool_], Index]:
    """Grow from the seed; return the mask of faces and the faces in the order they were taken."""
    count = len(seen.across)
    taken = np.zeros(count, dtype=np.bool_)
    queue = np.empty(count, dtype=np.int32)
    normal = seen.smooth[seed] / np.linalg.norm(seen.smooth[seed])
    head = tail = 0
    while True:
        report(progress, head / count, "growing the patch")
        head, tail = _kernels_grow.grow(
            seen.across,
            seen.smooth,
            seen.centres,
            seed,
            bounds.step_cos,
            bounds.curvature,
            bounds.slack,
            seen.centres[seed],
            normal,
            bounds.spread_cos,
            bounds.limit2,
            taken,
            queue,
            head,
            tail,
            BUDGET if most is None else most,
        )
        if head == tail or most is not None:
            return taken, queue[:tail]


def _close(seen: Surface, taken: NDArray[np.bool_], grown: Index) -> None:
    """Take faces with all neighbours in the patch: specks of noise inside it."""
    touched = seen.across[grown].ravel()
    mark = np.zeros(len(taken), dtype=np.bool_)
    mark[touched[touched >= 0]] = True
    beside = np.flatnonzero(mark & ~taken)
    near = seen.across[beside]
    inside = (taken[near] & (near >= 0)).sum(axis=1) == (near >= 0).sum(axis=1)
    taken[beside[inside]] = True


def _patch(
    mesh: Mesh, seen: Surface, taken: NDArray[np.bool_], seed: int, curvature: float
) -> Patch:
    faces = np.flatnonzero(taken).astype(np.int32)
    corners = mesh.faces[faces]
    used = np.zeros(len(mesh.vertices), dtype=np.bool_)
    used[corners.ravel()] = True
    every = np.flatnonzero(used)
    # A vertex on the rim has a face outside the patch, or an open edge.
    rim = np.zeros(len(mesh.vertices), dtype=np.bool_)
    near = seen.across[faces]
    outside = (near < 0) | ~taken[np.maximum(near, 0)]
    for k in range(3):
        rows = outside[:, k]
        rim[corners[rows, k]] = True
        rim[corners[rows, (k + 1) % 3]] = True
    inner = every[~rim[every]]
    vertices = inner if 2 * len(inner) >= len(every) else every
    area = 0.5 * float(np.linalg.norm(seen.raw[faces], axis=1).sum())
    return Patch(
        faces=faces,
        vertices=vertices.astype(np.int32),
        points_mm=np.ascontiguousarray(mesh.vertices[vertices]),
        area_mm2=area,
        seed_face=seed,
        curvature_per_mm=curvature,
    )
