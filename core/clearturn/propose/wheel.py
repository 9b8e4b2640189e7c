"""Proposals on a wheel scan: pad, centre bore, bolt holes, barrel, inset and rim size."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from clearturn.datum import SpinAxis
from clearturn.errors import FitProblem
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report
from clearturn.propose.hub import Seen, look
from clearturn.propose.knuckle import fixings
from clearturn.propose.making import Maker, axis_of, frame_of, heights, ways_of
from clearturn.propose.model import Proposals, Scales
from clearturn.propose.pattern import Pattern, best_pattern
from clearturn.propose.rim import barrel_of, far_radius, rim_of
from clearturn.propose.view import Index, Ring, Wall, view

# What wheels of cars, vans and light trucks measure (common practice, no source), mm.
PAD_RADIUS_MM = (45.0, 220.0)
LEAST_PAD_MM = 8.0
HOLE_RADIUS_MM = (4.5, 18.0)
LEAST_WHEEL_MM = 150.0  # radius; smaller turned parts are no wheel
FLOOR_SHARE = 0.35  # of a pocket's circle covered by its floor; a hole has none


@dataclass(frozen=True, slots=True)
class Pad:
    """The pad as found, in a view whose axis points outboard."""

    ring: Ring
    bore: Ring | None
    holes: Pattern | None
    scales: Scales


def propose_wheel(
    mesh: Mesh,
    kept: ArrayLike | None = None,
    *,
    outboard: ArrayLike | None = None,
    up: ArrayLike | None = None,
    progress: Progress | None = None,
) -> Proposals:
    """Propose the datums of a wheel scan.

    Parameters
    ----------
    mesh : Mesh
        The scan in its own coordinates, mm.
    kept : (m,) array_like of bool, optional
        Faces that cleaning left.
    outboard : (3,) array_like, optional
        Roughly outboard; else told from the pad and from where the spokes are.
    up : (3,) array_like, optional
        Turns the frame, nothing else.
    progress : Progress, optional

    Raises
    ------
    FitProblem
        If no spin axis stands out, the part is too small for a wheel, or nothing looks like a pad.
    InputError
        If `outboard` or `up` tell no direction.
    """
    axis, faces = axis_of(mesh, kept, part(progress, 0.0, 0.3))
    report(progress, 0.3, "looking for the pad")
    seen, pad = _find_pad(mesh, faces, axis, outboard)
    report(progress, 0.6, "fitting pad, bore and holes")
    maker = Maker(seen.view)
    inner, outer = pad.ring.from_mm, pad.ring.to_mm
    values = {"inner_radius_mm": inner, "outer_radius_mm": outer}
    face = maker.ring("wheel pad", "plane", pad.ring, pad.scales, values)
    _bore(maker, pad)
    fixings(maker, pad.holes, pad.scales, "bolt hole", "bolt holes")
    report(progress, 0.8, "measuring barrel and rim")
    for name, found in (("barrel", barrel_of(seen)), ("rim", rim_of(seen))):
        if isinstance(found, str):
            maker.miss(name, found)
            continue
        values, scales = found
        if name == "rim":
            scales.weigh(pad.scales.confidence, f"the pad is {pad.scales.result:.0%} sure")
        maker.note(name, scales, values)
    report(progress, 1.0, "")
    pose, findings = frame_of(seen.view, face, up)
    if up is None:
        findings = []  # a wheel may stand at any turn
    return Proposals("wheel", axis, pose, tuple(maker.found), tuple(maker.missing), tuple(findings))


def _find_pad(
    mesh: Mesh, faces: Index, axis: SpinAxis, outboard: ArrayLike | None
) -> tuple[Seen, Pad]:
    best: tuple[Seen, Pad] | None = None
    for way in ways_of(axis, outboard):
        seen = look(view(mesh, faces, axis.point_mm, way))
        if far_radius(seen) < LEAST_WHEEL_MM:
            raise FitProblem(
                "the scan is too small for a wheel",
                found=f"turned surface up to {far_radius(seen):.0f} mm from the spin axis",
                allowed=f"at least {LEAST_WHEEL_MM:.0f} mm",
                mend="check the unit, or propose it as a knuckle",
            )
        for pad in _pads(seen)[:1]:
            if best is None or pad.scales.confidence > best[1].scales.confidence:
                best = (seen, pad)
    if best is None:
        raise FitProblem(
            "nothing on this scan looks like a wheel's pad",
            found="no flat ring of 45 to 220 mm radius that looks inboard",
            mend="touch the pad yourself",
        )
    # Heights from here on are from the pad.
    seen, pad = best
    place = seen.view.place + pad.ring.at_mm * seen.view.axes[2]
    moved = look(view(mesh, faces, place, seen.view.axes[2]))
    again = [one for one in _pads(moved) if abs(one.ring.at_mm) < 1.0]
    if not again:
        raise FitProblem("the pad is too ragged to be told", mend="touch it yourself")
    return moved, again[0]


def _pads(seen: Seen) -> list[Pad]:
    found = [
        _judged(seen, ring)
        for ring in seen.flats
        if ring.sense < 0
        and ring.coverage >= 0.5
        and ring.to_mm - ring.from_mm >= LEAST_PAD_MM
        and PAD_RADIUS_MM[0] <= ring.to_mm <= PAD_RADIUS_MM[1]
    ]
    return sorted(found, key=lambda one: -one.scales.confidence)


def _judged(seen: Seen, ring: Ring) -> Pad:
    scales = Scales()
    scales.weigh(min(1.0, 0.4 + 0.62 * ring.coverage), f"seen over {ring.coverage:.0%} of the turn")
    holes = _holes(seen, ring)
    if holes is None:
        scales.weigh(0.4, "no evenly spaced holes in it")
    else:
        text = f"{len(holes.members)} of {holes.count} evenly spaced holes in it"
        scales.weigh(min(1.0, 0.55 + 0.45 * holes.score), text)
    bore = _bore_of(seen, ring)
    scales.weigh(
        0.55 if bore is None else 1.0,
        "no centre bore opens in it"
        if bore is None
        else f"a bore of radius {bore.at_mm:.1f} mm opens in it",
    )
    height = _disc_side(seen)
    scales.weigh(
        0.35 + 0.65 / (1.0 + np.exp(-(height - 5.0) / 8.0)),
        f"the middle of the disc lies {height:.0f} mm outboard of the rim's middle",
    )
    return Pad(ring, bore, holes, scales)


def _disc_side(seen: Seen) -> float:
    """Return how far outboard of the rim's middle the spokes are, mm."""
    at = seen.view
    reach = far_radius(seen)
    outside = (at.r > 0.85 * reach) & (at.r < reach + 1.0)
    low, high = np.quantile(at.z[outside], [0.005, 0.995])
    disc = (at.r < 0.7 * reach) & (np.abs(at.normals[:, 2]) > 0.3)
    if not disc.any():
        return 0.0
    return float(np.average(at.z[disc], weights=at.area[disc]) - 0.5 * (low + high))


