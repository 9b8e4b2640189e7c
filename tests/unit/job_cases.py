"""A small made-up corner written as scan files in scanner poses, with every size known.

Everything is a body of revolution made here, by code that shares nothing with the program: hub
with flange, register and bearing housing, one caliper lug with its bore, a rod as posed part, and
a wheel with barrel, disc, pad and bore.
"""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

SPIGOT_RADIUS, FLANGE_RADIUS, HOUSING_RADIUS = 35.0, 74.0, 80.0
LUG_CLOCK_DEG, LUG_RADIUS, LUG_BORE_RADIUS = 303.0, 128.0, 7.25
BARREL_RADIUS, SPOKE_BACK_Z = 208.0, 30.0  # wheel frame
CALIPER_OUTER_RADIUS, FLANGE_MM = 200.0, 8.0
CALIPER_CORNER_MM = 6.0
HAT_OFFSET_MM, OUTBOARD_WIDTH_MM = 38.0, 62.0

WHEEL_STEP_MM = 8.0

HUB_SECTION = [
    (20, -52), (HOUSING_RADIUS, -52), (HOUSING_RADIUS, -16), (60, -16), (60, -12),
    (FLANGE_RADIUS, -12), (FLANGE_RADIUS, 0), (SPIGOT_RADIUS, 0), (SPIGOT_RADIUS, 18), (20, 18),
]  # fmt: skip
WHEEL_SECTION = [
    (35.05, 0), (75, 0), (75, SPOKE_BACK_Z), (BARREL_RADIUS, SPOKE_BACK_Z), (BARREL_RADIUS, -120),
    (216, -120), (216, 60), (35.05, 60),
]  # fmt: skip
LUG_SECTION = [(LUG_BORE_RADIUS, -133), (16, -133), (16, -112), (LUG_BORE_RADIUS, -112)]
ROD_SECTION = [(0.5, -200), (10, -200), (10, -120), (0.5, -120)]


def revolved(section: list[tuple[float, float]], centre=(0.0, 0.0), step: float = 3.0):
    """Triangles (m, 3, 3) of a section (r, z), counter-clockwise, turned about the z axis."""
    points = []
    for (r0, z0), (r1, z1) in zip(section, section[1:] + section[:1], strict=True):
        n = max(1, math.ceil(math.hypot(r1 - r0, z1 - z0) / step))
        points += [(r0 + (r1 - r0) * t, z0 + (z1 - z0) * t) for t in np.arange(n) / n]
    rz = np.array(points)
    turns = max(48, math.ceil(2 * math.pi * rz[:, 0].max() / step))
    angle = 2 * np.pi * np.arange(turns) / turns
    grid = np.empty((turns, len(rz), 3))
    grid[..., 0] = centre[0] + rz[:, 0] * np.sin(angle)[:, None]
    grid[..., 1] = centre[1] + rz[:, 0] * np.cos(angle)[:, None]
    grid[..., 2] = rz[:, 1]
    a = grid
    b = np.roll(grid, -1, axis=1)
    c = np.roll(b, -1, axis=0)
    d = np.roll(grid, -1, axis=0)
    first = np.stack([a, b, c], axis=2).reshape(-1, 3, 3)
    second = np.stack([a, c, d], axis=2).reshape(-1, 3, 3)
    return np.concatenate([first, second])


def pose(seed: int) -> np.ndarray:
    """A random rigid motion, (4, 4)."""
    rng = np.random.default_rng(seed)
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    q *= np.sign(np.linalg.det(q))
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = q, rng.uniform(-300, 300, 3)
    return out


