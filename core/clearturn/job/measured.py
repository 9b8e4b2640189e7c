"""Adding to a job the sizes of a scanned part that were measured by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations

from clearturn.errors import InputError
from clearturn.job.hand_sizes import HandSize, SizeKind
from clearturn.job.model import Corner
from clearturn.job.rules_sizes import SERVE

Measurable = tuple[str, SizeKind, tuple[str, ...]]


def measurable_sizes(corner: Corner) -> Mapping[str, Measurable]:
    """Return what can be measured by hand on a corner's scans, by its name.

    Returns
    -------
    mapping of str to (str, str, tuple of str)
        Scan, kind and datums of each size: the diameter of every round datum, the distance of
        every two planes of one scan.
    """
    found: dict[str, Measurable] = {}
    for scan in corner.scans:
        here = [datum for datum in corner.datums if datum.scan == scan.name]
        for datum in here:
            if datum.feature in SERVE["diameter"]:
                found[f"{datum.name}, diameter"] = (scan.name, "diameter", (datum.name,))
        planes = [datum.name for datum in here if datum.feature in SERVE["distance"]]
        for one, other in combinations(planes, 2):
            found[f"{one} to {other}, distance"] = (scan.name, "distance", (one, other))
    return found


def with_hand_size(
    corner: Corner, size: str, value_mm: float, uncertainty_mm: float, instrument: str
) -> Corner:
    """Return a corner with a size measured by hand; a second of one name gets a number.

    Raises
    ------
    InputError
        If `size` is none of `measurable_sizes`.
    """
    known = measurable_sizes(corner)
    if size not in known:
        raise InputError(
            "nothing of that name can be measured by hand",
            found=repr(size),
            allowed=", ".join(known) or "nothing before datums are touched",
        )
    at, kind, datums = known[size]
    (scan,) = (one for one in corner.scans if one.name == at)
    taken = {one.name for one in scan.size_check}
    names = [size, *(f"{size} {k}" for k in range(2, len(taken) + 3))]
    name = next(one for one in names if one not in taken)
    made = HandSize(name, kind, datums, value_mm, uncertainty_mm, instrument)
    after = replace(scan, size_check=(*scan.size_check, made))
    return replace(corner, scans=tuple(after if one is scan else one for one in corner.scans))


def without_hand_size(corner: Corner, scan: str, name: str) -> Corner:
    """Return a corner without one size measured by hand."""
    return replace(corner, scans=tuple(
        replace(one, size_check=tuple(size for size in one.size_check if size.name != name))
        if one.name == scan else one
        for one in corner.scans
    ))  # fmt: skip
