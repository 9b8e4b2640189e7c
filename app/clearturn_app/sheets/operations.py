"""The operations of the route card: what each is called, what it states, what it is signed by."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from clearturn.job.edits import sign_off_lifted
from clearturn.job.model import Corner, Job, SignOff
from clearturn.job.positions import JsonPath
from clearturn.result import CheckResult, Verdict
from clearturn.trade.sums import SumsResult
from clearturn_app.window.look import Look

States = Callable[[Job, CheckResult | None, Look], str]
_RUN_OUT = ("run_out", "mass", "axle_sheet")
_BRAKE = ("brake_balance", "parking_brake", "heat")


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation of the route card.

    Attributes
    ----------
    number : int
    name : str
    keys : tuple of str
        Keys of a corner (or of the job, with a leading "/") whose change touches this operation.
    states : callable
        Its result in a few words.
    sums : tuple of str
        The trade sums that belong to it, by their keys in the job.
    short : str
        Name on the card, where the full one has no room.
    """

    number: int
    name: str
    keys: tuple[str, ...]
    states: States
    sums: tuple[str, ...] = ()
    short: str = ""

    @property
    def title(self) -> str:
        """Number and name, as a signature names it: "10 Scans"."""
        return f"{self.number} {self.name}"


def _corners(job: Job) -> list[Corner]:
    return [axle.corner for axle in job.axles]


def _scans(job: Job, _result: CheckResult | None, _look: Look) -> str:
    scans = [scan for corner in _corners(job) for scan in corner.scans]
    if not scans:
        return "no scan yet"
    units = sorted({scan.unit for scan in scans})
    return f"{_count(len(scans), 'scan')}, unit {' and '.join(units)}"


def _datums(job: Job, result: CheckResult | None, _look: Look) -> str:
    count = sum(len(corner.datums) for corner in _corners(job))
    if not count:
        return "no datum yet"
    doubts = sum(len(datum.findings) for datum in result.datums) if result else 0
    return _count(count, "datum") + (f", {_count(doubts, 'doubt')}" if doubts else ", fitted")


def _rotor(job: Job, _result: CheckResult | None, look: Look) -> str:
    rotors = [corner.rotor for corner in _corners(job) if corner.rotor is not None]
    if not rotors:
        return "no dimensions yet"
    one = rotors[0]
    size = f"{look.length(one.ring_outer_diameter_mm, 0)} × {look.length(one.ring_thickness_mm, 0)}"
    return f"{size} {look.unit}"


def _caliper(job: Job, _result: CheckResult | None, look: Look) -> str:
    calipers = [corner.caliper for corner in _corners(job) if corner.caliper is not None]
    if not calipers:
        return "no dimensions yet"
    return f"to r {look.length(calipers[0].outer_radius_mm, 1)} at {calipers[0].clock_deg:.0f}°"


def _wheels(job: Job, _result: CheckResult | None, look: Look) -> str:
    stacks = [corner.seat_stack for corner in _corners(job) if corner.seat_stack is not None]
    if not stacks:
        return "no seat stack yet"
    spacer = stacks[0].spacer_mm
    return f"spacer {look.length(spacer, 1)} {look.unit}" if spacer else "no spacer"


def _gaps(_job: Job, result: CheckResult | None, _look: Look) -> str:
    if result is None:
        return "not checked yet"
    judged = [pair.verdict for pair in result.pairs] + [one.verdict for one in result.access]
    return _tally(judged) or "no pair to judge"


def _hub(_job: Job, result: CheckResult | None, _look: Look) -> str:
    if result is None:
        return "not checked yet"
    machine = sum(hub.machine is not None for hub in result.hub)
    if machine:
        return f"{machine} of {len(result.hub)} to machine"
    return _tally([hub.verdict for hub in result.hub]) or "no diameter given"


def _hand_over(job: Job, _result: CheckResult | None, _look: Look) -> str:
    signed = {entry.operation for entry in job.sign_offs}
    others = [operation for operation in OPERATIONS if operation.name != "Hand-over"]
    done = sum(operation.title in signed for operation in others)
    return f"{done} of {len(others)} signed off"


