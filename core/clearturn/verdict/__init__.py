"""Allowances, uncertainty, the decision rule and what would clear a pair."""

from clearturn.verdict.pairs import judge_corner, judge_pairs

__all__ = ["judge_corner", "judge_pairs"]
