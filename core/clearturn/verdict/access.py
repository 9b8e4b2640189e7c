"""Can it be worked on: tools, pads and the wheel on their straight ways against all that is there.

A tool of the job is swept into a body of its own (`clearturn.envelope.tools`) and judged as a part
like any other, against a requirement of its own.  Service is done cold and standing: of the
allowances only the limits ± of scan, triangles and tolerances count.

The wheel is no convex tool.  Its gap is followed along the way: it changes by at most as much as
the wheel moves, so between two samples a and b apart it is at least (gap a + gap b − way)/2.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.mirror import mirrored_mesh
from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.envelope.tools import box_corners, moved_box, rod, swung_handle, unit
from clearturn.job.access import Access, BoltOut, PadOut, SpannerOn, WheelOn
from clearturn.job.judging import VerdictSettings
from clearturn.mesh import Mesh, join
from clearturn.progress import Progress, part, report
from clearturn.result import AccessResult, Motion, PlacedPart, Verdict
from clearturn.steps import KeptSteps, kept_step
from clearturn.trade.threads import thread
from clearturn.verdict.after import margin_after
from clearturn.verdict.changes import Change, Move
from clearturn.verdict.decision import worst
from clearturn.verdict.every import judge_kept, pair_settings
from clearturn.verdict.judge import Judged

Array = NDArray[np.float64]

KIND = "access"
AROUND_MM = 3.0
"""So far around a nipple the faces of its own part are taken for the nipple itself."""
LIFT_MM = 0.5
"""A socket is looked at from this, and the requirement, above the seat of the head it holds."""
STUD_SIDE_MM = 0.2
"""Least room a side between stud and hole of the wheel; common practice, no source."""
STUD_WAY_MM = 2.0
_STEP_MM = 0.05
_MOST_STEPS = 4000


@dataclass(frozen=True, slots=True)
class Setting:
    """The corner as access is judged in it.

    Attributes
    ----------
    parts : sequence of PlacedPart
    body_of : mapping of str to str
        Placed part to the job's part.
    uncertainty : mapping of str to FrameUncertainty
    settings : VerdictSettings
    mirror : bool
        Whether the parts are those of the other side: places of the tools are mirrored too.
    """

    parts: Sequence[PlacedPart]
    body_of: Mapping[str, str]
    uncertainty: Mapping[str, FrameUncertainty]
    settings: VerdictSettings
    mirror: bool = False

    def left(self, removed: Sequence[str]) -> list[PlacedPart]:
        """Return the parts that are there when some were removed."""
        return [one for one in self.parts if self.body_of[one.name] not in removed]

    @property
    def service(self) -> VerdictSettings:
        """The settings with the allowances that count in service."""
        kept = tuple(one for one in self.settings.allowances if one.kind == "random")
        return replace(self.settings, allowances=kept)


def judge_access(
    items: Sequence[Access],
    corner: Setting,
    progress: Progress | None = None,
    steps: KeptSteps | None = None,
) -> tuple[AccessResult, ...]:
    """Judge every access item of a corner.

    Parameters
    ----------
    steps : KeptSteps, optional
        What earlier checks found.

    Raises
    ------
    InputError
        If a part has no faces left.
    Cancelled
        If `progress` was cancelled.
    """
    found = []
    for i, item in enumerate(items):
        here = part(progress, i / len(items), (i + 1) / len(items))
        report(here, 0.0, item.name)
        if isinstance(item, WheelOn):
            found.append(_wheel_on(item, corner, here, steps))
        else:
            found.append(_with_tool(item, corner, here, steps))
    return tuple(found)


def tool_mesh(item: BoltOut | PadOut | SpannerOn) -> Mesh:
    """Return what a tool or pad covers on its way, hub frame."""
    if isinstance(item, BoltOut):
        lift = item.required_mm + LIFT_MM
        axis = unit(item.direction)
        length = item.socket_length_mm + item.bolt_length_mm - lift
        begin = np.asarray(item.at_mm) + lift * axis
        return rod(begin, axis, max(length, lift), item.socket_diameter_mm, item.name).mesh
    if isinstance(item, PadOut):
        corners, radial = box_corners(
            item.clock_deg, (item.r_from_mm, item.r_to_mm), (item.z_from_mm, item.z_to_mm),
            item.width_mm,
        )  # fmt: skip
        axial = np.array([0.0, 0.0, 1.0])
        along = {"outward": radial, "inward": -radial, "outboard": axial, "inboard": -axial}
        return moved_box(corners, item.way_mm * along[item.direction], item.name).mesh
    axis = unit(item.direction)
    low = np.asarray(item.at_mm) - 0.5 * item.ring_height_mm * axis
    height = item.ring_height_mm + item.way_mm
    ring = rod(low, axis, height, item.ring_diameter_mm, item.name).mesh
    handle = swung_handle(
        low, axis, item.handle_direction, length_mm=item.handle_length_mm,
        width_mm=item.handle_width_mm, height_mm=height, swing_deg=item.swing_deg, name=item.name,
    ).mesh  # fmt: skip
    return join([ring, handle], item.name)


def _with_tool(
    item: BoltOut | PadOut | SpannerOn,
    corner: Setting,
    progress: Progress | None,
    steps: KeptSteps | None,
) -> AccessResult:
    mesh = tool_mesh(item)
    tool = PlacedPart(
        item.name, "tool", Motion.FIXED, mirrored_mesh(mesh) if corner.mirror else mesh,
        "dimensions",
    )  # fmt: skip
    there = corner.left(item.removed)
    told = _without(item)
    if isinstance(item, PadOut):
        apart = (item.own, *item.touches)
        there = [one for one in there if corner.body_of[one.name] not in apart]
        told.append(f"the pad slides in {item.own}")
        told += [f"the pad touches {name}" for name in item.touches]
    frames = dict(corner.uncertainty)
    own = next((one for one in corner.parts if corner.body_of[one.name] == item.own), None)
    if own is not None and own.name in frames:
        frames[tool.name] = frames[own.name]
    judged = []
    by_name = {one.name: one for one in (*there, tool)}
    for i, other in enumerate(there):
        excluded = np.empty(0, np.int64)
        if isinstance(item, SpannerOn) and corner.body_of[other.name] == item.own:
            excluded = _around(other.mesh, item, corner.mirror)
            told.append(f"faces of {item.own} within {_reach(item):.1f} mm are the nipple")
            if len(excluded) == len(other.mesh.faces):
                continue
        spec = PairSpec(
            tool.name, other.name, KIND,
            "turning" if other.motion is Motion.TURNS else "still", item.required_mm,
            np.empty(0, np.int64), excluded,
        )  # fmt: skip
        here = part(progress, i / len(there), (i + 1) / len(there))
        judged.append(judge_kept(spec, by_name, corner.service, frames, here, steps))
    return _result(item, judged, tuple(told))


def _without(item: Access) -> list[str]:
    return [f"without {', '.join(item.removed)}"] if item.removed else []


def _reach(item: SpannerOn) -> float:
    return item.ring_diameter_mm / 2.0 + AROUND_MM


def _around(mesh: Mesh, item: SpannerOn, mirror: bool) -> NDArray[np.int64]:
    at = np.asarray(item.at_mm) * ((-1.0, 1.0, 1.0) if mirror else (1.0, 1.0, 1.0))
    close = np.linalg.norm(mesh.vertices - at, axis=1) <= _reach(item)
    return np.flatnonzero(close[mesh.faces].all(axis=1)).astype(np.int64)


def _result(
    item: Access, judged: Sequence[Judged], told: tuple[str, ...], way_mm: float | None = None
) -> AccessResult:
    if not judged:
        return AccessResult(
            name=item.name, what=item.what, required_mm=item.required_mm,
            verdict=Verdict.NOT_PROVEN, told=(*told, "nothing is left to judge it against"),
        )  # fmt: skip
    least = min(judged, key=lambda one: one.result.margin_mm).result
    findings = tuple(dict.fromkeys(f for one in judged for f in one.result.findings))
    return AccessResult(
        name=item.name,
        what=item.what,
        required_mm=item.required_mm,
        verdict=worst(one.result.verdict for one in judged),
        against=least.second,
        gap_mm=least.gap.gap_mm,
        expanded_uncertainty_mm=least.expanded_uncertainty_mm,
        margin_mm=least.margin_mm,
        clock_deg=least.clock_deg,
        r_mm=least.r_mm,
        z_mm=least.z_mm,
        way_mm=way_mm,
        told=told,
        findings=findings,
    )


# --- the wheel -------------------------------------------------------------------------------


def _wheel_on(
    item: WheelOn, corner: Setting, progress: Progress | None, steps: KeptSteps | None
) -> AccessResult:
    there = corner.left(item.removed)
    wheel = [one for one in there if one.name in corner.settings.wheel_parts]
    others = [one for one in there if one.motion is not Motion.TURNS]
    stud = corner.settings.stud
    pad = corner.settings.seat_stack.pad_z_mm
    over = max(0.0, stud.length_mm - pad) if stud is not None else 0.0
    way = over + STUD_WAY_MM if item.way_mm is None else item.way_mm
    words, told = _studs(item, corner.settings, way, over)
    told = _without(item) + told
    by_name = {one.name: one for one in there}
    ways: list[_Along] = []
    pairs = [(one, two) for one in wheel for two in others]
    for i, (one, two) in enumerate(pairs):
        spec = PairSpec(one.name, two.name, KIND, "turning", item.required_mm)
        here = part(progress, i / len(pairs), (i + 1) / len(pairs))
        judged = judge_kept(
            spec, by_name, corner.service, corner.uncertainty, part(here, 0.0, 0.5), steps
        )
        settings = pair_settings(corner.service, (one, two))
        work = partial(_along, judged, way, settings, part(here, 0.5, 1.0))
        ways.append(kept_step(steps, "way", work, judged, way, settings))
    if not ways:
        return _result(item, [], tuple(told), way)
    least = min(ways, key=lambda found: found.margin_mm)
    result = least.judged.result
    shift = np.array([0.0, 0.0, least.at_mm])
    nearest = least.judged.pair.gap(shift_first=shift)
    told.append(f"nearest {least.at_mm:.1f} mm before the wheel sits")
    base = _result(item, [found.judged for found in ways], tuple(told), way)
    return replace(
        base,
        verdict=worst([*(found.verdict for found in ways), *words]),
        against=f"{result.second} ({result.first})",
        gap_mm=nearest.gap_mm,
        margin_mm=least.margin_mm,
        expanded_uncertainty_mm=result.expanded_uncertainty_mm,
        clock_deg=result.clock_deg, r_mm=result.r_mm, z_mm=result.z_mm,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Along:
    """One pair followed along the wheel's way: its least margin and where."""

    judged: Judged
    margin_mm: float
    at_mm: float
    verdict: Verdict