def _holes(seen: Seen, ring: Ring) -> Pattern | None:
    inside = [
        one
        for one in seen.walls
        if one.hollow
        and ring.from_mm < one.distance_mm < ring.to_mm
        and HOLE_RADIUS_MM[0] <= one.radius_mm <= HOLE_RADIUS_MM[1]
        and abs(one.from_mm - ring.at_mm) < 4.0
        and one.coverage >= 0.3
    ]
    through = [one for one in inside if _floor_share(seen, one) < FLOOR_SHARE]
    return best_pattern(through)


def _floor_share(seen: Seen, wall: Wall) -> float:
    """Return the share of a wall's circle closed by a flat floor that looks at the pad's side."""
    at = seen.view
    off = np.hypot(*(at.centres[:, :2] - wall.centre_mm).T)
    floor = (off < 0.8 * wall.radius_mm) & (at.normals[:, 2] < -0.8)
    floor &= (at.z > wall.from_mm + 1.5) & (at.z < wall.to_mm + 4.0)
    return float(at.area[floor].sum()) / (np.pi * (0.8 * wall.radius_mm) ** 2)


def _bore_of(seen: Seen, ring: Ring) -> Ring | None:
    near = [
        one
        for one in seen.rounds
        if one.sense < 0
        and ring.from_mm - 10.0 < one.at_mm < ring.from_mm + 1.0
        and -3.0 < one.from_mm - ring.at_mm < 10.0
        and one.to_mm - one.from_mm > 2.0
        and one.coverage >= 0.4
    ]
    return max(near, key=lambda one: one.area_mm2, default=None)


def _bore(maker: Maker, pad: Pad) -> None:
    if pad.bore is None:
        maker.miss("wheel bore", "no cylinder opens in the pad")
        return
    scales = pad.scales.copy()
    scales.weigh(min(1.0, 0.35 + 0.7 * pad.bore.coverage), f"seen over {pad.bore.coverage:.0%}")
    values: dict[str, Any] = heights(pad.bore)
    maker.ring("wheel bore", "cylinder", pad.bore, scales, values)
