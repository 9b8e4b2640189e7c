"""How near anything comes to anything: the certified gap of two meshes, turning or still."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.gap.around import ClockGaps, clock_gaps, gaps_around
    from clearturn.gap.kept import KeptGaps
    from clearturn.gap.levels import level_lines
    from clearturn.gap.model import Z_AXIS, Axis, FreeingShift, Gap, Interference, Interval, State
    from clearturn.gap.pairs import GapPart, PairGap, pair_gaps
    from clearturn.gap.still import still_gap
    from clearturn.gap.strokes import Stroke, hitting_strokes
    from clearturn.gap.surface_map import SurfaceDistances, surface_distances
    from clearturn.gap.turning import turning_gap

__all__ = [
    "Z_AXIS",
    "Axis",
    "ClockGaps",
    "FreeingShift",
    "Gap",
    "GapPart",
    "Interference",
    "Interval",
    "KeptGaps",
    "PairGap",
    "State",
    "Stroke",
    "SurfaceDistances",
    "clock_gaps",
    "gaps_around",
    "hitting_strokes",
    "level_lines",
    "pair_gaps",
    "still_gap",
    "surface_distances",
    "turning_gap",
]

__getattr__ = lazily(
    __name__,
    {
        "around": ("ClockGaps", "clock_gaps", "gaps_around"),
        "kept": ("KeptGaps",),
        "levels": ("level_lines",),
        "model": (
            "Z_AXIS",
            "Axis",
            "FreeingShift",
            "Gap",
            "Interference",
            "Interval",
            "State",
        ),
        "pairs": (
            "GapPart",
            "PairGap",
            "pair_gaps",
        ),
        "still": ("still_gap",),
        "strokes": (
            "Stroke",
            "hitting_strokes",
        ),
        "surface_map": (
            "SurfaceDistances",
            "surface_distances",
        ),
        "turning": ("turning_gap",),
    },
)
