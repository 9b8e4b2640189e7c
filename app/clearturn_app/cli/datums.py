"""``clearturn datums``: which surfaces of a job's scans are its datums, proposed and accepted."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearturn.errors import FitProblem, InputError
from clearturn_app.cli.options import add_json_option, finite
from clearturn_app.cli.output import (
    EXIT_DONE,
    EXIT_NOT_PROVEN,
    naming,
    print_json,
    progress_bar,
    say_findings,
    table,
)
from clearturn_app.cli.sizes import sizes_text

if TYPE_CHECKING:
    from clearturn.corner.sources import Source
    from clearturn.findings import Finding
    from clearturn.job.model import Corner, Job
    from clearturn.progress import Progress
    from clearturn.propose import Proposals
    from clearturn.result import SizeCheck

_ABOUT = """\
Propose the datums on the scans of a job: hub face, registers, bearing housing, studs or holes,
caliper lugs and the split into turning and fixed faces on a knuckle; pad, bore, bolt holes,
barrel, inset and rim size on a wheel.  Each with a confidence and the reasons.  Nothing is
written without --accept.  Sizes that the job has as measured by hand are compared with the scans.
"""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "datums",
        help="propose the datums on a job's scans, and take them into the job",
        description=_ABOUT,
        epilog="Exit codes: 0 everything found and sure, 3 something missing or doubtful, "
        "2 bad input.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("job", metavar="JOB", help="job file (*.clearturn.json)")
    parser.add_argument("--axle", choices=("front", "rear"), help="default: the job's first")
    parser.add_argument("--scan", metavar="NAME", help="only this scan of the job")
    parser.add_argument(
        "--shows",
        choices=("knuckle", "wheel"),
        help="what the scan shows (default: told from the job's frames, else from the shape)",
    )
    parser.add_argument(
        "--up",
        nargs=3,
        type=finite,
        metavar=("X", "Y", "Z"),
        help="roughly up, in the scan's coordinates; needed for clock angles and the hub frame",
    )
    parser.add_argument(
        "--accept",
        nargs="*",
        metavar="NAME",
        help="write these into the job, in place of datums of the same name; without names all "
        "that are not doubtful and not in the job yet, with frames and parts",
    )
    parser.add_argument("--why", action="store_true", help="print every reason, not only doubts")
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Propose, print, write what was accepted; return 0, or 3 if something is doubtful."""
    from clearturn.corner.sizes import check_sizes
    from clearturn.job.edits import with_corner
    from clearturn.job.file import load_job, save_job

    job = load_job(args.job)
    axle = _axle(job, args)
    with progress_bar() as progress:
        sources, found, missing = _propose(args, axle.corner, progress.part(0.0, 0.9))
        with naming(args.job):
            sizes, doubts = check_sizes(axle.corner, sources, progress.part(0.9, 1.0))
    taken: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    if args.accept is not None:
        corner, taken, findings = _accept(args, axle.corner, found)
        changed = with_corner(job, axle.name, corner)
        if changed is not job:
            save_job(changed, args.job)
    if args.json:
        print_json(as_json(job, axle.name, found, missing, taken, (*findings, *doubts), sizes))
    else:
        print(as_text(job, found, missing, taken, sizes, why=args.why))
        for one in found.values():
            say_findings(one.findings)
        say_findings((*findings, *doubts))
    sure = _all_sure(found) and not missing and all(one.state == "agrees" for one in sizes)
    return EXIT_DONE if sure else EXIT_NOT_PROVEN


def _axle(job: Job, args: argparse.Namespace) -> Any:
    if not job.axles:
        raise InputError("the job has no axle yet", file=args.job, mend="add one with its scans")
    for axle in job.axles:
        if args.axle is None or axle.name == args.axle:
            return axle
    raise InputError("the job has no such axle", file=args.job, found=repr(args.axle))


def _propose(
    args: argparse.Namespace, corner: Corner, progress: Progress
) -> tuple[dict[str, Source], dict[str, Proposals], dict[str, str]]:
    from dataclasses import replace

    from clearturn.corner.sources import read_sources
    from clearturn.propose import propose

    names = [scan.name for scan in corner.scans]
    if args.scan is not None and args.scan not in names:
        raise InputError(
            "the corner has no scan of this name",
            file=args.job,
            place="--scan",
            found=repr(args.scan),
            allowed=", ".join(map(repr, names)) or "none yet",
        )
    wanted = tuple(scan for scan in corner.scans if args.scan in (None, scan.name))
    if not wanted:
        raise InputError("the corner has no scan yet", file=args.job, mend="add one to the job")
    folder = Path(args.job).resolve().parent
    sources = read_sources(replace(corner, scans=wanted), folder, progress.part(0.0, 0.3))
    found: dict[str, Proposals] = {}
    missing: dict[str, str] = {}
    up = None if args.up is None else (args.up[0], args.up[1], args.up[2])
    for k, scan in enumerate(wanted):
        here = progress.part(0.3 + 0.7 * k / len(wanted), 0.3 + 0.7 * (k + 1) / len(wanted))
        source: Source = sources[scan.name]
        try:
            found[scan.name] = propose(source, corner, args.shows, up=up, progress=here)
        except FitProblem as problem:
            missing[scan.name] = problem.sentence()
    return sources, found, missing


