"""How pictures come into the report without the core knowing a renderer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from clearturn.progress import Progress
from clearturn.result import CheckResult

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture of a pair.

    Attributes
    ----------
    png : bytes
    width_px, height_px : int
    first, second : (x, y) or None
        Where the closest points lie in it, as fractions of width and height from the top left;
        None where they cannot be seen.
    view : str
        From where one looks, in words, for the caption.
    """

    png: bytes
    width_px: int
    height_px: int
    first: Place | None = None
    second: Place | None = None
    view: str = ""


@dataclass(frozen=True, slots=True)
class Pictures:
    """The pictures made, by index into the result's pairs, and why the rest is missing."""

    made: Mapping[int, Picture] = field(default_factory=dict)
    missing: str | None = None


class PictureMaker(Protocol):
    """Makes pictures of pairs; lives outside the core, in a process of its own.

    It never raises for want of a renderer: it says so in `Pictures.missing`, one full sentence.
    """

    def __call__(
        self,
        result: CheckResult,
        pairs: Sequence[int],
        *,
        size_px: tuple[int, int],
        progress: Progress | None = None,
    ) -> Pictures:
        """Return pictures of the pairs with the given indices."""
        ...
