"""Bracket layout: hole axes from the lugs and the wanted caliper position, spacer, loads, mass.

The plate's own frame has its origin midway between the two lugs, u from the first to the second,
v square to it away from the spin axis, w along the spin axis outboard from the lug face.  Datums:
A the hub face, B the spin axis, C the first lug's bore (ISO 5459 style).

The load is the greater of

    from grip      F = z g m_wheel R_tyre/r_e     (m_wheel: axle load at that deceleration, half)
    from pressure  F = 2 µ p A

Strength by a simple model: the plate is a beam from the lug line to the caliper's bolt line, its
section the plate's width less its largest two holes times its thickness.  F bends it in its plane
with the lever between the lines and across its height with the lever to the ring's mid-plane, and
shears it with 1.5 F/A; the stresses are added and compared by von Mises.

References
----------
Beam bending and shear: elementary.  Hole centre 1.5 d from an edge, position Ø 0.1 mm, safety 2,
caliper within 0.25 mm of the ring's middle, 0.1 mm of taper over a pad: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from clearturn.trade.balance import GRAVITY
from clearturn.trade.inputs import (
    AngleDeg,
    Checked,
    Friction,
    GapMm,
    LengthMm,
    MassKg,
    NotNegative,
    PlaceMm,
    Positive,
    SumProblem,
)
from clearturn.trade.materials import material
from clearturn.trade.sheet import (
    Grid,
    Line,
    Ruling,
    Sheet,
    at_least,
    at_most,
    num,
    plain_values,
    signed,
)

POSITION_MM = 0.1


@dataclass(frozen=True, slots=True)
class Lug(Checked):
    """A lug of the knuckle: its bore along the spin axis and the height of its outboard face.

    Attributes
    ----------
    name
        As the bracket's drawing calls it.
    clock_deg, radius_mm
        Where its bore lies about the spin axis, 0° up, clockwise from outboard.
    face_z_mm
        Height of its outboard face, hub frame.
    hole_mm
        Diameter of the plate's hole over it.
    """

    name: str
    clock_deg: AngleDeg
    radius_mm: LengthMm
    face_z_mm: PlaceMm
    hole_mm: LengthMm


@dataclass(frozen=True, slots=True)
class CaliperMount(Checked):
    """How the caliper is bolted to the plate.

    Attributes
    ----------
    direction : {"axial", "radial"}
        Of its bolts.
    radius_mm : float
        Of the bolt line from the spin axis (axial), or of the plate's outer face they enter
        (radial).
    middle_from_mount_mm : float
        From the caliper's mount face (axial) or bolt line (radial) outboard to its middle.
    hole_mm, depth_mm : float
        Of the holes in the plate; depth 0: through.
    clock_deg
        Clock position of the caliper's middle.
    spacing_mm
        Between its two bolts.
    """

    direction: Literal["axial", "radial"]
    clock_deg: AngleDeg
    radius_mm: LengthMm
    spacing_mm: LengthMm
    middle_from_mount_mm: PlaceMm
    hole_mm: LengthMm
    depth_mm: GapMm = 0.0


@dataclass(frozen=True, slots=True)
class Plate(Checked):
    """The plate: a rectangle u ± width/2 by v_from … v_to, and its thickness.

    Attributes
    ----------
    width_mm
        Along the line of the lugs.
    v_from_mm, v_to_mm
        From the lug line, away from the spin axis positive.
    thickness_mm
        Along the spin axis.
    material
        For strength and mass.
    """

    width_mm: LengthMm
    v_from_mm: PlaceMm
    v_to_mm: PlaceMm
    thickness_mm: LengthMm
    material: str

    def check(self) -> None:
        """Refuse a plate inside out and materials without a strength."""
        if self.v_from_mm >= self.v_to_mm:
            raise SumProblem(
                "the plate is inside out", "v_from_mm", found=f"{self.v_from_mm:g}",
                allowed=f"less than v_to_mm = {self.v_to_mm:g}",
            )  # fmt: skip
        if material(self.material, "material").yield_mpa is None:
            raise SumProblem("no strength is known of it", "material", found=self.material)


@dataclass(frozen=True, slots=True)
class Load(Checked):
    """What the brake can pull, from grip and from pressure.

    Attributes
    ----------
    axle_kg
        What stands on the axle at that deceleration.
    deceleration_g
        Greatest that the tyres can hold.
    tyre_radius_mm
        Loaded.
    effective_radius_mm
        Of the pads.
    piston_area_mm2
        Pistons of one side of one caliper.
    friction
        Of the pads.
    pressure_bar
        Greatest in the line.
    """

    axle_kg: MassKg
    deceleration_g: Positive
    tyre_radius_mm: LengthMm
    effective_radius_mm: LengthMm
    piston_area_mm2: Positive
    friction: Friction
    pressure_bar: Positive


@dataclass(frozen=True, slots=True)
class Bracket(Checked):
    """Inputs of the sum, hub frame.

    Attributes
    ----------
    ring_mid_z_mm : float
        Height of the ring's mid-plane.
    spacer_mm : float or None
        Under the plate; None: what centres the caliper.
    lug_uncertainty_mm : float
        Expanded (k = 2), of each lug face's height.
    pad_length_mm : float
        Over which a leaning caliper tapers the pads.
    most_off_centre_mm
        Caliper's middle to the ring's.
    most_taper_mm
        Over the pad's length.
    least_edge_diameters
        A hole's centre from an edge, over its diameter.
    least_safety
        Asked against yield.
    """

    lugs: tuple[Lug, Lug]
    caliper: CaliperMount
    plate: Plate
    load: Load
    ring_mid_z_mm: PlaceMm
    spacer_mm: GapMm | None = None
    lug_uncertainty_mm: NotNegative = 0.03
    pad_length_mm: LengthMm = 120.0
    most_off_centre_mm: Positive = 0.25
    most_taper_mm: Positive = 0.1
    least_edge_diameters: Positive = 1.5
    least_safety: Positive = 2.0

    def check(self) -> None:
        """Refuse lugs in one place and a plate that does not hold its holes."""
        if _apart(self.lugs) < 1.0:
            raise SumProblem("both lugs are in one place", "lugs", 1, found="the first lug's")
        for hole in holes(self):
            if hole.direction == "axial" and _edge_mm(self.plate, hole) <= hole.diameter_mm / 2:
                raise SumProblem(
                    "the plate does not reach round a hole", "plate",
                    found=f"{hole.name} at u {hole.u_mm:.1f}, v {hole.v_mm:.1f}",
                    allowed=f"u within ±{self.plate.width_mm / 2:g}, v {self.plate.v_from_mm:g} "
                    f"to {self.plate.v_to_mm:g}",
                )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole axis: in the plate's frame (u, v, w) and in the hub frame (x, y, z), mm.

    Attributes
    ----------
    direction : {"axial", "radial"}
        Axial holes run along the spin axis, radial ones along −v into the outer edge.
    depth_mm : float
        0: through.
    """

    name: str
    u_mm: float
    v_mm: float
    w_mm: float
    x_mm: float
    y_mm: float
    z_mm: float
    direction: Literal["axial", "radial"]
    diameter_mm: float
    depth_mm: float
    position_mm: float = POSITION_MM


