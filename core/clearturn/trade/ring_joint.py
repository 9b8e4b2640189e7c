"""Ring-to-hat joint: bobbins or pins in slots, screws, and the freedom that is left hot.

Ring and hat grow by different amounts.  On the joint's circle of radius r the ring moves against
the hat by

    r (α_hat ΔT_hat − α_ring ΔT_ring)       positive: the hat outgrows the ring

and the joint must let it; bound up, a ring cracks.  Three states are judged: both hot; the first
hard stop, ring hot and hat still cold; heat soaked, the ring as warm as the hat.  Titanium hat
+280 K at r 120: 0.31 mm, ceramic ring +580 K: 0.10 mm.

References
----------
Thermal growth, bearing and shear stress: elementary.  Share of the bobbins that really carry 0.5,
safety 2, radial and axial freedom kept 0.05 mm: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clearturn.trade.bolts import MOST_OF_YIELD, preload_range
from clearturn.trade.inputs import (
    Checked,
    Count,
    Expansion,
    Friction,
    GapMm,
    LengthMm,
    NotNegative,
    Positive,
    Share,
    SumProblem,
    TempC,
)
from clearturn.trade.materials import material
from clearturn.trade.sheet import Line, Ruling, Sheet, at_least, num, plain_values, signed
from clearturn.trade.threads import PropertyClass, strength, thread

COLD_C = 20.0


@dataclass(frozen=True, slots=True)
class RingJoint(Checked):
    """Inputs of the sum.

    Attributes
    ----------
    circle_radius_mm, count : radius of the joint's circle and number of bobbins or pins
    bobbin_diameter_mm, ring_thickness_mm, hat_thickness_mm
        What presses on what: diameter and bearing lengths in the ring's and the hat's lugs.
    carrying_share : float
        Of the bobbins, those that carry at once.
    outward_mm, inward_mm : float
        Radial freedom of the ring in its slots, cold, each way from where it sits.
    end_float_mm : float
        Axial freedom cold; with a wave spring, its way to solid.
    bobbin_length_mm, lug_thickness_mm : float
        Bobbin between its shoulders, and the ring's lug in it.
    circle_radius_mm
        Of the joint's circle.
    count
        Bobbins or pins on it.
    brake_torque_nm
        Greatest, of one wheel.
    ring_material, hat_material, bobbin_material
        For expansion and bearing strength.
    ring_hot_c, hat_hot_c, bobbin_hot_c
        Temperatures in service; a bobbin without one is as warm as the hat.
    ring_bearing_mpa, hat_bearing_mpa
        Bearing strength, instead of the material's.
    ring_expansion_per_mk, hat_expansion_per_mk
        1e-6/K, instead of the material's.
    expansion_uncertainty_percent
        Of each expansion, expanded.
    least_safety
        Asked against bearing.
    least_freedom_mm
        Freedom that must be left hot, each way.
    screw, screw_class, screw_torque_nm
        Thread, strength and tightening of the joint's screws; none: not judged.
    screw_friction_low, screw_friction_high
        Range of thread and head friction.
    """

    circle_radius_mm: LengthMm
    count: Count
    bobbin_diameter_mm: LengthMm
    ring_thickness_mm: LengthMm
    hat_thickness_mm: LengthMm
    brake_torque_nm: Positive
    ring_material: str
    hat_material: str
    bobbin_material: str
    ring_hot_c: TempC
    hat_hot_c: TempC
    outward_mm: GapMm
    inward_mm: GapMm
    end_float_mm: GapMm = 0.2
    bobbin_length_mm: LengthMm | None = None
    lug_thickness_mm: LengthMm | None = None
    bobbin_hot_c: TempC | None = None
    carrying_share: Share = 0.5
    ring_bearing_mpa: Positive | None = None
    hat_bearing_mpa: Positive | None = None
    ring_expansion_per_mk: Expansion | None = None
    hat_expansion_per_mk: Expansion | None = None
    expansion_uncertainty_percent: NotNegative = 10.0
    least_safety: Positive = 2.0
    least_freedom_mm: GapMm = 0.05
    screw: str | None = None
    screw_class: PropertyClass = "8.8"
    screw_torque_nm: Positive | None = None
    screw_friction_low: Friction = 0.10
    screw_friction_high: Friction = 0.16

    def check(self) -> None:
        """Refuse unknown materials and threads, and a joint in which nothing carries."""
        for key in ("ring_material", "hat_material", "bobbin_material"):
            material(getattr(self, key), key)
        if self.carrying_share * self.count < 1.0:
            raise SumProblem(
                "less than one bobbin carries", "carrying_share", found=f"{self.carrying_share:g}",
                allowed=f"at least 1/{self.count}",
            )  # fmt: skip
        if self.screw is not None:
            thread(self.screw, "screw")
            if self.screw_torque_nm is None:
                raise SumProblem("a key is missing", "screw_torque_nm", mend="the screw needs it")
        if (self.bobbin_length_mm is None) != (self.lug_thickness_mm is None):
            key = "bobbin_length_mm" if self.bobbin_length_mm is None else "lug_thickness_mm"
            raise SumProblem("a key is missing", key)
        if 2.0 * math.pi * self.circle_radius_mm <= self.count * self.bobbin_diameter_mm:
            raise SumProblem(
                "the bobbins do not fit on their circle", "count", found=str(self.count)
            )

    @property
    def ring_alpha_per_mk(self) -> float:
        """Expansion of the ring, 1e-6/K."""
        own = material(self.ring_material).expansion_per_mk
        return own if self.ring_expansion_per_mk is None else self.ring_expansion_per_mk

    @property
    def ring_growth_mm(self) -> float:
        """Radial growth of the ring at the joint."""
        return growth_mm(self.circle_radius_mm, self.ring_alpha_per_mk, self.ring_hot_c - COLD_C)

    @property
    def ring_soaked_mm(self) -> float:
        """Radial growth of the ring when it is only as warm as the hat."""
        warm = min(self.ring_hot_c, self.hat_hot_c)
        return growth_mm(self.circle_radius_mm, self.ring_alpha_per_mk, warm - COLD_C)

    @property
    def hat_growth_mm(self) -> float:
        """Radial growth of the hat at the joint."""
        own = material(self.hat_material).expansion_per_mk
        alpha = own if self.hat_expansion_per_mk is None else self.hat_expansion_per_mk
        return growth_mm(self.circle_radius_mm, alpha, self.hat_hot_c - COLD_C)


def growth_mm(radius_mm: float, expansion_per_mk: float, rise_k: float) -> float:
    """Return how much a radius grows; expansion in 1e-6/K."""
    return radius_mm * expansion_per_mk * 1e-6 * rise_k


@dataclass(frozen=True, slots=True)
class RingJointResult:
    """Result of the sum: mm, N, MPa.

    Attributes
    ----------
    outward_left_mm, inward_left_mm : float
        Freedom of the ring against the hat, both hot; below 0 the ring is bound up.
    outward_first_stop_mm : float
        The same, ring hot and hat still cold.
    inward_soaked_mm : float
        The same, ring as warm as the hat.
    """

    ring_growth_mm: float
    hat_growth_mm: float
    outward_left_mm: float
    inward_left_mm: float
    outward_first_stop_mm: float
    inward_soaked_mm: float
    freedom_uncertainty_mm: float
    end_float_hot_mm: float | None
    force_a_bobbin_n: float
    ring_bearing_mpa: float
    hat_bearing_mpa: float
    bobbin_shear_mpa: float
    ring_safety: float | None
    hat_safety: float | None
    bobbin_safety: float | None
    screw_preload_n: tuple[float, float] | None
    screw_of_yield: float | None


def compute(inputs: RingJoint) -> RingJointResult:
    """Return freedom hot and stresses."""
    ring, hat = inputs.ring_growth_mm, inputs.hat_growth_mm
    share = inputs.expansion_uncertainty_percent / 100.0
    force = inputs.brake_torque_nm * 1000.0 / inputs.circle_radius_mm
    force /= inputs.count * inputs.carrying_share
    at_ring = force / (inputs.bobbin_diameter_mm * inputs.ring_thickness_mm)
    at_hat = force / (inputs.bobbin_diameter_mm * inputs.hat_thickness_mm)
    shear = force / (math.pi / 4.0 * inputs.bobbin_diameter_mm**2)
    screw = _screw(inputs)
    return RingJointResult(
        ring_growth_mm=ring,
        hat_growth_mm=hat,
        # The ring growing more uses up its way outwards, the hat growing more its way inwards.
        outward_left_mm=inputs.outward_mm - (ring - hat),
        inward_left_mm=inputs.inward_mm - (hat - ring),
        outward_first_stop_mm=inputs.outward_mm - ring,
        inward_soaked_mm=inputs.inward_mm - (hat - inputs.ring_soaked_mm),
        freedom_uncertainty_mm=share * math.hypot(ring, hat),
        end_float_hot_mm=_end_float(inputs),
        force_a_bobbin_n=force,
        ring_bearing_mpa=at_ring,
        hat_bearing_mpa=at_hat,
        bobbin_shear_mpa=shear,
        ring_safety=_safety(inputs.ring_bearing_mpa or _bearing(inputs.ring_material), at_ring),
        hat_safety=_safety(inputs.hat_bearing_mpa or _bearing(inputs.hat_material), at_hat),
        bobbin_safety=_safety(material(inputs.bobbin_material).shear_strength_mpa, shear),
        screw_preload_n=screw[0] if screw else None,
        screw_of_yield=screw[1] if screw else None,
    )


def _bearing(name: str) -> float | None:
    # A brittle ring may bear its compressive strength, which is not in the table: ask the maker.
    return material(name).yield_mpa


def _safety(strength_mpa: float | None, stress_mpa: float) -> float | None:
    return None if strength_mpa is None else strength_mpa / stress_mpa


def _end_float(inputs: RingJoint) -> float | None:
    if inputs.bobbin_length_mm is None or inputs.lug_thickness_mm is None:
        return None
    hot = inputs.hat_hot_c if inputs.bobbin_hot_c is None else inputs.bobbin_hot_c
    bobbin = material(inputs.bobbin_material).expansion_per_mk
    ring = inputs.ring_alpha_per_mk
    grown = growth_mm(inputs.bobbin_length_mm, bobbin, hot - COLD_C)
    return (
        inputs.end_float_mm
        + grown
        - growth_mm(inputs.lug_thickness_mm, ring, inputs.ring_hot_c - COLD_C)
    )


def _screw(inputs: RingJoint) -> tuple[tuple[float, float], float] | None:
    if inputs.screw is None or inputs.screw_torque_nm is None:
        return None
    metric = thread(inputs.screw)
    found = preload_range(
        inputs.screw_torque_nm, metric, strength(inputs.screw_class, metric.diameter_mm),
        mu_low=inputs.screw_friction_low, mu_high=inputs.screw_friction_high,
    )  # fmt: skip
    return (found.least_n, found.greatest_n), found.utilisation


def sheet(inputs: RingJoint) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    spread, least = result.freedom_uncertainty_mm, inputs.least_freedom_mm
    rulings = [
        Ruling(
            f"ring free {way}",
            f"{signed(left)} ±{num(spread)} mm",
            f"at least {num(least)} mm",
            at_least(left, least, spread),
            "bound up, a ring cracks",
        )
        for way, left in (
            ("outwards, both hot", result.outward_left_mm),
            ("outwards, first hard stop, hat cold", result.outward_first_stop_mm),
            ("inwards, both hot", result.inward_left_mm),
            ("inwards, ring only as warm as the hat", result.inward_soaked_mm),
        )
    ]
    if result.end_float_hot_mm is not None:
        rulings.append(
            Ruling(
                "end float hot",
                f"{signed(result.end_float_hot_mm, 3)} mm",
                f"at least {num(least)} mm",
                at_least(result.end_float_hot_mm, least),
                "a wave spring must not go solid",
            )
        )
    lines = [
        Line("ring grows", f"{num(result.ring_growth_mm, 3)} mm on the joint's radius"),
        Line("hat grows", f"{num(result.hat_growth_mm, 3)} mm on the joint's radius"),
        Line("force of one bobbin", f"{num(result.force_a_bobbin_n / 1e3, 1)} kN"),
    ]
    for name, stress, safety in (
        ("bearing on the ring", result.ring_bearing_mpa, result.ring_safety),
        ("bearing on the hat", result.hat_bearing_mpa, result.hat_safety),
        ("shear of the bobbin", result.bobbin_shear_mpa, result.bobbin_safety),
    ):
        if safety is None:
            note = "no strength is known: ask the ring's maker, then enter it"
            lines.append(Line(name, f"{num(stress, 1)} MPa", note))
            continue
        needed = f"at least {num(inputs.least_safety)}"
        found = f"{num(stress, 1)} MPa, safety {num(safety, 1)}"
        rulings.append(Ruling(name, found, needed, at_least(safety, inputs.least_safety)))
    if result.screw_preload_n is not None and result.screw_of_yield is not None:
        low, high = (n / 1e3 for n in result.screw_preload_n)
        found = (
            f"{num(low, 1)} … {num(high, 1)} kN, {num(100 * result.screw_of_yield, 0)} % of yield"
        )
        word = at_least(MOST_OF_YIELD, result.screw_of_yield)
        needed = f"at most {num(100 * MOST_OF_YIELD, 0)} % of yield"
        rulings.append(Ruling("screw of the joint", found, needed, word))
    bad = [ruling.name for ruling in rulings if ruling.word != "clears"]
    return Sheet(
        name="ring_joint",
        title="Ring-to-hat joint",
        gist=f"look at: {', '.join(bad)}" if bad else "ring stays free, joint holds",
        lines=tuple(lines),
        rulings=tuple(rulings),
        assumed=(
            f"{num(100 * inputs.carrying_share, 0)} % of the bobbins carry at once",
            "hat and ring are each one temperature at the joint",
            "strength cold; a hot aluminium hat has less of it",
        ),
        sources=(
            "growth and stress: elementary",
            "carrying share, safety and freedom kept: common practice, no source",
        ),
        values=plain_values(result),
    )
