"""One pair as the engine sees it, and how far each vertex is from the other part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.facing import settled_by_facing
from clearturn.gap import (
    Z_AXIS,
    Axis,
    Gap,
    State,
    SurfaceDistances,
    still_gap,
    surface_distances,
    turning_gap,
)
from clearturn.gap.depth import depth_at_contact, shallow_gap
from clearturn.gap.freeing import with_freeing
from clearturn.gap.meridian import meridian_image
from clearturn.gap.still import is_smaller, rigid
from clearturn.gap.turning import SMALL, Turns
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.result import Motion, PlacedPart
from clearturn.verdict.allowances import Places

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

TOLERANCE_MM = 0.001
_CELL_MM = 4.0
_SAME_MM = 1e-7
_FEW = 2000


@dataclass(frozen=True, slots=True)
class Field:
    """Distances from vertices of one part to the other part.

    Attributes
    ----------
    from_first : bool
        Whether the vertices belong to the pair's first part.
    vertices : (k,) int64
        Indices into that part's mesh.
    distance_mm : (k,) float64
        Unsigned; meridian distance for a turning pair.
    toward : (k, 3) float64
        Unit vector from the vertex to the other part, at the vertex's own azimuth.
    triangle : (k,) int64
        Nearest triangle of the other part.
    nearest_mm : (k, 3) float64
        Nearest point of the other part, where that part's mesh lies.
    places : Places
        On the fixed part, directions from first to second.
    """

    from_first: bool
    vertices: Indices
    distance_mm: Array
    toward: Array
    triangle: Indices
    nearest_mm: Array
    places: Places

    def pick(self, chosen: NDArray[np.bool_] | Indices) -> Field:
        """Return the rows chosen."""
        return Field(
            self.from_first,
            self.vertices[chosen],
            self.distance_mm[chosen],
            self.toward[chosen],
            self.triangle[chosen],
            self.nearest_mm[chosen],
            Places(self.places.points[chosen], self.places.directions[chosen]),
        )

    def joined(self, other: Field) -> Field:
        """Return these rows and those of a field of further vertices of the same part."""
        return Field(
            self.from_first,
            np.concatenate([self.vertices, other.vertices]),
            np.concatenate([self.distance_mm, other.distance_mm]),
            np.concatenate([self.toward, other.toward]),
            np.concatenate([self.triangle, other.triangle]),
            np.concatenate([self.nearest_mm, other.nearest_mm]),
            Places(
                np.concatenate([self.places.points, other.places.points]),
                np.concatenate([self.places.directions, other.places.directions]),
            ),
        )


@dataclass(frozen=True, slots=True)
class Pair:
    """Two meshes with their motion.

    Attributes
    ----------
    first, second : Mesh
        In the hub frame, seats already left out.
    turns : str or None
        "first" or "second" if that one turns against the other; None if they move alike.
    """

    first: Mesh
    second: Mesh
    turns: Turns | None

    @classmethod
    def of(cls, first: PlacedPart, second: PlacedPart) -> Pair:
        """Return the pair of two placed parts, whole."""
        return cls(first.mesh, second.mesh, turning_side(first, second))

    def gap(
        self,
        progress: Progress | None = None,
        *,
        shift_first: Array | None = None,
        shift_second: Array | None = None,
    ) -> Gap:
        """Return the certified gap, with either part moved as a whole by a shift (3,) mm."""
        one, two = _shares(self.turns, shift_first, shift_second)
        if self.turns is None:
            gap = still_gap(
                self.first,
                self.second,
                tolerance_mm=TOLERANCE_MM,
                pose_first=_pose(one),
                pose_second=_pose(two),
                progress=progress,
            )
        else:
            self._prepare(one, two, progress)
            gap = turning_gap(
                self.first,
                self.second,
                turns=self.turns,
                tolerance_mm=TOLERANCE_MM,
                pose_first=_pose(one),
                pose_second=_pose(two),
                progress=progress,
            )
        return self._told_by_facing(gap, one, two)

    def freed(self, gap: Gap, most_mm: float, progress: Progress | None = None) -> Gap:
        """Return this pair's gap with the least shifts that free the parts, if they interfere."""
        turn: tuple[Turns, Axis] | None = None if self.turns is None else (self.turns, Z_AXIS)
        return with_freeing(
            gap, self.first, self.second, np.eye(4), np.eye(4), turn,
            tolerance_mm=TOLERANCE_MM, most_mm=most_mm, progress=progress,
        )  # fmt: skip

    def shallow_gap(
        self,
        progress: Progress | None = None,
        *,
        shift_first: Array | None = None,
        shift_second: Array | None = None,
    ) -> tuple[Gap, float]:
        """Return the gap, touching where surfaces meet or cross, and a depth no less shift mends.

        The depth is that of a few points where the parts meet.
        """
        one, two = _shares(self.turns, shift_first, shift_second)
        turn: tuple[Turns, Axis] | None = None
        if self.turns is not None:
            turn = (self.turns, Z_AXIS)
            self._prepare(one, two, progress)
        poses = rigid(_pose(one)), rigid(_pose(two))
        gap = shallow_gap(
            self.first, self.second, *poses, turn, tolerance_mm=TOLERANCE_MM, progress=progress
        )
        depth = 0.0
        if gap.state is State.TOUCHING:
            depth = depth_at_contact(gap, self.first, self.second, *poses, turn)
        return self._told_by_facing(gap, one, two), depth

    def _told_by_facing(self, gap: Gap, one: Array, two: Array) -> Gap:
        if gap.state is not State.SIGN_UNKNOWN:
            return gap
        # An open scan's side is told by surfaces that face each other, looked up where they lie.
        at_home = replace(
            gap, first_point_mm=gap.first_point_mm - one, second_point_mm=gap.second_point_mm - two
        )
        told = settled_by_facing(at_home, self.first, self.second, self.turns)
        return replace(told, first_point_mm=gap.first_point_mm, second_point_mm=gap.second_point_mm)

    def _prepare(self, one: Array, two: Array, progress: Progress | None) -> None:
        """Make the larger part's image, unless that part is moved.

        A search goes another way where the image is there, and of places that tie it may find
        another; so the answer would hang on what was asked before.
        """
        larger, shift = (
            (self.first, one) if is_smaller(self.second, self.first) else (self.second, two)
        )
        if len(larger.faces) >= SMALL and not shift.any():
            meridian_image(larger, Z_AXIS, np.eye(4), progress)

    def with_meshes(self, first: Mesh | None = None, second: Mesh | None = None) -> Pair:
        """Return the pair with one or both meshes replaced."""
        return Pair(
            self.first if first is None else first,
            self.second if second is None else second,
            self.turns,
        )

    def moved(self, shift_first: Array, shift_second: Array) -> Pair:
        """Return the pair with its parts moved; one that stays keeps what was built for it."""
        poses = _pose(shift_first), _pose(shift_second)
        return Pair(
            self.first if poses[0] is None else self.first.moved(poses[0]),
            self.second if poses[1] is None else self.second.moved(poses[1]),
            self.turns,
        )

    def mesh(self, from_first: bool) -> Mesh:
        """Return the first or the second mesh."""
        return self.first if from_first else self.second

    def field(
        self,
        from_first: bool,
        limit_mm: float,
        vertices: Indices | None = None,
        progress: Progress | None = None,
    ) -> Field:
        """Return the distances of one part's vertices that are nearer than a limit.

        Parameters
        ----------
        from_first : bool
            Whose vertices.
        limit_mm : float
            Vertices farther off are left out.
        vertices : (k,) int64, optional
            Look only at these.
        """
        own, other = self.mesh(from_first), self.mesh(not from_first)
        asked = np.arange(len(own.vertices), dtype=np.int64) if vertices is None else vertices
        asked = self._thinned(own, other, asked, limit_mm, progress)
        points = own.vertices[asked]
        found = self._distances(points, other, limit_mm, progress)
        distance = np.abs(np.asarray(found.distance_mm, dtype=np.float64))
        near = np.flatnonzero(np.isfinite(distance) & (distance <= limit_mm))
        return self._make_field(
            from_first,
            vertices=asked[near],
            points=points[near],
            nearest=np.asarray(found.nearest, dtype=np.float64)[near],
            triangle=np.asarray(found.triangle, dtype=np.int64)[near],
            distance=distance[near],
        )

    def _distances(
        self, points: Array, other: Mesh, limit_mm: float, progress: Progress | None
    ) -> SurfaceDistances:
        if self.turns is None:
            return surface_distances(
                points, other, limit_mm=limit_mm, signed=False, progress=progress
            )
        # A swept part has the same few (r, z) again and again; each is asked for once.
        place = np.stack([np.hypot(points[:, 0], points[:, 1]), points[:, 2]], axis=1)
        _, one_of, same_as = np.unique(
            np.round(place / _SAME_MM), axis=0, return_index=True, return_inverse=True
        )
        found = surface_distances(
            points[one_of], other, turning=True, limit_mm=limit_mm, signed=False, progress=progress
        )
        back = same_as.ravel()
        return SurfaceDistances(
            found.distance_mm[back],
            found.nearest[back],
            found.triangle[back],
            found.sign_known[back],
        )

    def _thinned(
        self, own: Mesh, other: Mesh, asked: Indices, limit_mm: float, progress: Progress | None
    ) -> Indices:
        """Leave out vertices in cells that are too far off as a whole.

        Distance is 1-Lipschitz, so a vertex is no nearer than one of its cell less the cell's
        diagonal.  A turning pair's cells lie in the meridian plane, where a whole turn is one cell.
        """
        if len(asked) < _FEW:
            return asked
        points = own.vertices[asked]
        if self.turns is None:
            place = points
        else:
            place = np.stack([np.hypot(points[:, 0], points[:, 1]), points[:, 2]], axis=1)
        cell = np.floor(place / _CELL_MM).astype(np.int64)
        _, one_of, cell_of = np.unique(cell, axis=0, return_index=True, return_inverse=True)
        reach = limit_mm + _CELL_MM * np.sqrt(place.shape[1])
        found = self._distances(points[one_of], other, reach, progress)
        near = np.abs(found.distance_mm) <= reach
        return np.asarray(asked[near[cell_of.ravel()]])

    def _make_field(
        self,
        from_first: bool,
        *,
        vertices: Indices,
        points: Array,
        nearest: Array,
        triangle: Indices,
        distance: Array,
    ) -> Field:
        safe = np.where(distance > 0, distance, 1.0)[:, None]
        if self.turns is None:
            toward = np.where(distance[:, None] > 0, (nearest - points) / safe, 0.0)
            place, at_place = points, toward
        else:
            # The nearest point is turned into the half plane of the vertex.
            toward = _meridian_direction(points, nearest, points) / safe
            on_fixed = self.turns != ("first" if from_first else "second")
            place = points if on_fixed else nearest
            at_place = toward if on_fixed else _meridian_direction(points, nearest, place) / safe
            toward = np.where(distance[:, None] > 0, toward, 0.0)
            at_place = np.where(distance[:, None] > 0, at_place, 0.0)
        sign = 1.0 if from_first else -1.0
        return Field(
            from_first,
            vertices,
            distance,
            toward,
            triangle,
            nearest,
            Places(place, sign * at_place),
        )


