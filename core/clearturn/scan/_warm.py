"""A tiny call of every kernel of this package, so that they are compiled and cached."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np

from clearturn.mesh import Mesh
from clearturn.scan import (
    DropBadTriangles,
    DropBox,
    DropPiece,
    FillHoles,
    TurnFlippedPieces,
    _kernels,
    _kernels_survey,
    clean,
    read_scan,
    survey,
)

_CORNERS = [(0, 0, 0), (50, 0, 0), (0, 50, 0), (0, 0, 50)]
_FACES = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]


def warm_up() -> None:
    """Compile every kernel."""
    triangles = np.array(_CORNERS, "<f4")[np.array(_FACES)]
    records = np.zeros(4, [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = triangles
    binary = bytes(80) + (4).to_bytes(4, "little") + records.tobytes()
    facets = "".join(
        "facet normal 0 0 0\nouter loop\n"
        + "".join(f"vertex {x} {y} {z}\n" for x, y, z in corners)
        + "endloop\nendfacet\n"
        for corners in triangles.tolist()
    )
    obj = "".join(f"v {x} {y} {z}\n" for x, y, z in _CORNERS) + "".join(
        f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in _FACES
    )
    with tempfile.TemporaryDirectory(prefix="clearturn-") as folder:
        for name, content in (
            ("b.stl", binary),
            ("t.stl", f"solid\n{facets}endsolid\n".encode()),
            ("o.obj", obj.encode()),
        ):
            path = Path(folder) / name
            path.write_bytes(content)
            survey(read_scan(path).mesh)
    _joining()
    _cleaning()


def _cleaning() -> None:
    points = np.array([*_CORNERS, (90, 90, 90), (91, 90, 90), (90, 91, 90)], np.float64)
    mesh = Mesh(points, [*_FACES[:3], (4, 5, 6), (4, 6, 5), (0, 0, 1)])
    steps = (
        DropBadTriangles(),
        DropBox((89.0, 89.0, 89.0), (92.0, 92.0, 92.0)),
        TurnFlippedPieces(),
        FillHoles(200.0),
    )
    clean(mesh, steps)
    clean(mesh, [DropPiece((90.0, 90.0, 90.0))])


def _joining() -> None:
    """Call what only large or nested meshes need."""
    for kind in (np.uint32, np.uint64):
        keys = np.zeros((2 * _kernels.BATCH, 3), kind)
        table = np.full(8, -1, np.int32)
        _kernels.fill_table(keys, 1, table)
        _kernels.weld_points(keys, 0, 1, keys, 1, table, np.zeros(1, np.int32))
    _kernels.renumber(np.zeros(1, np.int32), 0, 1, np.zeros(1, np.int32))
    mesh = Mesh(_CORNERS, _FACES)
    states, labels = np.zeros(4, np.uint8), np.zeros(4, np.int32)
    _kernels_survey.winding_number(
        mesh.vertices, mesh.faces, states, labels, 1, mesh.vertices[0], 0, 4
    )
