"""The least gap over a full turn, exact and certified; no angle is ever stepped."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn import threads
from clearturn.errors import InputError
from clearturn.gap import _kernels_turning as kernels
from clearturn.gap.cull import Seed, both_unprepared, kept_grid, one_prepared
from clearturn.gap.meridian import (
    ROUNDING,
    MeridianImage,
    axis_frame,
    into_axis_frame,
    kept_image,
    meridian_image,
)
from clearturn.gap.model import Z_AXIS, Axis, Gap, Interval, State
from clearturn.gap.still import is_smaller, need_faces, rigid
from clearturn.gap.tree import nearest_first
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check, part, stop_of

Matrix = NDArray[np.float64]
Turns = Literal["first", "second"]

#: Tolerance of the rough search, as a share of the bound found so far.
_ROUGH = 0.02
#: Below this many triangles sorting everything is quicker than thinning out.
SMALL = 20_000
#: A part of fewer triangles than this has boxes too coarse to search a kept image by: a plain block
#: beside a part of revolution ties all round.  Its grid thins the larger part out instead.
_FEW = 500
#: Nor is a part of so many times the triangles of the kept image taken into a tree first.
_MANY = 4


@dataclass(frozen=True, slots=True)
class TurningDistance:
    """Unsigned least distance over a full turn, in the axis frame.

    Attributes
    ----------
    lower_mm, upper_mm : float
        Certified interval.
    points_mm : (2, 3) ndarray
        Points of the meshes as placed, before any turning.
    triangles : (int, int)
        Face indices of the meshes.
    """

    lower_mm: float
    upper_mm: float
    points_mm: Matrix
    triangles: tuple[int, int]


def turning_gap(
    first: Mesh,
    second: Mesh,
    *,
    turns: Turns = "second",
    axis: Axis = Z_AXIS,
    tolerance_mm: float = 1e-3,
    pose_first: ArrayLike | None = None,
    pose_second: ArrayLike | None = None,
    depth: bool = True,
    freeing: bool = False,
    progress: Progress | None = None,
) -> Gap:
    """Return the least gap of two meshes while one of them turns a full turn.

    Parameters
    ----------
    first, second : Mesh
    turns : {"first", "second"}
        Which mesh turns about the axis.
    axis : Axis
        Any line in space, in the frame the poses lead to.
    tolerance_mm : float
        Greatest width of the interval when apart; up to it parts count as touching.
    pose_first, pose_second : (4, 4) array_like, optional
        Rigid, row-major; applied before the turn.
    depth : bool
        Whether parts whose surfaces meet are looked at further: without, they are told as
        touching, whether they overlap or not.
    freeing : bool
        Whether of parts that interfere the least shift each way and the angles that hit are told
        as well, which takes many times as long.
    progress : Progress, optional

    Returns
    -------
    Gap

    Raises
    ------
    InputError
        If a mesh has no triangles, a pose is not rigid or the tolerance is not positive.
    Cancelled
        If `progress` was cancelled.

    References
    ----------
    docs/methods/gap.md.
    """
    from clearturn.gap.state import turning_state

    need_faces(first, second)
    if not (math.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise InputError("the tolerance must be a positive length", found=f"{tolerance_mm!r}")
    p1, p2 = rigid(pose_first), rigid(pose_second)
    found = turning_distance(
        first, second, axis, p1, p2, tolerance_mm=tolerance_mm, progress=part(progress, 0.0, 0.7)
    )
    gap = _as_gap(found, turns, axis, tolerance_mm)
    if gap.state is State.TOUCHING and not depth:
        return gap
    gap = turning_state(
        gap, first, second, p1, p2, turns, axis,
        tolerance_mm=tolerance_mm, progress=part(progress, 0.7, 0.8 if freeing else 1.0),
    )  # fmt: skip
    if not freeing:
        return gap
    from clearturn.gap.freeing import with_freeing

    return with_freeing(
        gap, first, second, p1, p2, (turns, axis),
        tolerance_mm=tolerance_mm, progress=part(progress, 0.8, 1.0),
    )  # fmt: skip


def turning_distance(
    first: Mesh,
    second: Mesh,
    axis: Axis,
    pose_first: Matrix,
    pose_second: Matrix,
    *,
    tolerance_mm: float,
    progress: Progress | None = None,
) -> TurningDistance:
    """Return the unsigned least distance over a full turn of one mesh against the other."""
    if _first_is_searched(first, second, axis, pose_first, pose_second):
        found = turning_distance(
            second, first, axis, pose_second, pose_first,
            tolerance_mm=tolerance_mm, progress=progress,
        )  # fmt: skip
        return TurningDistance(
            found.lower_mm, found.upper_mm, found.points_mm[::-1], found.triangles[::-1]
        )
    small, large = into_axis_frame(axis, pose_first), into_axis_frame(axis, pose_second)
    kept = _kept_to_search(second, first, large)
    if kept is not None:
        grid = kept_grid(kept, part(progress, 0.0, 0.3))
        image, seed = one_prepared(first, small, kept, grid, part(progress, 0.3, 0.6))
        return _search(kept, image, seed, (first, second), tolerance_mm, part(progress, 0.6, 1.0))
    if len(second.faces) >= SMALL:
        a, b, seed = both_unprepared(first, small, second, large, part(progress, 0.0, 0.6))
        return _search(b, a, seed, (first, second), tolerance_mm, part(progress, 0.6, 1.0))
    a = meridian_image(first, axis, pose_first, part(progress, 0.0, 0.3))
    b = meridian_image(second, axis, pose_second, part(progress, 0.3, 0.6))
    return _search(b, a, _plain_seed(a, b), (first, second), tolerance_mm, part(progress, 0.6, 1.0))


def _first_is_searched(
    first: Mesh, second: Mesh, axis: Axis, pose_first: Matrix, pose_second: Matrix
) -> bool:
    """Whether the first part's nodes are opened: the larger's, or the only one's kept already."""
    frames = into_axis_frame(axis, pose_first), into_axis_frame(axis, pose_second)
    by_kept = (
        _kept_to_search(first, second, frames[0]) is not None,
        _kept_to_search(second, first, frames[1]) is not None,
    )
    return by_kept[0] if by_kept[0] != by_kept[1] else is_smaller(second, first)


