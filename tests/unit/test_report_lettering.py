"""Letters: what can be printed, and what becomes of names from outside."""

from __future__ import annotations

import struct

import pytest

from clearturn.errors import FileProblem
from clearturn.report import lettering


@pytest.mark.parametrize("name", lettering.FONT_FILES)
def test_letters_of_each_font_agree_with_a_general_font_library(name: str) -> None:
    ttlib = pytest.importorskip("fontTools.ttLib", reason="fonttools comes with matplotlib")
    path = lettering.font_folder() / name
    with ttlib.TTFont(path) as font:
        peer = set(font.getBestCmap())
    assert lettering.read_coverage(path.read_bytes()) == peer


def test_a_licence_lies_beside_the_fonts() -> None:
    texts = {p.name: p.read_text() for p in lettering.font_folder().glob("LICENSE-*.txt")}
    assert set(texts) == {"LICENSE-B612.txt", "LICENSE-Routed-Gothic.txt", "LICENSE-DejaVu.txt"}
    assert "SIL OPEN FONT LICENSE" in texts["LICENSE-B612.txt"].upper()
    assert "SIL OPEN FONT LICENSE" in texts["LICENSE-Routed-Gothic.txt"].upper()
    assert "Bitstream" in texts["LICENSE-DejaVu.txt"]


@pytest.mark.parametrize("content", [b"\x00\x01\x00\x00" + b"\x00" * 8])
def test_a_font_without_letters_is_refused(content: bytes) -> None:
    with pytest.raises(FileProblem):
        lettering.read_coverage(content)


def test_a_font_with_no_unicode_table_is_refused() -> None:
    head = struct.pack(">4sHHHH", b"\x00\x01\x00\x00", 1, 0, 0, 0)
    entry = struct.pack(">4sIII", b"cmap", 0, 28, 16)
    cmap = struct.pack(">HHHHIH", 0, 1, 1, 0, 12, 6) + b"\x00" * 20
    with pytest.raises(FileProblem):
        lettering.read_coverage(head + entry + cmap)


@pytest.mark.parametrize(
    "text", ["plain", "Ø 162.4 ±0.05 − × ° µ", "Суппорт", "Δαγκάνα", "كاليبر", "קליפר", "Größe ŁÇñ"]
)
def test_letters_of_many_scripts_stay_as_they_are(text: str) -> None:
    assert lettering.printable(text) == (text, ())


@pytest.mark.parametrize(
    ("text", "shown", "boxed"),
    [
        ("制動", "□□", ("制", "動")),
        ("a\u202eb", "a□b", ("\u202e",)),  # would turn the direction of writing
        ("a\x07b\x00", "a□b□", ("\x07", "\x00")),
        ("a\tb", "a b", ()),
        ("e\u0301", "é", ()),  # put together (NFC), so that the letter is found
        ("制制", "□□", ("制",)),
        ("\ud800", "□", ("\ud800",)),  # half a surrogate, as broken file names give
        ("", "", ()),
    ],
)
def test_letters_that_cannot_be_printed_become_boxes(
    text: str, shown: str, boxed: tuple[str, ...]
) -> None:
    assert lettering.printable(text) == (shown, boxed)


def test_code_points_are_told_by_number_and_name() -> None:
    assert lettering.code_point("\u202e") == "U+202E right-to-left override"
    assert lettering.code_point("\x07") == "U+0007 control character"


def test_long_names_keep_both_ends_and_get_places_to_break() -> None:
    name = "knuckle_" + "x" * 200 + "_left.stl"
    short = lettering.foreign(name, 40).replace(lettering.BREAK, "")
    assert len(short) == 40
    assert short.startswith("knuckle_")
    assert short.endswith("_left.stl")
    runs = lettering.foreign("x" * 300).split(lettering.BREAK)
    assert max(map(len, runs)) <= 14
    assert "".join(runs) == "x" * 300


@pytest.mark.parametrize("name", ["كاليبر", "קליפר 2"])
def test_right_to_left_names_are_isolated_from_their_neighbours(name: str) -> None:
    shown = lettering.foreign(name)
    assert shown == f"\u2068{name}\u2069"
    assert lettering.foreign(shown) == shown  # once only


@pytest.mark.parametrize("name", ["", "   ", "\n\n", "\u200b"])
def test_a_name_of_nothing_is_said_to_be_none(name: str) -> None:
    assert lettering.foreign(name) == "(no name)"
