"""Run-out on the car: harmonics of dial readings, which part is at fault, the best stud index.

Readings r_i at n equal steps of angle, first at stud 1.  Total reading = greatest − least.
Harmonics by the discrete Fourier sum, written A cos(k x − phase).  A plane face tilted about the
axis, or a circle off centre, is the first harmonic: eccentricity e gives a total reading 2 e.

The hub face's first harmonic is a tilt: it reaches the rotor's radius times r_rotor/r_hub.  What
is left of the reading on the rotor is the rotor's own and turns with it when it is put on other
studs; every index is computed, the best is the least total reading.

References
----------
Circular run-out: ISO 1101 (read in training pages).  Least-squares circle as first harmonic:
ISO 4291, from memory.  Targets 0.05 mm on the rotor, 0.03 mm on the hub face, 0.015 mm in
thickness: common practice, no source; workshop limits read for cars differ from 0.03 to 0.10 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator

from clearturn.findings import Finding
from clearturn.trade.inputs import Any_, Checked, Count, LengthMm, NotNegative, Positive, SumProblem
from clearturn.trade.readings import COLUMNS, parse_readings
from clearturn.trade.sheet import Curve, Grid, Line, Plot, Ruling, Sheet, at_most, num, plain_values

LEAST_READINGS = 4
MOST_READINGS = 3600
MOST_TOTAL_MM = 5.0  # more is a slip of the unit, or the dial fell off
_FINE = 720  # steps at which a curve is drawn


def _typed(value: Any) -> Any:
    # A list becomes a tuple here: after this step no list is taken for one any more.
    if isinstance(value, str):
        return parse_readings(value)
    return tuple(value) if isinstance(value, list) else value


Readings = Annotated[
    tuple[Any_, ...],
    BeforeValidator(
        _typed,
        json_schema_input_type=tuple[float, ...] | str,
    ),
]


@dataclass(frozen=True, slots=True)
class RunOut(Checked):
    """Inputs of the sum; every list starts at stud 1 and runs once round, the same way.

    A list may also be one text, as pasted: "0.015 0.020 0.017 …".

    Attributes
    ----------
    rotor_mm, rotor_radius_mm
        Axial readings on the ring, on the car, and the radius they were taken at.
    hub_face_mm, hub_radius_mm
        Axial readings on the hub face, rotor off.
    thickness_mm : tuple of float
        Of the ring.
    register_mm : tuple of float
        Radial readings on the hub's register.
    readings_csv : str
        A file of readings instead, its path relative to the job file; its columns are named
        `rotor_mm`, `hub_face_mm`, `thickness_mm`, `register_mm`.
    reading_uncertainty_mm : float
        Expanded (k = 2), of one reading.
    stud_count
        Of the hub.
    rotor_target_mm, hub_target_mm, thickness_target_mm, register_target_mm
        Total readings that must not be passed.
    """

    stud_count: Count
    rotor_mm: Readings = ()
    rotor_radius_mm: LengthMm | None = None
    hub_face_mm: Readings = ()
    hub_radius_mm: LengthMm | None = None
    thickness_mm: Readings = ()
    register_mm: Readings = ()
    readings_csv: str = ""
    reading_uncertainty_mm: NotNegative = 0.004
    rotor_target_mm: Positive = 0.05
    hub_target_mm: Positive = 0.03
    thickness_target_mm: Positive = 0.015
    register_target_mm: Positive = 0.05

    def check(self) -> None:
        """Refuse too few readings and readings without the radius they need."""
        for key in COLUMNS:
            self._check_readings(key, getattr(self, key))
        for key, radius in (("rotor_mm", "rotor_radius_mm"), ("hub_face_mm", "hub_radius_mm")):
            if getattr(self, key) and self.hub_face_mm and getattr(self, radius) is None:
                raise SumProblem("a key is missing", radius, mend=f"{key} needs it")

    def _check_readings(self, key: str, readings: tuple[float, ...]) -> None:
        count = len(readings)
        if count and not LEAST_READINGS <= count <= MOST_READINGS:
            raise SumProblem(
                "the number of readings does not tell a run-out", key, found=str(count),
                allowed=f"{LEAST_READINGS} to {MOST_READINGS} at equal steps",
            )  # fmt: skip
        for i, reading in enumerate(readings):
            if key == "thickness_mm" and reading <= 0:
                raise SumProblem(
                    "out of range", key, i, found=f"{reading:g}", allowed="more than 0"
                )
        if count and total_reading(readings) > MOST_TOTAL_MM:
            raise SumProblem(
                "these readings lie too far apart for a run-out", key,
                found=f"{total_reading(readings):g} mm", allowed=f"at most {MOST_TOTAL_MM:g} mm",
                mend="enter mm, not hundredths or micrometres",
            )  # fmt: skip


def total_reading(readings: tuple[float, ...]) -> float:
    """Return greatest less least reading."""
    return max(readings) - min(readings)


@dataclass(frozen=True, slots=True)
class Harmonic:
    """A cos(order · x − phase)."""

    order: int
    amplitude_mm: float
    phase_deg: float


def harmonics(readings: tuple[float, ...], most: int = 6) -> tuple[Harmonic, ...]:
    """Return the harmonics 1 to `most` that n readings can tell (below n/2)."""
    values = np.fft.rfft(np.asarray(readings)) / len(readings)
    orders = range(1, min(most, (len(readings) - 1) // 2) + 1)
    return tuple(
        Harmonic(k, 2.0 * abs(values[k]), math.degrees(math.atan2(-values[k].imag, values[k].real)))
        for k in orders
    )


def eccentricity_mm(readings: tuple[float, ...]) -> float:
    """Return the offset of a circle's centre from the axis, from radial readings."""
    return harmonics(readings, 1)[0].amplitude_mm


