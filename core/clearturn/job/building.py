"""Pure edits by which a corner is built up, one work step each.

Names follow the order of the work: scans, cleaning, datums, frames, parts.  What follows from an
edit by the job's own rules (the hat's flange stands in two places) is kept in step here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import count
from typing import Any

from clearturn.envelope.dimensions import (
    BoxDimensions,
    CaliperDimensions,
    RotorDimensions,
    ShieldDimensions,
)
from clearturn.errors import InputError
from clearturn.job.edits import put, without
from clearturn.job.judging import AllowanceEntry, SeatStack
from clearturn.job.model import (
    Band,
    BandFaces,
    CleaningStep,
    Corner,
    Datum,
    FaceChoice,
    FeatureWord,
    HatCheck,
    HubChecks,
    HubFrame,
    MeshFile,
    MotionWord,
    Part,
    PartKind,
    RegisterCheck,
    RestFaces,
    Scan,
    ScanFaces,
    Seat,
    Size,
    Vec3,
    WheelFrame,
)
from clearturn.pose import placed

PRACTICE = "common practice, no source"
SEAT_EITHER_SIDE_MM = 0.5
WHEEL_CLEARANCE_MM = (0.0, 0.3)  # wheel's bore on its register, diametral: common practice


@dataclass(frozen=True, slots=True)
class Role:
    """What a datum is for.

    Attributes
    ----------
    name : str
        Of the datum.
    shows : {"knuckle", "wheel"}
        The scan it lies on.
    features : tuple of str
        What it can be.
    needed : bool
        Without it there is no frame; the others serve the hub diameters.
    help : str
    """

    name: str
    shows: str
    features: tuple[FeatureWord, ...]
    needed: bool
    help: str


ROLES = (
    Role("hub face", "knuckle", ("plane",), True, "the flat ring of the hub the hat seats on"),
    Role("register", "knuckle", ("cylinder", "cone"), True,
         "the round spigot that centres the rotor; its axis is the spin axis"),
    Role("clocking lug", "knuckle", ("cylinder", "cone"), True,
         "a bore whose clock position you know, a caliper lug's for one"),
    Role("bearing housing", "knuckle", ("cylinder",), False,
         "the fixed round housing that the hat turns around"),
    Role("hub flange rim", "knuckle", ("cylinder",), False,
         "the outside of the hub's flange, inside the hat"),
    Role("wheel pad", "wheel", ("plane",), True, "the flat ring of the wheel that lies on the hat"),
    Role("wheel bore", "wheel", ("cylinder", "cone"), True,
         "the wheel's centre bore; its axis is the wheel's"),
)  # fmt: skip

# Common practice, no source: what a wheel, a rotor and a bracket may be off.
USUAL_ALLOWANCES = (
    AllowanceEntry("wheel run-out, radial", 0.3, "radial", "always costs", PRACTICE, "wheel"),
    AllowanceEntry("wheel run-out, axial", 0.3, "axial", "always costs", PRACTICE, "wheel"),
    AllowanceEntry("rotor run-out, axial", 0.05, "axial", "always costs", PRACTICE, "rotor"),
    AllowanceEntry("bearing play", 0.05, "axial", "random", PRACTICE, "wheel"),
    AllowanceEntry("caliper placed by its bracket", 0.15, "gap", "random", PRACTICE, "caliper"),
)


# -- scans ----------------------------------------------------------------------------------


def name_for(corner: Corner, stem: str) -> str:
    """Return what a scan file is called in the job: knuckle, wheel, or after its file."""
    taken = [scan.name for scan in corner.scans]
    shows = "wheel" if any(word in stem.lower() for word in ("wheel", "rim")) else "knuckle"
    for name in (shows, "knuckle", "wheel", stem):
        if name not in taken:
            return name
    return next(f"{stem} {n}" for n in range(2, len(taken) + 3) if f"{stem} {n}" not in taken)


def with_scan(corner: Corner, scan: Scan) -> Corner:
    """Return the corner with one more scan.

    Raises
    ------
    InputError
        If the same file content or the same name is there already.
    """
    for one in corner.scans:
        if one.sha256 == scan.sha256:
            raise InputError(
                "this scan is in the job already",
                found=f"{scan.path}, the same content as {one.name!r}",
                mend="take another file",
            )
        if one.name == scan.name:
            raise InputError("the corner has a scan of this name", found=repr(scan.name))
    return put(corner, scan)


def scan_showing(corner: Corner, shows: str) -> Scan | None:
    """Return the scan of the knuckle or the wheel: the one of that name."""
    return next((scan for scan in corner.scans if scan.name == shows), None)


def renamed_scan(corner: Corner, name: str, new: str) -> Corner:
    """Return the corner with a scan called otherwise; one that bears the name changes with it.

    Raises
    ------
    InputError
        If datums or parts were taken from one of them.
    """
    used = [d.name for d in corner.datums if d.scan in (name, new)]
    used += [p.name for p in corner.parts if p.scan is not None and p.scan.scan in (name, new)]
    if used:
        raise InputError(
            "a scan that datums or parts were taken from keeps its name", found=", ".join(used)
        )
    other = {name: new, new: name}
    scans = tuple(replace(s, name=other.get(s.name, s.name)) for s in corner.scans)
    return replace(corner, scans=scans)


def with_step(corner: Corner, scan: str, step: CleaningStep) -> Corner:
    """Return the corner with one more cleaning step on a scan."""
    one = _scan(corner, scan)
    if step in one.cleaning:
        return corner
    return put(corner, replace(one, cleaning=(*one.cleaning, step)))


def without_step(corner: Corner, scan: str, index: int) -> Corner:
    """Return the corner with a cleaning step taken back."""
    one = _scan(corner, scan)
    return put(corner, replace(one, cleaning=one.cleaning[:index] + one.cleaning[index + 1 :]))


def _scan(corner: Corner, name: str) -> Scan:
    for scan in corner.scans:
        if scan.name == name:
            return scan
    raise InputError("the corner has no scan of this name", found=repr(name))


# -- datums and frames ----------------------------------------------------------------------


def datum_for(corner: Corner, role: Role) -> Datum | None:
    """Return the datum that serves a role: what a frame names, else the one of its name."""
    hub, wheel = corner.hub_frame, corner.wheel_frame
    named = {
        "hub face": hub and hub.plane, "register": hub and hub.axis,
        "clocking lug": hub and hub.clocking,
        "wheel pad": wheel and wheel.pad, "wheel bore": wheel and wheel.bore,
    }.get(role.name) or role.name  # fmt: skip
    return next((datum for datum in corner.datums if datum.name == named), None)


def with_touched(
    corner: Corner, role: Role, scan: str, feature: str, seeds_mm: Sequence[Vec3]
) -> Corner:
    """Return the corner with a datum touched for a role.

    Raises
    ------
    InputError
        If the feature cannot serve.
    """
    fits = [word for word in role.features if word == feature]
    if not fits:
        raise InputError(
            f"this cannot be the {role.name}",
            found=f"a {feature}", allowed=" or ".join(role.features), mend="touch another place",
        )  # fmt: skip
    old = datum_for(corner, role)
    name = role.name if old is None else old.name
    return put(corner, Datum(name, scan, fits[0], tuple(seeds_mm), robust=True))


def with_joined(corner: Corner, role: Role, feature: str, seed_mm: Vec3) -> Corner:
    """Return the corner with one more patch joined to a touched datum.

    Raises
    ------
    InputError
        If there is no such datum yet, or the patch is another feature.
    """
    old = datum_for(corner, role)
    if old is None:
        raise InputError(f"the {role.name} is not touched yet", mend="touch it first")
    if feature != old.feature:
        raise InputError(
            f"this cannot be joined to the {role.name}",
            found=f"a {feature}", allowed=f"a {old.feature}", mend="touch another place",
        )  # fmt: skip
    if seed_mm in old.seeds_mm:
        return corner
    return put(corner, replace(old, seeds_mm=(*old.seeds_mm, seed_mm)))


def with_hub_frame(
    corner: Corner, clock_deg: float, outboard: Vec3, up: Vec3 | None = None
) -> Corner:
    """Return the corner with the hub frame of its three datums.

    Raises
    ------
    InputError
        If one of them is not touched yet.
    """
    face, register, lug = _names(corner, "knuckle")
    return replace(corner, hub_frame=HubFrame(face, register, lug, clock_deg, outboard, up))


def with_wheel_frame(corner: Corner, outboard: Vec3) -> Corner:
    """Return the corner with the wheel frame of its two datums; it needs the seat stack."""
    pad, bore = _names(corner, "wheel")
    return replace(corner, wheel_frame=WheelFrame(pad, bore, outboard))


def _names(corner: Corner, shows: str) -> list[str]:
    names = []
    for role in ROLES:
        if role.shows == shows and role.needed:
            datum = datum_for(corner, role)
            if datum is None:
                raise InputError(f"the {role.name} is not touched yet", mend="touch it first")
            names.append(datum.name)
    return names


# -- parts ----------------------------------------------------------------------------------


def with_rotor(corner: Corner, rotor: RotorDimensions, tolerance_mm: float) -> Corner:
    """Return the corner with a rotor from dimensions; the seat stack follows its flange."""
    corner = replace(corner, rotor=rotor)
    if corner.seat_stack is not None:
        stack = replace(corner.seat_stack, new_flange_mm=rotor.flange_thickness_mm)
        corner = replace(corner, seat_stack=stack)
    return put(corner, Part("rotor", "rotor", "turns", dimensions="rotor",
                            tolerance_mm=tolerance_mm))  # fmt: skip


def with_caliper(corner: Corner, caliper: CaliperDimensions, tolerance_mm: float) -> Corner:
    """Return the corner with a caliper from dimensions."""
    part = Part("caliper", "caliper", "fixed", dimensions="caliper", tolerance_mm=tolerance_mm)
    return put(replace(corner, caliper=caliper), part)


def with_box(corner: Corner, box: BoxDimensions) -> Corner:
    """Return the corner with one more box on its caliper.

    Raises
    ------
    InputError
        If there is no caliper from dimensions, or it has a box of that name.
    """
    caliper = corner.caliper
    if caliper is None:
        raise InputError("there is no caliper to put a box on", mend="give the caliper first")
    if any(one.name == box.name for one in caliper.boxes):
        raise InputError("the caliper has this already", found=repr(box.name),
                         mend="write another name, or change the one that is there")  # fmt: skip
    return replace(corner, caliper=replace(caliper, boxes=(*caliper.boxes, box)))


def with_shield(corner: Corner, shield: ShieldDimensions, tolerance_mm: float) -> Corner:
    """Return the corner with a splash shield from dimensions."""
    part = Part("shield", "shield", "fixed", dimensions="shield", tolerance_mm=tolerance_mm)
    return put(replace(corner, shield=shield), part)


def without_shield(corner: Corner) -> Corner:
    """Return the corner without its shield from dimensions, and what only spoke of it."""
    for part in corner.parts:
        if part.dimensions == "shield":
            corner = without(corner, "parts", part.name)
    return replace(corner, shield=None)


def free_name(corner: Corner, kind: PartKind) -> str:
    """Return a name for one more part of a kind: the kind itself, or with a number."""
    names = {part.name for part in corner.parts}
    return next(name for k in count(1) if (name := kind if k == 1 else f"{kind} {k}") not in names)


def with_mesh_part(
    corner: Corner, name: str, kind: PartKind, motion: MotionWord, mesh: MeshFile,
    tolerance_mm: float = 0.0,
) -> Corner:  # fmt: skip
    """Return the corner with a part from a mesh or solid file, posed in the hub frame."""
    return put(corner, Part(name, kind, motion, mesh=mesh, tolerance_mm=tolerance_mm))


def with_mesh_placed(corner: Corner, name: str, shift_mm: Vec3, turn_deg: Vec3) -> Corner:
    """Return the corner with a mesh's part put into its place, see `clearturn.pose.placed`.

    Raises
    ------
    InputError
        If there is no such part from a mesh.
    """
    part = next((one for one in corner.parts if one.name == name), None)
    if part is None or part.mesh is None:
        raise InputError("there is no part of this name from a mesh", found=repr(name))
    a, b, c, d = (tuple(row) for row in placed(shift_mm, turn_deg).tolist())
    return put(corner, replace(part, mesh=replace(part.mesh, hub_from_mesh=(a, b, c, d))))


def with_stack(corner: Corner, old_flange_mm: float, spacer_mm: float) -> Corner:
    """Return the corner with its seat stack; the new flange is the rotor's.

    Raises
    ------
    InputError
        If there is no rotor yet.
    """
    if corner.rotor is None:
        raise InputError("the rotor's dimensions are not given yet", mend="give them first")
    stack = SeatStack(old_flange_mm, corner.rotor.flange_thickness_mm, spacer_mm)
    return replace(corner, seat_stack=stack)


def with_part_of(
    corner: Corner, name: str, kind: PartKind, motion: MotionWord, scan: str, faces: FaceChoice
) -> Corner:
    """Return the corner with a part taken from a scan.

    A face belongs to the first part that takes it: the part goes before those that take the rest.
    """
    part = Part(name, kind, motion, scan=ScanFaces(scan, (faces,)))
    if name in [one.name for one in corner.parts] or isinstance(faces, RestFaces):
        return put(corner, part)
    at = next((i for i, one in enumerate(corner.parts) if _takes_rest(one, scan)),
              len(corner.parts))  # fmt: skip
    return replace(corner, parts=(*corner.parts[:at], part, *corner.parts[at:]))


def _takes_rest(part: Part, scan: str) -> bool:
    chosen: Any = part.scan
    if chosen is None or chosen.scan != scan:
        return False
    return any(isinstance(one, RestFaces) for one in chosen.take)


def with_knuckle_split(corner: Corner, hub: Band, housing: Band | None) -> Corner:
    """Return the corner with the knuckle's scan split: hub, bearing housing, and the rest."""
    scan = "knuckle"
    corner = with_part_of(corner, "hub", "hub", "turns", scan, BandFaces("band", hub))
    if housing is not None:
        faces = BandFaces("band", housing)
        name = "bearing housing"
        corner = with_part_of(corner, name, "bearing housing", "fixed", scan, faces)
    return with_part_of(corner, "knuckle", "knuckle", "fixed", scan, RestFaces("rest"))


