"""Where the labels of dimensions and parts stand: near what they tell, on free paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from clearturn.drawing.dimension import CLEAR_MM, TAIL_MM, label_size, outside, tail_end
from clearturn.drawing.lettering import text_width
from clearturn.drawing.model import XY, Dimension, Text, Tone
from clearturn.drawing.placing import Room

Floats = NDArray[np.float64]

_TRIES = 1500
_AT_ONCE = 64
_NO_ROOM_MM = 500.0
_OWN_TEXT_MM = 150.0
_MARK = 4.0  # weight of labels, arrows and leaders against 1 for an outline
_AIR_MM = 1.2
_CROSSING_MM = 45.0  # a leader over another costs as much as one so much longer


@dataclass(frozen=True, slots=True)
class Label:
    """A dimension that has no place for its text yet."""

    first: XY
    second: XY
    value: str
    deviation: str
    notes: tuple[str, ...]
    tone: Tone


def place_labels(labels: Sequence[Label], room: Room) -> list[Dimension]:
    """Return the dimensions with their shelves on free paper.

    Each label takes the free box with the shortest leader, counted longer where it crosses an
    outline, runs over another label or leader or turns back on itself; what is placed is taken for
    those that follow.  They are placed in several orders, and the best of all is kept.
    """
    for label in labels:
        u = np.subtract(label.second, label.first)
        length = float(np.hypot(*u)) or 1.0
        u = u / length * (TAIL_MM - 0.8)
        arrows = shapely.LineString([np.subtract(label.first, u), np.add(label.second, u)])
        room.take(shapely.buffer(arrows, 0.6), _MARK)
    best: tuple[float, list[Dimension], Room] | None = None
    for order in _orders(labels):
        trial = room.copy()
        cost, made = _placed_in_order(labels, order, trial)
        if best is None or cost < best[0] - 1e-9:
            best = cost, made, trial
    assert best is not None
    room.become(best[2])
    return best[1]


def _orders(labels: Sequence[Label]) -> list[tuple[int, ...]]:
    """Return the orders to place labels in: as given, and from every side of the paper."""
    middle = np.array([np.add(one.first, one.second) / 2 for one in labels]).reshape(-1, 2)
    orders = [tuple(range(len(labels)))]
    for way in (middle[:, 1], -middle[:, 1], middle[:, 0], -middle[:, 0]):
        orders.append(tuple(np.argsort(way, kind="stable").tolist()))
    return list(dict.fromkeys(orders))


def _placed_in_order(
    labels: Sequence[Label], order: Sequence[int], room: Room
) -> tuple[float, list[Dimension]]:
    """Place labels one after another; return what it costs and the dimensions as given."""
    out: dict[int, Dimension] = {}
    leaders, total = np.empty((0, 2, 2)), 0.0
    for index in order:
        cost, made = _best(labels[index], room, leaders)
        total, out[index] = total + cost, made
        wide, up, down = label_size(made)
        left, shelf = min(made.elbow[0], made.elbow[0] + made.shelf_mm), made.elbow[1]
        room.take_box(
            (left - _AIR_MM, shelf - down - _AIR_MM), (left + wide + _AIR_MM, shelf + up + _AIR_MM),
            _MARK,
        )  # fmt: skip
        end = tail_end(made.first, made.second) if outside(made) else made.second
        room.take(shapely.buffer(shapely.LineString([end, made.elbow]), 0.3), _MARK)
        leaders = np.concatenate([leaders, [[end, made.elbow]]])
    return total, [out[index] for index in range(len(labels))]


def _best(label: Label, room: Room, leaders: Floats) -> tuple[float, Dimension]:
    draft = Dimension(
        label.first, label.second, label.second, 1.0, label.value, label.deviation, label.notes,
        tone=label.tone,
    )  # fmt: skip
    wide, up, down = label_size(draft)
    middle = np.add(label.first, label.second) / 2
    left, low, rough = _candidates(room, middle, (wide, up + down))
    if len(left) == 0:  # no room at all: beside the gap
        elbow = (float(middle[0]) + 10.0, float(middle[1]) + 10.0)
        return _NO_ROOM_MM, replace(draft, elbow=elbow, shelf_mm=wide)
    best: tuple[float, Dimension] | None = None
    for ends in ((label.first, label.second), (label.second, label.first)):
        start = np.array(tail_end(*ends) if outside(draft) else ends[1])
        for right in (False, True):
            elbows = np.stack([left + wide if right else left, low + down], axis=1)
            runs = elbows - start
            cost = rough + np.hypot(runs[:, 0], runs[:, 1])
            cost += 8.0 * _sharpness(ends, runs) + _CROSSING_MM * _crossings(start, elbows, leaders)
            cost += _OWN_TEXT_MM * _over_own_text(runs, (up, down), right=right)
            # What a leader runs over only adds: it is asked for where it may still decide.
            order = np.argsort(cost, kind="stable")
            for few in np.array_split(order, max(1, len(order) // _AT_ONCE)):
                if best is not None and cost[few[0]] >= best[0]:
                    break
                full = cost[few] + 3.0 * room.crossed(start, elbows[few])
                i = int(np.argmin(full))
                if best is None or full[i] < best[0]:
                    x, y = elbows[few[i]].tolist()
                    made = replace(draft, first=ends[0], second=ends[1], elbow=(x, y),
                                   shelf_mm=-wide if right else wide)  # fmt: skip
                    best = float(full[i]), made
    assert best is not None
    return best


def _over_own_text(runs: Floats, heights: tuple[float, float], *, right: bool) -> NDArray[np.bool_]:
    """Return which leaders, `runs` (n, 2) long to the shelf's end, run through their own label."""
    toward = runs[:, 0] if right else -runs[:, 0]
    depth = np.where(runs[:, 1] > 0, heights[1], heights[0])
    share = np.minimum(1.0, depth / np.maximum(np.abs(runs[:, 1]), 1e-9))
    return np.asarray(toward * share > CLEAR_MM - 0.3)


