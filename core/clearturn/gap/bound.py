"""Lower bounds of a gap from a handful of boxes, without any search (docs/methods/gap.md)."""

from __future__ import annotations

import heapq
import math

import numpy as np
from numpy.typing import NDArray

from clearturn.gap import _kernels_cull as cull_kernels
from clearturn.gap.cull import DistanceGrid, kept_grid, seed_from_leaves
from clearturn.gap.meridian import MeridianImage, into_axis_frame
from clearturn.gap.model import Axis
from clearturn.gap.still import inverse
from clearturn.gap.tree import SpaceTree, mesh_bounds, space_tree
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check

Matrix = NDArray[np.float64]
#: Boxes of a mesh: enough to see a hollow, few enough to compare all with all in a millisecond.
_MOST_BOXES = 128
#: Leaves that are looked at triangle by triangle in one go.
_AT_ONCE = 2048
#: Rounding of a box that was turned and of its distance, in units of the largest coordinate.
_ROUNDING = 64 * float(np.finfo(np.float64).eps)


def one_box(mesh: Mesh) -> Matrix:
    """Return the box round a mesh in its own frame, (1, 2, 3): least, then greatest corner."""
    return mesh_bounds(mesh)[None]


def few_boxes(mesh: Mesh, progress: Progress | None = None) -> Matrix:
    """Return at most 135 boxes that hold all triangles of a mesh, (k, 2, 3), from its tree.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    tree = space_tree(mesh, progress)
    return mesh.cached("few boxes", lambda: _opened(tree))


def _opened(tree: SpaceTree) -> Matrix:
    """Open the largest box again and again: one that reaches across a hollow holds nothing there.

    Triangles that follow each other along the tree's curve may lie far apart, so boxes of one level
    differ much in size.
    """
    heap: list[tuple[float, int, int, Matrix]] = []

    def push_children(level: int, node: int) -> None:
        both = tree.boxes[tree.level_start[level] + node].astype(np.float64).reshape(2, 3, -1)
        for child in np.flatnonzero(both[0, 0] <= both[1, 0]):
            box = both[:, :, child]
            size = float(np.linalg.norm(box[1] - box[0]))
            # Level −1 are the triangles themselves; node numbers make every entry different.
            heapq.heappush(heap, (-size, level - 1, 8 * node + int(child), box))

    push_children(tree.levels - 1, 0)
    final: list[Matrix] = []
    while heap and len(heap) + len(final) < _MOST_BOXES:
        _, level, node, box = heapq.heappop(heap)
        if level < 0:
            final.append(box)
        else:
            push_children(level, node)
    return np.stack(final + [entry[3] for entry in heap])


def still_bound(first: Matrix, second: Matrix, relative: Matrix) -> float:
    """Return what two sets of boxes are at least apart in space, mm.

    Parameters
    ----------
    first, second : (k, 2, 3), (m, 2, 3) ndarray
        Each in the frame of its mesh.
    relative : (4, 4) ndarray
        Places the first in the second's frame; rigid.
    """
    back = inverse(relative)
    one = _between(_moved(first, relative[:3, :3], relative[:3, 3]), second)
    other = _between(first, _moved(second, back[:3, :3], back[:3, 3]))
    scale = np.abs(first).max() + np.abs(second).max() + np.abs(relative[:3, 3]).max()
    return _less_rounding(max(one, other), float(scale))


def turning_bound(
    first: Matrix, second: Matrix, axis: Axis, pose_first: Matrix, pose_second: Matrix
) -> float:
    """Return what two sets of boxes are at least apart over a full turn about an axis, mm."""
    rings, scale = [], 0.0
    for boxes, pose in ((first, pose_first), (second, pose_second)):
        rotation, shift = into_axis_frame(axis, pose)
        rings.append(_swept(_moved(boxes, rotation, shift)))
        scale += float(np.abs(boxes).max() + np.abs(shift).max())
    return _less_rounding(_between(*rings), scale)


def image_bound(
    mesh: Mesh,
    image: MeridianImage,
    axis: Axis,
    pose: Matrix,
    *,
    enough_mm: float = math.inf,
    progress: Progress | None = None,
) -> float:
    """Return what a mesh is at least apart from a meridian image about the same axis, mm.

    The image's grid of distances is asked about the balls round the leaves of the mesh's tree, then
    about the single triangles of the leaves it does not find `enough_mm` away: some leaves reach
    far, since triangles that follow each other along the tree's curve may be far apart.  Nothing is
    nearer in space than in the half plane, so the bound holds for parts that stand still, too.
    """
    tree = space_tree(mesh, progress)
    frame, grid = into_axis_frame(axis, pose), kept_grid(image, progress)
    leaves = tree.boxes[: int(tree.level_start[1])]
    low = _from_grid(leaves, frame, grid)
    scale = image.scale + float(np.abs(mesh_bounds(mesh)).max())
    if low.min() < enough_mm < math.inf:
        seed = seed_from_leaves(mesh, tree.order, low, frame, image)
        if seed.upper < enough_mm:
            # Nearer than is enough: a finer bound would only be thrown away.
            return _less_rounding(float(low.min()), scale)
    near = np.flatnonzero(low < enough_mm)
    # Outside the grid the bound is loose; there the box round the image says more.
    low[near] = np.maximum(low[near], _from_box(leaves[near], frame, image))
    near = near[low[near] < enough_mm]
    near = near[np.argsort(low[near], kind="stable")]
    fine = float(np.delete(low, near).min(initial=math.inf))
    for start in range(0, len(near), _AT_ONCE):
        check(progress)
        single = leaves[near[start : start + _AT_ONCE]].transpose(0, 2, 1).reshape(-1, 6, 1)
        single = single[single[:, 0, 0] <= single[:, 3, 0]]
        boxes = np.ascontiguousarray(np.broadcast_to(single, (len(single), 6, leaves.shape[2])))
        found = np.maximum(_from_grid(boxes, frame, grid), _from_box(single, frame, image))
        fine = min(fine, float(found.min()))
        if fine < enough_mm:
            # Near indeed; what the leaves not looked at say is all that holds.
            rest = near[start + _AT_ONCE :]
            fine = min(fine, float(low[rest].min(initial=math.inf)))
            break
    return _less_rounding(fine, scale)


def _from_box(
    leaves: NDArray[np.float32], frame: tuple[Matrix, Matrix], image: MeridianImage
) -> Matrix:
    """What each leaf is apart from the box round a whole image."""
    low, high = leaves[:, :3].min(axis=2), leaves[:, 3:].max(axis=2)
    rings = _swept(_moved(np.stack([low, high], axis=1).astype(np.float64), *frame))
    root = image.boxes[-1].astype(np.float64)
    least, most = root[:2].min(axis=1), root[2:].max(axis=1)
    apart: Matrix = np.linalg.norm(_beyond(rings, np.stack([least, most])), axis=-1)
    return apart


def _from_grid(
    boxes: NDArray[np.float32], frame: tuple[Matrix, Matrix], grid: DistanceGrid
) -> Matrix:
    low = np.empty(len(boxes))
    cull_kernels.keep_clusters(
        boxes, len(boxes), *frame, grid.distance, grid.low_r, grid.low_z, grid.per_mm, low
    )
    return low


def _moved(boxes: Matrix, rotation: Matrix, shift: Matrix) -> Matrix:
    """Boxes along the new axes round the moved ones: half sizes become |R| h."""
    middle = boxes.mean(axis=1) @ rotation.T + shift
    half = 0.5 * (boxes[:, 1] - boxes[:, 0]) @ np.abs(rotation).T
    return np.stack([middle - half, middle + half], axis=1)


def _swept(boxes: Matrix) -> Matrix:
    """What boxes in the axis frame cover in (r, z) over a full turn, (k, 2, 2)."""
    low, high = boxes[:, 0], boxes[:, 1]
    nearest = np.maximum(np.maximum(low[:, :2], -high[:, :2]), 0.0)
    farthest = np.maximum(np.abs(low[:, :2]), np.abs(high[:, :2]))
    least = np.stack([np.hypot(*nearest.T), low[:, 2]], axis=1)
    most = np.stack([np.hypot(*farthest.T), high[:, 2]], axis=1)
    return np.stack([least, most], axis=1)


def _between(first: Matrix, second: Matrix) -> float:
    """Least distance of any box of one set to any of the other, any number of axes."""
    return float(np.sqrt((_beyond(first[:, None], second[None]) ** 2).sum(axis=2).min()))


def _beyond(one: Matrix, other: Matrix) -> Matrix:
    """How far boxes (…, 2, axes) lie beyond each other along every axis; 0 where they overlap."""
    first, second = one[..., 0, :] - other[..., 1, :], other[..., 0, :] - one[..., 1, :]
    beyond: Matrix = np.maximum(np.maximum(first, second), 0.0)
    return beyond


def _less_rounding(bound: float, scale: float) -> float:
    return max(0.0, bound - _ROUNDING * (scale + bound))