def _shares(turns: str | None, first: Array | None, second: Array | None) -> tuple[Array, Array]:
    """Move only one part where that comes to the same: the other keeps what the engine built."""
    one = np.zeros(3) if first is None else first
    two = np.zeros(3) if second is None else second
    if turns is None:
        return one - two, np.zeros(3)
    along = np.array([0.0, 0.0, 1.0])  # a turning part may give its move along the axis away
    if turns == "first":
        given = one[2] * along
        return one - given, two - given
    given = two[2] * along
    return one - given, two - given


def _pose(shift: Array) -> Array | None:
    if not shift.any():
        return None
    pose = np.eye(4)
    pose[:3, 3] = shift
    return pose


def turning_side(first: PlacedPart, second: PlacedPart) -> Turns | None:
    """Return which of two parts turns against the other, or None if they move alike."""
    one, two = first.motion is Motion.TURNS, second.motion is Motion.TURNS
    if one == two:
        return None
    return "first" if one else "second"


def _meridian_direction(points: Array, nearest: Array, azimuth_of: Array) -> Array:
    """Return nearest − points in (r, z), laid into the half plane of a third set of points."""
    dr = np.hypot(nearest[:, 0], nearest[:, 1]) - np.hypot(points[:, 0], points[:, 1])
    radius = np.hypot(azimuth_of[:, 0], azimuth_of[:, 1])
    safe = np.where(radius > 0, radius, 1.0)
    cosine = np.where(radius > 0, azimuth_of[:, 0] / safe, 1.0)
    sine = np.where(radius > 0, azimuth_of[:, 1] / safe, 0.0)
    return np.stack([dr * cosine, dr * sine, nearest[:, 2] - points[:, 2]], axis=1)
