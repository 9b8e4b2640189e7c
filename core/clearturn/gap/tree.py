"""Search trees over triangles: Morton order, eight children a node, boxes rounded outward."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from clearturn import threads
from clearturn.gap import _kernels_tree as kernels
from clearturn.mesh import Mesh
from clearturn.progress import Progress

#: Triangles per piece of work; a fixed cut, so that results do not depend on threads.  Finer than
#: the work asks for: a coarse last piece would leave the other threads idle.
PIECE = 16_384
#: Below this many, numbers are sorted in one piece.
_SORTED_AT_ONCE = 262_144


@dataclass(frozen=True, slots=True)
class SpaceTree:
    """A mesh's triangles in a tree in space; made once for a mesh, in its own frame.

    Attributes
    ----------
    order : (m,) int32
        Face index of the mesh for each triangle in tree order.
    faces : (m, 3) int32
        Faces in tree order.
    boxes : (nodes, 6, 8) float32
        Boxes of the children, low xyz then high xyz, rounded outward.
    level_start : (levels + 1,) int64
        First node of each level; the last entry is the number of nodes.
    """

    vertices: NDArray[np.float64]
    order: NDArray[np.int32]
    faces: NDArray[np.int32]
    boxes: NDArray[np.float32]
    level_start: NDArray[np.int64]

    @property
    def levels(self) -> int:
        """Number of levels."""
        return len(self.level_start) - 1


def space_tree(mesh: Mesh, progress: Progress | None = None) -> SpaceTree:
    """Return the tree of `mesh`, made on first use and kept with it.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    return mesh.cached("space tree", lambda: _build(mesh, progress))


def level_starts(count: int) -> NDArray[np.int64]:
    """Return the first node of each level for `count` triangles, ending with the node count."""
    starts = [0]
    nodes = (count + kernels.WIDTH - 1) // kernels.WIDTH
    total = nodes
    while nodes > 1:
        starts.append(total)
        nodes = (nodes + kernels.WIDTH - 1) // kernels.WIDTH
        total += nodes
    starts.append(total)
    return np.array(starts, np.int64)


