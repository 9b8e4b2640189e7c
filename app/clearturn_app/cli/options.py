"""Options and number types that several commands share."""

from __future__ import annotations

import argparse
import math

from clearturn.units import MM_PER


def finite(text: str) -> float:
    """Read a finite number."""
    try:
        value = float(text)
    except ValueError:
        hint = ", write a decimal point" if "," in text else ""
        raise argparse.ArgumentTypeError(f"not a number: {text!r}{hint}") from None
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"not a finite number: {text!r}")
    return value


def positive(text: str) -> float:
    """Read a finite number above zero."""
    value = finite(text)
    if value <= 0:
        raise argparse.ArgumentTypeError(f"must be above zero: {text!r}")
    return value


def add_json_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument(
        "--json", action="store_true", help="print one JSON object and nothing else on stdout"
    )


def add_unit_option(parser: argparse.ArgumentParser, name: str = "--unit") -> None:
    """Add an option for the unit a mesh file is in."""
    parser.add_argument(
        name,
        choices=tuple(MM_PER),
        help="the unit the file is in (default: what the file says, else mm)",
    )
