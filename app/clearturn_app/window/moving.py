"""A part under way along its freedom: drawn at once, its gaps as they come, written when let go."""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from clearturn.errors import Cancelled, ClearturnError
from clearturn.progress import Progress
from clearturn.result import CheckResult
from clearturn_app.window.look import Look
from clearturn_app.window.session import Session

if TYPE_CHECKING:
    from clearturn.trial import Freedom, MovedOutline, TrialGap


_NUMBERS = {"spacer": "spacer", "rotor offset": "hat offset",
            "caliper in and out": "caliper, outer radius"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Figure:
    """A gap worked out for a place tried; `by_mm` tells which."""

    by_mm: float
    gap: TrialGap


class Moving(QObject):
    """What is moved, how far, and what that makes of the gaps.

    Amounts are those since the last result, mm, outboard or outward.  A part that was let go
    stays drawn in its new place until the check of the job brings its own drawing.

    Attributes
    ----------
    choice : tuple of Freedom
        What can be moved.
    freedom : Freedom or None
        What is moved, or was and is not drawn by a check yet.
    by_mm : float
    held : bool
        Whether it is under way and not written yet.
    outlines : tuple of MovedOutline
    figures : dict
        By the names of the two parts.
    refusal : str
        Why nothing can be worked out there.
    """

    changed = Signal()
    _came = Signal(object, object)

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self._result: CheckResult | None = None
        self._told: Progress | None = None  # the work on a place that was told of already
        self.choice: tuple[Freedom, ...] = ()
        self._forget()
        self._came.connect(self._take_figure)
        session.result_changed.connect(self._on_result)
        session.document.changed.connect(self._on_job)

    def _forget(self) -> None:
        self.freedom: Freedom | None = None
        self.by_mm = 0.0
        self.held = False
        self.outlines: tuple[MovedOutline, ...] = ()
        self.figures: dict[tuple[str, str], Figure] = {}
        self.refusal = ""

    # -- taking hold, moving, letting go ----------------------------------------------------

    def at(self, z_mm: float, r_mm: float, reach_mm: float) -> Freedom | None:
        """Return the freedom of the part drawn at a place of the section."""
        from clearturn.trial import held_at

        if self._result is None or self.session.drawing is None:
            return None
        return held_at(self._result, self.choice, z_mm, r_mm, reach_mm)

    def take(self, freedom: Freedom) -> float:
        """Take hold of a part, and return how far it is moved already."""
        if freedom != self.freedom:
            self._forget()
        self.freedom, self.held = freedom, True
        self._show(self._written())
        return self.by_mm

    def take_next(self) -> None:
        """Take hold of the next thing that can be moved, or let all be after the last."""
        at = self.choice.index(self.freedom) if self.freedom in self.choice and self.held else -1
        self.give_up()
        if at + 1 < len(self.choice):
            self.take(self.choice[at + 1])

    def move_to(self, by_mm: float, step_mm: float) -> None:
        """Move what is held to an amount at which its number is a multiple of a step."""
        if self.freedom is not None and self.held and self._result is not None:
            self._show(_snapped(self._result, self.freedom, by_mm, step_mm))

    def let_go(self) -> None:
        """Write the number, as one undo step; the same thing moved again adds to it."""
        from clearturn.trial import tried

        freedom, result = self.freedom, self._result
        if freedom is None or result is None or not self.held:
            return
        self.held = False
        document = self.session.document
        more = self.by_mm - self._written()
        try:
            job = tried(result, document.job, freedom, more)
            name = f"{freedom.name}, {freedom.axle}"
            if abs(more) > 1e-9:
                document.edit(name, job, merge=f"move {freedom.axle} {freedom.held[0]}")
        except ClearturnError as error:
            self.session.trouble.emit(error)
        self._on_job()

    def give_up(self) -> None:
        """Put back what is held; nothing is written."""
        if self.held:
            self.held = False
            self._on_job()

    def _written(self) -> float:
        from clearturn.trial import moved_by

        if self.freedom is None or self._result is None:
            return 0.0
        return moved_by(self._result, self.session.document.job, self.freedom)

    # -- what follows -----------------------------------------------------------------------

    def _on_result(self) -> None:
        from clearturn.trial import freedoms

        result, old = self.session.result, self._result
        if result is old:
            return
        self.session.tasks.cancel("move")
        held, freedom, by_mm = self.held, self.freedom, self.by_mm
        written = self._written() if held else 0.0
        self._result = result
        self.choice = freedoms(result) if result is not None else ()
        self._forget()
        if held and freedom in self.choice:
            # A check ended meanwhile: what is held stays in the hand.
            self.freedom, self.held = freedom, True
            self._show(by_mm - written + self._written())
        self.changed.emit()

    def _on_job(self) -> None:
        """Draw what is written; undo and redo come here too."""
        if self.freedom is None or self.held:
            return
        try:
            by_mm = self._written()
        except ClearturnError:  # the corner has no such number any more
            by_mm = 0.0
        if abs(by_mm) > 1e-9:
            self._show(by_mm)
            return
        self.session.tasks.cancel("move")
        self._forget()
        self.changed.emit()

    def _show(self, by_mm: float) -> None:
        from clearturn.trial import moved_outlines

        freedom, result = self.freedom, self._result
        if freedom is None or result is None:
            return
        if by_mm == self.by_mm and self.outlines:
            return
        self.by_mm = by_mm
        if self._told is not None:
            # Never sooner: a hand that does not rest would not be told anything.
            self._told.cancel()
        try:
            self.outlines = moved_outlines(result, freedom, by_mm)
            self.refusal = ""
        except ClearturnError as error:
            self.refusal = f"{error}."
            self.figures = {}
        self._ask()
        self.changed.emit()

    def _ask(self) -> None:
        from clearturn.trial import trial_gaps

        tasks = self.session.tasks
        if self.refusal or tasks.running("move"):
            return  # who runs looks at the newest place by itself
        freedom, result = self.freedom, self._result
        if freedom is None or result is None:
            return

        def work(progress: Progress) -> float:
            # The newest place counts; of an older one only the pair that is nearest is finished.
            at = math.nan
            while at != self.by_mm:
                place, self._told = progress.within(), None
                at = self.by_mm
                with contextlib.suppress(Cancelled):
                    for gap in trial_gaps(result, freedom, at, place):
                        self._came.emit(freedom, Figure(at, gap))
                        self._told = place
                        if at != self.by_mm:
                            break
            progress.check()
            return at

        def done(at: float) -> None:
            if self.freedom is freedom and at != self.by_mm:
                self._ask()

        tasks.start("move", work, done=done, failed=self._on_refused)

    def _take_figure(self, freedom: Freedom, figure: Figure) -> None:
        if freedom is not self.freedom or self.refusal:
            return  # of something else that was moved before
        before = figure.gap.before
        self.figures[before.first, before.second] = figure
        self.changed.emit()

    def _on_refused(self, error: BaseException) -> None:
        if isinstance(error, ClearturnError):
            self.refusal, self.figures = f"{error}.", {}
            self.changed.emit()
        else:
            self.session.trouble.emit(error)

    # -- in words ---------------------------------------------------------------------------

    def words(self, look: Look) -> tuple[str, str]:
        """Return the number with what it is, and what it was at the last check."""
        from clearturn.trial import number_of

        freedom, result = self.freedom, self._result
        if freedom is None or result is None:
            return "", ""
        before = number_of(result.job, freedom)
        if math.isnan(before):
            return f"moved {look.length(self.by_mm, 2, signed=True)} {look.unit}", ""
        now = before + _sense(freedom) * self.by_mm
        told = f"{_NUMBERS[freedom.name]} {look.length(now)} {look.unit}"
        return told, f"checked at {look.length(before)}"


def _sense(freedom: Freedom) -> float:
    return -1.0 if freedom.name == "rotor offset" else 1.0  # a hat offset grows inboard


def _snapped(result: CheckResult, freedom: Freedom, by_mm: float, step_mm: float) -> float:
    from clearturn.trial import number_of

    before, sense = number_of(result.job, freedom), _sense(freedom)
    if math.isnan(before):
        return round(by_mm / step_mm) * step_mm
    now = round((before + sense * by_mm) / step_mm) * step_mm
    if freedom.name == "spacer":
        now = max(now, 0.0)
    # On the job's own digits, so that what is shown is what is written.
    return sense * (round(now, 4) - before)
