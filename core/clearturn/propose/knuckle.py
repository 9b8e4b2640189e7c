"""Proposals on a knuckle scan: hub face, registers, housing, fixings, lugs, the split."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from clearturn.datum import SpinAxis
from clearturn.errors import FitProblem
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report
from clearturn.propose.hub import Hub, Seen, housing_of, hub_of, look, split_of
from clearturn.propose.lugs import Lug, LugPair, lug_pair
from clearturn.propose.making import Maker, axis_of, frame_of, heights, ways_of
from clearturn.propose.model import Proposals, Scales
from clearturn.propose.pattern import Pattern
from clearturn.propose.touch import touch
from clearturn.propose.view import Index, Ring, view

LEAST_LUG_MM = 45.0  # lugs lie farther from the axis


def propose_knuckle(
    mesh: Mesh,
    kept: ArrayLike | None = None,
    *,
    outboard: ArrayLike | None = None,
    up: ArrayLike | None = None,
    progress: Progress | None = None,
) -> Proposals:
    """Propose the datums of a knuckle scan.

    Parameters
    ----------
    mesh : Mesh
        The scan in its own coordinates, mm.
    kept : (m,) array_like of bool, optional
        Faces that cleaning left.
    outboard : (3,) array_like, optional
        Roughly outboard, in the scan's coordinates; else told from hub face and fixings.
    up : (3,) array_like, optional
        Roughly up; turns the frame, nothing else.
    progress : Progress, optional

    Raises
    ------
    FitProblem
        If no spin axis stands out, or nothing on it looks like a hub face.
    InputError
        If `outboard` or `up` tell no direction.
    """
    axis, faces = axis_of(mesh, kept, part(progress, 0.0, 0.3))
    report(progress, 0.3, "looking for the hub")
    seen, hub = _find_hub(mesh, faces, axis, outboard)
    report(progress, 0.5, "fitting the hub's features")
    maker = Maker(seen.view)
    inner, outer = hub.face.from_mm, hub.face.to_mm
    values = {"inner_radius_mm": inner, "outer_radius_mm": outer}
    face = maker.ring("hub face", "plane", hub.face, hub.scales, values)
    _registers(maker, hub)
    _rim(maker, hub)
    kind = ("stud", "studs") if hub.studs else ("wheel bolt hole", "threaded holes")
    fixings(maker, hub.fixings, hub.scales, *kind)
    housing = housing_of(seen, hub)
    _housing(maker, hub, housing)
    report(progress, 0.75, "looking for the caliper's lugs")
    rim = hub.rim.at_mm if hub.rim is not None else outer
    _lugs(maker, lug_pair(seen.view, seen.walls, max(rim - 4.0, LEAST_LUG_MM)))
    _split(maker, hub, split_of(hub, housing))
    report(progress, 1.0, "")
    pose, findings = frame_of(seen.view, face, up)
    return Proposals(
        "knuckle", axis, pose, tuple(maker.found), tuple(maker.missing), tuple(findings)
    )


def _find_hub(
    mesh: Mesh, faces: Index, axis: SpinAxis, outboard: ArrayLike | None
) -> tuple[Seen, Hub]:
    best: tuple[Seen, Hub] | None = None
    for way in ways_of(axis, outboard):
        seen = look(view(mesh, faces, axis.point_mm, way))
        for hub in hub_of(seen)[:1]:
            if best is None or hub.scales.confidence > best[1].scales.confidence:
                best = (seen, hub)
    if best is None:
        raise FitProblem(
            "nothing on this scan looks like a hub face",
            found="no flat ring of 38 to 130 mm radius square to the spin axis",
            mend="touch the hub face yourself",
        )
    # Heights from here on are from the hub face.
    seen, hub = best
    place = seen.view.place + hub.face.at_mm * seen.view.axes[2]
    moved = look(view(mesh, faces, place, seen.view.axes[2]))
    again = [one for one in hub_of(moved) if abs(one.face.at_mm) < 1.0]
    if not again:
        raise FitProblem("the hub face is too ragged to be told", mend="touch it yourself")
    return moved, again[0]


def _registers(maker: Maker, hub: Hub) -> None:
    steps = hub.registers
    if not steps:
        maker.miss("register", "no cylinder stands on the hub face")
        return
    names = ["register"] if len(steps) == 1 else ["rotor register", "wheel register"]
    for name, ring in zip(names, steps, strict=False):
        scales = hub.scales.copy()
        long = ring.to_mm - ring.from_mm
        scales.weigh(min(1.0, 0.35 + 0.7 * ring.coverage), f"seen over {ring.coverage:.0%}")
        scales.weigh(1.0 if long > 3.0 else 0.7, f"{long:.1f} mm of it seen along the axis")
        maker.ring(name, "cylinder", ring, scales, heights(ring))


def _rim(maker: Maker, hub: Hub) -> None:
    if hub.rim is None:
        maker.miss("hub flange rim", "no cylinder at the hub face's edge")
        return
    scales = hub.scales.copy()
    scales.weigh(min(1.0, 0.4 + 0.7 * hub.rim.coverage), f"seen over {hub.rim.coverage:.0%}")
    maker.ring("hub flange rim", "cylinder", hub.rim, scales, heights(hub.rim))


def _housing(maker: Maker, hub: Hub, found: tuple[Ring, Ring | None, Scales] | None) -> None:
    if found is None:
        maker.miss("bearing housing", "no cylinder behind the hub flange")
        return
    ring, end, scales = found
    values = heights(ring)
    if end is not None:
        values["end_face_z_mm"] = end.at_mm
    scales.weigh(hub.scales.confidence**0.5, f"the hub is {hub.scales.result:.0%} sure")
    maker.ring("bearing housing", "cylinder", ring, scales, values)


def fixings(maker: Maker, pattern: Pattern | None, base: Scales, one: str, all_: str) -> None:
    """Propose studs or holes one by one, and their circle."""
    if pattern is None:
        maker.miss("bolt circle", "no evenly spaced studs or holes")
        return
    scales = base.copy()
    scales.weigh(
        min(1.0, 0.5 + 0.5 * pattern.score),
        f"{len(pattern.members)} of {pattern.count} even places filled, "
        f"{pattern.strays} alike features on none",
    )
    scales.weigh(
        1.0 if pattern.off_mm < 0.5 else 0.8,
        f"the farthest lies {pattern.off_mm:.2f} mm beside its even place",
    )
    for number, wall in enumerate(pattern.members, 1):
        maker.wall(f"{one} {number}", wall, scales, {"distance_mm": wall.distance_mm})
    values = {
        "kind": all_,
        "count": pattern.count,
        "seen": len(pattern.members),
        "circle_diameter_mm": 2.0 * pattern.circle_mm,
        "radius_mm": pattern.radius_mm,
        "centre_off_axis_mm": float(np.linalg.norm(pattern.centre_mm)),
    }
    maker.note("bolt circle", scales, values)


def _lugs(maker: Maker, pair: LugPair | None) -> None:
    if pair is None:
        reason = "no two parallel holes or pins with faces in one plane outside the hub"
        maker.miss("caliper lugs", reason)
        return
    values: dict[str, Any] = {
        "kind": "bores" if pair.first.wall.hollow else "pins",
        "along": "spin axis" if pair.along_spin else "square to the spin axis",
        "spacing_mm": pair.spacing_mm,
    }
    maker.note("caliper lugs", pair.scales, values)
    for number, lug in enumerate((pair.first, pair.second), 1):
        _lug(maker, number, lug, pair)


def _lug(maker: Maker, number: int, lug: Lug, pair: LugPair) -> None:
    looking = pair.view
    end = looking.in_scan(np.append(lug.wall.centre_mm, lug.wall.to_mm))
    place = maker.seen.local(end)
    values = {"distance_mm": float(np.hypot(place[0], place[1])), "z_mm": float(place[2])}
    word = "bore" if lug.wall.hollow else "pin"
    maker.wall(f"lug {number} {word}", lug.wall, pair.scales, values, looking)
    words = ("outboard", "inboard") if pair.along_spin else ("near", "far")
    sides = zip(words, (lug.high_mm, lug.low_mm), (lug.high_faces, lug.low_faces), strict=True)
    for side, height, faces in sides:
        if height is None or len(faces) < 6:
            continue
        touched = touch(looking, faces, "plane")
        if touched is not None:
            name = f"lug {number} {side} face"
            maker.put(name, "plane", touched, pair.scales, {"height_mm": height})


def _split(maker: Maker, hub: Hub, found: tuple[float, float, Scales]) -> None:
    z, r, scales = found
    scales.weigh(hub.scales.confidence, f"the hub is {hub.scales.result:.0%} sure")
    seen = maker.seen
    top = float(seen.z[seen.r < r].max()) + 1.0
    values = {"r_to_mm": r, "z_from_mm": z, "z_to_mm": top}
    maker.note("turning faces", scales, values)
