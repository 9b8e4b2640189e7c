"""``clearturn sums``: the trade sums of a job, and the bracket's plan and dummy as files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from clearturn_app.cli.options import add_json_option
from clearturn_app.cli.output import (
    EXIT_DONE,
    EXIT_FAILS,
    EXIT_NOT_PROVEN,
    print_json,
    say_findings,
    table,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from clearturn.job.model import Job
    from clearturn.trade.sheet import Sheet
    from clearturn.trade.sums import SumsResult

_ABOUT = """\
The sums of a job: hub fits, bolts, ring-to-hat joint, bracket, pads, brake balance, parking brake,
heat, mass, run-out, axle sheet.  They stand in the job file under "sums".
"""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "sums",
        help="the trade sums of a job",
        description=_ABOUT,
        epilog="Exit codes: 0 clears, 1 something fails, 3 something is not proven, 2 bad input.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("job", metavar="JOB", help="job file (*.clearturn.json)")
    parser.add_argument("--only", metavar="SUM", help="one sum by its name in the job file")
    parser.add_argument(
        "--out",
        metavar="DIR",
        help="also write bracket.dxf, bracket.svg, dummy.stl and the plots into this folder",
    )
    _add_reading_options(parser)
    add_json_option(parser)


_READINGS = {
    "rotor": "axial, on the ring",
    "hub-face": "axial, on the hub face, rotor off",
    "thickness": "of the ring",
    "register": "radial, on the hub's register",
}


def _add_reading_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group(
        "dial readings",
        "For the run-out instead of those in the job: mm, once round in equal steps from stud 1, "
        'parted by blanks, lines or semicolons, as --rotor "0.015 0.020 -0.011 …".',
    )
    group.add_argument(
        "--readings",
        metavar="FILE",
        help="csv whose first line names its columns: rotor_mm, hub_face_mm, thickness_mm, "
        "register_mm, angle_deg; - reads it from stdin, to paste into",
    )
    for name, what in _READINGS.items():
        group.add_argument(f"--{name}", metavar="TEXT", help=what)


def run(args: argparse.Namespace) -> int:
    """Compute the sums, print them and return 0 (clears), 1 (fails) or 3 (not proven)."""
    from dataclasses import replace

    from clearturn.errors import InputError
    from clearturn.job.file import load_job
    from clearturn.job.sums import job_sums

    job = load_job(args.job)
    given = _given_readings(args)
    if given:
        job = _with_given(job, given, args.job)
    result = job_sums(job, Path(args.job).parent)
    if args.only is not None:
        kept = tuple(sheet for sheet in result.sheets if sheet.name == args.only)
        if not kept:
            listed = ", ".join(sheet.name for sheet in result.sheets) or "none"
            raise InputError(
                "the job holds no sum of this name", file=args.job, place="--only",
                found=repr(args.only), allowed=listed,
            )  # fmt: skip
        result = replace(result, sheets=kept)
    written = write_files(job, result, Path(args.out)) if args.out else []
    if args.json:
        files = [str(path) for path in written]
        print_json({"job": job.name, **result.as_json(), "files": files})
    else:
        print(as_text(job, result, written))
        say_findings(result.findings)
    return exit_code(result.word) if result.sheets else EXIT_NOT_PROVEN


def _given_readings(args: argparse.Namespace) -> dict[str, list[float]]:
    """Return the readings typed, pasted or in a csv file, by their keys in the job file."""
    import sys

    from clearturn.errors import InputError
    from clearturn.job.sums import read_readings, readings_of
    from clearturn.trade.inputs import SumProblem
    from clearturn.trade.readings import MOST_BYTES, parse_readings

    found: Mapping[str, tuple[float, ...]] = {}
    if args.readings == "-":
        text = sys.stdin.read(MOST_BYTES + 1)
        if len(text) > MOST_BYTES:
            raise InputError("too long for readings", file="stdin", allowed=f"{MOST_BYTES:,} bytes")
        found = readings_of(text, "stdin")
    elif args.readings is not None:
        found = read_readings(Path(args.readings))
    given = {key: list(values) for key, values in found.items()}
    for name in _READINGS:
        text = getattr(args, name.replace("-", "_"))
        if text is None:
            continue
        key = f"{name.replace('-', '_')}_mm"
        if key in given:
            raise InputError(
                "these readings are given twice", place=f"--{name}",
                found=f"a column {key} in {args.readings}", mend="give one of them",
            )  # fmt: skip
        try:
            given[key] = list(parse_readings(text))
        except SumProblem as problem:
            raise InputError(
                problem.problem, place=f"--{name}", found=problem.found, mend=problem.mend
            ) from None
        if not given[key]:
            raise InputError("no number stands here", place=f"--{name}", found=repr(text[:40]))
    return given


def _with_given(job: Job, given: Mapping[str, list[float]], file: str) -> Job:
    """Return the job with these readings in place of its own of the same kind."""
    from clearturn.errors import InputError
    from clearturn.job.edits import with_sum
    from clearturn.trade.inputs import SumProblem
    from clearturn.trade.sums import read_sum

    content = job.sums.get("run_out")
    if not isinstance(content, dict):
        raise InputError(
            "the job has no place for readings", file=file, place="sums",
            mend='write "run_out": {"stud_count": 5} into its sums, with the radii of the dial',
        )  # fmt: skip
    # Those of the job's csv would stand beside the given ones as if taken together.
    changed = {key: value for key, value in content.items() if key != "readings_csv"} | given
    try:
        read_sum("run_out", changed)
    except SumProblem as problem:
        raise problem.under("sums") from None
    return with_sum(job, "run_out", changed)


def exit_code(word: str) -> int:
    """Return the exit code of the worst word."""
    return {"clears": EXIT_DONE, "fails": EXIT_FAILS, "not proven": EXIT_NOT_PROVEN}[word]


def write_files(job: Job, result: SumsResult, folder: Path) -> list[Path]:
    """Write the bracket's plan and dummy and every plot; return what was written."""
    from clearturn.drawing import to_svg
    from clearturn.drawing.sum_plot import sum_plot
    from clearturn.errors import InputError
    from clearturn.report.workshop import workshop_files
    from clearturn.report.write import write_whole

    names = {sheet.name for sheet in result.sheets}
    files = workshop_files(job) if "bracket" in names else {}
    for sheet in result.sheets:
        for number, plot in enumerate(sheet.plots, start=1):
            files[f"{sheet.name}-{number}.svg"] = to_svg(sum_plot(plot)).encode()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"cannot be written: {error.strerror or error}", file=folder, mend="choose another"
        ) from None
    for name, content in files.items():
        write_whole(folder / name, content)
    return [folder / name for name in files]


