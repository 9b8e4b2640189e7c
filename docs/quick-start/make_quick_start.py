"""Make docs/quick-start.pdf from the window's pictures and the program's own sentences.

The pictures come from docs/pictures/make_window_pictures.py; make them first.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import typst

from clearturn.report.pages import font_folder
from clearturn_app.resources.words import CAUTION, KEYS, WELCOME

HERE = Path(__file__).resolve().parent


def pages() -> bytes:
    """Return the PDF; the same input makes the same bytes."""
    data = {"welcome": WELCOME, "caution": CAUTION, "keys": KEYS}
    fonts = typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(font_folder())]
    )
    compiler = typst.Compiler(
        str(HERE / "quick-start.typ"), root=str(HERE.parent), font_paths=fonts,
        sys_inputs={"data": json.dumps(data)},
    )  # fmt: skip
    pdf = compiler.compile(format="pdf", timestamp=0)
    assert isinstance(pdf, bytes)
    return pdf


def main() -> int:
    """Write it."""
    target = HERE.parent / "quick-start.pdf"
    target.write_bytes(pages())
    print(target)
    return 0


if __name__ == "__main__":
    sys.exit(main())
