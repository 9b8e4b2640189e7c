"""Heat: how hot a stop makes the ring, and a row of stops with cooling between.

    energy of a stop   E = ½ m (v1² − v2²) (1 + rotating share)
    into one ring      q = E · axle's share / 2 · share into the ring
    one stop           ΔT = q / (m_ring c)
    between stops      m c dT/dt = −h A (T − T∞) − ε σ A (T⁴ − T∞⁴)

The ring is one lump at one temperature; its surface gets much hotter for a moment.  The specific
heat of grey iron in the sources spreads from 450 to 544 J/kgK, so results are a range.

References
----------
Energy and lumped ring: textbook forms (one read in a public article).  Repeated stops without
radiation: T_n − T∞ = ΔT Σ exp(−j h A t/(m c)), Shigley and Limpert, from memory.  σ: CODATA 2018.
Share into an iron ring 0.90 to 0.95, rotating parts 3 to 6 %, h of a vented ring: from memory.
Paint bands 430, 560, 600 °C: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from clearturn.findings import Finding
from clearturn.trade.inputs import (
    Any_,
    Checked,
    MassKg,
    Range,
    Share,
    SumProblem,
    TempC,
)
from clearturn.trade.materials import ZERO_C_IN_K, material
from clearturn.trade.sheet import Curve, Grid, Line, Plot, Ruling, Sheet, Word, num, plain_values

STEFAN_BOLTZMANN = 5.670374419e-8  # W/m²K⁴, exact to the digits given
PAINTS_C = (430.0, 560.0, 600.0)
_LEAST_STEPS = 40  # of Runge-Kutta between two stops …
_STEP_SHARE = 0.02  # … each at most this share of the ring's time constant
_COLD_K = 1e-9  # nearer to the surroundings than this, nothing happens any more

Speed = Annotated[float, Range(0.0, 500.0)]
RingKg = Annotated[float, Range(0.5, 100.0)]
HeatCapacity = Annotated[float, Range(50.0, 5000.0)]
Film = Annotated[float, Range(0.0, 5000.0)]
AreaM2 = Annotated[float, Range(0.01, 5.0)]
Stops = Annotated[int, Range(1, 200)]
Seconds = Annotated[float, Range(1.0, 86_400.0)]


@dataclass(frozen=True, slots=True)
class Heat(Checked):
    """Inputs of the sum.

    Attributes
    ----------
    axle_share : float
        Of the braking, on this axle.
    into_ring : float
        Share of the heat that goes into the ring.
    ring_material, heat_j_per_kg_k, heat_low_j_per_kg_k, heat_high_j_per_kg_k
        Specific heat: the material's value and spread unless entered.
    film_w_per_m2_k, area_m2, emissivity
        Cooling: heat transfer coefficient, wetted area, and radiating share.
    stops, seconds_between
        A row of equal stops.
    limit_c : float or None
        Greatest ring temperature its maker allows.
    paint_turned_c, paint_kept_c : tuple of float
        Temperature bands of thermal paint that turned, and that did not, in a real run.
    mass_kg
        Whole, as heavy as it may be.
    from_km_h, to_km_h
        Of one stop.
    ring_mass_kg
        The ring alone, without hat.
    rotating_share
        Of the energy, that turning parts add.
    ambient_c
        Air, and the ring at the start.
    """

    mass_kg: MassKg
    from_km_h: Speed
    ring_mass_kg: RingKg
    ring_material: str
    to_km_h: Speed = 0.0
    axle_share: Share = 0.65
    rotating_share: Share = 0.04
    into_ring: Share = 0.92
    heat_j_per_kg_k: HeatCapacity | None = None
    heat_low_j_per_kg_k: HeatCapacity | None = None
    heat_high_j_per_kg_k: HeatCapacity | None = None
    film_w_per_m2_k: Film = 80.0
    area_m2: AreaM2 = 0.25
    emissivity: Share | None = None
    ambient_c: TempC = 20.0
    stops: Stops = 1
    seconds_between: Seconds = 60.0
    limit_c: TempC | None = None
    paint_turned_c: tuple[Any_, ...] = ()
    paint_kept_c: tuple[Any_, ...] = ()

    def check(self) -> None:
        """Refuse stops that speed up, unknown materials and a spread upside down."""
        if self.to_km_h >= self.from_km_h:
            raise SumProblem(
                "a stop ends slower than it began", "to_km_h", found=f"{self.to_km_h:g}",
                allowed=f"less than from_km_h = {self.from_km_h:g}",
            )  # fmt: skip
        material(self.ring_material, "ring_material")
        low, middle, high = self.specific_heats
        if not low <= middle <= high:
            raise SumProblem(
                "the specific heat lies outside its spread", "heat_j_per_kg_k",
                found=f"{middle:g}", allowed=f"{low:g} to {high:g}",
                mend="enter heat_low_j_per_kg_k and heat_high_j_per_kg_k too",
            )  # fmt: skip

    @property
    def specific_heats(self) -> tuple[float, float, float]:
        """Low, middle and high specific heat, J/kgK."""
        known = material(self.ring_material)
        return (
            self.heat_low_j_per_kg_k or known.heat_low_j_per_kg_k,
            self.heat_j_per_kg_k or known.heat_j_per_kg_k,
            self.heat_high_j_per_kg_k or known.heat_high_j_per_kg_k,
        )

    @property
    def radiates(self) -> float:
        """Emissivity, the material's unless entered."""
        given = self.emissivity
        return material(self.ring_material).emissivity if given is None else given