def _accept(
    args: argparse.Namespace, corner: Corner, found: dict[str, Proposals]
) -> tuple[Corner, tuple[str, ...], tuple[Finding, ...]]:
    from clearturn.propose import accept

    up = None if args.up is None else (args.up[0], args.up[1], args.up[2])
    taken: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    left = list(args.accept)
    for scan, one in found.items():
        mine = None if not args.accept else [n for n in left if one.named(n) is not None]
        if mine is not None:
            left = [n for n in left if n not in mine]
        result = accept(corner, scan, one, mine, up=up)
        corner = result.corner
        taken += result.taken
        findings += result.findings
    if left:
        listed = ", ".join(repr(p.name) for one in found.values() for p in one.proposed)
        raise InputError(
            "nothing of this name is proposed",
            file=args.job,
            place="--accept",
            found=repr(left[0]),
            allowed=listed or "nothing",
        )
    return corner, taken, findings


def _all_sure(found: dict[str, Proposals]) -> bool:
    from clearturn.propose import SURE

    return all(
        not one.not_found and all(p.confidence >= SURE for p in one.proposed)
        for one in found.values()
    )


def as_json(
    job: Job,
    axle: str,
    found: dict[str, Proposals],
    missing: dict[str, str],
    taken: tuple[str, ...],
    findings: tuple[Finding, ...],
    sizes: tuple[SizeCheck, ...],
) -> dict[str, Any]:
    """Return the contract's object."""
    from dataclasses import asdict

    from clearturn.propose import ways_to_the_axis
    from clearturn.report.exchange import size_check_json

    return {
        "job": job.name,
        "axle": axle,
        "scans": [
            {
                "scan": scan,
                **one.as_json(),
                "ways_to_the_axis": [asdict(way) for way in ways_to_the_axis(one)],
            }
            for scan, one in found.items()
        ],
        "not_proposed": [{"scan": scan, "reason": text} for scan, text in missing.items()],
        "size_checks": [size_check_json(one) for one in sizes],
        "accepted": list(taken),
        "findings": [one.as_json() for one in findings],
    }


def as_text(
    job: Job,
    found: dict[str, Proposals],
    missing: dict[str, str],
    taken: tuple[str, ...],
    sizes: tuple[SizeCheck, ...],
    *,
    why: bool = False,
) -> str:
    """Return the proposals for a terminal."""
    blocks = [f"{job.name}: proposed datums"]
    blocks += [_scan(scan, one, why) for scan, one in found.items()]
    blocks += [f"{scan}: nothing proposed: {text}" for scan, text in missing.items()]
    blocks += sizes_text(sizes)
    if taken:
        blocks.append("Written into the job: " + ", ".join(taken))
    blocks.append(
        "Look at every proposal before it is relied on: a wrong surface gives a wrong frame, and "
        "every gap with it."
    )
    return "\n\n".join(blocks)


def _scan(scan: str, found: Proposals, why: bool) -> str:
    from clearturn.propose import SURE

    rows = [("feature", "confidence", "numbers (lengths mm)", "touched at, mm")]
    for one in found.proposed:
        seed = one.seeds_mm[0] if one.seeds_mm else None
        more = f" +{len(one.seeds_mm) - 1}" if len(one.seeds_mm) > 1 else ""
        place = "" if seed is None else ", ".join(f"{x:.1f}" for x in seed) + more
        rows.append((one.name, f"{one.confidence:.2f}", _numbers(one.values), place))
    lines = [f"{scan}: a {found.part}", table(rows, right=(1,))]
    for one in found.proposed:
        told = (*one.why, *one.doubts) if why else one.doubts
        lines += [f"  {one.name}: {text}" for text in told]
    lines += [f"  {one.name}: not found, {one.reason}" for one in found.not_found]
    unsure = [f"{p.name} ({p.confidence:.2f})" for p in found.proposed if p.confidence < SURE]
    if unsure:
        lines.append(f"  below {SURE:.2f}, look twice: " + ", ".join(unsure))
    return "\n".join([*lines, *_ways(found)])


def _ways(found: Proposals) -> list[str]:
    from clearturn.propose import ways_to_the_axis

    lines = ["  ways to the axis, compared at the face:"]
    for way in ways_to_the_axis(found):
        place = "" if way.offset_mm is None else f"{way.offset_mm:.3f} mm apart, "
        agree = "agree" if way.agree else "differ by more than their uncertainties"
        lines.append(
            f"    {way.first} and {way.second}: {place}{way.tilt_rad * 1e3:.2f} mrad: {agree}"
        )
    return lines


def _numbers(values: Any) -> str:
    told = []
    for key, value in values.items():
        name = key.removesuffix("_mm").replace("_", " ")
        told.append(f"{name} {value:.2f}" if isinstance(value, float) else f"{name} {value}")
    return ", ".join(told)
