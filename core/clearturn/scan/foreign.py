"""Formats a kept library reads, each in a child process that can be stopped.

PLY, 3MF and GLB go through trimesh; STEP and IGES are cut into triangles by cascadio.  What can
be checked before loading is checked first (`guards`), so that a file that lies about its size is
refused in a sentence; the child's memory limit, in proportion to the file, catches the rest.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from clearturn.errors import FileProblem
from clearturn.findings import Finding
from clearturn.progress import Progress, part, report
from clearturn.scan.guards import check_3mf, check_glb, check_ply, check_solid
from clearturn.scan.model import Raw
from clearturn.scan.source import Source
from clearturn.scan.weld import weld_points

CHILD = Path(__file__).with_name("_child.py")
# Address space: interpreter and libraries reserve about 2 GB of it; a text format grows about
# thirtyfold as Python objects, a packed one about as much again once unpacked.
BASE_MEMORY = 4 << 30
MEMORY_PER_BYTE = 60
PACKED_PER_BYTE = 600
SOLID_MEMORY = 16 << 30
LONGEST_S = 120.0
LONGEST_SOLID_S = 900.0
CHORD_ERROR_MM = 0.01

# The file's own unit was applied.  A STEP solid then comes out in metres, as GLB prescribes; an
# IGES one in millimetres all the same (cascadio 0.1; the tests would notice a change).
_SOLID_TO_MM = {"step": 1000.0, "iges": 1.0}

_GUARDS = {"ply": check_ply, "glb": check_glb, "3mf": check_3mf}
_NAMES = {"ply": "PLY", "glb": "GLB", "3mf": "3MF", "step": "STEP", "iges": "IGES"}
_UNITS_3MF = {
    "micron": "µm", "millimeter": "mm", "millimeters": "mm", "centimeter": "cm", "meter": "m",
    "inch": "in", "foot": "ft",
}  # fmt: skip


def read_foreign(source: Source, kind: str, progress: Progress | None = None) -> Raw:
    """Read a PLY, 3MF, GLB, STEP or IGES file.

    Parameters
    ----------
    kind : {"ply", "3mf", "glb", "step", "iges"}

    Raises
    ------
    FileProblem
        If the content is not what it claims to be.
    Cancelled
        If `progress` was cancelled; the child is gone then.
    """
    solid = kind in ("step", "iges")
    if solid:
        check_solid(source, kind)
    else:
        _GUARDS[kind](source)
    vertices, faces, told = _run_child(source, kind, part(progress, 0.0, 0.8))
    _check_faces(source, vertices, faces)
    points, numbers = weld_points(vertices, part(progress, 0.8, 1.0))
    unit = _unit(source, kind, told)
    findings: tuple[Finding, ...] = ()
    if solid:
        points = points * _SOLID_TO_MM[kind]
        findings = (
            Finding(
                "chord-error", "note",
                f"The solid was cut into triangles that lie within {CHORD_ERROR_MM} mm of its "
                "surfaces (the deflection asked for); this goes into the uncertainty.",
            ),
        )  # fmt: skip
    return Raw(
        _NAMES[kind],
        points,
        numbers[faces].astype(np.int32, copy=False),
        findings=findings,
        unit=unit,
        bits=24 if kind in ("glb", "step", "iges") else 53,
        chord_error=CHORD_ERROR_MM if solid else 0.0,
    )


def _unit(source: Source, kind: str, told: dict[str, Any]) -> str | None:
    if kind == "glb":
        return "m"  # glTF 2.0, section 3.4: all linear distances are in metres
    if kind in ("step", "iges"):
        return "mm"
    if kind == "3mf":
        unit = _UNITS_3MF.get(str(told.get("unit")).lower())
        if unit is None:
            raise FileProblem(
                "this 3MF names a unit that does not exist", file=source.file,
                place="model, unit", found=f"“{told.get('unit')}”",
                allowed="micron, millimeter, centimeter, inch, foot, meter", mend="export it again",
            )  # fmt: skip
        return unit
    return None


def _check_faces(source: Source, vertices: np.ndarray, faces: np.ndarray) -> None:
    outside = (faces < 0) | (faces >= len(vertices))
    if outside.any():
        row = int(np.flatnonzero(outside.any(axis=1))[0])
        raise FileProblem(
            "a triangle names a point that is not there", file=source.file,
            place=f"triangle {row + 1}", found=f"point {int(faces[row][outside[row]][0])}",
            allowed=f"0 to {len(vertices) - 1}", mend="export it again",
        )  # fmt: skip
    bad = ~np.isfinite(vertices).all(axis=1)
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        raise FileProblem(
            "a coordinate is not a finite number", file=source.file, place=f"point {row + 1}",
            mend="export it again",
        )  # fmt: skip


def _run_child(
    source: Source, kind: str, progress: Progress | None
) -> tuple[np.ndarray, np.ndarray, dict[str, Any]]:
    solid = kind in ("step", "iges")
    per_byte = PACKED_PER_BYTE if kind == "3mf" else MEMORY_PER_BYTE
    memory = SOLID_MEMORY if solid else BASE_MEMORY + per_byte * source.size
    longest = LONGEST_SOLID_S if solid else LONGEST_S
    with tempfile.TemporaryDirectory(prefix="clearturn-") as folder:
        out = str(Path(folder) / "triangles")
        name = os.fspath(Path(source.file).absolute())
        call = [sys.executable, str(CHILD), kind, name, out, str(memory), str(CHORD_ERROR_MM)]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        child = subprocess.Popen(
            call, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            env=environment,
        )  # fmt: skip
        try:
            answer = _wait(child, source, longest, progress)
        finally:
            if child.poll() is None:
                child.kill()
            child.communicate()
        told = _told(answer)
        if told is None or "problem" in told:
            told = told or {"problem": "reading it ended in a crash of the library that reads it"}
            raise FileProblem(
                f"this {_NAMES[kind]} cannot be read: {told['problem']}", file=source.file,
                found=told.get("found"), mend="export it again, or as STL",
            )  # fmt: skip
        with Path(out).open("rb") as file:
            return np.load(file), np.load(file), told


def _wait(
    child: subprocess.Popen[bytes], source: Source, longest: float, progress: Progress | None
) -> bytes:
    started = time.monotonic()
    while True:
        spent = time.monotonic() - started
        report(progress, spent / (spent + 3.0), "reading")
        if spent > longest:
            raise FileProblem(
                f"reading took longer than {longest:.0f} s and was stopped", file=source.file,
                mend="simplify it, or export it as STL",
            )  # fmt: skip
        with contextlib.suppress(subprocess.TimeoutExpired):
            return child.communicate(timeout=0.05)[0]


def _told(answer: bytes) -> dict[str, Any] | None:
    with contextlib.suppress(ValueError):
        told = json.loads(answer)
        if isinstance(told, dict):
            return told
    return None
