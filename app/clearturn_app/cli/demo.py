"""``clearturn demo``: the check of the demo corner."""

from __future__ import annotations

import argparse
from pathlib import Path

from clearturn_app.cli.check import add_report_options, check_and_report
from clearturn_app.cli.options import add_json_option

DEFAULT_FOLDER = "clearturn-demo"


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "demo",
        help="check the demo corner, an invented vehicle with planted faults",
        description="Check the demo corner and write its report. Vehicle and parts are invented; "
        "three faults are planted, so the answer is 'fails'.",
        epilog="Exit code: 1, since the demo has planted faults; 2 where its scans are missing.",
    )
    add_report_options(parser, DEFAULT_FOLDER)
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Check the demo corner and return 1, the exit code of its verdict."""
    from clearturn.samples import demo_job_file

    out = Path(args.out or DEFAULT_FOLDER)
    return check_and_report(demo_job_file(), out, args)