def stop_energy_j(
    mass_kg: float, from_km_h: float, to_km_h: float = 0.0, rotating_share: float = 0.0
) -> float:
    """Return the energy that a stop takes out of the vehicle."""
    first, second = from_km_h / 3.6, to_km_h / 3.6
    return 0.5 * mass_kg * (first * first - second * second) * (1.0 + rotating_share)


def ring_rise_k(energy_j: float, ring_kg: float, specific_heat: float) -> float:
    """Return how much hotter a ring gets when all that energy stays in it."""
    return energy_j / (ring_kg * specific_heat)


def cooled_c(
    temp_c: float,
    seconds: float,
    *,
    ambient_c: float,
    film: float,
    area_m2: float,
    emissivity: float,
    heat_capacity_j_per_k: float,
) -> float:
    """Return the ring's temperature after cooling by convection and radiation (Runge-Kutta 4)."""

    def rate(t: float) -> float:
        warm, cold = t + ZERO_C_IN_K, ambient_c + ZERO_C_IN_K
        out = film * (t - ambient_c) + emissivity * STEFAN_BOLTZMANN * (warm**4 - cold**4)
        return -area_m2 * out / heat_capacity_j_per_k

    warmest = max(temp_c, ambient_c) + ZERO_C_IN_K
    losing = film + 4.0 * emissivity * STEFAN_BOLTZMANN * warmest**3
    steps = _LEAST_STEPS
    if losing > 0:
        constant = heat_capacity_j_per_k / (area_m2 * losing)
        steps = max(steps, math.ceil(seconds / (_STEP_SHARE * constant)))
    step = seconds / steps
    for _ in range(steps):
        if abs(temp_c - ambient_c) < _COLD_K:
            break
        a = rate(temp_c)
        b = rate(temp_c + step / 2.0 * a)
        c = rate(temp_c + step / 2.0 * b)
        d = rate(temp_c + step * c)
        temp_c += step / 6.0 * (a + 2.0 * b + 2.0 * c + d)
    return temp_c


def peaks_c(inputs: Heat, specific_heat: float) -> tuple[float, ...]:
    """Return the ring's temperature after each stop of the row."""
    rise = ring_rise_k(ring_energy_j(inputs), inputs.ring_mass_kg, specific_heat)
    temp, peaks = inputs.ambient_c, []
    for number in range(inputs.stops):
        if number:
            temp = cooled_c(
                temp, inputs.seconds_between, ambient_c=inputs.ambient_c,
                film=inputs.film_w_per_m2_k, area_m2=inputs.area_m2, emissivity=inputs.radiates,
                heat_capacity_j_per_k=inputs.ring_mass_kg * specific_heat,
            )  # fmt: skip
        temp += rise
        peaks.append(temp)
    return tuple(peaks)


def ring_energy_j(inputs: Heat) -> float:
    """Return what one stop puts into one ring."""
    energy = stop_energy_j(inputs.mass_kg, inputs.from_km_h, inputs.to_km_h, inputs.rotating_share)
    return energy * inputs.axle_share / 2.0 * inputs.into_ring


@dataclass(frozen=True, slots=True)
class HeatResult:
    """Result of the sum; ranges follow the spread of the specific heat.

    Attributes
    ----------
    rise_k, last_peak_c : (least, middle, greatest)
    peaks_c : tuple of float
        After each stop, with the middle specific heat.
    """

    stop_energy_j: float
    ring_energy_j: float
    rise_k: tuple[float, float, float]
    last_peak_c: tuple[float, float, float]
    peaks_c: tuple[float, ...]


