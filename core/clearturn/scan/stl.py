"""Read STL, both kinds: 50-byte records, and text.

The binary kind is a header of 80 bytes, a count, and as many records as it says.  Headers that
begin with "solid" are common, so the kind is told by size and content, never by that word.  A
count that does not fit the size is refused: fewer triangles than the part has would make a gap
look larger than it is.  Nothing is allocated from the count before the size has confirmed it.
"""

from __future__ import annotations

from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from clearturn.errors import FileProblem
from clearturn.findings import Finding
from clearturn.progress import Progress, part, report
from clearturn.scan import _kernels_text as text_kernels
from clearturn.scan.model import Raw
from clearturn.scan.sniff import foreign_content, looks_like_text
from clearturn.scan.source import Source
from clearturn.scan.weld import weld_binary, weld_points

HEADER = 84
RECORD = 50
TEXT_SLICE = 1 << 22  # bytes of text between two looks at cancelling: about 15 ms
LEFT_ROWS = 60_000
# The shortest facet one can write has 79 characters: "facet normal 0 0 0 outer loop", three times
# "vertex 0 0 0", "endloop endfacet", with single blanks between.
SHORTEST_FACET = 79
AGAIN = "export or copy it again"

_WORDS = tuple(
    np.frombuffer(word, np.uint8)
    for word in (
        b"solid", b"facet", b"outer", b"loop", b"vertex", b"endloop", b"endfacet", b"endsolid",
    )
)  # fmt: skip
_EXPECTED = {
    text_kernels.OUTSIDE: "solid or facet",
    text_kernels.SOLID: "facet or endsolid",
    text_kernels.OUTER: "outer loop",
    text_kernels.VERTEX: "vertex",
    text_kernels.ENDLOOP: "endloop",
    text_kernels.ENDFACET: "endfacet",
}


def read_stl(source: Source, progress: Progress | None = None) -> Raw:
    """Read a binary or ASCII STL.

    Raises
    ------
    FileProblem
        If it is neither, is cut off, or says something about itself that is not so.
    """
    counted = _counted(source)
    if counted is not None and HEADER + RECORD * counted == source.size:
        return _read_binary(source, counted, progress)
    if _begins_like_text(source):
        return _read_text(source, progress)
    problem = foreign_content(source.head(4096))
    if problem is not None:
        raise FileProblem(
            f"this is {problem}, not an STL", file=source.file, mend="name the STL file"
        )
    if counted is None:
        raise FileProblem(
            "this is too short for an STL", file=source.file, found=f"{source.size} bytes",
            allowed=f"at least {HEADER + RECORD}", mend=AGAIN,
        )  # fmt: skip
    return _read_binary(source, counted, progress)


def _counted(source: Source) -> int | None:
    if source.size < HEADER:
        return None
    return int.from_bytes(source.head(HEADER)[80:], "little")


def _begins_like_text(source: Source) -> bool:
    head = source.head(4096).removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    return head.startswith((b"solid", b"facet")) and looks_like_text(head)


# Binary ---------------------------------------------------------------------------------------


def _read_binary(source: Source, triangles: int, progress: Progress | None) -> Raw:
    findings = _check_count(source, triangles)
    raw = source.load(progress)[HEADER : HEADER + RECORD * triangles]
    vertices, faces, bad = weld_binary(raw, triangles, progress)
    if bad >= 0:
        record = np.frombuffer(raw[RECORD * bad : RECORD * (bad + 1)].tobytes(), "<f4", 12)
        wrong = record[3:][~np.isfinite(record[3:])][0]
        raise FileProblem(
            "a coordinate is not a finite number", file=source.file,
            place=f"triangle {bad + 1}", found=f"{wrong}", mend=AGAIN,
        )  # fmt: skip
    return Raw("STL, binary", vertices.astype(np.float64), faces, findings=findings, bits=24)


def _check_count(source: Source, triangles: int) -> tuple[Finding, ...]:
    held, spare = divmod(source.size - HEADER, RECORD)
    if triangles == 0 and held == 0:
        raise FileProblem("this STL holds no triangles", file=source.file, mend=AGAIN)
    if triangles > held:
        cut = held > 0 and triangles <= 2**31
        raise FileProblem(
            "this STL is cut off or its triangle count is wrong", file=source.file,
            place="bytes 80 to 83", found=f"a count of {triangles:,} in {source.size:,} bytes",
            allowed=f"at most {held:,} triangles in that size",
            mend="copy it from the source again" if cut else AGAIN,
        )  # fmt: skip
    if triangles < held:
        raise FileProblem(
            "this STL holds more triangles than it says", file=source.file,
            place="bytes 80 to 83", found=f"a count of {triangles:,}, room for {held:,}",
            allowed=f"{held:,}", mend=AGAIN,
        )  # fmt: skip
    if spare:
        return (
            Finding(
                "bytes-after-end", "note",
                f"{spare} bytes after the last triangle were passed over.",
            ),
        )  # fmt: skip
    return ()