def sorted_order(
    codes: NDArray[np.uint32], bits: int, progress: Progress | None = None
) -> NDArray[np.int32]:
    """Return the stable order that sorts `codes` (their low `bits`), radix sort on our threads."""
    n = len(codes)
    if n < _SORTED_AT_ONCE:
        cuts = [(0, n)]
    else:
        cuts = threads.spans(n, (n + 3) // 4)
    keys, keys_out = codes.copy(), np.empty_like(codes)
    order, order_out = np.arange(n, dtype=np.int32), np.empty(n, np.int32)
    counts = np.empty((len(cuts), 2048), np.int64)
    for shift in range(0, bits, 11):
        _one_digit(shift, cuts, counts, (keys, order), (keys_out, order_out), progress)
        keys, keys_out = keys_out, keys
        order, order_out = order_out, order
    return order


def _one_digit(
    shift: int,
    cuts: list[tuple[int, int]],
    counts: NDArray[np.int64],
    source: tuple[NDArray[np.uint32], NDArray[np.int32]],
    target: tuple[NDArray[np.uint32], NDArray[np.int32]],
    progress: Progress | None,
) -> None:
    """Sort keys and order by the eleven bits from `shift` on."""
    row = {cut: k for k, cut in enumerate(cuts)}

    def count(start: int, stop: int) -> None:
        kernels.histogram(source[0], shift, start, stop, counts[row[start, stop]])

    def move(start: int, stop: int) -> None:
        kernels.scatter(*source, shift, start, stop, counts[row[start, stop]], *target)

    threads.run(count, cuts, progress)
    kernels.offsets_of(counts)
    threads.run(move, cuts, progress)


def scale_of(bounds: NDArray[np.float64], cells: int) -> float:
    """Return cells per mm so that the widest side of `bounds` has `cells` cells."""
    widest = float((bounds[1] - bounds[0]).max())
    return cells / widest if widest > 0 else 0.0


def bounds_of(
    points: NDArray[np.float64], progress: Progress | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return least and greatest coordinates of `points` (n, k); numpy's own takes ten times it."""
    cuts = threads.spans(len(points), PIECE)
    found = np.empty((len(cuts), 2, points.shape[1]))
    row = {cut: i for i, cut in enumerate(cuts)}
    threads.run(lambda a, b: kernels.bounds_of(points, a, b, found[row[a, b]]), cuts, progress)
    return found[:, 0].min(axis=0), found[:, 1].max(axis=0)


def mesh_bounds(mesh: Mesh) -> NDArray[np.float64]:
    """Return least and greatest coordinates of a mesh, (2, 3), kept with it."""
    return mesh.cached("kernel bounds", lambda: np.stack(bounds_of(mesh.vertices)))


def _build(mesh: Mesh, progress: Progress | None) -> SpaceTree:
    vertices, faces = mesh.vertices, mesh.faces
    m = len(faces)
    bounds = mesh_bounds(mesh)
    per_mm = scale_of(bounds, 1023)
    codes = np.empty(m, np.uint32)
    cuts = threads.spans(m, PIECE)
    threads.run(
        lambda a, b: kernels.codes_in_space(vertices, faces, bounds[0], per_mm, a, b, codes),
        cuts,
        progress,
    )
    order = sorted_order(codes, 30, progress)
    taken = np.empty((m, 3), np.int32)
    threads.run(lambda a, b: kernels.take_faces(faces, order, a, b, taken), cuts, progress)
    starts = level_starts(m)
    boxes = np.empty((int(starts[-1]), 6, kernels.WIDTH), np.float32)
    leaves = int(starts[1])
    threads.run(
        lambda a, b: kernels.leaf_boxes_in_space(vertices, taken, a, b, boxes),
        threads.spans(leaves, PIECE // kernels.WIDTH),
        progress,
    )
    kernels.upper_boxes(boxes, starts)
    return SpaceTree(vertices, order, taken, boxes, starts)


def used_vertices(mesh: Mesh, progress: Progress | None = None) -> NDArray[np.uint8]:
    """Return 1 for every vertex that a face uses, (n,); others are no part of the surface."""

    def mark() -> NDArray[np.uint8]:
        used = np.zeros(len(mesh.vertices), np.uint8)
        cuts = threads.spans(len(mesh.faces), PIECE)
        threads.run(lambda a, b: kernels.mark_used(mesh.faces, a, b, used), cuts, progress)
        return used

    return mesh.cached("used vertices", mark)


class Tree(Protocol):
    """What every search tree has."""

    @property
    def boxes(self) -> NDArray[np.float32]:
        """Boxes of the children of every node, (nodes, 2 × axes, 8)."""

    @property
    def level_start(self) -> NDArray[np.int64]:
        """First node of each level, ending with the node count."""


def nearest_first(
    first: Tree, second: Tree, box: NDArray[np.float64] | None = None, *, down: int = 1
) -> list[tuple[int, int]]:
    """Return (level, node) of the pieces a search over `first` is cut into, nearest first.

    `box` (2, axes) stands for all of `second`; by default it is taken from its root.  The pieces
    lie `down` levels below the root.
    """
    top = len(first.level_start) - 2
    level = max(0, top - down)
    if top == 0:
        return [(0, 0)]
    if box is None:
        root = second.boxes[-1].astype(np.float64)
        axes = len(root) // 2
        box = np.stack([root[:axes].min(axis=1), root[axes:].max(axis=1)])
    axes = box.shape[1]
    # A node's box stands among the children of the node above it.
    count = int(first.level_start[level + 1] - first.level_start[level])
    above = first.boxes[first.level_start[level + 1] : first.level_start[level + 2]]
    boxes = above.astype(np.float64).transpose(0, 2, 1).reshape(-1, 2 * axes)[:count]
    low, high = boxes[:, :axes], boxes[:, axes:]
    apart = np.maximum(np.maximum(low - box[1], box[0] - high), 0.0)
    order = np.argsort((apart**2).sum(axis=1), kind="stable")
    return [(level, int(node)) for node in order]
