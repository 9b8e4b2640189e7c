"""Fewer triangles before any sorting: what a coarse distance grid proves to be too far.

Two ways to the same certified answer.  With neither mesh prepared, the small one makes the grid
and the large one is streamed past it.  With the large one's image kept, its own grid is asked about
the leaves of the small one's space tree, so that a moved part is answered without touching most of
either mesh.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn import threads
from clearturn.gap import _kernels_cull as kernels
from clearturn.gap import _kernels_turning as turning_kernels
from clearturn.gap.meridian import MeridianImage, image_of, project
from clearturn.gap.tree import PIECE, SpaceTree, bounds_of, space_tree
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check

Matrix = NDArray[np.float64]
#: Cells along the longer side of a grid; at a caliper's size one is about a millimetre.
_CELLS = 160
#: A grid made of few triangles may be finer; this many cells along the longer side.
_FINE_CELLS = 256
#: So many leaves left by a grid are asked about one by one: fewer are as soon searched.
_MANY_LEAVES = 512
#: Corners of either mesh that are looked at for one near the other part.
_ASKED = 20_000
#: The most promising of the large one's are held against those of the other.
_SEEDS = 3


@dataclass(frozen=True, slots=True)
class DistanceGrid:
    """Distance to an image, one number a cell; bounds by `kernels.bound_at`."""

    low_r: float
    low_z: float
    per_mm: float
    distance: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Seed:
    """A distance that is reached, by vertices of the two meshes (small, then large)."""

    upper: float
    points: Matrix  # (6,) in the axis frame
    vertices: tuple[int, int]

    def faces(self, small: Mesh, large: Mesh) -> tuple[int, int]:
        """Return a face of each mesh that has the vertex; looked for only when it is needed."""
        return _face_with(small, self.vertices[0]), _face_with(large, self.vertices[1])


def grid_of(
    xyz: Matrix, rz: Matrix, faces: NDArray[np.int32], cells: int, progress: Progress | None
) -> DistanceGrid:
    """Return the distance grid of mapped triangles, a tenth wider than them all round."""
    low, high = bounds_of(rz, progress)
    cuts = threads.spans(len(faces), PIECE)
    row = {cut: k for k, cut in enumerate(cuts)}
    least = np.empty(len(cuts))
    while True:
        size = float((high - low).max()) + 1e-6
        pad = 0.1 * size
        cell = (size + 2 * pad) / cells
        shape = np.ceil((high - low + 2 * pad) / cell).astype(np.int64) + 1
        marks = np.zeros(shape, np.uint8)
        r0, z0 = low - pad

        def mark(
            start: int,
            stop: int,
            r0: float = r0,
            z0: float = z0,
            cell: float = cell,
            marks: NDArray[np.uint8] = marks,
        ) -> None:
            least[row[start, stop]] = kernels.mark_triangles(
                xyz, rz, faces, start, stop, r0, z0, 1 / cell, marks
            )

        threads.run(mark, cuts, progress)
        if least.min() >= r0:
            break
        # An image may dip towards the axis below all its corners: widen the grid and mark anew.
        low = np.array([least.min(), low[1]])
    distance = np.empty(shape, np.float32)
    kernels.distance_grid(marks, cell, distance)
    return DistanceGrid(float(r0), float(z0), 1 / cell, distance)


def soup_image(
    mesh: Mesh, kept: NDArray[np.int32], rotation: Matrix, shift: Matrix
) -> MeridianImage:
    """Return the image of the kept faces only; `order` names faces of the whole mesh."""
    n = len(kept)
    xyz, rz = np.empty((3 * n, 3)), np.empty((3 * n, 2))
    soup = np.empty((n, 3), np.int32)
    kernels.take_soup(mesh.vertices, mesh.faces, kept, rotation, shift, xyz, rz, soup)
    image = image_of(xyz, rz, soup, shift)
    return replace(image, order=kept[image.order])


def both_unprepared(
    small: Mesh,
    small_frame: tuple[Matrix, Matrix],
    large: Mesh,
    large_frame: tuple[Matrix, Matrix],
    progress: Progress | None,
) -> tuple[MeridianImage, MeridianImage, Seed]:
    """Return images of what is left of both meshes, and a distance that is reached."""
    xyz, rz = project(small.vertices, *small_frame, progress)
    grid = grid_of(xyz, rz, small.faces, _CELLS, progress)
    bound, nearest = _bound_vertices(large, large_frame, grid, progress)
    seed = _seed_from_vertices(large, large_frame, nearest, small, xyz, rz)
    kept = _stream(
        len(large.faces),
        lambda s, e, out: kernels.keep_faces(
            large.vertices, large.faces, bound, seed.upper, s, e, out
        ),
        progress,
    )
    large_image = soup_image(large, kept, *large_frame)
    # The few that are left make a finer grid, which thins out the small mesh in turn.
    fine = grid_of(large_image.xyz, large_image.rz, large_image.faces, _FINE_CELLS, progress)
    where = (fine.distance, fine.low_r, fine.low_z, fine.per_mm)
    bound = np.empty(len(rz), np.float32)
    threads.run(
        lambda s, e: kernels.bound_mapped(rz, s, e, *where, bound),
        threads.spans(len(rz), PIECE),
        progress,
    )
    rows = _stream(
        len(small.faces),
        lambda s, e, out: kernels.keep_faces(
            small.vertices, small.faces, bound, seed.upper, s, e, out
        ),
        progress,
    )
    out = np.empty(len(rows), np.int32)
    count = kernels.keep_boxes(xyz, rz, small.faces[rows], *where, seed.upper, 0, len(rows), out)
    kept = rows[out[:count]]
    return soup_image(small, kept, *small_frame), large_image, seed


def kept_grid(image: MeridianImage, progress: Progress | None) -> DistanceGrid:
    """Return the grid of a kept image, made once for it."""
    if "grid" not in image.grid:
        image.grid["grid"] = grid_of(image.xyz, image.rz, image.faces, _FINE_CELLS, progress)
    grid: DistanceGrid = image.grid["grid"]
    return grid


def one_prepared(
    small: Mesh,
    frame: tuple[Matrix, Matrix],
    image: MeridianImage,
    grid: DistanceGrid,
    progress: Progress | None,
) -> tuple[MeridianImage, Seed]:
    """Return the image of what is left of `small` before a kept image, and a reached distance."""
    tree = space_tree(small, progress)
    leaves = int(tree.level_start[1])
    low = np.empty(leaves)
    where = (grid.distance, grid.low_r, grid.low_z, grid.per_mm)
    kernels.keep_clusters(tree.boxes, leaves, *frame, *where, low)
    seed = seed_from_leaves(small, tree.order, low, frame, image)
    nodes = np.flatnonzero(low <= seed.upper)
    if len(nodes) >= _MANY_LEAVES:
        nodes = near_leaves(tree, nodes, frame, image, seed.upper, progress)
    rows = (nodes[:, None] * 8 + np.arange(8)[None]).ravel()
    kept = tree.order[rows[rows < len(tree.faces)]]
    check(progress)
    n = len(kept)
    xyz, rz = np.empty((3 * n, 3)), np.empty((3 * n, 2))
    soup = np.empty((n, 3), np.int32)
    kernels.take_soup(small.vertices, small.faces, kept, *frame, xyz, rz, soup)
    out = np.empty(n, np.int32)
    count = kernels.keep_boxes(xyz, rz, soup, *where, seed.upper, 0, n, out)
    image_left = image_of(xyz, rz, soup[out[:count]], frame[1])
    return replace(image_left, order=kept[out[image_left.order]]), seed


def near_leaves(
    tree: SpaceTree,
    nodes: NDArray[np.int64],
    frame: tuple[Matrix, Matrix],
    image: MeridianImage,
    upper: float,
    progress: Progress | None,
) -> NDArray[np.int64]:
    """Return the leaves that no box of an image's tree shows to be farther than `upper`."""
    keep = np.empty(len(nodes), np.uint8)
    threads.run(
        lambda s, e: kernels.near_leaves(
            tree.boxes, nodes, s, e, *frame, image.boxes, image.level_start, upper, keep
        ),
        threads.spans(len(nodes), _MANY_LEAVES),
        progress,
    )
    found: NDArray[np.int64] = nodes[keep != 0]
    return found


