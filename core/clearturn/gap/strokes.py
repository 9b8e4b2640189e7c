"""At which angles a turning part runs into another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.errors import InputError
from clearturn.gap import _kernels_contact as contact
from clearturn.gap.model import Z_AXIS, Axis
from clearturn.gap.state import BUDGET, turned
from clearturn.gap.still import inverse, need_faces, rigid
from clearturn.gap.tree import space_tree
from clearturn.gap.turning import Turns
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check, report

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A range of angles over which surfaces were found to cross.

    Attributes
    ----------
    from_deg, to_deg : float
        First and last angle looked at that hits, right-handed about the axis; ``to_deg`` may be
        above 360.
    """

    from_deg: float
    to_deg: float


def hitting_strokes(
    first: Mesh,
    second: Mesh,
    *,
    turns: Turns = "second",
    axis: Axis = Z_AXIS,
    tolerance_mm: float = 1e-3,
    pose_first: ArrayLike | None = None,
    pose_second: ArrayLike | None = None,
    step_deg: float = 1.0,
    progress: Progress | None = None,
) -> tuple[Stroke, ...]:
    """Return the angles at which two parts cross while one of them turns.

    Parameters
    ----------
    turns, axis, pose_first, pose_second
        As `turning_gap`, which decides whether they hit at all.
    tolerance_mm : float
        A crossing must be deeper than this.
    step_deg : float
        Angles looked at, from 0 on; each end of a stroke is then halved down to a hundredth of
        it.  A hit shorter than a step may be missed.

    Raises
    ------
    InputError
        If a mesh has no triangles, a pose is not rigid or the step is not above 0 and at most 90.
    Cancelled
        If `progress` was cancelled.

    Notes
    -----
    Every angle inside a stroke that was looked at has a proven crossing of surfaces.  A part that
    lies wholly inside the other crosses nothing and makes no stroke.
    """
    need_faces(first, second)
    if not 0 < step_deg <= 90:
        raise InputError("the step must be above 0° and at most 90°", found=f"{step_deg!r}")
    p1, p2 = rigid(pose_first), rigid(pose_second)
    a, b = space_tree(first), space_tree(second)
    back, sign = inverse(p2), -1.0 if turns == "second" else 1.0

    def hits(angle: float) -> bool:
        check(progress)
        pose = back @ turned(axis, sign * angle) @ p1
        turn, shift = np.ascontiguousarray(pose[:3, :3]), np.ascontiguousarray(pose[:3, 3])
        answer = contact.find_crossing(
            a.vertices, a.faces, a.boxes, a.level_start, turn, shift,
            b.vertices, b.faces, b.boxes, b.level_start,
            tolerance_mm, BUDGET, np.zeros(2, np.int64),
        )  # fmt: skip
        return bool(answer > 0)

    count = round(360 / step_deg)
    found = np.zeros(count, np.bool_)
    for k in range(count):
        found[k] = hits(k * 360 / count)
        report(progress, (k + 1) / count, "angles")
    step = 360 / count
    if found.all():
        return (Stroke(0.0, 360.0),)

    def end(hit: float, free: float) -> float:
        while abs(free - hit) > 0.01 * step:
            middle = 0.5 * (hit + free)
            hit, free = (middle, free) if hits(middle) else (hit, middle)
        return hit

    strokes = []
    for start in np.flatnonzero(found & ~np.roll(found, 1)):
        first_hit = last = int(start)
        while found[(last + 1) % count]:
            last += 1
        low = end(first_hit * step, (first_hit - 1) * step)
        strokes.append(Stroke(low, end(last * step, (last + 1) * step)))
    return tuple(strokes)
