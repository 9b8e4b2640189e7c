"""Make the pictures of the documents and the outputs in the README anew: ``make docs``.

Each is what the program itself draws and prints; nothing is touched up.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
import tempfile
from pathlib import Path

import numpy as np
import typst
from scipy.spatial import ConvexHull

from clearturn.report import pages
from clearturn_app.cli.main import main as clearturn

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
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
    fonts = typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)]
    )
    png.write_bytes(
        typst.Compiler(font_paths=fonts).compile(
            input=str(source), format="png", ppi=PIXELS_PER_INCH
        )
    )


def printed(*arguments: str) -> str:
    """Run a command and return it with what it prints, as in a terminal."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = clearturn(list(arguments))
    if code not in (0, 1, 3):
        raise SystemExit(code)
    return f"$ clearturn {' '.join(arguments)}\n{out.getvalue().strip()}\n"


def write_hull(path: Path, points: list[tuple[float, float, float]]) -> None:
    """Write the convex hull of points as a text STL, outward."""
    hull = ConvexHull(points)
    lines = ["solid hull"]
    for face, plane in zip(hull.simplices, hull.equations, strict=True):
        a, b, c = hull.points[face]
        outward = np.dot(np.cross(b - a, c - a), plane[:3]) > 0
        lines += ["facet normal 0 0 0", "outer loop"]
        corners = (a, b, c) if outward else (a, c, b)
        lines += [f"vertex {p[0]:g} {p[1]:g} {p[2]:g}" for p in corners]
        lines += ["endloop", "endfacet"]
    path.write_text("\n".join([*lines, "endsolid hull", ""]), encoding="utf-8")


def gap_output() -> str:
    """Return the README's run of `gap`: a body with one tip that turns past a block."""
    tip = [(150.0, 60.0, 10.0), (-80.0, -60.0, -20.0), (-60.0, 90.0, -15.0), (0.0, -30.0, 40.0)]
    block = [(x, y, z) for x in (175.0, 215.0) for y in (-40.0, 40.0) for z in (-20.0, 20.0)]
    write_hull(Path("turning.stl"), tip)
    write_hull(Path("fixed.stl"), block)
    text = printed("gap", "fixed.stl", "turning.stl", "--turns", "second")
    return re.sub(r"\n  in  .*", "", text)  # the time taken is another on every run


ROWS_SHOWN = 6


def shortened(output: str) -> str:
    """Leave out gaps that clear with much to spare, and the list of pictures, and say so."""
    lines = output.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("---")) + 1
    end = lines.index("", start)
    left_out = lines[start + ROWS_SHOWN : end]
    if any(not line.endswith("clears") for line in left_out):
        raise SystemExit("a row to be left out does not clear")
    told = f"… {len(left_out)} more rows, all of them clear"
    rest = [line for line in lines[end:] if not line.endswith((".png", ".svg"))]
    text = "\n".join([*lines[: start + ROWS_SHOWN], told, *rest])
    return text + "\n  … and the drawings and pictures\n"


def put(readme: Path, name: str, output: str) -> None:
    """Replace the block after the marker of `name`."""
    text = readme.read_text(encoding="utf-8")
    pattern = rf"(<!-- output of: {name} -->\n```text\n).*?(```\n)"
    new, count = re.subn(pattern, lambda m: m[1] + output + m[2], text, flags=re.DOTALL)
    if count != 1:
        raise SystemExit(f"{readme} has {count} blocks for {name}")
    readme.write_text(new, encoding="utf-8")


def main() -> int:
    """Run demo and gap in an empty folder; take drawing and outputs."""
    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            put(ROOT / "README.md", "clearturn gap", gap_output())
            put(ROOT / "README.md", "clearturn demo", shortened(printed("demo")))
            drawing = Path("clearturn-demo") / "turn-section.svg"
            png_of_svg(drawing, HERE / "turn-section.png", 240.0)
        finally:
            os.chdir(here)
    return 0


if __name__ == "__main__":
    sys.exit(main())
