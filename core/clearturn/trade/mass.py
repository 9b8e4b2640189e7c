"""Mass old against new, inertia, and the discard mass of a ceramic ring.

A ceramic ring is scrapped by mass: the maker's stamped value first; without one, that ring as
weighed new × (1 − 2.5 %).  Hat and hardware are added to both sides, so the whole rotor can be
weighed too.

References
----------
Inertia of a ring: elementary.  2.5 % of the ring's mass: common practice, no source.  Stamped
least mass, thickness and wear marks, whichever is reached first, always both sides: workshop
manual of a car with ceramic brakes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clearturn.findings import Finding
from clearturn.trade.inputs import Checked, GapMm, MassKg, NotNegative, Share, SumProblem
from clearturn.trade.sheet import Grid, Line, Ruling, Sheet, at_least, num, plain_values, signed

_CLOSES_KG = 0.006  # two masses rounded to 0.01 kg each may miss by that


@dataclass(frozen=True, slots=True)
class Item(Checked):
    """One kind of part at one corner.

    Attributes
    ----------
    old_kg, new_kg : float
        Together, of all `count` pieces; 0 where there is none.
    inner_radius_mm, outer_radius_mm : float or None
        Of a turning part taken as a ring, for its inertia.
    claimed_change_kg : float or None
        What a data sheet or a note says the change is.
    name
        Which part.
    sprung
        Hangs on the body, not on the wheel carrier.
    turns
        With the wheel; needs its radii.
    """

    name: str
    old_kg: NotNegative
    new_kg: NotNegative
    sprung: bool = False
    turns: bool = False
    inner_radius_mm: GapMm | None = None
    outer_radius_mm: GapMm | None = None
    claimed_change_kg: float | None = None

    def check(self) -> None:
        """Refuse a ring inside out, and a turning part without its radii."""
        inner, outer = self.inner_radius_mm, self.outer_radius_mm
        if self.turns and (inner is None or outer is None):
            key = "inner_radius_mm" if inner is None else "outer_radius_mm"
            raise SumProblem("a key is missing", key, mend="a part that turns needs its radii")
        if inner is not None and outer is not None and inner >= outer:
            raise SumProblem(
                "the part is inside out", "inner_radius_mm", found=f"{inner:g}",
                allowed=f"less than outer_radius_mm = {outer:g}",
            )  # fmt: skip
        if self.turns and self.sprung:
            raise SumProblem("what turns with the wheel is not sprung", "sprung", found="true")


@dataclass(frozen=True, slots=True)
class CeramicRing(Checked):
    """A ceramic ring that is scrapped by mass.

    Attributes
    ----------
    ring_kg : float
        The ring alone as weighed new.
    stamped_kg : float or None
        The maker's least mass of the ring; goes before any share.
    hat_kg, hardware_kg : float
        What is weighed with it in `now_kg`.
    now_kg : float or None
        The whole rotor as weighed now.
    scale_uncertainty_kg : float
        Expanded (k = 2), of one weighing; without a stamp the limit was weighed too.
    dry : bool
        Baked dry before weighing; a wet ring weighs more.
    serial
        As it stands on the ring.
    loss_share
        Of the ring's mass, that may be lost where no least mass is stamped.
    """

    serial: str
    ring_kg: MassKg
    stamped_kg: MassKg | None = None
    loss_share: Share = 0.025
    hat_kg: NotNegative = 0.0
    hardware_kg: NotNegative = 0.0
    now_kg: MassKg | None = None
    scale_uncertainty_kg: NotNegative = 0.002
    dry: bool = True

    def check(self) -> None:
        """Refuse a nameless ring and a limit above the new ring."""
        if not self.serial.strip():
            raise SumProblem("a ring needs its serial number", "serial", found=repr(self.serial))
        if self.stamped_kg is not None and self.stamped_kg >= self.ring_kg:
            raise SumProblem(
                "the least mass is not below the new ring's", "stamped_kg",
                found=f"{self.stamped_kg:g}", allowed=f"less than ring_kg = {self.ring_kg:g}",
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mass(Checked):
    """Inputs of the sum, one corner.

    Attributes
    ----------
    claimed_total_change_kg
        What a data sheet says of the whole corner.
    """

    items: tuple[Item, ...] = ()
    rings: tuple[CeramicRing, ...] = ()
    claimed_total_change_kg: float | None = None


@dataclass(frozen=True, slots=True)
class RingResult:
    """Discard mass of a ring, kg."""

    serial: str
    ring_discard_kg: float
    rotor_discard_kg: float
    from_stamp: bool
    left_kg: float | None
    uncertainty_kg: float
    engraving: str


@dataclass(frozen=True, slots=True)
class MassResult:
    """Result of the sum: kg and kg·m²."""

    old_kg: float
    new_kg: float
    change_kg: float
    unsprung_change_kg: float
    turning_change_kg: float
    old_inertia_kg_m2: float
    new_inertia_kg_m2: float
    rings: tuple[RingResult, ...]


def ring_inertia_kg_m2(mass_kg: float, inner_mm: float, outer_mm: float) -> float:
    """Return the moment of inertia of a ring about its axis: m (r_i² + r_o²)/2."""
    return mass_kg * (inner_mm**2 + outer_mm**2) * 1e-6 / 2.0


def ring_result(ring: CeramicRing) -> RingResult:
    """Return the mass below which a ring is scrap."""
    stamped = ring.stamped_kg is not None
    limit = ring.stamped_kg if ring.stamped_kg is not None else ring.ring_kg * (1 - ring.loss_share)
    # Now, the new ring by its share, hat and hardware: each weighing has the scale's uncertainty.
    weighed = [0.0 if stamped else 1.0 - ring.loss_share]
    weighed += [1.0 for mass in (ring.hat_kg, ring.hardware_kg) if mass > 0]
    whole = limit + ring.hat_kg + ring.hardware_kg
    # Engraved to the gram, rounded up: rounding must not allow more wear.
    grams = math.ceil(round(limit * 1000.0, 6))
    return RingResult(
        serial=ring.serial,
        ring_discard_kg=limit,
        rotor_discard_kg=whole,
        from_stamp=stamped,
        left_kg=None if ring.now_kg is None else ring.now_kg - whole,
        uncertainty_kg=ring.scale_uncertainty_kg * math.hypot(1.0, *weighed),
        engraving=f"No. {ring.serial}  MIN. MASS RING {grams / 1000:.3f} kg DRY",
    )


def compute(inputs: Mass) -> MassResult:
    """Return masses, inertia and discard masses."""
    items = inputs.items

    def inertia(which: str) -> float:
        return sum(
            ring_inertia_kg_m2(getattr(i, which), i.inner_radius_mm or 0, i.outer_radius_mm or 0)
            for i in items
            if i.turns
        )

    old, new = sum(i.old_kg for i in items), sum(i.new_kg for i in items)
    return MassResult(
        old_kg=old,
        new_kg=new,
        change_kg=new - old,
        unsprung_change_kg=sum(i.new_kg - i.old_kg for i in items if not i.sprung),
        turning_change_kg=sum(i.new_kg - i.old_kg for i in items if i.turns),
        old_inertia_kg_m2=inertia("old_kg"),
        new_inertia_kg_m2=inertia("new_kg"),
        rings=tuple(ring_result(ring) for ring in inputs.rings),
    )


def sheet(inputs: Mass) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    rows = [
        (
            item.name,
            "sprung" if item.sprung else "turns" if item.turns else "unsprung",
            num(item.old_kg),
            num(item.new_kg),
            signed(item.new_kg - item.old_kg),
        )
        for item in inputs.items
    ]
    rows.append(("together", "", num(result.old_kg), num(result.new_kg), signed(result.change_kg)))
    heads = ("part", "", "old, kg", "new, kg", "change, kg")
    lines = [
        Line("unsprung mass changes by", f"{signed(result.unsprung_change_kg)} kg"),
        Line(
            "inertia of what turns",
            f"{num(result.old_inertia_kg_m2, 4)} to {num(result.new_inertia_kg_m2, 4)} kg·m²",
            "parts taken as rings",
        ),
    ]
    for ring in result.rings:
        source = "the maker's stamp" if ring.from_stamp else "share of the weighed ring"
        value = f"{num(ring.ring_discard_kg, 3)} kg, whole rotor {num(ring.rotor_discard_kg, 3)} kg"
        lines.append(Line(f"discard ceramic ring {ring.serial} below", value, source))
        lines.append(Line(f"engrave on ring {ring.serial}", ring.engraving))
    rulings, doubts = _rings(inputs, result)
    return Sheet(
        name="mass",
        title="Mass and discard mass",
        gist=f"{signed(result.change_kg)} kg a corner",
        lines=tuple(lines) if inputs.items else tuple(lines[2:]),
        rulings=rulings,
        grids=(Grid("Mass of one corner", heads, tuple(rows), (0, 1)),) if inputs.items else (),
        findings=(*_closing(inputs, result), *doubts),
        assumed=(
            "the same scale, clean and dry parts; a ceramic ring is judged by mass, thickness and "
            "wear marks, whichever comes first, always on both sides of the axle",
        ),
        sources=(
            "discard by a share of the ring's mass: common practice, no source; the maker's "
            "stamped value goes first",
        ),
        values=plain_values(result),
    )


def _rings(inputs: Mass, result: MassResult) -> tuple[tuple[Ruling, ...], list[Finding]]:
    rulings, doubts = [], []
    for ring, found in zip(inputs.rings, result.rings, strict=True):
        if not ring.dry:
            text = f"ring {ring.serial} was not weighed dry: water makes it look less worn"
            doubts.append(Finding("weighed-wet", "warning", text))
        if ring.now_kg is None:
            continue
        spread = found.uncertainty_kg
        word = at_least(ring.now_kg, found.rotor_discard_kg, spread)
        if word == "clears" and not ring.dry:
            word = "not proven"
        rulings.append(
            Ruling(
                f"ceramic ring {ring.serial}: mass now",
                f"{num(ring.now_kg, 3)} ±{num(spread, 3)} kg",
                f"at least {num(found.rotor_discard_kg, 3)} kg",
                word,
            )
        )
    return tuple(rulings), doubts


def _closing(inputs: Mass, result: MassResult) -> list[Finding]:
    claims = [(i.name, i.claimed_change_kg, i.new_kg - i.old_kg) for i in inputs.items]
    claims.append(("the whole corner", inputs.claimed_total_change_kg, result.change_kg))
    return [
        Finding(
            "mass-does-not-close",
            "warning",
            f"{name}: {signed(claimed)} kg is claimed, but new less old is {signed(change)} kg",
        )
        for name, claimed, change in claims
        if claimed is not None and abs(claimed - change) > _CLOSES_KG
    ]
