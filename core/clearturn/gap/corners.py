"""A tree over a surface's corners, for the nearest points of many points."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn import threads
from clearturn.gap import _kernels_corners as kernels
from clearturn.gap import _kernels_tree as tree_kernels
from clearturn.gap.meridian import into_axis_frame, project, unlike_faces
from clearturn.gap.model import Axis
from clearturn.gap.tree import PIECE, bounds_of, level_starts, scale_of, sorted_order
from clearturn.mesh import Mesh
from clearturn.progress import Progress

Matrix = NDArray[np.float64]
Rows = NDArray[np.int32]
#: Surfaces of fewer triangles are asked by their tree of triangles.
FEWEST = 2_000
#: A triangle with edges this many times the usual one's stays out of the tree of corners ...
_LONG = 6.0
#: ... as does one whose image dips this many times as far as the usual one's and farther, mm, ...
_DEEP, _SHALLOW_MM = 3.0, 0.05
#: ... and where those are more than this share, the tree is no help.
_MOST_LEFT_OUT = 0.1
#: Parts of the faces that are told to their corners side by side.
_PARTS = 4
_KEPT = 3


@dataclass(frozen=True, slots=True)
class CornerTree:
    """Corners in Morton order, each with the triangles it belongs to.

    Attributes
    ----------
    origin : (k,) float64
        What the float32 coordinates count from; k is 3 in space, 2 in the meridian half plane.
    scale, dip : float
        Largest coordinate from there; greatest dip of an image, mm.
    within : float
        A twelfth of the longest edge's square, mm².
    points : (n, 3) float64
        Corners in space, in tree order.
    mapped : (n, 2) float64
        Their (r, z); empty in space.
    leaves, nodes, level_start
        See `_kernels_corners`.
    ring_start : (n + 1,) int32
        Where each corner's triangles begin in the next two.
    ring : (c, 4) int32
        The other two corners of each triangle, in tree order, its row among the faces given, and
        the bytes of a float32: how far its image dips, mm, rounded up (0 in space).
    rows : (m,) int32, optional
        Rows in the mesh of the faces given; without it they are all.
    left_out : (q,) int32
        Rows of triangles that are too large for this tree.
    """

    origin: Matrix
    scale: float
    dip: float
    within: float
    points: Matrix
    mapped: Matrix
    leaves: NDArray[np.float32]
    nodes: NDArray[np.float32]
    level_start: NDArray[np.int64]
    ring_start: Rows
    ring: Rows
    rows: Rows | None
    left_out: Rows

    @property
    def ring_dip(self) -> NDArray[np.float32]:
        """The ring's bytes as float32; the last of each row is the dip."""
        return self.ring.view(np.float32)

    def faces_of(self, at: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the rows in the mesh of rows of the ring, -1 for -1."""
        given = self.ring[at, 2].astype(np.int64)
        named = given if self.rows is None else self.rows[given].astype(np.int64)
        return np.where(at >= 0, named, -1)


def space_corners(mesh: Mesh, progress: Progress | None = None) -> CornerTree | None:
    """Return the tree of a mesh's corners, kept with it, or None where it is no help.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    return mesh.cached("corner tree", lambda: _build(mesh.vertices, None, mesh.faces, progress))


def image_corners(mesh: Mesh, axis: Axis, progress: Progress | None = None) -> CornerTree | None:
    """Return the tree of a mesh's mapped corners about an axis, or None where it is no help.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    rotation, shift = into_axis_frame(axis, None)
    kept: OrderedDict[bytes, CornerTree | None] = mesh.cached("corner trees", OrderedDict)
    key = rotation.tobytes() + shift.tobytes()
    if key not in kept:
        xyz, rz = project(mesh.vertices, rotation, shift, progress)
        rows = unlike_faces(xyz, rz, mesh.faces)
        faces = mesh.faces if rows is None else mesh.faces[rows]
        kept[key] = _build(xyz, rz, faces, progress, rows)
        while len(kept) > _KEPT:
            kept.popitem(last=False)
    return kept[key]


def _build(
    xyz: Matrix,
    rz: Matrix | None,
    faces: Rows,
    progress: Progress | None,
    rows: Rows | None = None,
) -> CornerTree | None:
    """Build a tree over points in space or over their images; `rows` names the faces given."""
    if len(faces) < FEWEST:
        return None
    points = xyz if rz is None else rz
    longest2, limit2 = _too_long(points, faces, progress)
    dip, dips = 0.0, np.empty(0)
    if rz is not None:
        dips = np.empty(len(faces))
        _in_pieces(
            len(faces), lambda a, b: kernels.dips_of_images(xyz, rz, faces, a, b, dips), progress
        )
        usual = float(np.median(dips[:: max(1, len(dips) // 4096)]))
        deep = dips > max(_DEEP * usual, _SHALLOW_MM)
        longest2[deep] = np.inf
        dip = float(dips[~deep].max()) if not deep.all() else 0.0
    # A corner is at most a third of the longest edge's square off a place in a face, a quarter off
    # one on an edge; a little more for rounding.
    share = 0.333334 if rz is None else 0.250001
    cuts = threads.spans(len(faces), max(1, -(-len(faces) // _PARTS)))
    row = {cut: k for k, cut in enumerate(cuts)}
    counts = np.zeros((len(cuts), len(points), 2), np.int32)
    reaches2 = counts.view(np.float32)
    left = np.zeros(len(cuts), np.int64)

    def count_part(a: int, b: int) -> None:
        k = row[a, b]
        left[k] = kernels.count_corners(
            faces, longest2, limit2, share, a, b, counts[k], reaches2[k]
        )

    threads.run(count_part, cuts, progress)
    left_out = int(left.sum())
    if left_out > _MOST_LEFT_OUT * len(faces):
        return None
    bounds = bounds_of(points, progress)
    order = _along_curve(points, bounds, progress)
    n = len(points)
    rank, kept, ring_start = np.empty(n, np.int32), np.empty(n, np.int32), np.empty(n + 1, np.int32)
    reach2 = np.empty(n, np.float32)
    n = kernels.lay_out(order, counts, reaches2, rank, kept, ring_start, reach2)
    order, ring_start, reach2 = kept[:n].copy(), ring_start[: n + 1].copy(), reach2[:n].copy()
    ring = np.empty((int(ring_start[-1]), 4), np.int32)
    ring_dip = ring.view(np.float32)
    threads.run(
        lambda a, b: kernels.fill_rings(
            faces, longest2, limit2, dips, rank, a, b, counts[row[a, b]], ring, ring_dip
        ),
        cuts,
        progress,
    )
    sorted_points = _taken(points, order, progress)
    low, high = bounds if n == len(points) else bounds_of(sorted_points)
    origin = 0.5 * (low + high)
    starts = level_starts(len(order))
    axes = points.shape[1]
    leaves = np.empty((int(starts[1]), axes + 1, tree_kernels.WIDTH), np.float32)
    _in_pieces(
        int(starts[1]),
        lambda a, b: kernels.fill_leaves(sorted_points, reach2, origin, a, b, leaves),
        progress,
    )
    nodes = np.empty(
        (max(1, int(starts[-1] - starts[1])), 2 * axes + 1, tree_kernels.WIDTH), np.float32
    )
    kernels.fill_nodes(leaves, len(order), starts, nodes)
    out = np.flatnonzero(longest2 > limit2).astype(np.int32) if left_out else np.empty(0, np.int32)
    if rows is not None:
        out = rows[out]
    return CornerTree(
        origin=origin,
        scale=float(np.abs(high - origin).max()),
        dip=dip,
        within=float(reach2.max(initial=0.0)) / 2.9999,
        points=sorted_points if rz is None else _taken(xyz, order, progress),
        mapped=np.empty((0, 2)) if rz is None else sorted_points,
        leaves=leaves,
        nodes=nodes,
        level_start=starts,
        ring_start=ring_start,
        ring=ring,
        rows=rows,
        left_out=out,
    )


def _taken(points: Matrix, order: Rows, progress: Progress | None) -> Matrix:
    out = np.empty((len(order), points.shape[1]))
    _in_pieces(len(order), lambda a, b: kernels.take_rows(points, order, a, b, out), progress)
    return out


def _in_pieces(count: int, work: Callable[[int, int], object], progress: Progress | None) -> None:
    threads.run(work, threads.spans(count, PIECE), progress)


def _too_long(
    points: Matrix, faces: Rows, progress: Progress | None
) -> tuple[NDArray[np.float32], np.float32]:
    """Return every face's longest edge squared, and from where on it is too long."""
    longest2 = np.empty(len(faces), np.float32)
    _in_pieces(
        len(faces), lambda a, b: kernels.longest_edges(points, faces, a, b, longest2), progress
    )
    usual = float(np.median(longest2[:: max(1, len(faces) // 4096)]))
    return longest2, np.float32(_LONG**2 * usual)


def morton_order(points: Matrix, progress: Progress | None) -> Rows:
    """Return the order of points (n, 2 or 3) along a space-filling curve."""
    return _along_curve(points, bounds_of(points, progress), progress)


def _along_curve(points: Matrix, bounds: tuple[Matrix, Matrix], progress: Progress | None) -> Rows:
    n = len(points)
    low = bounds[0]
    codes = np.empty(n, np.uint32)
    if points.shape[1] == 3:
        per_mm = scale_of(np.stack(bounds), 1023)
        _in_pieces(
            n, lambda a, b: tree_kernels.codes_of_points(points, low, per_mm, a, b, codes), progress
        )
        return sorted_order(codes, 30, progress)
    per_mm = scale_of(np.stack(bounds), 2047)
    _in_pieces(n, lambda a, b: kernels.codes_of_mapped(points, low, per_mm, a, b, codes), progress)
    return sorted_order(codes, 22, progress)
