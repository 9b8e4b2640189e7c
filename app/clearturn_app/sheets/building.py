"""What the slips hold for building a job up: what is there, and the words for the next step."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from clearturn.job import model
from clearturn.job.building import (
    ROLES,
    datum_for,
    next_step,
    scan_showing,
    with_touched_diameters,
)
from clearturn.job.measured import measurable_sizes
from clearturn.job.sums import first_axle
from clearturn.pose import place_of
from clearturn_app.sheets.asked import (
    CLOCK,
    DIAL,
    HUB,
    MEASURED,
    MESH,
    PLACE,
    POSED,
    SECTOR,
    SPOKES,
    STACK,
    START,
    TOLERANCE,
)
from clearturn_app.sheets.dimensions import BAND, CALIPER, CALIPER_BOX, ROTOR, SHIELD, STUDS, Row
from clearturn_app.sheets.fields import Blank, Deed, Fact, Field, Form, Line, Section
from clearturn_app.sheets.operations import Operation
from clearturn_app.window.look import Look
from clearturn_app.window.workpiece import Loaded

FORMATS = "STL, PLY, OBJ, 3MF, GLB, STEP or IGES"
_NOTHING: Mapping[str, float] = {}


def building_sections(
    operation: Operation,
    job: model.Job,
    loaded: Mapping[str, Loaded],
    look: Look,
    axle: int = 0,
) -> list[Section]:
    """Return what builds an axle's corner, for an operation.

    Parameters
    ----------
    axle : int
        Which, by its place in the job.
    loaded : mapping of str to Loaded
        The scans in memory.
    """
    makers: dict[int, Callable[[_Bench], Iterator[Section]]] = {
        10: _scans, 20: _datums, 30: _rotor, 40: _caliper, 50: _wheel, 60: _gaps, 70: _hub,
        90: _run_out,
    }  # fmt: skip
    if not job.axles or operation.number not in makers:
        return []
    bench = _Bench(job, axle, loaded, look)
    made = list(makers[operation.number](bench))
    step = next_step(bench.corner)
    if step is not None and made:
        made.insert(0, Section("next", (Fact("", step, True),)))
    return made


class _Bench:
    def __init__(
        self,
        job: model.Job,
        axle: int,
        loaded: Mapping[str, Loaded],
        look: Look,
    ) -> None:
        self.job, self.axle, self.loaded, self.look = job, axle, loaded, look
        self.corner = job.axles[axle].corner

    def form(
        self, deed: str, word: str, rows: tuple[Row, ...], known: Mapping[str, float] = _NOTHING
    ) -> Form:
        """Return a form of rows, with what is known already written in."""
        blanks = []
        for row in rows:
            field = Field(
                (), row.label, row.help, row.kind, row.low, row.high, row.choices,
                optional=row.optional,
            )  # fmt: skip
            start = START.get(row.key, "")
            if row.key in known:
                start = field.written(known[row.key], self.look)
            elif row.kind == "length" and start:
                start = field.written(float(start), self.look)
            blanks.append(Blank(row.key, field, start))
        return Form(deed, word, tuple(blanks))


def _scans(bench: _Bench) -> Iterator[Section]:
    axle = ("axles", bench.axle)
    yield Section(
        "take scans in",
        (
            _axles(bench),
            Deed("", f"{FORMATS}. Or drop the files on the sheet.",
                 (("choose scans …", "choose scans"),)),
            Field((*axle, "name"), "axle", "Which axle this corner is on.", "choice",
                  choices=("front", "rear"), source="given in the job"),
            Field((*axle, "corner", "side"), "side scanned",
                  "Left or right, as sitting in the vehicle.", "choice",
                  choices=("left", "right"), source="given in the job"),
        ),
    )  # fmt: skip
    for scan in bench.corner.scans:
        yield Section(f"{scan.name}: on the bench", tuple(_bench_lines(scan, bench)))
    for scan in bench.corner.scans:
        frame = {"knuckle": bench.corner.hub_frame, "wheel": bench.corner.wheel_frame}
        if frame.get(scan.name) is not None:
            text = "What lies wholly in the band is left out; about the axis of its own frame."
            form = bench.form(f"band:{scan.name}", "leave it out", BAND)
            yield Section(f"{scan.name}: leave a band out", (Deed("", text), form), folded=True)
    sizes = tuple(measurable_sizes(bench.corner))
    if sizes:
        rows = (
            Row(
                "size", "measured", "A touched feature, or two faces.", None, None, "choice", sizes
            ),
            *MEASURED,
        )
        lines: list[Line] = [
            Deed(one.name, scan.name, (("take away", f"drop size:{scan.name}:{one.name}"),))
            for scan in bench.corner.scans
            for one in scan.size_check
        ]
        lines.append(bench.form("hand size", "take it in", rows))
        yield Section("sizes measured by hand", tuple(lines), folded=True)


def _axles(bench: _Bench) -> Line:
    """Which axle is built, and words for the other one."""
    axles = bench.job.axles
    here = axles[bench.axle].name
    other = "rear" if here == "front" else "front"
    if len(axles) == 1:
        return Deed(
            "", f"This is the {here} axle.", ((f"add the {other} axle", f"add axle:{other}"),)
        )
    return Deed("", f"The slips build the {here} axle.",
                ((f"build the {other} axle", f"axle:{1 - bench.axle}"),))  # fmt: skip


def _bench_lines(scan: model.Scan, bench: _Bench) -> Iterator[Line]:
    name = scan.name
    one = bench.loaded.get(name)
    if one is None:
        yield Deed("", "Not read in this session.", (("read and show it", f"show:{name}"),))
        return
    if one.source.scan != scan:
        yield Deed("", "Being cleaned …")
        return
    found, (low, high) = one.survey, one.source.mesh.bounds
    size = " × ".join(bench.look.length(float(s), 0) for s in high - low)
    told = f"{len(one.source.mesh.faces):,} triangles, {found.pieces:,} pieces"
    yield Deed("size", f"{size} {bench.look.unit}; {told}", (("show it", f"show:{name}"),))
    for finding in (*one.source.findings, *found.findings):
        yield Fact(str(finding.severity), finding.text)
    for k, (step, words) in enumerate(zip(scan.cleaning, one.removed, strict=True)):
        yield Deed(str(step.step), words, (("take back", f"take back:{name}:{k}"),))
    yield Fact("left", _left_words(one.left))
    specks, below = specks_of(one)
    leave = [("a piece: touch it", f"drop piece:{name}"), ("a box: draw it", f"drop box:{name}")]
    if specks and not any(step.step == "drop small pieces" for step in scan.cleaning):
        leave.insert(0, (f"{specks} specks below {below} triangles", f"specks:{name}"))
    yield Deed("leave out", "", tuple(leave))
    if found.open_edges and not any(step.step == "fill holes" for step in scan.cleaning):
        size = f"{bench.look.length(SMALL_HOLE_MM, 0)} {bench.look.unit}"
        yield Deed("holes", "", ((f"close those up to {size}, marked", f"close holes:{name}"),))
    other = "wheel" if name == "knuckle" else "knuckle"
    used = any(d.scan in (name, other) for d in bench.corner.datums)
    if not used:
        yield Deed("it shows", f"a {name}" if name in ("knuckle", "wheel") else name,
                   ((f"no, the {other}", f"shows:{name}:{other}"),
                    ("not wanted", f"drop scan:{name}")))  # fmt: skip


def _left_words(left: tuple[int, ...]) -> str:
    """Which pieces a part would take that takes the rest: bench and clamp are mostly one each."""
    if len(left) < 2:
        return "one piece" if left else "nothing"
    most = [f"{size:,}" for size in left[:_PIECES_TOLD]]
    last = most.pop()
    which = "of" if len(left) <= _PIECES_TOLD else "the largest of"
    return f"{len(left):,} pieces, {which} {', '.join(most)} and {last} triangles"


_PIECES_TOLD = 6
SMALL_HOLE_MM = 10.0
"""Offered for closing; common practice, no source.  The slip's number can be changed."""


