"""The invented demo corner as solids: dimensions, meridian curves and signed distances.

Everything here is made up: no vehicle, wheel, brake or maker is meant. All lengths in mm.

Frames
------
Hub frame: origin where the spin axis meets the hub face, Z outboard, Y up, X right-handed. On a
left-hand corner X points rearward, so clock 90 deg is the rear and 270 deg the front.
Wheel frame: origin where the bore axis meets the pad, Z outboard, Y up at the scanned wheel angle.

A solid is a function ``f(points) -> (n,)``, negative inside. It is the exact distance to the
nearest primitive near that primitive; circular blends act only where two primitives are both
nearer than the blend radius, so that outside the blends the surface *is* the primitive. That is
what lets `truth.py` state the gaps from the numbers below.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Solid = Callable[[Array], Array]

# --- the kit: keys as in the job file -------------------------------------------------------

ROTOR: dict[str, object] = {
    "ring_outer_diameter_mm": 350.0,
    "ring_inner_diameter_mm": 222.0,
    "ring_thickness_mm": 34.0,
    "hat_offset_mm": 38.0,
    "flange_thickness_mm": 8.0,
    "hat_outer_diameter_mm": 176.0,
    "hat_wall_mm": 6.0,
    "mount_thickness_mm": 6.0,
    "bore_diameter_mm": 64.0,
    "bolt_circle_diameter_mm": 112.0,
    "bolt_count": 5,
    "bolt_hole_diameter_mm": 15.0,
    "ring_material": "iron",
    "hat_material": "aluminium",
}

BOXES: list[dict[str, object]] = [
    {
        "name": "inboard bleed nipple",
        "clock_offset_deg": 38.2,
        "r_from_mm": 150.0,
        "r_to_mm": 160.0,
        "z_from_mm": -62.0,
        "z_to_mm": -52.0,
        "width_mm": 14.0,
    },
    {
        "name": "outboard bleed nipple",
        "clock_offset_deg": 38.2,
        "r_from_mm": 150.0,
        "r_to_mm": 160.0,
        "z_from_mm": 40.0,
        "z_to_mm": 50.0,
        "width_mm": 14.0,
    },
    {
        "name": "crossover pipe",
        "clock_offset_deg": -38.4,
        "r_from_mm": 184.0,
        "r_to_mm": 190.0,
        "z_from_mm": -48.0,
        "z_to_mm": 48.0,
        "width_mm": 10.0,
    },
    {
        "name": "upper pad pin",
        "clock_offset_deg": 16.0,
        "r_from_mm": 183.0,
        "r_to_mm": 191.0,
        "z_from_mm": -72.0,
        "z_to_mm": 60.0,
        "width_mm": 8.0,
    },
    {
        "name": "lower pad pin",
        "clock_offset_deg": -16.0,
        "r_from_mm": 183.0,
        "r_to_mm": 191.0,
        "z_from_mm": -72.0,
        "z_to_mm": 60.0,
        "width_mm": 8.0,
    },
]

CALIPER: dict[str, object] = {
    "inner_radius_mm": 112.0,
    "outer_radius_mm": 201.9,
    "bridge_inner_radius_mm": 178.6,
    "inboard_width_mm": 68.0,
    "outboard_width_mm": 62.0,
    "slot_half_width_mm": 27.0,
    "arc_deg": 74.0,
    "clock_deg": 270.0,
    "corner_radius_mm": 6.0,
    "inner_corner_radius_mm": 0.0,
    "boxes": BOXES,
}

# --- the corner ------------------------------------------------------------------------------

SPIGOT_RADIUS = 35.0
SPIGOT_LENGTH = 18.0
FLANGE_RADIUS = 74.0
FLANGE_THICKNESS = 12.0
HOUSING_RADIUS = 82.4
HOUSING_Z = (-52.0, -16.0)
STUD_COUNT = 5
STUD_CIRCLE_RADIUS = 56.0
STUD_RADIUS = 6.9
STUD_LENGTH = 42.0
STUD_CLOCK = 18.0

LUG_RADIUS_TO_AXIS = 128.0
LUG_CLOCKS = {"upper": 303.0, "lower": 237.0}
LUG_BOSS_RADIUS = 16.0
LUG_BORE_RADIUS = 7.25
LUG_Z = (-133.0, -112.5)

EYE_CENTRE = (132.0, -46.0, -78.6)
EYE_RADIUS = 15.0
EYE_HALF_HEIGHT = 12.0
EYE_EDGE = 1.0
CLAMP_CENTRE = (-4.0, 138.0, -100.0)  # the strut's clamp on top of the knuckle
CLAMP_RADIUS = 31.0
CLAMP_HALF_HEIGHT = 26.0
CLAMP_EDGE = 2.0

BALL_CENTRE = (132.0, -12.0, -81.0)
BALL_RADIUS = 17.0
ROD_END = (138.0, 4.0, -215.0)
ROD_RADIUS = 10.0
ROD_TUBE_RADIUS = 13.0
ROD_TUBE_AT = (0.45, 1.02)  # as shares of the way from ball to rod end

WHEEL: dict[str, object] = {
    "rim_width_in": 8.5,
    "rim_diameter_code": 18,
    "specified_rim_diameter_mm": 462.0,
    "inset_mm": 38.0,
    "pad_diameter_mm": 150.0,
    "centre_bore_diameter_mm": 70.1,
    "bolt_circle_diameter_mm": 112.0,
    "bolt_count": 5,
    "bolt_hole_diameter_mm": 15.0,
    "spoke_count": 10,
}
PAD_RADIUS = 75.0
BORE_RADIUS = 35.05
SPOKES = 10
WHEEL_BOLT_CLOCK = 36.0
BARREL_CREST = (207.4, -24.0)  # the barrel's smallest radius and where (r, z), wheel frame
BARREL_CREST_ARC = 60.0
SPOKE_CREST = (180.0, 18.2)  # the spoke back's most inboard place (r, z), wheel frame
SPOKE_CREST_ARC = 60.0
WEIGHT_BAND_Z = (-108.0, 0.0)  # wheel frame; declared weight-free in the demo job
WEIGHT_THICKNESS = 4.5


# --- plane curves: rounded polygons of lines and arcs ----------------------------------------


@dataclass(frozen=True, slots=True)
class Chain:
    """A closed curve of lines and tangent arcs in the (r, z) plane, solid on its left.

    Parameters
    ----------
    lines : (k, 4) array
        Start and end of each line.
    arcs : (k, 7) array
        Centre, radius, direction of the middle (2), cosine of half the angle, sign
        (+1 where the solid is inside the circle).
    """

    lines: Array
    arcs: Array

    def distance(self, r: Array, z: Array) -> Array:
        """Signed distance of points (r, z), negative inside."""
        best = np.full(r.shape, np.inf)
        out = np.full(r.shape, np.inf)
        # At a sharp corner two lines are equally near; the one seen more squarely has the side.
        sharp = len(self.arcs) < len(self.lines)
        square = np.zeros(r.shape)
        for ax, ay, bx, by in self.lines:
            ex, ey = bx - ax, by - ay
            ll = ex * ex + ey * ey
            if ll < 1e-18:
                continue
            px, py = r - ax, z - ay
            t = np.clip((px * ex + py * ey) / ll, 0.0, 1.0)
            d = np.hypot(px - t * ex, py - t * ey)
            cross = ex * py - ey * px
            side = np.where(cross > 0.0, -1.0, 1.0)
            near = d < best
            if sharp:
                off = np.abs(cross) / np.sqrt(ll)
                near = (d < best - 1e-12) | ((d < best + 1e-12) & (off > square))
                square = np.where(near, off, square)
            best = np.where(near, d, best)
            out = np.where(near, side * d, out)
        for cx, cy, radius, mx, my, cosine, sign in self.arcs:
            px, py = r - cx, z - cy
            rho = np.hypot(px, py)
            d = np.abs(rho - radius)
            near = (px * mx + py * my >= cosine * rho) & (d < best)
            best = np.where(near, d, best)
            out = np.where(near, sign * (rho - radius), out)
        return out

    def outline(self, step: float = 0.05) -> Array:
        """Points (n, 2) along the curve, all on it, no further apart than `step`."""
        rows = []
        for ax, ay, bx, by in self.lines:
            n = max(2, int(np.ceil(np.hypot(bx - ax, by - ay) / step)) + 1)
            t = np.linspace(0.0, 1.0, n)[:, None]
            rows.append(np.array([ax, ay]) + t * np.array([bx - ax, by - ay]))
        for cx, cy, radius, mx, my, cosine, _sign in self.arcs:
            half = float(np.arccos(cosine))
            n = max(2, int(np.ceil(2 * half * radius / step)) + 1)
            a = np.arctan2(my, mx) + np.linspace(-half, half, n)
            rows.append(np.c_[cx + radius * np.cos(a), cy + radius * np.sin(a)])
        return np.concatenate(rows)


def rounded(corners: Sequence[tuple[float, float, float]]) -> Chain:
    """Closed chain from corners (r, z, rounding radius), anticlockwise round the solid."""
    n = len(corners)
    xy = np.array([c[:2] for c in corners])
    cut_in, cut_out, arcs = np.zeros((n, 2)), np.zeros((n, 2)), []
    for i, (_, _, radius) in enumerate(corners):
        p, before, after = xy[i], xy[i - 1], xy[(i + 1) % n]
        u = (before - p) / np.linalg.norm(before - p)
        v = (after - p) / np.linalg.norm(after - p)
        angle = np.arccos(np.clip(u @ v, -1.0, 1.0))
        reach = radius / np.tan(angle / 2)
        cut_in[i], cut_out[i] = p + reach * u, p + reach * v
        bisector = (u + v) / np.linalg.norm(u + v)
        centre = p + bisector * radius / np.sin(angle / 2)
        convex = float(v[0] * u[1] - v[1] * u[0]) > 0.0  # a left turn
        half = (np.pi - angle) / 2
        if radius > 0.0:
            arcs.append([*centre, radius, *(-bisector), np.cos(half), 1.0 if convex else -1.0])
    lines = []
    for i in range(n):
        a, b = cut_out[i], cut_in[(i + 1) % n]
        along = xy[(i + 1) % n] - xy[i]
        if (b - a) @ along < -1e-9:
            raise ValueError(f"roundings of corners {i} and {(i + 1) % n} overlap")
        lines.append([*a, *b])
    return Chain(np.array(lines), np.array(arcs).reshape(-1, 7))


def tangent_corner(
    before: tuple[float, float],
    after: tuple[float, float],
    centre: tuple[float, float],
    radius: float,
    away: tuple[float, float],
) -> tuple[float, float, float]:
    """Corner whose rounding is the arc (centre, radius), with lines through two points.

    `away` is the direction from the centre to the arc's crest.
    """
    feet = []
    for p in (before, after):
        d = np.subtract(p, centre)
        dist = float(np.hypot(*d))
        base = np.arctan2(d[1], d[0])
        open_angle = np.arccos(radius / dist)
        options = [base + open_angle, base - open_angle]
        best = max(options, key=lambda a: np.cos(a) * away[0] + np.sin(a) * away[1])
        feet.append((np.cos(best), np.sin(best)))
    n = np.array(feet)
    rhs = np.array([radius + n[0] @ centre, radius + n[1] @ centre])
    corner = np.linalg.solve(n, rhs)
    return float(corner[0]), float(corner[1]), radius


_CREST_B = (BARREL_CREST[0] + BARREL_CREST_ARC, BARREL_CREST[1])
_CREST_S = (SPOKE_CREST[0], SPOKE_CREST[1] + SPOKE_CREST_ARC)

BARREL = rounded(
    [
        (236.0, 83.0, 2.5),
        (225.0, 66.0, 6.0),
        (214.0, 24.0, 18.0),
        tangent_corner((214.0, 24.0), (213.8, -94.0), _CREST_B, BARREL_CREST_ARC, (-1.0, 0.0)),
        (213.8, -94.0, 18.0),
        (224.0, -118.0, 14.0),
        (225.4, -151.0, 5.0),
        (231.0, -159.0, 3.0),
        (248.5, -159.0, 3.0),
        (248.5, -150.0, 3.0),
        (240.0, -146.0, 4.0),
        (231.0, -146.0, 5.0),
        (231.6, -123.0, 6.0),
        (220.4, -96.0, 12.0),
        (213.7, -50.0, 12.0),
        (213.7, -4.0, 10.0),
        (231.2, 40.0, 8.0),
        (231.0, 70.0, 5.0),
        (240.0, 70.0, 4.0),
        (248.5, 74.0, 3.0),
        (248.5, 83.0, 3.0),
    ]
)
DISC = rounded(
    [
        (BORE_RADIUS, 0.0, 1.2),
        (PAD_RADIUS, 0.0, 1.5),
        (79.0, 6.0, 4.0),
        (104.0, 25.0, 18.0),
        tangent_corner((104.0, 25.0), (216.0, 26.0), _CREST_S, SPOKE_CREST_ARC, (0.0, -1.0)),
        (216.0, 26.0, 1.0),
        (222.0, 66.0, 6.0),
        (150.0, 54.0, 200.0),
        (82.0, 47.0, 20.0),
        (46.0, 44.0, 3.0),
        (43.0, 34.0, 2.0),
        (BORE_RADIUS, 34.0, 1.2),
    ]
)
HUB = rounded(
    [
        (-30.0, HOUSING_Z[0], 1.0),
        (HOUSING_RADIUS, HOUSING_Z[0], 1.5),
        (HOUSING_RADIUS, HOUSING_Z[1], 1.5),
        (60.0, HOUSING_Z[1], 1.2),
        (60.0, -FLANGE_THICKNESS, 1.2),
        (FLANGE_RADIUS, -FLANGE_THICKNESS, 1.2),
        (FLANGE_RADIUS, 0.0, 1.5),
        (SPIGOT_RADIUS, 0.0, 0.8),
        (SPIGOT_RADIUS, SPIGOT_LENGTH, 1.6),
        (25.0, SPIGOT_LENGTH, 1.2),
        (25.0, 6.0, 2.0),
        (17.0, 6.0, 1.2),
        (17.0, 12.0, 1.5),
        (8.0, 12.0, 1.0),
        (8.0, 15.0, 1.0),
        (-30.0, 15.0, 1.0),
    ]
)
BODY = rounded(
    [
        (-30.0, -134.0, 1.0),
        (62.0, -134.0, 3.0),
        (62.0, -48.0, 1.5),
        (-30.0, -48.0, 1.0),
    ]
)


# --- blends and solids -----------------------------------------------------------------------


def join(a: Array, b: Array, radius: float) -> Array:
    """Union with a circular fillet in the concave corner."""
    u, v = np.maximum(radius - a, 0.0), np.maximum(radius - b, 0.0)
    return np.maximum(radius, np.minimum(a, b)) - np.hypot(u, v)


def cut(a: Array, tool: Array, radius: float) -> Array:
    """The solid `a` without `tool`, with the edge rounded."""
    return -join(-a, tool, radius)


def both(a: Array, b: Array, radius: float) -> Array:
    """Intersection with the edge rounded."""
    return -join(-a, -b, radius)


def clock_point(radius: float, clock_deg: float, z: float) -> Array:
    """Point at a clock position seen from outboard: 0 deg up, growing towards +X."""
    a = np.radians(clock_deg)
    return np.array([radius * np.sin(a), radius * np.cos(a), z])


def cylinder(
    p: Array, centre: Sequence[float], axis: int, radius: float, half: float, edge: float
) -> Array:
    """Cylinder along a coordinate axis with rounded edges."""
    others = [i for i in range(3) if i != axis]
    rho = np.hypot(p[:, others[0]] - centre[others[0]], p[:, others[1]] - centre[others[1]])
    dx = rho - radius + edge
    dy = np.abs(p[:, axis] - centre[axis]) - half + edge
    return (
        np.minimum(np.maximum(dx, dy), 0.0)
        + np.hypot(np.maximum(dx, 0.0), np.maximum(dy, 0.0))
        - edge
    )


def rod(p: Array, a: Sequence[float], b: Sequence[float], ra: float, rb: float) -> Array:
    """Sphere-swept line from a to b with radius running from ra to rb."""
    a0, e = np.asarray(a, float), np.subtract(b, a)
    t = np.clip((p - a0) @ e / (e @ e), 0.0, 1.0)
    return np.linalg.norm(p - a0 - t[:, None] * e, axis=1) - (ra + t * (rb - ra))


def block(p: Array, centre: Sequence[float], half: Sequence[float], edge: float) -> Array:
    """Box along the coordinate axes with rounded edges."""
    q = np.abs(p - np.asarray(centre)) - np.asarray(half) + edge
    return np.minimum(q.max(axis=1), 0.0) + np.linalg.norm(np.maximum(q, 0.0), axis=1) - edge


def knuckle(p: Array) -> Array:
    """Knuckle with housing, hub flange, spigot and studs, hub frame."""
    r, z = np.hypot(p[:, 0], p[:, 1]), p[:, 2]
    f = BODY.distance(r, z)
    f = join(f, rod(p, (0, 44, -94), (-4, 122, -101), 26, 19), 10.0)
    f = join(f, rod(p, (0, -44, -94), (6, -126, -97), 24, 15), 10.0)
    f = join(f, rod(p, (46, -14, -96), (119, -41, -81), 19, 11), 10.0)
    for s in (1, -1):
        f = join(f, rod(p, (-44, 33 * s, -119), (-101, 65.5 * s, -127), 14.5, 8.0), 10.0)
    # a web between the two lug arms, thin as castings have it
    web = block(p, (-66, 0, -124), (26, 44, 4.5), 3.0)
    f = join(f, web, 7.0)
    f = join(f, cylinder(p, CLAMP_CENTRE, 1, CLAMP_RADIUS, CLAMP_HALF_HEIGHT, CLAMP_EDGE), 6.0)
    f = join(f, cylinder(p, (6, -140, -97), 1, 21, 14, 2.0), 6.0)
    f = join(f, cylinder(p, EYE_CENTRE, 1, EYE_RADIUS, EYE_HALF_HEIGHT + 3, 1.5), 6.0)
    sensor = clock_point(62.0, 212.0, -68.0)
    f = join(f, rod(p, 0.7 * sensor * (1, 1, 0) + (0, 0, -68.0), sensor, 10, 10), 4.0)
    # Bosses stand proud and are spot-faced to size, so that the cut alone makes the face.
    half, mid = (LUG_Z[1] - LUG_Z[0]) / 2 + 3, (LUG_Z[1] + LUG_Z[0]) / 2
    lugs = [clock_point(LUG_RADIUS_TO_AXIS, clock, mid) for clock in LUG_CLOCKS.values()]
    for lug in lugs:
        f = join(f, cylinder(p, lug, 2, LUG_BOSS_RADIUS, half, 1.5), 6.0)
    f = cut(f, cylinder(p, (0, 0, -75 - 60), 2, 42.0, 60.0, 4.0), 2.0)  # the drive shaft's bore
    f = join(f, HUB.distance(r, z), 5.0)
    for lug in lugs:  # spot faces and bores
        f = cut(f, cylinder(p, (lug[0], lug[1], LUG_Z[1] + 20), 2, 18.0, 20.0, 0.5), 1.0)
        f = cut(f, cylinder(p, (lug[0], lug[1], LUG_Z[0] - 20), 2, 18.0, 20.0, 0.5), 1.0)
        f = cut(f, cylinder(p, lug, 2, LUG_BORE_RADIUS, 60.0, 0.5), 1.0)
    x, y, zc = CLAMP_CENTRE
    f = cut(f, cylinder(p, (x, y - 10 + 60, zc), 1, 25.0, 60.0, 3.0), 1.2)
    f = cut(f, block(p, (x, y - 6 + 60, zc - 45), (3.5, 60, 30), 1.0), 1.5)
    f = cut(f, cylinder(p, (6, -136 - 60, -97), 1, 10.0, 60.0, 2.0), 1.5)
    x, y, zc = EYE_CENTRE
    for s in (1, -1):
        face = y + s * (EYE_HALF_HEIGHT + 10)
        f = cut(f, cylinder(p, (x, face, zc), 1, EYE_RADIUS + 2, 10.0, 0.5), EYE_EDGE)
    f = cut(f, cylinder(p, EYE_CENTRE, 1, 7.0, 60.0, 0.5), 1.0)
    for k in range(STUD_COUNT):
        clock = STUD_CLOCK + k * 360.0 / STUD_COUNT
        c = clock_point(STUD_CIRCLE_RADIUS, clock, STUD_LENGTH - 30)
        f = join(f, cylinder(p, c, 2, STUD_RADIUS, 30.0, 2.0), 1.2)
    c = clock_point(STUD_CIRCLE_RADIUS, STUD_CLOCK + 36.0, 0.0)  # the rotor's holding screw
    return cut(f, cylinder(p, c, 2, 4.2, 7.0, 0.5), 1.0)


def tie_rod(p: Array) -> Array:
    """Tie rod end with its boot, shank and a piece of the rod's tube, hub frame."""
    x, y, z = BALL_CENTRE
    f = rod(p, BALL_CENTRE, (x, y, z - 1e-6), BALL_RADIUS, BALL_RADIUS)
    f = join(f, rod(p, BALL_CENTRE, (x, y - 12.5, z + 1.6), 12.5, 8.6), 3.5)
    f = join(f, rod(p, BALL_CENTRE, ROD_END, ROD_RADIUS, ROD_RADIUS), 6.0)
    a, e = np.asarray(BALL_CENTRE), np.subtract(ROD_END, BALL_CENTRE)
    tube = rod(p, a + ROD_TUBE_AT[0] * e, a + ROD_TUBE_AT[1] * e, ROD_TUBE_RADIUS, ROD_TUBE_RADIUS)
    return join(f, tube, 2.0)


