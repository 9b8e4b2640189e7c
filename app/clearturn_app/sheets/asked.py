"""What the forms that build a corner ask for."""

from __future__ import annotations

from clearturn_app.sheets.dimensions import Row

POSED = ("tie rod", "steering arm", "control arm", "damper", "hose", "rubber boot", "other")
START = {"mount_thickness_mm": "6", "hat_material": "aluminium", "corner_radius_mm": "0",
          "inner_corner_radius_mm": "0", "needed_register_mm": "5"}  # fmt: skip
TOLERANCE = Row("tolerance_mm", "made to ±", "Limit of the real part against these numbers; it "
                 "goes into the uncertainty.", 0, 10)  # fmt: skip
CLOCK = Row("clock_deg", "clock angle of the clocking lug",
             "Seen from outboard, 0° is up, growing clockwise.", -360, 360, "angle")  # fmt: skip
HUB = (
    Row("hub_r_to_mm", "hub, to radius", "A little over the flange.", 0, 500),
    Row("hub_z_from_mm", "hub, from z",
        "Between flange and housing, from the hub face, outboard positive.", -300, 300),
    Row("hub_z_to_mm", "hub, to z", "Over spigot and studs.", -300, 300),
    Row("housing_r_to_mm", "bearing housing, to radius", "A little over it; 0: none.", 0, 500),
    Row("housing_z_from_mm", "bearing housing, from z", "Its inboard end.", -500, 300),
)  # fmt: skip
MEASURED = (
    Row("value_mm", "size as read", "On the part itself, at the place touched.", 0.01, 2000),
    Row(
        "uncertainty_mm",
        "± of it",
        "Expanded (k = 2): instrument, reading and place together.",
        0.0001,
        10,
    ),
    Row(
        "instrument",
        "with",
        "Stands in the report: micrometer, caliper gauge, its range.",
        None,
        None,
        "text",
    ),
)
SECTOR = (
    Row("arc_deg", "arc", "360: all round.", 1, 360, "angle"),
    Row(
        "clock_deg",
        "middle of the arc",
        "Seen from outboard, 0° is up, growing clockwise.",
        -360,
        360,
        "angle",
    ),
)
DIAL = (
    Row("stud_count", "studs", "Of the hub.", 3, 12, "count"),
    Row(
        "rotor_radius_mm",
        "ring, read at radius",
        "Where the dial stood on the ring.",
        1,
        500,
        optional=True,
    ),
    Row(
        "hub_radius_mm",
        "hub face, read at radius",
        "Where it stood on the hub face.",
        1,
        500,
        optional=True,
    ),
)
MESH_KINDS = ("caliper", "bracket", "shield", "parking caliper", *POSED)
MESH = (
    Row("kind", "it is a", "Decides what is asked of its gaps.", None, None, "choice",
        MESH_KINDS),
    Row("motion", "its motion", "posed: true only in the position it is drawn in.", None, None,
        "choice", ("fixed", "turns", "posed")),
    TOLERANCE,
)  # fmt: skip
PLACE = tuple(
    Row(f"{axis}_mm", f"shifted along {axis}", text, -3000, 3000) for axis, text in
    zip("xyz", ("Towards clock position 90°.", "Up.",
                "Outboard, from the hub face."), strict=True)
) + tuple(
    Row(f"{axis}_deg", f"turned about {axis}", text, -360, 360, "angle") for axis, text in
    zip("xyz", ("First.", "Then.", "Last, before it is shifted."), strict=True)
)  # fmt: skip
SPOKES = (
    Row("r_to_mm", "spokes, to radius", "Where they run into the barrel.", 0, 500),
    Row("z_from_mm", "spokes, from z", "From the wheel's pad, outboard positive.", -300, 300),
    Row("z_to_mm", "spokes, to z", "Over their outboard side.", -300, 300),
)
STACK = (
    Row("old_flange_mm", "flange of the old rotor", "It lay there before.", 0, 60),
    Row("spacer_mm", "spacer", "Between hat and wheel; 0: none.", 0, 60),
)
