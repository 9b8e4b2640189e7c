"""Read what a scanner or a drawing program wrote: one door for all formats."""

from __future__ import annotations

import math
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from clearturn.errors import FileProblem
from clearturn.findings import Finding
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.scan._kernels_survey import has_area
from clearturn.scan.foreign import read_foreign
from clearturn.scan.model import Raw, Scan
from clearturn.scan.obj import read_obj
from clearturn.scan.sniff import foreign_content, known_format, looks_like_text
from clearturn.scan.source import Source, open_source
from clearturn.scan.stl import read_stl
from clearturn.scan.unit import MM_PER_UNIT, checked_unit, size_finding

SUFFIXES = {
    ".stl": "stl", ".ply": "ply", ".obj": "obj", ".3mf": "3mf", ".glb": "glb",
    ".step": "step", ".stp": "step", ".p21": "step", ".iges": "iges", ".igs": "iges",
}  # fmt: skip
ALLOWED = "STL, PLY, OBJ, 3MF, GLB, STEP or IGES"

# Ten kilometres: nothing at a vehicle is that far from its origin, and single-precision numbers
# are a millimetre apart there.
LARGEST_MM = 1.0e7
# A twentieth of the usual requirement's last digit: coarser numbers shift a gap visibly.
COARSE_MM = 0.005


def read_scan(
    path: str | os.PathLike[str], *, unit: str | None = None, progress: Progress | None = None
) -> Scan:
    """Read a mesh or a solid from a file.

    Parameters
    ----------
    path : path
        STL (binary or text), PLY, OBJ, 3MF, GLB, STEP or IGES.
    unit : {"mm", "cm", "m", "in"}, optional
        Unit of the file's numbers; wins over what the file says.  Without it the file's own
        statement holds, else mm is assumed.
    progress : Progress, optional

    Returns
    -------
    Scan
        The mesh in mm, welded bit by bit, with the file's hash and findings.

    Raises
    ------
    InputError
        If `unit` is unknown.
    FileProblem
        If the file cannot be read as what it claims to be, or is written to meanwhile.
    Cancelled
        If `progress` was cancelled.
    """
    if unit is not None:
        checked_unit(unit)
    source = open_source(path)
    # The hash takes about as long as the welding; it runs beside it.
    with ThreadPoolExecutor(1, thread_name_prefix="clearturn-hash") as pool:
        stop = Progress()
        hashed = pool.submit(source.sha256, stop)
        try:
            raw = _read_raw(source, progress)
        except BaseException:
            stop.cancel()
            raise
        sha256 = hashed.result()
    source.check_unchanged()  # else content and hash might be of two states
    return _scan(source, raw, unit, sha256)


def _read_raw(source: Source, progress: Progress | None) -> Raw:
    kind = _kind(source)
    if kind == "stl":
        return read_stl(source, progress)
    if kind == "obj":
        return read_obj(source, progress)
    return read_foreign(source, kind, progress)


def _kind(source: Source) -> str:
    """Tell the format, by content where that is sure, else by the name's ending."""
    suffix = Path(source.file).suffix.lower()
    head = source.head(4096)
    sure = known_format(head)
    if sure is not None and (sure != ".3mf" or suffix == ".3mf"):
        return SUFFIXES[sure]
    if suffix in SUFFIXES:
        kind = SUFFIXES[suffix]
        if kind in ("ply", "glb", "3mf"):
            what = foreign_content(head) or "something else"
            raise FileProblem(
                f"this is {what}, not a {kind.upper()}", file=source.file,
                mend=f"name the {kind.upper()} file",
            )  # fmt: skip
        return kind
    text = head.lstrip().lower()
    if text.startswith((b"solid", b"facet")) and looks_like_text(head):
        return "stl"
    if source.size >= 84 and 84 + 50 * int.from_bytes(head[80:84], "little") == source.size:
        return "stl"
    raise FileProblem(
        "this kind of file is not read", file=source.file,
        found=foreign_content(head) or f"the ending “{suffix}”", allowed=ALLOWED,
        mend="export the mesh as binary STL",
    )  # fmt: skip


def _scan(source: Source, raw: Raw, unit: str | None, sha256: str) -> Scan:
    unit_source = "given" if unit is not None else "file" if raw.unit is not None else "assumed"
    unit = unit or raw.unit or "mm"
    factor = MM_PER_UNIT[unit]
    with np.errstate(over="ignore"):  # told below
        vertices = raw.vertices if factor == 1.0 else raw.vertices * factor
    low = np.array([column.min() for column in vertices.T])
    high = np.array([column.max() for column in vertices.T])
    farthest = float(max(-low.min(), high.max()))
    if not farthest <= LARGEST_MM:
        raise FileProblem(
            "a coordinate is too large for a part", file=source.file,
            found=f"{farthest:.3g} mm", allowed=f"at most {LARGEST_MM:.0e} mm",
            mend="check the unit and the file",
        )  # fmt: skip
    longest = float((high - low).max())
    if not has_area(vertices, raw.faces):
        raise FileProblem(
            "no triangle of this mesh has an area", file=source.file,
            found=f"{len(raw.faces):,} triangles within {longest:.3g} mm", mend="export it again",
        )  # fmt: skip
    findings = list(raw.findings)
    size = size_finding(longest / factor, unit)
    if size is not None:
        findings.append(size)
    # numbers of that size are this far apart; half of it is the rounding
    step_mm = 2.0 ** (math.frexp(farthest)[1] - raw.bits)
    if size is None and step_mm / 2.0 > COARSE_MM:
        findings.append(
            Finding(
                "coarse-coordinates", "warning",
                f"The mesh lies {farthest / 1000:.3g} m from its origin, where the file's numbers "
                f"are {step_mm:.2g} mm apart: move it to the origin before exporting it.",
            )
        )  # fmt: skip
    vertices.flags.writeable = False
    faces = np.ascontiguousarray(raw.faces, np.int32)
    faces.flags.writeable = False
    return Scan(
        mesh=Mesh(vertices, faces, Path(source.file).name),
        file=source.file,
        format=raw.format,
        sha256=sha256,
        unit=unit,
        unit_source=unit_source,
        chord_error_mm=raw.chord_error * factor,
        findings=tuple(findings),
    )