@dataclass(frozen=True, slots=True)
class PlateFrame:
    """The plate's frame in the hub frame: origin and unit vectors, seen along the spin axis."""

    origin: tuple[float, float]
    u: tuple[float, float]
    v: tuple[float, float]

    @property
    def right_handed(self) -> bool:
        """Whether u, v stand to each other as x, y do."""
        return self.u[0] * self.v[1] - self.u[1] * self.v[0] > 0

    def to_uv(self, x: float, y: float) -> tuple[float, float]:
        """Return (u, v) of a place (x, y)."""
        a, b = x - self.origin[0], y - self.origin[1]
        return a * self.u[0] + b * self.u[1], a * self.v[0] + b * self.v[1]

    def to_xy(self, u: float, v: float) -> tuple[float, float]:
        """Return (x, y) of a place (u, v)."""
        return (
            self.origin[0] + u * self.u[0] + v * self.v[0],
            self.origin[1] + u * self.u[1] + v * self.v[1],
        )


def at_clock(clock_deg: float, radius_mm: float) -> tuple[float, float]:
    """Return (x, y) of a clock position (0° up, growing towards +x) and radius."""
    angle = math.radians(clock_deg)
    return radius_mm * math.sin(angle), radius_mm * math.cos(angle)


def _apart(lugs: tuple[Lug, Lug]) -> float:
    a, b = (at_clock(lug.clock_deg, lug.radius_mm) for lug in lugs)
    return math.dist(a, b)


