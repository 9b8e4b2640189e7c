"""The window's document: one frozen job, its history, and one signal when anything changed."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QUndoStack

from clearturn.errors import JobProblem
from clearturn.job.edits import put, with_corner
from clearturn.job.file import job_json, job_sha256, load_job, parse_job
from clearturn.job.model import FORMAT, VERSION, Corner, Job
from clearturn_app.history import JobStep


class Document(QObject):
    """Holds one job and changes it by undo steps only.

    Parameters
    ----------
    job : Job
    folder : path
        What the job's paths are relative to.
    path : path, optional
        The job's file; None as long as it has none.
    """

    changed = Signal()

    def __init__(
        self, job: Job, folder: str | Path, path: str | Path | None = None,
        parent: QObject | None = None,
    ) -> None:  # fmt: skip
        super().__init__(parent)
        self._job = job
        self._folder = Path(folder)
        self._path = None if path is None else Path(path)
        self._revision = 0
        self._never_clean = False
        self._filed = job_sha256(job) if path is not None else None
        self._origin = object()
        self.stack = QUndoStack(self)
        self.stack.cleanChanged.connect(self._on_clean)

    @property
    def job(self) -> Job:
        """The job as it stands."""
        return self._job

    @property
    def folder(self) -> Path:
        """What the job's paths are relative to."""
        return self._folder

    @property
    def path(self) -> Path | None:
        """The job's file, if it has one."""
        return self._path

    @property
    def origin(self) -> object:
        """Stays the same through edits and saving; another one for another job."""
        return self._origin

    @property
    def revision(self) -> int:
        """A number that grows whenever another job is put, by undo as well."""
        return self._revision

    @property
    def is_clean(self) -> bool:
        """Whether the job is the one in the file (or the untouched one it started from)."""
        return self.stack.isClean() and not self._never_clean

    @property
    def filed(self) -> str | None:
        """Hash of the job that its file holds as far as is known here; None if nothing is."""
        return self._filed

    def edit(self, name: str, job: Job, *, merge: str = "") -> bool:
        """Make `job` the document's, as one undo step.

        Returns
        -------
        bool
            False if the job is the one that is there already.

        Raises
        ------
        JobProblem
            If the job has a fault; nothing is changed then.
        """
        if job is self._job or job == self._job:
            return False
        # Through the text of the file: a job that could not be read again is none.
        parse_job(job_json(job))
        self.stack.push(JobStep(name, self._job, job, self._put, merge))
        return True

    @contextmanager
    def one_step(self, name: str) -> Iterator[None]:
        """Make all edits inside one step."""
        self.stack.beginMacro(name)
        try:
            yield
        finally:
            self.stack.endMacro()

    def replace(
        self, job: Job, folder: str | Path, path: str | Path | None, *, unsaved: bool = False
    ) -> None:
        """Take up another job with an empty history.

        Parameters
        ----------
        unsaved : bool
            The job differs from its file from the start (it was recovered).
        """
        self._folder = Path(folder)
        self._path = None if path is None else Path(path)
        self._never_clean = unsaved
        self._filed = job_sha256(job) if path is not None and not unsaved else None
        self._origin = object()
        self.stack.clear()
        self._put(job)

    def settle(self, folder: str | Path) -> None:
        """Tell paths from another folder: that of the first file a new job names."""
        self._folder = Path(folder)

    def saved_as(self, job: Job, path: str | Path) -> None:
        """Note that `job` was written to `path`; called when the writing is done.

        The document may have changed meanwhile: it is clean only if it still holds that job.
        """
        target = Path(path)
        moved = rebased(self._job, self._folder, target.parent)
        self._folder, self._path = target.parent, target
        self._filed = job_sha256(job)
        self._never_clean = moved != job
        if moved is not self._job:
            # Its paths are told from another folder now; older steps would point elsewhere.
            self.stack.clear()
            self._put(moved)
            return
        if not self._never_clean:
            self.stack.setClean()
        self.changed.emit()

    def _on_clean(self, _clean: bool) -> None:
        self.changed.emit()

    def _put(self, job: Job) -> None:
        self._job = job
        self._revision += 1
        self.changed.emit()


def empty_job(name: str = "New job") -> Job:
    """Return a job with one corner and nothing in it."""
    return with_corner(Job(FORMAT, VERSION, name), "front", Corner(side="left"))


def opened(path: str | Path, parent: QObject | None = None) -> Document:
    """Return the document of a job file.

    Raises
    ------
    JobProblem
        If the file is no job or has a fault.
    """
    target = Path(path).absolute()
    return Document(load_job(target), target.parent, target, parent)


def rebased(job: Job, old: Path, new: Path) -> Job:
    """Return the job with the paths of its files told from another folder.

    Raises
    ------
    JobProblem
        If a file lies where no relative path leads (another drive).
    """
    old, new = old.resolve(), new.resolve()
    if old == new:
        return job
    for axle in job.axles:
        corner = axle.corner
        for scan in corner.scans:
            corner = put(corner, replace(scan, path=_moved(scan.path, old, new)))
        for part in corner.parts:
            if part.mesh is not None:
                mesh = replace(part.mesh, path=_moved(part.mesh.path, old, new))
                corner = put(corner, replace(part, mesh=mesh))
        job = with_corner(job, axle.name, corner)
    return job


def told_from(file: Path, folder: Path) -> str:
    """Return a file's path as a job in a folder tells it: relative, with forward slashes.

    Raises
    ------
    JobProblem
        If no relative path leads there (another drive).
    """
    return _moved(str(file.absolute()), folder, folder)


def _moved(path: str, old: Path, new: Path) -> str:
    try:
        return Path(os.path.relpath(old / path, new)).as_posix()
    except ValueError:
        raise JobProblem(
            "a job on another drive cannot name this file",
            file=old / path,
            mend="save the job on the drive its scans are on, or move the scans first",
        ) from None