def _tilt(readings: tuple[float, ...], factor: float, count: int) -> NDArray[np.float64]:
    first = harmonics(readings, 1)[0]
    angles = math.tau * np.arange(count) / count
    phase = math.radians(first.phase_deg)
    return first.amplitude_mm * factor * np.cos(angles - phase)


def shifted(readings: NDArray[np.float64], turn: float) -> NDArray[np.float64]:
    """Return readings of the same part put on turned by a share of a full turn.

    Exact where the shift is a whole number of steps; else by its Fourier sum.
    """
    count = len(readings)
    steps = turn * count
    if abs(steps - round(steps)) < 1e-9:
        return np.roll(readings, round(steps))
    values = np.fft.rfft(readings)
    orders = np.arange(len(values))
    turned: NDArray[np.float64] = np.fft.irfft(
        values * np.exp(-2j * np.pi * orders * turn), n=count
    )
    return turned


@dataclass(frozen=True, slots=True)
class Index:
    """Total reading with the rotor moved on by some studs, in the sense of the readings."""

    studs: int
    total_mm: float


@dataclass(frozen=True, slots=True)
class RunOutResult:
    """Result of the sum, mm."""

    rotor_total_mm: float | None
    rotor_harmonics: tuple[Harmonic, ...]
    hub_total_mm: float | None
    hub_at_rotor_mm: float | None
    rotor_own_mm: float | None
    thickness_variation_mm: float | None
    register_total_mm: float | None
    register_eccentricity_mm: float | None
    indexes: tuple[Index, ...]
    best: Index | None
    total_uncertainty_mm: float


def stud_indexes(
    rotor: tuple[float, ...], hub: tuple[float, ...], factor: float, studs: int
) -> tuple[tuple[Index, ...], float]:
    """Return every stud index with its total reading, and the rotor's own total reading.

    Parameters
    ----------
    factor : float
        Rotor radius over hub radius.
    """
    carried = _tilt(hub, factor, len(rotor))
    own = np.asarray(rotor) - carried
    totals = [float(np.ptp(carried + shifted(own, k / studs))) for k in range(studs)]
    return tuple(Index(k, total) for k, total in enumerate(totals)), float(np.ptp(own))


