"""Undo steps: each swaps one frozen job for another, so that neither way can fail."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtGui import QUndoCommand

from clearturn.job.model import Job

_MERGING = 1  # Qt merges steps only if their numbers are equal and not −1
_ALONE = -1


class JobStep(QUndoCommand):
    """One named change of the job.

    Parameters
    ----------
    name : str
        What was done, as undo says it: "spacer 0 → 3 mm".
    before, after : Job
    put : callable
        Takes the job that shall be the document's.
    merge : str
        Steps with the same key that follow each other become one; empty: never.
    """

    # No parent is ever passed on: a command with a parent in Python crashes the binding.
    def __init__(
        self, name: str, before: Job, after: Job, put: Callable[[Job], None], merge: str = ""
    ) -> None:
        super().__init__(name)
        self._before = before
        self._after = after
        self._put = put
        self._merge = merge

    def redo(self) -> None:
        """Put the changed job."""
        self._put(self._after)

    def undo(self) -> None:
        """Put the job as it was."""
        self._put(self._before)

    def id(self) -> int:
        """Return the number by which Qt finds steps that may become one."""
        return _MERGING if self._merge else _ALONE

    def mergeWith(self, other: QUndoCommand) -> bool:  # noqa: N802  (Qt's name)
        """Take over a step that follows if it is of the same kind."""
        if not isinstance(other, JobStep) or other._merge != self._merge:
            return False
        self._after = other._after
        self.setText(other.text())
        if self._after == self._before:
            self.setObsolete(True)
        return True
