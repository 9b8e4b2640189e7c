"""From the report's plain data to pages: how it looks is in ``template.typ``.

The typesetter runs in this process, reads only what is handed to it in memory, and uses the fonts
of the package alone.  So the same input gives the same bytes on every machine, without a writable
home and from any folder.
"""

from __future__ import annotations

import base64
import dataclasses
import json
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from typing import Any

import typst

from clearturn.errors import ClearturnError, InputError
from clearturn.report.blocks import Cell, Column, Report, Section, Table, Text
from clearturn.report.lettering import breakable, code_point, font_folder, printable


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet, upright, and the room for text inside its frame, mm."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def text_width_mm(self) -> float:
        """Width inside the frame: less 12 + 5 mm on the binding side and 8 + 5 mm opposite."""
        return self.width_mm - 30.0

    @property
    def text_height_mm(self) -> float:
        """Height inside the frame: less 15 mm above and 27 mm below (with the title strip)."""
        return self.height_mm - 42.0


PAPERS = {
    "a4": Paper("a4", 210.0, 297.0),  # ISO 216
    "letter": Paper("letter", 215.9, 279.4),  # 8.5 in × 11 in
}


def paper_named(name: str) -> Paper:
    """Return a paper by its name.

    Raises
    ------
    InputError
        If there is no paper of that name.
    """
    paper = PAPERS.get(name.lower())
    if paper is None:
        raise InputError("this paper size is not known", found=name, allowed=" or ".join(PAPERS))
    return paper


class PagesProblem(ClearturnError):
    """The pages could not be typeset."""


@cache
def _fonts() -> Any:
    return typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[str(font_folder())],
    )


def plain(value: Any) -> Any:
    """Return dataclasses, tuples and enums as what JSON holds."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, str):
        return str(value)
    return value


def with_boxes(value: Any, boxed: dict[str, str]) -> Any:
    """Return `value` with every letter that cannot be printed as a box.

    Parameters
    ----------
    value : JSON-like
    boxed : dict
        Filled with each such letter and the first text it stood in.
    """
    if isinstance(value, dict):
        return {key: with_boxes(item, boxed) for key, item in value.items()}
    if isinstance(value, list):
        return [with_boxes(item, boxed) for item in value]
    if isinstance(value, str):
        text, letters = printable(value)
        for letter in letters:
            boxed.setdefault(letter, _around(value, letter))
        return text
    return value


def _around(text: str, letter: str) -> str:
    """Return what stands around the first place of `letter`."""
    at = text.find(letter)
    return " ".join(printable(text[max(0, at - 18) : at + 18])[0].split())


def _letters_section(boxed: Mapping[str, str]) -> Section:
    """Return the section that lists what was printed as a box."""
    rows = tuple(
        (Cell(code_point(letter)), Cell(breakable(text))) for letter, text in sorted(boxed.items())
    )
    lead = Text(
        "The fonts of this report lack these letters; each stands as a box (□) where it occurs. "
        "The attached result.json has them unchanged."
    )
    columns = (Column("Letter", share=0.8), Column("First met in", share=1))
    return Section("Letters not printed", (lead, Table(columns, rows)))


def report_data(report: Report, paper: Paper, written_at: datetime, program: str) -> dict[str, Any]:
    """Return what the template reads: plain JSON, every string printable."""
    boxed: dict[str, str] = {}
    body = with_boxes(plain(report), boxed)
    if boxed:
        body["sections"].insert(-1, plain(_letters_section(boxed)))  # signatures stay last
    at = written_at.astimezone(UTC)
    return {
        "paper": {"width_mm": paper.width_mm, "height_mm": paper.height_mm},
        "report": body,
        "written": {"year": at.year, "month": at.month, "day": at.day},
        "written_line": f"{at:%Y-%m-%d %H:%M} UTC · {program}",
    }


_PNG = b"\x89PNG\r\n\x1a\n"


def _as_text(name: str, content: bytes) -> bytes:
    """Return a PNG wrapped into an SVG, a drawing in printable letters, anything else as it is.

    Files handed over in memory must be text for the typesetter; an SVG may hold a picture.
    """
    if name.endswith(".svg"):
        return printable(content.decode())[0].encode()
    if not content.startswith(_PNG):
        return content
    width, height = struct.unpack(">II", content[16:24])  # ISO/IEC 15948, chunk IHDR
    inside = base64.b64encode(content).decode()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}">'
        f'<image width="{width}" height="{height}" href="data:image/png;base64,{inside}"/></svg>'
    ).encode()


def make_pdf(data: Mapping[str, Any], files: Mapping[str, bytes], written_at: datetime) -> bytes:
    """Return the PDF.

    Parameters
    ----------
    data : mapping
        From `report_data`.
    files : mapping of str to bytes
        Pictures and attachments by the names the blocks use.
    written_at : datetime
        Stands in the PDF's metadata; with the same input the bytes are the same.

    Raises
    ------
    PagesProblem
        If the typesetter cannot do it.
    """
    template = resources.files("clearturn.report").joinpath("template.typ").read_bytes()
    sources = {
        **{name: _as_text(name, content) for name, content in files.items()},
        "main.typ": template,
        "data.json": json.dumps(data, ensure_ascii=True, allow_nan=False).encode(),
    }
    try:
        compiler = typst.Compiler(sources, font_paths=_fonts())
        pdf = compiler.compile(format="pdf", timestamp=int(written_at.timestamp()))
    except RuntimeError as error:
        first_line = (str(error).splitlines() or ["no reason given"])[0]
        raise PagesProblem(f"the report could not be typeset: {first_line}") from error
    if not isinstance(pdf, bytes):
        raise PagesProblem("the report could not be typeset: no pages came back")
    return pdf
