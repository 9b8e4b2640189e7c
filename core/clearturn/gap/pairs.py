"""All pairs of a corner in one call: the near ones exactly, the far ones by their boxes."""

from __future__ import annotations

import math
import threading
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn import threads
from clearturn.errors import InputError
from clearturn.gap.bound import few_boxes, image_bound, one_box, still_bound, turning_bound
from clearturn.gap.cull import kept_grid
from clearturn.gap.kept import KeptGaps, Placement
from clearturn.gap.meridian import meridian_image
from clearturn.gap.model import Z_AXIS, Axis, Gap, Interval, State
from clearturn.gap.state import still_state, turning_state
from clearturn.gap.still import inverse, need_faces, rigid, still_gap
from clearturn.gap.tree import space_tree
from clearturn.gap.turning import Turns, turning_gap
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report, silent

Matrix = NDArray[np.float64]
#: A turning part's image pays for itself from this many pairs on.
_PAIRS_FOR_IMAGE = 3


@dataclass(frozen=True, slots=True)
class GapPart:
    """A part as the engine sees it.

    Attributes
    ----------
    name : str
    mesh : Mesh
    turns : bool
        Whether it turns about the axis; fixed and posed parts do not.
    pose : (4, 4) array_like or None
        Rigid, row-major, into the frame of the axis; None is the identity.
    """

    name: str
    mesh: Mesh
    turns: bool = False
    pose: ArrayLike | None = None


@dataclass(frozen=True, slots=True)
class PairGap:
    """What is known of one pair.

    Attributes
    ----------
    first, second : str
    turning : bool
        Whether exactly one of the two turns, so that the answer holds over a full turn.
    gap_mm : Interval
        Certified; without an upper end where only boxes were looked at.
    gap : Gap or None
        None where the parts are certified farther apart than was enough.
    was_kept : bool
        Whether the answer was known already.
    """

    first: str
    second: str
    turning: bool
    gap_mm: Interval
    gap: Gap | None
    was_kept: bool = False

    @property
    def by_bound(self) -> bool:
        """Whether the lower end comes from boxes alone; the true gap may be far above it."""
        return self.gap is None


def pair_gaps(
    parts: Sequence[GapPart],
    pairs: Iterable[tuple[str, str]] | None = None,
    *,
    axis: Axis = Z_AXIS,
    tolerance_mm: float = 1e-3,
    enough_mm: float = math.inf,
    kept: KeptGaps | None = None,
    progress: Progress | None = None,
) -> tuple[PairGap, ...]:
    """Return the gaps of all pairs of a corner.

    Parameters
    ----------
    parts : sequence of GapPart
    pairs : iterable of (str, str), optional
        Names; by default every two parts.
    axis : Axis
        What turning parts turn about.
    tolerance_mm : float
        As in `turning_gap` and `still_gap`.
    enough_mm : float
        Pairs certified at least this far apart are answered by their bound alone.
    kept : KeptGaps, optional
        What was worked out before, and is added to: a moved part costs its own pairs only.
    progress : Progress, optional

    Returns
    -------
    tuple of PairGap
        In the order of `pairs`.

    Raises
    ------
    InputError
        If a name is missing, unknown or there twice, a part stands against itself, a mesh has no
        triangles, a pose is not rigid, or a length is not positive.
    Cancelled
        If `progress` was cancelled.

    References
    ----------
    docs/methods/gap.md.
    """
    for value, what in ((tolerance_mm, "tolerance"), (enough_mm, "distance that is enough")):
        if not value > 0:
            raise InputError(f"the {what} must be a positive length", found=f"{value!r}")
    table = _by_name(parts)
    asked = list(combinations(table, 2)) if pairs is None else list(pairs)
    work = [_Work.of(pair, table, axis) for pair in dict.fromkeys(asked)]
    call = _Call(tolerance_mm, enough_mm, kept, len(work), progress)
    # The nearest pairs come first: they take longest.
    work.sort(key=lambda one: one.rough_mm)
    left = [one for one in work if not call.knows(one)]
    _prepare(left, call, part(progress, 0.0, 0.3))
    # Side by side, since not all of a pair's work can be shared among threads.
    threads.run(lambda k, _: call.work_out(left[k]), threads.spans(len(left), 1), progress)
    return tuple(call.found[pair] for pair in asked)


