"""Invented rear knuckles and wheels of many shapes, with the truth about their features.

For judging proposals of datums: generator and seeds were fixed before the detector existed. Every
number is drawn at random; no real part is meant. The scans are what a scanner's fusion gives:
the zero surface on a grid (so small and large triangles side by side), correlated noise, ragged
holes, flakes, in a pose of their own.

    knuckle(seed), wheel(seed) -> Generated
    python tests/reference/generated_corners.py FOLDER      writes all as STL with their truth
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.spatial.transform import Rotation

SAMPLES = Path(__file__).resolve().parents[2] / "sample_meshes"
sys.path.insert(0, str(SAMPLES))
import construction as c  # noqa: E402
import make_demo  # noqa: E402
import surface_mesh  # noqa: E402

Array = NDArray[np.float64]
Draw = np.random.Generator

KNUCKLE_SEEDS = tuple(range(5001, 5025))
WHEEL_SEEDS = tuple(range(6001, 6025))

# Specified rim diameters by code: ISO 4000-2 / ETRTO values as transcribed in the project's
# reference data; code × 25.4 is wrong.
RIM_DIAMETER = {15: 380.2, 16: 405.6, 17: 436.6, 18: 462.0, 19: 487.4, 20: 512.8, 21: 538.2}


@dataclass(frozen=True)
class Generated:
    """A scan with its truth.

    Attributes
    ----------
    vertices, faces : scan coordinates, mm
    part_from_scan : (4, 4) into the hub frame (knuckle) or wheel frame (wheel)
    turns : (m,) bool
        Faces of parts that turn with the wheel; all true for a wheel.
    stray : (m,) bool
        Flakes and bench.
    features : dict
        Name -> what it is, in the part's own frame.
    """

    seed: int
    vertices: Array
    faces: NDArray[np.int32]
    part_from_scan: Array
    turns: NDArray[np.bool_]
    stray: NDArray[np.bool_]
    features: dict[str, Any]
    drawn: dict[str, Any] = field(default_factory=dict)

    def in_scan(self, points: Array) -> Array:
        """Points of the part's own frame in the scan's coordinates."""
        pose = self.part_from_scan
        return (np.asarray(points, float) - pose[:3, 3]) @ pose[:3, :3]


def drum(p: Array, centre: Array, axis: Array, radius: float, half: float, edge: float) -> Array:
    """Cylinder along any direction with rounded edges."""
    q = p - centre
    along = q @ axis
    rho = np.linalg.norm(q - along[:, None] * axis, axis=1)
    dx, dy = rho - radius + edge, np.abs(along) - half + edge
    outside = np.hypot(np.maximum(dx, 0.0), np.maximum(dy, 0.0))
    return np.minimum(np.maximum(dx, dy), 0.0) + outside - edge


# --- knuckles ---------------------------------------------------------------------------------


def draw_knuckle(rng: Draw) -> dict[str, Any]:
    """Numbers of one knuckle."""
    flange = rng.uniform(64, 80)
    d: dict[str, Any] = {
        "flange_radius": round(flange, 2),
        "flange_thickness": round(rng.uniform(9, 15), 1),
        "fixings": "studs" if rng.random() < 0.7 else "threaded holes",
        "count": int(rng.choice([4, 5, 5, 5, 6])),
        "circle_radius": round(rng.uniform(49, flange - 10), 2),
        "stud_radius": round(rng.uniform(5.8, 7.4), 2),
        "stud_length": round(rng.uniform(26, 48), 1),
        "first_clock": round(rng.uniform(0, 90), 1),
        "register_radius": round(rng.uniform(29, 37), 3),
        "register_length": round(rng.uniform(9, 20), 1),
        "stepped": bool(rng.random() < 0.4),
        "hollow": bool(rng.random() < 0.6),
    }
    big = rng.random() < 0.6
    d["housing_radius"] = round(flange + (rng.uniform(4, 12) if big else rng.uniform(-14, -5)), 3)
    d["housing_front"] = round(-d["flange_thickness"] - rng.uniform(3.5, 8), 1)
    d["housing_back"] = round(d["housing_front"] - rng.uniform(22, 42), 1)
    d["wheel_register_radius"] = round(d["register_radius"] - rng.uniform(0.6, 2.5), 3)
    d["step"] = round(rng.uniform(5, 7), 1)
    d["lug_clock"] = round(rng.uniform(0, 360), 1)
    d["lug_half_angle"] = round(rng.uniform(24, 38), 1)
    d["lug_radius"] = round(max(rng.uniform(96, 135), d["housing_radius"] + 22), 2)
    d["lug_bore_radius"] = round(rng.uniform(5.0, 8.2), 2)
    d["lug_boss_radius"] = round(d["lug_bore_radius"] + rng.uniform(6.5, 9), 2)
    d["lug_face"] = round(d["housing_back"] - rng.uniform(2, 30), 2)
    d["lug_length"] = round(rng.uniform(15, 26), 1)
    clocks: list[float] = []
    wanted = int(rng.integers(2, 5))
    while len(clocks) < wanted:
        k = rng.uniform(0, 360)
        apart = [abs((k - o + 180) % 360 - 180) for o in clocks]
        from_lugs = abs((k - d["lug_clock"] + 180) % 360 - 180)
        if from_lugs > d["lug_half_angle"] + 26 and all(a > 38 for a in apart):
            clocks.append(k)
        elif rng.random() < 0.02:
            break
    d["arms"] = [
        {
            "clock": round(k, 1),
            "reach": round(rng.uniform(110, 165), 1),
            "z": round(d["housing_back"] - rng.uniform(10, 45), 1),
            "boss_radius": round(rng.uniform(15, 24), 1),
            "boss_half": round(rng.uniform(11, 22), 1),
            "axis": int(rng.choice([0, 0, 1, 1, 2])),
        }
        for k in clocks
    ]
    return d


def _spigot(d: dict[str, Any]) -> list[tuple[float, float, float]]:
    r, length = d["register_radius"], d["register_length"]
    if not d["stepped"]:
        return [(r, 0.0, 0.8), (r, length, 1.5)]
    w = d["wheel_register_radius"]
    return [(r, 0.0, 0.8), (r, d["step"], 0.25), (w, d["step"], 0.25), (w, length + 4, 1.5)]


def knuckle_solid(d: dict[str, Any]) -> c.Solid:
    """The knuckle of the numbers drawn, hub frame."""
    front, back, rh = d["housing_front"], d["housing_back"], d["housing_radius"]
    flange, t = d["flange_radius"], d["flange_thickness"]
    neck = min(rh, flange) - 14
    spigot = _spigot(d)
    top = spigot[-1][1]
    inner = spigot[-1][0] - 9
    end = [(inner, top, 1.0), (inner, top - 7, 1.5), (-30.0, top - 7, 1.0)]
    hub = c.rounded(
        [
            (-30.0, back, 1.0),
            (rh, back, 1.5),
            (rh, front, 1.5),
            (neck, front, 1.2),
            (neck, -t, 1.2),
            (flange, -t, 1.2),
            (flange, 0.0, 1.2),
            *spigot,
            *(end if d["hollow"] else [(-30.0, top, 1.0)]),
        ]
    )
    depth = back - 60.0
    trunk = c.rounded(
        [(-30.0, depth, 1.0), (rh - 16, depth, 4.0), (rh - 16, back + 4, 1.5), (-30, back + 4, 1.0)]
    )

    def solid(p: Array) -> Array:
        r, z = np.hypot(p[:, 0], p[:, 1]), p[:, 2]
        f = trunk.distance(r, z)
        for arm in d["arms"]:
            start = c.clock_point(rh - 34, arm["clock"], back - 22)
            stop = c.clock_point(arm["reach"], arm["clock"], arm["z"])
            f = c.join(f, c.rod(p, start, stop, 19.0, 12.0), 9.0)
            axis = np.eye(3)[arm["axis"]]
            f = c.join(f, drum(p, stop, axis, arm["boss_radius"], arm["boss_half"], 1.5), 5.0)
        lugs = lug_centres(d)
        middle = d["lug_face"] - d["lug_length"] / 2
        for lug in lugs:
            start = lug * ((rh - 34) / d["lug_radius"]) + np.array([0, 0, back - 28])
            stop = lug * 0.94 + np.array([0.0, 0.0, middle - 2])
            f = c.join(f, c.rod(p, start, stop, 15.0, min(8.0, d["lug_length"] / 2)), 8.0)
            boss = lug + np.array([0.0, 0.0, middle])
            half = d["lug_length"] / 2 + 2
            f = c.join(f, c.cylinder(p, boss, 2, d["lug_boss_radius"], half, 1.5), 5.0)
        f = c.join(f, hub.distance(r, z), 4.0)
        f = c.cut(f, c.cylinder(p, (0, 0, depth - 20), 2, rh - 30, 50.0, 4.0), 2.0)
        for lug in lugs:
            for face, way in ((d["lug_face"], 1), (d["lug_face"] - d["lug_length"], -1)):
                spot = lug + np.array([0.0, 0.0, face + way * 15])
                f = c.cut(f, c.cylinder(p, spot, 2, d["lug_boss_radius"] + 1.5, 15.0, 0.5), 1.0)
            f = c.cut(f, c.cylinder(p, lug, 2, d["lug_bore_radius"], 300.0, 0.5), 0.8)
        for arm in d["arms"]:
            stop = c.clock_point(arm["reach"], arm["clock"], arm["z"])
            bore = 0.5 * arm["boss_radius"]
            f = c.cut(f, drum(p, stop, np.eye(3)[arm["axis"]], bore, 30.0, 0.5), 1.0)
        for at in fixing_centres(d):
            if d["fixings"] == "studs":
                half = d["stud_length"] / 2 + 3
                stud = at + np.array([0.0, 0.0, half - 6])
                f = c.join(f, c.cylinder(p, stud, 2, d["stud_radius"], half, 1.8), 1.0)
            else:
                f = c.cut(f, c.cylinder(p, at, 2, d["stud_radius"], t + 2.5, 0.5), 0.8)
        return f

    return solid


def lug_centres(d: dict[str, Any]) -> list[Array]:
    """Points of the two lugs' axes at z = 0."""
    return [
        c.clock_point(d["lug_radius"], d["lug_clock"] + s * d["lug_half_angle"], 0.0)
        for s in (1, -1)
    ]


