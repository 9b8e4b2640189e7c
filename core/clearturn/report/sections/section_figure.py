"""The turn section, to a stated scale."""

from __future__ import annotations

from typing import NamedTuple

from clearturn.report import figures
from clearturn.report.blocks import Context, Figure, Section, Text

SCALES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 10.0, 20.0)
FILE = "turn-section.svg"
_ROOM_SHARE = 0.82  # of the page's height, so that heading and caption stand on the same page


class Size(NamedTuple):
    """Width and height, mm."""

    width_mm: float
    height_mm: float


def scale_for(size: Size, room: Size) -> float:
    """Return the first of `SCALES` (1 : n) at which a drawing of `size` fits into `room`."""
    for scale in SCALES:
        if size.width_mm <= room.width_mm * scale and size.height_mm <= room.height_mm * scale:
            return scale
    return max(size.width_mm / room.width_mm, size.height_mm / room.height_mm)


def turn_section(context: Context) -> Section:
    """Return the figure, or the sentence that there is none."""
    title = "Drawing"
    drawing = context.result.turn_section
    if drawing is None:
        return Section(title, (Text("There is no turn section: the result holds none."),))
    low_x, low_y, high_x, high_y = drawing.bounds
    paper = Size(high_x - low_x, high_y - low_y)
    room = Size(context.text_width_mm, context.text_height_mm * _ROOM_SHARE)
    part = Size(paper.width_mm / drawing.scale, paper.height_mm / drawing.scale)
    scale = scale_for(part, room)
    accuracy = (
        f" Outlines within {figures.mm(drawing.accuracy_mm, 3)} mm of the surfaces."
        if drawing.accuracy_mm > 0
        else ""
    )
    head, axle, _ = drawing.title.partition(" axle:")  # of two axles only one is drawn
    caption = (
        f"{head + ' axle. ' if axle else ''}"
        "Every part’s outline swept about the spin axis: radius r against height z over the hub "
        f"face, outboard to the right.{accuracy} Scale 1 : {scale:.3g} when printed at 100 %; take "
        "sizes from the lists, not from paper."
    )
    figure = Figure(
        FILE,
        part.width_mm / scale,
        part.height_mm / scale,
        caption,
        alt="Turn section: the outlines of all parts in the half plane through the spin axis.",
        framed=False,
    )
    return Section(title, (figure,))