# Text -----------------------------------------------------------------------------------------


def _read_text(source: Source, progress: Progress | None) -> Raw:
    text = source.load(progress)
    numbers = np.empty((source.size // SHORTEST_FACET + 2) * 9)  # touched only as it is filled
    left = np.empty((LEFT_ROWS, 3), np.int64)
    state = np.zeros(text_kernels.STATE_SIZE, np.int64)
    state[text_kernels.AT] = 3 if text[:3].tobytes() == b"\xef\xbb\xbf" else 0
    while state[text_kernels.AT] < source.size:
        at = int(state[text_kernels.AT])
        report(progress, 0.6 * at / source.size, "reading")
        what, first, end = text_kernels.read_text(
            text, min(at + TEXT_SLICE, source.size), state, numbers, left, _WORDS
        )
        if what > 0:
            _refuse_text(source, what, first, end, int(state[text_kernels.STATE]))
        read_left(source, numbers, left[: state[text_kernels.LEFT]])
        state[text_kernels.LEFT] = 0
    if state[text_kernels.STATE] not in (text_kernels.SOLID, text_kernels.OUTSIDE):
        _refuse_cut(source)
    triangles = int(state[text_kernels.FILLED]) // 9
    if triangles == 0:
        raise FileProblem("this STL holds no triangles", file=source.file, mend=AGAIN)
    points = numbers[: 9 * triangles].reshape(-1, 3)
    vertices, corners = weld_points(points, part(progress, 0.6, 1.0))
    return Raw("STL, text", vertices, corners.reshape(-1, 3), findings=_text_findings(state))


def _text_findings(state: NDArray[np.int64]) -> tuple[Finding, ...]:
    findings = []
    begun, ended = int(state[text_kernels.BEGUN]), int(state[text_kernels.ENDED])
    if begun > ended:
        findings.append(
            Finding(
                "no-endsolid", "warning",
                "The file ends without “endsolid”: it may have been cut off between two facets; "
                "compare the triangle count with the program that wrote it.",
            )
        )  # fmt: skip
    if begun > 1:
        findings.append(
            Finding("several-solids", "note", f"The file holds {begun} solids; all were read.")
        )
    return tuple(findings)


def read_left(source: Source, numbers: NDArray[np.float64], left: NDArray[np.int64]) -> None:
    """Read the numbers the kernel could not read exactly, with the system's own routine."""
    for row, first, end in left.tolist():
        value = float(source.data[first:end].tobytes())
        if not np.isfinite(value):
            refuse_number(source, text_kernels.NOT_FINITE, first, end, "")
        numbers[row] = value


def _token(source: Source, first: int, end: int) -> str:
    shown = source.data[first : min(end, first + 40)].tobytes().decode("latin-1")
    return f"“{shown}{'…' if end - first > 40 else ''}”"


def _refuse_text(source: Source, what: int, first: int, end: int, waits: int) -> NoReturn:
    unfinished = waits not in (text_kernels.SOLID, text_kernels.OUTSIDE)
    if first >= source.size or (what == text_kernels.WORD and end >= source.size and unfinished):
        _refuse_cut(source)
    if what in (text_kernels.COMMA, text_kernels.NOT_FINITE, text_kernels.NUMBER):
        refuse_number(source, what, first, end, "three numbers after “vertex”")
    place = f"line {source.line_at(first)}"
    found = _token(source, first, end)
    if what == text_kernels.CORNERS:
        raise FileProblem(
            "a facet does not have three corners", file=source.file, place=place, found=found,
            allowed="three lines “vertex x y z” in each loop", mend="export it as triangles",
        )  # fmt: skip
    raise FileProblem(
        "this is not what an STL in text has here", file=source.file, place=place, found=found,
        allowed=_EXPECTED[waits], mend=AGAIN,
    )  # fmt: skip


def refuse_number(source: Source, what: int, first: int, end: int, allowed: str) -> NoReturn:
    """Raise for a coordinate at bytes `first` … `end` that is none."""
    place = f"line {source.line_at(first)}"
    found = _token(source, first, end)
    if what == text_kernels.COMMA:
        raise FileProblem(
            "numbers here are written with a comma as decimal sign", file=source.file,
            place=place, found=found, allowed="a point, as in 1.5",
            mend="export it with points, or as binary STL",
        )  # fmt: skip
    if what == text_kernels.NOT_FINITE:
        raise FileProblem(
            "a coordinate is not a finite number", file=source.file, place=place, found=found,
            mend=AGAIN,
        )  # fmt: skip
    raise FileProblem(
        "a coordinate is not a number", file=source.file, place=place, found=found,
        allowed=allowed, mend=AGAIN,
    )  # fmt: skip


def _refuse_cut(source: Source) -> NoReturn:
    raise FileProblem(
        "the file ends inside a facet", file=source.file,
        place=f"line {source.line_at(source.size)}", mend="it was cut off: copy or export it again",
    )  # fmt: skip
