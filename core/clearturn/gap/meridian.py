"""The meridian image of a mesh about an axis, in a search tree."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearturn import threads
from clearturn.gap import _kernels_cull as cull_kernels
from clearturn.gap import _kernels_tree as tree_kernels
from clearturn.gap import _kernels_turning as kernels
from clearturn.gap.model import Axis
from clearturn.gap.tree import (
    PIECE,
    bounds_of,
    level_starts,
    scale_of,
    sorted_order,
)
from clearturn.mesh import Mesh
from clearturn.progress import Progress

Matrix = NDArray[np.float64]
#: Images kept with a mesh: a part that is dragged must not fill the memory.
_KEPT = 3
#: Rounding of a mapped coordinate and of a planar distance, in units of the largest coordinate.
ROUNDING = 16 * float(np.finfo(np.float64).eps)
#: Numbers of two triangles that agree to this, mm, are taken as one's being the other turned;
#: what that can cost a distance is added to the rounding.
_SAME_MM, _LIKE_MM = 1e-10, 1e-9
#: Larger meshes are scans; noise leaves no two of their triangles alike.
_MOST_COMPARED = 400_000


@dataclass(frozen=True, slots=True)
class MeridianImage:
    """A mesh seen as (r, z) about an axis.

    Attributes
    ----------
    xyz : (n, 3) float64
        Vertices in the axis frame (z along the axis, origin at the axis point).
    rz : (n, 2) float64
        Their radius and height.
    order, faces, boxes, level_start
        As in `SpaceTree`; boxes are (nodes, 4, 8): low r z, high r z.
    scale : float
        Greatest coordinate that entered, mm, for the rounding slack.
    """

    xyz: NDArray[np.float64]
    rz: NDArray[np.float64]
    order: NDArray[np.int32]
    faces: NDArray[np.int32]
    boxes: NDArray[np.float32]
    level_start: NDArray[np.int64]
    scale: float
    grid: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)


def axis_frame(axis: Axis) -> tuple[Matrix, Matrix]:
    """Return (rotation (3, 3), shift (3,)) that take space into the axis frame.

    The axis frame has its origin at the axis point and z along the direction; for the z axis
    through the origin it is the frame itself.
    """
    z = axis.direction
    if z[0] == 0.0 and z[1] == 0.0 and z[2] > 0:
        rotation = np.eye(3)
    else:
        helper = np.zeros(3)
        helper[int(np.argmin(np.abs(z)))] = 1.0
        x = np.cross(helper, z)
        x /= np.linalg.norm(x)
        y = np.cross(z, x)
        rotation = np.stack([x, y / np.linalg.norm(y), z])
    return rotation, -rotation @ axis.point


def into_axis_frame(axis: Axis, pose: Matrix | None) -> tuple[Matrix, Matrix]:
    """Return (rotation, shift) that take a mesh under `pose` into the axis frame."""
    rotation, shift = axis_frame(axis)
    if pose is not None:
        # The axis point is subtracted first, so that a far frame loses no digits twice.
        shift = rotation @ (pose[:3, 3] - axis.point)
        rotation = rotation @ pose[:3, :3]
    return np.ascontiguousarray(rotation), np.ascontiguousarray(shift)


def meridian_image(
    mesh: Mesh,
    axis: Axis,
    pose: Matrix | None = None,
    progress: Progress | None = None,
    *,
    whole: bool = False,
) -> MeridianImage:
    """Return the image of `mesh` about `axis`, kept with the mesh for the frames last used.

    With `whole` long triangles stay as they are: cut ones can end exactly on the other surface.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    rotation, shift = into_axis_frame(axis, pose)
    held = kept_image(mesh, rotation, shift, whole=whole)
    if held is None:
        xyz, rz = project(mesh.vertices, rotation, shift, progress)
        held = image_of(xyz, rz, mesh.faces, shift, progress, whole=whole)
        kept: OrderedDict[bytes, MeridianImage] = mesh.cached("meridian images", OrderedDict)
        kept[_key(rotation, shift, whole)] = held
        while len(kept) > _KEPT:
            kept.popitem(last=False)
    return held


def kept_image(
    mesh: Mesh, rotation: Matrix, shift: Matrix, *, whole: bool = False
) -> MeridianImage | None:
    """Return the image of `mesh` for this frame if it is kept, else None."""
    kept: OrderedDict[bytes, MeridianImage] = mesh.cached("meridian images", OrderedDict)
    return kept.get(_key(rotation, shift, whole))


def _key(rotation: Matrix, shift: Matrix, whole: bool) -> bytes:
    return rotation.tobytes() + shift.tobytes() + bytes([whole])


def project(
    vertices: Matrix, rotation: Matrix, shift: Matrix, progress: Progress | None = None
) -> tuple[Matrix, Matrix]:
    """Return (xyz (n, 3) in the axis frame, rz (n, 2))."""
    n = len(vertices)
    xyz, rz = np.empty((n, 3)), np.empty((n, 2))
    threads.run(
        lambda a, b: kernels.project(vertices, rotation, shift, a, b, xyz, rz),
        threads.spans(n, PIECE),
        progress,
    )
    return xyz, rz