def compute(inputs: Heat) -> HeatResult:
    """Return one stop and the row of stops, for the specific heat and its spread."""
    low, middle, high = inputs.specific_heats
    energy, ring = ring_energy_j(inputs), inputs.ring_mass_kg
    rows = [peaks_c(inputs, heat) for heat in (high, middle, low)]
    return HeatResult(
        stop_energy_j=stop_energy_j(
            inputs.mass_kg, inputs.from_km_h, inputs.to_km_h, inputs.rotating_share
        ),
        ring_energy_j=energy,
        rise_k=(
            ring_rise_k(energy, ring, high),
            ring_rise_k(energy, ring, middle),
            ring_rise_k(energy, ring, low),
        ),
        last_peak_c=(rows[0][-1], rows[1][-1], rows[2][-1]),
        peaks_c=rows[1],
    )


def sheet(inputs: Heat) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    low, middle, high = inputs.specific_heats
    least, most = min(result.last_peak_c), max(result.last_peak_c)
    peak = f"{num(least, 0)} to {num(most, 0)} °C"
    rulings = []
    if inputs.limit_c is not None:
        word: Word = "clears" if most <= inputs.limit_c else "not proven"
        word = "fails" if least > inputs.limit_c else word
        limit = f"at most {num(inputs.limit_c, 0)} °C"
        rulings.append(Ruling(f"ring after {inputs.stops} stops", peak, limit, word))
    bands = tuple(
        (num(paint, 0), _band(paint, least, most), _seen(inputs, paint)) for paint in PAINTS_C
    )
    rise = f"{num(min(result.rise_k), 0)} to {num(max(result.rise_k), 0)} K"
    return Sheet(
        name="heat",
        title="Heat",
        gist=f"ring {peak} after {inputs.stops} stops",
        lines=(
            Line("energy of one stop", f"{num(result.stop_energy_j / 1e3, 1)} kJ"),
            Line("into one ring", f"{num(result.ring_energy_j / 1e3, 1)} kJ"),
            Line("one stop heats the ring by", rise),
            Line(f"after {inputs.stops} stops", peak),
            Line(
                "specific heat taken",
                f"{num(middle, 0)} J/kgK, spread {num(low, 0)} to {num(high, 0)}",
                "" if inputs.heat_j_per_kg_k else inputs.ring_material,
            ),
        ),
        rulings=tuple(rulings),
        grids=(Grid("Thermal paint", ("°C", "sum says", "seen"), bands, (1, 2)),),
        findings=_findings(inputs, least, most),
        assumed=(
            "the ring is one lump; friction faces and vanes differ by hundreds of degrees in a "
            "hard stop",
            "cooling with one heat transfer coefficient for the whole row",
        ),
        sources=(
            f"{inputs.ring_material}: {material(inputs.ring_material).source}",
            "share into the ring, cooling: partly from memory, see the method",
            "paint bands: common practice, no source",
        ),
        plots=_plots(result),
        values=plain_values(result),
    )


def _band(paint: float, least: float, most: float) -> str:
    return "turns" if least >= paint else "stays" if most < paint else "may turn"


def _seen(inputs: Heat, paint: float) -> str:
    turned = paint in inputs.paint_turned_c
    return "turned" if turned else "stayed" if paint in inputs.paint_kept_c else "–"


def _findings(inputs: Heat, least: float, most: float) -> tuple[Finding, ...]:
    found = []
    hottest, coolest = max(inputs.paint_turned_c, default=-math.inf), most
    if hottest > coolest:
        text = f"paint of {num(hottest, 0)} °C turned, but the sum reaches {num(most, 0)} °C only"
        found.append(Finding("paint-hotter", "warning", text))
    kept = min(inputs.paint_kept_c, default=math.inf)
    if kept < least:
        text = f"paint of {num(kept, 0)} °C stayed, but the sum reaches {num(least, 0)} °C"
        found.append(Finding("paint-cooler", "note", text))
    if kept <= hottest:
        text = f"paint of {num(kept, 0)} °C stayed while {num(hottest, 0)} °C turned: read again"
        found.append(Finding("paint-contradicts", "warning", text))
    return tuple(found)


def _plots(result: HeatResult) -> tuple[Plot, ...]:
    if len(result.peaks_c) < 2:
        return ()
    points = tuple((float(i + 1), temp) for i, temp in enumerate(result.peaks_c))
    paints = tuple(
        Curve(f"{num(p, 0)} °C paint", ((1.0, p), (float(len(points)), p)), "dashed")
        for p in PAINTS_C
    )
    curves = (Curve("ring after the stop", points), *paints)
    return (Plot("Ring temperature", "stop", "°C", curves),)
