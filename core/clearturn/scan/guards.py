"""What can be checked about a foreign file before anything is allocated for it."""

from __future__ import annotations

import json
import struct
import zipfile
from collections.abc import Iterable
from io import BytesIO
from itertools import islice
from typing import Any

from clearturn.errors import FileProblem
from clearturn.scan.source import Source

AGAIN = "export or copy it again"
MOST_TRIANGLES = 100_000_000

# Packed archives.  Text of coordinates packs to a tenth or a twentieth; a bomb to a thousandth.
MOST_RATIO = 100
HARMLESS_BYTES = 64 << 20
MOST_UNPACKED = 8 << 30
MOST_ENTRIES = 10_000


# PLY ------------------------------------------------------------------------------------------

_PLY_BYTES = {
    "char": 1, "uchar": 1, "int8": 1, "uint8": 1, "short": 2, "ushort": 2, "int16": 2, "uint16": 2,
    "float16": 2, "int": 4, "uint": 4, "int32": 4, "uint32": 4, "float": 4, "float32": 4,
    "int64": 8, "uint64": 8, "double": 8, "float64": 8,
}  # fmt: skip
_PLY_HEADER = 65_536


def check_ply(source: Source) -> None:
    """Refuse a PLY whose header promises more than the file can hold."""
    head = source.head(_PLY_HEADER)
    end = head.find(b"end_header")
    if end < 0:
        raise FileProblem(
            "this PLY has no end of its header", file=source.file, found="no “end_header”",
            mend=AGAIN,
        )  # fmt: skip
    rest = source.size - end - len(b"end_header")
    text = False
    least = 0
    per_row = 0
    counts: dict[str, int] = {}
    current = ""
    lists: dict[str, list[bool]] = {}
    for number, raw in enumerate(head[:end].split(b"\n"), 1):
        words = raw.decode("latin-1").split()
        if words[:1] == ["format"]:
            text = words[1:2] == ["ascii"]
        elif words[:1] == ["element"]:
            least += per_row * counts.get(current, 0)
            per_row = 0
            current, counts_here = _ply_element(source, words, number)
            counts[current] = counts_here
            lists[current] = []
        elif words[:1] == ["property"]:
            lists.setdefault(current, []).append(words[1:2] == ["list"])
            per_row += _ply_property(source, words, number, text)
    least += per_row * counts.get(current, 0)
    for name in ("vertex", "face"):
        if counts.get(name, 0) == 0:
            raise FileProblem(
                f"this PLY holds no {name} list", file=source.file, place="header",
                mend="export the triangles, not only the points",
            )  # fmt: skip
    if least > rest:
        raise FileProblem(
            "this PLY is cut off or its counts are wrong", file=source.file, place="header",
            found=", ".join(f"{n:,} {name}" for name, n in counts.items()) + f" in {rest:,} bytes",
            allowed="counts the file has room for", mend=AGAIN,
        )  # fmt: skip
    if text:
        _check_ply_faces(source, end, counts, lists["face"])


def _check_ply_faces(source: Source, end: int, counts: dict[str, int], lists: list[bool]) -> None:
    """Refuse a line of a text PLY's faces that holds more or fewer numbers than it says."""
    body = BytesIO(source.data[end:].tobytes())
    before = 1  # the rest of the header's last line
    for name, count in counts.items():
        if name == "face":
            break
        before += count
    rows = (line for line in body if line.strip())
    for line in islice(rows, before, before + counts["face"]):
        words = line.split()
        at = 0
        for is_list in lists:
            if is_list:
                told = words[at] if at < len(words) else b""
                at += int(told) if told.isdigit() else MOST_TRIANGLES
            at += 1
        if at != len(words):
            raise FileProblem(
                "a face of this PLY holds another number of corners than it says",
                file=source.file, place=f"line {source.line_at(end + body.tell()) - 1}",
                found=f"“{line.decode('latin-1').strip()[:60]}”",
                allowed="as many numbers as the first one says", mend=AGAIN,
            )  # fmt: skip


def _ply_element(source: Source, words: list[str], line: int) -> tuple[str, int]:
    if len(words) == 3 and words[2].isascii() and words[2].isdigit() and len(words[2]) < 19:
        return words[1], int(words[2])
    raise FileProblem(
        "this line of the PLY header makes no sense", file=source.file, place=f"line {line}",
        found=f"“{' '.join(words)[:60]}”", allowed="element NAME COUNT", mend=AGAIN,
    )  # fmt: skip


