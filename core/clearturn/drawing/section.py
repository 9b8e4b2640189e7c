"""The turn section: r against z, every part's swept outline to scale, and the least gaps.

The horizontal axis is z (outboard to the right), the vertical axis r; the spin axis is the lower
border.  What turns sweeps the whole circle, so the outlines of turning and fixed parts here are as
near each other as they ever come.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from clearturn.drawing._labels import Label, name_inside, place_labels
from clearturn.drawing._shapes import fills, on_paper, polygons, strokes
from clearturn.drawing.hatch import hatch_lines
from clearturn.drawing.lettering import pair_words, text_width
from clearturn.drawing.model import Dash, Drawing, Fill, Layer, Line, Mark, Text, Tone
from clearturn.drawing.outline import material_side, swept_outline
from clearturn.drawing.placing import Room
from clearturn.drawing.sheet import Frame, footer, frame_of, header, scale_text
from clearturn.progress import Progress, report
from clearturn.result import Motion, PairResult, PlacedPart, Verdict
from clearturn.units import length_text, number

TONES = {Motion.TURNS: Tone.TURNS, Motion.FIXED: Tone.FIXED, Motion.POSED: Tone.POSED}
# What lies in front: what the engineer looks at covers what it is mounted to.
_DEPTH = {"knuckle": 1, "bearing housing": 2, "wheel": 4, "barrel": 4, "spokes": 4, "hub": 5,
          "studs": 5, "rotor": 6, "bracket": 7, "caliper": 8}  # fmt: skip
_FAR_MM = 12.0  # margins beyond it are not dimensioned once two gaps are
_STRIP_MM = 2.8  # of tone along the surfaces of an open scan
_COARSE_MM = 0.5  # from here on a drawing is made for a moving picture, without that strip
_SIDE_MM = 29.0  # room for labels left and right of the outlines


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A part on the paper: its outline's area, that with the strip of material, its border."""

    part: PlacedPart
    area: shapely.Geometry
    body: shapely.Geometry
    border: shapely.Geometry


def turn_section(
    parts: Sequence[PlacedPart],
    pairs: Sequence[PairResult],
    *,
    size_mm: tuple[float, float] = (180.0, 150.0),
    most_dimensions: int = 6,
    resolution_mm: float = 0.12,
    unit: str = "mm",
    progress: Progress | None = None,
) -> Drawing:
    """Return the turn section of a corner as a drawing.

    Parameters
    ----------
    parts : sequence of PlacedPart
        In the hub frame.
    pairs : sequence of PairResult
        The gaps to dimension, worst margin first; pairs whose closest places do not lie at their
        distance in the half plane (two still parts beside each other) are left to the gap list.
    size_mm : (width, height)
        The paper at most; what is not needed of its height is left off.
    most_dimensions : int
        How many gaps are dimensioned.
    resolution_mm : float
        Raster of the outlines (see `swept_outline`); coarse while something is dragged.
    unit : {"mm", "in"}
        Of the figures.
    """
    outlines = []
    for i, part in enumerate(parts):
        report(progress, i / max(1, len(parts)), f"outline of {part.name}")
        outlines.append(swept_outline(part.mesh, resolution_mm))
    bounds = _bounds(parts, [o.area for o in outlines])
    frame = frame_of(bounds, size_mm, _SIDE_MM)
    view = shapely.box(*bounds)
    drawn = [
        _drawn(part, outline.area, view, frame, coarse=resolution_mm > _COARSE_MM)
        for part, outline in zip(parts, outlines, strict=True)
        if outline.area.intersects(view)
    ]
    drawn.sort(key=_depth)
    chosen = _chosen(pairs, most_dimensions)
    marks: list[Mark] = []
    marks += _areas(drawn)
    marks += _requirements(drawn, chosen, frame)
    marks += _axis(frame)
    marks += _below(drawn, pairs, frame)
    marks += _texts(drawn, chosen, frame, unit)
    marks += header(frame, "TURN SECTION", f"r against z, full turn of the hub · "
                    f"{scale_text(frame.scale)}")  # fmt: skip
    marks += footer(frame, _legend(drawn, marks), unit)
    accuracy = max((o.accuracy_mm for o in outlines), default=0.0)
    width, height = frame.size_mm
    return Drawing(
        tuple(marks), (0.0, 0.0, width, height), frame.scale, frame.origin,
        "Turn section: r against z, full turn of the hub", accuracy,
    )  # fmt: skip


def _depth(drawn: _Drawn) -> tuple[int, str]:
    depth = 0 if drawn.part.motion is Motion.POSED else _DEPTH.get(drawn.part.kind, 3)
    return depth, drawn.part.name