def _prepare(left: Sequence[_Work], call: _Call, progress: Progress | None) -> None:
    """Make the images and trees that bounds or several searches need, with all threads on each.

    An answer that made its own would keep others waiting for it.
    """
    turning = [one for one in left if one.turning_part is not None]
    count = Counter(id(one.turning[0]) for one in turning if one.turns is not None)
    wanted = [
        one
        for one in turning
        if math.isfinite(call.enough_mm) or count[id(one.turning[0])] >= _PAIRS_FOR_IMAGE
    ]
    trees = {id(mesh): mesh for one in left for mesh in one.in_trees(call.enough_mm)}
    count_all = len(wanted) + len(trees)
    for i, one in enumerate(wanted):
        mesh, pose = one.turning
        here = part(progress, i / count_all, (i + 1) / count_all)
        image = meridian_image(mesh, one.at.axis, pose, here)
        if math.isfinite(call.enough_mm):
            kept_grid(image, None)
    for i, mesh in enumerate(trees.values(), len(wanted)):
        space_tree(mesh, part(progress, i / count_all, (i + 1) / count_all))


@dataclass(slots=True)
class _Call:
    """One call of `pair_gaps`: what was asked of every pair, and the answers so far."""

    tolerance_mm: float
    enough_mm: float
    kept: KeptGaps | None
    count: int
    progress: Progress | None
    found: dict[tuple[str, str], PairGap] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def knows(self, one: _Work) -> bool:
        """Answer a pair that is far by its boxes alone, or known; whether it was."""
        if one.boxes_apart and one.rough_mm >= self.enough_mm:
            self._tell(one, Interval(one.rough_mm, None), None)
            return True
        gap = None if self.kept is None else self.kept.find(one.at, self.tolerance_mm)
        if gap is not None:
            self._tell(one, gap.gap_mm, gap, was_kept=True)
        return gap is not None

    def work_out(self, one: _Work) -> None:
        """Answer a pair by a bound from trees, or exactly; several may be under way at a time."""
        quiet = silent(self.progress)
        if math.isfinite(self.enough_mm):
            bound = one.bound(self.enough_mm, quiet)
            if bound >= self.enough_mm and one.is_outside(bound, self.tolerance_mm, quiet):
                self._tell(one, Interval(bound, None), None)
                return
        gap = one.exact(self.tolerance_mm, quiet)
        if self.kept is not None:
            self.kept.keep(one.at, self.tolerance_mm, gap)
        self._tell(one, gap.gap_mm, gap)

    def _tell(
        self, one: _Work, gap_mm: Interval, gap: Gap | None, *, was_kept: bool = False
    ) -> None:
        with self.lock:
            self.found[one.names] = PairGap(
                *one.names, one.turns is not None, gap_mm, gap, was_kept
            )
            text = f"{one.names[0]} and {one.names[1]}"
            report(self.progress, 0.3 + 0.7 * len(self.found) / self.count, text)


def _by_name(parts: Sequence[GapPart]) -> dict[str, tuple[GapPart, Matrix]]:
    table = {}
    for one in parts:
        if one.name in table:
            raise InputError("two parts have one name", found=repr(one.name))
        table[one.name] = (one, rigid(one.pose))
    return table