def fixing_centres(d: dict[str, Any]) -> list[Array]:
    """Stud or hole axes at the hub face."""
    return [
        c.clock_point(d["circle_radius"], d["first_clock"] + k * 360 / d["count"], 0.0)
        for k in range(d["count"])
    ]


def knuckle_features(d: dict[str, Any]) -> dict[str, Any]:
    """What a detector should find, hub frame."""
    out: dict[str, Any] = {
        "hub face": {
            "shape": "plane",
            "z_mm": 0.0,
            "r_mm": [d["register_radius"], d["flange_radius"]],
        },
        "rotor register": {
            "shape": "cylinder",
            "radius_mm": d["register_radius"],
            "z_mm": [0.0, d["step"] if d["stepped"] else d["register_length"]],
        },
        "wheel register": {
            "shape": "cylinder",
            "radius_mm": d["wheel_register_radius"] if d["stepped"] else d["register_radius"],
            "z_mm": [d["step"], d["register_length"] + 4]
            if d["stepped"]
            else [0.0, d["register_length"]],
        },
        "hub flange rim": {
            "shape": "cylinder",
            "radius_mm": d["flange_radius"],
            "z_mm": [-d["flange_thickness"], 0.0],
        },
        "bearing housing": {
            "shape": "cylinder",
            "radius_mm": d["housing_radius"],
            "z_mm": [d["housing_back"], d["housing_front"]],
        },
        "fixings": {
            "shape": d["fixings"],
            "count": d["count"],
            "radius_mm": d["stud_radius"],
            "circle_diameter_mm": 2 * d["circle_radius"],
            "centres_mm": [x.tolist() for x in fixing_centres(d)],
        },
        "lugs": {
            "shape": "bore pair parallel to the spin axis",
            "bore_radius_mm": d["lug_bore_radius"],
            "face_z_mm": d["lug_face"],
            "centres_mm": [(x + np.array([0, 0, d["lug_face"]])).tolist() for x in lug_centres(d)],
        },
        "turns above z_mm": 0.5 * (d["housing_front"] - d["flange_thickness"]),
    }
    return out


