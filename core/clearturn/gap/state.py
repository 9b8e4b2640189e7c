"""Apart, touching, interfering or unknown: what a small distance means (docs/methods/gap.md)."""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from clearturn.findings import Finding
from clearturn.gap import _kernels_contact as contact
from clearturn.gap import _kernels_still as still_kernels
from clearturn.gap.depth import freeing_shift, inside_depth, shared_depth
from clearturn.gap.meridian import axis_frame, meridian_image
from clearturn.gap.model import Axis, Gap, Interference, Interval, State
from clearturn.gap.still import inverse, query
from clearturn.gap.surface_map import INSIDE, OUTSIDE, winding
from clearturn.gap.tree import mesh_bounds, space_tree
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check

if TYPE_CHECKING:
    from clearturn.gap.turning import Turns

Matrix = NDArray[np.float64]
#: Pairs of boxes looked at for a proof of crossing before the search gives up.
BUDGET = 3_000_000
#: Points asked for in every connected piece.
POINTS_PER_PIECE = 5


def still_state(
    gap: Gap,
    first: Mesh,
    second: Mesh,
    pose_first: Matrix,
    pose_second: Matrix,
    *,
    tolerance_mm: float,
    progress: Progress | None = None,
) -> Gap:
    """Return `gap` with its state decided: crossing, containment, sign unknown, touching."""
    relative = inverse(pose_second) @ pose_first
    if gap.state is State.APART:
        return _contained(gap, first, second, relative, progress)
    a, b = space_tree(first), space_tree(second)
    answer = 0
    for nudge, least in _nudges(tolerance_mm):
        turn = np.ascontiguousarray(relative[:3, :3])
        shift = np.ascontiguousarray(relative[:3, 3] + nudge)
        answer = contact.find_crossing(
            a.vertices, a.faces, a.boxes, a.level_start, turn, shift,
            b.vertices, b.faces, b.boxes, b.level_start, least, BUDGET, np.zeros(2, np.int64),
        )  # fmt: skip
        check(progress)
        if answer != 0:
            break
    depth, _ = inside_depth(first, second, [relative], progress)
    if answer <= 0 and depth <= tolerance_mm and is_closed(first) and is_closed(second):
        depth = max(depth, shared_depth(first, second, [relative], progress))
    if answer <= 0 and depth <= tolerance_mm:
        gap = _touching(gap, answer)
        return _contained(gap, first, second, relative, progress)
    return _interfering(
        gap, first, second, pose_first, pose_second, depth, None, tolerance_mm, progress
    )


def turning_state(
    gap: Gap,
    first: Mesh,
    second: Mesh,
    pose_first: Matrix,
    pose_second: Matrix,
    turns: Turns,
    axis: Axis,
    *,
    tolerance_mm: float,
    progress: Progress | None = None,
) -> Gap:
    """Return `gap` with its state decided over the full turn."""
    relative = inverse(pose_second) @ pose_first
    if gap.state is State.APART:
        # Nothing touches at any angle, so what is inside stays inside: one angle decides.
        return _contained(gap, first, second, relative, progress)
    b = meridian_image(second, axis, pose_second, whole=True)
    answer = 0
    for nudge, least in _nudges(tolerance_mm):
        pose = pose_first.copy()
        pose[:3, 3] += nudge
        a = meridian_image(first, axis, pose, whole=True)
        answer = contact.find_overlap(
            a.xyz, a.faces, a.boxes, a.level_start,
            b.xyz, b.faces, b.boxes, b.level_start, least, BUDGET, np.zeros(2, np.int64),
        )  # fmt: skip
        check(progress)
        if answer != 0:
            break
    poses = _poses_over_turn(gap, pose_first, pose_second, turns, axis)
    # Without a crossing only the angle of the contact is looked at; containment comes after.
    depth, _ = inside_depth(first, second, poses if answer > 0 else poses[:1], progress)
    if answer <= 0 and depth <= tolerance_mm and is_closed(first) and is_closed(second):
        depth = max(depth, shared_depth(first, second, poses[:1], progress))
    if answer <= 0 and depth <= tolerance_mm:
        gap = _touching(gap, answer)
        return _contained(gap, first, second, relative, progress)
    return _interfering(
        gap, first, second, pose_first, pose_second, depth, (turns, axis), tolerance_mm, progress
    )