def with_wheel_split(corner: Corner, spokes: Band | None, pad_radius_mm: float) -> Corner:
    """Return the corner with the wheel as spokes and barrel, or whole, seated on the hat."""
    for old in ("wheel", "spokes", "barrel"):
        if old in [part.name for part in corner.parts]:
            corner = without(corner, "parts", old)
    sits = "wheel"
    if spokes is None:
        corner = with_part_of(corner, "wheel", "wheel", "turns", "wheel", RestFaces("rest"))
    else:
        sits = "spokes"
        faces = BandFaces("band", spokes)
        corner = with_part_of(corner, "spokes", "spokes", "turns", "wheel", faces)
        corner = with_part_of(corner, "barrel", "barrel", "turns", "wheel", RestFaces("rest"))
    stack = corner.seat_stack
    if corner.rotor is None or stack is None:
        return corner
    z = stack.pad_z_mm
    band = Band(r_to_mm=pad_radius_mm, z_from_mm=z - SEAT_EITHER_SIDE_MM,
                z_to_mm=z + SEAT_EITHER_SIDE_MM)  # fmt: skip
    return put(corner, Seat("wheel pad on hat", sits, "rotor", band))


def with_usual_allowances(corner: Corner) -> Corner:
    """Return the corner with the usual allowances for the parts it has."""
    known = {part.kind for part in corner.parts}
    if known & {"barrel", "spokes"}:
        known.add("wheel")
    there = [one.name for one in corner.allowances]
    more = tuple(a for a in USUAL_ALLOWANCES if a.part in known and a.name not in there)
    return replace(corner, allowances=(*corner.allowances, *more)) if more else corner


