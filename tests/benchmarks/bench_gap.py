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


def lathe(profile: list[tuple[float, float]], edge: float, arc: float = 2 * np.pi) -> Mesh:
    """A closed profile turned about z (over an arc, its ends left to caps), edges about `edge`."""
    points = []
    for (r0, z0), (r1, z1) in zip(profile, profile[1:] + profile[:1], strict=True):
        n = max(1, round(math.hypot(r1 - r0, z1 - z0) / edge))
        points += [(r0 + (r1 - r0) * k / n, z0 + (z1 - z0) * k / n) for k in range(n)]
    section = np.array(points)
    around = max(3, round(arc * section[:, 0].mean() / edge))
    closed = arc >= 2 * np.pi - 1e-9
    angle = np.linspace(0, arc, around, endpoint=not closed)
    v = np.stack(
        [
            np.outer(np.cos(angle), section[:, 0]),
            np.outer(np.sin(angle), section[:, 0]),
            np.broadcast_to(section[:, 1], (around, len(section))),
        ],
        axis=2,
    ).reshape(-1, 3)
    m = len(section)
    s, i = np.meshgrid(np.arange(around if closed else around - 1), np.arange(m), indexing="ij")
    t, j = (s + 1) % around, (i + 1) % m
    a, b, c, d = s * m + i, t * m + i, t * m + j, s * m + j
    f = [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    if not closed:
        fan = np.stack([np.zeros(m - 2, int), np.arange(2, m), np.arange(1, m - 1)], -1)
        f += [fan, fan[:, ::-1] + (around - 1) * m]
    return Mesh(v, np.concatenate(f))


def noisy(mesh: Mesh, seed: int, sigma: float = 0.03) -> Mesh:
    """Scan noise, single precision as in a file."""
    step = np.random.default_rng(seed).normal(0, sigma, mesh.vertices.shape)
    return Mesh((mesh.vertices + step).astype(np.float32).astype(float), mesh.faces)


def wheel(edge: float) -> Mesh:
    """An invented wheel: tapered barrel with drop centre, and five thick spokes as arcs."""
    barrel = [(235, -108), (236, 70), (229, 70), (221, 0), (219, -60), (228, -108)]
    parts = [lathe(barrel, edge)]
    spoke = [(222, 30), (222, 62), (60, 40), (60, 12), (130, 17)]
    for k in range(5):
        c, s = math.cos(2 * math.pi * k / 5), math.sin(2 * math.pi * k / 5)
        turn = np.array([[c, -s, 0, 0], [s, c, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]])
        parts.append(lathe(spoke, edge, 0.35).moved(turn))
    return noisy(join(parts), 1)


def caliper(edge: float) -> Mesh:
    """An invented caliper: a hollow arc round a ring."""
    section = [
        (120, -95), (214, -95), (214, 12), (206, 15), (125, 15),
        (125, -18), (192, -18), (192, -62), (120, -62),
    ]  # fmt: skip
    return noisy(lathe(section[::-1], edge, 1.3), 2)


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
    small, large = caliper(1.55), wheel(1.02)
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
    small = caliper(1.55)
    for edge in (4.6, 2.3, 1.45, 1.02, 0.72, 0.46):
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