def _kept_to_search(mesh: Mesh, other: Mesh, frame: tuple[Matrix, Matrix]) -> MeridianImage | None:
    """The kept image of `mesh` if it pays to search the other part by it."""
    fits = len(mesh.faces) >= SMALL and _FEW <= len(other.faces) <= _MANY * len(mesh.faces)
    return kept_image(mesh, *frame) if fits else None


def _plain_seed(small: MeridianImage, large: MeridianImage) -> Seed:
    witness, hit = np.zeros(6), np.zeros(2, np.int64)
    upper = kernels.seed(
        small.xyz, small.rz, small.faces, max(1, len(small.faces) // 200),
        large.xyz, large.rz, large.faces, large.boxes, large.level_start, witness, hit,
    )  # fmt: skip
    at = large.faces[hit[1]]
    corner = int(at[np.argmin(np.abs(large.xyz[at] - witness[3:]).sum(axis=1))])
    return Seed(upper, witness, (int(small.faces[hit[0], 0]), corner))


def _search(
    large: MeridianImage,
    small: MeridianImage,
    seed: Seed,
    meshes: tuple[Mesh, Mesh],
    tolerance_mm: float,
    progress: Progress | None,
) -> TurningDistance:
    """Search from the larger image's nodes down, which visits fewer pairs; points small first."""
    slack = ROUNDING * (small.scale + large.scale)
    # The interval asked for includes what rounding may cost at either end.
    tolerance_mm = max(tolerance_mm - 2 * slack, 0.5 * tolerance_mm)
    witness = np.concatenate([seed.points[3:], seed.points[:3]])
    if len(small.faces) == 0 or len(large.faces) == 0:
        # The grid proved that nothing is nearer than the seed.
        low = max(0.0, seed.upper - tolerance_mm)
        points = seed.points.reshape(2, 3)
        return TurningDistance(low, seed.upper + slack, points, seed.faces(*meshes))
    trees = (
        (large.xyz, large.faces, large.boxes, large.level_start),
        (small.xyz, small.faces, small.boxes, small.level_start),
    )
    hit, counts = np.full(2, -1, np.int64), np.zeros(2, np.int64)
    halt = stop_of(progress)
    upper = seed.upper
    # A rough search first: with a bound that is nearly right, the pieces need not share theirs
    # and can be searched side by side.
    _, upper = kernels.search(
        *trees[0], len(large.level_start) - 2, 0, *trees[1],
        upper, max(tolerance_mm, _ROUGH * upper), slack, witness, hit, counts, halt,
    )  # fmt: skip
    check(progress)
    pieces = nearest_first(large, small, down=2)
    lower, best = np.zeros(len(pieces)), np.full(len(pieces), upper)
    points = np.repeat(witness[None], len(pieces), axis=0)
    hits = np.repeat(hit[None], len(pieces), axis=0)

    def work(start: int, stop: int) -> None:
        for k in range(start, stop):
            lower[k], best[k] = kernels.search(
                *trees[0], *pieces[k], *trees[1],
                upper, tolerance_mm, slack, points[k], hits[k], np.zeros(2, np.int64), halt,
            )  # fmt: skip

    threads.run(work, [(k, k + 1) for k in range(len(pieces))], progress)
    check(progress)  # a search that was stopped has certified nothing
    at = int(np.argmin(best))
    upper, witness, hit = float(best[at]), points[at], hits[at]
    low = float(max(0.0, min(lower.min(), upper - tolerance_mm)))
    if hit[0] >= 0:
        faces = (int(small.order[hit[1]]), int(large.order[hit[0]]))
    else:
        faces = seed.faces(*meshes)
    both = np.stack([witness[3:], witness[:3]])
    return TurningDistance(low, float(upper + slack), both, faces)


def _as_gap(found: TurningDistance, turns: Turns, axis: Axis, tolerance_mm: float) -> Gap:
    """Turn one of the two points to the other's azimuth and leave the axis frame."""
    a, b = found.points_mm
    rz = np.array([[math.hypot(p[0], p[1]), p[2]] for p in (a, b)])
    fixed, moving = (a, b) if turns == "second" else (b, a)
    angle = 0.0
    if math.hypot(fixed[0], fixed[1]) > 0 and math.hypot(moving[0], moving[1]) > 0:
        angle = math.atan2(fixed[1], fixed[0]) - math.atan2(moving[1], moving[0])
    angle %= 2 * math.pi
    c, s = math.cos(angle), math.sin(angle)
    turned = np.array([c * moving[0] - s * moving[1], s * moving[0] + c * moving[1], moving[2]])
    first, second = (a, turned) if turns == "second" else (turned, b)
    rotation, shift = axis_frame(axis)
    points = (np.stack([first, second]) - shift) @ rotation
    step = points[1] - points[0]
    length = float(np.linalg.norm(step))
    near = found.upper_mm <= tolerance_mm
    degrees = math.degrees(angle) % 360.0
    return Gap(
        state=State.TOUCHING if near else State.APART,
        gap_mm=Interval(0.0 if near else found.lower_mm, found.upper_mm),
        first_point_mm=points[0],
        second_point_mm=points[1],
        first_triangle=found.triangles[0],
        second_triangle=found.triangles[1],
        direction=step / length if length > 0 else np.zeros(3),
        turn_angle_deg=degrees,
        first_rz_mm=rz[0],
        second_rz_mm=rz[1],
    )
