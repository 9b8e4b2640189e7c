"""Allowances, uncertainty, the decision rule and what would clear a pair."""
