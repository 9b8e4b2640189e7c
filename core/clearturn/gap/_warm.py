"""Call every kernel of the gap engine once on a tiny corner, so that it is compiled and kept."""

from __future__ import annotations

import numpy as np

from clearturn.gap import Z_AXIS, still_gap, surface_distances, turning_gap
from clearturn.gap.cull import both_unprepared, kept_grid, near_leaves, one_prepared
from clearturn.gap.meridian import into_axis_frame, meridian_image
from clearturn.gap.tree import space_tree
from clearturn.mesh import Mesh


def warm_up() -> None:
    """Compile the kernels of this package, or load them from the cache."""
    first, second = _ring(40.0, 50.0, 0.0, 8.0), _ring(52.0, 60.0, 0.0, 8.0)
    lower = np.eye(4)
    lower[2, 3] = 4.0
    turned = np.array([[0.0, -1, 0, 12], [1, 0, 0, 0], [0, 0, 1, 4], [0, 0, 0, 1]])
    for place in (np.eye(4), lower, turned):
        turning_gap(first, second, pose_first=place)
        still_gap(first, second, pose_first=place)
    surface_distances(first.vertices, second)
    surface_distances(first.vertices, second, turning=True)
    # Many points against many triangles go another way.
    many = np.resize(first.vertices, (2_000, 3))
    fine = _ring(52.0, 60.0, 0.0, 8.0, 260)
    surface_distances(many, fine)
    surface_distances(
        many, Mesh(fine.vertices + 1e-3 * np.sin(fine.vertices[:, ::-1]), fine.faces), turning=True
    )
    frame = into_axis_frame(Z_AXIS, np.eye(4))
    both_unprepared(first, frame, second, frame, None)
    image = meridian_image(second, Z_AXIS)
    one_prepared(first, frame, image, kept_grid(image, None), None)
    near_leaves(space_tree(first, None), np.arange(1), frame, image, 1.0, None)


def _ring(inner: float, outer: float, low: float, high: float, count: int = 24) -> Mesh:
    """A coarse closed ring, large enough to have a tree of more than one level."""
    angle = np.arange(count) * (2 * np.pi / count)
    profile = [(outer, low), (outer, high), (inner, high), (inner, low)]
    vertices = [(r * np.cos(a), r * np.sin(a), z) for a in angle for r, z in profile]
    faces = []
    for s in range(count):
        t = (s + 1) % count
        for i in range(4):
            j = (i + 1) % 4
            a, b, c, d = 4 * s + i, 4 * t + i, 4 * t + j, 4 * s + j
            faces += [(a, b, c), (a, c, d)]
    return Mesh(np.array(vertices), np.array(faces, np.int32), "ring")
