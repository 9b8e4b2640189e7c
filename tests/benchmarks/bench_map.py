"""Signed distances of many points to a scan against three peers, interleaved in one process.

    python tests/benchmarks/bench_map.py [--rounds N] [--json FILE] [--meshes FOLDER]

Peers: open3d (ray parity for the sign), libigl (unsigned tree; its signed call beside it) and
point-cloud-utils; those that are not installed are left out and said so.  Every round makes all
trees anew.  All our signs are held against the parity of rays in several directions (open3d).
The surface is an invented knuckle with 0.03 mm of noise and cells of 0.6 mm, so that thousands of
its slivers are folded over; the turning case asks the same points against the same surface.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from bench_gap import caliper, wheel

from clearturn.gap import Z_AXIS, surface_distances
from clearturn.gap.corners import image_corners, space_corners
from clearturn.gap.tree import space_tree
from clearturn.mesh import Mesh

NEEDED = {"signed, with build": 3.0}
DIRECTIONS = 7


def knuckle(cell: float, noise: float = 0.03) -> Mesh:
    """An invented knuckle: arms round a bored hub, blended, as a mesh of marching cells."""
    import vtk
    from vtk.util.numpy_support import numpy_to_vtk, vtk_to_numpy

    low, high = np.array([-170.0, -200, -226]), np.array([110.0, 200, -90])
    count = ((high - low) / cell).astype(int) + 1
    axes = [(low[k] + cell * np.arange(count[k])).astype(np.float32) for k in range(3)]
    x, y = axes[0][:, None], axes[1][None, :]
    arms = [
        ((0, 0, -150), (0, 0, -168), 54), ((-36, 8, -142), (-135, 68, -126), 19),
        ((-36, -8, -142), (-135, -68, -126), 19), ((0, 38, -150), (18, 172, -188), 18),
        ((0, -38, -150), (8, -178, -182), 19), ((28, 18, -150), (84, 112, -172), 13),
    ]  # fmt: skip
    field = np.empty((count[2], count[1], count[0]), np.float32)
    for k, z in enumerate(axes[2]):
        blend = sum(np.exp(-np.clip(_capsule(x, y, z, *arm) / 3, -20, 20)) for arm in arms)
        value = np.maximum(-3 * np.log(blend), 36 - np.sqrt(x * x + y * y))
        field[k] = (value + 0.3 * np.sin(x * 0.35) * np.sin(y * 0.31) * np.sin(z * 0.29)).T
    image = vtk.vtkImageData()
    image.SetDimensions(*(int(n) for n in count))
    image.SetSpacing(cell, cell, cell)
    image.SetOrigin(*low)
    image.GetPointData().SetScalars(numpy_to_vtk(field.ravel()))
    edges = vtk.vtkFlyingEdges3D()
    edges.SetInputData(image)
    edges.SetValue(0, 0.0)
    edges.ComputeNormalsOff()
    edges.Update()
    found = edges.GetOutput()
    v = vtk_to_numpy(found.GetPoints().GetData()).astype(float)
    f = vtk_to_numpy(found.GetPolys().GetConnectivityArray()).reshape(-1, 3)
    step = np.random.default_rng(2).normal(0, noise / 3**0.5, v.shape)
    return Mesh((v + step).astype(np.float32).astype(float), f.astype(np.int32), "knuckle")


def _capsule(x: Any, y: Any, z: Any, a: Any, b: Any, radius: float) -> Any:
    """Distance from a rounded rod."""
    d = [np.float32(q - p) for p, q in zip(a, b, strict=True)]
    u = [x - a[0], y - a[1], z - a[2]]
    s = np.clip(sum(p * q for p, q in zip(u, d, strict=True)) / sum(q * q for q in d), 0, 1)
    return np.sqrt(sum((p - s * q) ** 2 for p, q in zip(u, d, strict=True))) - radius


def asked(surface: Mesh) -> np.ndarray:
    """The vertices of a caliper, and among them points all over the knuckle's box: 200 k in all."""
    outer = caliper(1.4).vertices
    low, high = surface.bounds
    rng = np.random.default_rng(4)
    return np.concatenate([outer, rng.uniform(low, high, (200_000 - len(outer), 3))])


