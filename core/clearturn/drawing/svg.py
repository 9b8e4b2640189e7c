"""SVG of a drawing, in mm, for the report and for anyone who wants to look."""

from __future__ import annotations

from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from clearturn.drawing.model import DASHES, XY, Drawing, Fill, Line, Text, Tone

# The program brings both fonts along; the generic name takes over where they are missing.
FONTS = {
    "figures": "'Routed Gothic', 'B612', sans-serif",
    "text": "'B612', 'Routed Gothic', sans-serif",
}


@dataclass(frozen=True, slots=True)
class Palette:
    """A colour for each tone.  Text tones keep 4.5 : 1 on the paper and on every part's tone."""

    colours: dict[Tone, str]


LIGHT = Palette(
    {
        Tone.PAPER: "#fbfaf5",
        Tone.INK: "#17202a",
        Tone.QUIET: "#434b53",
        Tone.TURNS: "#f0e2c2",
        Tone.FIXED: "#b3c3cf",
        Tone.POSED: "#e0eadb",
        Tone.ALERT: "#85133f",
    }
)
DARK = Palette(
    {
        Tone.PAPER: "#10263b",
        Tone.INK: "#eef3f7",
        Tone.QUIET: "#bccad6",
        Tone.TURNS: "#574a29",
        Tone.FIXED: "#243d52",
        Tone.POSED: "#2c4a3a",
        Tone.ALERT: "#ffa9c3",
    }
)


def to_svg(drawing: Drawing, *, palette: Palette = LIGHT, paper: bool = False) -> str:
    """Return the drawing as an SVG document with its size in mm.

    Parameters
    ----------
    drawing : Drawing
    palette : Palette
        `LIGHT` or `DARK`.
    paper : bool
        Whether to lay the paper's tone under it.
    """
    x0, y0, x1, y1 = drawing.bounds
    width, height = x1 - x0, y1 - y0
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height)}mm"'
        f' viewBox="{_n(x0)} {_n(-y1)} {_n(width)} {_n(height)}" role="img">',
        f"<title>{escape(drawing.title)}</title>",
    ]
    if paper:
        colour = palette.colours[Tone.PAPER]
        out.append(
            f'<rect x="{_n(x0)}" y="{_n(-y1)}" width="{_n(width)}" height="{_n(height)}"'
            f' fill="{colour}"/>'
        )
    for mark in drawing.simple_marks():
        if isinstance(mark, Line):
            out.append(_line(mark, palette))
        elif isinstance(mark, Fill):
            out.append(_fill(mark, palette))
        else:
            out.append(_text(mark, palette))
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _line(mark: Line, palette: Palette) -> str:
    dash = ""
    if DASHES[mark.dash]:
        dash = f' stroke-dasharray="{" ".join(_n(d) for d in DASHES[mark.dash])}"'
    return (
        f'<path d="{_path(mark.points, mark.closed)}" fill="none"'
        f' stroke="{palette.colours[mark.tone]}" stroke-width="{_n(mark.width_mm)}"'
        f' stroke-linejoin="round" stroke-linecap="{"butt" if dash else "round"}"{dash}'
        f' class="{mark.layer}"/>'
    )


def _fill(mark: Fill, palette: Palette) -> str:
    data = " ".join(_path(ring, True) for ring in mark.rings)
    return (
        f'<path d="{data}" fill="{palette.colours[mark.tone]}" fill-rule="evenodd"'
        f' class="{mark.layer}"/>'
    )


def _text(mark: Text, palette: Palette) -> str:
    x, y = mark.at
    turn = f' transform="rotate({_n(-mark.angle_deg)} {_n(x)} {_n(-y)})"' if mark.angle_deg else ""
    bold = ' font-weight="bold"' if mark.bold else ""
    return (
        f'<text x="{_n(x)}" y="{_n(-y)}" font-family={quoteattr(FONTS[mark.face])}'
        f' font-size="{_n(mark.height_mm)}" text-anchor="{mark.anchor}"'
        f' fill="{palette.colours[mark.tone]}"{bold}{turn} class="{mark.layer}">'
        f"{escape(_printable(mark.text))}</text>"
    )


def _path(points: tuple[XY, ...], closed: bool) -> str:
    data = "M" + "L".join(f"{_n(x)} {_n(-y)}" for x, y in points)
    return data + "Z" if closed else data


def _n(value: float) -> str:
    """Return a number with a micrometre's digits and no −0."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _printable(text: str) -> str:
    # XML 1.0 has no control characters, not even escaped.
    return "".join(c if c.isprintable() else " " for c in text)
