"""The hub on a knuckle scan: its face, registers, flange, fixings, and where it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearturn.propose.model import Scales
from clearturn.propose.pattern import Pattern, best_pattern
from clearturn.propose.rims import rims
from clearturn.propose.view import Ring, View, Wall, rings, walls

# What hubs of passenger cars and light vans measure (common practice, no source), mm.
FACE_RADIUS_MM = (38.0, 130.0)
LEAST_FACE_MM = 8.0  # width of the ring
LEAST_SPIGOT_MM = 3.0
RIM_RADIUS_MM = (2.5, 18.0)
HOUSING_SHARE = (0.55, 1.7)  # radius of the bearing housing, of the flange's


@dataclass(frozen=True, slots=True)
class Hub:
    """The hub as found, in a view whose axis points outboard.

    Attributes
    ----------
    face : Ring
    fixings : Pattern or None
    studs : bool
        Pins; else holes.
    registers : tuple of Ring
        The spigot's steps from the face outboard.
    rim : Ring or None
        The flange's outside.
    back : Ring or None
        The flange's inboard face.
    scales : Scales
        What speaks for this face.
    """

    face: Ring
    fixings: Pattern | None
    studs: bool
    registers: tuple[Ring, ...]
    rim: Ring | None
    back: Ring | None
    scales: Scales


@dataclass(frozen=True, slots=True)
class Seen:
    """A view with what was found in it once."""

    view: View
    flats: tuple[Ring, ...]
    rounds: tuple[Ring, ...]
    walls: tuple[Wall, ...]
    rims: tuple[Wall, ...]


def look(view: View) -> Seen:
    """Return a view with its rings and walls."""
    return Seen(
        view,
        tuple(rings(view, flat=True)),
        tuple(rings(view, flat=False, least_coverage=0.25)),
        tuple(walls(view)),
        tuple(rims(view, RIM_RADIUS_MM)),
    )


def hub_of(seen: Seen) -> list[Hub]:
    """Return every flat ring that may be the hub face on this side, most likely first."""
    found = []
    for ring in seen.flats:
        wide = ring.to_mm - ring.from_mm
        if ring.sense < 0 or ring.coverage < 0.5 or wide < LEAST_FACE_MM:
            continue
        if not FACE_RADIUS_MM[0] <= ring.to_mm <= FACE_RADIUS_MM[1]:
            continue
        found.append(_judged(seen, ring))
    return sorted(found, key=lambda one: -one.scales.confidence)


def _judged(seen: Seen, face: Ring) -> Hub:
    scales = Scales()
    scales.weigh(min(1.0, 0.4 + face.coverage * 0.62), f"seen over {face.coverage:.0%} of the turn")
    fixings, studs = _fixings(seen, face)
    word = "studs" if studs else "holes"
    if fixings is None:
        scales.weigh(0.45, "no evenly spaced studs or holes in it")
    else:
        text = f"{len(fixings.members)} of {fixings.count} evenly spaced {word} in it"
        scales.weigh(min(1.0, 0.55 + 0.45 * fixings.score), text)
    registers = _registers(seen, face)
    if registers:
        first = registers[0]
        scales.weigh(
            min(1.0, 0.7 + 0.35 * first.coverage),
            f"a spigot of radius {first.at_mm:.1f} mm stands on it",
        )
    else:
        scales.weigh(0.5, "no spigot stands on it")
    rim = _rim(seen, face)
    scales.weigh(
        0.8 if rim is None else 1.0,
        "no flange rim below its edge" if rim is None else "the flange's rim lies below its edge",
    )
    return Hub(face, fixings, studs, registers, rim, _back(seen, face, rim), scales)


def _fixings(seen: Seen, face: Ring) -> tuple[Pattern | None, bool]:
    inside = [
        one
        for one in seen.walls
        if face.from_mm < one.distance_mm < face.to_mm + 1.0 and one.radius_mm < 12.0
    ]
    studs = [
        one
        for one in inside
        if not one.hollow
        and one.from_mm > face.at_mm - 5.0
        and one.from_mm < face.at_mm + 12.0
        and one.to_mm > face.at_mm + 8.0
        and one.coverage >= 0.4
    ]
    holes = [
        one
        for one in inside
        if one.hollow and abs(one.to_mm - face.at_mm) < 3.5 and one.coverage >= 0.4
    ]
    # Holes that open into other surface have no wall of their own; their rims tell them.
    holes += [
        one
        for one in seen.rims
        if face.from_mm < one.distance_mm < face.to_mm
        and abs(one.to_mm - face.at_mm) < 3.5
        and all(float(np.linalg.norm(one.centre_mm - w.centre_mm)) > 2.0 for w in holes)
    ]
    pins, bores = best_pattern(studs, far_end=False), best_pattern(holes)
    if bores is None or (pins is not None and pins.score >= bores.score - 0.2):
        return pins, True
    return bores, False


def _registers(seen: Seen, face: Ring) -> tuple[Ring, ...]:
    """Return the spigot's steps, from the face outboard."""
    steps = [
        one
        for one in seen.rounds
        if one.sense > 0
        and one.at_mm < face.from_mm + 2.0
        and one.at_mm > 0.45 * face.from_mm
        and one.from_mm > face.at_mm - 2.0
        and one.to_mm - face.at_mm > LEAST_SPIGOT_MM
        and one.coverage >= 0.4
    ]
    steps.sort(key=lambda one: (one.from_mm, -one.at_mm))
    kept: list[Ring] = []
    for one in steps:
        if not kept:
            # The first step stands on the face.
            if one.from_mm < face.at_mm + 5.0:
                kept.append(one)
        elif _steps_from(kept[-1], one):
            kept.append(one)
    return tuple(kept)