def _bound_vertices(
    mesh: Mesh, frame: tuple[Matrix, Matrix], grid: DistanceGrid, progress: Progress | None
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Lower bound of every vertex, and a few that may be near, from pieces of the faces."""
    bound = np.empty(len(mesh.vertices), np.float32)
    where = (grid.distance, grid.low_r, grid.low_z, grid.per_mm)
    threads.run(
        lambda s, e: kernels.bound_vertices(mesh.vertices, *frame, s, e, *where, bound),
        threads.spans(len(bound), PIECE),
        progress,
    )
    cuts = threads.spans(len(mesh.faces), PIECE)
    step = max(1, len(mesh.faces) // _ASKED)
    rows = np.array(
        [kernels.most_promising(mesh.faces, bound, s, e, step) for s, e in cuts], np.int64
    )
    return bound, rows[np.argsort(bound[rows], kind="stable")[:_SEEDS]]


def _seed_from_vertices(
    large: Mesh,
    frame: tuple[Matrix, Matrix],
    rows: NDArray[np.int64],
    small: Mesh,
    xyz: Matrix,
    rz: Matrix,
) -> Seed:
    """A corner of the small mesh about as near as any to one of a few vertices of the large."""
    points, mapped = project(large.vertices[rows], *frame)
    found = [np.zeros(1, np.int64) for _ in rows]
    # Corners of faces: a vertex that no face uses is no part of the surface.
    corners = np.ascontiguousarray(small.faces[:: max(1, len(small.faces) // _ASKED), 0])
    squared = np.array(
        [
            kernels.nearest_mapped(p[0], p[1], rz, corners, at)
            for p, at in zip(mapped, found, strict=True)
        ]
    )
    k = int(np.argmin(squared))
    corner = int(found[k][0])
    witness = np.concatenate([xyz[corner], points[k]])
    return Seed(turning_kernels.meridian_distance(witness), witness, (corner, int(rows[k])))


def _face_with(mesh: Mesh, vertex: int) -> int:
    return int(np.argmax((mesh.faces == vertex).any(axis=1)))


def seed_from_leaves(
    small: Mesh,
    order: NDArray[np.int32],
    low: Matrix,
    frame: tuple[Matrix, Matrix],
    image: MeridianImage,
) -> Seed:
    """The nearest corner of a kept image to the first corner of the most promising leaves."""
    count = min(12, len(low))
    best = np.sort(np.argpartition(low, count - 1)[:count])
    corners = small.faces[order[best * 8], 0]
    points, mapped = project(small.vertices[corners], *frame)
    witness, hit = np.zeros(6), np.zeros(2, np.int64)
    tri = np.repeat(np.arange(count, dtype=np.int32)[:, None], 3, axis=1)
    upper = turning_kernels.seed(
        points, mapped, tri, 1,
        image.xyz, image.rz, image.faces, image.boxes, image.level_start, witness, hit,
    )  # fmt: skip
    at = image.faces[hit[1]]
    corner = int(at[np.argmin(np.abs(image.xyz[at] - witness[3:]).sum(axis=1))])
    return Seed(upper, witness, (int(corners[hit[0]]), corner))


def _stream(
    count: int, keep: Callable[[int, int, NDArray[np.int32]], int], progress: Progress | None
) -> NDArray[np.int32]:
    """Run a keeping kernel over all faces in fixed pieces; return the rows kept, in order."""
    out = np.empty(count, np.int32)
    cuts = threads.spans(count, PIECE)
    kept = np.zeros(len(cuts), np.int64)
    row = {cut: k for k, cut in enumerate(cuts)}

    def work(start: int, stop: int) -> None:
        kept[row[start, stop]] = keep(start, stop, out)

    threads.run(work, cuts, progress)
    return np.concatenate([out[s : s + k] for (s, _), k in zip(cuts, kept, strict=True)])
