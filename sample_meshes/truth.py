"""The demo corner's true dimensions, gaps, poses and places, from its construction.

Uses no mesh and nothing of the program it serves: only the numbers and curves of `construction`,
numpy and scipy. Run it to write true.json.

How a gap follows. A point that turns about the axis keeps its (r, z); so over a full turn the gap
of a turning and a fixed body is the planar distance of their images under (x, y, z) -> (r, z).
- A body of revolution has its section as image.
- The swept caliper has its section; a box about a radial direction has the rectangle
  [r0, hypot(r1, w/2)] x [z0, z1].
- A ball about c has a disc about the image of c, with the same radius (if it misses the axis), so
  anything swept by a ball has the image of its centre line, grown by the radius.
- The spokes' back is a body of revolution with windows and pockets cut out of it and their edges
  rounded; the crest of its curve lies on the full width of every spoke, 7 mm and more from any
  rounding, so the crest counts and nothing that was cut away can be nearer.
Each gap is given in closed form (`gap_mm`) and found again by searching the curves
(`searched_mm`); the two must agree within 1 um. Circular fillets add material only where both
bodies they join are nearer than the fillet's radius; `fillet_gap_mm` searches those added regions.
"""

from __future__ import annotations

import json
from pathlib import Path

import construction as c
import numpy as np
from make_demo import (
    CORRELATION_LENGTH,
    SCANS,
    SEED,
    SIGMA,
    part_from_scan,
    to_scan,
)
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

Array = NDArray[np.float64]
HERE = Path(__file__).resolve().parent
HOUSING_EDGE = 1.5  # rounding of the housing's edges, as in construction.HUB
ERROR = 1e-6  # stated numerical error of every closed form, mm (they are good to rounding)


def _n(key: str, source: dict[str, object] = c.ROTOR) -> float:
    return float(source[key])  # type: ignore[arg-type]


RING_MID = -_n("hat_offset_mm")
RING_Z = (RING_MID - _n("ring_thickness_mm") / 2, RING_MID + _n("ring_thickness_mm") / 2)
RING_R = (_n("ring_inner_diameter_mm") / 2, _n("ring_outer_diameter_mm") / 2)
HAT_R = (_n("hat_outer_diameter_mm") / 2 - _n("hat_wall_mm"), _n("hat_outer_diameter_mm") / 2)
PAD_Z = _n("flange_thickness_mm")  # of the wheel's pad in the hub frame


def rotor_section() -> c.Chain:
    """Rotor in the (r, z) plane, hub frame."""
    mount = _n("mount_thickness_mm") / 2
    return c.rounded(
        [
            (r, z, 0.0)
            for r, z in (
                (HAT_R[0], RING_MID - mount),
                (RING_R[0], RING_MID - mount),
                (RING_R[0], RING_Z[0]),
                (RING_R[1], RING_Z[0]),
                (RING_R[1], RING_Z[1]),
                (RING_R[0], RING_Z[1]),
                (RING_R[0], RING_MID + mount),
                (HAT_R[1], RING_MID + mount),
                (HAT_R[1], PAD_Z),
                (_n("bore_diameter_mm") / 2, PAD_Z),
                (_n("bore_diameter_mm") / 2, 0.0),
                (HAT_R[0], 0.0),
            )
        ]
    )


