"""``clearturn check``: the whole job, from its file to the report."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from clearturn.errors import InputError
from clearturn_app.cli.options import add_json_option
from clearturn_app.cli.output import (
    EXIT_DONE,
    EXIT_FAILS,
    EXIT_NOT_PROVEN,
    naming,
    print_json,
    progress_bar,
    say,
    say_findings,
    table,
)
from clearturn_app.cli.sizes import sizes_text

if TYPE_CHECKING:
    from clearturn.report import ReportFiles
    from clearturn.result import CheckResult, PairResult, Verdict

_SUFFIX = ".clearturn.json"


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "check",
        help="check a whole job and write its clearance report",
        description="Check a whole job and write report.pdf, result.json, gaps.csv and pictures.",
        epilog="Exit codes: 0 clears, 1 something fails, 3 something is not proven, 2 bad input.",
    )
    parser.add_argument("job", metavar="JOB", help="job file (*.clearturn.json)")
    add_report_options(parser, "<job file's name>-report beside the job")
    add_json_option(parser)


def add_report_options(parser: argparse.ArgumentParser, default: str) -> None:
    """Add ``--out``, ``--paper`` and ``--fresh``."""
    parser.add_argument(
        "--out", metavar="DIR", help=f"folder for what is written (default: {default})"
    )
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="of the report (default: a4)"
    )
    parser.add_argument(
        "--fresh",
        action="store_true",
        help="work everything out anew, even if job, scans and program are those of an earlier run",
    )


def run(args: argparse.Namespace) -> int:
    """Check the job and return 0 (clears), 1 (fails) or 3 (not proven)."""
    job = Path(args.job)
    out = Path(args.out) if args.out else report_folder(job)
    return check_and_report(job, out, args)


def report_folder(job: Path) -> Path:
    """Return the folder a job's report goes to unless told otherwise."""
    stem = job.name.removesuffix(_SUFFIX).removesuffix(".json")
    return job.parent / f"{stem}-report"


def check_and_report(job: Path, out: Path, args: argparse.Namespace) -> int:
    """Check a job file, write its report, tell the answer and return the exit code."""
    from clearturn.job.file import load_job_text

    read = load_job_text(job)
    _refuse_folder(out)  # now, not after a minute's work

    from clearturn.corner.sources import check_files
    from clearturn.kept import kept_check
    from clearturn.report import result_json, write_report
    from clearturn.warmup import packages, warm_up_if_cold
    from clearturn_app.views.report_pictures import ChildPictureMaker

    with progress_bar() as progress, naming(job):
        # Here, where the lines of the job file are known; the check itself has only the job.
        check_files(
            read.job, job.parent, file=str(job), positions=read.positions, progress=progress
        )
        warm_up_if_cold(packages(), progress)
        result = kept_check(
            read.job, folder=job.parent, progress=progress.part(0.0, 0.7), fresh=args.fresh
        )
        files = write_report(
            result,
            out,
            picture_maker=ChildPictureMaker(),
            paper=args.paper,
            progress=progress.part(0.7, 1.0),
        )
    if args.json:
        print_json(result_json(result))
    else:
        print(as_text(result, files))
    say_findings(result.findings)
    if files.pictures_missing:
        say(files.pictures_missing)
    return exit_code(result.verdict)


def _refuse_folder(out: Path) -> None:
    # The nearest thing on the way that is there must be a folder one may write into.
    there = out.absolute()
    while not os.path.lexists(there) and there != there.parent:
        there = there.parent
    found = None
    if not there.is_dir():
        found = "something else of this name"
    elif not os.access(there, os.W_OK | os.X_OK):
        found = "a folder that may not be written"
    if found is not None:
        raise InputError(
            "the folder for the report cannot be made", file=out,
            found=f"{found}: {there}", mend="choose another with --out",
        )  # fmt: skip


def exit_code(verdict: Verdict) -> int:
    """Return the exit code of a verdict."""
    codes = {"clears": EXIT_DONE, "fails": EXIT_FAILS, "not proven": EXIT_NOT_PROVEN}
    return codes[str(verdict)]