def _nudges(tolerance_mm: float) -> list[tuple[Matrix, float]]:
    """Shifts of the first mesh to look at, each with the crossing that proves one without it.

    Corners that lie exactly on the other surface hide a crossing: one triangle ends there from
    above, its neighbour from below.  Moved a little, one of the two must cross by more than the
    move.
    """
    step = 1.5 * tolerance_mm
    return [
        (np.zeros(3), tolerance_mm),
        (step * np.array([0.36, 0.48, 0.8]), step + tolerance_mm),
        (step * np.array([-0.48, 0.6, -0.64]), step + tolerance_mm),
    ]


def turned(axis: Axis, angle_deg: float) -> Matrix:
    """Return the (4, 4) pose of a right-handed turn about `axis`."""
    rotation, _ = axis_frame(axis)
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    turn = rotation.T @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ rotation
    pose = np.eye(4)
    pose[:3, :3] = turn
    pose[:3, 3] = axis.point - turn @ axis.point
    return pose


def is_closed(mesh: Mesh) -> bool:
    """Return whether every edge of `mesh` is shared by faces that run along it both ways."""
    return mesh.cached("closed", lambda: _is_closed(mesh))


def pieces(mesh: Mesh) -> NDArray[np.int32]:
    """Return the connected piece of every vertex (the least vertex of the piece), (n,) int32."""
    return mesh.cached("pieces", lambda: _pieces(mesh))


def _pieces(mesh: Mesh) -> NDArray[np.int32]:
    parent = np.empty(len(mesh.vertices), np.int32)
    still_kernels.pieces_of(mesh.faces, len(mesh.vertices), parent)
    return parent


def _is_closed(mesh: Mesh) -> bool:
    f = mesh.faces.astype(np.int64)
    f = f[(f[:, 0] != f[:, 1]) & (f[:, 1] != f[:, 2]) & (f[:, 2] != f[:, 0])]
    n = len(mesh.vertices)
    ends = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    there = np.sort(ends[:, 0] * n + ends[:, 1])
    back = np.sort(ends[:, 1] * n + ends[:, 0])
    return bool((there == back).all())


def _poses_over_turn(gap: Gap, p1: Matrix, p2: Matrix, turns: Turns, axis: Axis) -> list[Matrix]:
    """Poses of the first mesh in the second's frame at the contact and all round."""
    angles = [gap.turn_angle_deg or 0.0]
    angles += [angles[0] + step for step in (-1.0, 1.0, -3.0, 3.0)]
    angles += [10.0 * k for k in range(36)]
    back = inverse(p2)
    sign = -1.0 if turns == "second" else 1.0
    return [back @ turned(axis, sign * angle) @ p1 for angle in angles]


def _sample(mesh: Mesh) -> NDArray[np.int64]:
    """A few vertices of every connected piece, spread over it."""

    def choose() -> NDArray[np.int64]:
        label = pieces(mesh)
        count = int((label == np.arange(len(label))).sum())
        rows = np.empty(POINTS_PER_PIECE * count, np.int64)
        return rows[: still_kernels.spread_of_pieces(mesh.faces, label, POINTS_PER_PIECE, rows)]

    return mesh.cached("sample", choose)


