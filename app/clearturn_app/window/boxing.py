"""A box drawn over the scan shown: what it would leave out, before it is taken."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, Signal

from clearturn_app.window.look import Look

if TYPE_CHECKING:
    from clearturn.corner.boxed import Boxed
    from clearturn.corner.sources import Source
    from clearturn.job.model import DropBox
    from clearturn_app.tasks import Tasks

Floats = NDArray[np.float64]


class Boxing(QObject):
    """The box drawn, and what it holds as soon as that is counted.

    Attributes
    ----------
    step : DropBox or None
        As drawn.
    found : Boxed or None
        What it would leave out; None while that is being counted.
    """

    changed = Signal()
    trouble = Signal(object)

    def __init__(self, tasks: Tasks, parent: QObject) -> None:
        super().__init__(parent)
        self.tasks = tasks
        self.step: DropBox | None = None
        self.found: Boxed | None = None

    def draw(self, source: Source, eye: Floats, corners: Floats) -> None:
        """Take a rectangle drawn on the picture of a scan and count what lies in its box.

        Parameters
        ----------
        eye : (3,) ndarray
            Direction to the eye.
        corners : (2, 3) ndarray
            A point on the line of sight through each of two opposite corners.
        """
        from clearturn.corner.boxed import box_drawn, boxed

        step = box_drawn(source.cleaned.bounds, eye, corners, self.step)
        self.step, self.found = step, None
        self.changed.emit()

        def done(found: Boxed) -> None:
            if self.step is step:
                self.found = found
                self.changed.emit()

        self.tasks.start(
            "box", lambda progress: boxed(source, step, progress), done=done,
            failed=self.trouble.emit, words="counting what lies in the box",
        )  # fmt: skip

    def clear(self) -> None:
        """Forget the box."""
        self.tasks.cancel("box")
        if self.step is not None:
            self.step = self.found = None
            self.changed.emit()

    @property
    def serves(self) -> bool:
        """Whether the box leaves something out, and something in."""
        return self.found is not None and len(self.found.faces) > 0 and self.found.left > 0

    def words(self, look: Look) -> str:
        """Return what would go, in words, or nothing while no box is drawn."""
        if self.step is None:
            return ""
        if self.found is None:
            return "The triangles are being counted …"
        count = len(self.found.faces)
        told = f"{count:,} triangle{'s' * (count != 1)} would go"
        if count and not self.found.left:
            told += ": nothing of the scan would be left"
        ends = zip("xyz", self.step.from_mm, self.step.to_mm, strict=True)
        sides = (f"{axis} {look.length(low, 1)} to {look.length(high, 1)}"
                 for axis, low, high in ends)  # fmt: skip
        return f"{told}; {', '.join(sides)} {look.unit}."
