"""Distance of many points to a surface, signed by winding number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn import threads
from clearturn.errors import InputError
from clearturn.gap import _kernels_corners as corner_kernels
from clearturn.gap import _kernels_half_plane as plane_kernels
from clearturn.gap import _kernels_map as kernels
from clearturn.gap import _kernels_still as still_kernels
from clearturn.gap.corners import image_corners, morton_order, space_corners
from clearturn.gap.meridian import MeridianImage, axis_frame, meridian_image, project
from clearturn.gap.model import Z_AXIS, Axis
from clearturn.gap.still import query
from clearturn.gap.tree import SpaceTree, mesh_bounds, space_tree
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part

Matrix = NDArray[np.float64]
Rows = NDArray[np.int32]
Found = tuple[Matrix, Matrix, NDArray[np.int64]]
#: From this many points on a tree of corners is worth making.
_MANY = 2_000
_PIECE = 4096
_FARTHEST_MM = 1e15
#: Winding numbers from here on mean inside, up to `OUTSIDE` outside, between: not known.
INSIDE, OUTSIDE = 0.75, 0.25


@dataclass(frozen=True, slots=True)
class SurfaceDistances:
    """Distances of n points to a surface.

    Attributes
    ----------
    distance_mm : (n,) float64
        Negative inside if signed; infinity beyond the limit.
    nearest : (n, 3) float64
        Nearest points of the surface (turning: before the turn, in the frame given); NaN beyond
        the limit.
    triangle : (n,) int64
        Face index, or -1 beyond the limit.
    sign_known : (n,) bool
        False where the winding number does not decide (open surfaces); there the distance is
        positive.
    """

    distance_mm: Matrix
    nearest: Matrix
    triangle: NDArray[np.int64]
    sign_known: NDArray[np.bool_]


def surface_distances(
    points: ArrayLike,
    mesh: Mesh,
    *,
    turning: bool = False,
    axis: Axis = Z_AXIS,
    limit_mm: float | None = None,
    signed: bool = True,
    progress: Progress | None = None,
) -> SurfaceDistances:
    """Return each point's distance to a surface, still or over a full turn.

    Parameters
    ----------
    points : (n, 3) array_like
        mm, in the mesh's frame.
    mesh : Mesh
    turning : bool
        Least distance over a full turn of the mesh about `axis`: planar distance in the meridian
        half plane, to within 1 µm above the true value, never signed.
    limit_mm : float, optional
        Distances beyond it are not looked for.
    signed : bool
        Negative inside (still only).  The magnitude comes from the nearest point, the sign from
        the winding number: signs from surface normals fail on folded scans.
    progress : Progress, optional

    Raises
    ------
    InputError
        If the mesh has no triangles or `points` is not (n, 3).
    Cancelled
        If `progress` was cancelled.
    """
    p = np.ascontiguousarray(points, dtype=np.float64)
    if p.ndim != 2 or p.shape[1] != 3:
        raise InputError("points must be an (n, 3) array", found=f"shape {p.shape}")
    if len(mesh.faces) == 0:
        raise InputError(f"the mesh {mesh.name!r} has no triangles")
    if not len(p):
        return SurfaceDistances(*_blank(0), np.ones(0, np.bool_))
    limit = np.inf if limit_mm is None else float(limit_mm)
    if turning:
        return turning_distances(p, mesh, axis, limit, progress, many=len(p) >= _MANY)
    order = morton_order(p, None)
    distance, nearest, triangle = _still(p, order, mesh, limit, part(progress, 0.0, 0.7))
    known = np.ones(len(p), np.bool_)
    if signed:
        number = _windings(p, order, distance, limit, mesh, part(progress, 0.7, 1.0))
        # Reversed normals give -1 inside: the size decides.
        size = np.abs(number)
        known = (size >= INSIDE) | (size <= OUTSIDE)
        distance = np.where(size >= INSIDE, -distance, distance)
    return SurfaceDistances(distance, nearest, triangle, known)


def _still(
    points: Matrix, order: Rows, mesh: Mesh, limit: float, progress: Progress | None
) -> Found:
    """Return (distance, nearest, triangle); by corners where points and triangles are many."""
    corners = space_corners(mesh, part(progress, 0.0, 0.3)) if len(points) >= _MANY else None
    if corners is None:
        tree = space_tree(mesh, part(progress, 0.0, 0.3))
        distance, nearest, at = query(points, tree, limit, part(progress, 0.3, 1.0))
        return distance, nearest, _named(at, tree.order)
    tree_args = (
        corners.origin, corners.scale, corners.points, corners.leaves, corners.nodes,
        corners.level_start, corners.ring_start, corners.ring,
    )  # fmt: skip
    found = _blank(len(points))
    threads.run(
        lambda s, e: corner_kernels.nearest_in_space(
            points, order, s, e, min(limit, _FARTHEST_MM), *tree_args, *found
        ),
        threads.spans(len(points), _PIECE),
        part(progress, 0.3, 0.9),
    )
    distance, nearest, at = found
    triangle = corners.faces_of(at)
    if len(corners.left_out):
        rest = _left_out(mesh, corners.left_out)
        tree = space_tree(rest)
        ask = _may_be_nearer(points, mesh_bounds(rest), distance, order)
        other = query(points[ask], tree, limit, part(progress, 0.9, 1.0))
        _take_nearer((distance, nearest, triangle), ask, other, corners.left_out[tree.order])
    return distance, nearest, triangle


def _blank(count: int) -> Found:
    return np.empty(count), np.empty((count, 3)), np.empty(count, np.int64)


def _named(at: NDArray[np.int64], faces: Rows) -> NDArray[np.int64]:
    return np.where(at >= 0, faces[np.maximum(at, 0)], -1).astype(np.int64)


def _left_out(mesh: Mesh, rows: Rows) -> Mesh:
    # With its own corners only: the bounds of the whole mesh would say nothing.
    return mesh.cached(("rows", rows.tobytes()), lambda: mesh.part(rows))


def _bounds_of_image(image: MeridianImage) -> Matrix:
    root = image.boxes[-1].astype(np.float64)
    return np.stack([root[:2].min(axis=1), root[2:].max(axis=1)])


def _may_be_nearer(points: Matrix, bounds: Matrix, found: Matrix, order: Rows) -> Rows:
    """Return the rows, in order, of points that are nearer to a box than to what was found."""
    apart = np.maximum(np.maximum(bounds[0] - points, points - bounds[1]), 0.0)
    near = (apart**2).sum(axis=1) < found**2
    asked: Rows = order[near[order]]
    return asked


def _take_nearer(found: Found, ask: Rows, other: Found, faces: Rows) -> None:
    """Put what was found nearer for the rows `ask` into `found`; `faces` names its places."""
    near = other[0] < found[0][ask]
    rows = ask[near]
    found[0][rows] = other[0][near]
    found[1][rows] = other[1][near]
    found[2][rows] = faces[other[2][near]]


def _windings(
    points: Matrix,
    order: Rows,
    distance: Matrix,
    limit: float,
    mesh: Mesh,
    progress: Progress | None,
) -> Matrix:
    """Return the winding number of each point, carried over between neighbours where it may be."""
    corners = space_corners(mesh) if len(points) >= _MANY else None
    if corners is None or len(corners.left_out):
        return winding(points, mesh, progress)
    open_mm = mesh.cached(
        "open length",
        lambda: corner_kernels.open_length(corners.points, corners.ring_start, corners.ring),
    )
    tree = space_tree(mesh, progress)
    moments = mesh.cached("moments", lambda: _moments(tree))
    out = np.empty(len(points))
    threads.run(
        lambda s, e: corner_kernels.windings_in_order(
            points, order, s, e, distance, min(limit, _FARTHEST_MM), open_mm,
            tree.vertices, tree.faces, tree.level_start, moments, out,
        ),
        threads.spans(len(points), _PIECE),
        progress,
    )  # fmt: skip
    return out


def winding(points: Matrix, mesh: Mesh, progress: Progress | None = None) -> Matrix:
    """Return the generalised winding number of `mesh` at each of `points` (n, 3)."""
    tree = space_tree(mesh, progress)
    moments = mesh.cached("moments", lambda: _moments(tree))
    out = np.empty(len(points))
    points = np.ascontiguousarray(points)
    threads.run(
        lambda s, e: still_kernels.winding_numbers(
            points, s, e, tree.vertices, tree.faces, tree.level_start, moments, out
        ),
        threads.spans(len(points), 1024),
        progress,
    )
    return out


def _moments(tree: SpaceTree) -> Matrix:
    moments = np.empty((int(tree.level_start[-1]), 8))
    still_kernels.node_moments(tree.vertices, tree.faces, tree.level_start, moments)
    return moments


def turning_distances(
    points: Matrix,
    mesh: Mesh,
    axis: Axis,
    limit: float,
    progress: Progress | None,
    *,
    many: bool,
) -> SurfaceDistances:
    """Return distances over a full turn; `many` says that a tree of corners is worth making."""
    rotation, shift = axis_frame(axis)
    _, rz = project(points, rotation, shift)
    corners = None
    if many:
        corners = image_corners(mesh, axis, part(progress, 0.0, 0.4))
    if corners is None:
        image = meridian_image(mesh, axis, None, part(progress, 0.0, 0.4))
        distance, nearest, at = _in_plane(rz, image, limit, part(progress, 0.4, 1.0))
        triangle = _named(at, image.order)
    else:
        order = morton_order(rz, None)
        tree_args = (
            corners.origin, corners.scale, corners.dip, corners.within, corners.points,
            corners.mapped, corners.leaves, corners.nodes, corners.level_start,
            corners.ring_start, corners.ring, corners.ring_dip,
        )  # fmt: skip
        found = _blank(len(points))
        threads.run(
            lambda s, e: plane_kernels.nearest_in_half_plane(
                rz, order, s, e, min(limit, _FARTHEST_MM), *tree_args, *found
            ),
            threads.spans(len(points), _PIECE),
            part(progress, 0.4, 0.9),
        )
        distance, nearest, at = found
        triangle = corners.faces_of(at)
        if len(corners.left_out):
            rest = meridian_image(_left_out(mesh, corners.left_out), axis)
            ask = _may_be_nearer(rz, _bounds_of_image(rest), distance, order)
            other = _in_plane(rz[ask], rest, limit, part(progress, 0.9, 1.0))
            _take_nearer((distance, nearest, triangle), ask, other, corners.left_out[rest.order])
    return SurfaceDistances(
        distance, (nearest - shift) @ rotation, triangle, np.ones(len(points), np.bool_)
    )


def _in_plane(rz: Matrix, image: MeridianImage, limit: float, progress: Progress | None) -> Found:
    found = _blank(len(rz))
    threads.run(
        lambda s, e: kernels.nearest_in_plane(
            rz, s, e, min(limit, _FARTHEST_MM), image.xyz, image.faces, image.boxes,
            image.level_start, *found,
        ),
        threads.spans(len(rz), _PIECE),
        progress,
    )  # fmt: skip
    return found
