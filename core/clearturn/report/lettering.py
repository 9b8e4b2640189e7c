"""Which letters the report's fonts can print, and what becomes of the others.

The pages are set with the fonts in ``fonts/`` only, never the machine's own: the same job gives
the same pages everywhere.  They hold Latin, Greek, Cyrillic, Hebrew, Arabic and many signs, but no
Chinese, Japanese or Korean letters and few pictographs.  A letter that is not there is printed as
a box, and the report lists it by its number (Unicode code point), so nothing vanishes unseen.
"""

from __future__ import annotations

import re
import struct
import unicodedata
from functools import cache
from importlib import resources
from pathlib import Path

from clearturn.errors import FileProblem

TEXT_FAMILY = "B612"
DRAWING_FAMILY = "Routed Gothic"
FALLBACK_FAMILY = "DejaVu Sans"

FONT_FILES = (
    "B612-Regular.otf",
    "B612-Bold.otf",
    "B612-Italic.otf",
    "routed-gothic.ttf",
    "DejaVuSans.ttf",
)

BOX = "\N{WHITE SQUARE}"
BREAK = "\N{ZERO WIDTH SPACE}"
_ISOLATE = "\N{FIRST STRONG ISOLATE}"
_END_ISOLATE = "\N{POP DIRECTIONAL ISOLATE}"
_LONGEST_RUN = 14
# A number stays on one line with its unit, and both sides of × too.
_GLUE = re.compile(r"(?<=\d) (?=(?:mm|cm|°C|K|bar|N·m|Nm|kg|%|×|x)(?:\W|$))|(?<=[\d ]×) (?=\d)")
_OUR_MARKS = {BREAK, _ISOLATE, _END_ISOLATE, "\n"}


def font_folder() -> Path:
    """Return the folder of the fonts that come with the program."""
    return Path(str(resources.files("clearturn.report"))) / "fonts"


def read_coverage(font: bytes) -> frozenset[int]:
    """Return the code points an OpenType font has a glyph for.

    Parameters
    ----------
    font : bytes
        A single font (not a collection) with a Unicode ``cmap`` of format 4 or 12.

    Raises
    ------
    FileProblem
        If there is no such table.

    References
    ----------
    ISO/IEC 14496-22 (Open Font Format), table "cmap", formats 4 and 12.
    """
    tables = struct.unpack(">H", font[4:6])[0]
    for index in range(tables):
        tag, _, offset, _ = struct.unpack(">4sIII", font[12 + 16 * index : 28 + 16 * index])
        if tag == b"cmap":
            return _read_cmap(font, offset)
    raise FileProblem("this font says nothing about its letters")


def _read_cmap(font: bytes, start: int) -> frozenset[int]:
    found: set[int] = set()
    known = False
    for index in range(struct.unpack(">H", font[start + 2 : start + 4])[0]):
        at = start + 4 + 8 * index
        offset = struct.unpack(">I", font[at + 4 : at + 8])[0]
        table = start + offset
        layout = struct.unpack(">H", font[table : table + 2])[0]
        if layout == 4:
            found |= _format_4(font, table)
            known = True
        elif layout == 12:
            found |= _format_12(font, table)
            known = True
    if not known:
        raise FileProblem("this font has no Unicode letters")
    return frozenset(found)


def _format_4(font: bytes, table: int) -> set[int]:
    count = struct.unpack(">H", font[table + 6 : table + 8])[0] // 2

    def words(first: int, sign: str = "H") -> tuple[int, ...]:
        at = table + first
        return struct.unpack(f">{count}{sign}", font[at : at + 2 * count])

    ends, starts = words(14), words(16 + 2 * count)
    deltas, offsets = words(16 + 4 * count, "h"), words(16 + 6 * count)
    found: set[int] = set()
    for k in range(count):
        for code in range(starts[k], min(ends[k], 0xFFFE) + 1):
            glyph = code
            if offsets[k]:
                place = table + 16 + 6 * count + 2 * k + offsets[k] + 2 * (code - starts[k])
                glyph = struct.unpack(">H", font[place : place + 2])[0]
                if glyph == 0:
                    continue
            if (glyph + deltas[k]) & 0xFFFF:
                found.add(code)
    return found


def _format_12(font: bytes, table: int) -> set[int]:
    found: set[int] = set()
    for k in range(struct.unpack(">I", font[table + 12 : table + 16])[0]):
        at = table + 16 + 12 * k
        first, last, glyph = struct.unpack(">III", font[at : at + 12])
        found.update(code for code in range(first, last + 1) if glyph + code - first)
    return found


@cache
def covered() -> frozenset[int]:
    """Return the code points that can be printed: the text font or the fallback has them."""
    folder = font_folder()
    names = ("B612-Regular.otf", "DejaVuSans.ttf")
    return frozenset().union(*(read_coverage((folder / name).read_bytes()) for name in names))


def is_printable(letter: str) -> bool:
    """Whether `letter` can stand in the report as it is."""
    return letter in _OUR_MARKS or (
        unicodedata.category(letter) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
        and ord(letter) in covered()
    )


def printable(text: str) -> tuple[str, tuple[str, ...]]:
    """Return `text` as it can be printed, and the letters that became a box, each once.

    Control characters are among them: one that turns the direction of writing could make a name
    read as another.
    """
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\t", " "))
    boxed = dict.fromkeys(letter for letter in text if not is_printable(letter))
    return "".join(BOX if letter in boxed else letter for letter in text), tuple(boxed)


def code_point(letter: str) -> str:
    """Return a letter as "U+4E2D", with its name where it has one."""
    name = unicodedata.name(letter, "control character").lower()
    return f"U+{ord(letter):04X}" + (f" {name}" if name else "")


def foreign(name: str, most: int | None = None) -> str:
    """Return a name that came from outside, fit to stand inside our own sentences.

    Line breaks become spaces, our own marks in it are dropped, long runs get places to break, and
    a name with right-to-left letters is isolated so that it does not reorder what stands beside.

    Parameters
    ----------
    name : str
    most : int, optional
        Shorten to so many letters, leaving both ends (names of scans differ at the end).
    """
    name = " ".join("".join(c for c in name if c not in _OUR_MARKS or c == "\n").split())
    name = name or "(no name)"
    if most is not None and len(name) > most:
        tail = most // 3
        name = name[: most - tail - 1].rstrip() + "…" + name[-tail:].lstrip()
    broken = breakable(_GLUE.sub("\N{NO-BREAK SPACE}", name))
    if any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in name):
        return _ISOLATE + broken + _END_ISOLATE
    return broken


def breakable(text: str) -> str:
    """Give runs longer than a table column can hold places to break, best after punctuation."""

    def cut(match: re.Match[str]) -> str:
        run = re.sub(r"(?<=[._/\\\-:;,])(?=[^\s._/\\\-:;,])", BREAK, match.group())
        return re.sub(rf"[^{BREAK}]{{{_LONGEST_RUN}}}(?=[^{BREAK}])", rf"\g<0>{BREAK}", run)

    return re.sub(rf"\S{{{_LONGEST_RUN + 1},}}", cut, text)
