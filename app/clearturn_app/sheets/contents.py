"""What each operation's slip holds: the numbers that matter first, the rest folded."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields as fields_of
from dataclasses import replace

from clearturn.job.judging import Requirements
from clearturn.job.model import Corner, HatCheck, Job, RegisterCheck, Scan, Size
from clearturn.job.positions import JsonPath
from clearturn.report.jobcard import NOTES_LETTERS
from clearturn.result import CheckResult, HubResult, SizeCheck, Verdict
from clearturn.trade.sums import SumsResult
from clearturn_app.sheets.dimensions import (
    BAND,
    CALIPER,
    CALIPER_BOX,
    ROTOR,
    SHIELD,
    STUDS,
    field_of,
)
from clearturn_app.sheets.fields import Fact, Field, Section
from clearturn_app.sheets.operations import Operation
from clearturn_app.sheets.sums import sum_sections
from clearturn_app.sheets.working import access_sections, axle_head, limit_sections
from clearturn_app.window.look import Look

_PRACTICE = "common practice, no source"


def sections(
    operation: Operation,
    job: Job,
    result: CheckResult | None,
    look: Look,
    sums: SumsResult | None = None,
) -> list[Section]:
    """Return what a slip shows; `result` and `sums` only if they are those of this job."""
    made: list[Section] = []
    makers: dict[int, Callable[[Corner, JsonPath, CheckResult | None, Look], Iterator[Section]]] = {
        10: _scans, 20: _datums, 30: _rotor, 40: _caliper, 50: _wheel, 60: _gaps, 70: _hub,
    }  # fmt: skip
    if operation.number == 100:
        return list(_hand_over(result))
    for number, axle in enumerate(job.axles):
        head = f"{axle.name}: " if len(job.axles) > 1 else ""
        at: JsonPath = ("axles", number, "corner")
        if operation.number in makers:
            for one in makers[operation.number](axle.corner, at, result, look):
                made.append(replace(one, title=head + one.title, key=head + one.known_as))
    if operation.sums and len(job.axles) > 1:
        text = (
            f"A job's sums are those of its {job.axles[0].name} axle, whichever is built; balance "
            "and pedal take in both."
        )
        made.append(Section("whose sums these are", (Fact("", text),)))
    made += sum_sections(operation.sums, job, sums)
    if not made:
        made.append(Section("nothing yet", (Fact("", "The job holds no numbers for this."),)))
    return made


def _scans(
    corner: Corner, at: JsonPath, result: CheckResult | None, look: Look
) -> Iterator[Section]:
    for i, scan in enumerate(corner.scans):
        here = (*at, "scans", i)
        yield Section(
            f"{scan.name} scan",
            (
                Fact("file", scan.path),
                Field((*here, "unit"), "unit of the file",
                      "Most mesh files do not say their unit. A wrong one makes every size wrong "
                      "by the same factor.", "choice", choices=("mm", "cm", "m", "in"),
                      source="given in the job"),
                Field((*here, "scanner_error_mm"), "scanner's stated error ±",
                      "Limit of the scanner's length error over the part, from its certificate; it "
                      "goes into every uncertainty.", low=0, high=5,
                      source="maker's statement" if scan.scanner_error_mm else "none stated yet"),
                Field((*here, "noise_mm"), "noise of the surface",
                      "Standard deviation of the scanned surface. Left empty it is estimated from "
                      "the fitted datums.", low=0, high=5, optional=True,
                      source="measured, or from the fits"),
                *_cleaning(scan.cleaning, here),
                *_by_hand(scan, here, result, look),
                Fact("hash of the file", scan.sha256[:16] + " …"),
            ),
        )  # fmt: skip


def _by_hand(
    scan: Scan, at: JsonPath, result: CheckResult | None, look: Look
) -> Iterator[Field | Fact]:
    for k, size in enumerate(scan.size_check):
        here = (*at, "size_check", k)
        yield Field((*here, "value_mm"), size.name, "As read on the part itself.", low=0.01,
                    source=size.instrument)  # fmt: skip
        yield Field((*here, "uncertainty_mm"), "± of it",
                    "Expanded (k = 2): instrument, reading and place together.", low=0.0001,
                    high=10, source="given in the job")  # fmt: skip
        yield Field((*here, "instrument"), "measured with", "Stands in the report.", "text",
                    source="given in the job")  # fmt: skip
    for one in result.size_checks if result is not None else ():
        # The axle stands before it where there are two.
        if one.scan.removeprefix(f"{result.job.axles[at[1]].name} ") == scan.name:
            yield Fact("scan against the hand", _size_words(one, look), one.state == "off")


def _size_words(one: SizeCheck, look: Look) -> str:
    if one.state == "unclear":
        return "the sizes measured by hand contradict each other"
    off = look.length(one.off_mm, 3, signed=True)
    room = look.length(one.off_uncertainty_mm, 3)
    told = "agrees" if one.state == "agrees" else "is off: every gap to it is not proven"
    return f"{told} ({off} ±{room} {look.unit} at radius {look.length(one.radius_mm, 0)})"


def _cleaning(steps: tuple[object, ...], at: JsonPath) -> Iterator[Field | Fact]:
    for k, step in enumerate(steps):
        if hasattr(step, "below_triangles"):
            yield Field((*at, "cleaning", k, "below_triangles"), "drop pieces below, triangles",
                        "Specks of the scanner: connected pieces with fewer triangles are left "
                        "out. The file itself is never changed.", "count", low=0,
                        source="cleaning step")  # fmt: skip
        elif hasattr(step, "up_to_mm"):
            yield Field((*at, "cleaning", k, "up_to_mm"), "close holes up to",
                        "Holes whose rim fits a box of this diagonal are closed with invented "
                        "surface, which stays marked: a gap whose closest place lies on it says "
                        "so.", low=0.1, high=100, source="cleaning step")  # fmt: skip
        elif hasattr(step, "from_mm"):
            yield from _box(step, (*at, "cleaning", k))
        elif hasattr(step, "band"):
            yield from (
                Field((*at, "cleaning", k, "band", row.key), f"band left out, {row.label}",
                      row.help, row.kind, row.low, row.high, optional=True,
                      source="cleaning step")
                for row in BAND
            )  # fmt: skip
        else:
            yield Fact("cleaning", str(getattr(step, "step", "")))


def _box(step: object, at: JsonPath) -> Iterator[Field]:
    is_kept = getattr(step, "step", "") == "keep box"
    name = "kept" if is_kept else "left out"
    what = "Only what lies wholly in the box is kept" if is_kept else (
        "What lies wholly in the box is left out"
    )  # fmt: skip
    for axis, word in enumerate("xyz"):
        for end, key in (("from", "from_mm"), ("to", "to_mm")):
            yield Field((*at, key, axis), f"box {name}, {end} {word}",
                        f"{what}; along the scan's own axes.",
                        source="cleaning step")  # fmt: skip


def _datums(
    corner: Corner, at: JsonPath, result: CheckResult | None, look: Look
) -> Iterator[Section]:
    frame = corner.hub_frame
    if frame is not None:
        yield Section("hub frame", (
            Fact("hub face", frame.plane), Fact("spin axis", frame.axis),
            Fact("clocking", frame.clocking),
            Field((*at, "hub_frame", "clock_deg"), "clock angle of the clocking datum",
                  "Seen from outboard, 0° is up, growing clockwise. It turns every clock position "
                  "on the sheet, no gap.", "angle", -360, 360, source="measured on the vehicle"),
        ))  # fmt: skip
    if corner.wheel_frame is not None:
        yield Section("wheel frame", (
            Fact("pad", corner.wheel_frame.pad), Fact("axis", corner.wheel_frame.bore),
        ))  # fmt: skip
    if result is not None and result.datums:
        lines: list[Field | Fact] = []
        for datum in result.datums:
            lines.append(Fact(f"{datum.part}: {datum.name}", datum.standard_uncertainty, True))
            told = f"rms {look.length(datum.rms_mm, 3)}, form {look.length(datum.form_mm, 3)}"
            lines.append(Fact(f"    {datum.feature}", f"{told} {look.unit}, {datum.points} points"))
            lines += [Fact("    doubt", finding.text) for finding in datum.findings]
        yield Section("as fitted (standard uncertainty)", tuple(lines))
    robust = [
        Field((*at, "datums", i, "robust"), f"{datum.name}: weigh outliers down",
              "Points far from the fitted feature count less, so that specks and chamfers do not "
              "pull it.", "yes", source="fit setting")
        for i, datum in enumerate(corner.datums)
    ]  # fmt: skip
    if robust:
        yield Section("how they are fitted", tuple(robust), folded=True)


def _rotor(
    corner: Corner, at: JsonPath, _result: CheckResult | None, _look: Look
) -> Iterator[Section]:
    if corner.rotor is None:
        return
    here = (*at, "rotor")
    main, rest = ROTOR
    yield Section("rotor", tuple(field_of(here, row) for row in main))
    yield Section("hat, holes and material", tuple(field_of(here, row) for row in rest), True)


def _caliper(
    corner: Corner, at: JsonPath, _result: CheckResult | None, _look: Look
) -> Iterator[Section]:
    if corner.caliper is not None:
        here = (*at, "caliper")
        main, rest = CALIPER
        yield Section("caliper", tuple(field_of(here, row) for row in main))
        yield Section("corners and arc", tuple(field_of(here, row) for row in rest), True)
        for i, box in enumerate(corner.caliper.boxes):
            lines = tuple(field_of((*here, "boxes", i), row) for row in CALIPER_BOX)
            yield Section(box.name, lines, True)
    if corner.shield is not None:
        here = (*at, "shield")
        yield Section("shield", tuple(field_of(here, row) for row in SHIELD), True)


def _wheel(
    corner: Corner, at: JsonPath, _result: CheckResult | None, look: Look
) -> Iterator[Section]:
    stack, stud = corner.seat_stack, corner.stud
    if stack is not None:
        here = (*at, "seat_stack")
        moved = look.length(stack.wheel_moves_mm, 1, signed=True)
        yield Section("seat stack", (
            Field((*here, "spacer_mm"), "spacer",
                  "Between hat and wheel. It moves the wheel outboard: the spokes gain, a tapered "
                  "barrel may lose, and the studs lose thread.", low=0, high=60,
                  source="as ordered"),
            Field((*here, "new_flange_mm"), "flange of the new hat",
                  "Thickness of the hat's flange on the hub face.", low=0, high=60,
                  source="drawing"),
            Field((*here, "old_flange_mm"), "flange of the old rotor",
                  "It lay there before; only the difference moves the wheel.", low=0, high=60,
                  source="measured"),
            Fact("wheel moves outboard by", f"{moved} {look.unit}", True),
        ))  # fmt: skip
    if stud is not None and stack is not None:
        here = (*at, "stud")
        left = stud.engagement_mm(stack.pad_z_mm)
        centred = stud.register_mm(stack.pad_z_mm)
        yield Section("studs", (
            Fact("thread left for the nut", f"{look.length(left, 1)} of "
                 f"{look.length(stud.needed_engagement_mm, 1)} {look.unit} needed", True),
            Fact("wheel centred on", f"{look.length(centred, 1)} of "
                 f"{look.length(stud.needed_register_mm, 1)} {look.unit} needed", True),
            *(Field((*here, row.key), row.label, row.help, row.kind, row.low, row.high,
                    source=_PRACTICE if row.key.startswith("needed") else "measured")
              for row in STUDS),
        ), True)  # fmt: skip
    here = (*at, "weights")
    yield Section("balance weights", (
        Field((*here, "where"), "stick-on weights may sit",
              "Where weights may be stuck inside the barrel. A band declared free of weights "
              "belongs into the hand-over to whoever balances the wheel.", "choice",
              choices=("anywhere", "only in band", "not in band"), source="agreed"),
        Field((*here, "z_from_mm"), "band from z", "From the wheel's pad, outboard positive.",
              low=-400, high=400, optional=True, source="agreed"),
        Field((*here, "z_to_mm"), "band to z", "From the wheel's pad, outboard positive.",
              low=-400, high=400, optional=True, source="agreed"),
        Field((*here, "thickness_mm"), "thickness of a weight",
              "What a weight takes off the gap wherever one may sit.", low=0, high=50,
              source=_PRACTICE),
    ), True)  # fmt: skip


_ASKED = {
    "caliper_barrel_mm": "caliper to barrel",
    "caliper_spokes_mm": "caliper to spokes",
    "rotor_knuckle_mm": "rotor to knuckle",
    "rotor_shield_mm": "shield to rotor",
    "caliper_ring_ceramic_mm": "caliper bridge to ceramic ring",
    "caliper_ring_iron_mm": "caliper bridge to iron ring",
    "fixed_fixed_mm": "parts that do not turn against each other",
    "turning_fixed_mm": "turning to fixed, other",
    "turning_posed_mm": "anything that turns to a posed part",
    "rubber_boot_mm": "anything to a rubber boot",
    "housing_in_hat_per_side_mm": "bearing housing in hat, a side",
    "flange_in_hat_per_side_mm": "hub flange in hat, a side",
}


def _gaps(
    corner: Corner, at: JsonPath, result: CheckResult | None, look: Look
) -> Iterator[Section]:
    default = Requirements()
    help_text = "Least net gap, after allowances are taken off and uncertainty counted against it."
    yield Section("asked", tuple(
        Field((*at, "requirements", one.name), _ASKED.get(one.name, one.name), help_text, low=0,
              high=100,
              source=_PRACTICE if getattr(corner.requirements, one.name)
              == getattr(default, one.name) else "set in this job")
        for one in fields_of(Requirements)
    ))  # fmt: skip
    if corner.allowances:
        lines: list[Field | Fact] = []
        for i, one in enumerate(corner.allowances):
            lines.append(
                Field((*at, "allowances", i, "value_mm"), one.name,
                      f"{one.kind}, {one.direction}"
                      + (f", on {one.part}" if one.part else ", on every pair")
                      + ". A gap must be able to lose this much.",
                      low=None if one.kind == "shift" else 0, high=50, source=one.source)
            )  # fmt: skip
        yield Section("allowances", tuple(lines), True)
    yield Section("uncertainty", (
        Field((*at, "coverage_factor"), "coverage factor k",
              "U = k · u. 2: about 95 %, two-sided; 1.65: about 95 %, one-sided (JCGM 100).",
              "number", source="decision rule"),
    ), True)  # fmt: skip
    if corner.pairs:
        lines = []
        for i, rule in enumerate(corner.pairs):
            name = f"{rule.first} – {rule.second}"
            if rule.required_mm is not None:
                lines.append(Field((*at, "pairs", i, "required_mm"), name, rule.reason, low=0,
                                   high=100, source="set in this job"))  # fmt: skip
            else:
                lines.append(Fact(name, f"not judged: {rule.reason}"))
        yield Section("pairs with a rule of their own", tuple(lines), True)
    yield from limit_sections(at, result, look)
    yield from access_sections(corner, at, result, look)


_HUB = {
    "rotor_register": "rotor register",
    "wheel_register": "wheel register",
    "flange_in_hat": "flange in hat",
    "housing_in_hat": "housing in hat",
}


def _hub(corner: Corner, at: JsonPath, result: CheckResult | None, look: Look) -> Iterator[Section]:
    for key, name in _HUB.items():
        one: RegisterCheck | HatCheck | None = getattr(corner.hub_checks, key)
        if one is None:
            yield Section(name, (Fact("", "No sizes in the job: not checked."),), True)
            continue
        here = (*at, "hub_checks", key)
        lines: list[Field | Fact] = list(_hub_facts(name, at, result, look))
        lines += _size((*here, "shaft"), "shaft", one.shaft)
        lines += _size((*here, "hole"), "hole", one.hole)
        if isinstance(one, RegisterCheck) and one.clearance_to_mm is not None:
            for end, label in (("from", "least"), ("to", "greatest")):
                lines.append(Field((*here, f"clearance_{end}_mm"), f"{label} clearance wanted",
                                   "On the diameter, instead of a fit.", low=0, high=5,
                                   source="set in this job"))  # fmt: skip
        elif isinstance(one, RegisterCheck):
            lines.append(Field((*here, "fit"), "fit wanted",
                               "Hole and shaft class after ISO 286-2.", "text",
                               source="drawing"))  # fmt: skip
        else:
            lines.append(Field((*here, "wall_mm"), "wall now", "Of the housing, before turning.",
                               low=0, high=100, optional=True, source="measured"))  # fmt: skip
            lines.append(Field((*here, "least_wall_mm"), "wall that must stay",
                               "After turning down; ask the maker.", low=0, high=100,
                               optional=True, source="maker's limit"))  # fmt: skip
        yield Section(name, tuple(lines), folded=_clears(name, at, result))


def _found(name: str, at: JsonPath, result: CheckResult | None) -> list[HubResult]:
    """Return what was found of a diameter of this corner, not of the other axle's."""
    if result is None:
        return []
    own = axle_head(result.job, at) + name
    return [hub for hub in result.hub if hub.name == own]


