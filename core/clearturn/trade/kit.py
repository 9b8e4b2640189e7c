"""Impossible kits found at once: ring and bridge inside the rim, one part with two sizes.

The caliper over the ring needs Ø = ring + 2 (gap under the bridge + bridge).  The rim's specified
diameter D is that of the tyre's bead seats; the barrel inside is smaller by its wall at least.
Nothing that needs more than D can turn, whatever the wheel.

References
----------
Specified rim diameters: ISO 4000-2 and ETRTO values from a paper's table (14 to 24; code × 25.4 is
wrong).  Wall of a cast barrel 5 to 7 mm, forged 3.5 to 5: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Annotated

from clearturn.findings import Finding
from clearturn.trade.inputs import Checked, GapMm, LengthMm, NotNegative, Range, SumProblem
from clearturn.trade.sheet import Line, Ruling, Sheet, Word, num, plain_values

RIM_MM: dict[int, float] = {
    14: 354.8, 15: 380.2, 16: 405.6, 17: 436.6, 18: 462.0, 19: 487.4,
    20: 512.8, 21: 538.2, 22: 563.6, 23: 589.0, 24: 614.4,
}  # fmt: skip
RIM_TOLERANCE_MM = 0.4  # ± on D, from memory
Code = Annotated[int, Range(14, 24)]


@dataclass(frozen=True, slots=True)
class NamedSize(Checked):
    """A size of a part as some paper gives it.

    Attributes
    ----------
    part, what
        Which size of which part.
    value_mm
        As that paper gives it.
    where
        The paper: order, drawing, data sheet.
    tolerance_mm
        Another paper's size may differ by so much.
    """

    part: str
    what: str
    value_mm: LengthMm
    where: str
    tolerance_mm: NotNegative = 0.0


@dataclass(frozen=True, slots=True)
class Kit(Checked):
    """Inputs of the sum.

    Attributes
    ----------
    bridge_gap_mm, bridge_mm : float
        From ring to bridge, and the bridge's radial thickness.
    required_gap_mm : float
        From caliper to barrel.
    least_wall_mm, usual_wall_mm : float
        Of the barrel.
    sizes : tuple of NamedSize
        Any sizes of parts that papers give, to find one part with two.
    rim_code
        Rim diameter code, inches.
    ring_diameter_mm
        Outer diameter of the ring.
    """

    rim_code: Code
    ring_diameter_mm: LengthMm
    bridge_gap_mm: GapMm = 3.0
    bridge_mm: GapMm = 17.0
    required_gap_mm: GapMm = 3.0
    least_wall_mm: GapMm = 3.5
    usual_wall_mm: GapMm = 6.0
    sizes: tuple[NamedSize, ...] = ()

    def check(self) -> None:
        """Refuse walls upside down."""
        if self.least_wall_mm > self.usual_wall_mm:
            raise SumProblem(
                "the least wall is thicker than the usual one", "least_wall_mm",
                found=f"{self.least_wall_mm:g}",
                allowed=f"at most usual_wall_mm = {self.usual_wall_mm:g}",
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Clash:
    """One part entered with two sizes."""

    part: str
    what: str
    first_mm: float
    first_where: str
    second_mm: float
    second_where: str


@dataclass(frozen=True, slots=True)
class KitResult:
    """Result of the sum, mm on diameter.

    Attributes
    ----------
    needed_mm : float
        Of caliper over ring.
    least_rim_code : int or None
        Smallest rim that could hold it with gap and usual wall; None: not even a 24.
    """

    needed_mm: float
    rim_mm: float
    room_mm: float
    word: Word
    least_rim_code: int | None
    clashes: tuple[Clash, ...]


def clashes(sizes: Sequence[NamedSize]) -> tuple[Clash, ...]:
    """Return every pair of sizes of one part that differ by more than their tolerances."""
    return tuple(
        Clash(a.part, a.what, a.value_mm, a.where, b.value_mm, b.where)
        for a, b in combinations(sizes, 2)
        if (a.part, a.what) == (b.part, b.what)
        and abs(a.value_mm - b.value_mm) > a.tolerance_mm + b.tolerance_mm + 1e-9
    )


def compute(inputs: Kit) -> KitResult:
    """Return whether ring and bridge can be inside the rim at all."""
    needed = inputs.ring_diameter_mm + 2.0 * (inputs.bridge_gap_mm + inputs.bridge_mm)
    rim = RIM_MM[inputs.rim_code]
    room = rim - needed
    surely = 2.0 * (inputs.required_gap_mm + inputs.least_wall_mm)
    usually = 2.0 * (inputs.required_gap_mm + inputs.usual_wall_mm)
    word: Word = "not proven"
    if room + RIM_TOLERANCE_MM < surely:
        word = "fails"
    elif room - RIM_TOLERANCE_MM >= usually:
        word = "clears"
    fitting = [code for code, d in RIM_MM.items() if d - RIM_TOLERANCE_MM - needed >= usually]
    return KitResult(needed, rim, room, word, min(fitting, default=None), clashes(inputs.sizes))


def sheet(inputs: Kit) -> Sheet:
    """Return the sum as it is shown."""
    result = compute(inputs)
    walls = 2.0 * (inputs.required_gap_mm + inputs.least_wall_mm)
    note = "no rim to 24 holds it" if result.least_rim_code is None else ""
    if result.least_rim_code is not None and result.least_rim_code > inputs.rim_code:
        note = f"a rim of {result.least_rim_code} could hold it"
    elif result.word == "not proven":
        note = "the barrel's real shape decides: scan the wheel"
    ruling = Ruling(
        f"ring and bridge in a rim of {inputs.rim_code}",
        f"needs Ø {num(result.needed_mm, 1)} mm, {num(result.room_mm, 1)} mm left of "
        f"Ø {num(result.rim_mm, 1)}",
        f"at least {num(walls, 1)} mm for gap and thinnest wall",
        result.word,
        note,
    )
    twice = tuple(
        Finding(
            "part-with-two-sizes",
            "error",
            f"{c.part}, {c.what}: {num(c.first_mm)} mm ({c.first_where}) and "
            f"{num(c.second_mm)} mm ({c.second_where})",
        )
        for c in result.clashes
    )
    gist = f"Ø {num(result.needed_mm, 0)} in a rim of {inputs.rim_code}: {result.word}"
    return Sheet(
        name="kit",
        title="Can the kit exist",
        gist=gist if not twice else f"{len(twice)} part with two sizes",
        lines=(Line("caliper over the ring", f"Ø {num(result.needed_mm, 1)} mm"),),
        rulings=(ruling,),
        findings=twice,
        assumed=("a first look only: it finds the impossible; the gap check decides the rest",),
        sources=(
            "specified rim diameters: values of ISO 4000-2 and ETRTO, second hand; ±0.4 mm from "
            "memory",
            "walls of barrels: common practice, no source",
        ),
        values=plain_values(result),
    )