def as_text(job: Job, result: SumsResult, written: list[Path]) -> str:
    """Return the sums for a terminal."""
    from clearturn.trade.sheet import CAUTION

    if not result.sheets:
        why = "the job holds no sums, so nothing is proven (docs/methods tells what they need)"
        return f"{job.name}: {why}."
    blocks = [f"{job.name}: sums: {result.word.upper()}"]
    blocks += [_sheet(sheet) for sheet in result.sheets]
    if written:
        blocks.append("Written:\n" + "\n".join(f"  {path}" for path in written))
    blocks.append(CAUTION)
    return "\n\n".join(blocks)


def _sheet(sheet: Sheet) -> str:
    lines = [f"{sheet.title}  [{sheet.name}]", "=" * len(sheet.title)]
    for line in sheet.lines:
        note = f"  ({line.note})" if line.note else ""
        lines.append(f"  {line.label}: {line.value}{note}")
    if sheet.rulings:
        rows = [("check", "found", "needed", "verdict")]
        rows += [(r.name, r.found, r.needed, r.word) for r in sheet.rulings]
        lines += ["", table(rows)]
        lines += [f"  {r.name}: {r.note}" for r in sheet.rulings if r.note]
    for grid in sheet.grids:
        right = [i for i in range(len(grid.heads)) if i not in grid.text_columns]
        lines += ["", f"{grid.title}:", table([grid.heads, *grid.rows], right=right)]
    lines += [f"{f.severity}: {f.text}" for f in sheet.findings]
    lines += [f"assumed: {text}" for text in sheet.assumed]
    lines += [f"source: {text}" for text in sheet.sources]
    return "\n".join(lines)