def caliper_sections() -> list[c.Chain]:
    """Images of the caliper's body and boxes, hub frame."""
    k = {key: float(v) for key, v in c.CALIPER.items() if key != "boxes"}  # type: ignore[arg-type]
    z0, z1 = RING_MID - k["inboard_width_mm"], RING_MID + k["outboard_width_mm"]
    s0, s1 = RING_MID - k["slot_half_width_mm"], RING_MID + k["slot_half_width_mm"]
    r0, r1, rb = k["inner_radius_mm"], k["outer_radius_mm"], k["bridge_inner_radius_mm"]
    inner, outer = k["inner_corner_radius_mm"], k["corner_radius_mm"]
    chains = [
        c.rounded(
            [
                (r0, z0, inner),
                (r1, z0, outer),
                (r1, z1, outer),
                (r0, z1, inner),
                (r0, s1, 0.0),
                (rb, s1, 0.0),
                (rb, s0, 0.0),
                (r0, s0, 0.0),
            ]
        )
    ]
    for box in c.BOXES:
        b = {key: float(v) for key, v in box.items() if key != "name"}  # type: ignore[arg-type]
        far = float(np.hypot(b["r_to_mm"], b["width_mm"] / 2))
        low, high = RING_MID + b["z_from_mm"], RING_MID + b["z_to_mm"]
        corners = ((b["r_from_mm"], low), (far, low), (far, high), (b["r_from_mm"], high))
        chains.append(c.rounded([(r, z, 0.0) for r, z in corners]))
    return chains


def moved(chain: c.Chain, z: float) -> c.Chain:
    """The chain shifted along z."""
    return c.Chain(
        chain.lines + np.array([0, z, 0, z]), chain.arcs + np.array([0, z, 0, 0, 0, 0, 0])
    )


def curve_gap(centre: Array, radius: Array | float, chains: list[c.Chain]) -> tuple[float, Array]:
    """Least distance of balls of a radius along a fine (r, z) polyline to sections."""
    best, place = np.inf, np.zeros(2)
    for chain in chains:
        d = chain.distance(centre[:, 0], centre[:, 1]) - radius
        i = int(np.argmin(d))
        if d[i] < best:
            best, place = float(d[i]), centre[i]
    return best, place


def chain_gap(first: list[c.Chain], second: list[c.Chain], window: Array | None = None) -> float:
    """Planar distance of two sets of sections: each searched along the other's outline.

    `window` (r0, r1, z0, z1) leaves out the rest of the first's outline.
    """
    best = np.inf
    for a in first:
        outline = a.outline(0.05)
        if window is not None:
            r, z = outline.T
            w = window
            outline = outline[(r >= w[0]) & (r <= w[1]) & (z >= w[2]) & (z <= w[3])]
        for b in second:
            best = min(best, _refined(outline, b))
    for b in second:
        outline = b.outline(0.05)
        for a in first:
            d = a.distance(outline[:, 0], outline[:, 1])
            if window is None:
                best = min(best, float(d.min()))
    return best


def _refined(outline: Array, chain: c.Chain) -> float:
    d = chain.distance(outline[:, 0], outline[:, 1])
    i = int(np.argmin(d))
    best = float(d[i])
    for j in (i - 1, i):
        if 0 <= j < len(outline) - 1:
            p, q = outline[j], outline[j + 1]

            def at(t: float, p: Array = p, q: Array = q) -> float:
                x = p + t * (q - p)
                return float(chain.distance(x[:1], x[1:])[0])

            best = min(best, float(minimize_scalar(at, bounds=(0, 1), method="bounded").fun))
    return best


def fillet_gap(a: c.Chain, b: c.Chain, radius: float, others: list[c.Chain], box: Array) -> float:
    """Least distance of the material a fillet adds between two sections to other sections."""
    r, z = np.meshgrid(np.arange(box[0], box[1], 0.1), np.arange(box[2], box[3], 0.1))
    r, z = r.ravel(), z.ravel()
    da, db = a.distance(r, z), b.distance(r, z)
    added = (c.join(da, db, radius) <= 0) & (da > 0) & (db > 0)
    if not added.any():
        return float("inf")
    return min(float(o.distance(r[added], z[added]).min()) for o in others)


# --- sphere-swept parts -----------------------------------------------------------------------


def _line(a: tuple[float, ...], b: Array | tuple[float, ...], n: int = 20_001) -> Array:
    t = np.linspace(0.0, 1.0, n)[:, None]
    p = np.asarray(a) + t * np.subtract(b, a)
    return np.c_[np.hypot(p[:, 0], p[:, 1]), p[:, 2]]


