"""Labels, help and ranges of the dimensions of parts that are not scanned."""

from __future__ import annotations

from dataclasses import dataclass

from clearturn.job.positions import JsonPath
from clearturn_app.sheets.fields import Field, Kind


@dataclass(frozen=True, slots=True)
class Row:
    """One dimension: key, label, help, range."""

    key: str
    label: str
    help: str
    low: float | None = 0.0
    high: float | None = 1000.0
    kind: Kind = "length"
    choices: tuple[str, ...] = ()
    optional: bool = False


def field_of(at: JsonPath, row: Row) -> Field:
    """Return a dimension's field at its place in the job."""
    return Field(
        (*at, row.key), row.label, row.help, row.kind, row.low, row.high, row.choices,
        source="drawing of the part",
    )  # fmt: skip


ROTOR = (
    (
        Row("ring_outer_diameter_mm", "ring, outer diameter", "The ring the pads run on."),
        Row("ring_thickness_mm", "ring, thickness", "New, over both faces.", 0, 200),
        Row("hat_offset_mm", "hat offset",
            "From hub face to the ring's mid-plane, positive inboard.", -200, 300),
        Row("hat_outer_diameter_mm", "hat, outer diameter", "Over the wall."),
        Row("hat_wall_mm", "hat, wall",
            "Its inner diameter, which the bearing housing must pass, is outer less two walls.",
            0, 100),
        Row("bore_diameter_mm", "centre bore", "Of the flange, as supplied."),
    ),
    (
        Row("ring_inner_diameter_mm", "ring, inner diameter", "Where the pads' track ends."),
        Row("flange_thickness_mm", "hat flange", "It lies on the hub face.", 0, 100),
        Row("mount_thickness_mm", "mount disc",
            "Joins the hat's wall to the ring, about its mid-plane.", 0, 100),
        Row("bolt_circle_diameter_mm", "bolt circle", "Of the holes for the studs."),
        Row("bolt_count", "holes", "In the flange.", 3, 12, "count"),
        Row("bolt_hole_diameter_mm", "hole diameter", "For the studs.", 0, 60),
        Row("material", "ring material",
            "Decides what is asked between bridge and ring.", None, None, "choice",
            ("iron", "ceramic")),
        Row("hat_material", "hat material", "Told in the report only.", None, None, "text"),
    ),
)  # fmt: skip

CALIPER = (
    (
        Row("outer_radius_mm", "outer radius", "Over the bridge, from the spin axis."),
        Row("outboard_width_mm", "outboard width",
            "From the ring's mid-plane to the face under the spokes.", 0, 300),
        Row("inboard_width_mm", "inboard width", "From the ring's mid-plane inboard.", 0, 300),
        Row("bridge_inner_radius_mm", "bridge, inner radius", "Over the ring."),
        Row("inner_radius_mm", "inner radius", "Where the legs end."),
        Row("clock_deg", "clock position",
            "Of its middle, seen from outboard, 0° is up.", -360, 360, "angle"),
    ),
    (
        Row("slot_half_width_mm", "half slot",
            "From the ring's mid-plane to the pads' backs.", 0, 150),
        Row("arc_deg", "arc", "Swept about the spin axis.", 1, 330, "angle"),
        Row("corner_radius_mm", "outer corners", "Rounding at the outer radius.", 0, 100),
        Row("inner_corner_radius_mm", "inner corners", "Rounding at the inner radius.", 0, 100),
    ),
)  # fmt: skip

CALIPER_BOX = (
    Row("clock_offset_deg", "clock offset", "From the caliper's middle.", -180, 180, "angle"),
    Row("r_from_mm", "from radius", "From the spin axis."),
    Row("r_to_mm", "to radius", "From the spin axis."),
    Row("z_from_mm", "from z", "From the ring's mid-plane, outboard positive.", -300, 300),
    Row("z_to_mm", "to z", "From the ring's mid-plane, outboard positive.", -300, 300),
    Row("width_mm", "width", "Across.", 0, 300),
)

SHIELD = (
    Row("inner_radius_mm", "inner radius", "From the spin axis."),
    Row("outer_radius_mm", "outer radius", "From the spin axis."),
    Row("z_from_mm", "from z", "Hub frame, outboard positive.", -400, 400),
    Row("z_to_mm", "to z", "Hub frame, outboard positive.", -400, 400),
)

BAND = (
    Row("r_from_mm", "from radius", "Left empty: from the axis.", 0, 1000, optional=True),
    Row("r_to_mm", "to radius", "Left empty: without end.", 0, 1000, optional=True),
    Row("z_from_mm", "from z", "Outboard positive; left empty: without end.", -1000, 1000,
        optional=True),
    Row("z_to_mm", "to z", "Left empty: without end.", -1000, 1000, optional=True),
    Row("clock_from_deg", "from clock position", "Clockwise seen from outboard; left empty: all "
        "round.", -360, 360, "angle", optional=True),
    Row("clock_to_deg", "to clock position", "Both or neither.", -360, 360, "angle",
        optional=True),
)  # fmt: skip
STUDS = (
    Row("thread", "thread", "As cut, such as M14×1.5; stands in the report.", None, None, "text"),
    Row("length_mm", "stud length", "From hub face to the last full thread.", 0, 200),
    Row("wheel_seat_mm", "wheel at the nut's seat",
        "Thickness of the wheel between its pad and the seat of the nut.", 0, 100),
    Row("needed_engagement_mm", "thread needed", "At least the thread's diameter.", 0, 60),
    Row("register_length_mm", "register length",
        "Of the spigot that centres the wheel, from the hub face.", 0, 100),
    Row("needed_register_mm", "register needed",
        "Least length on which the wheel must still be centred.", 0, 50),
)  # fmt: skip
