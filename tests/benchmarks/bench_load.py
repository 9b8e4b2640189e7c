"""Reading and cleaning against peers, interleaved in one process.

    python tests/benchmarks/bench_load.py [--rounds N] [--json FILE]

Needs `stl-reader` (extra "bench").  Meshes are made in a temporary folder: a noisy tube of 1 and
of 5 million triangles, in the order a scanner would write them and shuffled.  Each round runs every
peer once; the ratio is peer / ours of the least times, since other work on the machine only adds.
Peak memory is measured in a process of its own for each reader.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

Case = dict[str, Callable[[], Any]]

NEEDED = {"load 1M": 2.0, "load 5M": 1.3, "clean 1M / numpy": 1.8, "clean 1M / trimesh": 10.0}


def tube(triangles: int) -> tuple[np.ndarray, np.ndarray]:
    """Return points and faces of a closed ring with noise, single precision, like a scan."""
    around = int((triangles / 2 / 0.35) ** 0.5)
    along = triangles // 2 // around
    u, v = np.meshgrid(np.arange(around), np.arange(along), indexing="ij")
    turn, section = u * 2 * np.pi / around, v * 2 * np.pi / along
    r = 220 + 12 * np.cos(section)
    points = np.stack([r * np.cos(turn), r * np.sin(turn), 90 * np.sin(section)], -1).reshape(-1, 3)
    points += np.random.default_rng(0).normal(0, 0.02, points.shape)
    i, j = (u + 1) % around, (v + 1) % along
    a, b, c, d = u * along + v, i * along + v, i * along + j, u * along + j
    faces = np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], 2).reshape(-1, 3)
    return points.astype(np.float32).astype(np.float64), faces.astype(np.int32)


def write_stl(path: Path, points: np.ndarray, faces: np.ndarray) -> None:
    """Write a binary STL."""
    records = np.zeros(len(faces), [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = points[faces]
    head = b"a benchmark".ljust(80) + np.uint32(len(faces)).tobytes()
    path.write_bytes(head + records.tobytes())


def dirty(points: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Plant 200 loose pieces, 2000 degenerate and 3000 duplicate faces, and shuffle."""
    rng = np.random.default_rng(5)
    parts, shapes, count = [points], [faces.astype(np.int64)], len(points)
    for _ in range(200):
        parts.append(rng.normal(0, 1, (4, 3)) + rng.uniform(-300, 300, 3))
        shapes.append(np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]]) + count)
        count += 4
    flat = faces[rng.integers(0, len(faces), 2000)].copy()
    flat[:, 2] = flat[:, 1]
    twice = faces[rng.integers(0, len(faces), 3000)].copy()
    twice[::2] = twice[::2, ::-1]
    whole = np.concatenate([*shapes, flat, twice])
    return np.concatenate(parts), whole[rng.permutation(len(whole))].astype(np.int32)