def _clears(name: str, at: JsonPath, result: CheckResult | None) -> bool:
    found = _found(name, at, result)
    return bool(found) and found[0].verdict is Verdict.CLEARS


def _hub_facts(name: str, at: JsonPath, result: CheckResult | None, look: Look) -> Iterator[Fact]:
    for hub in _found(name, at, result):
        yield Fact("verdict", str(hub.verdict), True)
        yield Fact("sizes", f"Ø {look.length(hub.shaft_mm)} ±"
                   f"{look.length(hub.shaft_uncertainty_mm)} in Ø {look.length(hub.hole_mm)} ±"
                   f"{look.length(hub.hole_uncertainty_mm)} {look.unit}")  # fmt: skip
        yield Fact("needed", hub.needed)
        if hub.machine is not None:
            made = hub.machine
            told = f"{made.part} to Ø {look.length(made.to_diameter_mm, 3)} {made.tolerance}"
            yield Fact("machine", f"{told}, {look.length(made.per_side_mm)} a side", True)
        if hub.gauge_first:
            yield Fact("first", hub.gauge_first)
        for text in hub.spoils:
            yield Fact("beware", text)


def _size(at: JsonPath, name: str, size: Size) -> Iterator[Field | Fact]:
    if size.source in ("measured", "drawing", "assumed"):
        yield Field((*at, "value_mm"), f"{name} diameter", "As known.", low=0, high=1000,
                    source=size.source)  # fmt: skip
        yield Field((*at, "uncertainty_mm"), f"{name} ±", "Expanded (k = 2), on the diameter.",
                    low=0, high=10, optional=True, source=size.source)  # fmt: skip
        return
    told = f"scan, datum “{size.datum}”" if size.source == "scan" else "rotor dimensions"
    yield Fact(f"{name} from", told + (f" ({size.note})" if size.note else ""))
    if size.source == "scan":
        yield Field((*at, "bias_limit_mm"), f"{name} may be off as a whole ±",
                    "Limit by which a scanned diameter may be off: scanner, spray.", low=0,
                    high=5, source="maker's statement")  # fmt: skip
    else:
        yield Field((*at, "uncertainty_mm"), f"{name} ±", "Expanded (k = 2), on the diameter.",
                    low=0, high=10, optional=True, source="drawing")  # fmt: skip


def _hand_over(result: CheckResult | None) -> Iterator[Section]:
    yield Section("what the report says about the job", (
        Field(("name",), "job", "Name of the job, on every page.", "text", source="free"),
        Field(("vehicle",), "vehicle", "As the owner calls it.", "text", source="free"),
        Field(("kit",), "kit", "Caliper, ring, hat.", "text", source="free"),
        Field(("author",), "prepared by", "Who answers questions about it.", "text",
              source="free"),
        Field(("notes",), "notes", f"Printed on the first page, {NOTES_LETTERS} letters at most.",
              "words", source="free"),
    ))  # fmt: skip
    if result is not None:
        lines = tuple(Fact(f"{n + 1}", text) for n, text in enumerate(result.not_checked))
        yield Section("not checked", lines)
        if result.findings:
            told = tuple(Fact(str(one.severity), one.text) for one in result.findings)
            yield Section("findings", told)
