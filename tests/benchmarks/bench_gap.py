"""The gap engine against coal, interleaved in one process; ratios of the least times.

    python tests/benchmarks/bench_gap.py [--rounds N] [--json FILE] [--growth]

The peer is used as well as it can be: its trees are built once, and over the turn one result is
kept, so that the best so far prunes every later angle.  Ours answers unsigned, as the peer does;
the signed answer (with containment) is timed beside it.  A ratio is peer / ours.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from clearturn.gap import Z_AXIS, still_gap, turning_gap
from clearturn.gap.meridian import meridian_image
from clearturn.gap.still import still_distance
from clearturn.gap.tree import space_tree
from clearturn.gap.turning import turning_distance
from clearturn.mesh import Mesh, join

NEEDED = {"turn, one shot": 80.0, "turn, wheel kept": 20.0, "still, with build": 20.0}
EYE = np.eye(4)
ANGLES = 360


def lathe(profile: list[tuple[float, float]], edge: float) -> Mesh:
    """A closed profile turned about z, edges about `edge`."""
    points = []
    for (r0, z0), (r1, z1) in zip(profile, profile[1:] + profile[:1], strict=True):
        n = max(1, round(math.hypot(r1 - r0, z1 - z0) / edge))
        points += [(r0 + (r1 - r0) * k / n, z0 + (z1 - z0) * k / n) for k in range(n)]
    section = np.array(points)
    around = max(3, round(2 * math.pi * section[:, 0].mean() / edge))
    angle = np.linspace(0, 2 * np.pi, around, endpoint=False)
    v = np.stack(
        [
            np.outer(np.cos(angle), section[:, 0]),
            np.outer(np.sin(angle), section[:, 0]),
            np.broadcast_to(section[:, 1], (around, len(section))),
        ],
        axis=2,
    ).reshape(-1, 3)
    m = len(section)
    s, i = np.meshgrid(np.arange(around), np.arange(m), indexing="ij")
    t, j = (s + 1) % around, (i + 1) % m
    a, b, c, d = s * m + i, t * m + i, t * m + j, s * m + j
    f = [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    return Mesh(v, np.concatenate(f))


def block(r: tuple, z: tuple, arc: tuple, edge: float, rise: float = 0.0) -> Mesh:
    """An arc of rectangular section, all six sides meshed evenly; z grows by `rise` per mm of r."""
    steps = (
        max(1, round((r[1] - r[0]) / edge)),
        max(1, round((arc[1] - arc[0]) * 0.5 * (r[0] + r[1]) / edge)),
        max(1, round((z[1] - z[0]) / edge)),
    )
    low = np.array([r[0], arc[0], z[0]])
    size = np.array([r[1] - r[0], arc[1] - arc[0], z[1] - z[0]])
    points, faces, count = [], [], 0
    for across in range(3):
        u, v = (across + 1) % 3, (across + 2) % 3
        nu, nv = steps[u], steps[v]
        gu, gv = np.meshgrid(np.arange(nu + 1) / nu, np.arange(nv + 1) / nv, indexing="ij")
        i, j = np.meshgrid(np.arange(nu), np.arange(nv), indexing="ij")
        a = i * (nv + 1) + j
        quads = np.stack([a, a + nv + 1, a + nv + 2, a + 1], -1).reshape(-1, 4)
        for side in (0.0, 1.0):
            p = np.zeros((gu.size, 3))
            p[:, across], p[:, u], p[:, v] = side, gu.ravel(), gv.ravel()
            points.append(low + p * size)
            q = quads if side else quads[:, ::-1]
            faces += [q[:, [0, 1, 2]] + count, q[:, [0, 2, 3]] + count]
            count += gu.size
    p = np.concatenate(points)
    p[:, 2] += rise * (p[:, 0] - r[0])
    v = np.c_[p[:, 0] * np.cos(p[:, 1]), p[:, 0] * np.sin(p[:, 1]), p[:, 2]]
    # Sides meet in equal points: weld them, so that noise does not tear them apart.
    used, inverse = np.unique(v.round(9), axis=0, return_inverse=True)
    return Mesh(used, inverse.reshape(-1)[np.concatenate(faces)])


def noisy(mesh: Mesh, seed: int, sigma: float = 0.03) -> Mesh:
    """Scan noise, single precision as in a file."""
    step = np.random.default_rng(seed).normal(0, sigma, mesh.vertices.shape)
    return Mesh((mesh.vertices + step).astype(np.float32).astype(float), mesh.faces)


def wheel(edge: float) -> Mesh:
    """An invented wheel: tapered barrel with drop centre, and five thick spokes."""
    barrel = [(235, -108), (236, 70), (229, 70), (221, 0), (219, -60), (228, -108)]
    parts = [lathe(barrel, edge)]
    for k in range(5):
        middle = 2 * math.pi * k / 5
        parts.append(block((60, 224), (14, 40), (middle, middle + 0.35), edge, rise=0.06))
    return noisy(join(parts), 1)


def caliper(edge: float) -> Mesh:
    """An invented caliper: a bridge and two bodies round a ring."""
    arc = (0.3, 1.6)
    parts = [
        block((192, 214), (-95, 12), arc, edge),
        block((120, 206), (-18, 15), arc, edge),
        block((120, 206), (-95, -62), arc, edge),
    ]
    return noisy(join(parts), 2)


def coal_model(mesh: Mesh) -> Any:
    """Return the peer's tree over a mesh."""
    import coal

    model = coal.BVHModelOBBRSS()
    model.beginModel(len(mesh.faces), len(mesh.vertices))
    points = coal.StdVec_Vec3s()
    for p in mesh.vertices:
        points.append(p)
    triangles = coal.StdVec_Triangle()
    for a, b, c in mesh.faces:
        triangles.append(coal.Triangle(int(a), int(b), int(c)))
    build = time.perf_counter()
    model.addSubModel(points, triangles)
    model.endModel()
    return model, time.perf_counter() - build