def apply(matrix: np.ndarray, points) -> np.ndarray:
    points = np.asarray(points, dtype=float)
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def write_stl(path: Path, triangles: np.ndarray) -> str:
    """Binary STL; returns its hash."""
    rows = np.zeros(len(triangles), [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    rows["v"] = triangles
    data = b"made up".ljust(80) + np.uint32(len(triangles)).tobytes() + rows.tobytes()
    path.write_bytes(data)
    return hashlib.sha256(data).hexdigest()


def clock_point(radius: float, clock_deg: float, z: float) -> tuple[float, float, float]:
    a = math.radians(clock_deg)
    return radius * math.sin(a), radius * math.cos(a), z


def lug_centre() -> tuple[float, float]:
    x, y, _ = clock_point(LUG_RADIUS, LUG_CLOCK_DEG, 0.0)
    return x, y


def knuckle_pieces() -> list[tuple[str, np.ndarray]]:
    """The pieces of the knuckle scan in the hub frame."""
    return [
        ("hub", revolved(HUB_SECTION, step=4.0)),
        ("lug", revolved(LUG_SECTION, lug_centre(), step=2.0)),
        ("rod", revolved(ROD_SECTION, (150.0, -30.0), step=4.0)),
    ]


def write_corner(folder: Path, *, noise_mm: float = 0.0, seed: int = 5) -> dict[str, Any]:
    """Write knuckle.stl and wheel.stl, and return the job as plain JSON data."""
    rng = np.random.default_rng(seed)
    knuckle = np.concatenate([triangles for _, triangles in knuckle_pieces()])
    wheel = revolved(WHEEL_SECTION, step=WHEEL_STEP_MM)
    poses = {"knuckle": pose(seed), "wheel": pose(seed + 1)}
    hashes = {}
    for name, triangles in (("knuckle", knuckle), ("wheel", wheel)):
        corners, inverse = np.unique(triangles.reshape(-1, 3).round(6), axis=0, return_inverse=True)
        corners = corners + rng.normal(scale=noise_mm or 1e-12, size=corners.shape)
        moved = apply(poses[name], corners)[inverse].reshape(-1, 3, 3)
        hashes[name] = write_stl(folder / f"{name}.stl", moved)
    return job_data(poses, hashes)


def job_data(poses: dict[str, np.ndarray], hashes: dict[str, str]) -> dict[str, Any]:
    """The job of this corner."""

    def seed(scan: str, radius: float, clock: float, z: float) -> list[float]:
        return apply(poses[scan], clock_point(radius, clock, z)).tolist()

    x, y = lug_centre()
    bore = [
        apply(poses["knuckle"], (x + LUG_BORE_RADIUS * dx, y + LUG_BORE_RADIUS * dy, -120)).tolist()
        for dx, dy in ((1, 0), (0, 1))
    ]
    corner = {
        "side": "left",
        "scans": [
            {"name": "knuckle", "path": "knuckle.stl", "sha256": hashes["knuckle"]},
            {"name": "wheel", "path": "wheel.stl", "sha256": hashes["wheel"]},
        ],
        "datums": [
            datum("hub face", "knuckle", "plane", [seed("knuckle", 55, 10, 0)]),
            datum("register", "knuckle", "cylinder", [seed("knuckle", 35, 40, 9)]),
            datum("upper lug", "knuckle", "cylinder", bore),
            datum("housing", "knuckle", "cylinder", [seed("knuckle", 80, 90, -30)]),
            datum("pad", "wheel", "plane", [seed("wheel", 55, 10, 0)]),
            datum("centre bore", "wheel", "cylinder", [seed("wheel", 35.05, 10, 30)]),
        ],
        "hub_frame": {
            "plane": "hub face", "axis": "register", "clocking": "upper lug",
            "clock_deg": LUG_CLOCK_DEG, "outboard": poses["knuckle"][:3, 2].tolist(),
        },
        "wheel_frame": {
            "pad": "pad", "bore": "centre bore", "outboard": poses["wheel"][:3, 2].tolist(),
        },
        "seat_stack": {"old_flange_mm": 6.5, "new_flange_mm": FLANGE_MM, "spacer_mm": 0.0},
        "rotor": {
            "ring_outer_diameter_mm": 350.0, "ring_inner_diameter_mm": 222.0,
            "ring_thickness_mm": 34.0, "hat_offset_mm": HAT_OFFSET_MM,
            "flange_thickness_mm": FLANGE_MM, "hat_outer_diameter_mm": 176.0, "hat_wall_mm": 6.0,
            "bore_diameter_mm": 64.0, "bolt_circle_diameter_mm": 112.0, "bolt_count": 5,
            "bolt_hole_diameter_mm": 15.0,
        },
        "caliper": {
            "inner_radius_mm": 112.0, "outer_radius_mm": CALIPER_OUTER_RADIUS,
            "bridge_inner_radius_mm": 178.6, "inboard_width_mm": 68.0,
            "outboard_width_mm": OUTBOARD_WIDTH_MM, "slot_half_width_mm": 27.0, "arc_deg": 74.0,
            "clock_deg": 270.0, "corner_radius_mm": CALIPER_CORNER_MM,
        },
        "weights": {"where": "not in band", "z_from_mm": -125.0, "z_to_mm": 0.0},
        "parts": [
            part("rod", "tie rod", "posed", piece(apply(poses["knuckle"], (160, -30, -150)))),
            part("lug", "knuckle", "fixed", piece(apply(poses["knuckle"], (x + 16, y, -120)))),
            part("hub", "hub", "turns", band(z_from_mm=-14.0)),
            part("housing", "bearing housing", "fixed", rest("knuckle")),
            part("rotor", "rotor", "turns", dimensions="rotor"),
            part("caliper", "caliper", "fixed", dimensions="caliper"),
            part(
                "barrel", "barrel", "turns",
                {"scan": "wheel", "take": [{"by": "band", "band": {"r_from_mm": 207.0}}]},
            ),
            part("spokes", "spokes", "turns", rest("wheel")),
        ],
        "seats": [
            {
                "name": "wheel pad", "part": "spokes", "on": "rotor",
                "band": {"r_to_mm": 75.5, "z_from_mm": 7.5, "z_to_mm": 8.5},
            }
        ],
        "hub_checks": {
            "rotor_register": {
                "shaft": {"source": "scan", "datum": "register", "bias_limit_mm": 0.05},
                "hole": {"source": "dimensions"}, "also_centres": "wheel",
            },
            "housing_in_hat": {
                "shaft": {"source": "scan", "datum": "housing", "bias_limit_mm": 0.05},
                "hole": {"source": "dimensions"},
            },
        },
    }  # fmt: skip
    return {
        "format": "clearturn job", "version": 1, "name": "made-up corner", "invented": True,
        "axles": [{"name": "front", "corner": corner}],
    }  # fmt: skip


def datum(name: str, scan: str, feature: str, seeds: list[list[float]]) -> dict[str, Any]:
    return {"name": name, "scan": scan, "feature": feature, "seeds_mm": seeds}


def part(name, kind, motion, scan=None, dimensions=None) -> dict[str, Any]:
    given = {"scan": scan} if scan else {"dimensions": dimensions}
    return {"name": name, "kind": kind, "motion": motion, **given}


def piece(seed) -> dict[str, Any]:
    return {"scan": "knuckle", "take": [{"by": "piece", "seed_mm": list(map(float, seed))}]}


def band(**limits: float) -> dict[str, Any]:
    return {"scan": "knuckle", "take": [{"by": "band", "band": limits}]}


def rest(scan: str) -> dict[str, Any]:
    return {"scan": scan, "take": [{"by": "rest"}]}


def corner_of(data: dict[str, Any]) -> dict[str, Any]:
    return data["axles"][0]["corner"]


def write_job(folder: Path, data: dict[str, Any], name: str = "job.clearturn.json") -> Path:
    path = folder / name
    path.write_text(json.dumps(data, indent=2), encoding="utf-8")
    return path