def with_touched_diameters(corner: Corner) -> Corner:
    """Return the corner with every hub diameter checked that its datums and rotor tell."""
    bias = max((scan.scanner_error_mm for scan in corner.scans), default=0.0)

    def size(name: str) -> Size | None:
        role = next(role for role in ROLES if role.name == name)
        datum = datum_for(corner, role)
        if datum is None or datum.feature != "cylinder":
            return None
        return Size("scan", datum=datum.name, bias_limit_mm=bias)

    made_to = next((p.tolerance_mm for p in corner.parts if p.dimensions == "rotor"), 0.0)
    hat = Size("dimensions", uncertainty_mm=made_to or None) if corner.rotor is not None else None
    register, bore = size("register"), size("wheel bore")
    flange, housing = size("hub flange rim"), size("bearing housing")
    wheel = None
    if register and bore:
        low, high = WHEEL_CLEARANCE_MM
        wheel = RegisterCheck(register, bore, clearance_from_mm=low, clearance_to_mm=high)
    old = corner.hub_checks
    wanted = HubChecks(
        rotor_register=RegisterCheck(register, hat) if register and hat else None,
        wheel_register=wheel,
        flange_in_hat=HatCheck(flange, hat) if flange and hat else None,
        housing_in_hat=HatCheck(housing, hat) if housing and hat else None,
    )
    kept = HubChecks(
        old.rotor_register or wanted.rotor_register, old.wheel_register or wanted.wheel_register,
        old.flange_in_hat or wanted.flange_in_hat, old.housing_in_hat or wanted.housing_in_hat,
    )  # fmt: skip
    return corner if kept == old else replace(corner, hub_checks=kept)