def plate_frame(lugs: tuple[Lug, Lug]) -> PlateFrame:
    """Return the plate's frame from its two lugs."""
    a, b = (at_clock(lug.clock_deg, lug.radius_mm) for lug in lugs)
    apart = math.dist(a, b)
    u = ((b[0] - a[0]) / apart, (b[1] - a[1]) / apart)
    middle = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
    v = (-u[1], u[0])
    if v[0] * middle[0] + v[1] * middle[1] < 0:
        v = (u[1], -u[0])
    return PlateFrame(middle, u, v)


def spacer_needed_mm(inputs: Bracket) -> float:
    """Return the spacer under the plate that centres the caliper on the ring; may be negative."""
    lug = sum(lug.face_z_mm for lug in inputs.lugs) / 2.0
    wanted = inputs.ring_mid_z_mm - inputs.caliper.middle_from_mount_mm
    share = 1.0 if inputs.caliper.direction == "axial" else 0.5
    return wanted - lug - share * inputs.plate.thickness_mm


def spacer_mm(inputs: Bracket) -> float:
    """Return the spacer as entered, or the one that centres the caliper, at least 0."""
    entered = inputs.spacer_mm
    return max(0.0, spacer_needed_mm(inputs)) if entered is None else entered


def plate_z_mm(inputs: Bracket) -> tuple[float, float]:
    """Return the heights of the plate's inboard and outboard face."""
    low = sum(lug.face_z_mm for lug in inputs.lugs) / 2.0 + spacer_mm(inputs)
    return low, low + inputs.plate.thickness_mm


def holes(inputs: Bracket) -> tuple[Hole, ...]:
    """Return every hole axis: two for the lugs, two for the caliper."""
    frame, caliper = plate_frame(inputs.lugs), inputs.caliper
    low, high = plate_z_mm(inputs)
    found = []
    for lug in inputs.lugs:
        x, y = at_clock(lug.clock_deg, lug.radius_mm)
        u, v = frame.to_uv(x, y)
        found.append(
            Hole(f"lug {lug.name}", u, v, spacer_mm(inputs), x, y, low, "axial", lug.hole_mm, 0.0)
        )
    middle = frame.to_uv(*at_clock(caliper.clock_deg, caliper.radius_mm))
    axial = caliper.direction == "axial"
    v = middle[1] if axial else inputs.plate.v_to_mm
    z = high if axial else (low + high) / 2.0
    for number, side in ((1, -0.5), (2, 0.5)):
        u = middle[0] + side * caliper.spacing_mm
        x, y = frame.to_xy(u, v)
        w = z - low + spacer_mm(inputs)
        found.append(
            Hole(
                f"caliper {number}", u, v, w, x, y, z, caliper.direction, caliper.hole_mm,
                caliper.depth_mm,
            )
        )  # fmt: skip
    return tuple(found)


def _edge_mm(plate: Plate, hole: Hole) -> float:
    """Distance of a hole's axis from the plate's nearest edge, in the face it enters."""
    across = plate.width_mm / 2.0 - abs(hole.u_mm)
    if hole.direction == "radial":
        return min(across, plate.thickness_mm / 2.0)
    return min(across, hole.v_mm - plate.v_from_mm, plate.v_to_mm - hole.v_mm)


