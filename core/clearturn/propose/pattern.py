"""Evenly spaced fixings about the axis: studs or holes on a bolt circle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from clearturn.propose.view import Array, Wall, flat_circle

FEWEST, MOST = 3, 12
SAME_RADIUS_MM = 0.35  # of fixings of one pattern
SAME_CIRCLE_MM = 1.2  # of their distances from the axis
SAME_END_MM = 3.0  # of their far ends: pockets end elsewhere than holes
OFF_MM = 1.5  # a fixing may lie beside its even place by this


@dataclass(frozen=True, slots=True)
class Pattern:
    """Fixings found on evenly spaced places.

    Attributes
    ----------
    count : int
        Places; some may be empty.
    members : tuple of Wall
        In the order of their places, the first at the least azimuth.
    circle_mm : float
        Radius of the circle through the centres.
    centre_mm : (2,) ndarray
        Its centre, from the axis.
    off_mm : float
        Greatest distance of a centre from its even place.
    strays : int
        Alike features that lie on no place.
    """

    count: int
    members: tuple[Wall, ...]
    circle_mm: float
    centre_mm: Array
    off_mm: float
    strays: int

    @property
    def radius_mm(self) -> float:
        """Typical radius of a stud or hole."""
        return float(np.median([one.radius_mm for one in self.members]))

    @property
    def score(self) -> float:
        """Share of places filled, less for strays."""
        return len(self.members) / self.count - 0.1 * self.strays


def best_pattern(walls: Sequence[Wall], far_end: bool = True) -> Pattern | None:
    """Return the best evenly spaced pattern among walls of one kind, or None.

    Parameters
    ----------
    walls : sequence of Wall
        Of one kind: all holes or all pins.
    far_end : bool
        Whether alike features must end at a like height.
    """
    best: Pattern | None = None
    for lead in walls:
        like = [
            one
            for one in walls
            if abs(one.radius_mm - lead.radius_mm) <= SAME_RADIUS_MM
            and abs(one.distance_mm - lead.distance_mm) <= SAME_CIRCLE_MM
            and (
                not far_end
                or min(abs(one.to_mm - lead.to_mm), abs(one.from_mm - lead.from_mm)) <= SAME_END_MM
            )
        ]
        for count in range(FEWEST, MOST + 1):
            one = _spaced(like, lead, count)
            if one is not None and (best is None or _rank(one) > _rank(best)):
                best = one
    return best


def _rank(one: Pattern) -> tuple[float, float]:
    return (round(one.score + 0.02 * len(one.members), 3), -one.off_mm)


def _spaced(like: Sequence[Wall], lead: Wall, count: int) -> Pattern | None:
    turn = np.array([math.atan2(one.centre_mm[1], one.centre_mm[0]) for one in like])
    start = math.atan2(lead.centre_mm[1], lead.centre_mm[0])
    place = (turn - start) / (2 * math.pi) * count
    slot = np.round(place)
    beside = np.abs(place - slot) * 2 * math.pi / count * lead.distance_mm
    filled: dict[int, int] = {}
    for k in np.argsort(beside):
        if beside[k] <= OFF_MM:
            filled.setdefault(int(slot[k]) % count, int(k))
    if len(filled) < max(FEWEST, math.ceil(0.6 * count)):
        return None
    chosen = [like[filled[k]] for k in sorted(filled)]
    chosen.sort(key=lambda one: math.atan2(one.centre_mm[1], one.centre_mm[0]) % (2 * math.pi))
    centres = np.array([one.centre_mm for one in chosen])
    circle = flat_circle(centres) if len(centres) >= 5 else None
    if circle is None:
        distances = np.linalg.norm(centres, axis=1)
        circle = (np.zeros(2), float(distances.mean()), 0.0)
    return Pattern(
        count,
        tuple(chosen),
        circle[1],
        circle[0],
        float(beside[list(filled.values())].max()),
        len(like) - len(filled),
    )