def _circle(centre: Array, radius: float, axis: int, n: int = 20_001) -> Array:
    t = np.linspace(0.0, 2 * np.pi, n)
    p = np.tile(np.asarray(centre, float), (n, 1))
    i, j = (k for k in range(3) if k != axis)
    p[:, i] += radius * np.cos(t)
    p[:, j] += radius * np.sin(t)
    return np.c_[np.hypot(p[:, 0], p[:, 1]), p[:, 2]]


def tie_rod_curves() -> list[tuple[Array, float]]:
    """Centre lines and radii whose balls make up the tie rod, seen in (r, z)."""
    ball = c.BALL_CENTRE
    e = np.subtract(c.ROD_END, ball)
    tube = (tuple(np.asarray(ball) + s * e) for s in c.ROD_TUBE_AT)
    return [
        (_line(ball, ball, 1), c.BALL_RADIUS),
        (_line(ball, c.ROD_END), c.ROD_RADIUS),
        (_line(*tube), c.ROD_TUBE_RADIUS),
    ]


def wheel_sections() -> list[c.Chain]:
    return [moved(c.BARREL, PAD_Z), moved(c.DISC, PAD_Z)]


def swept_gap(
    curves: list[tuple[Array, float]], chains: list[c.Chain]
) -> tuple[float, Array, float]:
    found = [(*curve_gap(line, radius, chains), radius) for line, radius in curves]
    return min(found, key=lambda row: row[0])


# --- the gaps ---------------------------------------------------------------------------------


def place(r: float, z: float, clock: object) -> dict[str, object]:
    """Where: clock position (one, or the range over which the gap is the same), r, z."""
    return {"clock_deg": clock, "r_mm": round(r, 6), "z_mm": round(z, 6)}


def _clock(p: tuple[float, ...] | Array) -> float:
    return float(np.degrees(np.arctan2(p[0], p[1])) % 360)


