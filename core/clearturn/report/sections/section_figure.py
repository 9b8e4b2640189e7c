"""The turn section, to a stated scale."""

from __future__ import annotations

import re
from typing import NamedTuple

from clearturn.report.blocks import Context, Figure, Section, Text

SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 10.0, 20.0)
FILE = "turn-section.svg"
_ROOM_SHARE = 0.78  # of the page's height, so that heading and caption stand on the same page


class Size(NamedTuple):
    """Width and height, mm."""

    width_mm: float
    height_mm: float


def svg_size(svg: str) -> Size | None:
    """Return the size an SVG states in mm, or None if it states none."""
    head = svg[svg.find("<svg") : svg.find(">", svg.find("<svg"))]
    found = [re.search(rf'\b{name}="([0-9.eE+-]+)mm"', head) for name in ("width", "height")]
    if found[0] is None or found[1] is None:
        return None
    size = Size(float(found[0].group(1)), float(found[1].group(1)))
    return size if min(size) > 0 else None


def scale_for(size: Size, room: Size) -> float:
    """Return the first of `SCALES` (1 : n) at which a drawing of `size` fits into `room`."""
    for scale in SCALES:
        if size.width_mm <= room.width_mm * scale and size.height_mm <= room.height_mm * scale:
            return scale
    return max(size.width_mm / room.width_mm, size.height_mm / room.height_mm)


def turn_section(context: Context) -> Section:
    """Return the figure, or the sentence that there is none."""
    title = "Turn section"
    size = svg_size(context.section_svg) if context.section_svg else None
    if size is None:
        return Section(title, (Text("There is no turn section: no part could be drawn."),))
    room = Size(context.text_width_mm, context.text_height_mm * _ROOM_SHARE)
    scale = scale_for(size, room)
    caption = (
        "Every part’s outline swept about the spin axis: radius r against height z over the hub "
        f"face, outboard to the right. Scale 1 : {scale:.3g} when printed at 100 %; measure on "
        "the parts, not on paper."
    )
    figure = Figure(
        FILE,
        size.width_mm / scale,
        size.height_mm / scale,
        caption,
        alt="Turn section: the outlines of all parts in the half plane through the spin axis.",
        framed=False,
    )
    return Section(title, (figure,), subtitle=f"scale 1 : {scale:.3g}", new_page=True)