# --- wheels -----------------------------------------------------------------------------------


def draw_wheel(rng: Draw) -> dict[str, Any]:
    """Numbers of one wheel."""
    code = int(rng.choice(list(RIM_DIAMETER)))
    width = float(rng.choice([6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5]))
    if code <= 16:
        width = min(width, 7.5)
    count = int(rng.choice([4, 5, 5, 5, 6]))
    pad = rng.uniform(66, 80)
    return {
        "code": code,
        "width_in": width,
        "inset": round(rng.uniform(20, 52), 1),
        "kind": "spokes" if rng.random() < 0.8 else "disc with round holes",
        "spokes": int(rng.integers(5, 15)),
        "first_spoke": round(rng.uniform(0, 60), 1),
        "pad_radius": round(pad, 2),
        "bore_radius": round(rng.uniform(28.5, 37.0), 3),
        "count": count,
        "circle_radius": round(rng.uniform(49, pad - 9.5), 2),
        "hole_radius": round(rng.uniform(6.2, 7.8), 2),
        "first_clock": round(rng.uniform(0, 90), 1),
        "relieved_pad": bool(rng.random() < 0.5),
        "dish": round(rng.uniform(0.35, 0.75), 2),
        "unseen_deg": float(rng.choice([0.0, 0.0, 60.0, 110.0])),
    }