def gaps() -> dict[str, dict[str, object]]:
    """Every gap of the corner: hub frame, mm; first part named first."""
    caliper, rotor, wheel = caliper_sections(), rotor_section(), wheel_sections()
    k = {key: float(v) for key, v in c.CALIPER.items() if key != "boxes"}  # type: ignore[arg-type]
    half = k["arc_deg"] / 2
    arc = [k["clock_deg"] - half, k["clock_deg"] + half]
    z_out = RING_MID + k["outboard_width_mm"]
    z_in = RING_MID - k["inboard_width_mm"]
    barrel, disc = wheel
    corner = np.array([185.0, 225.0, 10.0, 60.0])
    blend = fillet_gap(barrel, disc, 7.0, caliper, corner)
    whole_turn = [0.0, 360.0]
    out: dict[str, dict[str, object]] = {}

    out["caliper–barrel"] = {
        "gap_mm": c.BARREL_CREST[0] - k["outer_radius_mm"],
        "searched_mm": chain_gap([barrel], caliper),
        "fillet_gap_mm": blend,
        "motion": "fixed against turning",
        "place": place(c.BARREL_CREST[0], c.BARREL_CREST[1] + PAD_Z, arc),
        "direction_r_z": [1.0, 0.0],
        "from": "barrel crest radius - caliper outer radius",
        "with_weights_mm": c.BARREL_CREST[0] - k["outer_radius_mm"] - c.WEIGHT_THICKNESS,
    }
    out["caliper–spokes"] = {
        "gap_mm": c.SPOKE_CREST[1] + PAD_Z - z_out,
        "searched_mm": chain_gap([disc], caliper, np.array([85.0, 203.0, -99.0, 60.0])),
        "fillet_gap_mm": blend,
        "motion": "fixed against turning",
        "place": place(c.SPOKE_CREST[0], c.SPOKE_CREST[1] + PAD_Z, arc),
        "direction_r_z": [0.0, 1.0],
        "from": "height of the spoke back's crest + hat flange - (outboard width - hat offset)",
    }
    out["caliper–ring"] = {
        "gap_mm": min(
            k["bridge_inner_radius_mm"] - RING_R[1],
            k["slot_half_width_mm"] - _n("ring_thickness_mm") / 2,
        ),
        "searched_mm": chain_gap([rotor], caliper),
        "motion": "fixed against turning",
        "place": place(RING_R[1], RING_MID, arc),
        "z_range_mm": list(RING_Z),
        "direction_r_z": [-1.0, 0.0],
        "from": "bridge inner radius - ring outer radius",
    }
    eye = c.EYE_CENTRE
    lowest = eye[1] - c.EYE_HALF_HEIGHT + c.EYE_EDGE, eye[1] + c.EYE_HALF_HEIGHT - c.EYE_EDGE
    top = eye[2] + c.EYE_RADIUS
    line = _line((eye[0], lowest[0], eye[2]), (eye[0], lowest[1], eye[2]))
    out["rotor–knuckle"] = {
        "gap_mm": RING_Z[0] - top,
        "searched_mm": curve_gap(line, c.EYE_RADIUS, [rotor])[0],
        "motion": "fixed against turning",
        "place": place(float(np.hypot(eye[0], eye[1])), top, _clock(eye)),
        "clock_range_deg": [_clock((eye[0], lowest[1])), _clock((eye[0], lowest[0]))],
        "direction_r_z": [0.0, 1.0],
        "from": "ring's inboard face - top line of the steering arm's eye; housing left out",
    }
    out["caliper–knuckle"] = {
        "gap_mm": z_in - c.LUG_Z[1],
        "motion": "fixed against fixed",
        "place": place(c.LUG_RADIUS_TO_AXIS, c.LUG_Z[1], list(c.LUG_CLOCKS.values())),
        "direction_hub": [0.0, 0.0, 1.0],
        "from": "caliper's inboard face - outboard faces of both lugs (parallel planes)",
    }
    ball = c.BALL_CENTRE
    ball_r = float(np.hypot(ball[0], ball[1]))
    searched = swept_gap(tie_rod_curves(), [rotor])
    out["rotor–tie rod"] = {
        "gap_mm": RING_Z[0] - (ball[2] + c.BALL_RADIUS),
        "searched_mm": searched[0],
        "motion": "posed against turning",
        "place": place(ball_r, ball[2] + c.BALL_RADIUS, _clock(ball)),
        "direction_r_z": [0.0, 1.0],
        "from": "ring's inboard face - top of the ball's housing",
    }
    gap, at, radius = swept_gap(tie_rod_curves(), wheel)
    nearest = _foot(barrel, at)
    toward = (nearest - at) / np.linalg.norm(nearest - at)
    touch = at + radius * toward
    out["wheel–tie rod"] = {
        "gap_mm": float(np.linalg.norm(nearest - at)) - radius,
        "searched_mm": gap,
        "motion": "posed against turning",
        "place": place(float(touch[0]), float(touch[1]), _clock(ball)),
        "direction_r_z": [float(toward[0]), float(toward[1])],
        "from": "image of the ball's centre to the barrel's curve - ball radius",
    }
    clamp = np.asarray(c.CLAMP_CENTRE)
    rim = clamp + np.array([0.0, c.CLAMP_HALF_HEIGHT - c.CLAMP_EDGE, 0.0])
    ring = _circle(rim, c.CLAMP_RADIUS - c.CLAMP_EDGE, 1)
    gap, at = curve_gap(ring, c.CLAMP_EDGE, wheel)
    out["wheel–knuckle"] = {
        "gap_mm": gap,
        "motion": "fixed against turning",
        "place": place(*_toward(barrel, at, c.CLAMP_EDGE), _rim_clock(rim, at)),
        "from": "upper rim of the strut's clamp (rounded 2 mm) to the barrel's curve",
    }
    out["caliper–hub"] = {
        "gap_mm": k["inner_radius_mm"] - c.FLANGE_RADIUS,
        "motion": "fixed against turning",
        "place": place(c.FLANGE_RADIUS, -c.FLANGE_THICKNESS / 2, arc),
        "direction_r_z": [1.0, 0.0],
        "from": "caliper inner radius - hub flange radius",
    }
    # The slot takes the caliper's inner radius away beside the housing, so its outboard leg's
    # inner edge is nearest to the housing's rounded outboard edge.
    edge, leg = HOUSING_EDGE, (k["inner_radius_mm"], RING_MID + k["slot_half_width_mm"])
    heart = (c.HOUSING_RADIUS - edge, c.HOUSING_Z[1] - edge)
    away = np.subtract(leg, heart)
    touch = heart + edge * away / np.hypot(*away)
    out["caliper–housing"] = {
        "gap_mm": float(np.hypot(*away)) - edge,
        "searched_mm": chain_gap([c.HUB], caliper, np.array([78.0, 90.0, *c.HOUSING_Z])),
        "motion": "fixed against fixed",
        "place": place(float(touch[0]), float(touch[1]), arc),
        "from": "outboard leg's inner edge to the housing's rounded outboard edge",
    }
    out["hub flange in hat"] = {
        "gap_mm": HAT_R[0] - c.FLANGE_RADIUS,
        "motion": "turning with turning",
        "place": place(c.FLANGE_RADIUS, -c.FLANGE_THICKNESS / 2, whole_turn),
        "from": "hat inner radius - flange radius, a side",
    }
    out["housing in hat"] = {
        "gap_mm": HAT_R[0] - c.HOUSING_RADIUS,
        "motion": "fixed against turning",
        "place": place(c.HOUSING_RADIUS, (c.HOUSING_Z[1] + RING_MID) / 2, whole_turn),
        "from": "hat inner radius - housing radius, a side; negative: it does not go in",
    }
    for name, row in out.items():
        row["error_mm"] = ERROR
        if "searched_mm" in row:
            apart = abs(float(row["searched_mm"]) - float(row["gap_mm"]))  # type: ignore[arg-type]
            if apart > 1e-3:
                raise ValueError(f"{name}: closed form and search differ by {apart} mm")
    return out


