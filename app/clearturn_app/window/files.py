"""A job's files that were moved or changed: asked for, compared by hash, and put right."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog, QWidget

from clearturn.errors import ClearturnError, InputError
from clearturn.job.edits import value_at, with_value
from clearturn.job.model import Job
from clearturn.progress import Progress
from clearturn_app.document import told_from
from clearturn_app.window.notes import Choice, Note
from clearturn_app.window.session import Session, State

if TYPE_CHECKING:
    from clearturn.corner.sources import FileTrouble


LATER = Choice("later", lambda: None)


@dataclass(frozen=True, slots=True)
class _Found:
    """A file that was pointed at, and which of the missing ones lie beside it unchanged."""

    file: Path
    sha256: str
    beside: tuple[tuple[FileTrouble, Path], ...]


class FilesAsked(QObject):
    """Asks about files that are not what the job was made with; tells every other refusal.

    Parameters
    ----------
    session : Session
    note : Note
        Where it asks.
    tell : callable
        Takes errors that are no matter of files.
    parent : QWidget
        The window.
    """

    def __init__(
        self, session: Session, note: Note, tell: Callable[[BaseException], None], parent: QWidget
    ) -> None:
        super().__init__(parent)
        self._session, self._note, self._tell, self._window = session, note, tell, parent
        session.trouble.connect(self._on_trouble)

    def _on_trouble(self, error: BaseException) -> None:
        from clearturn.corner.sources import troubled_files

        session = self._session
        if not isinstance(error, ClearturnError) or session.state is not State.REFUSED:
            self._tell(error)
            return
        job, folder = session.document.job, session.document.folder

        def done(troubles: tuple[FileTrouble, ...]) -> None:
            if session.document.job is not job:
                return  # the check of what it is now has its own say
            if troubles:
                self._ask(troubles)
            else:
                self._tell(error)

        session.tasks.start(
            "files", lambda progress: troubled_files(job, folder, progress), done=done,
            failed=self._tell, words="looking at the files",
        )  # fmt: skip

    def _ask(self, troubles: tuple[FileTrouble, ...]) -> None:
        trouble = troubles[0]
        name, folder = Path(trouble.path).name, self._session.document.folder
        more = f" {len(troubles) - 1} more of its files are not as they were." * (len(troubles) > 1)
        look = Choice("look for it", lambda: self._look_for(trouble, troubles))
        if trouble.found is None:
            self._note.say(
                "A FILE IS NOT WHERE IT WAS",
                f"{name} is not at {folder / trouble.path}. The job keeps its hash, so the same "
                f"file is known again under any name.{more}",
                choices=(look, LATER), first=True, of_job=True,
            )  # fmt: skip
            return
        self._note.say(
            "A FILE HAS CHANGED",
            f"{name} is not the file that was taken into the job: its content is another. Datums "
            f"and parts were touched on the old one.{more}",
            choices=(look, self._take(trouble, folder / trouble.path, trouble.found), LATER),
            first=True,
            of_job=True,
        )

    def _look_for(self, trouble: FileTrouble, troubles: tuple[FileTrouble, ...]) -> None:
        from clearturn.corner.sources import file_sha256

        start = self._session.document.folder / Path(trouble.path).name
        chosen, _ = QFileDialog.getOpenFileName(
            self._window, f"Where is {Path(trouble.path).name}?", str(start)
        )
        if not chosen:
            return
        file = Path(chosen)

        def work(progress: Progress) -> _Found:
            near = [(one, file.parent / Path(one.path).name) for one in troubles]
            beside = tuple(
                (one, place) for one, place in near
                if one is not trouble and place.is_file()
                and file_sha256(place, progress) == one.sha256
            )  # fmt: skip
            return _Found(file, file_sha256(file, progress), beside)

        self._session.tasks.start(
            "files", work, done=lambda found: self._found(trouble, troubles, found),
            failed=self._tell, words="looking at the files", shown=True,
        )  # fmt: skip

    def _found(
        self, trouble: FileTrouble, troubles: tuple[FileTrouble, ...], found: _Found
    ) -> None:
        if found.sha256 != trouble.sha256:
            self._note.say(
                "THAT IS ANOTHER FILE",
                f"The content of {found.file.name} is not that of {Path(trouble.path).name} as it "
                "was taken into the job. Datums and parts were touched on the old one.",
                choices=(
                    Choice("look again", lambda: self._look_for(trouble, troubles)),
                    self._take(trouble, found.file, found.sha256), LATER,
                ),
                first=True, of_job=True,
            )  # fmt: skip
            return
        self._put([(trouble, found.file, found.sha256),
                   *((other, place, other.sha256) for other, place in found.beside)])  # fmt: skip

    def _take(self, trouble: FileTrouble, file: Path, sha256: str) -> Choice:
        return Choice("take it all the same", lambda: self._put([(trouble, file, sha256)]))

    def _put(self, files: list[tuple[FileTrouble, Path, str]]) -> None:
        document = self._session.document
        job: Job = document.job
        try:
            for trouble, file, sha256 in files:
                named = value_at(job, trouble.place)
                if (named.path, named.sha256) != (trouble.path, trouble.sha256):
                    raise InputError(
                        "the job names this file no more, or elsewhere", found=trouble.path,
                        mend="check it again (F5)",
                    )  # fmt: skip
                path = told_from(file, document.folder)
                job = with_value(job, (*trouble.place, "path"), path)
                job = with_value(job, (*trouble.place, "sha256"), sha256)
            names = ", ".join(Path(trouble.path).name for trouble, _, _ in files)
            document.edit(f"where {names} is", job)
        except ClearturnError as error:
            self._tell(error)