def folded(mesh: Mesh) -> int:
    """Edges where the surface turns back by more than a right angle."""
    a, b, c = (mesh.corners[:, k] for k in range(3))
    normal = np.cross(b - a, c - a)
    ends = np.sort(np.concatenate([mesh.faces[:, [i, (i + 1) % 3]] for i in range(3)]), axis=1)
    face = np.tile(np.arange(len(mesh.faces)), 3)
    order = np.lexsort(ends.T)
    same = (ends[order][1:] == ends[order][:-1]).all(axis=1)
    one, two = face[order][:-1][same], face[order][1:][same]
    return int(((normal[one] * normal[two]).sum(axis=1) < 0).sum())


def peers(points: np.ndarray, mesh: Mesh) -> dict[str, Callable[[], Any]]:
    """What each peer that is installed does from bare arrays to distances."""
    v, f = mesh.vertices, mesh.faces
    found: dict[str, Callable[[], Any]] = {}
    try:
        import open3d

        def scene() -> Any:
            made = open3d.t.geometry.RaycastingScene()
            tensor = open3d.core.Tensor
            made.add_triangles(tensor(v.astype(np.float32)), tensor(f.astype(np.uint32)))
            return made.compute_signed_distance(tensor(points.astype(np.float32))).numpy()

        found["open3d, signed"] = scene
    except ImportError as error:
        print(f"without open3d: {error}", file=sys.stderr)
    try:
        import igl

        faces = f.astype(np.int64)

        def unsigned() -> Any:
            tree = igl.AABB()
            tree.init(v, faces)
            return np.sqrt(tree.squared_distance(v, faces, points)[0])

        found["libigl, unsigned"] = unsigned
        found["libigl, signed"] = lambda: igl.signed_distance(
            points, v, faces, sign_type=igl.SIGNED_DISTANCE_TYPE_FAST_WINDING_NUMBER
        )[0]
    except ImportError as error:
        print(f"without libigl: {error}", file=sys.stderr)
    try:
        import point_cloud_utils

        found["point-cloud-utils, signed"] = lambda: point_cloud_utils.signed_distance_to_mesh(
            points, v, f
        )[0]
    except ImportError as error:
        print(f"without point-cloud-utils: {error}", file=sys.stderr)
    return found


def parity(points: np.ndarray, mesh: Mesh) -> np.ndarray | None:
    """Whether each point is inside, by most of several rays; None without open3d."""
    try:
        import open3d
    except ImportError:
        return None
    scene = open3d.t.geometry.RaycastingScene()
    tensor = open3d.core.Tensor
    scene.add_triangles(
        tensor(mesh.vertices.astype(np.float32)), tensor(mesh.faces.astype(np.uint32))
    )
    rng = np.random.default_rng(9)
    votes = np.zeros(len(points), int)
    for _ in range(DIRECTIONS):
        way = rng.normal(size=3)
        rays = np.c_[points, np.tile(way / np.linalg.norm(way), (len(points), 1))]
        votes += scene.count_intersections(tensor(rays.astype(np.float32))).numpy() % 2
    return votes * 2 > DIRECTIONS


def fresh(mesh: Mesh) -> Mesh:
    """The same mesh with nothing kept."""
    return Mesh(mesh.vertices, mesh.faces)


def timed(work: Callable[[], Any], into: list[float]) -> Any:
    """Run, remember the time, return the answer."""
    start = time.perf_counter()
    answer = work()
    into.append(time.perf_counter() - start)
    return answer