def _foot(chain: c.Chain, p: Array) -> Array:
    """Nearest point of the chain, by its distance and the gradient there."""
    h = 1e-5
    d = float(chain.distance(p[:1], p[1:])[0])
    g = np.array(
        [
            chain.distance(p[:1] + s, p[1:] + t)[0] - chain.distance(p[:1] - s, p[1:] - t)[0]
            for s, t in ((h, 0.0), (0.0, h))
        ]
    ) / (2 * h)
    return p - d * g


def _toward(chain: c.Chain, p: Array, radius: float) -> tuple[float, float]:
    foot = _foot(chain, p)
    q = p + radius * (foot - p) / np.linalg.norm(foot - p)
    return float(q[0]), float(q[1])


def _rim_clock(centre: Array, at: Array) -> list[float]:
    """Clock positions of the two rim points with this (r, z)."""
    across = np.sqrt(max((c.CLAMP_RADIUS - c.CLAMP_EDGE) ** 2 - (at[1] - centre[2]) ** 2, 0.0))
    options = [(centre[0] + s * across, centre[1]) for s in (-1, 1)]
    near = min(abs(np.hypot(*o) - at[0]) for o in options)
    return [_clock(o) for o in options if abs(np.hypot(*o) - at[0]) < near + 1e-3]


# --- places to touch, and bands ---------------------------------------------------------------


