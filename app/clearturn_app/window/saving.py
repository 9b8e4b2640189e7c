"""Saves the job: in the background, in the order asked for, and over nobody else's work."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QWidget

from clearturn.errors import ClearturnError
from clearturn.job.file import SUFFIX, job_sha256, load_job, save_job
from clearturn.job.model import Job
from clearturn_app.document import Document, rebased
from clearturn_app.tasks import Tasks
from clearturn_app.window.notes import Choice, Note

FILES = f"Clearturn jobs (*{SUFFIX});;All files (*)"
Then = Callable[[], object] | None


class WrittenMeanwhile(Exception):
    """A job's file does not hold any more what was read from it or saved to it last."""


class Saving:
    """Saves one window's document.

    Parameters
    ----------
    document : Document
    tasks : Tasks
    note : Note
        Where it asks.
    tell : callable
        Takes errors.
    window : QWidget
        Over which a file is asked for.
    """

    def __init__(
        self, document: Document, tasks: Tasks, note: Note,
        tell: Callable[[BaseException], None], window: QWidget,
    ) -> None:  # fmt: skip
        self._document, self._tasks, self._note = document, tasks, note
        self._tell, self._window = tell, window
        self._turn = threading.Lock()
        self._newest: dict[Path, Job] = {}
        self._written: dict[Path, str] = {}

    def save_as(self, then: Then = None) -> None:
        """Ask for a file and save to it."""
        start = self._document.path or Path.cwd() / f"job{SUFFIX}"
        name, _ = QFileDialog.getSaveFileName(self._window, "Save the job", str(start), FILES)
        if not name:
            return
        # A dot in a name, "kit 2.5", begins no ending.
        path = Path(name if name.endswith(".json") else name + SUFFIX)
        if str(path) != name and path.exists():
            # The dialog has asked about the name as it was typed.
            self._ask_over("THERE IS SUCH A FILE", f"There is a file {path} already.", path, then)
        else:
            self.save_to(path, then, over=True)

    def save_to(self, path: Path, then: Then = None, *, over: bool = False) -> None:
        """Save to a file in the background; the old file stays whole until the new one is.

        Parameters
        ----------
        then : callable, optional
            Done when it is saved.
        over : bool
            Also over what another program wrote into the job's file.
        """
        path, document = path.absolute(), self._document
        try:
            job = rebased(document.job, document.folder, path.parent)
        except ClearturnError as error:
            self._tell(error)
            return
        origin = document.origin
        filed = document.filed if path == document.path and not over else None
        self._newest[path] = job

        def done(_value: object) -> None:
            if document.origin is not origin:
                return  # another job was taken up meanwhile: the file is not its own
            document.saved_as(job, path)
            if then is not None:
                then()

        def failed(error: BaseException) -> None:
            if isinstance(error, WrittenMeanwhile):
                self._ask_over(
                    "THE FILE WAS WRITTEN MEANWHILE",
                    f"{path} does not hold any more what was read from it or saved to it here: "
                    "another window or program has written it. Saving over it undoes that.",
                    path, then,
                )  # fmt: skip
            else:
                self._tell(error)

        self._tasks.start(
            "save", lambda _progress: self._write(path, filed), done=done, failed=failed,
            words="saving",
        )  # fmt: skip

    def _write(self, path: Path, filed: str | None) -> None:
        """Write the newest state for a file; one that is asked for while a disk is slow waits."""
        with self._turn:
            job = self._newest[path]
            sha256 = job_sha256(job)
            known = {filed, sha256, self._written.get(path)}
            if filed is not None and _holds_other_than(known, path):
                raise WrittenMeanwhile
            save_job(job, path)
            self._written[path] = sha256

    def _ask_over(self, heading: str, line: str, path: Path, then: Then) -> None:
        self._note.say(
            heading, line,
            choices=(
                Choice("save over it", lambda: self.save_to(path, then, over=True)),
                Choice("save under another name", lambda: self.save_as(then)),
                Choice("later", lambda: None),
            ),
            first=True, of_job=True,
        )  # fmt: skip


def _holds_other_than(known: set[str | None], path: Path) -> bool:
    try:
        return path.exists() and job_sha256(load_job(path)) not in known
    except ClearturnError:
        return True
