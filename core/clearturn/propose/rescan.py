"""Another scan of the same part, or of the other side's, laid onto the first."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.corner.differences import Difference, differences
from clearturn.corner.mirror import mirrored_mesh
from clearturn.corner.registration import Registration, register, start_from_points
from clearturn.errors import FitProblem, InputError
from clearturn.job import model
from clearturn.job.edits import put
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report
from clearturn.propose.knuckle import propose_knuckle
from clearturn.propose.model import Proposals

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Laid:
    """A second scan on the first.

    Attributes
    ----------
    second : Mesh
        The second scan as compared: its mirror image (x → −x in its own coordinates) if asked.
    registration : Registration
    differences : tuple of Difference
    started_by : {"touched points", "hub and lugs"}
    """

    second: Mesh
    registration: Registration
    differences: tuple[Difference, ...]
    started_by: str


def lay(
    first: Mesh,
    second: Mesh,
    *,
    touched: tuple[ArrayLike, ArrayLike] | None = None,
    mirrored: bool = False,
    least_mm: float | None = None,
    progress: Progress | None = None,
) -> Laid:
    """Lay a second scan onto the first and say where they differ.

    Parameters
    ----------
    first, second : Mesh
        In their own coordinates, mm; specks and bench left out.
    touched : two (n, 3) array_like, optional
        The same places on both, in the same order; else both are brought together by the hub and
        the caliper's lugs as proposed on each.  On a mirrored scan the points as scanned.
    mirrored : bool
        The second is of the other side: its mirror image is laid.
    least_mm : float, optional
        Differences from here on are told.

    Raises
    ------
    FitProblem
        If the start or the laying fails.
    InputError
        If the touched points tell no pose.
    """
    if mirrored:
        second = mirrored_mesh(second)
    if touched is None:
        report(progress, 0.0, "looking for hub and lugs on both")
        started = "hub and lugs"
        start = _start(
            _looked(first, "first", part(progress, 0.0, 0.2)),
            _looked(second, "second", part(progress, 0.2, 0.4)),
        )
    else:
        started = "touched points"
        its = np.asarray(touched[1], dtype=np.float64)
        start = start_from_points(touched[0], its * (-1.0, 1.0, 1.0) if mirrored else its)
    laid = register(first, second, start, progress=part(progress, 0.4, 0.7))
    found = differences(first, second, laid, least_mm=least_mm, progress=part(progress, 0.7, 1.0))
    return Laid(second, laid, found, started)


def _looked(mesh: Mesh, which: str, progress: Progress | None) -> Proposals:
    try:
        return propose_knuckle(mesh, progress=progress)
    except FitProblem as problem:
        raise FitProblem(
            f"the {which} scan cannot be brought near the other by its hub: {problem.problem}",
            found=problem.found,
            mend="touch three or more places on both scans",
        ) from None


def _start(first: Proposals, second: Proposals) -> Array:
    """Return the pose that brings hub on hub and lugs on lugs."""
    turn = _lug_clock(first, "first") - _lug_clock(second, "second")
    about = np.eye(4)
    about[:2, :2] = [
        [math.cos(turn), math.sin(turn)],
        [-math.sin(turn), math.cos(turn)],
    ]
    answer: Array = np.linalg.inv(first.part_from_scan) @ about @ second.part_from_scan
    return answer


def _lug_clock(found: Proposals, which: str) -> float:
    """Return the clock angle of the middle between the lugs, rad."""
    fits = [
        one.fit
        for one in found.proposed
        if one.fit is not None
        and one.name in ("lug 1 bore", "lug 2 bore", "lug 1 pin", "lug 2 pin")
    ]
    if len(fits) < 2:
        raise FitProblem(
            f"no caliper lugs were found on the {which} scan to tell how far it is turned",
            mend="touch three or more places on both scans",
        )
    pose = found.part_from_scan
    middle = np.mean([pose[:3, :3] @ fit.point_mm + pose[:3, 3] for fit in fits], axis=0)
    return math.atan2(middle[0], middle[1])


def laid_scan(
    corner: model.Corner,
    onto: str,
    hub_from_first: ArrayLike,
    laid: Laid,
    *,
    name: str,
    path: str,
    sha256: str,
    unit: str,
) -> model.Corner:
    """Return the corner with the second scan in it, placed by its laying.

    What the laying adds to the uncertainty of its parts, ± twice the standard uncertainty at the
    scan's corners, goes into the scan's limit of error, and so into every gap.

    Parameters
    ----------
    onto : str
        Name of the first scan.
    hub_from_first : (4, 4) array_like
        Where the first sits.
    name, path, sha256, unit : str
        Of the second, as the job keeps them.

    Raises
    ------
    InputError
        If the name is the first scan's, or that of a scan that datums or frames hang on.
    """
    first = next(scan for scan in corner.scans if scan.name == onto)
    if name == onto or name in [datum.scan for datum in corner.datums]:
        raise InputError(
            "a scan that holds datums cannot be replaced by a laid one",
            found=repr(name),
            mend="give it another name",
        )
    pose = np.asarray(hub_from_first, dtype=np.float64) @ laid.registration.first_from_second
    points = laid.second.bounds
    corners = np.array(
        [[points[i][0], points[j][1], points[k][2]] for i, j, k in np.ndindex(2, 2, 2)]
    )
    move = laid.registration.first_from_second
    sure = laid.registration.standard_mm(corners @ move[:3, :3].T + move[:3, 3])
    rows = [tuple(float(x) for x in row) for row in pose]
    scan = model.Scan(
        name=name,
        path=path,
        sha256=sha256,
        unit=unit,  # type: ignore[arg-type]  # checked by the reader
        scanner_error_mm=round(first.scanner_error_mm + 2.0 * sure, 4),
        hub_from_scan=tuple(rows),  # type: ignore[arg-type]  # four rows of four
        cleaning=(model.DropSmallPieces("drop small pieces", 100),),
    )
    return put(corner, scan)
