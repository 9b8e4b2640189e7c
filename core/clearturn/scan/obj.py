"""Read OBJ: points and faces, with the line named where one is wrong.

A reader of our own, because a general one takes a face that names point 0 without a word (trimesh
5.2 puts another point there), and the result is a part with a wrong skin.
"""

from __future__ import annotations

from typing import NoReturn

import numpy as np

from clearturn.errors import FileProblem
from clearturn.findings import Finding
from clearturn.progress import Progress, part, report
from clearturn.scan import _kernels_text as kernels
from clearturn.scan.model import Raw
from clearturn.scan.sniff import foreign_content, looks_like_text
from clearturn.scan.source import Source
from clearturn.scan.stl import AGAIN, LEFT_ROWS, TEXT_SLICE, read_left, refuse_number
from clearturn.scan.weld import weld_points

ANY_POINT = 2**31 - 1  # more do not fit a face


def read_obj(source: Source, progress: Progress | None = None) -> Raw:
    """Read the points and faces of an OBJ; normals, textures and materials are passed over.

    Raises
    ------
    FileProblem
        If a line makes no sense or a face names a point that is not there.
    """
    head = source.head(4096)
    if not looks_like_text(head):
        raise FileProblem(
            f"this is {foreign_content(head) or 'no text'}, not an OBJ", file=source.file,
            mend="name the OBJ file",
        )  # fmt: skip
    points, corners, state = _parse(source, ANY_POINT, part(progress, 0.0, 0.6))
    if len(corners) == 0:
        raise FileProblem(
            "this OBJ holds no faces", file=source.file,
            found=f"{len(points):,} points", mend="export the triangles, not only the points",
        )  # fmt: skip
    if int(corners.max()) >= len(points):
        _parse(source, len(points), None)  # stops at the line
    vertices, numbers = weld_points(points, part(progress, 0.6, 1.0))
    faces = numbers[corners].reshape(-1, 3)
    return Raw("OBJ", vertices, faces, findings=_findings(state))


def _findings(state: np.ndarray) -> tuple[Finding, ...]:
    findings = []
    polygons, curves = int(state[kernels.OBJ_POLYGONS]), int(state[kernels.OBJ_CURVES])
    if polygons:
        findings.append(
            Finding(
                "polygons-split", "note",
                f"{polygons} faces with more than three corners were split from their first "
                "corner; a hollow or bent one is not what it was.",
            )
        )  # fmt: skip
    if curves:
        findings.append(
            Finding(
                "free-form-left-out", "warning",
                f"{curves} free-form curves or surfaces in the file were left out: export it as "
                "triangles.",
            )
        )  # fmt: skip
    return tuple(findings)


def _parse(
    source: Source, limit: int, progress: Progress | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    # Shortest point: "v 0 0 0" with its line end; each further corner takes two bytes at least.
    # Only what is filled is ever touched.
    numbers = np.empty(3 * (source.size // 8 + 2))
    corners = np.empty(3 * (source.size // 2 + 2), np.int32)
    left = np.empty((LEFT_ROWS, 3), np.int64)
    state = np.zeros(7, np.int64)
    state[kernels.OBJ_AT] = 3 if source.head(3) == b"\xef\xbb\xbf" else 0
    state[kernels.OBJ_LIMIT] = limit
    while state[kernels.OBJ_AT] < source.size:
        at = int(state[kernels.OBJ_AT])
        report(progress, at / source.size, "reading")
        what, first, end = kernels.read_obj(
            source.data, min(at + TEXT_SLICE, source.size), state, numbers, left, corners
        )
        if what > 0:
            _refuse(source, what, first, end, int(state[kernels.OBJ_FILLED]) // 3)
        read_left(source, numbers, left[: state[kernels.OBJ_LEFT]])
        state[kernels.OBJ_LEFT] = 0
    points = numbers[: state[kernels.OBJ_FILLED]].reshape(-1, 3)
    return points, corners[: state[kernels.OBJ_CORNERS]], state


def _refuse(source: Source, what: int, first: int, end: int, points: int) -> NoReturn:
    place = f"line {source.line_at(first)}"
    found = source.data[first : min(end, first + 40)].tobytes().decode("latin-1")
    if what == kernels.INDEX:
        raise FileProblem(
            "a face names a point that is not there", file=source.file, place=place,
            found=f"point {found}", allowed=f"1 to {points}, or −1 to −{points}",
            mend=AGAIN,
        )  # fmt: skip
    if what == kernels.FEW:
        raise FileProblem(
            "a point has fewer than three coordinates", file=source.file, place=place,
            found=f"“{found.rstrip()}”", allowed="v x y z", mend=AGAIN,
        )  # fmt: skip
    if what == kernels.CORNERS:
        raise FileProblem(
            "a face has fewer than three corners", file=source.file, place=place,
            found=f"“{found.rstrip()}”", mend=AGAIN,
        )  # fmt: skip
    refuse_number(source, what, first, end, "three numbers after “v”")
