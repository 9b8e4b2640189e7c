"""Scans against sizes measured by hand, for a terminal."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from clearturn_app.cli.output import table

if TYPE_CHECKING:
    from clearturn.result import SizeCheck

_STATES = {
    "agrees": "agrees with the sizes measured by hand",
    "off": "WRONG SIZE",
    "unclear": "unclear: the sizes contradict each other",
}


def sizes_text(checks: Iterable[SizeCheck]) -> list[str]:
    """Return a block of lines for every scan."""
    return [_one(check) for check in checks]


def _one(check: SizeCheck) -> str:
    rows = [("measured by hand", "of", "hand mm", "scan mm", "difference", "left by factor")]
    for size in check.sizes:
        rows.append(
            (
                f"{size.name} ({size.instrument})",
                f"{size.kind} {', '.join(size.datums)}",
                f"{size.hand_mm:.3f} ±{size.hand_uncertainty_mm:.3f}",
                f"{size.scan_mm:.3f} ±{size.scan_uncertainty_mm:.3f}",
                f"{size.difference_mm:+.3f}",
                f"{size.residual_mm:+.3f}",
            )
        )
    said = (
        f"size of the scan {check.scan}: {_STATES[check.state]}\n"
        f"  factor {check.factor:.5f} ±{check.expanded_uncertainty:.5f}: {check.off_mm:+.2f} "
        f"±{check.off_uncertainty_mm:.2f} mm at {check.radius_mm:.0f} mm from "
        "its middle"
    )
    return f"{said}\n{table(rows, right=(2, 3, 4, 5))}"