def coal_turn(a: Any, b: Any, angles: int) -> float:
    """Least distance over stepped angles, the best so far carried over."""
    import coal

    result = coal.DistanceResult()
    request = coal.DistanceRequest(False)
    here, there = coal.Transform3s.Identity(), coal.Transform3s()
    best = math.inf
    for k in range(angles):
        c, s = math.cos(2 * math.pi * k / angles), math.sin(2 * math.pi * k / angles)
        there.setRotation(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]))
        best = min(best, coal.distance(a, here, b, there, request, result))
    return best


def timed(work: Callable[[], Any], into: list[float]) -> Any:
    """Run, remember the time, return the answer."""
    start = time.perf_counter()
    answer = work()
    into.append(time.perf_counter() - start)
    return answer


def fresh(mesh: Mesh) -> Mesh:
    """The same mesh with nothing kept."""
    return Mesh(mesh.vertices, mesh.faces)


def moved(k: int) -> np.ndarray:
    """A small move of the caliper, another for every k."""
    pose = np.eye(4)
    pose[:3, 3] = (0.03 * (k % 3), 0.02 * (k % 2), -0.02)
    return pose


def run(rounds: int) -> dict[str, Any]:
    """Measure and return all numbers."""
    small, large = caliper(1.4), wheel(1.1)
    turning_distance(fresh(small), fresh(large), Z_AXIS, EYE, EYE, tolerance_mm=1e-3)
    turning_gap(fresh(small), fresh(large))
    still_gap(fresh(small), fresh(large))
    names = (
        "coal build", "coal 360", "coal still", "ours one shot", "ours prepare wheel",
        "ours wheel kept", "ours still with build", "ours one shot signed",
    )  # fmt: skip
    times: dict[str, list[float]] = {name: [] for name in names}
    kept_small, kept_large = fresh(small), fresh(large)
    space_tree(kept_small)
    meridian_image(kept_large, Z_AXIS)
    for k in range(rounds):
        (a, build_a), (b, build_b) = coal_model(small), coal_model(large)
        times["coal build"].append(build_a + build_b)
        stepped = timed(lambda a=a, b=b: coal_turn(a, b, ANGLES), times["coal 360"])
        peer_still = timed(lambda a=a, b=b: coal_turn(a, b, 1), times["coal still"])
        for j in range(3):
            one, two = fresh(small), fresh(large)
            ours = timed(
                lambda one=one, two=two: turning_distance(
                    one, two, Z_AXIS, EYE, EYE, tolerance_mm=1e-3
                ),
                times["ours one shot"],
            )
            two = fresh(large)
            timed(lambda two=two: meridian_image(two, Z_AXIS), times["ours prepare wheel"])
            pose = moved(3 * k + j)
            timed(
                lambda pose=pose: turning_distance(
                    kept_small, kept_large, Z_AXIS, pose, EYE, tolerance_mm=1e-3
                ),
                times["ours wheel kept"],
            )
            one, two = fresh(small), fresh(large)
            still = timed(
                lambda one=one, two=two: still_distance(one, two, EYE, tolerance_mm=1e-3),
                times["ours still with build"],
            )
            one, two = fresh(small), fresh(large)
            timed(lambda one=one, two=two: turning_gap(one, two), times["ours one shot signed"])
    least = {name: min(values) for name, values in times.items()}
    if not ours.lower_mm <= stepped + 1e-9:
        raise SystemExit("our lower end lies above a distance the peer found")
    if abs(still[0] - peer_still) > 1e-9:
        raise SystemExit("the still distances differ")
    build, turn = least["coal build"], least["coal 360"]
    return {
        "triangles": [len(small.faces), len(large.faces)],
        "gap_mm": [ours.lower_mm, ours.upper_mm],
        "stepped_above_ours_um": (stepped - ours.upper_mm) * 1e3,
        "seconds": least,
        "ratio": {
            "turn, one shot": (build + turn) / least["ours one shot"],
            "turn, one shot, signed": (build + turn) / least["ours one shot signed"],
            "turn, wheel kept": turn / least["ours wheel kept"],
            "still, with build": (build + least["coal still"]) / least["ours still with build"],
        },
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def growth() -> list[dict[str, float]]:
    """One-shot and kept times for wheels of 50 k to 5 M triangles."""
    rows = []
    small = caliper(1.4)
    for edge in (4.9, 2.5, 1.55, 1.1, 0.77, 0.49):
        large = wheel(edge)
        once, keep, kept = [], [], []
        for k in range(5):
            a, b = fresh(small), fresh(large)
            timed(
                lambda a=a, b=b: turning_distance(a, b, Z_AXIS, EYE, EYE, tolerance_mm=1e-3), once
            )
            timed(lambda b=b: meridian_image(b, Z_AXIS), keep)
            space_tree(a)
            for j in range(3):
                pose = moved(3 * k + j)
                timed(
                    lambda a=a, b=b, pose=pose: turning_distance(
                        a, b, Z_AXIS, pose, EYE, tolerance_mm=1e-3
                    ),
                    kept,
                )
        rows.append(
            {
                "triangles": len(large.faces),
                "one_shot_s": min(once),
                "prepare_s": min(keep),
                "kept_s": min(kept),
            }
        )
        print(json.dumps(rows[-1]), file=sys.stderr)
    return rows


def main() -> int:
    """Run, print a table, fail below the needed ratios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--growth", action="store_true")
    given = parser.parse_args()
    found = {"growth": growth()} if given.growth else run(given.rounds)
    text = json.dumps(found, indent=1)
    print(text)
    if given.json:
        given.json.write_text(text + "\n")
    short = {k: v for k, v in NEEDED.items() if found.get("ratio", {}).get(k, v) < v}
    for name, needed in short.items():
        print(f"{name}: {found['ratio'][name]:.1f}, needed {needed}", file=sys.stderr)
    return 1 if short else 0


if __name__ == "__main__":
    raise SystemExit(main())
