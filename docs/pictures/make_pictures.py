"""Make the pictures of the documents anew: ``make docs``.

Each is what the program itself draws for the demo corner; nothing is touched up.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import typst

from clearturn.report import pages
from clearturn_app.cli.main import main as clearturn

HERE = Path(__file__).resolve().parent
FONTS = Path(pages.__file__).resolve().parent / "fonts"
PIXELS_PER_INCH = 144


def png_of_svg(svg: Path, png: Path, width_mm: float) -> None:
    """Turn a drawing into a picture with the fonts of the report."""
    page = (
        "#set page(width: auto, height: auto, margin: 4mm, fill: white)\n"
        f'#image("{svg.name}", width: {width_mm}mm)\n'
    )
    source = svg.with_suffix(".typ")
    source.write_text(page, encoding="utf-8")
    png.write_bytes(
        typst.compile(
            str(source),
            format="png",
            ppi=PIXELS_PER_INCH,
            font_paths=[str(FONTS)],
            ignore_system_fonts=True,
        )
    )


def main() -> int:
    """Run the demo and take its turn section."""
    with tempfile.TemporaryDirectory() as folder:
        code = clearturn(["demo", "--out", folder])
        if code not in (0, 1, 3):
            return code
        drawing = Path(folder) / "turn-section.svg"
        png_of_svg(drawing, HERE / "turn-section.png", 240.0)
    return 0


if __name__ == "__main__":
    sys.exit(main())
