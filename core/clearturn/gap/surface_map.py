"""Distance of many points to a surface, signed by winding number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn import threads
from clearturn.errors import InputError
from clearturn.gap import _kernels_map as kernels
from clearturn.gap import _kernels_still as still_kernels
from clearturn.gap.meridian import axis_frame, meridian_image, project
from clearturn.gap.model import Z_AXIS, Axis
from clearturn.gap.still import query
from clearturn.gap.tree import SpaceTree, space_tree
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part

Matrix = NDArray[np.float64]
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
    limit = np.inf if limit_mm is None else float(limit_mm)
    if turning:
        return _turning(p, mesh, axis, limit, progress)
    tree = space_tree(mesh, part(progress, 0.0, 0.3))
    distance, nearest, at = query(p, tree, limit, part(progress, 0.3, 0.7))
    triangle = np.where(at >= 0, tree.order[np.maximum(at, 0)], -1).astype(np.int64)
    known = np.ones(len(p), np.bool_)
    if signed and len(p):
        number = winding(p, mesh, part(progress, 0.7, 1.0))
        # Reversed normals give -1 inside: the size decides.
        size = np.abs(number)
        known = (size >= INSIDE) | (size <= OUTSIDE)
        distance = np.where(size >= INSIDE, -distance, distance)
    return SurfaceDistances(distance, nearest, triangle, known)


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


def _turning(
    points: Matrix, mesh: Mesh, axis: Axis, limit: float, progress: Progress | None
) -> SurfaceDistances:
    image = meridian_image(mesh, axis, None, part(progress, 0.0, 0.4))
    rotation, shift = axis_frame(axis)
    _, rz = project(points, rotation, shift)
    n = len(points)
    distance, nearest = np.empty(n), np.empty((n, 3))
    at = np.empty(n, np.int64)
    threads.run(
        lambda s, e: kernels.nearest_in_plane(
            rz, s, e, min(limit, 1e15), image.xyz, image.faces, image.boxes, image.level_start,
            distance, nearest, at,
        ),
        threads.spans(n, 4096),
        part(progress, 0.4, 1.0),
    )  # fmt: skip
    triangle = np.where(at >= 0, image.order[np.maximum(at, 0)], -1).astype(np.int64)
    return SurfaceDistances(distance, (nearest - shift) @ rotation, triangle, np.ones(n, np.bool_))
