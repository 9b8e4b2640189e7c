"""Proposals: which surfaces of a scan are its datums, how sure that is, and why."""

from clearturn.propose.knuckle import propose_knuckle
from clearturn.propose.model import DOUBTFUL, SURE, NotFound, Proposals, Proposed
from clearturn.propose.wheel import propose_wheel

__all__ = [
    "DOUBTFUL",
    "SURE",
    "NotFound",
    "Proposals",
    "Proposed",
    "propose_knuckle",
    "propose_wheel",
]
