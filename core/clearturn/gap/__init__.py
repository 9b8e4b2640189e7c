"""How near anything comes to anything: the certified gap of two meshes, turning or still."""

from clearturn.gap.kept import KeptGaps
from clearturn.gap.model import Z_AXIS, Axis, Gap, Interference, Interval, State
from clearturn.gap.pairs import GapPart, PairGap, pair_gaps
from clearturn.gap.still import still_gap
from clearturn.gap.strokes import Stroke, hitting_strokes
from clearturn.gap.surface_map import SurfaceDistances, surface_distances
from clearturn.gap.turning import turning_gap

__all__ = [
    "Z_AXIS",
    "Axis",
    "Gap",
    "GapPart",
    "Interference",
    "Interval",
    "KeptGaps",
    "PairGap",
    "State",
    "Stroke",
    "SurfaceDistances",
    "hitting_strokes",
    "pair_gaps",
    "still_gap",
    "surface_distances",
    "turning_gap",
]
