"""A scan as seen from its spin axis: rings that go round, and walls of holes and pins."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from clearturn.datum.grow import surface
from clearturn.datum.shape import frame_along
from clearturn.mesh import Mesh

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

SECTORS = 72
LEAN = math.sin(math.radians(14.0))  # a face leans into a ring by less
STEEP = 0.42  # walls: normals that lean to the axis by less than this cosine (65° and more off)
SPREAD_MM = 0.45  # half width of the heights or radii that make one ring


@dataclass(frozen=True)
class View:
    """Faces of a mesh about an axis.

    Attributes
    ----------
    mesh : Mesh
    place, axes : (3,), (3, 3) ndarray
        A point of the axis, and rows x, y, axis.
    faces : (k,) ndarray of int
        The faces looked at; everything below is theirs.
    centres : (k, 3) ndarray
        In the axis frame, mm.
    normals : (k, 3) ndarray
        Unit normals in the axis frame.
    area : (k,) ndarray
        mm².
    edge_mm : float
        Typical edge length.
    """

    mesh: Mesh
    place: Array
    axes: Array
    faces: Index
    centres: Array
    normals: Array
    area: Array
    edge_mm: float

    @cached_property
    def r(self) -> Array:
        """Distance of the face centres from the axis."""
        return np.hypot(self.centres[:, 0], self.centres[:, 1])

    @cached_property
    def z(self) -> Array:
        """Height of the face centres along the axis."""
        return self.centres[:, 2]

    @cached_property
    def along_r(self) -> Array:
        """Radial part of the normals."""
        c, n = self.centres, self.normals
        answer: Array = (c[:, 0] * n[:, 0] + c[:, 1] * n[:, 1]) / np.maximum(self.r, 1e-9)
        return answer

    @cached_property
    def sideways(self) -> Array:
        """Size of the normals' part round the axis."""
        c, n = self.centres, self.normals
        answer: Array = np.abs(c[:, 0] * n[:, 1] - c[:, 1] * n[:, 0]) / np.maximum(self.r, 1e-9)
        return answer

    @cached_property
    def sector(self) -> Index:
        """Which of the sectors of azimuth a face lies in."""
        turn = np.arctan2(self.centres[:, 1], self.centres[:, 0]) / (2 * math.pi) + 0.5
        return np.minimum((turn * SECTORS).astype(np.int64), SECTORS - 1)

    def local(self, points: Array) -> Array:
        """Return points of the scan in the axis frame."""
        answer: Array = (np.asarray(points, float) - self.place) @ self.axes.T
        return answer

    def in_scan(self, points: Array) -> Array:
        """Return points of the axis frame in the scan's coordinates."""
        answer: Array = np.asarray(points, float) @ self.axes + self.place
        return answer

    def corners_of(self, chosen: Index | Mask) -> Array:
        """Return the corner points of faces of this view, each once, in the axis frame."""
        used = np.unique(self.mesh.faces[self.faces[chosen]])
        return self.local(self.mesh.vertices[used])


@dataclass(frozen=True, slots=True)
class Ring:
    """A flat ring square to the axis, or a round one along it.

    Attributes
    ----------
    flat : bool
    sense : int
        Where its normals look: +1 along the axis or away from it, −1 the other way.
    at_mm : float
        Height of a flat ring, radius of a round one.
    from_mm, to_mm : float
        Its radii, or its heights.
    coverage : float
        Share of the turn on which it is seen.
    area_mm2 : float
    faces : (k,) ndarray of int
        Places in the view.
    """

    flat: bool
    sense: int
    at_mm: float
    from_mm: float
    to_mm: float
    coverage: float
    area_mm2: float
    faces: Index


@dataclass(frozen=True, slots=True)
class Wall:
    """The wall of a hole or pin along a direction.

    Attributes
    ----------
    centre_mm : (2,) ndarray
        Across the direction, in the view's frame.
    radius_mm, rms_mm : float
    hollow : bool
        A hole; else a pin.
    from_mm, to_mm : float
        Along the direction.
    coverage : float
        Share of its own turn.
    faces : (k,) ndarray of int
        Places in the view.
    """

    centre_mm: Array
    radius_mm: float
    rms_mm: float
    hollow: bool
    from_mm: float
    to_mm: float
    coverage: float
    faces: Index

    @property
    def distance_mm(self) -> float:
        """From the view's axis."""
        return float(np.hypot(*self.centre_mm))


