"""What the sizes measured by hand must fulfil."""

from __future__ import annotations

from collections.abc import Iterator

from clearturn.job.fault import Fault, twice, unknown
from clearturn.job.hand_sizes import HandSize
from clearturn.job.model import Corner
from clearturn.job.positions import JsonPath

#: Features that each kind of size is measured on.
SERVE = {"diameter": ("cylinder", "circle", "sphere"), "distance": ("plane",)}
_NEEDED = {"diameter": 1, "distance": 2}


def hand_size_faults(at: JsonPath, corner: Corner) -> Iterator[Fault]:
    """Yield what is wrong with the sizes measured by hand."""
    for i, scan in enumerate(corner.scans):
        here = (*at, "scans", i, "size_check")
        names = [size.name for size in scan.size_check]
        yield from twice(here, names, "measured size")
        for j, size in enumerate(scan.size_check):
            yield from _datum_faults((*here, j, "datums"), size, scan.name, corner)
            yield from _number_faults((*here, j), size)
            if not size.instrument.strip():
                yield Fault((*here, j, "instrument"), "a measured size needs its instrument")


def _datum_faults(at: JsonPath, size: HandSize, scan: str, corner: Corner) -> Iterator[Fault]:
    needed, serve = _NEEDED[size.kind], SERVE[size.kind]
    if len(size.datums) != needed or len(set(size.datums)) != needed:
        one = "the name of one round datum" if needed == 1 else "the names of two planes"
        found = " and ".join(repr(name) for name in size.datums) or "none"
        yield Fault(at, f"a {size.kind} is of {needed} datum{'s' * (needed > 1)}", found, one)
    datums = {datum.name: datum for datum in corner.datums}
    for k, name in enumerate(size.datums):
        yield from unknown((*at, k), name, datums, "datum")
        if name not in datums:
            continue
        datum = datums[name]
        if datum.scan != scan:
            yield Fault(
                (*at, k),
                "the datum lies on another scan",
                found=f"{name!r}, on {datum.scan!r}",
                allowed=f"a datum on {scan!r}",
            )
        if datum.feature not in serve:
            no = "has no diameter" if size.kind == "diameter" else "is no plane to measure from"
            yield Fault((*at, k), f"this feature {no}", f"a {datum.feature}", " or ".join(serve))


def _number_faults(at: JsonPath, size: HandSize) -> Iterator[Fault]:
    if not size.value_mm > 0.0:
        yield Fault(
            (*at, "value_mm"),
            "a measured size is not above zero",
            found=f"{size.value_mm:g}",
            allowed="more than 0",
        )
    elif not 0.0 < size.uncertainty_mm < size.value_mm:
        yield Fault(
            (*at, "uncertainty_mm"),
            "a measured size needs its uncertainty",
            found=f"{size.uncertainty_mm:g}",
            allowed=f"above 0 and below the size, {size.value_mm:g} (expanded, k = 2)",
            mend="state how sure the measurement is: 0.04 mm by caliper, say",
        )