def seeds() -> dict[str, dict[str, list[float]]]:
    """A point well inside each surface, in its own scan's coordinates."""
    hub = {
        "hub face": c.clock_point(45.0, 90.0, 0.0),
        "spigot": c.clock_point(c.SPIGOT_RADIUS, 100.0, 9.0),
        "housing": c.clock_point(c.HOUSING_RADIUS, 60.0, -32.0),
        "hub flange rim": c.clock_point(c.FLANGE_RADIUS, 200.0, -6.0),
        "steering arm eye": np.array([c.EYE_CENTRE[0], c.EYE_CENTRE[1], -63.6]),
        "tie rod": np.array(c.BALL_CENTRE) + np.array([0.0, 0.0, c.BALL_RADIUS]),
        "stud 1": c.clock_point(c.STUD_CIRCLE_RADIUS, c.STUD_CLOCK, 25.0)
        - c.STUD_RADIUS * c.clock_point(1.0, c.STUD_CLOCK, 0.0),
    }
    for name, clock in c.LUG_CLOCKS.items():
        radial = c.clock_point(1.0, clock, 0.0)
        centre = c.clock_point(c.LUG_RADIUS_TO_AXIS, clock, 0.0)
        outward = c.LUG_BORE_RADIUS * radial
        hub[f"{name} lug bore"] = centre + outward + np.array([0.0, 0.0, -122.0])
        hub[f"{name} lug face"] = centre + 11.6 * radial + np.array([0.0, 0.0, c.LUG_Z[1]])
    line = c.BARREL.outline(0.01)
    inner = line[(line[:, 1] > -60.005) & (line[:, 1] < -59.995)]
    barrel = inner[np.argmin(inner[:, 0])]
    wheel = {
        "wheel pad": c.clock_point(42.0, 10.0, 0.0),
        "wheel bore": c.clock_point(c.BORE_RADIUS, 250.0, 16.0),
        "barrel": c.clock_point(float(barrel[0]), 200.0, float(barrel[1])),
        "spoke back": c.clock_point(c.SPOKE_CREST[0], 36.0, c.SPOKE_CREST[1]),
    }
    return {
        "knuckle": {k: to_scan("knuckle", v).tolist() for k, v in hub.items()},
        "wheel": {k: to_scan("wheel", v).tolist() for k, v in wheel.items()},
    }


BANDS: dict[str, dict[str, dict[str, object]]] = {
    "knuckle": {
        "hub": {"piece": "knuckle", "r_mm": [0, 80], "z_mm": [-14, 60], "motion": "turns"},
        "housing": {"piece": "knuckle", "r_mm": [0, 90], "z_mm": [-54, -14], "motion": "fixed"},
        "knuckle": {"piece": "knuckle", "r_mm": [0, 200], "z_mm": [-200, -54], "motion": "fixed"},
        "upper lug": {
            "piece": "knuckle",
            "r_mm": [111, 145],
            "z_mm": [-140, -110],
            "clock_deg": [295, 311],
            "motion": "fixed",
        },
        "lower lug": {
            "piece": "knuckle",
            "r_mm": [111, 145],
            "z_mm": [-140, -110],
            "clock_deg": [229, 245],
            "motion": "fixed",
        },
        "tie rod": {"piece": "tie rod", "motion": "posed"},
    },
    "wheel": {
        "pad": {"piece": "wheel", "r_mm": [0, 80], "z_mm": [-2, 60], "motion": "turns"},
        "spokes": {"piece": "wheel", "r_mm": [80, 203], "z_mm": [0, 75], "motion": "turns"},
        "barrel": {"piece": "wheel", "r_mm": [203, 260], "z_mm": [-165, 90], "motion": "turns"},
    },
}


