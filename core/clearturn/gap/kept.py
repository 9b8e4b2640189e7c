"""Gaps kept by content and place, found again where the geometry is the same."""

from __future__ import annotations

import dataclasses
import math
import threading
from collections import OrderedDict, deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn.gap.meridian import into_axis_frame
from clearturn.gap.model import Axis, Gap, Interval, State
from clearturn.gap.state import is_closed
from clearturn.gap.still import inverse
from clearturn.gap.tree import mesh_bounds
from clearturn.gap.turning import Turns
from clearturn.mesh import Mesh

Matrix = NDArray[np.float64]
Key = tuple[object, ...]
#: Two placements are the same if no point of either mesh lies farther than this from where the
#: other has it, mm: the rounding of poses multiplied together, far below a triangle's own.
SAME_MM = 1e-9
#: Placements kept of one pair of meshes.
_PLACES = 8


@dataclass(frozen=True, slots=True)
class Placement:
    """How a pair stands: which meshes, where, and which of them turns.

    Attributes
    ----------
    meshes : (Mesh, Mesh)
    poses : (ndarray, ndarray)
        (4, 4) each, into the common frame.
    turns : {"first", "second"} or None
        Which of the two turns about the axis; None if they stand still to each other.
    axis : Axis
    """

    meshes: tuple[Mesh, Mesh]
    poses: tuple[Matrix, Matrix]
    turns: Turns | None
    axis: Axis

    def frames(self) -> tuple[Matrix, Matrix, Matrix]:
        """Return (into the frame that counts, first's pose in it, second's): (4, 4) each.

        For a turning pair that is the axis frame, for a still one the common frame itself.
        """
        if self.turns is None:
            return np.eye(4), *self.poses
        into = _matrix(*into_axis_frame(self.axis, None))
        first, second = (_matrix(*into_axis_frame(self.axis, pose)) for pose in self.poses)
        return into, first, second


@dataclass(frozen=True, slots=True)
class _Entry:
    frames: tuple[Matrix, Matrix, Matrix]
    gap: Gap


class KeptGaps:
    """Gaps that were worked out, by content, motion, place and tolerance.

    A pair is found again where both parts moved together, for gaps do not depend on where the
    corner lies; a turning pair also where a part was turned about the axis or both went along it.
    The points are moved along, and the interval is widened by what the placements differ.

    Parameters
    ----------
    most_pairs : int
        Pairs of meshes kept; of each a few placements.  The one not asked for longest goes first.
    """

    def __init__(self, most_pairs: int = 1024) -> None:
        self._most = most_pairs
        self._pairs: OrderedDict[Key, deque[_Entry]] = OrderedDict()
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return sum(len(entries) for entries in self._pairs.values())

    def find(self, at: Placement, tolerance_mm: float) -> Gap | None:
        """Return the gap of a placement if it is known, with its points where the parts are now."""
        key = _key(at, tolerance_mm)
        with self._lock:
            entries = list(self._pairs.get(key, ()))
            if entries:
                self._pairs.move_to_end(key)
        frames = at.frames()
        for entry in entries:
            found = _carried(entry, at, frames)
            if found is not None:
                return found
        return None

    def keep(self, at: Placement, tolerance_mm: float, gap: Gap) -> None:
        """Keep the gap of a placement."""
        key = _key(at, tolerance_mm)
        entry = _Entry(at.frames(), gap)
        with self._lock:
            self._pairs.setdefault(key, deque(maxlen=_PLACES)).appendleft(entry)
            self._pairs.move_to_end(key)
            while len(self._pairs) > self._most:
                self._pairs.popitem(last=False)


def _key(at: Placement, tolerance_mm: float) -> Key:
    return (at.meshes[0].sha256, at.meshes[1].sha256, at.turns, tolerance_mm)


def _matrix(rotation: Matrix, shift: Matrix) -> Matrix:
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = rotation, shift
    return pose


def _carried(entry: _Entry, at: Placement, frames: tuple[Matrix, Matrix, Matrix]) -> Gap | None:
    if all((a == b).all() for a, b in zip(entry.frames, frames, strict=True)):
        return entry.gap
    if at.turns is None:
        return _carried_still(entry, at, frames)
    return _carried_turning(entry, at, frames)