def wheel(p: Array) -> Array:
    """The wheel, wheel frame."""
    x, y, z = p.T
    r = np.hypot(x, y)
    phi = np.arctan2(x, y)
    sector = 2 * np.pi / SPOKES
    fold = np.abs((phi + sector / 2) % sector - sector / 2)
    along, aside = r * np.cos(fold), r * np.sin(fold)
    width = 15.5 - 4.0 * (along - 85.0) / 115.0
    window = both(both(width - aside, 94.0 - r, 9.0), r - 206.0, 9.0)
    disc = cut(DISC.distance(r, z), window, 3.5)
    pocket = both(aside - (width - 6.0), both(104.0 - r, r - 158.0, 4.0), 4.0)
    back = _spoke_back(r)
    pocket = both(pocket, z - back - 17.0, 3.0)
    disc = cut(disc, pocket, 1.5)
    f = join(BARREL.distance(r, z), disc, 7.0)
    for k in range(5):
        clock = WHEEL_BOLT_CLOCK + 72.0 * k
        c = clock_point(56.0, clock, 0.0)
        f = cut(f, cylinder(p, c, 2, 7.5, 60.0, 0.5), 0.8)
        f = cut(f, cylinder(p, (c[0], c[1], 76.0), 2, 14.5, 60.0, 4.0), 1.5)
        c = clock_point(57.0, clock + 36.0, 0.0)
        f = cut(f, cylinder(p, c, 2, 9.0, 11.0, 2.0), 1.0)
    v = clock_point(222.0, 18.0, 33.0)  # the valve's hole, between two spokes
    d = np.array([np.sin(np.radians(18.0)), np.cos(np.radians(18.0)), -0.42])
    d /= np.linalg.norm(d)
    return cut(f, rod(p, v - 30 * d, v + 30 * d, 5.65, 5.65), 0.6)


def _spoke_back(r: Array) -> Array:
    """The height z of the spoke back at radius r."""
    first, second = (104.0, 25.0), SPOKE_CREST
    t = np.clip((r - first[0]) / (second[0] - first[0]), 0.0, 1.0)
    return first[1] + t * (second[1] - first[1])


def clamp(p: Array) -> Array:
    """The clamp that holds the knuckle on the bench, hub frame."""
    f = block(p, (6, -196, -160), (17, 11, 66), 2.0)
    f = join(f, block(p, (6, -175.7, -97), (15, 21, 9), 2.0), 3.0)
    return join(f, block(p, (6, -196, -229), (34, 26, 6), 2.0), 3.0)


def from_hub_to_wheel() -> float:
    """Shift along z from hub frame to wheel frame: the pad sits on the hat's flange."""
    return -float(ROTOR["flange_thickness_mm"])  # type: ignore[arg-type]