def _along(
    judged: Judged, way_mm: float, settings: VerdictSettings, progress: Progress | None
) -> _Along:
    outboard = Move(along=np.array([0.0, 0.0, 1.0]))
    change = Change("wheel on", way_mm, {judged.spec.first: outboard})
    samples = list(_samples(judged, change, way_mm, settings, progress))
    margin, at = min((m, s) for s, m in samples)
    bound = margin
    for (s, m), (t, n) in pairwise(samples):
        if t - s > abs(m - n):
            bound = min(bound, 0.5 * (m + n - (t - s)))
    # Certain to fail only where the gap with its whole uncertainty stays below: margin + 2 U < 0.
    fails = margin + 2.0 * judged.result.expanded_uncertainty_mm < 0
    word = Verdict.CLEARS if bound >= 0 else Verdict.FAILS if fails else Verdict.NOT_PROVEN
    return _Along(judged, margin, at, word)


def _samples(
    judged: Judged,
    change: Change,
    way_mm: float,
    settings: VerdictSettings,
    progress: Progress | None,
) -> Iterator[tuple[float, float]]:
    """Yield (way, margin) so close that between two of them no margin falls below zero unseen."""
    at = 0.0
    for _ in range(_MOST_STEPS):
        margin = margin_after(judged, change, at, settings, progress)
        yield at, margin
        if at >= way_mm or margin == -np.inf:
            return
        at = min(at + max(margin, _STEP_MM), way_mm)


def _studs(
    item: WheelOn, settings: VerdictSettings, way_mm: float, over_mm: float
) -> tuple[list[Verdict], list[str]]:
    stud = settings.stud
    if stud is None:
        return [], ["hub and rotor: the wheel is clamped to them"]
    told = [f"studs stand {over_mm:.1f} mm over the wheel pad"]
    words = []
    if way_mm < over_mm:
        told.append(f"after {way_mm:.1f} mm of way the wheel is still on them")
        words.append(Verdict.FAILS)
    if item.stud_hole_mm is None:
        return words, [*told, "studs in the wheel's holes: not checked, no hole is given"]
    side = (item.stud_hole_mm - thread(stud.thread).diameter_mm) / 2.0
    told.append(f"{side:.2f} mm a side in the wheel's holes, {STUD_SIDE_MM:g} needed")
    words.append(Verdict.CLEARS if side >= STUD_SIDE_MM else Verdict.FAILS)
    return words, told
