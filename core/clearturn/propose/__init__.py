"""Proposals: which surfaces of a scan are its datums, how sure that is, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.propose.accepting import Accepted, accept, proposed_datum
    from clearturn.propose.knuckle import propose_knuckle
    from clearturn.propose.model import DOUBTFUL, SURE, NotFound, Proposals, Proposed
    from clearturn.propose.rescan import Laid, laid_scan, lay
    from clearturn.propose.scans import propose, ways_to_the_axis
    from clearturn.propose.wheel import propose_wheel

__all__ = [
    "DOUBTFUL",
    "SURE",
    "Accepted",
    "Laid",
    "NotFound",
    "Proposals",
    "Proposed",
    "accept",
    "laid_scan",
    "lay",
    "propose",
    "propose_knuckle",
    "propose_wheel",
    "proposed_datum",
    "ways_to_the_axis",
]

__getattr__ = lazily(
    __name__,
    {
        "accepting": (
            "Accepted",
            "accept",
            "proposed_datum",
        ),
        "knuckle": ("propose_knuckle",),
        "model": (
            "DOUBTFUL",
            "SURE",
            "NotFound",
            "Proposals",
            "Proposed",
        ),
        "rescan": (
            "Laid",
            "laid_scan",
            "lay",
        ),
        "scans": (
            "propose",
            "ways_to_the_axis",
        ),
        "wheel": ("propose_wheel",),
    },
)
