"""What was touched on the corner as it was checked: read off, never taken into the job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from numpy.typing import NDArray
from PySide6.QtCore import QObject, Signal

from clearturn.progress import Progress
from clearturn.result import CheckResult
from clearturn_app.tasks import Tasks
from clearturn_app.window.look import Look

if TYPE_CHECKING:
    import numpy as np

    from clearturn.corner.touched_part import TouchedPart


class Seen(QObject):
    """The place touched on the checked corner.

    Attributes
    ----------
    found : TouchedPart or None
    """

    changed = Signal()
    trouble = Signal(object)

    def __init__(self, tasks: Tasks, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.tasks = tasks
        self.found: TouchedPart | None = None
        self._asked: object = None

    def touch(
        self,
        result: CheckResult,
        sight: tuple[NDArray[np.float64], NDArray[np.float64]],
        turn_deg: float,
        cut: list[float] | None,
    ) -> None:
        """Touch what a line of sight meets on a corner, seen with its wheel turned and cut."""
        from clearturn.corner.touched_part import touch_part

        def work(progress: Progress) -> TouchedPart | None:
            return touch_part(result.parts, result.pairs, *sight, turn_deg=turn_deg, cut=cut,
                              progress=progress)  # fmt: skip

        asked = self._asked = object()

        def done(found: TouchedPart | None) -> None:
            if self._asked is asked:  # else it was put away: the picture shows something else
                self._take(found)

        self.tasks.start(
            "touch", work, done=done, failed=self.trouble.emit, words="growing the patch",
            shown=True,
        )  # fmt: skip

    def clear(self) -> None:
        """Put away what was touched, also what is only being looked for."""
        self._asked = None
        if self.found is not None:
            self._take(None)

    def _take(self, found: TouchedPart | None) -> None:
        self.found = found
        self.changed.emit()

    def words(self, look: Look) -> tuple[str, str, str]:
        """Return which part was touched and where, what is near there, and what it is."""
        from clearturn.corner.touched import feature_words

        found = self.found
        if found is None:
            return "", "", ""
        what = "an edge, or a face too small to tell what it is"
        if found.proposal is not None:
            what = feature_words(found.proposal, exact=found.part.sigma_mm == 0.0)
        where = f"clock {found.clock_deg:.1f}°, r {look.length(found.r_mm)}, "
        where += f"z {look.length(found.z_mm)} {look.unit}"
        near = "nothing that it is judged against is near"
        if found.near is not None:
            way = "over a full turn" if found.near.turning else "as they stand"
            near = (f"{look.length(found.near.distance_mm)} {look.unit} from here to "
                    f"{found.near.part} {way}, nothing taken off")  # fmt: skip
        return f"{found.part.name} · {where}", near, what