def dimensions() -> dict[str, object]:
    return {
        "hub": {
            "hub_flange_diameter_mm": 2 * c.FLANGE_RADIUS,
            "hub_flange_thickness_mm": c.FLANGE_THICKNESS,
            "rotor_register_diameter_mm": 2 * c.SPIGOT_RADIUS,
            "wheel_register_diameter_mm": 2 * c.SPIGOT_RADIUS,
            "spigot_length_mm": c.SPIGOT_LENGTH,
            "housing_diameter_mm": 2 * c.HOUSING_RADIUS,
            "housing_z_mm": list(c.HOUSING_Z),
            "housing_in_hat_excess_on_diameter_mm": 2 * (c.HOUSING_RADIUS - HAT_R[0] + 0.8),
            "housing_fits_at_diameter_mm": 2 * (HAT_R[0] - 0.8),
            "stud_count": c.STUD_COUNT,
            "stud_thread": "M14x1.5",
            "stud_length_mm": c.STUD_LENGTH,
            "stud_circle_diameter_mm": 2 * c.STUD_CIRCLE_RADIUS,
            "stud_scanned_diameter_mm": 2 * c.STUD_RADIUS,
        },
        "lugs": {
            "clock_deg": c.LUG_CLOCKS,
            "radius_mm": c.LUG_RADIUS_TO_AXIS,
            "bore_diameter_mm": 2 * c.LUG_BORE_RADIUS,
            "outboard_face_z_mm": c.LUG_Z[1],
            "spacing_mm": float(
                2
                * c.LUG_RADIUS_TO_AXIS
                * np.sin(np.radians(c.LUG_CLOCKS["upper"] - c.LUG_CLOCKS["lower"]) / 2)
            ),
        },
        "wheel": c.WHEEL
        | {
            "barrel_least_radius_mm": c.BARREL_CREST[0],
            "barrel_least_radius_z_mm": c.BARREL_CREST[1],
            "spoke_back_crest_r_z_mm": list(c.SPOKE_CREST),
            "weight_band": {
                "z_from_mm": c.WEIGHT_BAND_Z[0],
                "z_to_mm": c.WEIGHT_BAND_Z[1],
                "thickness_mm": c.WEIGHT_THICKNESS,
                "weight_free": True,
            },
        },
    }


def truth() -> dict[str, object]:
    """Everything that goes into true.json."""
    to_hub = np.eye(4)
    to_hub[2, 3] = PAD_Z
    wheel = part_from_scan("wheel")
    return {
        "about": "Invented by us: no real vehicle, wheel, brake or maker. Computed by truth.py "
        "from construction.py; lengths in mm, angles in degrees, hub frame unless said otherwise.",
        "corner": {
            "vehicle": "Aurel 4",
            "kit": "K350-six",
            "axle": "front",
            "side": "left",
            "x_points": "rearward (left side): clock 90 is the rear, 270 the front",
            "caliper_at": "270, the front; the lugs are there too, the steering arm at the rear",
        },
        "clocking": {
            "feature": "upper lug bore",
            "clock_deg": c.LUG_CLOCKS["upper"],
            "radius_mm": c.LUG_RADIUS_TO_AXIS,
        },
        "outboard": "towards the hub face's free side, +Z",
        "rotor": c.ROTOR,
        "caliper": c.CALIPER,
        **dimensions(),
        "poses": {
            "knuckle": {"hub_from_scan": part_from_scan("knuckle").tolist()},
            "wheel": {
                "wheel_from_scan": wheel.tolist(),
                "hub_from_scan": (to_hub @ wheel).tolist(),
                "note": "pad on the hat's flange; the wheel's angle about Z is as scanned",
            },
        },
        "seeds": seeds(),
        "bands": BANDS,
        "scans": {
            name: {
                "file": f"{name}_scan.stl",
                "seed": SEED[name],
                "noise_sigma_mm": SIGMA,
                "noise_correlation_length_mm": CORRELATION_LENGTH,
                "noise_correlation": "exp(-(d / length)^2) along the skin",
            }
            for name in SCANS
        },
        "gaps": gaps(),
    }


def text() -> str:
    """true.json as text."""
    return json.dumps(truth(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    (HERE / "true.json").write_text(text(), encoding="utf-8")
    for name, row in gaps().items():
        searched = row.get("searched_mm", float("nan"))
        print(f"{name:20s} {row['gap_mm']:9.4f}  searched {searched:9.6f}")