def wheel_solid(d: dict[str, Any]) -> c.Solid:
    """The wheel of the numbers drawn, wheel frame."""
    rim, w = RIM_DIAMETER[d["code"]] / 2, 25.4 * d["width_in"]
    zi, zo = -d["inset"] - w / 2, -d["inset"] + w / 2
    barrel = c.rounded(
        [
            (rim + 5, zo + 13, 2.5),
            (rim - 6, zo - 4, 6.0),
            (rim - 17, zo - 0.21 * w, 12.0),
            (rim - 23.8, zi + 0.565 * w, 40.0),
            (rim - 17.3, zi + 0.24 * w, 12.0),
            (rim - 7, zi + 0.12 * w, 10.0),
            (rim - 5.6, zi - 5, 4.0),
            (rim, zi - 13, 3.0),
            (rim + 17.5, zi - 13, 3.0),
            (rim + 17.5, zi - 4, 3.0),
            (rim + 9, zi, 3.5),
            (rim, zi, 4.0),
            (rim + 0.6, zi + 0.105 * w, 5.0),
            (rim - 10.6, zi + 0.23 * w, 8.0),
            (rim - 17.3, zi + 0.44 * w, 10.0),
            (rim - 17.3, zi + 0.66 * w, 8.0),
            (rim + 0.2, zo - 0.14 * w, 6.0),
            (rim, zo, 4.0),
            (rim + 9, zo, 3.5),
            (rim + 17.5, zo + 4, 3.0),
            (rim + 17.5, zo + 13, 3.0),
        ]
    )
    pad, bore, out = d["pad_radius"], d["bore_radius"], rim - 12
    front_out = zo - 2.0
    spoked = d["kind"] == "spokes"
    back_out = front_out - (30.0 if spoked else 12.0)
    first = pad + 24
    back_in = max(12.0, d["dish"] * max(back_out, 10.0) + 6.0)
    front_in = max(back_in + (16.0 if spoked else 10.0), 30.0)
    disc = c.rounded(
        [
            (bore, 0.0, 1.0),
            (pad, 0.0, 1.5),
            (pad + 4, 5.0, 2.5),
            (first, back_in, 8.0),
            (out, back_out, 2.0),
            (out, front_out, 2.0),
            (first + 6, front_in + 4, 20.0),
            (bore + 12, front_in, 5.0),
            (bore + 8, front_in - 8, 2.0),
            (bore, front_in - 8, 1.0),
        ]
    )
    sector = 2 * np.pi / d["spokes"]
    width0 = min(16.0, 0.3 * sector * first)
    inner = rim - 27

    def window(p: Array, r: Array) -> Array:
        phi = np.arctan2(p[:, 0], p[:, 1]) - np.radians(d["first_spoke"])
        fold = np.abs((phi + sector / 2) % sector - sector / 2)
        if spoked:
            along, aside = r * np.cos(fold), r * np.sin(fold)
            half = width0 * (1.0 - 0.25 * (along - first) / (inner - first))
            corner = min(8.0, 0.2 * sector * first)
            return c.both(c.both(half - aside, first + 8 - r, corner), r - inner, corner)
        middle = 0.5 * (first + inner) + 6
        size = min(0.33 * sector * middle, 0.36 * (inner - first))
        other = sector / 2 - fold
        x, y = r * np.cos(other) - middle, r * np.sin(other)
        return np.hypot(x, y) - size

    def solid(p: Array) -> Array:
        r, z = np.hypot(p[:, 0], p[:, 1]), p[:, 2]
        plate = c.cut(disc.distance(r, z), window(p, r), 2.5)
        f = c.join(barrel.distance(r, z), plate, 6.0)
        for k in range(d["count"]):
            clock = d["first_clock"] + k * 360 / d["count"]
            at = c.clock_point(d["circle_radius"], clock, 0.0)
            f = c.cut(f, c.cylinder(p, at, 2, d["hole_radius"], 60.0, 0.5), 0.8)
            recess = at + np.array([0.0, 0.0, 13.0 + 60.0])
            f = c.cut(f, c.cylinder(p, recess, 2, d["hole_radius"] + 6.5, 60.0, 3.0), 1.0)
            if d["relieved_pad"]:
                at = c.clock_point(d["circle_radius"], clock + 180 / d["count"], 0.0)
                f = c.cut(f, c.cylinder(p, at, 2, 8.0, 7.0, 2.0), 1.0)
        return f

    return solid


