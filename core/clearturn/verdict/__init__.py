"""Allowances, uncertainty, the decision rule and what would clear a pair."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
    from clearturn.verdict.pairs import judge_corner, judge_pairs

__all__ = ["judge_corner", "judge_pairs"]

__getattr__ = lazily(
    __name__,
    {
        "pairs": (
            "judge_corner",
            "judge_pairs",
        ),
    },
)