def _drawn(
    part: PlacedPart, area: shapely.Geometry, view: shapely.Geometry, frame: Frame, *, coarse: bool
) -> _Drawn:
    border = shapely.intersection(shapely.boundary(area), view)
    area = shapely.intersection(area, view)
    body = area
    if not coarse:
        strip = shapely.intersection(material_side(part.mesh, _STRIP_MM), view)
        body = shapely.union(area, strip)
    return _Drawn(part, *(on_paper(g, frame.scale, frame.origin) for g in (area, body, border)))


def _bounds(
    parts: Sequence[PlacedPart], areas: list[shapely.Geometry]
) -> tuple[float, float, float, float]:
    """Return what is drawn: all parts, but a tie rod or hose only as far as it matters here."""
    seen = [(p, a) for p, a in zip(parts, areas, strict=True) if not a.is_empty]
    main = [a for p, a in seen if p.motion is not Motion.POSED]
    boxes = np.array([a.bounds for a in (main or [a for _, a in seen])]).reshape(-1, 4)
    if len(boxes) == 0:
        return -50.0, 0.0, 50.0, 100.0
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(low[0]), 0.0, float(high[0]), float(high[1])


def _areas(drawn: list[_Drawn]) -> list[Mark]:
    """Fills from back to front, then the outlines: solid where seen, thin and dashed where not."""
    out: list[Mark] = []
    for item in drawn:
        out += fills(item.body, TONES[item.part.motion])
    covered = shapely.Polygon()
    lines: list[Mark] = []
    for item in reversed(drawn):
        seen = shapely.difference(item.border, covered)
        posed = item.part.motion is Motion.POSED
        dash = Dash.DASHED if posed else Dash.SOLID
        lines += strokes(seen, Layer.PART, 0.35, dash=dash)
        hidden = shapely.intersection(item.border, shapely.buffer(covered, -0.15))
        lines += strokes(hidden, Layer.HIDDEN, 0.13, Tone.QUIET, Dash.DASHED)
        covered = shapely.union(covered, item.body)
    return out + lines[::-1]


def _chosen(pairs: Sequence[PairResult], most: int) -> list[PairResult]:
    """Return the pairs to dimension: those that do not clear, then the least margins."""
    shown = [p for p in pairs if _ends(p) is not None and p.least_mm is not None]
    shown.sort(key=lambda p: (p.verdict is Verdict.CLEARS, p.margin_mm))
    # A pair that is far from mattering would only be in the way; the gap list has them all.
    near = [p for i, p in enumerate(shown) if i < 2 or p.margin_mm <= _FAR_MM]
    return near[:most]


def _ends(pair: PairResult) -> tuple[np.ndarray, np.ndarray] | None:
    """Return the closest places, (z, r) each, if the half plane shows their distance."""
    gap = pair.gap
    if gap.first_rz_mm is not None and gap.second_rz_mm is not None:
        return np.asarray(gap.first_rz_mm)[::-1], np.asarray(gap.second_rz_mm)[::-1]
    ends = [
        np.array([p[2], np.hypot(p[0], p[1])]) for p in (gap.first_point_mm, gap.second_point_mm)
    ]
    flat = float(np.hypot(*(ends[1] - ends[0])))
    space = float(np.linalg.norm(gap.second_point_mm - gap.first_point_mm))
    return (ends[0], ends[1]) if flat >= 0.97 * space else None


def _fixed_and_turning(drawn: list[_Drawn], pair: PairResult) -> tuple[_Drawn, _Drawn] | None:
    both = [d for name in (pair.first, pair.second) for d in drawn if d.part.name == name]
    if len(both) != 2:
        return None
    if both[0].part.motion is Motion.TURNS:
        both.reverse()
    return both[0], both[1]


def _requirements(drawn: list[_Drawn], pairs: list[PairResult], frame: Frame) -> list[Mark]:
    """The fixed part's outline moved out by the requirement, near the other part."""
    out: list[Mark] = []
    seen: set[tuple[str, str, float]] = set()
    for pair in pairs:
        both = _fixed_and_turning(drawn, pair)
        if both is None or pair.motion != "turning" or pair.required_mm <= 0:
            continue
        fixed, other = both
        if (fixed.part.name, other.part.name, pair.required_mm) in seen:
            continue
        seen.add((fixed.part.name, other.part.name, pair.required_mm))
        need = pair.required_mm * frame.scale
        line = shapely.boundary(shapely.buffer(fixed.area, need))
        near = shapely.buffer(other.area, need + 5.0)
        out += strokes(shapely.intersection(line, near), Layer.REQUIRED, 0.13, Tone.INK, Dash.CHAIN)
    return out


