"""Where a part under trial is drawn, and what lies at a place of the turn section."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from clearturn.drawing import Fill, swept_outline
from clearturn.drawing._shapes import fills
from clearturn.drawing.section import TONES
from clearturn.envelope.rotor import rotor_profile
from clearturn.job.edits import corner_of
from clearturn.result import CheckResult, Motion, PlacedPart
from clearturn.trial.freedom import Freedom, is_made, placed_part, spec_of, tried


@dataclass(frozen=True, slots=True)
class MovedOutline:
    """A part's swept outline, and how far it is moved in the half plane.

    Attributes
    ----------
    marks : tuple of Fill
        In mm of the part, (z, r); unmoved, and the very same object as long as it is the same.
    step_mm : (z, r)
    """

    name: str
    marks: tuple[Fill, ...]
    step_mm: tuple[float, float]


def held_at(
    result: CheckResult, choice: tuple[Freedom, ...], z_mm: float, r_mm: float, reach_mm: float
) -> Freedom | None:
    """Return the freedom of the part that lies at a place of the section, within a reach.

    The outlines must have been made before (a drawn section makes them), or this takes its time.
    """
    place = shapely.Point(z_mm, r_mm)
    for freedom in choice:
        for name in freedom.held:
            area = swept_outline(placed_part(result, name).mesh).area
            if shapely.dwithin(area, place, reach_mm):
                return freedom
    return None


def moved_outlines(result: CheckResult, freedom: Freedom, by_mm: float) -> tuple[MovedOutline, ...]:
    """Return the outlines of the parts that a freedom moves; quick enough for every frame.

    A part in a file that moves along its radius is drawn moved as a whole: true at the middle of
    its arc, a little too far at its ends (at 30° off the middle by 13 % of the move).
    """
    step = (by_mm, 0.0) if freedom.along == "z" else (0.0, by_mm)
    found = []
    for name in freedom.parts:
        part = placed_part(result, name)
        if part.kind == "rotor" and is_made(spec_of(result, freedom.axle, name)):
            found.append(MovedOutline(name, _ring_moved(result, freedom, part, by_mm), (0.0, 0.0)))
        else:
            found.append(MovedOutline(name, _outline_marks(part), step))
    return tuple(found)


def _outline_marks(part: PlacedPart) -> tuple[Fill, ...]:
    return part.mesh.cached(
        ("outline marks", part.motion),
        lambda: tuple(fills(swept_outline(part.mesh).area, TONES[part.motion])),
    )


def _ring_moved(
    result: CheckResult, freedom: Freedom, part: PlacedPart, by_mm: float
) -> tuple[Fill, ...]:
    corner = corner_of(tried(result, result.job, freedom, by_mm), freedom.axle)
    assert corner.rotor is not None
    area = shapely.make_valid(shapely.Polygon(rotor_profile(corner.rotor)[:, ::-1]))
    return tuple(fills(area, TONES[part.motion]))


@dataclass(frozen=True, slots=True)
class GapThere:
    """The gap at a place of the section, as drawn: to the accuracy of the outlines.

    Attributes
    ----------
    gap_mm : float
        From the still part nearest to the place to the nearest turning one.
    still, turning : str
        Names of the two parts.
    """

    gap_mm: float
    still: str
    turning: str


def gap_there(
    parts: Sequence[PlacedPart], z_mm: float, r_mm: float, reach_mm: float
) -> GapThere | None:
    """Return the gap at a place of the section, or None inside a part or far from either.

    The outlines must have been made before (a drawn section makes them), or this takes its time.
    """
    place = shapely.Point(z_mm, r_mm)
    areas = [(part, swept_outline(part.mesh).area) for part in parts]
    if any(shapely.intersects(area, place) for _, area in areas):
        return None
    still, turning = (
        [(part.name, area) for part, area in areas if (part.motion is Motion.TURNS) is turns]
        for turns in (False, True)
    )
    if not still or not turning:
        return None
    fixed = min(still, key=lambda one: shapely.distance(one[1], place))
    if shapely.distance(fixed[1], place) > reach_mm:
        return None
    near = shapely.get_point(shapely.shortest_line(fixed[1], place), 0)
    other = min(turning, key=lambda one: shapely.distance(one[1], near))
    if shapely.distance(other[1], place) > reach_mm:
        return None
    return GapThere(float(shapely.distance(other[1], near)), fixed[0], other[0])
