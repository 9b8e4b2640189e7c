"""What a sum says, as plain data that command line, report and window set each in their own way."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, is_dataclass
from typing import Any, Literal

from clearturn.findings import Finding

Word = Literal["clears", "fails", "not proven"]

CAUTION = (
    "These sums do not replace the limits of the makers of vehicle, rotor, caliper, pads and "
    "bolts, local codes or type approval, or a licensed engineer's check."
)


@dataclass(frozen=True, slots=True)
class Line:
    """One number with its unit, and where it comes from or what it takes for granted."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Ruling:
    """One decision: what was found, what is needed, and the word.

    With an uncertainty U the word follows ISO 14253-1: clears or fails only where the limit lies
    outside ±U, else not proven.
    """

    name: str
    found: str
    needed: str
    word: Word
    note: str = ""


@dataclass(frozen=True, slots=True)
class Grid:
    """A small table; the columns after the first are numbers unless `text_columns` says so."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    text_columns: tuple[int, ...] = (0,)


@dataclass(frozen=True, slots=True)
class Curve:
    """A line or separate points of a plot."""

    name: str
    points: tuple[tuple[float, float], ...]
    style: Literal["line", "dashed", "points"] = "line"


@dataclass(frozen=True, slots=True)
class Plot:
    """A plot of curves over two named axes."""

    title: str
    x_label: str
    y_label: str
    curves: tuple[Curve, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sum as it is shown.

    Attributes
    ----------
    name : str
        Key of the sum in the job file.
    gist : str
        The answer in a few words, for the route card.
    assumed : tuple of str
        What the sum takes for granted.
    sources : tuple of str
        Of formulas and values.
    values : dict
        The result as plain numbers, for scripts.
    """

    name: str
    title: str
    gist: str
    lines: tuple[Line, ...] = ()
    rulings: tuple[Ruling, ...] = ()
    grids: tuple[Grid, ...] = ()
    findings: tuple[Finding, ...] = ()
    assumed: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    plots: tuple[Plot, ...] = ()
    values: dict[str, Any] | None = None

    @property
    def word(self) -> Word:
        """The worst word of the rulings; an error among the findings fails."""
        if any(finding.severity == "error" for finding in self.findings):
            return "fails"
        return worst(tuple(ruling.word for ruling in self.rulings))

    def as_json(self) -> dict[str, Any]:
        """Return the sheet as plain lists, numbers and words."""
        return {
            "name": self.name,
            "title": self.title,
            "gist": self.gist,
            "verdict": self.word if self.rulings or self.word == "fails" else None,
            "rulings": [asdict(ruling) for ruling in self.rulings],
            "values": self.values or {},
            "findings": [finding.as_json() for finding in self.findings],
            "assumed": list(self.assumed),
            "sources": list(self.sources),
        }


def worst(words: tuple[Word, ...]) -> Word:
    """Return the worst of several words."""
    for word in ("fails", "not proven"):
        if word in words:
            return word
    return "clears"


def at_least(value: float, limit: float, uncertainty: float = 0.0) -> Word:
    """Return whether `value` proves to reach `limit` (ISO 14253-1, one limit)."""
    if value - uncertainty >= limit:
        return "clears"
    return "fails" if value + uncertainty < limit else "not proven"


def at_most(value: float, limit: float, uncertainty: float = 0.0) -> Word:
    """Return whether `value` proves to stay within `limit` (ISO 14253-1, one limit)."""
    return at_least(-value, -limit, uncertainty)


def num(value: float, decimals: int = 2) -> str:
    """Return a number with a true minus sign and never a negative zero."""
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        return text.lstrip("-")
    return text.replace("-", "\N{MINUS SIGN}")


def signed(value: float, decimals: int = 2) -> str:
    """Return a number with its sign, plus included."""
    text = num(value, decimals)
    return f"+{text}" if value > 0 and float(f"{value:.{decimals}f}") != 0 else text


def plain_values(result: Any) -> Any:
    """Return a result as plain JSON values; what is infinite or no number becomes None."""
    if is_dataclass(result) and not isinstance(result, type):
        return {k: plain_values(v) for k, v in asdict(result).items()}
    if isinstance(result, dict):
        return {str(k): plain_values(v) for k, v in result.items()}
    if isinstance(result, list | tuple):
        return [plain_values(v) for v in result]
    if isinstance(result, float) and not math.isfinite(result):
        return None
    return result
