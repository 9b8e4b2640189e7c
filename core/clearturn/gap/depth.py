"""How deep one part enters another, as an interval."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from clearturn.gap.model import Axis, Gap, State
from clearturn.gap.still import inverse, is_smaller, query
from clearturn.gap.surface_map import INSIDE, winding
from clearturn.gap.tree import mesh_bounds, space_tree, used_vertices
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check

if TYPE_CHECKING:
    from clearturn.gap.turning import Turns

Matrix = NDArray[np.float64]
#: Vertices looked at per angle, and again at the angle where the first look went deepest.
_COARSE, _FINE = 500, 10_000
#: And where only a bound is wanted, again and again.
_FEW = 100
#: Freeing shifts are found to this fraction of themselves.
_STEP = 1e-3


def inside_depth(
    first: Mesh, second: Mesh, poses: list[Matrix], progress: Progress | None = None
) -> tuple[float, Matrix | None]:
    """Return the deepest point of either mesh found inside the other.

    Parameters
    ----------
    poses : list of (4, 4) ndarray
        Poses of the first mesh in the second's frame to look at.

    Returns
    -------
    depth_mm : float
        Its distance from the other's surface; 0 if no point was found inside.
    pose : (4, 4) ndarray or None
        The pose at which it was found.

    Notes
    -----
    No translation that frees the parts is shorter: the point must at least reach the surface.
    """
    deepest, at = 0.0, None
    for pose in poses:
        check(progress)
        for inner, outer, place in _both(first, second, pose):
            depth = _depth_of(inner, outer, place, _COARSE)
            if depth > deepest:
                deepest, at = depth, pose
    if at is not None:
        for inner, outer, place in _both(first, second, at):
            check(progress)
            deepest = max(deepest, _depth_of(inner, outer, place, _FINE))
    return deepest, at


def depth_at_contact(
    gap: Gap, first: Mesh, second: Mesh, pose_first: Matrix, pose_second: Matrix,
    turn: tuple[Turns, Axis] | None,
) -> float:  # fmt: skip
    """Return how deep a few points of either mesh lie in the other where they meet; 0 for none.

    Looked at as they stand or, of a turning pair, at the angle of contact.  As `inside_depth`:
    no shorter shift frees the parts.
    """
    pose = inverse(pose_second) @ pose_first
    if turn is not None:
        from clearturn.gap.state import turned

        turns, axis = turn
        angle = (-1.0 if turns == "second" else 1.0) * (gap.turn_angle_deg or 0.0)
        pose = inverse(pose_second) @ turned(axis, angle) @ pose_first
    return max(_depth_of(inner, outer, at, _FEW) for inner, outer, at in _both(first, second, pose))


def shared_depth(
    first: Mesh, second: Mesh, poses: list[Matrix], progress: Progress | None = None
) -> float:
    """Return how deep points just below one closed surface lie in the other solid; 0 for none.

    Surfaces that coincide, a part with its own copy for one, cross nowhere and have no corner
    inside the other.  What is below them tells such parts from two that lean on each other.

    Parameters
    ----------
    poses : list of (4, 4) ndarray
        Poses of the first mesh in the second's frame to look at.
    """
    deepest = 0.0
    for pose in poses:
        for inner, outer, place in _both(first, second, pose):
            check(progress)
            points = _below_surface(inner)
            points = points[np.abs(winding(points, inner)) >= INSIDE]
            there = points @ place[:3, :3].T + place[:3, 3]
            there = there[np.abs(winding(there, outer)) >= INSIDE]
            if len(there):
                distance, _, _ = query(there, space_tree(outer), np.inf)
                deepest = max(deepest, float(distance.max()))
    return deepest


def _below_surface(mesh: Mesh) -> Matrix:
    """Points a little below some faces, spread over the mesh, (k, 3)."""
    corners = mesh.vertices[mesh.faces[:: len(mesh.faces) // _COARSE + 1]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    kept = size > 0
    # As far below as a tenth of the face is wide: not through a thin wall on its other side.
    step = 0.1 * normal[kept] / np.sqrt(size[kept])[:, None]
    return np.asarray(corners[kept].mean(axis=1) - step)


def _both(first: Mesh, second: Mesh, pose: Matrix) -> list[tuple[Mesh, Mesh, Matrix]]:
    return [(first, second, pose), (second, first, inverse(pose))]


def _depth_of(inner: Mesh, outer: Mesh, pose: Matrix, count: int) -> float:
    low, high = mesh_bounds(outer)
    points = inner.vertices[used_vertices(inner) > 0] @ pose[:3, :3].T + pose[:3, 3]
    points = points[((points >= low) & (points <= high)).all(axis=1)]
    if len(points) > count:
        points = points[:: len(points) // count + 1]
    if len(points) == 0:
        return 0.0
    inside = np.abs(winding(points, outer)) >= INSIDE
    if not inside.any():
        return 0.0
    distance, _, _ = query(points[inside], space_tree(outer), np.inf)
    return float(distance.max())


def freeing_shift(
    gap: Gap,
    first: Mesh,
    second: Mesh,
    pose_first: Matrix,
    pose_second: Matrix,
    depth: float,
    turn: tuple[Turns, Axis] | None,
    tolerance_mm: float,
    progress: Progress | None = None,
) -> tuple[float, Matrix] | None:
    """Return the least verified shift that frees the pair, and its direction for the first mesh.

    Directions looked at: along the axis both ways and along the contact's radius both ways when
    one part turns, else the six axes of the frame and the line between the parts' middles.  Every
    shift returned was checked by the exact engine.  None if none of up to the parts' size frees.

    Of a turning pair the part that stands is moved, whichever comes first: moved, the other would
    run out of true.  Where that is the second, it moves against the direction.
    """
    if _second_moves(first, second, turn):
        turned_round = dataclasses.replace(
            gap, first_point_mm=gap.second_point_mm, second_point_mm=gap.first_point_mm
        )
        other = freeing_shift(
            turned_round, second, first, pose_second, pose_first, depth,
            None if turn is None else ("second", turn[1]), tolerance_mm, progress,
        )  # fmt: skip
        return None if other is None else (other[0], -other[1])
    size = float(np.linalg.norm(np.ptp(np.concatenate([first.bounds, second.bounds]), axis=0)))
    best: tuple[float, Matrix] | None = None
    for direction in _directions(gap, first, second, pose_first, pose_second, turn):
        limit = size if best is None else best[0]
        found = _least_shift(
            direction, max(depth, tolerance_mm), limit, first, second, pose_first, pose_second,
            turn, tolerance_mm, progress,
        )  # fmt: skip
        if found is not None and (best is None or found < best[0]):
            best = (found, direction)
    return best


def _second_moves(first: Mesh, second: Mesh, turn: tuple[Turns, Axis] | None) -> bool:
    # Of a pair at rest always the same one too, so that either order makes the same steps.
    return is_smaller(second, first) if turn is None else turn[0] == "first"


def _directions(
    gap: Gap, first: Mesh, second: Mesh, p1: Matrix, p2: Matrix, turn: tuple[Turns, Axis] | None
) -> list[Matrix]:
    if turn is not None:
        axis = turn[1]
        # The place of contact on the part that stands: that is where it would be moved or cut.
        point = gap.first_point_mm - axis.point
        radial = point - axis.direction * float(point @ axis.direction)
        length = float(np.linalg.norm(radial))
        along = [axis.direction, -axis.direction]
        return [-radial / length, radial / length, *along] if length > 1e-9 else along
    axes = np.eye(3)
    found = [*axes, *(-axes)]
    middle = p1[:3, :3] @ first.bounds.mean(axis=0) + p1[:3, 3]
    other = p2[:3, :3] @ second.bounds.mean(axis=0) + p2[:3, 3]
    between = middle - other
    length = float(np.linalg.norm(between))
    return [between / length, *found] if length > 1e-9 else found


def _least_shift(
    direction: Matrix,
    start: float,
    limit: float,
    first: Mesh,
    second: Mesh,
    p1: Matrix,
    p2: Matrix,
    turn: tuple[Turns, Axis] | None,
    tolerance_mm: float,
    progress: Progress | None,
) -> float | None:
    def free(shift: float) -> bool:
        check(progress)
        pose = p1.copy()
        pose[:3, 3] += shift * direction
        return _is_apart(first, second, pose, p2, turn, tolerance_mm)

    high = start * 1.001 + tolerance_mm
    low = 0.0
    while not free(high):
        low = high
        high *= 1.6
        if high > limit:
            high = limit * 0.999
            if high <= low or not free(high):
                return None
            break
    while high - low > max(_STEP * high, tolerance_mm):
        middle = 0.5 * (low + high)
        if free(middle):
            high = middle
        else:
            low = middle
    return high


def _is_apart(
    first: Mesh,
    second: Mesh,
    p1: Matrix,
    p2: Matrix,
    turn: tuple[Turns, Axis] | None,
    tolerance_mm: float,
) -> bool:
    gap = shallow_gap(first, second, p1, p2, turn, tolerance_mm=tolerance_mm)
    return gap.state is State.APART


def shallow_gap(
    first: Mesh,
    second: Mesh,
    pose_first: Matrix,
    pose_second: Matrix,
    turn: tuple[Turns, Axis] | None,
    *,
    tolerance_mm: float,
    progress: Progress | None = None,
) -> Gap:
    """Return the gap without asking how deep parts that meet are in each other.

    Parameters
    ----------
    turn : (str, Axis) or None
        Which mesh turns and about what; None for parts that stand still to each other.

    Returns
    -------
    Gap
        Touching where the surfaces meet, whether they cross there or not; else as the whole
        answer: apart, interfering (one wholly inside the other) or sign unknown.
    """
    from clearturn.gap.state import _contained
    from clearturn.gap.still import as_gap, still_distance
    from clearturn.gap.turning import _as_gap, turning_distance

    relative = inverse(pose_second) @ pose_first
    if turn is None:
        distance, points, hits = still_distance(
            first, second, relative, tolerance_mm=tolerance_mm, progress=progress
        )
        gap = as_gap(distance, points, hits, pose_second, tolerance_mm)
    else:
        turns, axis = turn
        found = turning_distance(
            first, second, axis, pose_first, pose_second,
            tolerance_mm=tolerance_mm, progress=progress,
        )  # fmt: skip
        gap = _as_gap(found, turns, axis, tolerance_mm)
    if gap.state is State.TOUCHING:
        return gap
    return _contained(gap, first, second, relative, progress)