def _below(drawn: list[_Drawn], pairs: Sequence[PairResult], frame: Frame) -> list[Mark]:
    """Places nearer than required: all points within half the requirement of both parts."""
    out: list[Mark] = []
    for pair in pairs:
        both, ends = _fixed_and_turning(drawn, pair), _ends(pair)
        if both is None or ends is None or pair.motion != "turning" or pair.required_mm <= 0:
            continue
        half = pair.required_mm * frame.scale / 2
        a, b = both[0].area, both[1].area
        tight = shapely.intersection(shapely.buffer(a, half), shapely.buffer(b, half))
        tight = shapely.difference(tight, shapely.union(a, b))
        area = shapely.union(tight, shapely.intersection(a, b))
        places = [(p.z_mm, p.r_mm) for p in pair.places] or [tuple((ends[0] + ends[1]) / 2)]
        spots = shapely.MultiPoint([frame.to_paper(float(z), float(r)) for z, r in places])
        kept = shapely.MultiPolygon(
            [p for p in polygons(area) if p.distance(spots) <= half + 0.5 and _visible(p)]
        )
        out += hatch_lines(kept)
        out += strokes(shapely.boundary(kept), Layer.BELOW, 0.25, Tone.ALERT)
    return out


def _visible(area: shapely.Geometry) -> bool:
    return bool(2 * area.area > 0.08 * area.length)  # about 0.08 mm wide on the paper


def _axis(frame: Frame) -> list[Mark]:
    low, high = frame.to_paper(frame.part_bounds[0], 0), frame.to_paper(frame.part_bounds[2], 0)
    face = frame.to_paper(0.0, 0.0)
    return [
        Line(((low[0] - 6, low[1]), (high[0] + 6, high[1])), Layer.AXIS, 0.18, dash=Dash.CHAIN),
        Text((high[0] + 7, high[1] - 0.8), "spin axis", 2.4, tone=Tone.QUIET),
        Line(((face[0], face[1] - 4.0), (face[0], face[1] + 2.0)), Layer.AXIS, 0.18),
        Text((face[0] + 0.8, face[1] - 3.9), "hub face, z 0", 2.4, tone=Tone.QUIET),
    ]


def _texts(drawn: list[_Drawn], pairs: list[PairResult], frame: Frame, unit: str) -> list[Mark]:
    """Dimensions with their labels, and the parts' names where there is room."""
    room = Room(frame.label_bounds)
    for item in drawn:
        room.take(item.body, 0.4)
        room.take(item.border)
    for mark in _axis(frame):
        if isinstance(mark, Line):
            room.take(shapely.LineString(mark.points))
        elif isinstance(mark, Text):
            (x, y), high = mark.at, mark.height_mm
            room.take_box((x, y - 0.3 * high), (x + text_width(mark.text, high), y + high))
    labels = []
    for pair in pairs:
        ends, value = _ends(pair), pair.least_mm
        if ends is None or value is None:
            continue
        first, second = (frame.to_paper(float(z), float(r)) for z, r in ends)
        bad = pair.verdict is Verdict.FAILS
        notes = (
            pair_words(pair.first, pair.second),
            f"{length_text(pair.required_mm, 1, unit)} asked · {pair.verdict}",
            f"{number(pair.clock_deg, 0)}° · r {length_text(pair.r_mm, 1, unit)} · "
            f"z {length_text(pair.z_mm, 1, unit)}",
        )
        labels.append(
            Label(first, second, length_text(value, 2, unit),
                  f"±{length_text(pair.expanded_uncertainty_mm, 2, unit)}",
                  notes, Tone.ALERT if bad else Tone.INK)
        )  # fmt: skip
    placed: list[Mark] = list(place_labels(labels, room))
    return placed + _names(drawn, room)


def _names(drawn: list[_Drawn], room: Room) -> list[Mark]:
    out: list[Mark] = []
    covered = shapely.Polygon()
    for item in reversed(drawn):
        free = shapely.difference(item.body, covered)
        covered = shapely.union(covered, item.body)
        text = name_inside(item.part.name, free, room)
        if text is not None:
            out.append(text)
    return out


def _legend(drawn: list[_Drawn], marks: list[Mark]) -> list[tuple[str, Tone, str]]:
    words = {Motion.TURNS: "turns", Motion.FIXED: "fixed", Motion.POSED: "as scanned only"}
    motions = {item.part.motion for item in drawn}
    out = [
        (words[m], TONES[m], "dashed" if m is Motion.POSED else "area") for m in Motion
        if m in motions
    ]  # fmt: skip
    layers = {mark.layer for mark in marks if not isinstance(mark, Fill)}
    if Layer.REQUIRED in layers:
        out.append(("asked", Tone.INK, "chain"))
    if Layer.BELOW in layers:
        out.append(("below asked", Tone.ALERT, "hatch"))
    return out