def compute(inputs: RunOut) -> RunOutResult:
    """Return total readings, harmonics and every stud index."""
    indexes: tuple[Index, ...] = ()
    own = carried = None
    if inputs.hub_face_mm and inputs.rotor_radius_mm and inputs.hub_radius_mm:
        factor = inputs.rotor_radius_mm / inputs.hub_radius_mm
        carried = 2.0 * harmonics(inputs.hub_face_mm, 1)[0].amplitude_mm * factor
        if inputs.rotor_mm:
            indexes, own = stud_indexes(
                inputs.rotor_mm, inputs.hub_face_mm, factor, inputs.stud_count
            )
    return RunOutResult(
        rotor_total_mm=total_reading(inputs.rotor_mm) if inputs.rotor_mm else None,
        rotor_harmonics=harmonics(inputs.rotor_mm) if inputs.rotor_mm else (),
        hub_total_mm=total_reading(inputs.hub_face_mm) if inputs.hub_face_mm else None,
        hub_at_rotor_mm=carried,
        rotor_own_mm=own,
        thickness_variation_mm=total_reading(inputs.thickness_mm) if inputs.thickness_mm else None,
        register_total_mm=total_reading(inputs.register_mm) if inputs.register_mm else None,
        register_eccentricity_mm=eccentricity_mm(inputs.register_mm)
        if inputs.register_mm
        else None,
        indexes=indexes,
        best=min(indexes, key=lambda index: index.total_mm) if indexes else None,
        # A total reading is the difference of two.
        total_uncertainty_mm=math.sqrt(2.0) * inputs.reading_uncertainty_mm,
    )


def sheet(inputs: RunOut) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    spread = result.total_uncertainty_mm
    rulings = [
        Ruling(
            name,
            f"{num(value, 3)} ±{num(spread, 3)} mm",
            f"at most {num(limit, 3)} mm",
            at_most(value, limit, spread),
        )
        for name, value, limit in (
            ("rotor on the car", result.rotor_total_mm, inputs.rotor_target_mm),
            ("hub face", result.hub_total_mm, inputs.hub_target_mm),
            ("thickness variation", result.thickness_variation_mm, inputs.thickness_target_mm),
            ("register, radial", result.register_total_mm, inputs.register_target_mm),
        )
        if value is not None
    ]
    gist = "not measured"
    if result.best:
        gist = f"best {result.best.studs} studs on" if result.best.studs else "best as it sits"
    if result.rotor_total_mm is not None:
        gist = f"rotor {num(result.rotor_total_mm, 3)} mm" + (f", {gist}" if result.best else "")
    return Sheet(
        name="run_out",
        title="Run-out on the car",
        gist=gist,
        lines=tuple(_lines(result)),
        rulings=tuple(rulings),
        grids=_grids(result),
        findings=_findings(inputs, result),
        assumed=(
            "all readings start at stud 1 and run the same way, the dial 10 mm inside the outer "
            "edge, the axle without play",
            "wheel nuts or cone washers clamp the rotor as the wheel does",
        ),
        sources=(
            *((f"readings: {inputs.readings_csv}",) if inputs.readings_csv else ()),
            "run-out: ISO 1101",
            "targets: common practice, no source; the vehicle maker's workshop limits differ from "
            "car to car and go first",
        ),
        plots=_plots(inputs, result),
        values=plain_values(result),
    )