def specks_of(one: Loaded) -> tuple[int, int]:
    """Return how many pieces hold less than a thousandth of the triangles, and that bound."""
    sizes = one.survey.piece.triangles
    below = max(2, int(sizes.sum()) // 1000)
    return int((sizes < below).sum()), below


def _touch_lines(bench: _Bench, shows: str) -> Iterator[Deed]:
    corner = bench.corner
    if scan_showing(corner, shows) is None:
        yield Deed("", f"There is no {shows} scan yet.", (("choose scans …", "choose scans"),))
        return
    yield Deed("", "Touch them one after another in the picture; or turn the picture until up is "
               "up, let them be proposed, and look each over.",
               (("touch one after another", f"touch all:{shows}"),
                ("look, and propose", f"look:{shows}")))  # fmt: skip
    for role in ROLES:
        if role.shows == shows:
            datum = datum_for(corner, role)
            if datum is None:
                yield Deed(role.name, role.help, (("touch", f"touch:{role.name}"),))
                continue
            count = len(datum.seeds_mm)
            text = f"“{datum.name}”, a {datum.feature}"
            text += f" from {count} patches" if count > 1 else ""
            yield Deed(role.name, text, (("touch anew", f"touch:{role.name}"),
                                         ("join a patch", f"join:{role.name}")))  # fmt: skip


def _datums(bench: _Bench) -> Iterator[Section]:
    corner = bench.corner
    yield Section("touch the knuckle", tuple(_touch_lines(bench, "knuckle")))
    needed = [role for role in ROLES if role.shows == "knuckle" and role.needed]
    if corner.hub_frame is None and all(datum_for(corner, role) for role in needed):
        text = "The clock angle ties the scan to the vehicle; it must be known, not guessed."
        form = bench.form("clock", "make the hub frame", (CLOCK,))
        yield Section("hub frame", (Deed("", text), form))
    if corner.hub_frame is not None:
        yield Section("what turns, what stands", tuple(_split_lines(bench)),
                      folded=any(part.kind == "knuckle" for part in corner.parts))  # fmt: skip


def _split_lines(bench: _Bench) -> Iterator[Line]:
    own = [p for p in bench.corner.parts if p.scan is not None and p.scan.scan == "knuckle"]
    for part in own:
        yield Deed(part.name, f"{part.motion}", (("not so", f"drop part:{part.name}"),))
    yield Deed("", "Pieces that are true only in the scanned position, touched one by one:",
               tuple((kind, f"part:{kind}") for kind in POSED[:4]))  # fmt: skip
    yield Deed("", "", tuple((kind, f"part:{kind}") for kind in POSED[4:]))
    yield Deed("", "What turns, by a band about the axis; all the rest is the knuckle. Touching "
               "the picture reads r and z.", (("read r and z", "read:knuckle"),))  # fmt: skip
    yield bench.form("split knuckle", "split it so", HUB)


def _rotor(bench: _Bench) -> Iterator[Section]:
    if bench.corner.rotor is None:
        rows = (*ROTOR[0], *ROTOR[1], TOLERANCE)
        yield Section("rotor from its drawing", (bench.form("rotor", "make the rotor", rows),))
    else:
        yield from _made_to(bench, "rotor")


def _made_to(bench: _Bench, name: str) -> Iterator[Section]:
    for i, part in enumerate(bench.corner.parts):
        if part.name == name and part.mesh is None:  # a mesh's stands beside its place
            at = ("axles", bench.axle, "corner", "parts", i, "tolerance_mm")
            field = Field(at, TOLERANCE.label, TOLERANCE.help, low=0, high=10, source="drawing")
            yield Section(f"{name}: the part as made", (field,), folded=True)


def _caliper(bench: _Bench) -> Iterator[Section]:
    there = [part for part in bench.corner.parts if part.kind == "caliper"]
    if not there:
        rows = (*CALIPER[0], *CALIPER[1], TOLERANCE)
        yield Section("caliper from its drawing",
                      (bench.form("caliper", "make the caliper", rows),))  # fmt: skip
        text = f"{FORMATS}, already posed in the hub frame. Or drop the file on the sheet."
        line = Deed("", text, (("choose a mesh …", "choose caliper"),))
        yield Section("or from a mesh", (line,))
        yield from _shield(bench)
        yield from _meshes(bench)
        return
    yield from _made_to(bench, there[0].name)
    if bench.corner.caliper is not None:
        name = Row("name", "name", "Bleed nipple, pipe, pad pin.", None, None, "text")
        form = bench.form("box", "put it on", (name, *CALIPER_BOX))
        yield Section("put something on the caliper", (form,), folded=True)
    yield from _shield(bench)
    yield from _meshes(bench)


def _meshes(bench: _Bench) -> Iterator[Section]:
    """Other parts from files, and the place of each."""
    text = f"{FORMATS}, in the hub frame or to be placed: what it is, then its file."
    form = bench.form("mesh", "choose its file …", MESH)
    yield Section("a part from a mesh", (Deed("", text), form), folded=True)
    for i, part in enumerate(bench.corner.parts):
        if part.mesh is None:
            continue
        at = ("axles", bench.axle, "corner", "parts", i)
        shift, turn = place_of(part.mesh.hub_from_mesh)
        known = dict(zip((row.key for row in PLACE), (*shift, *turn), strict=True))
        lines: list[Line] = [
            Fact("file", part.mesh.path),
            *(Field((*at, row.key), f"{part.name}: {row.label}", row.help, row.kind, row.low,
                    row.high, row.choices, source="given in the job") for row in MESH),
            Deed("", "", (("take it away", f"drop part:{part.name}"),)),
            bench.form(f"place:{part.name}", "place it so", PLACE, known),
        ]  # fmt: skip
        yield Section(f"{part.name}: what it is and where", tuple(lines), folded=True)


def _shield(bench: _Bench) -> Iterator[Section]:
    if bench.corner.shield is None:
        form = bench.form("shield", "make the shield", (*SHIELD, *SECTOR, TOLERANCE))
        yield Section("splash shield from its drawing", (form,), folded=True)
    else:
        yield from _made_to(bench, "shield")
        line = Deed("", "Not on this corner?", (("take the shield away", "drop shield"),))
        yield Section("splash shield", (line,), folded=True)


def _wheel(bench: _Bench) -> Iterator[Section]:
    corner = bench.corner
    if corner.seat_stack is None:
        lines: tuple[Line, ...] = (Deed("", "The new hat's flange is told by the rotor's slip."),)
        if corner.rotor is not None:
            lines = (bench.form("stack", "stack it so", STACK),)
        yield Section("what lies under the wheel", lines)
    elif corner.stud is None:
        yield Section("studs: what a spacer leaves of them",
                      (bench.form("studs", "take these studs", STUDS),), folded=True)  # fmt: skip
    yield Section("touch the wheel", tuple(_touch_lines(bench, "wheel")),
                  folded=corner.wheel_frame is not None)  # fmt: skip
    if corner.wheel_frame is None:
        return
    parts = [p for p in corner.parts if p.kind in ("wheel", "spokes", "barrel")]
    made: list[Line] = [
        Deed(part.name, part.motion, (("not so", f"drop part:{part.name}"),)) for part in parts
    ]
    made.append(Deed("", "Spokes and barrel have requirements of their own; the spokes are a band "
                     "about the wheel's axis, all the rest is the barrel. Touching the picture "
                     "reads r and z.", (("whole, not split", "whole wheel"),
                                        ("read r and z", "read:wheel"))))  # fmt: skip
    made.append(bench.form("split wheel", "split it so", SPOKES))
    yield Section("what the wheel is made of", tuple(made), folded=bool(parts))


def _gaps(bench: _Bench) -> Iterator[Section]:
    if not bench.corner.allowances and bench.corner.parts:
        text = "Nothing is taken off the gaps yet: run-out, play, placing of the caliper."
        yield Section("allowances to begin with", (
            Deed("", text, (("take the usual (common practice, no source)", "allowances"),)),
        ))  # fmt: skip
    names = tuple(part.name for part in bench.corner.parts)
    if len(names) > 1:
        rows = (
            Row("first", "between", "One of the two parts.", None, None, "choice", names),
            Row("second", "and", "The other.", None, None, "choice", names[::-1]),
            Row("required_mm", "asked", "Instead of the table's.", 0, 100),
            Row("reason", "because", "Stands in the report.", None, None, "text"),
        )
        yield Section("a rule of its own for a pair",
                      (bench.form("rule", "make the rule", rows),), folded=True)  # fmt: skip


def _hub(bench: _Bench) -> Iterator[Section]:
    if with_touched_diameters(bench.corner) is not bench.corner:
        text = "Register, bore, flange rim and bearing housing as touched, against the rotor's."
        line = Deed("", text, (("check the touched diameters", "diameters"),))
        yield Section("from what was touched", (line,))


def _run_out(bench: _Bench) -> Iterator[Section]:
    held = bench.job.sums.get("run_out")
    known = {k: v for k, v in held.items() if isinstance(v, int | float)} if held else {}
    axle = first_axle(bench.job)  # the sums are its
    if axle is not None and axle.corner.rotor is not None:
        known.setdefault("stud_count", axle.corner.rotor.bolt_count)
    text = ("On the car, from stud 1 on, once round at equal steps. A csv file with the columns "
            "rotor_mm, hub_face_mm, thickness_mm, register_mm, or some of them.")  # fmt: skip
    lines: list[Line] = [
        Deed("", text),
        bench.form("readings", "choose their file …", DIAL, known),
    ]
    if held and held.get("readings_csv"):
        lines.insert(0, Fact("read from", str(held["readings_csv"])))
    yield Section("readings of the dial gauge", tuple(lines), folded=bool(held))