def as_text(result: CheckResult, files: ReportFiles) -> str:
    """Return the answer for a terminal: verdict, gaps, hub diameters, what was written."""
    blocks = [f"{result.job.name}: {str(result.verdict).upper()}"]
    if result.pairs:
        blocks.append(_gap_table(result))
        blocks += [_cures(pair) for pair in result.pairs if _has_advice(pair)]
    else:
        blocks.append("No pairs were judged; nothing is proven.")
    if result.hub:
        blocks.append(_hub_table(result))
    if result.limits:
        blocks.append(_limits_table(result))
    if result.access:
        blocks.append(_access_table(result))
    blocks += sizes_text(result.size_checks)
    written = [files.pdf, files.json, files.csv, *files.pictures, *files.workshop]
    blocks.append("Written:\n" + "\n".join(f"  {path}" for path in written))
    return "\n\n".join(blocks)


def _gap_table(result: CheckResult) -> str:
    rows = [
        ("gap", "scanned", "least mm", "net mm", "U mm", "required", "margin", "clock", "verdict")
    ]
    for pair in sorted(result.pairs, key=lambda pair: pair.margin_mm):
        rows.append(
            (
                f"{pair.first} – {pair.second}",
                _number(pair.gap.gap_mm.lower),
                _number(pair.least_mm),
                _number(pair.net_gap_mm.lower),
                _number(pair.expanded_uncertainty_mm),
                _number(pair.required_mm),
                _number(pair.margin_mm),
                f"{pair.clock_deg:.0f}°",
                str(pair.verdict),
            )
        )
    return table(rows, right=(1, 2, 3, 4, 5, 6, 7))


def _number(value: float | None) -> str:
    return "unknown" if value is None or abs(value) == float("inf") else f"{value:.2f}"


def _has_advice(pair: PairResult) -> bool:
    return bool(pair.would_clear or pair.would_clear_together or pair.settle_by)


def _cures(pair: PairResult) -> str:
    lines = [f"{pair.first} – {pair.second}:"]
    for cure in pair.would_clear:
        alone = "" if cure.clears_all else " (not enough for all pairs)"
        lines.append(f"  would clear it: {cure.change}, {cure.amount_mm:.2f} mm{alone}")
        lines += [f"    {effect}" for effect in cure.side_effects]
    for joint in pair.would_clear_together:
        both = " and ".join(f"{change} of {amount:.2f} mm" for change, amount in joint.changes)
        alone = "" if joint.clears_all else " (not enough for all pairs)"
        lines.append(f"  would clear it together: {both}{alone}")
        lines += [f"    {effect}" for effect in joint.side_effects]
    if pair.settle_by:
        lines.append(f"  to settle it: {pair.settle_by}")
    return "\n".join(lines)


def _limits_table(result: CheckResult) -> str:
    rows = [("what else would fit", "size mm", "change mm", "fails next")]
    for one in result.limits:
        size = "unknown" if one.size_mm is None else _number(one.size_mm)
        change = "as now" if one.change_mm == 0 else f"{one.change_mm:+.2f}"
        rows.append((one.what, size, change, one.stopped_by or "–"))
    return table(rows, right=(1, 2))


def _access_table(result: CheckResult) -> str:
    rows = [("access", "past", "least mm", "U mm", "required", "margin", "verdict")]
    for one in result.access:
        rows.append(
            (
                one.name,
                one.against or "–",
                "unknown" if one.gap_mm is None else _number(one.gap_mm.lower),
                _number(one.expanded_uncertainty_mm),
                _number(one.required_mm),
                _number(one.margin_mm),
                str(one.verdict),
            )
        )
    return table(rows, right=(2, 3, 4, 5))


def _hub_table(result: CheckResult) -> str:
    from clearturn.report.figures import machined

    rows = [("hub diameter", "shaft mm", "hole mm", "verdict", "machine")]
    notes = []
    for hub in result.hub:
        machine = "–"
        if hub.machine is not None:
            size = machined(hub.machine.to_diameter_mm).replace("Ø", "Ø ")
            machine = (
                f"{hub.machine.part} to {size} {hub.machine.tolerance}"
                f" ({hub.machine.per_side_mm:.2f} a side)"
            )
        rows.append(
            (
                hub.name,
                f"{hub.shaft_mm:.2f} ±{hub.shaft_uncertainty_mm:.2f}",
                f"{hub.hole_mm:.2f} ±{hub.hole_uncertainty_mm:.2f}",
                str(hub.verdict),
                machine,
            )
        )
        told = [hub.gauge_first] if hub.gauge_first else []
        notes += [f"  {hub.name}: {text}" for text in [*told, *hub.spoils]]
    return "\n".join([table(rows), *notes])