def view(mesh: Mesh, kept: Index, place: Array, direction: Array) -> View:
    """Return the faces kept as seen from an axis; faces without area are left out."""
    seen = surface(mesh)
    raw = seen.raw[kept]
    size = np.linalg.norm(raw, axis=1)
    good = size > 0.0
    kept, raw, size = kept[good], raw[good], size[good]
    axes = frame_along(direction)
    edges = mesh.vertices[mesh.faces[kept[:4000], 0]] - mesh.vertices[mesh.faces[kept[:4000], 1]]
    return View(
        mesh=mesh,
        place=place,
        axes=axes,
        faces=kept,
        centres=(seen.centres[kept] - place) @ axes.T,
        normals=(raw / size[:, None]) @ axes.T,
        area=0.5 * size,
        edge_mm=float(np.median(np.linalg.norm(edges, axis=1))),
    )


def rings(seen: View, *, flat: bool, least_coverage: float = 0.3) -> list[Ring]:
    """Return the flat or round rings about the axis, greatest area first."""
    ahead = seen.normals[:, 2] if flat else seen.along_r
    if flat:
        member = np.abs(ahead) > math.sqrt(1.0 - LEAN**2)
        level, run = seen.z, seen.r
    else:
        member = (np.abs(seen.normals[:, 2]) < LEAN) & (seen.sideways < LEAN)
        level, run = seen.r, seen.z
    found: list[Ring] = []
    for sense in (1, -1):
        mine = np.flatnonzero(member & (np.sign(ahead) == sense))
        for group in _levels(level[mine], seen.area[mine]):
            found += _pieces(seen, mine[group], level, run, flat, sense, least_coverage)
    return sorted(found, key=lambda ring: -ring.area_mm2)


def _levels(level: Array, area: Array) -> list[Index]:
    """Return groups of faces of one level, most area first; each face is in one group at most."""
    if len(level) == 0:
        return []
    step = SPREAD_MM / 3.0
    bins = np.floor((level - level.min()) / step).astype(np.int64)
    total = np.bincount(bins, area)
    wide = np.convolve(total, np.ones(5), "same")
    free = np.ones(len(level), dtype=bool)
    groups = []
    for _ in range(60):
        top = int(np.argmax(wide))
        if wide[top] < 60.0:
            break
        near = free & (np.abs(bins - top) <= 2)
        if near.any():
            middle = _middle(level[near], area[near])
            near = free & (np.abs(level - middle) <= SPREAD_MM)
            groups.append(np.flatnonzero(near))
            free &= ~near
        total[max(top - 2, 0) : top + 3] = 0.0
        wide = np.convolve(total, np.ones(5), "same")
    return groups


def _middle(values: Array, weights: Array) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(total, total[-1] / 2)]])


def _pieces(
    seen: View, group: Index, level: Array, run: Array, flat: bool, sense: int, least: float
) -> list[Ring]:
    """Cut one level into stretches that are seen over enough of the turn."""
    step = max(1.5, 0.8 * seen.edge_mm)
    low = float(run[group].min())
    row = np.floor((run[group] - low) / step).astype(np.int64)
    filled = np.zeros((int(row.max()) + 3, SECTORS), dtype=bool)
    filled[row + 1, seen.sector[group]] = True
    # Two rows together: a row of triangles may lie across the border.
    share = (filled[1:] | filled[:-1]).mean(axis=1)
    good = share >= least
    both = good[1:] & True | good[:-1]
    found = []
    at = 0
    while at < len(both):
        if not both[at]:
            at += 1
            continue
        end = at
        while end + 1 < len(both) and both[end + 1]:
            end += 1
        inside = group[(row >= at) & (row <= end)]
        at = end + 1
        if len(inside) < 12:
            continue
        seen_sectors = np.unique(seen.sector[inside])
        coverage = len(seen_sectors) / SECTORS
        if coverage < least:
            continue
        weights = seen.area[inside]
        edges = _ends(run[inside], weights)
        found.append(
            Ring(
                flat,
                sense,
                _middle(level[inside], weights),
                edges[0],
                edges[1],
                coverage,
                float(weights.sum()),
                inside,
            )
        )
    return found


