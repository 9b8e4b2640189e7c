"""How wide a text is, near enough to place it without collisions.

Advance widths in thousandths of the letter body, read from the two fonts the program brings along
(B612 for text, Routed Gothic for figures); where a writer falls back to another face they are still
close, and labels keep some air around them.
"""

from __future__ import annotations

_TEXT = {
    " ": 350, ".": 300, ",": 250, ":": 300, "·": 250, "±": 600, "−": 550, "–": 550, "Ø": 800,
    "a": 525, "c": 500, "e": 550, "f": 400, "i": 300, "j": 300, "l": 300, "m": 900, "r": 400,
    "s": 450, "t": 400, "w": 750, "x": 550, "z": 500, "M": 900, "N": 750, "O": 800, "W": 950,
    "°": 300, "(": 450, ")": 450, "/": 550, "I": 350,
}  # fmt: skip
_FIGURES = {
    " ": 281, "1": 344, ".": 281, ",": 289, ":": 281, "·": 281, "±": 625, "−": 625, "–": 500,
    "Ø": 719, "f": 340, "i": 281, "j": 281, "l": 281, "m": 844, "r": 414, "s": 484, "t": 336,
    "w": 680, "M": 811, "N": 703, "O": 719, "W": 852, "I": 281, "°": 469, "(": 336, ")": 336,
}  # fmt: skip
_DEFAULT = {"text": 610, "figures": 660}
_LABEL = 22  # letters of a pair's two names in a label: more would not stand beside the parts


def text_width(text: str, height_mm: float, face: str = "text") -> float:
    """Return the width of a line of text, mm."""
    table = _FIGURES if face == "figures" else _TEXT
    default = _DEFAULT[face]
    return sum(table.get(letter, default) for letter in text) * height_mm / 1000.0


def pair_words(first: str, second: str, most: int = _LABEL) -> str:
    """Return how a drawing names a pair in so many letters; names too long lose their middles.

    What the shorter name leaves of its half goes to the longer one.
    """
    half = most // 2
    room = max(half, most - len(second)), max(half, most - len(first))
    return f"{_cut(first, room[0])} – {_cut(second, room[1])}"


def _cut(name: str, most: int) -> str:
    """Return a name without its middle: parts often begin alike and differ at the end."""
    if len(name) <= most:
        return name
    tail = (most - 1) // 2
    return f"{name[: most - 1 - tail].rstrip()}…{name[-tail:].lstrip()}"
