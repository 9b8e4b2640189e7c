"""Options and number types that several commands share."""

from __future__ import annotations

import argparse
import math

from clearturn.units import MM_PER

LARGEST_MM = 1.0e7  # as the coordinates of a mesh
LARGEST_SCALE = 1.0e6  # between micrometres and metres


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


def coordinate(text: str) -> float:
    """Read a number that may be a coordinate, as large as one of a mesh."""
    value = finite(text)
    if abs(value) > LARGEST_MM:
        raise argparse.ArgumentTypeError(f"too large: {text!r}, at most {LARGEST_MM:g}")
    return value


def scale(text: str) -> float:
    """Read the factor of a mesh."""
    value = positive(text)
    if not 1.0 / LARGEST_SCALE <= value <= LARGEST_SCALE:
        raise argparse.ArgumentTypeError(
            f"no scale of a part: {text!r}, from {1 / LARGEST_SCALE:g} to {LARGEST_SCALE:g}"
        )
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