def wheel_features(d: dict[str, Any]) -> dict[str, Any]:
    """What a detector should find, wheel frame."""
    rim, w = RIM_DIAMETER[d["code"]] / 2, 25.4 * d["width_in"]
    return {
        "pad": {"shape": "plane", "z_mm": 0.0, "r_mm": [d["bore_radius"], d["pad_radius"]]},
        "centre bore": {"shape": "cylinder", "radius_mm": d["bore_radius"]},
        "bolt holes": {
            "count": d["count"],
            "radius_mm": d["hole_radius"],
            "circle_diameter_mm": 2 * d["circle_radius"],
            "centres_mm": [
                c.clock_point(
                    d["circle_radius"], d["first_clock"] + k * 360 / d["count"], 0.0
                ).tolist()
                for k in range(d["count"])
            ],
        },
        "barrel": {
            "shape": "surface of revolution",
            "z_mm": [-d["inset"] - w / 2, -d["inset"] + w / 2],
        },
        "rim": {
            "specified_diameter_mm": 2 * rim,
            "diameter_code": d["code"],
            "width_in": d["width_in"],
            "inset_mm": d["inset"],
        },
    }


# --- scanning ---------------------------------------------------------------------------------


def _scan(
    seed: int,
    rng: Draw,
    solid: c.Solid,
    box: tuple[Array, Array],
    spacing: float,
    drawn: dict[str, Any],
    features: dict[str, Any],
) -> Generated:
    # A scanner's grid does not lie along the part's axes.
    axis = rng.normal(size=3)
    tilt = Rotation.from_rotvec(rng.uniform(0.1, 0.25) * axis / np.linalg.norm(axis)).as_matrix()
    corners = np.array([[box[i][0], box[j][1], box[k][2]] for i, j, k in np.ndindex(2, 2, 2)])
    corners = corners @ tilt
    vertices, faces = surface_mesh.grid_surface(
        lambda q: solid(q @ tilt.T), corners.min(axis=0), corners.max(axis=0), spacing
    )
    vertices = vertices @ tilt.T
    vertices = surface_mesh.onto(solid, vertices, rounds=2, longest=0.3 * spacing)
    normals = surface_mesh.unit(surface_mesh.gradient(solid, vertices))
    middle = vertices[faces].mean(axis=1)
    ragged = make_demo._wave(middle, 6.0, seed)
    keep = np.ones(len(faces), dtype=bool)
    for at in rng.choice(len(faces), size=int(rng.integers(5, 14)), replace=False):
        size = rng.uniform(3.0, 11.0)
        keep &= np.linalg.norm(middle - middle[at], axis=1) > size * (1 + 0.25 * ragged)
    missing = drawn.get("unseen_deg", 0.0)
    if missing:
        clock = np.degrees(np.arctan2(middle[:, 0], middle[:, 1])) % 360
        outer = np.hypot(middle[:, 0], middle[:, 1]) > 0.8 * box[1][0] - 22
        keep &= ~(outer & (clock < missing + 4 * ragged))
    faces = faces[keep]
    sigma = rng.uniform(0.02, 0.06)
    values = rng.standard_normal(len(vertices))
    edges = np.unique(np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    n = len(vertices)
    ones = np.ones(2 * len(edges))
    ring = coo_matrix((ones, (edges.T.ravel(), edges[:, ::-1].T.ravel())), shape=(n, n)).tocsr()
    degree = np.maximum(np.asarray(ring.sum(axis=1)).ravel(), 1.0)
    for _ in range(3):
        values = 0.5 * values + 0.5 * (ring @ values) / degree
    used = np.unique(faces)
    values *= sigma / values[used].std()
    points = vertices + values[:, None] * normals
    index = np.full(n, -1)
    index[used] = np.arange(len(used))
    points, faces = points[used], index[faces].astype(np.int32)
    real = len(faces)
    loose, flakes = make_demo._specks(rng, points.min(axis=0), points.max(axis=0))
    faces = np.concatenate([faces, flakes + len(points)]).astype(np.int32)
    points = np.concatenate([points, loose])
    turn = Rotation.from_quat(rng.normal(size=4)).as_matrix()
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = turn, rng.uniform(-400, 400, 3)
    z = points[faces].mean(axis=1)[:, 2]
    drawn = drawn | {"sigma_mm": sigma, "spacing_mm": spacing}
    return Generated(
        seed,
        (points - pose[:3, 3]) @ pose[:3, :3],
        faces,
        pose,
        z > features.get("turns above z_mm", -np.inf),
        np.arange(len(faces)) >= real,
        features,
        drawn,
    )


@lru_cache(maxsize=64)
def knuckle(seed: int) -> Generated:
    """A rear knuckle's scan."""
    rng = np.random.default_rng(seed)
    d = draw_knuckle(rng)
    bosses = [c.clock_point(a["reach"], a["clock"], a["z"]) for a in d["arms"]]
    bosses += [x + np.array([0, 0, d["lug_face"] - d["lug_length"] / 2]) for x in lug_centres(d)]
    reach = d["housing_radius"] + 3
    low = np.minimum(np.min(bosses, axis=0) - 32, [-reach, -reach, d["housing_back"] - 66])
    high = np.maximum(np.max(bosses, axis=0) + 32, [reach, reach, 54.0])
    spacing = rng.uniform(2.4, 3.2)
    return _scan(seed, rng, knuckle_solid(d), (low, high), spacing, d, knuckle_features(d))


@lru_cache(maxsize=64)
def wheel(seed: int) -> Generated:
    """A wheel's scan."""
    rng = np.random.default_rng(seed)
    d = draw_wheel(rng)
    rim, w = RIM_DIAMETER[d["code"]] / 2 + 21, 25.4 * d["width_in"] / 2 + 16
    low = np.array([-rim, -rim, -d["inset"] - w])
    high = np.array([rim, rim, max(-d["inset"] + w, 50.0)])
    spacing = rng.uniform(3.6, 4.6)
    return _scan(seed, rng, wheel_solid(d), (low, high), spacing, d, wheel_features(d))


def main() -> None:
    """Write every scan and its truth into a folder."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for make, seeds in ((knuckle, KNUCKLE_SEEDS), (wheel, WHEEL_SEEDS)):
        for seed in seeds:
            one = make(seed)
            name = f"{make.__name__}_{seed}"
            title = f"{name}, invented part, mm"
            data = make_demo.stl_bytes(one.vertices, one.faces, title)
            (folder / f"{name}.stl").write_bytes(data)
            truth = {
                "part_from_scan": one.part_from_scan.tolist(),
                "features": one.features,
                "drawn": one.drawn,
            }
            (folder / f"{name}.json").write_text(json.dumps(truth, indent=1), encoding="utf-8")
            print(f"{name}: {len(one.faces)} triangles")


if __name__ == "__main__":
    main()
