"""Units of a file's numbers, and whether a size makes sense for a brake corner."""

from __future__ import annotations

from clearturn.errors import InputError
from clearturn.findings import Finding
from clearturn.units import MM_PER, MM_PER_INCH

ASKED = tuple(MM_PER)
# What a file may state besides; a foot is twelve inches.
MM_PER_UNIT = {**MM_PER, "ft": 12.0 * MM_PER_INCH, "µm": 0.001}

# Common practice, no source: the longest side of anything one scans at a brake corner, from a
# bracket or a stud to a wheel with its bench.
LEAST_MM = 40.0
LARGEST_MM = 3000.0
# The sizes a proposed unit must bring it to, and the one it is best near.
LIKELY_LEAST_MM = 60.0
LIKELY_LARGEST_MM = 1200.0
LIKELY_MM = 400.0


def checked_unit(unit: str) -> str:
    """Return `unit` if it is one of those a user may give, else raise `InputError`."""
    if unit not in ASKED:
        raise InputError(
            "this unit is not known", found=f"“{unit}”", allowed=", ".join(ASKED), mend="pick one"
        )
    return unit


def size_finding(longest: float, unit: str) -> Finding | None:
    """Say so if a size makes no sense for a brake corner, and propose the unit.

    Parameters
    ----------
    longest : float
        Longest side of the bounding box in the file's own numbers.
    unit : str
        The unit they were taken in.
    """
    size_mm = longest * MM_PER_UNIT[unit]
    if LEAST_MM <= size_mm <= LARGEST_MM:
        return None
    sizes = {other: longest * MM_PER_UNIT[other] for other in ASKED if other != unit}
    fitting = sorted(
        (name for name, mm in sizes.items() if LIKELY_LEAST_MM <= mm <= LIKELY_LARGEST_MM),
        key=lambda name: max(sizes[name] / LIKELY_MM, LIKELY_MM / sizes[name]),
    )
    text = f"The longest side is {_size(size_mm)}, which makes no sense for a brake corner"
    if not fitting:
        return Finding("odd-size", "warning", text + "; no usual unit would mend that.")
    would = ", ".join(f"{_size(sizes[name])} in {name}" for name in fitting)
    return Finding(
        "odd-size",
        "warning",
        f"{text}; it would be {would}: probably the unit is {fitting[0]}, not {unit}.",
    )


def _size(mm: float) -> str:
    if mm >= 10_000.0:
        return f"{mm / 1000.0:.4g} m"
    return f"{mm:.3g} mm"
