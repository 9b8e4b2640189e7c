"""Runs in a process of its own: lets a library read a foreign format, within limits.

Such a process can be stopped at any time, and what a hostile or broken file does to it (memory,
endless loops, crashes in compiled code) stays in it.  Called as

    python _child.py KIND IN OUT LIMIT_BYTES CHORD_ERROR

and writes the triangles to OUT (vertices, faces: two arrays in NumPy's own format) and one JSON
line to stdout: {"unit": …} or {"problem": …, "found": …}.  It does not import clearturn, which
would load the compiled kernels for nothing.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
import warnings
from pathlib import Path
from typing import Any

MOST_TRIANGLES = 100_000_000
ANGLE_RAD = 0.2  # angular deflection of solids: keeps small fillets round


class Refused(Exception):
    """Something about the file that can be told in a sentence."""


def main(arguments: list[str]) -> int:
    """Read one file; return the exit code."""
    kind, name, out, limit, chord_error = arguments
    _limit_memory(int(limit))
    # Libraries print, compiled ones past Python; only our line goes to stdout.
    said = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    answer: dict[str, Any]
    try:
        answer = read(kind, name, out, float(chord_error))
    except Refused as problem:
        answer = {"problem": str(problem)}
    except MemoryError:
        answer = {"problem": "reading it takes far more memory than its size explains"}
    except RecursionError:
        answer = {"problem": "it is nested too deeply"}
    except Exception as error:  # a library may raise anything on a broken file
        answer = {"problem": "the content does not make sense", "found": _short(error)}
    print(json.dumps(answer), file=said, flush=True)
    return 0


def _limit_memory(limit: int) -> None:
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _short(error: Exception) -> str:
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text[:120]}"


def read(kind: str, name: str, out: str, chord_error: float) -> dict[str, Any]:
    """Read the file and write its triangles to `out`."""
    import numpy as np

    data = Path(name).read_bytes()
    unit: str | None = None
    if kind in ("step", "iges"):
        data = _triangulated(data, kind, chord_error)
        kind = "glb"
    elif kind == "3mf":
        unit = _weigh_3mf(data)
    import trimesh

    warnings.simplefilter("error", DeprecationWarning)  # numbers NumPy gave up on half-way
    loaded = trimesh.load_scene(io.BytesIO(data), file_type=kind, process=False)
    mesh = loaded.to_mesh()
    vertices = np.ascontiguousarray(mesh.vertices, np.float64)
    faces = np.ascontiguousarray(mesh.faces, np.int64)
    if len(faces) == 0:
        raise Refused("it holds no triangles")
    with Path(out).open("wb") as file:
        np.save(file, vertices)
        np.save(file, faces)
    return {"unit": unit}


def _triangulated(data: bytes, kind: str, chord_error: float) -> bytes:
    import cascadio

    which = cascadio.FileType.STEP if kind == "step" else cascadio.FileType.IGES
    glb: bytes = cascadio.to_glb_bytes(
        data, file_type=which, tol_linear=chord_error, tol_angular=ANGLE_RAD, use_parallel=False
    )
    if not glb:
        raise Refused("no solid or surface in it could be read")
    return glb


def _weigh_3mf(data: bytes) -> str:
    """Return the unit, after making sure that the parts placed do not explode in number."""
    import zipfile

    from lxml import etree  # type: ignore[import-untyped]

    unit = "millimeter"
    triangles: dict[str, int] = {}
    parts: dict[str, list[str]] = {}
    placed: list[str] = []
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for name in archive.namelist():
            if not name.lower().endswith(".model"):
                continue
            events = etree.iterparse(
                io.BytesIO(archive.read(name)), events=("end",), resolve_entities=False,
                load_dtd=False, no_network=True, huge_tree=False,
            )  # fmt: skip
            for _, node in events:
                tag = etree.QName(node).localname
                if tag == "object":
                    key = str(node.get("id"))
                    triangles[key] = len(node.findall(".//{*}triangle"))
                    parts[key] = [str(c.get("objectid")) for c in node.iter("{*}component")]
                    node.clear()
                elif tag == "item":
                    placed.append(str(node.get("objectid")))
                elif tag == "model" and name.lower().endswith("3dmodel.model"):
                    unit = str(node.get("unit", unit))
    total = sum(_weight(key, triangles, parts) for key in placed)
    if total > MOST_TRIANGLES:
        raise Refused(f"its parts repeat each other into {total:,} triangles")
    return unit


def _weight(key: str, triangles: dict[str, int], parts: dict[str, list[str]]) -> int:
    """Count the triangles of an object with all it refers to, without unfolding it."""
    known: dict[str, int] = {}
    stack = [key]
    open_: set[str] = set()
    while stack:
        at = stack[-1]
        todo = [part for part in parts.get(at, []) if part not in known]
        if todo:
            open_.add(at)
            if any(part in open_ for part in todo):
                raise Refused("its parts contain each other in a circle")
            stack.extend(dict.fromkeys(todo))
            continue
        # One is added so that empty parts count as well: they cost time all the same.
        known[at] = 1 + triangles.get(at, 0) + sum(known[part] for part in parts.get(at, []))
        open_.discard(at)
        stack.pop()
    return known[key]


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(main(sys.argv[1:]))
