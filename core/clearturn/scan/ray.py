"""Where a line of sight first meets a mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.errors import InputError
from clearturn.mesh import Mesh
from clearturn.threads import run, spans

_SLICE = 1 << 18
_FLAT = 1e-12  # a triangle seen edge-on within this share of its size is not hit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Hit:
    """The place a ray meets.

    Attributes
    ----------
    face : int
    point_mm : (3,) ndarray
    distance_mm : float
        Along the ray from its origin.
    """

    face: int
    point_mm: Array
    distance_mm: float


def first_hit(
    mesh: Mesh, origin_mm: ArrayLike, direction: ArrayLike, kept: NDArray[np.bool_] | None = None
) -> Hit | None:
    """Return the first triangle a ray meets, from either side, or None.

    Parameters
    ----------
    mesh : Mesh
    origin_mm : (3,) array_like
        What lies behind it is not met.
    direction : (3,) array_like
        Of any length.
    kept : (m,) ndarray of bool, optional
        Only these faces can be met.

    Raises
    ------
    InputError
        If the direction has no length or a number is not finite.

    Notes
    -----
    The corner points are looked at along the ray: it meets a triangle whose image holds the
    origin's, told by the signs of three areas.  That asks for no tree, so that the first touch of
    a large scan waits for nothing.
    """
    start = np.asarray(origin_mm, dtype=np.float64)
    way = np.asarray(direction, dtype=np.float64)
    if not (np.isfinite(start).all() and np.isfinite(way).all() and np.linalg.norm(way) > 0):
        raise InputError("a ray needs three finite numbers and a direction with a length")
    way = way / np.linalg.norm(way)
    seen = np.empty((len(mesh.vertices), 2))
    sides = np.empty(len(mesh.vertices), np.uint8)
    across = _across(way)

    def look(a: int, b: int) -> None:
        np.matmul(mesh.vertices[a:b] - start, across.T, out=seen[a:b])
        u, v = seen[a:b].T
        sides[a:b] = (u > 0) | (u < 0) << 1 | (v > 0) << 2 | (v < 0) << 3

    run(look, spans(len(mesh.vertices), _SLICE))
    found: dict[int, Hit] = {}

    def work(a: int, b: int) -> None:
        # A triangle with all corners on one side of the ray is not met; few others are left.
        p, q, r = (sides[mesh.faces[a:b, k]] for k in range(3))
        near = p & q & r == 0
        if kept is not None:
            near &= kept[a:b]
        hit = _nearest(mesh, seen, a + np.flatnonzero(near), start, way)
        if hit is not None:
            found[a] = hit

    run(work, spans(len(mesh.faces), _SLICE))
    return min(found.values(), key=lambda hit: (hit.distance_mm, hit.face), default=None)


def _across(way: Array) -> Array:
    """Return two unit vectors square to a direction, (2, 3)."""
    other = np.zeros(3)
    other[int(np.argmin(np.abs(way)))] = 1.0
    u = np.cross(way, other)
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(way, u)])


def _nearest(
    mesh: Mesh, seen: Array, chosen: NDArray[np.int64], start: Array, way: Array
) -> Hit | None:
    faces = mesh.faces[chosen]
    p, q, r = seen[faces[:, 0]], seen[faces[:, 1]], seen[faces[:, 2]]
    areas = np.stack([_cross(q, r), _cross(r, p), _cross(p, q)])
    met = (areas >= 0).all(axis=0) | (areas <= 0).all(axis=0)
    places = np.flatnonzero(met)
    if len(places) == 0:
        return None
    weights = areas[:, places]
    total = weights.sum(axis=0)
    size = np.abs(np.stack([p[places], q[places], r[places]])).max(axis=(0, 2)) ** 2
    good = np.abs(total) > _FLAT * np.maximum(size, 1e-300)
    places, weights, total = places[good], weights[:, good], total[good]
    if len(places) == 0:
        return None
    points = np.einsum("kn,nkc->nc", weights / total, mesh.vertices[faces[places]])
    far = (points - start) @ way
    far[far < 0] = np.inf
    best = int(np.argmin(far))
    if not np.isfinite(far[best]):
        return None
    return Hit(int(chosen[places[best]]), points[best], float(far[best]))


def _cross(a: Array, b: Array) -> Array:
    crossed: Array = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return crossed
