"""``clearturn rescan``: another scan of the corner, laid onto the first by unchanged surface."""

from __future__ import annotations

import argparse
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearturn.errors import InputError
from clearturn_app.cli.options import add_json_option, add_unit_option, positive
from clearturn_app.cli.output import EXIT_DONE, print_json, progress_bar, say_findings, table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from clearturn.findings import Finding
    from clearturn.job.model import Axle, Corner
    from clearturn.mesh import Mesh
    from clearturn.progress import Progress
    from clearturn.propose import Laid

_ABOUT = """\
Lay another scan of the same knuckle onto one of the job's: with or without the shield, in another
steering or suspension position, after machining.  Only surface that did not change counts; where
the scans differ is listed.  With --mirrored the scan is of the other side, and the list shows what
mirroring would get wrong.
"""


@dataclass(frozen=True, slots=True)
class _Job:
    """What the command needs of the job."""

    axle: Axle
    onto: str
    first: Mesh
    hub_from_first: NDArray[np.float64] | None


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "rescan",
        help="lay another scan of the same corner onto the first, and see where they differ",
        description=_ABOUT,
        epilog="Exit codes: 0 laid (whether or not the scans differ), 2 bad input or scans that "
        "cannot be laid onto each other.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("job", metavar="JOB", help="job file (*.clearturn.json)")
    parser.add_argument("file", metavar="FILE", help="the other scan")
    parser.add_argument("--axle", choices=("front", "rear"), help="default: the job's first")
    parser.add_argument(
        "--onto", metavar="SCAN", help="scan of the job (default: that of the hub frame)"
    )
    parser.add_argument(
        "--touched",
        metavar="TABLE",
        help="text table, six numbers a row: a place on the job's scan, the same place on the "
        "other; three rows or more (default: brought together by hub and lugs)",
    )
    parser.add_argument(
        "--mirrored", action="store_true", help="the other scan is of the other side"
    )
    parser.add_argument(
        "--least-mm", type=positive, metavar="D", help="tell differences from here on"
    )
    parser.add_argument(
        "--accept",
        metavar="NAME",
        help="write the scan into the job under this name, with its pose",
    )
    add_unit_option(parser)
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Lay, print, write the scan if accepted; return 0."""
    from clearturn.job.file import load_job, save_job
    from clearturn.propose import lay
    from clearturn.scan import read_scan

    if args.mirrored and args.accept is not None:
        raise InputError(
            "a scan of the other side cannot stand in this corner",
            place="--accept",
            mend="leave --mirrored or --accept out",
        )
    job = load_job(args.job)
    touched = None if args.touched is None else _touched(args.touched)
    with progress_bar() as progress:
        known = _known(args, job.axles, progress.part(0.0, 0.2))
        read = read_scan(args.file, unit=args.unit, progress=progress.part(0.2, 0.3))
        second = _without_specks(read.mesh)
        laid = lay(
            known.first,
            second,
            touched=touched,
            mirrored=args.mirrored,
            least_mm=args.least_mm,
            progress=progress.part(0.3, 1.0),
        )
    findings = (*read.findings, *laid.registration.findings, *_mirror_findings(args, laid))
    if args.accept is not None:
        from clearturn.job.edits import with_corner

        unit = args.unit or read.unit
        corner = _with_scan(args, known, laid, unit)
        save_job(with_corner(job, known.axle.name, corner), args.job)
    if args.json:
        print_json(as_json(args, known, laid, findings))
    else:
        print(as_text(args, known, laid))
        say_findings(findings)
    return EXIT_DONE


def _known(args: argparse.Namespace, axles: tuple[Axle, ...], progress: Progress) -> _Job:
    from dataclasses import replace

    from clearturn.corner.frames import find_frames, fit_datums, hub_scan
    from clearturn.corner.sources import read_sources

    chosen = [axle for axle in axles if args.axle in (None, axle.name)]
    if not chosen:
        raise InputError("the job has no such axle", file=args.job, found=repr(args.axle))
    corner = chosen[0].corner
    names = [scan.name for scan in corner.scans]
    onto = args.onto or hub_scan(corner)
    if onto is None or onto not in names:
        raise InputError(
            "the job has no scan to lay the other onto",
            file=args.job,
            place="--onto",
            found=repr(args.onto) if args.onto else "no hub frame that names one",
            allowed=", ".join(map(repr, names)) or "none yet",
        )
    scans = tuple(scan for scan in corner.scans if scan.name == onto)
    datums = tuple(datum for datum in corner.datums if datum.scan == onto)
    own = replace(corner, scans=scans, datums=datums, wheel_frame=None)
    if hub_scan(corner) != onto:
        own = replace(own, hub_frame=None)
    sources = read_sources(own, Path(args.job).resolve().parent, progress)
    frames = find_frames(own, fit_datums(own, sources))
    return _Job(chosen[0], onto, sources[onto].cleaned, frames.hub_from_scan.get(onto))


def _without_specks(mesh: Mesh) -> Mesh:
    from clearturn.corner.faces import clean
    from clearturn.job.model import DropSmallPieces

    kept = clean(mesh, [DropSmallPieces("drop small pieces", 100)]).kept
    return mesh.part(kept) if kept.any() and not kept.all() else mesh


def _touched(path: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    import numpy as np

    rows = []
    try:
        lines = Path(path).read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise InputError("not a text table", file=path) from None
    for number, line in enumerate(lines, 1):
        words = line.split("#")[0].replace(",", " ").replace(";", " ").split()
        if not words:
            continue
        try:
            row = [float(word) for word in words]
        except ValueError:
            row = []
        if len(row) != 6 or not np.isfinite(row).all():
            raise InputError(
                "a row of touched places needs six numbers",
                file=path,
                place=f"line {number}",
                found=repr(line.strip()[:60]),
                allowed="x y z on the job's scan, x y z on the other",
            )
        rows.append(row)
    both = np.array(rows, dtype=np.float64).reshape(-1, 6)
    return both[:, :3], both[:, 3:]


def _mirror_findings(args: argparse.Namespace, laid: Laid) -> tuple[Finding, ...]:
    from clearturn.corner.mirror import checked_side_finding

    return (checked_side_finding(len(laid.differences)),) if args.mirrored else ()


def _with_scan(args: argparse.Namespace, known: _Job, laid: Laid, unit: str) -> Corner:
    from clearturn.corner.sources import file_sha256
    from clearturn.propose import laid_scan

    if known.hub_from_first is None:
        raise InputError(
            "the job's scan has no place in the corner yet",
            file=args.job,
            found=f"scan {known.onto!r} without a hub frame",
            mend="accept its datums first: clearturn datums",
        )
    folder = Path(args.job).resolve().parent
    path = Path(os.path.relpath(Path(args.file).resolve(), folder)).as_posix()
    return laid_scan(
        known.axle.corner,
        known.onto,
        known.hub_from_first,
        laid,
        name=args.accept,
        path=path,
        sha256=file_sha256(args.file),
        unit=unit,
    )


def as_json(
    args: argparse.Namespace, known: _Job, laid: Laid, findings: tuple[Finding, ...]
) -> dict[str, Any]:
    """Return the contract's object."""
    r = laid.registration
    return {
        "onto": known.onto,
        "file": args.file,
        "mirrored": args.mirrored,
        "started_by": laid.started_by,
        "first_from_second": r.first_from_second.tolist(),
        "unchanged_share": r.unchanged,
        "scale_mm": r.scale_mm,
        "rms_mm": r.rms_mm,
        "points": r.points,
        "used": r.used,
        "effective_points": r.effective_points,
        "standard_uncertainty_mm": r.standard_mm(known.first.bounds),
        "differences": [
            {
                "on": one.on,
                "area_mm2": one.area_mm2,
                "greatest_mm": one.greatest_mm,
                "mean_mm": one.mean_mm,
                "place_mm": one.place_mm.tolist(),
                "hub": _in_hub(known, one.place_mm),
                "alone": one.alone,
            }
            for one in laid.differences
        ],
        "accepted": args.accept,
        "findings": [one.as_json() for one in findings],
    }