def _ply_property(source: Source, words: list[str], line: int, text: bool) -> int:
    kind = words[2] if words[1:2] == ["list"] and len(words) > 2 else "".join(words[1:2])
    if kind not in _PLY_BYTES:
        raise FileProblem(
            "this line of the PLY header makes no sense", file=source.file, place=f"line {line}",
            found=f"“{' '.join(words)[:60]}”", allowed="a known number type", mend=AGAIN,
        )  # fmt: skip
    return 2 if text else _PLY_BYTES[kind]


# GLB ------------------------------------------------------------------------------------------

_COMPONENT_BYTES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}
_COMPONENTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
_PACKED = {"KHR_draco_mesh_compression", "EXT_meshopt_compression", "KHR_meshopt_compression"}


def check_glb(source: Source) -> None:
    """Refuse a GLB whose tables point outside it or repeat each other without end."""
    try:
        _check_glb(source)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, RecursionError):
        raise FileProblem(
            "the table of contents of this GLB makes no sense", file=source.file,
            place="JSON chunk", mend=AGAIN,
        ) from None  # fmt: skip


def _check_glb(source: Source) -> None:
    if source.size < 20:
        raise FileProblem("this GLB is cut off", file=source.file, mend=AGAIN)
    _, version, length, json_bytes, json_kind = struct.unpack("<4sIIII", source.head(20))
    if version != 2:
        raise FileProblem(
            "this GLB has a version that is not read", file=source.file, place="bytes 4 to 7",
            found=str(version), allowed="2", mend=AGAIN,
        )  # fmt: skip
    if length > source.size or 20 + json_bytes > source.size or json_kind != 0x4E4F534A:
        raise FileProblem(
            "this GLB is cut off or its lengths are wrong", file=source.file,
            place="bytes 8 to 19", found=f"a length of {max(length, json_bytes):,} bytes",
            allowed=f"at most {source.size:,}", mend=AGAIN,
        )  # fmt: skip
    table = json.loads(source.data[20 : 20 + json_bytes].tobytes())
    packed = _PACKED & set(table.get("extensionsRequired", []))
    if packed:
        raise FileProblem(
            "the triangles of this GLB are packed", file=source.file, found=", ".join(packed),
            allowed="a GLB without compression", mend="export it without compression",
        )  # fmt: skip
    if any("uri" in buffer for buffer in table.get("buffers", [])):
        raise FileProblem(
            "this GLB keeps its data in another file", file=source.file, place="buffers",
            mend="export it as one file",
        )  # fmt: skip
    for number, accessor in enumerate(table.get("accessors", [])):
        _check_accessor(source, table, number, accessor)
    _check_instances(source, table)


def _check_accessor(
    source: Source, table: dict[str, Any], number: int, accessor: dict[str, Any]
) -> None:
    count = int(accessor["count"])
    size = _COMPONENT_BYTES[accessor["componentType"]] * _COMPONENTS[accessor["type"]]
    room = source.size
    if "bufferView" in accessor:
        room = int(table["bufferViews"][accessor["bufferView"]]["byteLength"])
    if count < 0 or count * size > min(room, source.size):
        raise FileProblem(
            "this GLB is cut off or its counts are wrong", file=source.file,
            place=f"accessors[{number}].count", found=f"{count:,}",
            allowed=f"at most {min(room, source.size) // size:,} in the bytes there", mend=AGAIN,
        )  # fmt: skip


def _check_instances(source: Source, table: dict[str, Any]) -> None:
    accessors = table.get("accessors", [])
    sizes = []
    for mesh in table.get("meshes", []):
        total = 0
        for primitive in mesh["primitives"]:
            at = primitive.get("indices", primitive["attributes"].get("POSITION"))
            total += int(accessors[at]["count"]) // 3 if at is not None else 0
        sizes.append(total)
    nodes = table.get("nodes", [])
    own = [1 + (sizes[node["mesh"]] if "mesh" in node else 0) for node in nodes]
    children = [[int(child) for child in node.get("children", [])] for node in nodes]
    total = sum(unfolded(own, children, source))
    if total > MOST_TRIANGLES * 10:
        raise FileProblem(
            "the parts of this GLB repeat each other without end", file=source.file,
            place="nodes", found=f"{total:,} triangles", allowed=f"{MOST_TRIANGLES:,}", mend=AGAIN,
        )  # fmt: skip


