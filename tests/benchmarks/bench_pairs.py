"""All pairs of ten parts of a million triangles against reading them into trees, interleaved.

    python tests/benchmarks/bench_pairs.py [--rounds N] [--edge MM] [--json FILE]

Reading a part into trees means its file, its tree in space and, for a part that turns, its meridian
image: what every answer rests on.  A ratio is (that and all pairs) / (that), or, harder, the same
without the files.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from bench_gap import block, fresh, lathe, noisy
from bench_load import write_stl

from clearturn.gap import Z_AXIS, GapPart, KeptGaps, pair_gaps
from clearturn.gap.meridian import meridian_image
from clearturn.gap.tree import space_tree
from clearturn.mesh import Mesh, join
from clearturn.scan import read_scan

NEEDED = 2.0
ENOUGH_MM = 30.0


def corner(edge: float) -> list[GapPart]:
    """Ten invented parts, four that turn and six that do not, each of about a million triangles.

    `edge` is scaled for each so that all have the same count.
    """
    arc = (0.3, 1.6)
    barrel = [(235, -108), (236, 70), (229, 70), (221, 0), (219, -60), (228, -108)]
    makers: list[tuple[str, bool, Callable[[float], Mesh]]] = [
        ("barrel", True, lambda e: lathe(barrel, e)),
        ("spokes", True, lambda e: join(
            [block((60, 218), (14, 40), (1.2566 * k, 1.2566 * k + 0.35), e, 0.06)
             for k in range(5)])),
        ("ring", True, lambda e: lathe([(175, -55), (175, -23), (100, -23), (100, -55)], e)),
        ("hat", True, lambda e: lathe([(98, -40), (98, -2), (38, -2), (38, -9), (88, -40)], e)),
        ("caliper", False, lambda e: join([
            block((184, 212), (-90, 8), arc, e), block((120, 183.5), (-18, 8), arc, e),
            block((120, 183.5), (-90, -60), arc, e)])),
        ("bracket", False, lambda e: block((150, 180), (-120, -95), (0.1, 1.8), e)),
        ("knuckle", False, lambda e: block((30, 120), (-170, -75), (2.2, 5.2), e)),
        ("shield", False, lambda e: block((60, 178), (-72, -70), (2.3, 5.9), e)),
        ("arm", False, lambda e: block((126, 260), (-210, -130), (3.4, 4.3), e)),
        ("damper", False, lambda e: block((120, 180), (-330, -150), (-0.1, 0.2), e)),
    ]  # fmt: skip
    parts = []
    for k, (name, turns, make) in enumerate(makers):
        count = len(make(4.0).faces)
        fine = 4.0 * math.sqrt(count / 1e6) * edge
        parts.append(GapPart(name, noisy(make(fine), k), turns))
    return parts


def bare(parts: list[GapPart]) -> list[GapPart]:
    """The same parts with nothing kept."""
    return [GapPart(one.name, fresh(one.mesh), one.turns, one.pose) for one in parts]


def read(parts: list[GapPart]) -> None:
    """Build what searches rest on."""
    for one in parts:
        space_tree(one.mesh)
        if one.turns:
            meridian_image(one.mesh, Z_AXIS)


def files(parts: list[GapPart], folder: Path) -> list[Path]:
    """Write every part as a binary STL."""
    paths = [folder / f"{one.name}.stl" for one in parts]
    for one, path in zip(parts, paths, strict=True):
        write_stl(path, one.mesh.vertices, one.mesh.faces)
    return paths


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return seconds and answer."""
    start = time.perf_counter()
    answer = work()
    return time.perf_counter() - start, answer


def peak_mb() -> float:
    """Return the greatest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def run(rounds: int, edge: float) -> dict[str, Any]:
    """Measure and return all numbers."""
    parts = corner(edge)
    small = corner(12.0)
    read(bare(small))
    pair_gaps(bare(small), enough_mm=ENOUGH_MM)
    before = peak_mb()
    names = (
        "files", "trees", "all pairs", "all pairs, far ones by bound", "one part moved",
        "none moved",
    )  # fmt: skip
    times: dict[str, list[float]] = {name: [] for name in names}
    memory = {}
    with tempfile.TemporaryDirectory() as folder:
        paths = files(parts, Path(folder))
        for _ in range(rounds):
            seconds, meshes = timed(lambda: [read_scan(path).mesh for path in paths])
            times["files"].append(seconds)
            del meshes
    for k in range(rounds):
        new = bare(parts)
        times["trees"].append(timed(lambda new=new: read(new))[0])
        memory.setdefault("trees_mb", peak_mb() - before)
        if k == 0:
            # Once is enough: far walls of one axis, finely meshed, tie all round.
            new = bare(parts)
            seconds, every = timed(lambda new=new: pair_gaps(new))
            times["all pairs"].append(seconds)
        new, kept = bare(parts), KeptGaps()
        seconds, some = timed(lambda n=new, k=kept: pair_gaps(n, enough_mm=ENOUGH_MM, kept=k))
        times["all pairs, far ones by bound"].append(seconds)
        pose = np.eye(4)
        pose[:3, 3] = (0.4, 0.3, -0.2)
        moved = [GapPart(p.name, p.mesh, p.turns, pose if p.name == "caliper" else None)
                 for p in new]  # fmt: skip
        seconds, _ = timed(lambda m=moved, k=kept: pair_gaps(m, enough_mm=ENOUGH_MM, kept=k))
        times["one part moved"].append(seconds)
        seconds, _ = timed(lambda m=moved, k=kept: pair_gaps(m, enough_mm=ENOUGH_MM, kept=k))
        times["none moved"].append(seconds)
    memory["all_mb"] = peak_mb() - before
    for one, true in zip(some, every, strict=True):
        if one.gap_mm.lower is not None and one.gap_mm.lower > (true.gap_mm.upper or math.inf):
            raise SystemExit(f"the bound of {one.first} and {one.second} lies above their gap")
    least = {name: min(values) for name, values in times.items()}
    return {
        "triangles": {one.name: len(one.mesh.faces) for one in parts},
        "pairs": len(every),
        "by_bound": sum(one.by_bound for one in some),
        "states": {f"{o.first}, {o.second}": f"{o.gap.state}" for o in every if o.gap},
        "seconds": least,
        "ratio": {
            name: (least["files"] + least[name]) / (least["files"] + least["trees"])
            for name in names[2:]
        },
        "ratio without files": {name: least[name] / least["trees"] for name in names[2:]},
        "memory": memory,
    }


def main() -> int:
    """Run, print, fail above the needed ratio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--edge", type=float, default=1.0, help="1 makes a million triangles each")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    found = run(given.rounds, given.edge)
    text = json.dumps(found, indent=1)
    print(text)
    if given.json:
        given.json.write_text(text + "\n")
    ratio = found["ratio"]["all pairs, far ones by bound"]
    if ratio > NEEDED:
        print(f"all pairs took {ratio:.2f} times the trees, needed {NEEDED}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
