"""How far a part must be moved as a whole to come free of the other, and at which angles they hit.

What is claimed and why it holds: docs/methods/gap.md, "Moving".
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from clearturn.gap.depth import shallow_gap
from clearturn.gap.meridian import meridian_image
from clearturn.gap.model import Z_AXIS, Axis, FreeingShift, Gap, Interval, State
from clearturn.gap.state import is_closed, side_of, turned
from clearturn.gap.still import inverse, is_smaller, query
from clearturn.gap.strokes import hitting_strokes
from clearturn.gap.surface_map import INSIDE, winding
from clearturn.gap.tree import mesh_bounds, space_tree, used_vertices
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check, part, report, silent

if TYPE_CHECKING:
    from clearturn.gap.turning import Turns

Matrix = NDArray[np.float64]
Angles = tuple[tuple[float, float], ...]
ROOM_MM = 0.01
"""Parts are free of each other where so much is left between them."""
#: Exact answers asked for in one direction: while the lower end grows, for a shift that frees,
#: and to halve what lies between.
_GROWING, _DOUBLING, _HALVING = 24, 20, 10
#: Points followed on their way out: where parts were found to meet, all over, and at first.
_NEAR, _SPREAD, _FIRST = 200, 200, 800
#: Steps of a point on its way out, and the least of them.
_MOST_STEPS, _LEAST_STEP_MM = 100, 1e-4
#: Angles looked at of all that hit, and how fine those are looked for.
_MOST_ANGLES, _STEP_DEG = 12, 1.0
#: What rounding can add to a point's way out, for coordinates of a corner.
_ROUNDING_MM = 1e-9
#: A part whose middle is nearer to the axis than this share of its size has no radius of its own.
_OFF_AXIS = 0.02


def with_freeing(
    gap: Gap, first: Mesh, second: Mesh, pose_first: Matrix, pose_second: Matrix,
    turn: tuple[Turns, Axis] | None, *, tolerance_mm: float, most_mm: float = math.inf,
    progress: Progress | None = None,
) -> Gap:  # fmt: skip
    """Add to a gap of parts that interfere the least shift each way and the angles that hit.

    Parameters
    ----------
    gap : Gap
        Of the pair as it stands; returned as it is unless the parts interfere.
    first, second : Mesh
    pose_first, pose_second : (4, 4) ndarray
    turn : (str, Axis) or None
        Which mesh turns and about what; None for parts that stand still to each other.
    tolerance_mm : float
    most_mm : float
        Shifts longer than this are told as at least so long and not looked for.
    progress : Progress, optional

    Raises
    ------
    Cancelled
        If `progress` was cancelled.

    Notes
    -----
    Shifts are only told of closed meshes.  The parts are put in an order of their own first, so
    the answer has the same bits whichever is named first.
    """
    if gap.state is not State.INTERFERING or gap.interference is None:
        return gap
    one, two = (first, pose_first), (second, pose_second)
    name = "second" if (turn[0] == "first" if turn else _moves_second(first, second)) else "first"
    if name == "second":
        one, two = two, one
    axis = None if turn is None else turn[1]
    pair = _Pair(one[0], two[0], one[1], two[1], axis, tolerance_mm, most_mm, progress)
    hits = pair.hits(part(progress, 0.0, 0.3))
    shifts: list[FreeingShift] = []
    if is_closed(first) and is_closed(second):
        angles = _spread_angles(hits)
        ways = pair.ways()
        for k, (way, direction) in enumerate(ways):
            report(progress, 0.3 + 0.7 * k / len(ways), f"moved {way}")
            found = least_shift(pair, direction, angles)
            least = Interval(max((found.lower or 0.0) - _ROUNDING_MM, 0.0), found.upper)
            shifts.append(FreeingShift(way, name, direction, least))
    inside = dataclasses.replace(gap.interference, shifts=tuple(shifts), hits_deg=hits)
    return dataclasses.replace(gap, interference=inside)


def _moves_second(first: Mesh, second: Mesh) -> bool:
    """Of parts that stand still to each other the smaller is moved."""
    size = [float(np.linalg.norm(np.ptp(mesh_bounds(mesh), axis=0))) for mesh in (first, second)]
    return size[1] < size[0] if size[0] != size[1] else is_smaller(second, first)


@dataclass(frozen=True, slots=True)
class _Pair:
    """A part that is moved and one that stays, which turns if there is an axis."""

    moved: Mesh
    stays: Mesh
    pose_moved: Matrix
    pose_stays: Matrix
    axis: Axis | None
    tolerance_mm: float
    most_mm: float
    progress: Progress | None

    @property
    def room_mm(self) -> float:
        """What must be left between the parts, well above what the engine leaves open."""
        return max(ROOM_MM, 10.0 * self.tolerance_mm)

    def gap(self, step: Matrix) -> Gap:
        """The gap at a shift (3,), without depth."""
        check(self.progress)
        quiet = silent(self.progress)
        turn: tuple[Turns, Axis] | None = None
        if self.axis is not None:
            turn = ("second", self.axis)
            # A search goes another way where an image is there; so it always is.
            meridian_image(self.stays, self.axis, self.pose_stays, quiet)
        pose = _shifted(self.pose_moved, step)
        return shallow_gap(
            self.moved, self.stays, pose, self.pose_stays, turn,
            tolerance_mm=self.tolerance_mm, progress=quiet,
        )  # fmt: skip

    def at(self, angle_deg: float) -> Matrix:
        """Where the part that stays is, turned by an angle."""
        return self.pose_stays if self.axis is None else turned(self.axis, angle_deg) @ (
            self.pose_stays
        )  # fmt: skip

    def hits(self, progress: Progress | None) -> Angles:
        """From and to of the angles at which the parts hit; none of parts that stand still."""
        if self.axis is None:
            return ()
        strokes = hitting_strokes(
            self.moved, self.stays, axis=self.axis, tolerance_mm=self.tolerance_mm,
            pose_first=self.pose_moved, pose_second=self.pose_stays, step_deg=_STEP_DEG,
            progress=progress,
        )  # fmt: skip
        found = [(one.from_deg, one.to_deg) for one in strokes]
        if not found:
            if self._contains(0.0):
                return ((0.0, 360.0),)
            # Shorter than a step: the angle at which the images were found to meet.
            at = self.gap(np.zeros(3)).turn_angle_deg or 0.0
            return ((at, at),)
        return self._joined(found)

    def _joined(self, found: list[tuple[float, float]]) -> Angles:
        """Join strokes between which nothing crosses because a part is wholly inside the other."""
        free = []
        for (_, end), (start, _) in zip(found, [*found[1:], found[0]], strict=True):
            width = (start - end) % 360.0
            if width > 0 and not self._contains(end + 0.5 * width):
                free.append((end, width))
        if not free:
            return ((0.0, 360.0),)
        starts = [(end + width) % 360.0 for end, width in free]
        ends = [end % 360.0 for end, _ in free[1:]] + [free[0][0] % 360.0]
        joined = [(a, a + (b - a) % 360.0) for a, b in zip(starts, ends, strict=True)]
        return tuple(sorted(joined))

    def _contains(self, angle_deg: float) -> bool:
        check(self.progress)
        place = inverse(self.at(angle_deg)) @ self.pose_moved
        return (
            side_of(self.moved, self.stays, place, 0.0)[0]
            or side_of(self.stays, self.moved, inverse(place), 0.0)[0]
        )

    def ways(self) -> list[tuple[str, Matrix]]:
        """The ways the part is moved, by name, with unit vectors (3,)."""
        axis = Z_AXIS if self.axis is None else self.axis
        ways = [("outboard", axis.direction), ("inboard", -axis.direction)]
        middle = self.pose_moved[:3, :3] @ _middle(self.moved) + self.pose_moved[:3, 3]
        out = middle - axis.point
        out = out - axis.direction * float(out @ axis.direction)
        length = float(np.linalg.norm(out))
        if length > _OFF_AXIS * float(np.linalg.norm(np.ptp(mesh_bounds(self.moved), axis=0))):
            ways = [("inward", -out / length), ("outward", out / length), *ways]
        return ways

    def limit_mm(self) -> float:
        """A shift that frees any two parts that meet, whichever way; at most what is asked."""
        bounds = mesh_bounds(self.stays)
        size = float(np.linalg.norm(np.ptp(bounds, axis=0)))
        if self.axis is not None:
            middle = self.pose_stays[:3, :3] @ bounds.mean(axis=0) + self.pose_stays[:3, 3]
            out = middle - self.axis.point
            out = out - self.axis.direction * float(out @ self.axis.direction)
            size += 2.0 * float(np.linalg.norm(out))
        size += float(np.linalg.norm(np.ptp(mesh_bounds(self.moved), axis=0)))
        return min(1.1 * size + 1.0, self.most_mm)

    def way_out(
        self, direction: Matrix, shift: float, angle_deg: float, near: Matrix | None
    ) -> float:
        """How much further points inside must go at an angle; 0 if none was found inside."""
        pose, other = _shifted(self.pose_moved, shift * direction), self.at(angle_deg)
        there = (self.moved, pose), (self.stays, other)
        most = self.most_mm - shift
        found = _way_out(*there[0], *there[1], direction, near, most, self.progress)
        if found > most:
            return found
        back = _way_out(*there[1], *there[0], -direction, near, most, self.progress)
        return max(found, back)


def least_shift(pair: _Pair, direction: Matrix, angles: tuple[float, ...]) -> Interval:
    """Return the least shift in a direction (3,) that leaves `ROOM_MM` between the parts.

    Notes
    -----
    Up to the lower end every shift is known to leave less: a point inside the other part stays
    inside until it has gone as far as its way to the surface, and a gap changes by no more than
    the shift.  At the upper end the exact engine finds that much left.  Where the work is cut
    short either end stays where it is known.
    """
    room, slack, limit = pair.room_mm, 2.0 * pair.tolerance_mm, pair.limit_mm()
    # They meet as they stand, so at first a shift leaves no more than itself.
    lower = room
    for angle in angles:
        lower = max(lower, room + pair.way_out(direction, 0.0, angle, None))
        if lower > limit:
            return Interval(lower, None)
    asked = lower + slack
    for _ in range(_GROWING):
        gap = pair.gap(asked * direction)
        if _is_free(gap, room):
            return Interval(lower, asked)
        if gap.state is State.SIGN_UNKNOWN or asked > limit:
            return Interval(lower, None)
        least = max(gap.gap_mm.upper or 0.0, 0.0)
        further = room - least
        if gap.state is not State.APART:
            angle = gap.turn_angle_deg or 0.0
            further += pair.way_out(direction, asked, angle, gap.first_point_mm)
        # Backwards too the gap changes by no more than the shift: nothing is passed over.
        if asked - (room - least) <= lower:
            lower = max(lower, asked + further)
        asked += max(further, 0.0) + slack
    upper = _freed(pair, direction, asked, limit)
    return Interval(lower, upper)


def _freed(pair: _Pair, direction: Matrix, low: float, limit: float) -> float | None:
    """A shift that frees, found by doubling and halving: not known to be the first."""
    step = high = 0.0
    for k in range(_DOUBLING):
        step = pair.room_mm * 2.0**k
        high = min(low + step, limit)
        if _is_free(pair.gap(high * direction), pair.room_mm):
            break
        if high == limit:
            return None
        low = high
    else:
        return None
    for _ in range(_HALVING):
        if high - low <= pair.room_mm:
            break
        middle = 0.5 * (low + high)
        if _is_free(pair.gap(middle * direction), pair.room_mm):
            high = middle
        else:
            low = middle
    return high


def _is_free(gap: Gap, room: float) -> bool:
    return gap.state is State.APART and (gap.gap_mm.lower or 0.0) >= room


def _shifted(pose: Matrix, step: Matrix) -> Matrix:
    moved = pose.copy()
    moved[:3, 3] += step
    return moved


def _spread_angles(hits: Angles) -> tuple[float, ...]:
    """Angles all over those that hit, their ends with them; 0 where nothing turns."""
    if not hits:
        return (0.0,)
    whole = sum(end - start for start, end in hits)
    angles: list[float] = []
    for start, end in hits:
        share = (end - start) / whole if whole > 0 else 0.0
        count = 1 if end == start else 3 + round(share * _MOST_ANGLES)
        angles += np.linspace(start, end, count).tolist()
    return tuple(angles)


def _middle(mesh: Mesh) -> Matrix:
    """The middle of a mesh's surface, (3,)."""

    def work() -> Matrix:
        corners = mesh.vertices[mesh.faces]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = np.linalg.norm(normal, axis=1)
        whole = float(area.sum())
        if whole == 0.0:
            return np.asarray(mesh_bounds(mesh).mean(axis=0))
        return np.asarray((corners.mean(axis=1) * area[:, None]).sum(axis=0) / whole)

    return mesh.cached("middle", work)


