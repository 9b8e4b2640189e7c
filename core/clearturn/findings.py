"""Doubts about data that stand on a result instead of stopping it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["note", "warning", "error"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One doubt, named so that scripts can look for it.

    Attributes
    ----------
    code : str
        Short stable name, words joined by hyphens ("open-edges").
    severity : {"note", "warning", "error"}
        How much it bears on the answer.
    text : str
        One sentence for the user.
    """

    code: str
    severity: Severity
    text: str

    def as_json(self) -> dict[str, str]:
        """Return the finding as the contract's JSON object."""
        return {"code": self.code, "severity": self.severity, "text": self.text}