def _in_hub(known: _Job, place: NDArray[np.float64]) -> dict[str, float] | None:
    import math

    if known.hub_from_first is None:
        return None
    x, y, z = known.hub_from_first[:3, :3] @ place + known.hub_from_first[:3, 3]
    clock = math.degrees(math.atan2(x, y)) % 360.0
    return {"r_mm": math.hypot(x, y), "clock_deg": clock, "z_mm": float(z)}


def as_text(args: argparse.Namespace, known: _Job, laid: Laid) -> str:
    """Return the answer for a terminal."""
    r = laid.registration
    sure = 2.0 * r.standard_mm(known.first.bounds)
    lines = [
        f"{args.file} on scan {known.onto}" + (", mirrored" if args.mirrored else ""),
        f"  started by          {laid.started_by}",
        f"  unchanged           {r.unchanged:.0%} of the surface both have seen",
        f"  residual            {r.rms_mm:.3f} mm rms, scale {r.scale_mm:.3f} mm",
        f"  place known within  ±{sure:.3f} mm at the scan's corners",
    ]
    if not laid.differences:
        return "\n".join([*lines, "  no place differs"])
    rows = [("differs on", "area mm²", "greatest mm", "mean mm", "where", "")]
    for one in laid.differences:
        hub = _in_hub(known, one.place_mm)
        x, y, z = one.place_mm
        where = (
            f"{x:.0f}, {y:.0f}, {z:.0f} in the scan"
            if hub is None
            else f"clock {hub['clock_deg']:.0f}°, r {hub['r_mm']:.0f}, z {hub['z_mm']:.0f}"
        )
        note = "seen on this scan only" if one.alone else ""
        rows.append(
            (one.on, f"{one.area_mm2:.0f}", f"{one.greatest_mm:+.2f}", f"{one.mean_mm:+.2f}",
             where, note)
        )  # fmt: skip
    text = "\n".join([*lines, "", table(rows, right=(1, 2, 3))])
    if args.accept is not None:
        text += f"\n\nWritten into the job as scan {args.accept!r}."
    return text