def _surface_points(mesh: Mesh) -> Matrix:
    """Corners of a mesh, and of one of few faces points all over these, (k, 3)."""

    def work() -> Matrix:
        corners = mesh.vertices[used_vertices(mesh) > 0]
        cuts = int(np.sqrt(2.0 * _FIRST / len(mesh.faces)))
        if cuts < 2:
            return np.asarray(corners)
        i, j = np.meshgrid(np.arange(cuts + 1), np.arange(cuts + 1), indexing="ij")
        kept = i + j <= cuts
        shares = np.stack([i[kept], j[kept], cuts - i[kept] - j[kept]], axis=1) / cuts
        points = np.einsum("kc,fcx->fkx", shares, mesh.vertices[mesh.faces]).reshape(-1, 3)
        return np.concatenate([corners, points])

    return mesh.cached("surface points", work)


def _way_out(
    inner: Mesh, at: Matrix, outer: Mesh, outer_at: Matrix, direction: Matrix,
    near: Matrix | None, most: float, progress: Progress | None,
) -> float:  # fmt: skip
    """Return the longest way along `direction` that points of `inner` stay inside `outer`, mm.

    A point goes on by its distance from the surface, again and again: it cannot leave on the way.
    Once one is farther than `most` it ends.
    """
    check(progress)
    back = inverse(outer_at)
    place = back @ at
    low, high = mesh_bounds(outer)
    points = _surface_points(inner) @ place[:3, :3].T + place[:3, 3]
    points = points[((points >= low) & (points <= high)).all(axis=1)]
    points = _chosen(points, None if near is None else back[:3, :3] @ near + back[:3, 3])
    points = points[np.abs(winding(points, outer)) >= INSIDE]
    along = outer_at[:3, :3].T @ direction
    way = np.zeros(len(points))
    going = np.arange(len(points))
    tree = space_tree(outer)
    for _ in range(_MOST_STEPS):
        if len(going) == 0 or way.max() > most:
            break
        check(progress)
        distance, _, _ = query(points[going] + way[going, None] * along, tree, np.inf)
        way[going] += distance
        going = going[distance > _LEAST_STEP_MM]
    return float(way.max()) if len(way) else 0.0


def _chosen(points: Matrix, near: Matrix | None) -> Matrix:
    """Some of many points: all over, and where parts were found to meet those nearest to it."""
    if near is None:
        return points[:: len(points) // _FIRST + 1]
    if len(points) <= _NEAR + _SPREAD:
        return points
    away = ((points - near) ** 2).sum(axis=1)
    chosen = np.argpartition(away, _NEAR)[:_NEAR]
    spread = np.arange(0, len(points), len(points) // _SPREAD + 1)
    return np.asarray(points[np.unique(np.concatenate([chosen, spread]))])
