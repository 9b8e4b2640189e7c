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
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Compute the sums, print them and return 0 (clears), 1 (fails) or 3 (not proven)."""
    from dataclasses import replace

    from clearturn.errors import InputError
    from clearturn.job.file import load_job
    from clearturn.job.sums import job_sums

    job = load_job(args.job)
    result = job_sums(job)
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
    return exit_code(result.word)


def exit_code(word: str) -> int:
    """Return the exit code of the worst word."""
    return {"clears": EXIT_DONE, "fails": EXIT_FAILS, "not proven": EXIT_NOT_PROVEN}[word]


def write_files(job: Job, result: SumsResult, folder: Path) -> list[Path]:
    """Write the bracket's plan and dummy and every plot; return what was written."""
    from clearturn.drawing import to_dxf, to_svg
    from clearturn.drawing.bracket_plan import bracket_plan
    from clearturn.drawing.sum_plot import sum_plot
    from clearturn.job.sums import first_axle, job_bracket
    from clearturn.trade.dummy import dummy_mesh, stl_bytes

    files: dict[str, bytes] = {}
    names = {sheet.name for sheet in result.sheets}
    bracket = job_bracket(job) if "bracket" in names else None
    if bracket is not None:
        plan = bracket_plan(bracket, words=job.name)
        files["bracket.dxf"] = to_dxf(plan).encode()
        files["bracket.svg"] = to_svg(plan).encode()
        axle = first_axle(job)
        caliper = axle.corner.caliper if axle else None
        mesh = dummy_mesh(bracket, caliper, bracket.ring_mid_z_mm)
        files["dummy.stl"] = stl_bytes([mesh])
    for sheet in result.sheets:
        for number, plot in enumerate(sheet.plots, start=1):
            files[f"{sheet.name}-{number}.svg"] = to_svg(sum_plot(plot)).encode()
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return [folder / name for name in files]


def as_text(job: Job, result: SumsResult, written: list[Path]) -> str:
    """Return the sums for a terminal."""
    from clearturn.trade.sheet import CAUTION

    if not result.sheets:
        return f"{job.name}: the job holds no sums (docs/methods tells what they need)."
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