def _tally(verdicts: Sequence[Verdict]) -> str:
    parts = [
        f"{verdicts.count(verdict)} {verdict}"
        for verdict in (Verdict.FAILS, Verdict.NOT_PROVEN)
        if verdict in verdicts
    ]
    if not parts and verdicts:
        return f"all {len(verdicts)} clear"
    return ", ".join(parts)


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _sums(names: tuple[str, ...]) -> States:
    def states(job: Job, _result: CheckResult | None, _look: Look) -> str:
        given = sum(name in job.sums for name in names)
        return _count(given, "sum") if given else "no numbers yet"

    return states


OPERATIONS: tuple[Operation, ...] = (
    Operation(10, "Scans", ("scans",), _scans),
    Operation(20, "Datums", ("datums", "hub_frame", "wheel_frame", "side", "mirror"), _datums),
    Operation(30, "Rotor", ("rotor",), _rotor, ("ring_joint",)),
    Operation(40, "Caliper & bracket", ("caliper", "bracket", "shield"), _caliper,
              ("kit", "pads", "bracket"), "Caliper"),
    Operation(50, "Wheel", ("seat_stack", "stud", "weights"), _wheels),
    Operation(
        60, "Gaps",
        ("parts", "seats", "pairs", "requirements", "allowances", "coverage_factor", "cures",
         "access"),
        _gaps,
    ),
    Operation(70, "Hub & bolts", ("hub_checks",), _hub, ("hub_fits", "bolts"), "Hub"),
    Operation(80, "Brake sums", (), _sums(_BRAKE), _BRAKE, "Sums"),
    Operation(90, "Run-out & mass", (), _sums(_RUN_OUT), _RUN_OUT, "Run-out"),
    Operation(100, "Hand-over", ("not_checked", "/name", "/vehicle", "/kit", "/author", "/notes"),
              _hand_over),
)  # fmt: skip


def touched_by(path: JsonPath) -> Operation | None:
    """Return the operation that a change at a path of the job touches."""
    if len(path) > 1 and path[0] == "sums":
        return next((one for one in OPERATIONS if path[1] in one.sums), None)
    key = f"/{path[0]}"
    if path and path[0] == "axles" and len(path) > 3:
        key = str(path[3])
    return next((one for one in OPERATIONS if key in one.keys), None)


def signatures_lifted(job: Job, path: JsonPath) -> Job:
    """Return the job without the signatures that a change at a path takes away.

    Those on the operation it touches and on all after it, which build on it.
    """
    changed = touched_by(path)
    if changed is None:
        return job
    for operation in OPERATIONS:
        if operation.number >= changed.number:
            job = sign_off_lifted(job, operation.title)
    return job


def signature_on(job: Job, operation: Operation) -> SignOff | None:
    """Return the signature on an operation."""
    return next((one for one in job.sign_offs if one.operation == operation.title), None)


def told(
    operation: Operation, job: Job, result: CheckResult | None, sums: SumsResult | None, look: Look
) -> str:
    """Return an operation's result in a few words; a sum that fails is always among them."""
    words = operation.states(job, result, look)
    failing = _failing(operation, sums)
    if not failing:
        return words
    verb = "fails" if failing == 1 else "fail"
    if not operation.keys:  # states its sums anyway
        return f"{words}, {failing} {verb}"
    return words if alerts(operation, result, None) else f"{_count(failing, 'sum')} {verb}"


def _failing(operation: Operation, sums: SumsResult | None) -> int:
    sheets = sums.sheets if sums is not None else ()
    return sum(sheet.name in operation.sums and sheet.word == "fails" for sheet in sheets)


def alerts(operation: Operation, result: CheckResult | None, sums: SumsResult | None) -> bool:
    """Return whether something of this operation fails."""
    if _failing(operation, sums):
        return True
    if result is None:
        return False
    if operation.number == 60:
        return any(one.verdict is Verdict.FAILS for one in (*result.pairs, *result.access))
    if operation.number == 70:
        return any(hub.verdict is Verdict.FAILS for hub in result.hub)
    return False