def _steps_from(below: Ring, above: Ring) -> bool:
    """Return whether a ring is the spigot's next step: smaller, and where the last one ends."""
    smaller = below.at_mm - above.at_mm
    return 0.25 < smaller < 8.0 and -2.5 < above.from_mm - below.to_mm < 6.0


def _rim(seen: Seen, face: Ring) -> Ring | None:
    near = [
        one
        for one in seen.rounds
        if one.sense > 0
        and face.to_mm - 1.0 < one.at_mm < face.to_mm + 5.0
        and one.to_mm < face.at_mm + 1.0
        and one.to_mm > face.at_mm - 8.0
        and one.coverage >= 0.3
    ]
    return max(near, key=lambda one: one.area_mm2, default=None)


def _back(seen: Seen, face: Ring, rim: Ring | None) -> Ring | None:
    """Return the flange's inboard face: the next flat ring below that looks inboard."""
    outer = face.to_mm + 5.0 if rim is None else rim.at_mm + 1.5
    below = [
        one
        for one in seen.flats
        if one.sense < 0
        and one.to_mm < outer
        and one.to_mm > 0.6 * outer
        and face.at_mm - 40.0 < one.at_mm < face.at_mm - 4.0
        and one.coverage >= 0.3
    ]
    return max(below, key=lambda one: one.at_mm, default=None)


def housing_of(seen: Seen, hub: Hub) -> tuple[Ring, Ring | None, Scales] | None:
    """Return the bearing housing's outside, its outboard end face, and how sure that is."""
    face = hub.face
    flange = hub.rim.at_mm if hub.rim is not None else face.to_mm
    lowest = face.at_mm - 4.0
    if hub.back is not None:
        lowest = hub.back.at_mm
    elif hub.rim is not None:
        lowest = hub.rim.from_mm
    found = [
        one
        for one in seen.rounds
        if one.sense > 0
        and HOUSING_SHARE[0] * flange < one.at_mm < HOUSING_SHARE[1] * flange
        and one.to_mm < lowest + 0.5
        and one.to_mm > face.at_mm - 70.0
        and one.to_mm - one.from_mm > 6.0
    ]
    if not found:
        return None
    # Nearest to the hub first: behind it come the knuckle's own turned surfaces.
    top = max(one.to_mm for one in found)
    near = [one for one in found if one.to_mm > top - 6.0]
    ring = max(near, key=lambda one: one.area_mm2)
    scales = Scales()
    scales.weigh(
        min(1.0, 0.45 + 0.75 * ring.coverage),
        f"a cylinder of radius {ring.at_mm:.1f} mm behind the hub flange, seen over "
        f"{ring.coverage:.0%} of the turn and {ring.to_mm - ring.from_mm:.0f} mm long",
    )
    if len(near) > 1:
        second = sorted(near, key=lambda one: -one.area_mm2)[1]
        share = second.area_mm2 / ring.area_mm2
        scales.weigh(
            1.0 - 0.4 * share,
            f"another cylinder of radius {second.at_mm:.1f} mm lies there too"
            if share > 0.25
            else "no other cylinder of its size lies there",
        )
    ends = [
        one
        for one in seen.flats
        if one.sense > 0
        and one.at_mm < lowest
        and ring.to_mm - 1.0 < one.at_mm < ring.to_mm + 6.0
        and one.to_mm > ring.at_mm - 8.0
        and one.from_mm < ring.at_mm
    ]
    end = max(ends, key=lambda one: one.area_mm2, default=None)
    scales.weigh(
        0.85 if end is None else 1.0,
        "its outboard end face was not seen"
        if end is None
        else f"its outboard end face lies at z = {end.at_mm - face.at_mm:.1f} mm",
    )
    return ring, end, scales


def split_of(
    hub: Hub, housing: tuple[Ring, Ring | None, Scales] | None
) -> tuple[float, float, Scales]:
    """Return the height and the radius within which everything outboard turns."""
    scales = Scales()
    face = hub.face
    radius = (hub.rim.at_mm if hub.rim is not None else face.to_mm) + 3.0
    if hub.back is not None:
        low = hub.back.at_mm
        scales.weigh(1.0, f"the flange's inboard face lies at z = {low - face.at_mm:.1f} mm")
    elif hub.rim is not None:
        low = hub.rim.from_mm - 1.5
        scales.weigh(0.75, "the flange's inboard face was not seen; its rim tells the height")
    else:
        low = face.at_mm - 10.0
        scales.weigh(0.3, "neither the flange's rim nor its inboard face was seen")
    if housing is None:
        scales.weigh(0.6, "no bearing housing behind it: where fixed surface begins is not seen")
        return low - 1.0, radius, scales
    ring, end, _ = housing
    top = end.at_mm if end is not None else ring.to_mm + 1.5
    gap = low - top
    scales.weigh(
        1.0 if gap > 1.5 else 0.6,
        f"{gap:.1f} mm of room between flange and bearing housing",
    )
    return 0.5 * (low + top), radius, scales
