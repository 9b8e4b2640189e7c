"""Hatching of places below the requirement.

Cut material is hatched with unbroken lines at 45°; a place that is too tight is no material.  It
gets short strokes across it, like rungs, staggered from row to row where it is wide, in the alert
tone.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from clearturn.drawing.model import XY, Layer, Line, Tone

_SPACING_MM = 0.9
_STROKE_MM = 1.5
_GAP_MM = 0.8
_SLANT_DEG = 62.0


def hatch_lines(area: shapely.Geometry, tone: Tone = Tone.ALERT) -> list[Line]:
    """Return the strokes that fill an area of the paper (shapely geometry, mm)."""
    out: list[Line] = []
    for part in shapely.get_parts(area):
        if part.geom_type == "Polygon" and not part.is_empty:
            out += _strokes(part, _long_direction(part) + _SLANT_DEG, tone)
    return out


def _long_direction(area: shapely.Geometry) -> float:
    """Return the direction of the area's length, degrees in −90 … 90."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(area))
    if len(corners) < 4:
        return 0.0
    sides = corners[1:3] - corners[:2]
    side = sides[int(np.argmax(np.hypot(sides[:, 0], sides[:, 1])))]
    angle = math.degrees(math.atan2(side[1], side[0]))
    return (angle + 90.0) % 180.0 - 90.0


def _strokes(area: shapely.Geometry, angle_deg: float, tone: Tone) -> list[Line]:
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    low_x, low_y, high_x, high_y = area.bounds
    corners = np.array([(low_x, low_y), (low_x, high_y), (high_x, low_y), (high_x, high_y)])
    across = corners @ np.array([-sin, cos])
    along = corners @ np.array([cos, sin])
    period = _STROKE_MM + _GAP_MM
    rows = np.arange(math.floor(across.min() / _SPACING_MM), math.ceil(across.max() / _SPACING_MM))
    steps = np.arange(math.floor(along.min() / period) - 1, math.ceil(along.max() / period) + 1)
    row, step = (grid.ravel() for grid in np.meshgrid(rows, steps, indexing="ij"))
    start = (step + 0.5 * (row % 2)) * period
    ends = np.stack([start, start + _STROKE_MM], axis=1)
    aside = (row * _SPACING_MM)[:, None]
    strokes = np.stack([ends * cos - aside * sin, ends * sin + aside * cos], axis=-1)
    cut = shapely.intersection(shapely.linestrings(strokes), area)
    return [
        Line(_points(piece), Layer.BELOW, 0.2, tone)
        for piece in shapely.get_parts(cut)
        if piece.geom_type == "LineString" and piece.length > 0.05
    ]


def _points(line: shapely.Geometry) -> tuple[XY, ...]:
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(line))
