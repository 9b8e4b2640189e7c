"""Small checks of dimensions that name the key, what was found and what is allowed."""

from __future__ import annotations

import math
from collections.abc import Iterable

from clearturn.errors import InputError

# Largest length anything on a road vehicle's corner may have; catches wrong units.
LARGEST_MM = 1500.0


def key_of(place: str, key: str) -> str:
    """Return the full name of a key inside a job ("rotor.bore_diameter_mm")."""
    return f"{place}.{key}" if place else key


def number(place: str, key: str, value: object) -> float:
    """Return `value` as float.

    Raises
    ------
    InputError
        If it is no number or not finite.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise InputError(
            "a dimension must be a number",
            place=key_of(place, key),
            found=repr(value),
            allowed="a number in mm or degrees, as the key's name says",
        )
    if not math.isfinite(value):
        raise InputError(
            "a dimension must be a finite number",
            place=key_of(place, key),
            found=str(value),
            allowed="a finite number",
        )
    return float(value)


def within(
    place: str,
    key: str,
    value: object,
    low: float,
    high: float,
    *,
    why_low: str = "",
    why_high: str = "",
    open_low: bool = True,
) -> float:
    """Return `value` if it lies in ``(low, high]`` (``[low, high]`` unless `open_low`).

    Parameters
    ----------
    why_low, why_high : str
        What sets the limit ("bore_diameter_mm"), shown beside it.

    Raises
    ------
    InputError
        If it lies outside, is no number or is not finite.
    """
    x = number(place, key, value)
    below = x <= low if open_low else x < low
    if below or x > high:
        least = f"{'more than' if open_low else 'at least'} {_show(low)}"
        most = f"at most {_show(high)}"
        least += f" ({why_low})" if why_low else ""
        most += f" ({why_high})" if why_high else ""
        raise InputError(
            "a dimension is out of range",
            place=key_of(place, key),
            found=_show(x),
            allowed=f"{least}, {most}",
        )
    return x


def one_of(place: str, key: str, value: object, words: Iterable[str]) -> str:
    """Return `value` if it is one of `words`, else raise `InputError`."""
    allowed = list(words)
    if not isinstance(value, str) or value not in allowed:
        raise InputError(
            "a word is not known", place=key_of(place, key), found=repr(value),
            allowed=", ".join(allowed),
        )  # fmt: skip
    return value


def whole(place: str, key: str, value: object, low: int, high: int) -> int:
    """Return `value` if it is a whole number from `low` to `high`, else raise `InputError`."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise InputError(
            "a count is out of range", place=key_of(place, key), found=repr(value),
            allowed=f"a whole number from {low} to {high}",
        )  # fmt: skip
    return value


def _show(x: float) -> str:
    return f"{x:.6g}"
