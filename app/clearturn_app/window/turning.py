"""The wheel turned by hand: an angle, and the chosen pair's gap at it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from clearturn.progress import Progress
from clearturn.result import CheckResult, PairResult
from clearturn_app.tasks import Tasks

if TYPE_CHECKING:
    from clearturn.trial import TurnedGap


class Turning(QObject):
    """Where the wheel stands, if it is not where the chosen gap is least.

    Attributes
    ----------
    turn_deg : float or None
        None: where the gap is least.
    found : TurnedGap or None
        The gap there, once it is worked out.
    """

    changed = Signal()
    """Another angle."""
    answered = Signal()
    """The gap at the angle was worked out."""
    trouble = Signal(object)

    def __init__(self, tasks: Tasks, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.tasks = tasks
        self.turn_deg: float | None = None
        self.found: TurnedGap | None = None

    def turn(self, result: CheckResult, pair: PairResult, degrees: float) -> None:
        """Turn the wheel to an angle and work out the gap there."""
        self.turn_deg, self.found = degrees % 360.0, None
        self.changed.emit()
        if not self.tasks.running("turn"):  # else the next one follows when it is done
            self._ask(result, pair)

    def clear(self) -> None:
        """Let the wheel stand where the gap is least again."""
        self.tasks.cancel("turn")
        if self.turn_deg is not None:
            self.turn_deg = self.found = None
            self.changed.emit()

    def _ask(self, result: CheckResult, pair: PairResult) -> None:
        from clearturn.trial import gap_at_turn

        degrees = self.turn_deg
        if degrees is None:
            return

        def work(progress: Progress) -> TurnedGap:
            return gap_at_turn(result, pair, degrees, progress)

        def done(found: TurnedGap) -> None:
            if self.turn_deg == degrees:
                self.found = found
                self.answered.emit()
            else:
                self._ask(result, pair)

        self.tasks.start("turn", work, done=done, failed=self.trouble.emit)
