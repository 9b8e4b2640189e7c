"""What was touched on the corner as it stands: the part, the place, and what is nearest there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.corner.faces import patch_at
from clearturn.corner.touched import FeatureLines, feature_lines
from clearturn.datum import Patch, Proposal, propose_feature
from clearturn.errors import FitProblem
from clearturn.gap import surface_distances
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part
from clearturn.result import Motion, PairResult, PlacedPart
from clearturn.scan.ray import Hit, first_hit

Array = NDArray[np.float64]
#: What is farther off than this matters to nobody.
_REACH_MM = 60.0
_FEW = 64  # triangles of a patch


@dataclass(frozen=True, slots=True)
class NearHere:
    """The part of another pair that comes nearest to a place.

    Attributes
    ----------
    part : str
    distance_mm : float
        From the place touched, measured on the meshes: nothing is taken off it.
    turning : bool
        The least over a full turn, else as they stand.
    """

    part: str
    distance_mm: float
    turning: bool


@dataclass(frozen=True, slots=True)
class TouchedPart:
    """One touch on a corner.

    Attributes
    ----------
    part : PlacedPart
    place_mm : (3,) ndarray
        Where it was touched, as it is seen: a turning part turned.
    r_mm, z_mm : float
    clock_deg : float
        Clock position of the place, as it is seen.
    proposal : Proposal or None
        What the smooth patch there is; None where it is too small to tell.
    mesh : Mesh
        The patch, as it is seen.
    lines : FeatureLines
        How the feature is drawn, as it is seen.
    near : NearHere or None
        The nearest of the parts that are judged against this one, within 60 mm.
    """

    part: PlacedPart
    place_mm: Array
    r_mm: float
    z_mm: float
    clock_deg: float
    proposal: Proposal | None
    mesh: Mesh
    lines: FeatureLines
    near: NearHere | None


def touch_part(
    parts: Sequence[PlacedPart],
    pairs: Sequence[PairResult],
    origin_mm: ArrayLike,
    direction: ArrayLike,
    *,
    turn_deg: float = 0.0,
    cut: ArrayLike | None = None,
    progress: Progress | None = None,
) -> TouchedPart | None:
    """Return what a line of sight touches on a corner, or None where it meets nothing.

    Parameters
    ----------
    parts : sequence of PlacedPart
    pairs : sequence of PairResult
        Those that were judged; only they say what is near.
    origin_mm, direction : (3,) array_like
        The line of sight, in the hub frame.
    turn_deg : float
        How far what turns is turned, right-handed about z.
    cut : (6,) array_like, optional
        Point and normal of a plane; what lies against the normal is cut away.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    start = np.asarray(origin_mm, dtype=np.float64)
    way = np.asarray(direction, dtype=np.float64) / np.linalg.norm(direction)
    length = math.inf
    if cut is not None:
        start, length = _seen_of(start, way, np.asarray(cut, dtype=np.float64))
    turn = _turn(turn_deg)
    best: tuple[Hit, PlacedPart] | None = None
    for one in parts:
        if progress is not None:
            progress.check()
        back = turn.T if one.motion is Motion.TURNS else np.eye(3)
        hit = first_hit(one.mesh, back @ start, back @ way) if length > 0 else None
        if hit is None or hit.distance_mm > length:
            continue
        if best is None or hit.distance_mm < best[0].distance_mm:
            best = hit, one
    if best is None:
        return None
    hit, found = best
    rotation = turn if found.motion is Motion.TURNS else np.eye(3)
    centre = found.mesh.vertices[found.mesh.faces[hit.face]].mean(axis=0)
    patch = patch_at(found.mesh, centre, progress=part(progress, 0.0, 0.7))
    proposal, lines = _feature(found.mesh, patch, centre)
    near = _near(found, hit.point_mm, parts, pairs, part(progress, 0.7, 1.0))
    x, y, z = (float(value) for value in rotation @ hit.point_mm)
    turned = np.eye(4)
    turned[:3, :3] = rotation
    return TouchedPart(
        found, np.array([x, y, z]), math.hypot(x, y), z, math.degrees(math.atan2(x, y)) % 360.0,
        proposal, found.mesh.part(patch.faces).moved(turned),
        FeatureLines(*(None if p is None else p @ rotation.T for p in (lines.axis, lines.outline))),
        near,
    )  # fmt: skip


def _feature(mesh: Mesh, patch: Patch, seed_mm: Array) -> tuple[Proposal | None, FeatureLines]:
    """Return what a patch is and how that is drawn; a drawn face of few triangles is cut finer."""
    drawn = patch
    if len(patch.faces) < _FEW:
        mesh = _finer(mesh.part(patch.faces))
        patch = patch_at(mesh, seed_mm)
        drawn = replace(patch, points_mm=mesh.vertices)
    try:
        proposal = propose_feature(mesh, patch)
    except FitProblem:
        return None, FeatureLines(None, None)  # a sliver, or an edge: the place alone is told
    return proposal, feature_lines(proposal, drawn)


def _finer(mesh: Mesh) -> Mesh:
    """Return a mesh with every triangle cut into four, again and again until there are enough."""
    corners = mesh.corners
    while len(corners) < 4 * _FEW:
        middle = 0.5 * (corners + np.roll(corners, -1, axis=1))
        a, b, c = (corners[:, k] for k in range(3))
        ab, bc, ca = (middle[:, k] for k in range(3))
        parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        corners = np.concatenate([np.stack(one, axis=1) for one in parts])
    vertices, faces = np.unique(np.round(corners.reshape(-1, 3), 9), axis=0, return_inverse=True)
    return Mesh(vertices, faces.reshape(-1, 3), mesh.name)


def _turn(degrees: float) -> Array:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _seen_of(start: Array, way: Array, cut: Array) -> tuple[Array, float]:
    """Return where a line of sight enters what a cut leaves, and how far it runs in it."""
    height, slope = float((start - cut[:3]) @ cut[3:]), float(way @ cut[3:])
    if height < 0.0:  # it begins in what is cut away
        return (start - way * height / slope, math.inf) if slope > 0.0 else (start, 0.0)
    return start, -height / slope if slope < 0.0 else math.inf


def _near(
    touched: PlacedPart,
    place_mm: Array,
    parts: Sequence[PlacedPart],
    pairs: Sequence[PairResult],
    progress: Progress | None,
) -> NearHere | None:
    by_name = {one.name: one for one in parts}
    best: NearHere | None = None
    for pair in pairs:
        if touched.name not in (pair.first, pair.second):
            continue
        other = by_name.get(pair.second if pair.first == touched.name else pair.first)
        if other is None or other is touched:
            continue
        turning = pair.motion == "turning"
        limit = _REACH_MM if best is None else best.distance_mm
        found = surface_distances(
            place_mm[None], other.mesh, turning=turning, limit_mm=limit, signed=False,
            progress=progress,
        ).distance_mm[0]  # fmt: skip
        if np.isfinite(found) and (best is None or found < best.distance_mm):
            best = NearHere(other.name, float(found), turning)
    return best
