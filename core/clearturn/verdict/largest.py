"""What else would fit: the largest ring, the highest and widest caliper, the smallest rim.

Only pairs that clear now are held.  A part grows in sizes that can be had, each judged by the exact
engine (`after.after`); the size before the first that fails is the answer.  A pair is looked
at again only where it may have come to its limit: a gap shrinks by at most as much as both surfaces
move.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from clearturn.job.judging import VerdictSettings
from clearturn.progress import Progress, part, report
from clearturn.result import FitLimit, PlacedPart
from clearturn.verdict.after import after, room_of
from clearturn.verdict.changes import (
    RIM_STEP_MM,
    Change,
    Move,
    caliper_radius,
    moved_radially,
)
from clearturn.verdict.judge import Judged

Array = NDArray[np.float64]

RING_MOST_MM, CALIPER_MOST_MM, RIM_SIZES = 40.0, 15.0, 3


def find_limits(
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None = None,
) -> tuple[FitLimit, ...]:
    """Return what else would fit in a corner; nothing without the parts it is about.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    makers = (_ring, _higher, _wider, _rim)
    found = []
    for i, maker in enumerate(makers):
        here = part(progress, i / len(makers), (i + 1) / len(makers))
        report(here, 0.0, "what else would fit")
        one = maker(judged, parts, settings, here)
        if one is not None:
            found.append(one)
    return tuple(found)


def grown(
    group: Sequence[Judged],
    change: Change,
    sizes: Sequence[float],
    settings: VerdictSettings,
    progress: Progress | None = None,
) -> tuple[float, Judged | None]:
    """Return the last of ascending amounts before one at which a pair fails, and that pair.

    None: the greatest amount clears too.
    """
    known = [(one.result.margin_mm, 0.0) for one in group]
    last = 0.0
    for size in sizes:
        # Those with the least margin are the likeliest to fail.
        for k in sorted(range(len(group)), key=lambda k: known[k][0]):
            margin, at = known[k]
            if margin - 2.0 * (size - at) - room_of(group[k]) >= 0:
                continue  # both parts moved by as much could not bring it there
            margin = after(group[k], change, size, settings, progress).margin_mm
            known[k] = (margin, size)
            if margin < 0:
                return last, group[k]
        last = size
    return last, None


def _held(judged: Sequence[Judged], change: Change) -> tuple[list[Judged], list[str]]:
    """Return the pairs a change touches that clear now, and a sentence for those that do not."""
    touched = [
        one for one in judged if one.spec.first in change.moves or one.spec.second in change.moves
    ]
    held = [one for one in touched if one.result.margin_mm >= 0]
    told = [
        f"{one.spec.first} and {one.spec.second} do not clear as they are"
        for one in touched
        if one.result.margin_mm < 0
    ]
    return held, told


def _named(stop: Judged | None) -> str:
    return "" if stop is None else f"{stop.spec.first} and {stop.spec.second}"


def _ring(
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> FitLimit | None:
    rotor = settings.rotor
    rotors = [one.name for one in parts if one.kind == "rotor"]
    if rotor is None or not rotors:
        return None
    middle = 0.25 * (rotor.ring_outer_diameter_mm + rotor.ring_inner_diameter_mm)
    moves = dict.fromkeys(rotors, _outer_edge(middle, 0.5))
    for one in parts:
        if one.kind == "caliper":
            moves[one.name] = Move(along=0.5 * caliper_radius(one, settings))
    change = Change("largest ring", RING_MOST_MM, moves)
    held, told = _held(judged, change)
    if not held:
        return None
    now = rotor.ring_outer_diameter_mm
    sold = [one - now for one in sorted(settings.cures.rings_mm) if 0 < one - now <= RING_MOST_MM]
    amount, stop = grown(held, change, sold, settings, progress)
    told += (
        [
            "the caliper moves outward by half of it",
            f"its band grows from {now / 2 - rotor.ring_inner_diameter_mm / 2:.1f} to "
            f"{(now + amount - rotor.ring_inner_diameter_mm) / 2:.1f} mm, or pads sweep further "
            "out",
        ]
        if amount > 0
        else ["no larger one on sale"]
    )
    told += [f"looked at to Ø {now + amount:g} mm"] if stop is None and sold else []
    return FitLimit("largest ring", amount, now + amount, _named(stop), tuple(told))


def _outer_edge(middle_mm: float, share: float) -> Move:
    def edge(points: Array, s: float) -> Array:
        radius = np.hypot(points[:, 0], points[:, 1])
        return moved_radially(points, np.where(radius > middle_mm, share * s, 0.0))

    return Move(deform=edge)


def _higher(
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> FitLimit | None:
    caliper = settings.caliper
    if caliper is None:
        return None
    middle = 0.5 * (caliper.bridge_inner_radius_mm + caliper.outer_radius_mm)
    return _caliper(
        "highest caliper", caliper.outer_radius_mm, "over the bridge, radius",
        _outer_edge(middle, 1.0), judged, parts, settings, progress,
    )  # fmt: skip


def _wider(
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> FitLimit | None:
    caliper, rotor = settings.caliper, settings.rotor
    if caliper is None or rotor is None:
        return None
    # Beyond the slot's outboard wall everything goes outboard with the face.
    wall = rotor.ring_mid_z_mm + 0.5 * (caliper.slot_half_width_mm + caliper.outboard_width_mm)

    def face(points: Array, s: float) -> Array:
        out = points.copy()
        out[points[:, 2] > wall, 2] += s
        return out

    return _caliper(
        "widest caliper", caliper.outboard_width_mm, "outboard of the ring's middle",
        Move(deform=face), judged, parts, settings, progress,
    )  # fmt: skip


def _caliper(
    what: str,
    now_mm: float,
    where: str,
    move: Move,
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> FitLimit | None:
    names = [one.name for one in parts if one.kind == "caliper" and "dimensions" in one.source]
    change = Change(what, CALIPER_MOST_MM, dict.fromkeys(names, move))
    held, told = _held(judged, change)
    if not held:
        return None
    step = settings.cures.made_step_mm or 0.5
    sizes = [step * k for k in range(1, int(CALIPER_MOST_MM / step + 1e-9) + 1)]
    amount, stop = grown(held, change, sizes, settings, progress)
    told += [f"{where}: {now_mm:g} mm now"]
    told += [f"looked at to {now_mm + CALIPER_MOST_MM:g} mm"] if stop is None else []
    return FitLimit(what, amount, now_mm + amount, _named(stop), tuple(told))


def _rim(
    judged: Sequence[Judged],
    parts: Sequence[PlacedPart],
    settings: VerdictSettings,
    progress: Progress | None,
) -> FitLimit | None:
    barrels = [one.name for one in parts if one.kind == "barrel"]
    moves = dict.fromkeys(barrels, Move(deform=lambda points, s: moved_radially(points, -s / 2)))
    change = Change("smallest rim", RIM_SIZES * RIM_STEP_MM, moves)
    held, told = _held(judged, change)
    if not held:
        return None
    steps = [k * RIM_STEP_MM for k in range(1, RIM_SIZES + 1)]
    amount, stop = grown(held, change, steps, settings, progress)
    sizes = round(amount / RIM_STEP_MM)
    word = "size" if sizes == 1 else "sizes"
    told += [
        f"{sizes} {word} smaller than this wheel" if sizes else "this wheel's: one size less fails",
        "the same barrel on a smaller rim: the real wheel must be scanned",
    ]
    return FitLimit("smallest rim", 0.0 - amount, None, _named(stop), tuple(told))
