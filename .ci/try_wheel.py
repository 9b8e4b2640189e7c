"""Try an installed wheel as a user would: from another folder, on meshes of their own."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

Point = tuple[float, float, float]


def box(low: Point, high: Point) -> Iterator[tuple[Point, Point, Point]]:
    """Give the twelve triangles of a box, counter-clockwise seen from outside."""
    corners = [
        (x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])
    ]
    for a, b, c, d in (
        (0, 1, 3, 2),
        (4, 6, 7, 5),
        (0, 4, 5, 1),
        (2, 3, 7, 6),
        (0, 2, 6, 4),
        (1, 5, 7, 3),
    ):
        yield corners[a], corners[b], corners[c]
        yield corners[a], corners[c], corners[d]


def write_stl(path: Path, low: Point, high: Point) -> None:
    """Write a box as a binary STL."""
    triangles = list(box(low, high))
    data = b"a box".ljust(80) + struct.pack("<I", len(triangles))
    for triangle in triangles:
        numbers = [0.0, 0.0, 0.0, *(x for corner in triangle for x in corner)]
        data += struct.pack("<12fH", *numbers, 0)
    path.write_bytes(data)


def main() -> int:
    """Run the command named on the command line in the folder named after it."""
    program, folder = sys.argv[1], Path(sys.argv[2])
    folder.mkdir(parents=True)
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    problems = []

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        start = time.perf_counter()
        done = subprocess.run(
            [program, *arguments],
            check=False,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
        )
        seconds = time.perf_counter() - start
        print(f"$ clearturn {' '.join(arguments)}   (exit {done.returncode}, {seconds:.1f} s)")
        print(done.stdout + done.stderr, end="")
        return done

    def expect(what: str, held: bool) -> None:
        if not held:
            problems.append(what)

    done = run("--version")
    expect("--version answers", done.returncode == 0 and done.stdout.startswith("clearturn "))

    # Corners of the outer box pass at a radius of 20·√2 = 28.284; the inner face stands at 40.
    write_stl(folder / "turning.stl", (-20, -20, -5), (20, 20, 5))
    write_stl(folder / "fixed.stl", (40, -10, -5), (50, 10, 5))
    done = run("gap", "fixed.stl", "turning.stl", "--turns", "second", "--json")
    answer = json.loads(done.stdout) if done.returncode == 0 else {}
    limits = answer.get("gap_mm", {"lower": 0, "upper": 0})
    true_gap = 40 - 20 * 2**0.5
    expect("the turning gap is right", limits["lower"] <= true_gap <= limits["upper"])
    expect("the interval is narrow", 0 <= limits["upper"] - limits["lower"] <= 0.001 + 1e-11)
    expect("stderr is quiet in a pipe", done.stderr == "")

    done = run("gap", "fixed.stl", "turning.stl", "--json")
    answer = json.loads(done.stdout) if done.returncode == 0 else {}
    limits = answer.get("gap_mm", {"lower": 0, "upper": 0})
    expect("the still gap is right", limits["lower"] <= 20 <= limits["upper"])

    done = run("gap", "fixed.stl", "absent.stl")
    expect("an absent file is bad input", done.returncode == 2 and done.stderr.count("\n") == 1)

    done = run("demo")
    expect("demo without its scans is bad input", done.returncode == 2)
    expect("and says so in one sentence", done.stderr.count("\n") == 1 and done.stdout == "")

    for problem in problems:
        print(f"NOT SO: {problem}")
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
