"""Hatching of places below the requirement.

Cut material is hatched with unbroken lines at 45°; a place that is too tight is no material.  It gets
short strokes, staggered from row to row, at a steeper angle and in the alert tone.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from clearturn.drawing.model import XY, Layer, Line, Tone

_SPACING_MM = 1.0
_STROKE_MM = 1.5
_GAP_MM = 0.8
_ANGLE_DEG = 65.0


def hatch_lines(area: shapely.Geometry, tone: Tone = Tone.ALERT) -> list[Line]:
    """Return the strokes that fill an area of the paper (shapely geometry, mm)."""
    if area.is_empty:
        return []
    low_x, low_y, high_x, high_y = area.bounds
    cos, sin = math.cos(math.radians(_ANGLE_DEG)), math.sin(math.radians(_ANGLE_DEG))
    # rows across the strokes, anchored to the paper so that neighbouring areas match
    corners = np.array([(low_x, low_y), (low_x, high_y), (high_x, low_y), (high_x, high_y)])
    across = corners @ np.array([-sin, cos])
    along = corners @ np.array([cos, sin])
    strokes = []
    period = _STROKE_MM + _GAP_MM
    for row in range(math.floor(across.min() / _SPACING_MM), math.ceil(across.max() / _SPACING_MM)):
        first = math.floor(along.min() / period) - 1
        for step in range(first, math.ceil(along.max() / period) + 1):
            start = (step + 0.5 * (row % 2)) * period
            ends = np.array([start, start + _STROKE_MM])
            x = ends * cos - row * _SPACING_MM * sin
            y = ends * sin + row * _SPACING_MM * cos
            strokes.append(shapely.LineString(np.stack([x, y], axis=1)))
    cut = shapely.get_parts(shapely.intersection(np.array(strokes), area))
    return [
        Line(_points(piece), Layer.BELOW, 0.2, tone)
        for piece in shapely.get_parts(cut)
        if piece.geom_type == "LineString" and piece.length > 0.05
    ]


def _points(line: shapely.Geometry) -> tuple[XY, ...]:
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(line))
