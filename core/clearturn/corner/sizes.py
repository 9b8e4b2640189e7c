"""Sizes measured by hand against the same sizes of a scan's fitted datums."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from clearturn.corner.faces import piece_of
from clearturn.corner.frames import fit_datums
from clearturn.corner.hub import known_size
from clearturn.corner.sources import Source
from clearturn.datum import Fit, Scaled, SizePair, check_scale
from clearturn.datum.scale import COVERAGE
from clearturn.errors import JobProblem
from clearturn.findings import Finding
from clearturn.job import model
from clearturn.progress import Progress
from clearturn.result import ComparedSize, SizeCheck

PARALLEL_DEG = 1.0  # our choice: beyond it jaws on two planes measure no one distance


def check_sizes(
    corner: model.Corner, sources: Mapping[str, Source], progress: Progress | None = None
) -> tuple[tuple[SizeCheck, ...], tuple[Finding, ...]]:
    """Fit the datums that sizes were measured on, and compare.

    Parameters
    ----------
    sources : mapping of str to Source
        The scans to look at; others of the corner are passed over.

    Raises
    ------
    JobProblem
        If a datum or a size cannot be used.
    """
    scans = tuple(scan for scan in corner.scans if scan.name in sources)
    used = {name for scan in scans for size in scan.size_check for name in size.datums}
    datums = tuple(datum for datum in corner.datums if datum.name in used)
    corner = replace(corner, scans=scans, datums=datums)
    return size_checks(corner, sources, fit_datums(corner, sources, progress))


def size_checks(
    corner: model.Corner, sources: Mapping[str, Source], fits: Mapping[str, Fit]
) -> tuple[tuple[SizeCheck, ...], tuple[Finding, ...]]:
    """Compare the sizes measured by hand with those of the scans.

    Parameters
    ----------
    fits : mapping of str to Fit
        By datum name, in the coordinates of the datum's scan.

    Returns
    -------
    checks : tuple of SizeCheck
        One for every scan of which a size was measured.
    findings : tuple of Finding

    Raises
    ------
    JobProblem
        If a fit cannot say how sure its size is, or two planes are not parallel.
    """
    checks: list[SizeCheck] = []
    findings: list[Finding] = []
    for scan in corner.scans:
        if not scan.size_check:
            continue
        scanned = [_scanned(size, scan, corner, fits) for size in scan.size_check]
        pairs = [
            SizePair(hand.name, value, standard, hand.value_mm, hand.uncertainty_mm / COVERAGE)
            for hand, (value, standard) in zip(scan.size_check, scanned, strict=True)
        ]
        radius = _half_length(sources[scan.name])
        found = check_scale(pairs, Scaled(scan.name, radius, scan.unit))
        sizes = (
            ComparedSize(
                hand.name, hand.kind, hand.datums, hand.instrument, hand.value_mm,
                hand.uncertainty_mm, value, COVERAGE * standard, left,
            )
            for hand, (value, standard), left in zip(
                scan.size_check, scanned, found.residual_mm, strict=True
            )
        )  # fmt: skip
        checks.append(
            SizeCheck(
                scan.name, found.state, found.factor, found.expanded_uncertainty, radius,
                tuple(sizes),
            )
        )  # fmt: skip
        findings += found.findings
    return tuple(checks), tuple(findings)


def _half_length(source: Source) -> float:
    """Return half the longest side of the largest kept piece along its own main directions, mm.

    Of a wheel it is the radius, however it lies in its scan and on whatever bench.
    """
    pieces = piece_of(source.mesh)
    largest = np.argmax(np.bincount(pieces[source.kept]))
    faces = source.mesh.faces[source.kept & (pieces == largest)]
    points = source.mesh.vertices[np.unique(faces)]
    local = points - points.mean(axis=0)
    along = local @ np.linalg.eigh(local.T @ local)[1]
    return float((along.max(axis=0) - along.min(axis=0)).max()) / 2.0


def _scanned(
    size: model.HandSize, scan: model.Scan, corner: model.Corner, fits: Mapping[str, Fit]
) -> tuple[float, float]:
    """Return a size of the scan and its standard uncertainty, mm."""
    if size.kind == "diameter":
        own = model.Size("scan", datum=size.datums[0], bias_limit_mm=scan.scanner_error_mm)
        known = known_size(own, corner, fits)
        return known.diameter_mm, known.uncertainty_mm / COVERAGE
    return _distance(size, scan, fits)


def _distance(
    size: model.HandSize, scan: model.Scan, fits: Mapping[str, Fit]
) -> tuple[float, float]:
    """Return the distance of two planes along their mean normal, and its standard uncertainty.

    With p from the middle of one patch to that of the other, n the mean normal and s the part of
    p across it, d = |p·n| changes by the shift of either plane and by half s times the turn of
    either (JCGM 100, 5.1.2).  What the planes are not parallel leaves open which normal to take:
    half s times their angle, as a rectangle (4.3.7), and so the scanner's stated error.
    """
    place = f"scan {scan.name!r}, size_check {size.name!r}"
    first, second = (fits[name] for name in size.datums)
    a, b = first.direction, second.direction
    if a is None or b is None:  # the rules of the job file refuse it before
        raise JobProblem("a distance is between two planes", place=place)
    b = b if float(a @ b) > 0.0 else -b
    angle = math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b))
    if math.degrees(angle) > PARALLEL_DEG:
        raise JobProblem(
            "two planes that are not parallel have no one distance",
            place=place,
            found=f"{math.degrees(angle):.2f} degrees between {' and '.join(size.datums)}",
            allowed=f"at most {PARALLEL_DEG:g}",
            mend="measure between other planes",
        )
    normal = (a + b) / np.linalg.norm(a + b)
    way = second.point_mm - first.point_mm
    distance = abs(float(way @ normal))
    across = float(np.linalg.norm(np.cross(way, normal)))
    parts = [across * angle / 2.0 / math.sqrt(3.0), scan.scanner_error_mm / math.sqrt(3.0)]
    for fit in (first, second):
        sure = fit.standard_uncertainty
        parts += [sure.point_mm or 0.0, across / 2.0 * (sure.direction_rad or 0.0)]
    standard = math.hypot(*parts)
    if not math.isfinite(standard):
        raise JobProblem(
            "the scan holds too few points to say how sure this distance is",
            place=place,
            mend="touch its planes in more places, or measure another size",
        )
    return distance, standard
