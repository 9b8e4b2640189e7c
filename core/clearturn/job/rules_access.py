"""What the access items of a job must fulfil."""

from __future__ import annotations

import math
from collections.abc import Iterator

from clearturn.job.access import Access, BoltOut, PadOut, SpannerOn, WheelOn
from clearturn.job.fault import Fault, unknown
from clearturn.job.model import Corner
from clearturn.job.positions import JsonPath

WHEEL_KINDS = ("wheel", "barrel", "spokes")
_SIZES = {
    BoltOut: ("bolt_length_mm", "socket_diameter_mm", "socket_length_mm"),
    PadOut: ("width_mm", "way_mm"),
    SpannerOn: (
        "ring_diameter_mm",
        "ring_height_mm",
        "handle_length_mm",
        "handle_width_mm",
        "way_mm",
    ),
    WheelOn: ("way_mm", "stud_hole_mm"),
}
_MOST_MM = 2000.0
_MOST_SWING_DEG = 120.0


def access_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    """Yield what is wrong with the access items."""
    names = [part.name for part in corner.parts]
    seen: list[str] = []
    for i, item in enumerate(corner.access):
        here = (*at, "access", i)
        if not item.name.strip():
            yield Fault((*here, "name"), "an access item needs a name")
        elif item.name in (*seen, *names):
            yield Fault(
                (*here, "name"), "two of the name: each part and access item needs its own",
                repr(item.name),
            )  # fmt: skip
        seen.append(item.name)
        if not isinstance(item, WheelOn):
            yield from unknown((*here, "own"), item.own, names, "part")
        for j, name in enumerate(item.removed):
            yield from unknown((*here, "removed", j), name, names, "part")
        if isinstance(item, PadOut):
            for j, name in enumerate(item.touches):
                yield from unknown((*here, "touches", j), name, names, "part")
        yield from _sizes(here, item)
        yield from _shape(here, item, corner)


def _sizes(here: JsonPath, item: Access) -> Iterator[Fault]:
    for key in (*_SIZES[type(item)], "required_mm"):
        value = getattr(item, key)
        least = "0 or more" if key == "required_mm" else "more than 0"
        if value is None:
            continue
        if value > _MOST_MM or value < 0 or (value == 0 and key != "required_mm"):
            yield Fault(
                (*here, key), "not the size of a tool or a way", f"{value:g}",
                f"{least}, at most {_MOST_MM:g}",
            )  # fmt: skip


def _shape(here: JsonPath, item: Access, corner: Corner) -> Iterator[Fault]:
    if isinstance(item, PadOut):
        for low, high in (("r_from_mm", "r_to_mm"), ("z_from_mm", "z_to_mm")):
            if getattr(item, low) >= getattr(item, high):
                yield Fault(
                    (*here, low), "the pad is inside out", f"{getattr(item, low):g}",
                    f"less than {high} = {getattr(item, high):g}",
                )  # fmt: skip
    elif isinstance(item, WheelOn):
        if not any(part.kind in WHEEL_KINDS for part in corner.parts):
            yield Fault(here, "there is no wheel to put on", allowed="a part of kind wheel")
        if corner.stud is None and item.way_mm is None:
            yield Fault((*here, "way_mm"), "a key is missing", mend="give it, or the corner's stud")
        if corner.stud is None and item.stud_hole_mm is not None:
            yield Fault(
                (*here, "stud_hole_mm"), "there are no studs", mend="give the corner's stud"
            )
    elif math.hypot(*item.direction) < 1e-6:
        yield Fault((*here, "direction"), "a direction without length", str(item.direction))
    elif isinstance(item, SpannerOn):
        yield from _spanner(here, item)


def _spanner(here: JsonPath, item: SpannerOn) -> Iterator[Fault]:
    if not 0 <= item.swing_deg <= _MOST_SWING_DEG:
        yield Fault(
            (*here, "swing_deg"), "not a spanner's swing", f"{item.swing_deg:g}",
            f"0 to {_MOST_SWING_DEG:g}",
        )  # fmt: skip
    along, handle = item.direction, item.handle_direction
    cross = (
        along[1] * handle[2] - along[2] * handle[1],
        along[2] * handle[0] - along[0] * handle[2],
        along[0] * handle[1] - along[1] * handle[0],
    )
    if math.hypot(*cross) < 0.1 * math.hypot(*along) * max(math.hypot(*handle), 1e-9):
        yield Fault(
            (*here, "handle_direction"), "the handle lies along the nipple", str(handle),
            "a direction across it",
        )  # fmt: skip
