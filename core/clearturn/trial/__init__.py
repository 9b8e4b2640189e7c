"""A number tried before it is written: what a part's freedom moves, and the gaps it leaves there.

Nothing is judged here.  Gaps are certified as in a check; uncertainty and allowances stay those
of the last check, and the check that follows a written number settles both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.trial.freedom import Freedom, freedoms, moved_by, number_of, tried
    from clearturn.trial.gaps import TrialGap, trial_gaps
    from clearturn.trial.outlines import GapThere, MovedOutline, gap_there, held_at, moved_outlines
    from clearturn.trial.turned import TurnedGap, gap_at_turn

__all__ = [
    "Freedom",
    "GapThere",
    "MovedOutline",
    "TrialGap",
    "TurnedGap",
    "freedoms",
    "gap_at_turn",
    "gap_there",
    "held_at",
    "moved_by",
    "moved_outlines",
    "number_of",
    "trial_gaps",
    "tried",
]

__getattr__ = lazily(
    __name__,
    {
        "freedom": (
            "Freedom",
            "freedoms",
            "moved_by",
            "number_of",
            "tried",
        ),
        "gaps": (
            "TrialGap",
            "trial_gaps",
        ),
        "outlines": (
            "GapThere",
            "MovedOutline",
            "gap_there",
            "held_at",
            "moved_outlines",
        ),
        "turned": (
            "TurnedGap",
            "gap_at_turn",
        ),
    },
)