# -- what comes next ------------------------------------------------------------------------


def next_step(corner: Corner) -> str | None:
    """Return what the corner lacks first before all its gaps can be judged, or None."""
    for missing, words in _steps(corner):
        if missing:
            return words
    return None


def _steps(corner: Corner) -> list[tuple[bool, str]]:
    parts = {part.kind for part in corner.parts}
    steps = [(scan_showing(corner, "knuckle") is None, "Take the knuckle's scan in: 10 Scans.")]
    steps += [
        (_missing(corner, role), f"Touch the {role.name}: 20 Datums.")
        for role in ROLES
        if role.shows == "knuckle"
    ]
    steps += [
        (corner.hub_frame is None, "State the clock angle of the clocking lug: 20 Datums."),
        ("knuckle" not in parts, "Say what turns and what stands: 20 Datums."),
        ("rotor" not in parts, "Give the rotor: 30 Rotor."),
        ("caliper" not in parts, "Give the caliper: 40 Caliper & bracket."),
        (corner.seat_stack is None, "Say what lies under the wheel: 50 Wheel."),
        (scan_showing(corner, "wheel") is None, "Take the wheel's scan in: 10 Scans."),
    ]
    steps += [
        (_missing(corner, role), f"Touch the {role.name}: 50 Wheel.")
        for role in ROLES
        if role.shows == "wheel"
    ]
    wheel = parts & {"wheel", "spokes", "barrel"}
    return [*steps, (not wheel, "Say what the wheel is made of: 50 Wheel.")]


def _missing(corner: Corner, role: Role) -> bool:
    return role.needed and datum_for(corner, role) is None