def unfolded(own: list[int], children: list[list[int]], source: Source) -> Iterable[int]:
    """Return each node's size with all below it, without unfolding the tree.

    Raises
    ------
    FileProblem
        If nodes contain each other in a circle.
    """
    known: list[int | None] = [None] * len(own)
    entered = [False] * len(own)
    for start in range(len(own)):
        stack = [start]
        while stack:
            at = stack[-1]
            todo = [child for child in children[at] if known[child] is None]
            if not todo:
                known[at] = own[at] + sum(known[child] or 0 for child in children[at])
                stack.pop()
                continue
            if entered[at]:
                raise FileProblem(
                    "the parts of this file contain each other in a circle", file=source.file,
                    place=f"nodes[{at}]", mend=AGAIN,
                )  # fmt: skip
            entered[at] = True
            stack.extend(todo)
    return [size or 0 for size in known]


# 3MF ------------------------------------------------------------------------------------------


def check_3mf(source: Source) -> None:
    """Refuse a ZIP that is no 3MF, or that unpacks to far more than its size explains."""
    try:
        archive = zipfile.ZipFile(BytesIO(source.data.tobytes()))
    except (zipfile.BadZipFile, OSError, ValueError, struct.error, NotImplementedError):
        raise FileProblem(
            "the archive of this 3MF is damaged or cut off", file=source.file, mend=AGAIN
        ) from None
    with archive:
        entries = archive.infolist()
        unpacked = sum(entry.file_size for entry in entries)
        ratio = unpacked / source.size
        if (
            len(entries) > MOST_ENTRIES
            or unpacked > MOST_UNPACKED
            or (unpacked > HARMLESS_BYTES and ratio > MOST_RATIO)
        ):
            raise FileProblem(
                "this archive unpacks to far more than a 3MF of its size holds", file=source.file,
                found=f"{unpacked:,} bytes in {len(entries):,} entries from {source.size:,} bytes",
                allowed=f"{MOST_RATIO} times its size", mend="do not open it; ask where it is from",
            )  # fmt: skip
        models = [e for e in entries if e.filename.lower().endswith(".model")]
        if not any("3d/3dmodel.model" in entry.filename.lower() for entry in models):
            raise FileProblem(
                "this ZIP archive is not a 3MF", file=source.file, found="no 3D/3dmodel.model",
                mend="unpack it and name the mesh in it",
            )  # fmt: skip
        for entry in models:
            _check_model(source, archive, entry)


def _check_model(source: Source, archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
    try:
        with archive.open(entry) as file:
            head = file.read(65_536)
    except (zipfile.BadZipFile, RuntimeError, OSError, EOFError, ValueError, NotImplementedError):
        raise FileProblem(
            "the archive of this 3MF is damaged or locked", file=source.file,
            place=entry.filename, mend=AGAIN,
        ) from None  # fmt: skip
    except Exception as error:  # the unpacking library has errors of its own
        raise FileProblem(
            "the archive of this 3MF is damaged", file=source.file, place=entry.filename,
            found=str(error)[:80], mend=AGAIN,
        ) from None  # fmt: skip
    if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
        raise FileProblem(
            "this 3MF defines entities, which the format forbids", file=source.file,
            place=entry.filename, mend=AGAIN,
        )  # fmt: skip


# Solids ---------------------------------------------------------------------------------------


def check_solid(source: Source, kind: str) -> None:
    """Refuse what is not a STEP or IGES file, or ends too early."""
    if kind == "step":
        if not source.head(4096).lstrip().startswith(b"ISO-10303-21"):
            raise FileProblem(
                "this is not a STEP file", file=source.file, place="line 1",
                allowed="“ISO-10303-21;”", mend="name the STEP file",
            )  # fmt: skip
        tail = source.data[max(0, source.size - 4096) :].tobytes()
        if b"END-ISO-10303-21" not in tail:
            raise FileProblem(
                "this STEP file is cut off", file=source.file, place="its end",
                allowed="“END-ISO-10303-21;”", mend="copy or export it again",
            )  # fmt: skip
        return
    first = source.head(73)
    if len(first) < 73 or first[72:73] not in b"SC":
        raise FileProblem(
            "this is not an IGES file", file=source.file, place="line 1, column 73",
            allowed="“S”", mend="name the IGES file",
        )  # fmt: skip
    last = source.data[max(0, source.size - 200) :].tobytes().rstrip().splitlines()
    if not last or last[-1][72:73] != b"T":
        raise FileProblem(
            "this IGES file is cut off", file=source.file, place="its last line, column 73",
            allowed="“T”", mend="copy or export it again",
        )  # fmt: skip