@dataclass(frozen=True, slots=True)
class BracketResult:
    """Result of the sum: mm, kg, N, MPa.

    Attributes
    ----------
    off_centre_mm : float
        Caliper's middle less ring's mid-plane.
    lean_deg, taper_mm : float
        Of the caliper against the ring, and over a pad's length.
    """

    holes: tuple[Hole, ...]
    spacer_needed_mm: float
    spacer_mm: float
    off_centre_mm: float
    lean_deg: float
    taper_mm: float
    taper_uncertainty_mm: float
    edges_mm: tuple[float, ...]
    mass_kg: float
    force_from_grip_n: float
    force_from_pressure_n: float
    bending_mpa: float
    shear_mpa: float
    safety: float


def force_from_grip_n(load: Load) -> float:
    """Return the reaction at the effective radius when the tyre is at its grip."""
    road = load.axle_kg / 2.0 * GRAVITY * load.deceleration_g
    return road * load.tyre_radius_mm / load.effective_radius_mm


def force_from_pressure_n(load: Load) -> float:
    """Return the reaction that the pads can give at the pressure: 2 µ p A."""
    return 2.0 * load.friction * load.pressure_bar / 10.0 * load.piston_area_mm2


def plate_stress_mpa(
    force_n: float,
    *,
    in_plane_lever_mm: float,
    out_of_plane_lever_mm: float,
    width_mm: float,
    height_mm: float,
    thickness_mm: float,
) -> tuple[float, float]:
    """Return bending and shear stress of the plate by the simple model of this module.

    Parameters
    ----------
    width_mm : float
        Of the section the in-plane moment bends, holes taken off.
    height_mm : float
        Of the section the out-of-plane moment bends.
    """
    bending = force_n * in_plane_lever_mm * 6.0 / (thickness_mm * width_mm**2)
    bending += force_n * out_of_plane_lever_mm * 6.0 / (height_mm * thickness_mm**2)
    return bending, 1.5 * force_n / (width_mm * thickness_mm)


def compute(inputs: Bracket) -> BracketResult:
    """Return the whole layout."""
    plate, drilled = inputs.plate, holes(inputs)
    low, high = plate_z_mm(inputs)
    axial = inputs.caliper.direction == "axial"
    mount = high if axial else (low + high) / 2.0
    apart = _apart(inputs.lugs)
    step = inputs.lugs[1].face_z_mm - inputs.lugs[0].face_z_mm
    grip, pressed = force_from_grip_n(inputs.load), force_from_pressure_n(inputs.load)
    caliper = sum(h.v_mm for h in drilled[2:]) / 2.0
    most = max(h.diameter_mm for h in drilled)
    bending, shear = plate_stress_mpa(
        max(grip, pressed),
        in_plane_lever_mm=abs(caliper),
        out_of_plane_lever_mm=abs(inputs.ring_mid_z_mm - (low + high) / 2.0),
        width_mm=plate.width_mm - 2.0 * most,
        height_mm=plate.v_to_mm - plate.v_from_mm,
        thickness_mm=plate.thickness_mm,
    )
    strong = material(plate.material).yield_mpa or 0.0
    return BracketResult(
        holes=drilled,
        spacer_needed_mm=spacer_needed_mm(inputs),
        spacer_mm=spacer_mm(inputs),
        off_centre_mm=mount + inputs.caliper.middle_from_mount_mm - inputs.ring_mid_z_mm,
        lean_deg=math.degrees(math.atan2(step, apart)),
        taper_mm=abs(step) / apart * inputs.pad_length_mm,
        taper_uncertainty_mm=math.sqrt(2.0) * inputs.lug_uncertainty_mm / apart
        * inputs.pad_length_mm,
        edges_mm=tuple(_edge_mm(plate, hole) for hole in drilled),
        mass_kg=_mass_kg(plate, drilled),
        force_from_grip_n=grip,
        force_from_pressure_n=pressed,
        bending_mpa=bending,
        shear_mpa=shear,
        safety=strong / math.sqrt(bending**2 + 3.0 * shear**2),
    )  # fmt: skip


