"""``clearturn open``: the window."""

from __future__ import annotations

import argparse
import importlib.util
import os
import sys
from pathlib import Path

from clearturn.errors import InputError


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "open",
        help="open a job in the window",
        description="Open a job in the window; without JOB the demo corner.",
    )
    parser.add_argument("job", metavar="JOB", nargs="?", help="job file (*.clearturn.json)")


def run(args: argparse.Namespace) -> int:
    """Show the window until it is closed; the job is read before, so that a bad one exits 2."""
    path = Path(args.job) if args.job else None
    if path is not None:
        from clearturn.job.file import load_job

        load_job(path)
    _check_window()
    from clearturn_app.window.run import run_window

    return run_window(path)


def _check_window() -> None:
    # Qt ends the process where it finds no display; say so before.
    if importlib.util.find_spec("PySide6") is None:
        raise InputError(
            "the packages of the window are not installed",
            mend="run 'make app' in the checkout, or install clearturn[window]",
        )
    chosen = os.environ.get("QT_QPA_PLATFORM", "")
    shown = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    if sys.platform.startswith("linux") and not shown and chosen in ("", "xcb", "wayland"):
        raise InputError(
            "there is no display to show the window on",
            mend="start it from a desktop, or use 'clearturn check' which needs none",
        )
