"""How parts, pairs and places are called in the report."""

from __future__ import annotations

from clearturn.report import figures
from clearturn.report.lettering import foreign
from clearturn.result import CheckResult, HubResult, PairResult, Verdict

TABLE_NAME = 48
SENTENCE_NAME = 40


def full_stop(text: str) -> str:
    """Return a text as a sentence with one full stop at its end."""
    text = text.rstrip()
    return text if text.endswith((".", "!", "?", "…")) else text + "."


def pair_name(pair: PairResult, most: int = TABLE_NAME) -> str:
    """Return "caliper – wheel spokes"."""
    return f"{foreign(pair.first, most)} – {foreign(pair.second, most)}"


def place(clock_deg: float, r_mm: float, z_mm: float) -> str:
    """Return a place in the hub frame: clock position seen from outboard, radius, height."""
    return (
        f"{figures.clock(clock_deg)} o’clock ({figures.degrees(clock_deg)}), "
        f"r {figures.mm(r_mm, 1)}, z {figures.mm(z_mm, 1)}"
    )


def hub_name(hub: HubResult) -> str:
    """Return one of the four hub diameters by its full name."""
    full = {
        "rotor register": "rotor register: rotor bore on hub spigot",
        "wheel register": "wheel register: wheel bore on hub spigot",
        "flange in hat": "hub flange inside the rotor hat",
        "housing in hat": "bearing housing inside the rotor hat",
    }
    return f"{hub.axle} {full.get(hub.check, hub.check)}".lstrip()


def machining(hub: HubResult) -> str:
    """Return what to machine to which diameter, or an empty text."""
    if hub.machine is None:
        return ""
    verb = "Open" if hub.machine.to_diameter_mm > hub.hole_mm else "Turn"
    part = foreign(hub.machine.part, SENTENCE_NAME)
    tolerance = foreign(hub.machine.tolerance, 60) if hub.machine.tolerance else ""
    if tolerance:
        tolerance = f", {tolerance}" if "(" in tolerance else f" ({tolerance})"
    return (
        f"{verb} {part} to {figures.machined(hub.machine.to_diameter_mm)}{tolerance}, "
        f"{figures.mm(hub.machine.per_side_mm)} mm a side"
    )


def shown_pairs(result: CheckResult) -> tuple[int, ...]:
    """Return which pairs get a sheet of their own: every one that does not clear, worst first.

    Where all clear it is the one with the least margin.
    """
    order = [k for k, _ in worst_first(result)]
    doubtful = [k for k in order if result.pairs[k].verdict is not Verdict.CLEARS]
    clearing = [k for k in order if result.pairs[k].verdict is Verdict.CLEARS]
    return tuple(doubtful or clearing[:1])


def worst_first(result: CheckResult) -> list[tuple[int, PairResult]]:
    """Return the pairs with their index in the result: failing, not proven, then by margin.

    The index is the pair's name all over the report; only the order of lists changes.
    """
    return sorted(enumerate(result.pairs), key=lambda item: _rank(item[1]))


def _rank(pair: PairResult) -> tuple[int, float]:
    rank = {Verdict.FAILS: 0, Verdict.NOT_PROVEN: 1, Verdict.CLEARS: 2}[pair.verdict]
    return rank, pair.margin_mm if figures.is_known(pair.margin_mm) else float("-inf")
