"""The caliper's lugs: a pair of parallel holes with their faces, or pins screwed into them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearturn.propose.model import Scales
from clearturn.propose.rims import rims
from clearturn.propose.view import Array, Index, View, Wall, view, walls

RADIUS_MM = (3.0, 12.0)  # threads M8 to M20 and through holes for them
SPACING_MM = (60.0, 280.0)
SQUARE = 0.2  # cosine of a direction that counts as square to the spin axis
PEAK_MM2 = 120.0  # flat surface that makes a direction worth looking along
MOST_DIRECTIONS = 6
CLEAR_MARGIN = 0.75  # a second pair this near to the best makes it doubtful


@dataclass(frozen=True, slots=True)
class Lug:
    """One lug: its hole or pin and the faces round it.

    Attributes
    ----------
    wall : Wall
        In the frame of `view`.
    high_mm, low_mm : float or None
        Heights along the direction of the faces that look along and against it.
    high_faces, low_faces : ndarray of int
        Places in the view.
    """

    wall: Wall
    high_mm: float | None
    low_mm: float | None
    high_faces: Index
    low_faces: Index


@dataclass(frozen=True, slots=True)
class LugPair:
    """The pair of lugs most likely meant for the caliper.

    Attributes
    ----------
    view : View
        Looking along the holes.
    along_spin : bool
        Holes along the spin axis; else square to it.
    """

    first: Lug
    second: Lug
    view: View
    along_spin: bool
    spacing_mm: float
    scales: Scales


def lug_pair(seen: View, found: Sequence[Wall], least_distance_mm: float) -> LugPair | None:
    """Return the best pair of lugs, or None.

    Parameters
    ----------
    seen : View
        About the spin axis.
    found : sequence of Wall
        Holes and pins along the spin axis.
    least_distance_mm : float
        Lugs lie outside the hub: holes nearer to the axis are not looked at.
    """
    pairs = list(_pairs(seen, found, least_distance_mm, along_spin=True))
    for direction in _square_directions(seen):
        other = view(seen.mesh, seen.faces, seen.place, direction @ seen.axes)
        pairs += _pairs(other, walls(other), 0.0, along_spin=False)
    if not pairs:
        return None
    pairs.sort(key=lambda one: -one.scales.confidence)
    best = pairs[0]
    rest = [one for one in pairs[1:] if not _same(one, best)]
    if rest:
        margin = rest[0].scales.confidence / max(best.scales.confidence, 1e-9)
        best.scales.weigh(
            1.0 if margin < CLEAR_MARGIN else 1.5 - margin,
            "no other pair of holes is nearly as alike"
            if margin < CLEAR_MARGIN
            else "another pair of holes is nearly as alike",
        )
    return best


def _same(one: LugPair, other: LugPair) -> bool:
    mine = [one.view.in_scan(np.append(x.wall.centre_mm, 0.0)) for x in (one.first, one.second)]
    its = [
        other.view.in_scan(np.append(x.wall.centre_mm, 0.0)) for x in (other.first, other.second)
    ]
    along = one.view.axes[2]
    if abs(float(along @ other.view.axes[2])) < 0.99:
        return False
    apart = [
        min(float(np.linalg.norm(np.cross(a - b, along))) for b in its) for a in mine
    ]  # the same two axes, found twice
    return max(apart) < 2.0


def _pairs(
    seen: View, found: Sequence[Wall], least_mm: float, *, along_spin: bool
) -> Iterator[LugPair]:
    bores = [
        one
        for one in found
        if RADIUS_MM[0] <= one.radius_mm <= RADIUS_MM[1]
        and one.coverage >= 0.45
        and (not along_spin or one.distance_mm > least_mm)
        and one.to_mm - one.from_mm >= 0.6 * one.radius_mm
    ]
    bores += [
        one
        for one in rims(seen, RADIUS_MM)
        if (not along_spin or one.distance_mm > least_mm)
        and all(np.linalg.norm(one.centre_mm - w.centre_mm) > 3.0 for w in bores)
    ]
    for first, second in itertools.combinations(bores, 2):
        spacing = float(np.linalg.norm(first.centre_mm - second.centre_mm))
        if first.hollow != second.hollow or not SPACING_MM[0] <= spacing <= SPACING_MM[1]:
            continue
        if abs(first.radius_mm - second.radius_mm) > max(0.5, 0.07 * first.radius_mm):
            continue
        yield _weighed(seen, first, second, spacing, along_spin)


def _weighed(seen: View, first: Wall, second: Wall, spacing: float, along_spin: bool) -> LugPair:
    one, two = _with_faces(seen, first), _with_faces(seen, second)
    scales = Scales()
    word = "holes" if first.hollow else "pins"
    apart = abs(first.radius_mm - second.radius_mm)
    scales.weigh(
        1.0 - 0.4 * apart,
        f"two parallel {word} of radius {first.radius_mm:.2f} and {second.radius_mm:.2f} mm, "
        f"{spacing:.2f} mm apart",
    )
    steps = [
        abs(a - b)
        for a, b in ((one.high_mm, two.high_mm), (one.low_mm, two.low_mm))
        if a is not None and b is not None
    ]
    if steps:
        off = min(steps)
        scales.weigh(
            1.0 if off < 0.4 else math.exp(-(off - 0.4) / 3.0),
            f"their faces lie {off:.2f} mm from one plane",
        )
    else:
        scales.weigh(0.5, "no flat face round both of them")
    if along_spin:
        off = abs(first.distance_mm - second.distance_mm)
        scales.weigh(
            1.0 if off < 1.0 else 0.55 + 0.45 * math.exp(-(off - 1.0) / 10.0),
            f"{first.distance_mm:.1f} and {second.distance_mm:.1f} mm from the spin axis",
        )
    else:
        # The mounting bolts of such a caliper lie either side of the spin axis, alike.
        off = abs(first.distance_mm - second.distance_mm)
        scales.weigh(0.6 + 0.3 * math.exp(-off / 10.0), "the holes stand square to the spin axis")
    cover = min(first.coverage, second.coverage)
    scales.weigh(min(1.0, 0.5 + 0.6 * cover), f"their walls are seen over {cover:.0%} or more")
    return LugPair(one, two, seen, along_spin, spacing, scales)


def _with_faces(seen: View, wall: Wall) -> Lug:
    off = np.linalg.norm(seen.centres[:, :2] - wall.centre_mm, axis=1)
    ring = (off > 0.9 * wall.radius_mm) & (off < 2.4 * wall.radius_mm + 3.0)
    high, high_faces = _level(seen, ring & (seen.normals[:, 2] > 0.97), wall)
    low, low_faces = _level(seen, ring & (seen.normals[:, 2] < -0.97), wall)
    return Lug(replace(wall), high, low, high_faces, low_faces)


def _level(seen: View, chosen: Array, wall: Wall) -> tuple[float | None, Index]:
    """Return the height of the flat surface round a wall, at the wall's end, and its faces."""
    faces = np.flatnonzero(chosen)
    near = (seen.z[faces] > wall.from_mm - 6.0) & (seen.z[faces] < wall.to_mm + 6.0)
    faces = faces[near]
    area = seen.area[faces]
    if float(area.sum()) < 25.0:
        return None, faces
    order = np.argsort(seen.z[faces])
    total = np.cumsum(area[order])
    middle = float(seen.z[faces][order[np.searchsorted(total, 0.5 * total[-1])]])
    return middle, faces[np.abs(seen.z[faces] - middle) < 0.5]


def _square_directions(seen: View) -> list[Array]:
    """Return directions square to the axis along which much flat surface looks, in its frame."""
    flat = np.abs(seen.normals[:, 2]) < SQUARE
    turn = np.degrees(np.arctan2(seen.normals[flat, 1], seen.normals[flat, 0])) % 180.0
    weight = np.bincount((turn / 2.0).astype(np.int64) % 90, seen.area[flat], 90)
    level = np.median(weight)
    found: list[Array] = []
    for k in np.argsort(-weight):
        if weight[k] - level < PEAK_MM2 or len(found) == MOST_DIRECTIONS:
            break
        near = np.flatnonzero(flat)[np.abs((turn - (2 * k + 1) + 90.0) % 180.0 - 90.0) < 4.0]
        normals = seen.normals[near]
        lead = np.array([math.cos(math.radians(2 * k + 1)), math.sin(math.radians(2 * k + 1)), 0.0])
        normals = normals * np.sign(normals @ lead)[:, None]
        mean = (normals * seen.area[near, None]).sum(axis=0)
        mean /= np.linalg.norm(mean)
        if all(abs(float(mean @ other)) < 0.995 for other in found):
            found.append(mean)
    return found
