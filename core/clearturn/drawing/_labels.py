"""Where the labels of dimensions and parts stand: near what they tell, on free paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from clearturn.drawing.dimension import TAIL_MM, label_size, outside, tail_end
from clearturn.drawing.lettering import text_width
from clearturn.drawing.model import XY, Dimension, Text, Tone
from clearturn.drawing.placing import Room

_TRIES = 160
_AIR_MM = 1.2


@dataclass(frozen=True, slots=True)
class Label:
    """A dimension that has no place for its text yet."""

    first: XY
    second: XY
    value: str
    deviation: str
    notes: tuple[str, ...]
    tone: Tone


def place_labels(labels: Sequence[Label], room: Room, borders: shapely.Geometry) -> list[Dimension]:
    """Return the dimensions with their shelves on free paper.

    Each label takes the free box with the shortest leader, counted longer where it crosses an
    outline or lies on a part; what is placed is taken for those that follow.
    """
    shapely.prepare(borders)
    for label in labels:
        u = np.subtract(label.second, label.first)
        length = float(np.hypot(*u)) or 1.0
        u = u / length * (TAIL_MM + 0.5)
        arrows = shapely.LineString([np.subtract(label.first, u), np.add(label.second, u)])
        room.take(shapely.buffer(arrows, 0.8))
    out: list[Dimension] = []
    leaders: list[shapely.Geometry] = []
    for label in labels:
        made, leader = _best(label, room, borders, leaders)
        out.append(made)
        leaders.append(leader)
        wide, up, down = label_size(made)
        left = min(made.elbow[0], made.elbow[0] + made.shelf_mm)
        room.take_box((left - _AIR_MM, made.elbow[1] - down - _AIR_MM),
                      (left + wide + _AIR_MM, made.elbow[1] + up + _AIR_MM))  # fmt: skip
        room.take(shapely.buffer(leader, 0.4))
    return out


def _best(
    label: Label, room: Room, borders: shapely.Geometry, leaders: list[shapely.Geometry]
) -> tuple[Dimension, shapely.Geometry]:
    draft = Dimension(label.first, label.second, label.second, 1.0, label.value, label.deviation,
                      label.notes, tone=label.tone)  # fmt: skip
    wide, up, down = label_size(draft)
    x, y, under = room.costs((wide + 2 * _AIR_MM, up + down + 2 * _AIR_MM))
    middle = np.add(label.first, label.second) / 2
    if x.size == 0 or not np.isfinite(under).any():  # no room at all: beside the gap
        elbow = (float(middle[0]) + 10.0, float(middle[1]) + 10.0)
        return _with(draft, label, elbow, wide), shapely.LineString([middle, elbow])
    far = np.hypot(
        np.maximum(np.maximum(x - middle[0], middle[0] - x - wide), 0),
        np.maximum(np.maximum(y - middle[1], middle[1] - y - up - down), 0),
    )
    rough = np.where(np.isfinite(under), far + 0.6 * under, np.inf).ravel()
    order = np.argsort(rough, kind="stable")
    spread = order[np.isfinite(rough[order])]
    # the best ones lie side by side; take some farther down the list as well
    picked = np.unique(np.linspace(0, len(spread) - 1, _TRIES).astype(int))
    near = spread[np.unique(np.concatenate([np.arange(min(40, len(spread))), picked]))]
    best: tuple[float, Dimension, shapely.Geometry] | None = None
    for i in near:
        left, low = float(x.flat[i]) + _AIR_MM, float(y.flat[i]) + _AIR_MM
        shelf_y = low + down
        for flip in (False, True):
            ends = (label.second, label.first) if flip else (label.first, label.second)
            start = tail_end(*ends) if outside(draft) else ends[1]
            for elbow, run in (((left, shelf_y), wide), ((left + wide, shelf_y), -wide)):
                leader = shapely.LineString([start, elbow])
                cost = (
                    rough[i]
                    + leader.length
                    + 4.0 * _crossings(leader, borders)
                    + 30.0 * sum(leader.crosses(other) for other in leaders)
                    + 6.0 * _sharpness(ends, start, elbow)
                )
                if _through(start, elbow, left, wide, low, up + down):
                    cost += 60.0
                if best is None or cost < best[0]:
                    made = Dimension(ends[0], ends[1], elbow, run, label.value, label.deviation,
                                     label.notes, tone=label.tone)  # fmt: skip
                    best = (cost, made, leader)
    assert best is not None
    return best[1], best[2]


def _with(draft: Dimension, label: Label, elbow: XY, wide: float) -> Dimension:
    return Dimension(draft.first, draft.second, elbow, wide, label.value, label.deviation,
                     label.notes, tone=label.tone)  # fmt: skip


def _crossings(leader: shapely.Geometry, borders: shapely.Geometry) -> int:
    if not shapely.intersects(borders, leader):
        return 0
    return len(shapely.get_parts(shapely.intersection(borders, leader)))


def _sharpness(ends: tuple[XY, XY], start: XY, elbow: XY) -> float:
    """Return 0 for a leader that runs on straight, 2 for one that turns back on itself."""
    u, v = np.subtract(ends[1], ends[0]), np.subtract(elbow, start)
    lengths = float(np.hypot(*u) * np.hypot(*v))
    return 1.0 - float(u @ v) / lengths if lengths > 0 else 0.0


def _through(start: XY, elbow: XY, left: float, wide: float, low: float, high: float) -> bool:
    """Return whether the leader runs through its own label."""
    box = shapely.box(left + 0.2, low, left + wide - 0.2, low + high)
    return bool(shapely.LineString([start, elbow]).intersection(box).length > 0.5)


def name_inside(name: str, free: shapely.Geometry, room: Room) -> Text | None:
    """Return a part's name inside its visible area, level or upright, or None if it has no room."""
    if free.is_empty:
        return None
    height = 2.4
    wide = text_width(name, height) + 1.6
    high = height + 1.4
    for angle, size in ((0.0, (wide, high)), (90.0, (high, wide))):
        x, y, under = room.costs(size)
        if x.size == 0:
            continue
        open_to = np.isfinite(under)
        cx, cy = x + size[0] / 2, y + size[1] / 2
        inside = open_to & shapely.contains_xy(free, cx, cy)
        if not inside.any():
            continue
        spots = np.flatnonzero(inside.ravel())
        boxes = shapely.box(
            x.flat[spots], y.flat[spots], x.flat[spots] + size[0], y.flat[spots] + size[1]
        )
        shapely.prepare(free)
        fits = shapely.contains(free, boxes)
        if not fits.any():
            continue
        spots = spots[fits]
        centre = free.centroid
        far = np.hypot(cx.flat[spots] - centre.x, cy.flat[spots] - centre.y)
        k = spots[int(np.argmin(far))]
        px, py = float(cx.flat[k]), float(cy.flat[k])
        room.take_box((px - size[0] / 2, py - size[1] / 2), (px + size[0] / 2, py + size[1] / 2))
        drop = 0.36 * height
        at = (px, py - drop) if angle == 0 else (px + drop, py)
        return Text(at, name, height, anchor="middle", angle_deg=angle)
    return None
