"""What the window works on: the document, its last result, and what is chosen.

Views read from here and redraw at its signals; they keep no truth of their own.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from clearturn.drawing import Drawing
from clearturn.errors import ClearturnError
from clearturn.job.building import next_step
from clearturn.job.model import Job
from clearturn.progress import Progress
from clearturn.result import AccessResult, CheckResult, PairResult, Verdict
from clearturn.trade.sums import SumsResult
from clearturn_app.document import Document
from clearturn_app.tasks import Tasks
from clearturn_app.window import background
from clearturn_app.window.seen import Seen
from clearturn_app.window.turning import Turning
from clearturn_app.window.workpiece import Workpiece

Checker = Callable[[Job, Path, Progress], CheckResult]
MOST_DIMENSIONS = 6
_SETTLE_MS = 350  # typing and dragging pause this long before a check begins
_ORDER = {Verdict.FAILS: 0, Verdict.NOT_PROVEN: 1, Verdict.CLEARS: 2}


class State(StrEnum):
    """How the result stands to the job."""

    NONE = "not checked"
    CHECKING = "checking"
    CURRENT = "checked"
    STOPPED = "stopped"
    REFUSED = "cannot be checked"


class Session(QObject):
    """Document, result and choice.

    Parameters
    ----------
    document : Document
    tasks : Tasks
    checker : callable, optional
        Takes job, folder and progress and returns the result; the program's own by default.

    Attributes
    ----------
    result : CheckResult or None
        Of the last check that ended; `is_current` says whether it is that of the job as it stands.
    refusal : str
        Why the job cannot be checked.
    sums : SumsResult or None
        The trade sums of the job as it stands, when they are worked out.
    work : Workpiece
        The scans in memory.
    turning : Turning
        The angle the wheel is turned to by hand.
    seen : Seen
        What was touched on the checked corner.
    is_being_built : bool
        Begun anew here: checked by itself only when nothing is missing any more.
    drawing, strip : Drawing or None
        The turn section, and the clock strip of the chosen pair.
    """

    job_changed = Signal()
    state_changed = Signal()
    result_changed = Signal()
    chosen_changed = Signal()
    drawing_changed = Signal()
    strip_changed = Signal()
    sums_changed = Signal()
    trouble = Signal(object)
    """An error to tell."""
    withdrawn = Signal(object)
    """An error that was told and no longer stands: what it was about is tried anew."""

    def __init__(
        self,
        document: Document,
        tasks: Tasks,
        checker: Checker | None = None,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self.document = document
        self.tasks = tasks
        self.result: CheckResult | None = None
        self.refusal = ""
        self.drawing: Drawing | None = None
        self.strip: Drawing | None = None
        self.sums: SumsResult | None = None
        self.work = Workpiece(document, tasks, self)
        self.work.trouble.connect(self.trouble)
        self.turning = Turning(tasks, self)
        self.turning.trouble.connect(self.trouble)
        self.seen = Seen(tasks, self)
        self.seen.trouble.connect(self.trouble)
        for gone in (self.result_changed, self.chosen_changed, self.work.changed):
            gone.connect(self.turning.clear)
            gone.connect(self.seen.clear)  # the picture shows something else
        self.turning.changed.connect(self.seen.clear)
        self.is_being_built = False
        self._checker = checker or background.checked
        self._state = State.NONE
        self._checked_revision = -1
        self._seen_revision = document.revision
        self._chosen: int | None = None
        self._access: int | None = None
        self._section_mm = (164.0, 104.0)
        self._dimensions = MOST_DIMENSIONS
        self._strip_mm = (164.0, 34.0)
        self._unit = "mm"
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.setInterval(_SETTLE_MS)
        self._soon.timeout.connect(self.check_now)
        document.changed.connect(self._on_document)

    # -- the result -------------------------------------------------------------------------

    @property
    def state(self) -> State:
        """How the result stands to the job."""
        return self._state

    @property
    def is_current(self) -> bool:
        """Whether `result` is that of the job as it stands."""
        return self.result is not None and self._checked_revision == self.document.revision

    def check_now(self) -> None:
        """Check the job in the background; a check that runs is given up."""
        self._soon.stop()
        if self.sums is None and not self.tasks.running("sums"):
            self.compute_sums()
        revision, job, folder = self.document.revision, self.document.job, self.document.folder

        def done(result: CheckResult) -> None:
            if revision == self.document.revision:
                self.take_result(result)

        self.tasks.start(
            "check",
            lambda progress: self._checker(job, folder, progress),
            done=done,
            failed=self._on_refused,
            words="checking",
            shown=True,
        )
        self._set_state(State.CHECKING)

    def compute_sums(self) -> None:
        """Work the trade sums out; those of an older job are not shown any more."""
        job = self.document.job
        self._take_sums(None)
        if job.sums:
            self.tasks.start("sums", lambda _progress: background.sums(job),
                             done=self._take_sums, failed=self.trouble.emit)  # fmt: skip

    def _take_sums(self, sums: SumsResult | None) -> None:
        self.sums = sums
        self.sums_changed.emit()

    def stop(self) -> None:
        """Stop the check that runs or is about to."""
        self._soon.stop()
        if self.tasks.running("check"):
            self.tasks.cancel("check")
        self._set_state(State.CURRENT if self.is_current else State.STOPPED)

    def take_result(self, result: CheckResult) -> None:
        """Take the result of the job as it stands."""
        if self.result is None and self.work.goal is None:
            self.work.show(None)
        before = self.chosen_pair
        self.result = result
        self.refusal = ""
        self._checked_revision = self.document.revision
        self._access = None
        self._chosen = self._found_again(before)
        if self._chosen is None and result.pairs:
            self._chosen = self.order()[0]
        self._set_state(State.CURRENT)
        self.result_changed.emit()
        self.chosen_changed.emit()
        self._draw_section()
        self._draw_strip()

    def _on_refused(self, error: BaseException) -> None:
        # The job may be the one that was judged, but a file it names is not any more.
        self._checked_revision = -1
        self.refusal = str(error) if isinstance(error, ClearturnError) else ""
        self._set_state(State.REFUSED)
        self.trouble.emit(error)

    def _on_document(self) -> None:
        if self.document.revision != self._seen_revision:
            self._seen_revision = self.document.revision
            self.tasks.cancel("check")
            self.compute_sums()
            if self.missing is None:
                self._soon.start()
                self._set_state(State.CHECKING)
            else:
                self._soon.stop()
                self._set_state(State.NONE)
        self.job_changed.emit()

    @property
    def missing(self) -> str | None:
        """What a job that is being built lacks first, or None."""
        if not self.is_being_built:
            return None
        axles = self.document.job.axles
        for axle in axles:
            step = next_step(axle.corner)
            if step is not None:
                return f"{axle.name} axle: {step}" if len(axles) > 1 else step
        return None

    def forget_result(self) -> None:
        """Drop the result, as when another job is opened."""
        self.result = self.drawing = self.strip = None
        self._chosen = self._access = None
        self._checked_revision = -1
        for kind in ("section", "strip"):
            self.tasks.cancel(kind)
        for signal in (self.result_changed, self.chosen_changed, self.drawing_changed,
                       self.strip_changed):  # fmt: skip
            signal.emit()

    def _set_state(self, state: State) -> None:
        self._state = state
        self.state_changed.emit()

    # -- the choice -------------------------------------------------------------------------

    def order(self) -> list[int]:
        """Return the pairs' indices as the gap list shows them: worst first."""
        if self.result is None:
            return []
        pairs = self.result.pairs
        return sorted(
            range(len(pairs)), key=lambda i: (_ORDER[pairs[i].verdict], pairs[i].margin_mm)
        )

    @property
    def chosen(self) -> int | None:
        """Index of the chosen pair in the result."""
        return self._chosen

    @property
    def chosen_pair(self) -> PairResult | None:
        """The chosen pair."""
        if self.result is None or self._chosen is None:
            return None
        return self.result.pairs[self._chosen]

    def _found_again(self, pair: PairResult | None) -> int | None:
        """Return the index of the same two parts: a changed job numbers its pairs anew."""
        if pair is None or self.result is None:
            return None
        two = {pair.first, pair.second}
        found = (i for i, one in enumerate(self.result.pairs) if {one.first, one.second} == two)
        return next(found, None)

    def choose(self, index: int) -> None:
        """Choose a pair of the result by its index."""
        if self.result is None or not 0 <= index < len(self.result.pairs):
            return
        changed = index != self._chosen
        self._chosen, self._access = index, None
        self.chosen_changed.emit()
        if changed:
            self._draw_strip()

    @property
    def chosen_access(self) -> AccessResult | None:
        """What was chosen of what must be workable; the pair chosen before stays behind it."""
        if self.result is None or self._access is None:
            return None
        return self.result.access[self._access]

    def choose_access(self, index: int) -> None:
        """Choose something that must be workable by its index in the result."""
        if self.result is not None and 0 <= index < len(self.result.access):
            self._access = index
            self.chosen_changed.emit()

    def choose_next(self, step: int) -> None:
        """Choose the next (+1) or the one before (−1) in the list."""
        order = self.order()
        if not order:
            return
        at = order.index(self._chosen) if self._chosen in order else -step
        self.choose(order[min(max(at + step, 0), len(order) - 1)])

    # -- drawings ---------------------------------------------------------------------------

    def set_unit(self, unit: str) -> None:
        """Draw with figures in another unit of length."""
        if unit != self._unit:
            self._unit = unit
            self._draw_section()
            self._draw_strip()

    def set_section_size(
        self, size_mm: tuple[float, float], dimensions: int = MOST_DIMENSIONS
    ) -> None:
        """Draw the turn section for a paper of another size, with so many dimensions at most."""
        if (size_mm, dimensions) != (self._section_mm, self._dimensions):
            self._section_mm, self._dimensions = size_mm, dimensions
            self._draw_section()

    def set_strip_size(self, size_mm: tuple[float, float]) -> None:
        """Draw the clock strip for a paper of another size."""
        if size_mm != self._strip_mm:
            self._strip_mm = size_mm
            self._draw_strip()

    def _draw_section(self) -> None:
        result, size, most = self.result, self._section_mm, self._dimensions
        unit = self._unit
        if result is None or not result.pairs:
            self._take_drawing(None)
            return
        self.tasks.start(
            "section",
            lambda progress: background.section(result, size, most, progress, unit),
            done=self._take_drawing,
            failed=self.trouble.emit,
        )

    def _take_drawing(self, drawing: Drawing | None) -> None:
        self.drawing = drawing
        self.drawing_changed.emit()

    def _draw_strip(self) -> None:
        result, pair, size = self.result, self.chosen_pair, self._strip_mm
        unit = self._unit
        if result is None or pair is None:
            self._take_strip(None)
            return
        self.tasks.start(
            "strip",
            lambda progress: background.strip(result, pair, size, progress, unit),
            done=self._take_strip,
            failed=self.trouble.emit,
        )

    def _take_strip(self, drawing: Drawing | None) -> None:
        self.strip = drawing
        self.strip_changed.emit()