def clean_numpy(points: np.ndarray, faces: np.ndarray) -> tuple[int, int]:
    """Do it with numpy and scipy: sort, unique, connected components."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    a, b, c = faces.T
    good = faces[(a != b) & (b != c) & (a != c)]
    s = np.sort(good, axis=1).astype(np.uint64)
    key = (s[:, 0] << np.uint64(42)) | (s[:, 1] << np.uint64(21)) | s[:, 2]
    good = good[np.sort(np.unique(key, return_index=True)[1])]
    pairs = np.concatenate([good[:, :2], good[:, 1:]])
    shape = (len(points), len(points))
    graph = coo_matrix((np.ones(len(pairs), np.bool_), (pairs[:, 0], pairs[:, 1])), shape=shape)
    labels = connected_components(graph, directed=False)[1]
    return len(good), len(np.unique(labels[good[:, 0]]))


def clean_trimesh(points: np.ndarray, faces: np.ndarray) -> tuple[int, int]:
    """Do it with trimesh."""
    import trimesh

    mesh = trimesh.Trimesh(points, faces, process=False)
    mesh.update_faces(mesh.nondegenerate_faces())
    mesh.update_faces(mesh.unique_faces())
    count = len(mesh.faces)
    labels = trimesh.graph.connected_component_labels(mesh.face_adjacency, node_count=count)
    return count, int(labels.max()) + 1


def clean_ours(mesh: Any) -> tuple[int, int]:
    """Do it with this library."""
    from clearturn.scan import DropBadTriangles, clean
    from clearturn.scan.inventory import label_pieces

    result = clean(mesh, [DropBadTriangles()])
    states = np.zeros(len(result.mesh.faces), np.uint8)
    return len(result.mesh.faces), label_pieces(result.mesh, states)[0]


def interleaved(cases: Case, rounds: int) -> dict[str, list[float]]:
    """Run every case once a round; return the times."""
    times: dict[str, list[float]] = {name: [] for name in cases}
    for _ in range(rounds + 1):
        for name, work in cases.items():
            gc.collect()
            start = time.perf_counter()
            work()
            times[name].append(time.perf_counter() - start)
    return {name: values[1:] for name, values in times.items()}  # the first one warms up


def peak_mb(path: Path) -> float:
    """Return the peak memory of a process that reads this file once (Linux)."""
    code = (
        "import sys\n"
        "from clearturn.scan import read_scan\n"
        "scan = read_scan(sys.argv[1])\n"
        # not getrusage, which starts from the parent's peak
        "status = open('/proc/self/status').read()\n"
        "print(int(status.split('VmHWM:')[1].split()[0]) / 1024)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def bench_load(folder: Path, rounds: int) -> dict[str, Any]:
    """Time reading and welding."""
    import stl_reader

    from clearturn.scan import read_scan
    from clearturn.scan.source import open_source
    from clearturn.scan.stl import read_stl

    found: dict[str, Any] = {}
    for name, triangles, mixed in (
        ("load 1M", 1_000_000, False),
        ("load 5M", 5_000_000, False),
        ("load 1M shuffled", 1_000_000, True),
    ):
        points, faces = tube(triangles)
        if mixed:
            faces = faces[np.random.default_rng(1).permutation(len(faces))]
        path = folder / f"{name.replace(' ', '-')}.stl"
        write_stl(path, points, faces)
        cases: Case = {
            "peer": lambda path=path: stl_reader.read(str(path)),
            "ours": lambda path=path: read_stl(open_source(path)),
            "ours with hash and checks": lambda path=path: read_scan(path),
        }
        times = interleaved(cases, rounds)
        size_mb = path.stat().st_size / 2**20
        found[name] = {
            "seconds": {case: min(values) for case, values in times.items()},
            "ratio": min(times["peer"]) / min(times["ours"]),
            "ratio with hash and checks": (
                min(times["peer"]) / min(times["ours with hash and checks"])
            ),
            "file_mb": size_mb,
            "peak_mb": peak_mb(path),
            "peak_allowed_mb": 2.5 * size_mb + 200,
        }
    return found


def bench_clean(rounds: int) -> dict[str, Any]:
    """Time finding bad triangles, leaving them out and counting pieces."""
    from clearturn.mesh import Mesh

    points, faces = dirty(*tube(1_000_000))
    points.flags.writeable = False
    faces.flags.writeable = False
    mesh = Mesh(points, faces)
    assert clean_ours(mesh) == clean_numpy(points, faces)
    quick = interleaved(
        {"numpy": lambda: clean_numpy(points, faces), "ours": lambda: clean_ours(mesh)}, rounds
    )
    slow = interleaved(
        {"trimesh": lambda: clean_trimesh(points, faces), "ours": lambda: clean_ours(mesh)}, 2
    )
    return {
        "clean 1M / numpy": {
            "seconds": {name: min(values) for name, values in quick.items()},
            "ratio": min(quick["numpy"]) / min(quick["ours"]),
        },
        "clean 1M / trimesh": {
            "seconds": {name: min(values) for name, values in slow.items()},
            "ratio": min(slow["trimesh"]) / min(slow["ours"]),
        },
    }


def main() -> int:
    """Run all; return 1 if a ratio or a peak misses its mark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found = {**bench_load(Path(folder), options.rounds), **bench_clean(options.rounds)}
    missed = 0
    for name, row in found.items():
        seconds = ", ".join(f"{case} {value:.3f} s" for case, value in row["seconds"].items())
        needed = NEEDED.get(name)
        mark = "" if needed is None else f" (needed: {needed})"
        print(f"{name}: {row['ratio']:.2f} ×{mark}; {seconds}")
        missed += needed is not None and row["ratio"] < needed
        if "peak_mb" in row:
            print(f"  peak {row['peak_mb']:.0f} MB, allowed {row['peak_allowed_mb']:.0f} MB")
            missed += row["peak_mb"] > row["peak_allowed_mb"]
    if options.json:
        load = os.getloadavg() if hasattr(os, "getloadavg") else None
        options.json.write_text(json.dumps({"load": load, **found}, indent=1))
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