def _ends(run: Array, weights: Array) -> tuple[float, float]:
    order = np.argsort(run)
    total = np.cumsum(weights[order])
    low, high = np.searchsorted(total, [0.01 * total[-1], 0.99 * total[-1]])
    return float(run[order[low]]), float(run[order[min(high, len(run) - 1)]])


def components(seen: View, member: Mask) -> list[Index]:
    """Return the connected pieces of the faces chosen, as places in the view."""
    place = np.full(len(seen.mesh.faces), -1, dtype=np.int64)
    chosen = np.flatnonzero(member)
    place[seen.faces[chosen]] = np.arange(len(chosen))
    across = surface(seen.mesh).across[seen.faces[chosen]]
    other = np.where(across >= 0, place[np.maximum(across, 0)], -1)
    mine, side = np.nonzero(other >= 0)
    count = len(chosen)
    graph = coo_matrix((np.ones(len(mine)), (mine, other[mine, side])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    order = np.argsort(label, kind="stable")
    starts = np.flatnonzero(np.diff(label[order], prepend=-1))
    return [chosen[piece] for piece in np.split(order, starts[1:])] if count else []


def walls(seen: View, *, most_radius_mm: float = 20.0, least_radius_mm: float = 2.5) -> list[Wall]:
    """Return the small holes and pins along the view's axis."""
    found = []
    for piece in components(seen, np.abs(seen.normals[:, 2]) < STEEP):
        if len(piece) < 8:
            continue
        spread = np.ptp(seen.centres[piece, :2], axis=0).max()
        if spread > 2.3 * most_radius_mm or spread < 0.8 * least_radius_mm:
            continue
        wall = wall_of(seen, piece)
        if wall is not None and least_radius_mm <= wall.radius_mm <= most_radius_mm:
            found.append(wall)
    return found


def wall_of(seen: View, piece: Index) -> Wall | None:
    """Return the circle a wall's corner points lie on, or None if they do not."""
    points = seen.corners_of(piece)
    steep = np.abs(seen.normals[piece, 2]) < 0.2
    core = seen.corners_of(piece[steep]) if steep.sum() >= 8 else points
    circle = flat_circle(core[:, :2])
    if circle is None:
        return None
    centre, radius, rms = circle
    if rms > max(0.12 * radius, 0.3):
        return None
    out = seen.centres[piece, :2] - centre
    reach = np.maximum(np.linalg.norm(out, axis=1), 1e-9)
    facing = (out * seen.normals[piece, :2]).sum(axis=1) / reach
    facing = float(np.average(facing, weights=seen.area[piece]))
    if abs(facing) < 0.6:
        return None
    turn = np.arctan2(out[:, 1], out[:, 0]) / (2 * math.pi) + 0.5
    coverage = len(np.unique(np.minimum((turn * 16).astype(int), 15))) / 16
    z = points[:, 2]
    return Wall(centre, radius, rms, facing < 0.0, float(z.min()), float(z.max()), coverage, piece)


def flat_circle(points: Array) -> tuple[Array, float, float] | None:
    """Return centre, radius and robust rms of a circle through points in a plane.

    Linear start (Kåsa), then reweighted distances; None if the points are on a line.
    """
    if len(points) < 5:
        return None
    middle = points.mean(axis=0)
    p = points - middle
    weight = np.ones(len(p))
    centre, radius = np.zeros(2), 1.0
    for _ in range(6):
        rows = np.column_stack([2 * p, np.ones(len(p))]) * weight[:, None]
        answer, _, rank, _ = np.linalg.lstsq(rows, (p**2).sum(axis=1) * weight, rcond=None)
        if rank < 3:
            return None
        centre = answer[:2]
        radius = math.sqrt(max(float(answer[2] + centre @ centre), 1e-12))
        off = np.abs(np.linalg.norm(p - centre, axis=1) - radius)
        scale = max(1.4826 * float(np.median(off)), 1e-6)
        weight = 1.0 / np.sqrt(1.0 + (off / (2.0 * scale)) ** 2)
    rms = 1.4826 * float(np.median(off))
    return centre + middle, radius, rms