def ours(points: np.ndarray, mesh: Mesh, name: str, times: dict[str, list[float]]) -> Any:
    """Still and turning, from nothing and with the trees kept."""
    mesh = fresh(mesh)
    still = timed(lambda: surface_distances(points, mesh), times.setdefault(f"{name}, signed", []))
    timed(lambda: surface_distances(points, mesh), times.setdefault(f"{name}, signed, kept", []))
    mesh = fresh(mesh)
    timed(
        lambda: surface_distances(points, mesh, turning=True),
        times.setdefault(f"{name}, turning", []),
    )
    timed(
        lambda: surface_distances(points, mesh, turning=True),
        times.setdefault(f"{name}, turning, kept", []),
    )
    return still


def run(rounds: int, folder: Path | None) -> dict[str, Any]:
    """Measure and return all numbers."""
    if folder is None:
        surface = knuckle(0.6)
        points, rim = asked(surface), wheel(1.1)
    else:
        made = {n: np.load(folder / f"{n}.npz") for n in ("knuckle1m", "cal400k", "wheel1m")}
        surface = Mesh(made["knuckle1m"]["V"], made["knuckle1m"]["F"])
        points = made["cal400k"]["V"]
        rim = Mesh(made["wheel1m"]["V"], made["wheel1m"]["F"])
    for mesh in (surface, rim):
        few = Mesh(mesh.vertices, mesh.faces)
        surface_distances(points[:3000], few)
        surface_distances(points[:3000], few, turning=True)
        assert space_tree(few)
        assert space_corners(few)
        assert image_corners(few, Z_AXIS)
    others = peers(points, surface)
    times: dict[str, list[float]] = {name: [] for name in others}
    answers = {}
    for _ in range(rounds):
        for name, work in others.items():
            answers[name] = timed(work, times[name])
            ours(points, surface, "knuckle", times)
        mine = ours(points, surface, "knuckle", times)
        ours(points, rim, "wheel", times)
    least = {name: min(values) for name, values in times.items()}
    inside = parity(points, surface)
    apart = {
        name: float(np.abs(np.abs(answer) - np.abs(mine.distance_mm)).max() * 1e3)
        for name, answer in answers.items()
    }
    signed = {n: t for n, t in least.items() if n in others and "unsigned" not in n}
    ratio = {}
    if signed:
        ratio["signed, with build"] = min(signed.values()) / least["knuckle, signed"]
    if "libigl, unsigned" in least:
        ratio["signed against libigl's unsigned"] = (
            least["libigl, unsigned"] / least["knuckle, signed"]
        )
    for name in ("knuckle", "wheel"):
        ratio[f"turning to still, {name}"] = least[f"{name}, signed"] / least[f"{name}, turning"]
        ratio[f"turning to still, {name}, kept"] = (
            least[f"{name}, signed, kept"] / least[f"{name}, turning, kept"]
        )
    return {
        "points": len(points),
        "triangles": {"knuckle": len(surface.faces), "wheel": len(rim.faces)},
        "folded_edges": folded(surface),
        "inside": None if inside is None else int(inside.sum()),
        "wrong_signs": None
        if inside is None
        else int(((mine.distance_mm < 0) != inside)[mine.sign_known].sum()),
        "signs_not_known": int((~mine.sign_known).sum()),
        "largest_difference_um": apart,
        "seconds": least,
        "ratio": ratio,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def main() -> int:
    """Run, print a table, fail below the needed ratios or with a wrong sign."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--meshes", type=Path, help="a folder of knuckle1m, cal400k, wheel1m .npz")
    given = parser.parse_args()
    found = run(given.rounds, given.meshes)
    text = json.dumps(found, indent=1)
    print(text)
    if given.json:
        given.json.write_text(text + "\n")
    short = {k: v for k, v in NEEDED.items() if found["ratio"].get(k, v) < v}
    for name, needed in short.items():
        print(f"{name}: {found['ratio'][name]:.1f}, needed {needed}", file=sys.stderr)
    return 1 if short or found["wrong_signs"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
