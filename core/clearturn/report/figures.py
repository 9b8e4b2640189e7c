"""Every number the report prints is turned into text here and nowhere else.

Lengths carry two decimals (0.01 mm), unless rounding would hide the sign of a value that decides
something: then as many more as show it.  An unknown is the word "unknown", never a blank.
"""

from __future__ import annotations

import math

from clearturn.gap.model import Interval

MINUS = "\N{MINUS SIGN}"
UNKNOWN = "unknown"
NO_BREAK = "\N{NO-BREAK SPACE}"


def is_known(value: float | None) -> bool:
    """Whether `value` is a finite number."""
    return value is not None and math.isfinite(value)


def number(value: float | None, decimals: int = 2) -> str:
    """Return `value` with a true minus sign and never a negative zero."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        return text.lstrip("-")
    return text.replace("-", MINUS)


def mm(value: float | None, decimals: int = 2) -> str:
    """Return a length in mm without its unit."""
    return number(value, decimals)


def mm_up(value: float) -> str:
    """Return a length rounded up: a reading that rounds to it is never short of it."""
    return mm(math.ceil(value * 100.0 - 1e-6) / 100.0)


def signed_mm(value: float | None) -> str:
    """Return a length with its sign, with the decimals it takes to show that sign.

    A margin of 0.004 mm clears and one of -0.004 mm does not; both would read 0.00.
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    for decimals in (2, 3, 4, 6):
        text = number(abs(value), decimals)
        if float(text) != 0:
            return ("+" if value > 0 else MINUS) + text
    return number(0.0)


def plus_minus(value: float | None) -> str:
    """Return an uncertainty as "±0.24"."""
    return "±" + number(value) if is_known(value) else UNKNOWN


def diameter(value: float | None) -> str:
    """Return a diameter as "Ø162.40"."""
    return "Ø" + number(value) if is_known(value) else UNKNOWN


def machined(value: float | None) -> str:
    """Return a diameter to machine to: with 0.001 mm where 0.01 mm does not say it."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    return "Ø" + number(value, 2 if abs(value - round(value, 2)) < 5e-4 else 3)


def interval(value: Interval) -> str:
    """Return a certified interval at the engine's tolerance: "2.180 to 2.181"."""
    lower, upper = mm(value.lower, 3), mm(value.upper, 3)
    if value.lower is None and value.upper is None:
        return UNKNOWN
    if value.lower is None:
        return f"at most {upper}"
    if value.upper is None:
        return f"at least {lower}"
    return lower if lower == upper else f"{lower} to {upper}"


def degrees(value: float | None) -> str:
    """Return an angle as "271.4°"."""
    return number(value, 1) + "°" if is_known(value) else UNKNOWN


def clock(value_deg: float | None) -> str:
    """Return a clock position as a clock is read: 271° is "9:02", 0° is "12:00"."""
    if value_deg is None or not math.isfinite(value_deg):
        return UNKNOWN
    minutes = round(value_deg * 2) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def count(value: int) -> str:
    """Return a count with thin spaces between its thousands."""
    return f"{value:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def words(number_of: int, one: str, many: str | None = None) -> str:
    """Return "1 gap", "3 gaps"."""
    return f"{number_of} {one if number_of == 1 else (many or one + 's')}"


def listed(items: list[str]) -> str:
    """Return "a", "a and b" or "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]