def side_of(
    inner: Mesh, outer: Mesh, inner_in_outer: Matrix, touching_mm: float
) -> tuple[bool, bool]:
    """Whether points of `inner` lie inside `outer`, and whether any is undecided.

    A piece is inside or unknown by the middle of its points' winding numbers.
    """
    rows = _sample(inner)
    points = inner.vertices[rows] @ inner_in_outer[:3, :3].T + inner_in_outer[:3, 3]
    low, high = mesh_bounds(outer)
    within = ((points >= low) & (points <= high)).all(axis=1)
    if not within.any():
        return False, False
    if touching_mm > 0 and is_closed(outer):
        # A point on the surface says nothing about the rest of its piece.
        distance, _, _ = query(points[within], space_tree(outer), np.inf)
        within[np.flatnonzero(within)[distance <= touching_mm]] = False
        if not within.any():
            return False, False
    size = np.abs(winding(points[within], outer))
    label = pieces(inner)[rows[within]]
    inside = unknown = False
    for piece in np.unique(label):
        middle = float(np.median(size[label == piece]))
        inside |= middle >= INSIDE
        unknown |= OUTSIDE < middle < INSIDE
    return inside, unknown


def _contained(
    gap: Gap,
    first: Mesh,
    second: Mesh,
    relative: Matrix,
    progress: Progress | None,
) -> Gap:
    """Decide containment of parts whose surfaces do not cross."""
    check(progress)
    touching = (gap.gap_mm.upper or 0.0) + 1e-6 if gap.state is State.TOUCHING else 0.0
    in_second, unknown_second = side_of(first, second, relative, touching)
    check(progress)
    in_first, unknown_first = side_of(second, first, inverse(relative), touching)
    if in_second or in_first:
        which = "first in second" if in_second else "second in first"
        text = f"a piece lies wholly inside the other part's solid ({which})"
        # The nearest surface must be passed to come out: the distance is a least depth.
        lower = gap.gap_mm.lower or 0.0
        return dataclasses.replace(
            gap,
            state=State.INTERFERING,
            gap_mm=Interval(None, -lower),
            interference=Interference(False, which, Interval(lower, None), None),
            findings=(*gap.findings, Finding("contained", "error", text)),
        )
    if unknown_second or unknown_first:
        which = "second" if unknown_second else "first"
        text = (
            f"the {which} mesh is open where it surrounds the other part, so it cannot be told "
            "whether that part is inside it; the gap is the distance of the surfaces, without sign"
        )
        return dataclasses.replace(
            gap,
            state=State.SIGN_UNKNOWN,
            findings=(*gap.findings, Finding("sign-unknown", "warning", text)),
        )
    return gap


def _touching(gap: Gap, answer: int) -> Gap:
    upper = gap.gap_mm.upper
    gap = dataclasses.replace(gap, state=State.TOUCHING, gap_mm=Interval(0.0, upper))
    if answer < 0:
        text = (
            "the parts meet in so many places that it was not searched to the end whether they "
            "cross somewhere; take the contact as it is or move the parts apart by a known amount"
        )
        gap = dataclasses.replace(
            gap, findings=(*gap.findings, Finding("contact-not-searched", "warning", text))
        )
    return gap


def _interfering(
    gap: Gap,
    first: Mesh,
    second: Mesh,
    pose_first: Matrix,
    pose_second: Matrix,
    depth: float,
    turn: tuple[Turns, Axis] | None,
    tolerance_mm: float,
    progress: Progress | None,
) -> Gap:
    if not (is_closed(first) and is_closed(second)):
        text = (
            "open surfaces cross, so how deep one part enters the other cannot be told; close the "
            "holes or judge the place by eye"
        )
        return dataclasses.replace(
            gap,
            state=State.INTERFERING,
            gap_mm=Interval(None, 0.0),
            interference=Interference(True, "none", None, None),
            findings=(*gap.findings, Finding("open-crossing", "warning", text)),
        )
    shift = freeing_shift(
        gap, first, second, pose_first, pose_second, depth, turn, tolerance_mm, progress
    )
    upper, direction = shift if shift is not None else (None, None)
    return dataclasses.replace(
        gap,
        state=State.INTERFERING,
        gap_mm=Interval(None if upper is None else -upper, -depth),
        interference=Interference(True, "none", Interval(depth, upper), direction),
    )