def _crossings(start: Floats, ends: Floats, leaders: Floats) -> Floats:
    """Return how many of `leaders` (k, 2, 2) the line from `start` to each of `ends` crosses."""

    def side(a: Floats, b: Floats, p: Floats) -> Floats:
        return np.asarray(
            (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1])
            - (b[..., 1] - a[..., 1]) * (p[..., 0] - a[..., 0])
        )

    a, b = leaders[None, :, 0], leaders[None, :, 1]
    end = ends[:, None]
    across = side(a, b, start) * side(a, b, end) < 0
    across &= side(start, end, a) * side(start, end, b) < 0
    return np.asarray(across.sum(axis=1), dtype=np.float64)


def _candidates(room: Room, middle: Floats, size: XY) -> tuple[Floats, Floats, Floats]:
    """Return lower left corners of free boxes and a cost of each: far off, or on a part."""
    wide, high = size
    x, y, under = room.costs((wide + 2 * _AIR_MM, high + 2 * _AIR_MM))
    x, y = x + _AIR_MM, y + _AIR_MM
    far = np.hypot(
        np.maximum(np.maximum(x - middle[0], middle[0] - x - wide), 0),
        np.maximum(np.maximum(y - middle[1], middle[1] - y - high), 0),
    )
    rough = (far + 0.6 * under).ravel()
    order = np.argsort(rough, kind="stable")
    order = order[np.isfinite(rough[order])]
    # The best ones lie side by side; take some farther down the list as well.
    spread = np.linspace(0, max(0, len(order) - 1), _TRIES).astype(int)
    few = order[np.unique(np.concatenate([np.arange(min(40, len(order))), spread]))[: len(order)]]
    return x.ravel()[few], y.ravel()[few], rough[few]


def _sharpness(ends: tuple[XY, XY], runs: Floats) -> Floats:
    """Return 0 for a leader that runs on straight, 2 for one that turns back on itself."""
    u = np.subtract(ends[1], ends[0])
    lengths = np.hypot(*u) * np.hypot(runs[:, 0], runs[:, 1])
    turn: Floats = 1.0 - (runs @ u) / np.maximum(lengths, 1e-9)
    return turn


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