def _carried_still(
    entry: _Entry, at: Placement, frames: tuple[Matrix, Matrix, Matrix]
) -> Gap | None:
    """Both moved alike: by what took the second from where it was to where it is."""
    move = frames[2] @ inverse(entry.frames[2])
    off = _off(at.meshes[0], frames[1], move @ entry.frames[1])
    off += _off(at.meshes[1], frames[2], move @ entry.frames[2])
    if off > SAME_MM:
        return None
    return _moved(entry.gap, move, move, off)


def _carried_turning(
    entry: _Entry, at: Placement, frames: tuple[Matrix, Matrix, Matrix]
) -> Gap | None:
    """Either turned about the axis by any angle, and both moved along it alike."""
    still, moving = (1, 0) if at.turns == "first" else (0, 1)
    spins, off = [], 0.0
    along = 0.0
    for which in (still, moving):
        step = frames[1 + which] @ inverse(entry.frames[1 + which])
        angle = math.atan2(step[1, 0] - step[0, 1], step[0, 0] + step[1, 1])
        if which == still:
            along = float(step[2, 3])
        spins.append((angle, _spin(angle, along)))
        before = entry.frames[1 + which]
        off += _off(at.meshes[which], frames[1 + which], spins[-1][1] @ before)
        if off > SAME_MM:
            return None
    together = _off(at.meshes[moving], frames[1 + moving], spins[0][1] @ entry.frames[1 + moving])
    if together > SAME_MM and not (is_closed(at.meshes[0]) and is_closed(at.meshes[1])):
        # What an open surface surrounds may be told otherwise at another angle.
        return None
    into, back = entry.frames[0], inverse(frames[0])
    moves = [back @ spin @ into for _, spin in spins]
    gap = _moved(entry.gap, moves[0], moves[0 if still == 0 else 1], off)
    angle = math.degrees(spins[0][0] - spins[1][0]) + (gap.turn_angle_deg or 0.0)
    rise = np.array([0.0, along])
    return dataclasses.replace(
        gap,
        turn_angle_deg=angle % 360.0,
        first_rz_mm=None if gap.first_rz_mm is None else gap.first_rz_mm + rise,
        second_rz_mm=None if gap.second_rz_mm is None else gap.second_rz_mm + rise,
    )


def _spin(angle: float, along: float) -> Matrix:
    pose = np.eye(4)
    c, s = math.cos(angle), math.sin(angle)
    pose[:2, :2] = [[c, -s], [s, c]]
    pose[2, 3] = along
    return pose


def _off(mesh: Mesh, pose: Matrix, other: Matrix) -> float:
    """Greatest distance of a point of `mesh` between two poses: it is convex, so at a corner."""
    corners = np.stack(np.meshgrid(*mesh_bounds(mesh).T, indexing="ij"), -1).reshape(-1, 3)
    step = corners @ (pose[:3, :3] - other[:3, :3]).T + (pose[:3, 3] - other[:3, 3])
    return float(np.linalg.norm(step, axis=1).max())


def _moved(gap: Gap, move: Matrix, move_of_first: Matrix, off: float) -> Gap:
    """A gap in another place; its ends widened by what the placements differ."""
    turn, shift = move[:3, :3], move[:3, 3]
    inside = gap.interference
    if inside is not None:
        free, depth = inside.freeing_direction, inside.depth_mm
        inside = dataclasses.replace(
            inside,
            freeing_direction=None if free is None else move_of_first[:3, :3] @ free,
            depth_mm=None if depth is None else _wider(depth, off, at_least=0.0),
        )
    apart = gap.state is not State.INTERFERING
    return dataclasses.replace(
        gap,
        gap_mm=_wider(gap.gap_mm, off, at_least=0.0 if apart else -math.inf),
        first_point_mm=turn @ gap.first_point_mm + shift,
        second_point_mm=turn @ gap.second_point_mm + shift,
        direction=turn @ gap.direction,
        interference=inside,
    )


def _wider(interval: Interval, by: float, *, at_least: float) -> Interval:
    low, high = interval.lower, interval.upper
    return Interval(
        None if low is None else max(at_least, low - by), None if high is None else high + by
    )