def _lines(result: RunOutResult) -> list[Line]:
    lines = []
    if result.hub_at_rotor_mm is not None:
        note = "first harmonic of the hub face, at the rotor's radius"
        lines.append(Line("the hub's share", f"{num(result.hub_at_rotor_mm, 3)} mm", note))
    if result.rotor_own_mm is not None:
        lines.append(Line("the rotor's own", f"{num(result.rotor_own_mm, 3)} mm"))
    if result.register_eccentricity_mm is not None:
        value = f"{num(result.register_eccentricity_mm, 3)} mm"
        lines.append(Line("register off centre by", value, "first harmonic"))
    if result.best is not None:
        studs = result.best.studs
        how = f"move the rotor on by {studs} stud{'s' * (studs > 1)}" if studs else "as it sits"
        value = f"{how}: {num(result.best.total_mm, 3)} mm"
        lines.append(Line("best stud index", value))
    return lines


def _grids(result: RunOutResult) -> tuple[Grid, ...]:
    grids = []
    if result.rotor_harmonics:
        rows = tuple(
            (str(h.order), num(h.amplitude_mm, 4), num(h.phase_deg, 0))
            for h in result.rotor_harmonics
        )
        heads = ("order", "amplitude, mm", "phase, °")
        grids.append(Grid("Harmonics of the reading on the rotor", heads, rows))
    if result.indexes:
        totals = tuple((str(i.studs), num(i.total_mm, 4)) for i in result.indexes)
        grids.append(Grid("Every stud index", ("studs on", "total reading, mm"), totals))
    return tuple(grids)


def _findings(inputs: RunOut, result: RunOutResult) -> tuple[Finding, ...]:
    found = []
    total, hub, own = result.rotor_total_mm, result.hub_at_rotor_mm, result.rotor_own_mm
    if inputs.readings_csv and not any(getattr(inputs, column) for column in COLUMNS):
        text = (
            f"the readings of {inputs.readings_csv} are not looked at here; the check, its report "
            "and the command line read them"
        )
        found.append(Finding("readings-not-read", "warning", text))
    if total is not None and hub is not None and own is not None:
        over = total > inputs.rotor_target_mm
        worse = "hub or bearing" if hub > own else "rotor or its seat"
        text = (
            f"the hub gives {num(hub, 3)} mm at the rotor's radius, the rotor {num(own, 3)} mm: "
            f"the {worse} is the larger part"
        )
        found.append(Finding("run-out-source", "warning" if over else "note", text))
    if result.best and result.best.studs and total is not None:
        text = f"on other studs the reading falls from {num(total, 3)} to "
        text += f"{num(result.best.total_mm, 3)} mm; mark stud and rotor"
        found.append(Finding("better-index", "note", text))
    if total is not None and hub is None:
        text = "without readings of the hub face no part can be named and no index computed"
        found.append(Finding("hub-face-missing", "note", text))
    if result.indexes and len(inputs.rotor_mm) % inputs.stud_count:
        text = (
            f"{len(inputs.rotor_mm)} readings are no multiple of {inputs.stud_count} studs: "
            "indexes are interpolated, not exact"
        )
        found.append(Finding("index-interpolated", "note", text))
    return tuple(found)


def _plots(inputs: RunOut, result: RunOutResult) -> tuple[Plot, ...]:
    curves = []
    for name, readings in (("rotor", inputs.rotor_mm), ("hub face", inputs.hub_face_mm)):
        if not readings:
            continue
        mean, count = sum(readings) / len(readings), len(readings)
        step = 360.0 / count
        points = tuple((i * step, 1000 * (r - mean)) for i, r in enumerate(readings))
        first = harmonics(readings, 1)[0]
        fine = tuple(
            (
                360.0 * i / _FINE,
                1000
                * first.amplitude_mm
                * math.cos(math.tau * i / _FINE - math.radians(first.phase_deg)),
            )
            for i in range(0, _FINE + 1, 8)
        )
        curves += [Curve(name, points, "points"), Curve(f"{name}, first harmonic", fine)]
    if not curves:
        return ()
    del result
    title = "Readings less their mean"
    return (Plot(title, "angle from stud 1, °", "reading, µm", tuple(curves)),)
