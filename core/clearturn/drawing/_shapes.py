"""Between shapely's geometries and the marks of a drawing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from clearturn.drawing.model import Dash, Fill, Layer, Line, Ring, Tone


def on_paper(area: shapely.Geometry, scale: float, origin: tuple[float, float]) -> shapely.Geometry:
    """Return a geometry of the part, mm, on the paper."""
    return shapely.transform(area, lambda p: p * scale + np.array(origin))


def fills(area: shapely.Geometry, tone: Tone, layer: Layer = Layer.PART) -> list[Fill]:
    """Return the polygons of a geometry as fills."""
    return [
        Fill((ring(part.exterior), *(ring(hole) for hole in part.interiors)), layer, tone)
        for part in polygons(area)
    ]


def strokes(
    lines: shapely.Geometry,
    layer: Layer,
    width_mm: float,
    tone: Tone = Tone.INK,
    dash: Dash = Dash.SOLID,
) -> list[Line]:
    """Return the lines of a geometry as marks, pieces that meet joined."""
    out = []
    for piece in line_strings(lines):
        points = ring(piece)
        closed = len(points) > 3 and points[0] == points[-1]
        if piece.length > 1e-6:
            out.append(Line(points[:-1] if closed else points, layer, width_mm, tone, dash, closed))
    return out


def line_strings(lines: shapely.Geometry) -> Iterator[shapely.Geometry]:
    """Yield the line strings of a geometry, pieces that meet joined."""
    parts = (p for p in shapely.get_parts(lines) if not p.is_empty)
    only = [p for p in parts if p.geom_type in {"LineString", "LinearRing"}]
    if not only:
        return
    merged = shapely.line_merge(shapely.MultiLineString([shapely.LineString(p) for p in only]))
    yield from shapely.get_parts(merged)


def polygons(area: shapely.Geometry) -> Iterator[shapely.Geometry]:
    """Yield the polygons of a geometry."""
    for part in shapely.get_parts(area):
        if part.geom_type == "Polygon" and not part.is_empty:
            yield part


def ring(line: shapely.Geometry) -> Ring:
    """Return the points of a line string or ring."""
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(line))