@dataclass(frozen=True, slots=True)
class _Work:
    """One pair to answer, with what its boxes alone say."""

    names: tuple[str, str]
    at: Placement
    rough_mm: float
    boxes_apart: bool  # in space, as the parts stand: neither can be inside the other
    turning_part: int | None  # 0 or 1

    @classmethod
    def of(
        cls, pair: tuple[str, str], table: dict[str, tuple[GapPart, Matrix]], axis: Axis
    ) -> _Work:
        for name in pair:
            if name not in table:
                raise InputError(
                    "a pair names a part that is not there",
                    found=repr(name),
                    allowed=", ".join(table) or "no part at all",
                )
        if pair[0] == pair[1]:
            raise InputError("a part has no gap to itself", found=repr(pair[0]))
        (one, pose_one), (two, pose_two) = table[pair[0]], table[pair[1]]
        need_faces(one.mesh, two.mesh)
        turns: Turns | None = "first" if one.turns else "second"
        if one.turns == two.turns:
            turns = None
        at = Placement((one.mesh, two.mesh), (pose_one, pose_two), turns, axis)
        boxes = (one_box(one.mesh), one_box(two.mesh))
        in_space = still_bound(*boxes, inverse(pose_two) @ pose_one)
        rough = in_space if turns is None else turning_bound(*boxes, axis, pose_one, pose_two)
        turning_part = 0 if one.turns else 1 if two.turns else None
        return cls(pair, at, rough, in_space > 0, turning_part)

    @property
    def turns(self) -> Turns | None:
        return self.at.turns

    @property
    def turning(self) -> tuple[Mesh, Matrix]:
        """The part that turns, or the first if both do: mesh and pose."""
        which = self.turning_part or 0
        return self.at.meshes[which], self.at.poses[which]

    def in_trees(self, enough_mm: float) -> tuple[Mesh, ...]:
        """The parts whose trees in space are sure to be asked for."""
        if self.turning_part is None or (self.turns is None and math.isinf(enough_mm)):
            return self.at.meshes
        return (self.at.meshes[1 - self.turning_part],) if math.isfinite(enough_mm) else ()

    def bound(self, enough_mm: float, progress: Progress | None) -> float:
        """A certified bound from trees: by the image of a part that turns, else by boxes."""
        (one, two), (p1, p2) = self.at.meshes, self.at.poses
        if self.turning_part is None:
            boxes = (few_boxes(one, progress), few_boxes(two, progress))
            bound = still_bound(*boxes, inverse(p2) @ p1)
        else:
            this, other = self.turning_part, 1 - self.turning_part
            image = meridian_image(
                self.at.meshes[this], self.at.axis, self.at.poses[this], progress
            )
            bound = image_bound(
                self.at.meshes[other], image, self.at.axis, self.at.poses[other],
                enough_mm=enough_mm, progress=progress,
            )  # fmt: skip
        return max(bound, self.rough_mm)

    def is_outside(self, bound: float, tolerance_mm: float, progress: Progress | None) -> bool:
        """Whether parts whose surfaces are apart are told as apart, not one inside the other."""
        if self.boxes_apart:
            return True
        nowhere = np.zeros(3)
        gap = Gap(State.APART, Interval(bound, None), nowhere, nowhere, -1, -1, nowhere)
        both = (*self.at.meshes, *self.at.poses)
        if self.turns is None:
            gap = still_state(gap, *both, tolerance_mm=tolerance_mm, progress=progress)
        else:
            gap = turning_state(
                gap, *both, self.turns, self.at.axis, tolerance_mm=tolerance_mm, progress=progress
            )
        return gap.state is State.APART

    def exact(self, tolerance_mm: float, progress: Progress | None) -> Gap:
        one, two = self.at.meshes
        p1, p2 = self.at.poses
        if self.turns is None:
            return still_gap(
                one, two, tolerance_mm=tolerance_mm, pose_first=p1, pose_second=p2,
                progress=progress,
            )  # fmt: skip
        return turning_gap(
            one, two, turns=self.turns, axis=self.at.axis,
            tolerance_mm=tolerance_mm, pose_first=p1, pose_second=p2, progress=progress,
        )  # fmt: skip