def tree_over(
    xyz: Matrix, rz: Matrix, faces: NDArray[np.int32], progress: Progress | None = None
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.float32], NDArray[np.int64]]:
    """Return (order, faces in order, boxes, level starts) of a tree over mapped triangles."""
    m = len(faces)
    low, high = bounds_of(rz, progress)
    per_mm = scale_of(np.stack([low, high]), 2047)
    codes = np.empty(m, np.uint32)
    cuts = threads.spans(m, PIECE)
    threads.run(
        lambda a, b: tree_kernels.codes_in_plane(rz, faces, low, per_mm, a, b, codes),
        cuts,
        progress,
    )
    order = sorted_order(codes, 22, progress)
    taken = np.empty((m, 3), np.int32)
    threads.run(lambda a, b: tree_kernels.take_faces(faces, order, a, b, taken), cuts, progress)
    starts = level_starts(m)
    boxes = np.empty((int(starts[-1]), 4, tree_kernels.WIDTH), np.float32)
    threads.run(
        lambda a, b: kernels.leaf_boxes_in_plane(xyz, rz, taken, a, b, boxes),
        threads.spans(int(starts[1]), PIECE // tree_kernels.WIDTH),
        progress,
    )
    tree_kernels.upper_boxes(boxes, starts)
    return order, taken, boxes, starts


def rounding_scale(xyz: Matrix, shift: Matrix) -> float:
    """Return a bound of the coordinates that entered the mapping, mm: |v| ≤ |R v + s| + |s|."""
    low, high = bounds_of(xyz)
    return float(max(np.abs(low).max(), np.abs(high).max()) + 2 * np.abs(shift).max())


def image_of(
    xyz: Matrix,
    rz: Matrix,
    faces: NDArray[np.int32],
    shift: Matrix,
    progress: Progress | None = None,
    *,
    whole: bool = False,
) -> MeridianImage:
    """Return the image of mapped triangles; `order` names rows of `faces`.

    A body of revolution has each of its triangles many times over, turned about the axis.  All
    have the same image, so one of them stands for all: else every pair of them would tie.
    """
    rows = unlike_faces(xyz, rz, faces)
    scale = rounding_scale(xyz, shift)
    if rows is not None:
        faces = faces[rows]
        scale += _LIKE_MM / ROUNDING
    halved = None if whole else _halved(xyz, rz, faces)
    if halved is not None:
        xyz, rz, faces, origin = halved
        rows = origin if rows is None else rows[origin]
    order, taken, boxes, starts = tree_over(xyz, rz, faces, progress)
    return MeridianImage(
        xyz, rz, order if rows is None else rows[order], taken, boxes, starts, scale
    )


def _halved(
    xyz: Matrix, rz: Matrix, faces: NDArray[np.int32]
) -> tuple[Matrix, Matrix, NDArray[np.int32], NDArray[np.int32]] | None:
    """Long triangles cut up, as (xyz, rz, faces, origin of each), or None if none is long.

    A sliver across a whole section has a box as large as the section, so that it meets every
    triangle of the other part: a few hundred of them turn milliseconds into minutes.
    """
    low, high = bounds_of(rz)
    size = float(np.hypot(*(high - low)))
    room = max(2 * len(faces), 4096)
    most = size / 64
    if size == 0.0 or cull_kernels.count_halved(rz, faces, most, room) == 0.0:
        return None
    while most < size and cull_kernels.count_halved(rz, faces, most, room) >= room:
        most *= 2
    given = len(xyz)
    points, mapped = np.empty((given + room, 3)), np.empty((given + room, 2))
    points[:given], mapped[:given] = xyz, rz
    pieces = np.empty((len(faces) + room, 3), np.int32)
    origin = np.empty(len(faces) + room, np.int32)
    count, number = cull_kernels.halve_long(given, faces, most, points, mapped, pieces, origin)
    if number == len(faces):
        return None
    return points[:count], mapped[:count], pieces[:number], origin[:number]


def unlike_faces(xyz: Matrix, rz: Matrix, faces: NDArray[np.int32]) -> NDArray[np.int32] | None:
    """Rows that stand for all others, or None where hardly any face is another turned."""
    m = len(faces)
    if not 64 <= m <= _MOST_COMPARED:
        return None
    kept = np.empty(m, np.int32)
    table = np.full(1 << int(2 * m - 1).bit_length(), -1, np.int32)
    # A quick look first: noise leaves no two triangles alike.
    probe = faces[:: max(1, m // 4096)]
    count = cull_kernels.unlike_faces(xyz, rz, probe, 1 / _SAME_MM, table, kept)
    if count > 0.7 * len(probe):
        return None
    table.fill(-1)
    count = cull_kernels.unlike_faces(xyz, rz, faces, 1 / _SAME_MM, table, kept)
    return kept[:count].copy()
