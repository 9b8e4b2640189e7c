"""The least gap of two parts that do not turn relative to each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn import threads
from clearturn.errors import InputError
from clearturn.gap import _kernels_still as kernels
from clearturn.gap.model import Gap, Interval, State
from clearturn.gap.tree import SpaceTree, mesh_bounds, nearest_first, space_tree
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check, part, stop_of

Matrix = NDArray[np.float64]
_IDENTITY = np.eye(4)
#: What rounding and nearly parallel edges can cost a distance in space, mm (docs/methods/gap.md).
EXACT_MM = 1e-6


def rigid(pose: ArrayLike | None) -> Matrix:
    """Return `pose` as a checked rigid (4, 4) matrix; None is the identity.

    Raises
    ------
    InputError
        If the matrix is not a rigid motion to 1e-6.
    """
    if pose is None:
        return _IDENTITY
    m = np.array(pose, dtype=np.float64)
    if m.shape != (4, 4) or not np.isfinite(m).all():
        raise InputError("a pose is a 4 × 4 matrix of finite numbers", found=f"shape {m.shape}")
    turn = m[:3, :3]
    if not np.allclose(turn @ turn.T, np.eye(3), rtol=0, atol=1e-6) or np.linalg.det(turn) < 0:
        raise InputError(
            "a pose must be rigid: a rotation without mirror or scale, and a shift",
            mend="give scale and unit by their own options",
        )
    if not np.allclose(m[3], [0, 0, 0, 1], atol=1e-9):
        raise InputError(
            "the last row of a pose must be 0 0 0 1",
            found=str(m[3].tolist()),
            mend="write the matrix row by row",
        )
    if not np.allclose(turn @ turn.T, np.eye(3), rtol=0, atol=1e-14):
        # A matrix printed with a few digits: the nearest rotation, so that nothing is sheared.
        left, _, right = np.linalg.svd(turn)
        m[:3, :3] = left @ right
    return m


def inverse(pose: Matrix) -> Matrix:
    """Return the inverse of a rigid (4, 4) pose."""
    back = np.eye(4)
    back[:3, :3] = pose[:3, :3].T
    back[:3, 3] = -pose[:3, :3].T @ pose[:3, 3]
    return back


def need_faces(first: Mesh, second: Mesh) -> None:
    """Raise `InputError` if a mesh has no triangles."""
    for mesh, which in ((first, "first"), (second, "second")):
        if len(mesh.faces) == 0:
            raise InputError(f"the {which} mesh {mesh.name!r} has no triangles")


def still_distance(
    first: Mesh,
    second: Mesh,
    pose: Matrix,
    *,
    tolerance_mm: float,
    progress: Progress | None = None,
) -> tuple[float, Matrix, tuple[int, int]]:
    """Return the unsigned least distance of two meshes.

    Parameters
    ----------
    pose : (4, 4) ndarray
        Places the first mesh in the second's frame.
    tolerance_mm : float
        The search stops at the first distance not above it.

    Returns
    -------
    distance_mm : float
    points : (2, 3) ndarray
        The two points, in the second mesh's frame.
    triangles : (int, int)
        Face indices of the meshes.
    """
    if is_smaller(first, second):
        # The larger one's nodes are opened first, which visits fewer pairs.
        distance, points, faces = still_distance(
            second, first, inverse(pose), tolerance_mm=tolerance_mm, progress=progress
        )
        return distance, points[::-1] @ pose[:3, :3].T + pose[:3, 3], faces[::-1]
    a = space_tree(first, part(progress, 0.0, 0.4))
    b = space_tree(second, part(progress, 0.4, 0.8))
    turn = np.ascontiguousarray(pose[:3, :3])
    shift = np.ascontiguousarray(pose[:3, 3])
    upper, witness, triangles = _seed(a, turn, shift, b)
    slack = 1e-12 * (np.abs(mesh_bounds(first)).max() + np.abs(mesh_bounds(second)).max() + 1)
    place = (turn, shift, bool((pose == _IDENTITY).all()))
    tree_a = (a.vertices, a.faces, a.boxes, a.level_start)
    tree_b = (b.vertices, b.faces, b.boxes, b.level_start)
    hit, counts = np.array(triangles, np.int64), np.zeros(2, np.int64)
    exact = min(EXACT_MM, tolerance_mm)
    low, high = mesh_bounds(second)
    corners = np.stack(np.meshgrid(*zip(low, high, strict=True), indexing="ij"), -1).reshape(-1, 3)
    corners = (corners - shift) @ turn
    box = np.stack([corners.min(axis=0), corners.max(axis=0)])
    # Piece after piece, nearest first, each with the bound found so far.
    for level, node in nearest_first(a, b, box):
        if upper <= tolerance_mm:
            break
        upper = kernels.search_space(
            *tree_a, *place, level, node, *tree_b, upper, exact, slack, witness, hit, counts,
            stop_of(progress),
        )  # fmt: skip
        check(progress)
    return (
        float(upper),
        witness.reshape(2, 3),
        (int(a.order[hit[0]]), int(b.order[hit[1]])),
    )


def is_smaller(first: Mesh, second: Mesh) -> bool:
    """Whether the second is the larger mesh, of equally large ones by content.

    So a pair is searched from the same side in either order.
    """
    if len(first.faces) != len(second.faces):
        return len(first.faces) < len(second.faces)
    return first is not second and first.sha256 < second.sha256


def _seed(
    a: SpaceTree, turn: Matrix, shift: Matrix, b: SpaceTree
) -> tuple[float, Matrix, tuple[int, int]]:
    # A handful of corners, nearest first by their own search, bounds all that follows.
    count = min(8, len(a.faces))
    rows = (np.arange(count) * len(a.faces)) // count
    points = a.vertices[a.faces[rows, 0]] @ turn.T + shift
    distance, nearest, triangle = query(points, b, np.inf)
    k = int(np.argmin(distance))
    witness = np.concatenate([points[k], nearest[k]])
    return float(distance[k]), witness, (int(rows[k]), int(triangle[k]))


def query(
    points: Matrix, tree: SpaceTree, limit_mm: float, progress: Progress | None = None
) -> tuple[Matrix, Matrix, NDArray[np.int64]]:
    """Return (distance (n,), nearest (n, 3), tree position (n,)) of `points`."""
    from clearturn.gap._kernels_tree import codes_of_points
    from clearturn.gap.tree import scale_of, sorted_order

    n = len(points)
    points = np.ascontiguousarray(points)
    distance, nearest = np.empty(n), np.empty((n, 3))
    triangle = np.empty(n, np.int64)
    if n == 0:
        return distance, nearest, triangle
    low, high = points.min(axis=0), points.max(axis=0)
    codes = np.empty(n, np.uint32)
    codes_of_points(points, low, scale_of(np.stack([low, high]), 1023), 0, n, codes)
    order = sorted_order(codes, 30)
    threads.run(
        lambda s, e: kernels.nearest_points(
            points, order, s, e, min(limit_mm, 1e15),
            tree.vertices, tree.faces, tree.boxes, tree.level_start, distance, nearest, triangle,
        ),
        threads.spans(n, 4096),
        progress,
    )  # fmt: skip
    return distance, nearest, triangle


def still_gap(
    first: Mesh,
    second: Mesh,
    *,
    tolerance_mm: float = 1e-3,
    pose_first: ArrayLike | None = None,
    pose_second: ArrayLike | None = None,
    freeing: bool = False,
    progress: Progress | None = None,
) -> Gap:
    """Return the least gap of two meshes that do not turn relative to each other.

    Parameters
    ----------
    first, second : Mesh
    tolerance_mm : float
        Up to this distance parts count as touching; the interval is at most this wide when apart.
    pose_first, pose_second : (4, 4) array_like, optional
        Rigid, row-major; place the meshes in one frame.
    freeing : bool
        Whether of parts that interfere the least shift each way is told as well, which takes many
        times as long.
    progress : Progress, optional

    Returns
    -------
    Gap

    Raises
    ------
    InputError
        If a mesh has no triangles or a pose is not rigid.
    Cancelled
        If `progress` was cancelled.
    """
    from clearturn.gap.state import still_state

    need_faces(first, second)
    p1, p2 = rigid(pose_first), rigid(pose_second)
    relative = inverse(p2) @ p1 if p1 is not p2 else _IDENTITY
    distance, points, hits = still_distance(
        first, second, relative, tolerance_mm=tolerance_mm, progress=part(progress, 0.0, 0.7)
    )
    gap = as_gap(distance, points, hits, p2, tolerance_mm)
    gap = still_state(
        gap, first, second, p1, p2,
        tolerance_mm=tolerance_mm, progress=part(progress, 0.7, 0.8 if freeing else 1.0),
    )  # fmt: skip
    if not freeing:
        return gap
    from clearturn.gap.freeing import with_freeing

    return with_freeing(
        gap, first, second, p1, p2, None,
        tolerance_mm=tolerance_mm, progress=part(progress, 0.8, 1.0),
    )  # fmt: skip


def as_gap(
    distance: float, points: Matrix, hits: tuple[int, int], pose_second: Matrix, tolerance_mm: float
) -> Gap:
    """Return what `still_distance` found as a gap in the common frame, touching or apart."""
    points = points @ pose_second[:3, :3].T + pose_second[:3, 3]
    step = points[1] - points[0]
    length = float(np.linalg.norm(step))
    near = distance <= tolerance_mm
    # Once for the search's own tolerance, once for nearly parallel edges.
    lower = 0.0 if near else max(0.0, distance - 2 * min(EXACT_MM, tolerance_mm / 2))
    return Gap(
        state=State.TOUCHING if near else State.APART,
        gap_mm=Interval(lower, distance),
        first_point_mm=points[0],
        second_point_mm=points[1],
        first_triangle=hits[0],
        second_triangle=hits[1],
        direction=step / length if length > 0 else np.zeros(3),
    )