def _mass_kg(plate: Plate, drilled: tuple[Hole, ...]) -> float:
    height = plate.v_to_mm - plate.v_from_mm
    volume = plate.width_mm * height * plate.thickness_mm
    for hole in drilled:
        through = plate.thickness_mm if hole.direction == "axial" else height
        volume -= math.pi / 4.0 * hole.diameter_mm**2 * (hole.depth_mm or through)
    return volume * 1e-9 * material(plate.material).density_kg_per_m3


def sheet(inputs: Bracket) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    rulings = [
        Ruling(
            "caliper on the ring's middle",
            f"{signed(result.off_centre_mm)} mm",
            f"within ±{num(inputs.most_off_centre_mm)} mm",
            at_most(abs(result.off_centre_mm), inputs.most_off_centre_mm),
            f"a spacer of {num(result.spacer_needed_mm)} mm centres it",
        ),
        Ruling(
            "square to the ring",
            f"{num(result.taper_mm)} ±{num(result.taper_uncertainty_mm)} mm over a pad",
            f"at most {num(inputs.most_taper_mm)} mm",
            at_most(result.taper_mm, inputs.most_taper_mm, result.taper_uncertainty_mm),
            f"lug faces lean {num(result.lean_deg, 3)}°: machine the plate to it",
        ),
    ]
    for hole, edge in zip(result.holes, result.edges_mm, strict=True):
        least = inputs.least_edge_diameters * hole.diameter_mm
        found = f"{num(edge, 1)} mm from the axis"
        needed = f"at least {num(least, 1)} mm"
        rulings.append(Ruling(f"edge at {hole.name}", found, needed, at_least(edge, least)))
    rulings.append(
        Ruling(
            "plate under peak load",
            f"{num(result.bending_mpa, 0)} MPa bending, {num(result.shear_mpa, 0)} MPa shear, "
            f"safety {num(result.safety)}",
            f"at least {num(inputs.least_safety)} against yield",
            at_least(result.safety, inputs.least_safety),
            "simple beam; a plate of other shape needs its own proof",
        )
    )
    bad = [ruling.name for ruling in rulings if ruling.word != "clears"]
    return Sheet(
        name="bracket",
        title="Bracket layout",
        gist=f"look at: {', '.join(bad)}" if bad else f"spacer {num(result.spacer_mm)} mm",
        lines=(
            Line("spacer under the plate", f"{num(result.spacer_mm)} mm"),
            Line("plate's mass", f"{num(result.mass_kg)} kg"),
            Line("peak load from grip", f"{num(result.force_from_grip_n / 1e3, 1)} kN"),
            Line(
                "peak load from pressure",
                f"{num(result.force_from_pressure_n / 1e3, 1)} kN",
                "the greater of the two is taken",
            ),
        ),
        rulings=tuple(rulings),
        grids=(_table(result),),
        assumed=(
            "datums: A hub face, B spin axis, C bore of the first lug; u from the first lug to the "
            "second, v away from the axis, w outboard from the lug face",
            f"positions Ø {POSITION_MM:g} mm to A | B | C; print the dummy and try it before metal",
        ),
        sources=(
            "beam bending and shear: elementary",
            "edge distance, position, taper, safety: common practice, no source",
        ),
        values=plain_values(result),
    )


def _table(result: BracketResult) -> Grid:
    rows = tuple(
        (
            hole.name,
            *(num(n) for n in (hole.u_mm, hole.v_mm, hole.w_mm, hole.x_mm, hole.y_mm, hole.z_mm)),
            f"Ø {num(hole.diameter_mm, 1)} {hole.direction}",
            "through" if hole.depth_mm == 0 else num(hole.depth_mm, 1),
            f"Ø {num(hole.position_mm, 1)}",
        )
        for hole in result.holes
    )
    heads = ("hole", "u", "v", "w", "x", "y", "z", "drill", "depth", "position")
    return Grid("Hole axes, mm", heads, rows, (0, 7))
