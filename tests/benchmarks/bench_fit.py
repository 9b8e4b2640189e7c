"""Robust cylinder and plane on 100 000 points against general-purpose peers, in one run.

Run ``python tests/benchmarks/bench_fit.py``.  Times are processor seconds, least of interleaved
repeats; the peer starts from good values, ours finds its own.  Peers: scipy's
``least_squares(loss="cauchy")``; trimesh's ``plane_fit``, which is not robust, against our plain
plane on a face without outliers; open3d's plane segmentation where it is installed.
"""

from __future__ import annotations

import importlib
import importlib.util
import math
import time
from collections.abc import Callable

import numpy as np
from scipy.optimize import least_squares
from trimesh.points import plane_fit

from clearturn.datum import CylinderFit, PlaneFit, fit_cylinder, fit_plane
from clearturn.datum.shape import frame_along

REPEATS = 7
AXIS = np.array([0.3, -0.2, 0.93]) / np.linalg.norm([0.3, -0.2, 0.93])
PLACE = np.array([120.0, -40.0, 300.0])
RADIUS = 36.0


def cloud() -> tuple[np.ndarray, np.ndarray]:
    """Return a bore over 200° with 20 % burrs on its inside, and a face with 25 % outliers."""
    rng = np.random.default_rng(3)
    n = 100_000
    frame = frame_along(AXIS)
    turn = rng.uniform(0, math.radians(200), n)
    r = RADIUS + rng.normal(0, 0.02, n)
    bad = rng.random(n) < 0.2
    r[bad] -= rng.uniform(0.1, 3, bad.sum())
    bore = np.stack([r * np.cos(turn), r * np.sin(turn), rng.uniform(-20, 20, n)], axis=1)
    height = rng.normal(0, 0.02, n)
    bad = rng.random(n) < 0.25
    height[bad] += rng.uniform(0.1, 5, bad.sum())
    face = np.column_stack([rng.uniform(-30, 30, (n, 2)), height])
    return bore @ frame + PLACE, face @ frame + PLACE


def peer_cylinder(points: np.ndarray) -> float:
    """Return the radius by scipy, from a start 0.02 rad, 0.5 mm and 1 mm off."""
    e1, e2, axis = frame_along(AXIS + 0.02 * frame_along(AXIS)[0])
    origin = PLACE + np.array([0.5, -0.5, 0.3])

    def distances(x: np.ndarray) -> np.ndarray:
        a = axis + x[2] * e1 + x[3] * e2
        a = a / np.linalg.norm(a)
        v = points - (origin + x[0] * e1 + x[1] * e2)
        v = v - np.outer(v @ a, a)
        return np.sqrt(np.einsum("ij,ij->i", v, v)) - x[4]

    answer = least_squares(distances, [0, 0, 0, 0, 35.0], loss="cauchy", f_scale=0.03)
    return float(answer.x[4])


def timed(work: Callable[[], object]) -> tuple[float, object]:
    """Return processor seconds (all threads) and the answer."""
    start = time.process_time()
    answer = work()
    return time.process_time() - start, answer


def main() -> None:
    """Print times, ratios and errors."""
    bore, face = cloud()
    fit_cylinder(bore[:5000], robust=True)  # compiled code loaded
    fit_plane(face[:5000], robust=True)
    ours, bare, plane, peer, seg = [], [], [], [], []
    plain, others = [], []
    clean = face[np.abs((face - PLACE) @ AXIS) < 0.1]
    segment = _segmenter(face)
    for _ in range(REPEATS):
        peer.append(timed(lambda: peer_cylinder(bore)))
        ours.append(timed(lambda: fit_cylinder(bore, robust=True)))
        bare.append(timed(lambda: fit_cylinder(bore, robust=True, correlation=False)))
        plane.append(timed(lambda: fit_plane(face, robust=True, correlation=False)))
        plain.append(timed(lambda: fit_plane(clean, correlation=False)))
        others.append(timed(lambda: plane_fit(clean)))
        if segment is not None:
            seg.append(timed(segment))
    base = min(t for t, _ in peer)
    fit, flat = ours[0][1], plane[0][1]
    assert isinstance(fit, CylinderFit)
    assert isinstance(flat, PlaneFit)
    off = np.linalg.norm(np.cross(PLACE - fit.point_mm, AXIS))
    print(f"scipy cauchy    {base:.3f} s  radius off {abs(peer_cylinder(bore) - 36) * 1e3:.2f} um")
    for name, rows in (("with uncertainty", ours), ("fit alone", bare)):
        least = min(t for t, _ in rows)
        print(f"cylinder, {name:<17} {least:.3f} s  {base / least:.0f} x")
    radius = abs(float(fit.radius_mm or 0.0) - RADIUS)
    print(f"  radius off {radius * 1e3:.2f} um, axis off {off * 1e3:.2f} um, {fit.inliers} inliers")
    print(f"plane, fit alone {min(t for t, _ in plane):.3f} s", end="")
    print(f"  height off {abs((flat.point_mm - PLACE) @ AXIS) * 1e3:.2f} um")
    if seg:
        model = np.array(seg[0][1][0])  # type: ignore[index]
        height = abs(float(model[:3] @ PLACE + model[3])) / float(np.linalg.norm(model[:3]))
        least = min(t for t, _ in seg)
        print(f"open3d plane    {least:.3f} s  height off {height * 1e3:.2f} um", end="")
        print(f"  {least / min(t for t, _ in plane):.1f} x")
    least = min(t for t, _ in others)
    print(f"plain plane     {min(t for t, _ in plain):.4f} s  trimesh {least:.4f} s", end="")
    print(f"  {least / min(t for t, _ in plain):.1f} x")


def _segmenter(points: np.ndarray) -> Callable[[], object] | None:
    if importlib.util.find_spec("open3d") is None:
        return None
    open3d = importlib.import_module("open3d")
    cloud = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points))
    return lambda: cloud.segment_plane(0.06, 3, 1000)


if __name__ == "__main__":
    main()
