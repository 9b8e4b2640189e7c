"""The main window: keys, files, errors, and what happens when it closes."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent, QKeySequence, QPalette, QShortcut
from PySide6.QtWidgets import QFileDialog, QMainWindow, QMessageBox, QScrollArea

from clearturn.drawing import Tone
from clearturn.errors import ClearturnError
from clearturn.job.file import load_job
from clearturn.job.model import Job
from clearturn.samples import demo_job_file
from clearturn_app.cli.check import report_folder
from clearturn_app.crash_log import write_crash_log
from clearturn_app.document import Document, empty_job
from clearturn_app.resources.words import CAUTION, KEYS, WELCOME
from clearturn_app.sheets.operations import OPERATIONS
from clearturn_app.sheets.style import bar_style
from clearturn_app.tasks import Tasks
from clearturn_app.window import background
from clearturn_app.window.builder import Builder
from clearturn_app.window.files import FilesAsked
from clearturn_app.window.joining import join_building
from clearturn_app.window.look import Look
from clearturn_app.window.notes import Choice, sentence
from clearturn_app.window.recovery import Kept, Safekeeping
from clearturn_app.window.saving import FILES, Saving
from clearturn_app.window.session import Checker, Session
from clearturn_app.window.settings import Settings
from clearturn_app.window.sheet import PLAIN_PX, Sheet

if TYPE_CHECKING:
    from clearturn.report import ReportFiles


_KEEP_MS = 800
_DIGITS = range(Qt.Key.Key_0, Qt.Key.Key_9 + 1)


class MainWindow(QMainWindow):
    """One sheet in a window.

    Parameters
    ----------
    document : Document
    checker : callable, optional
        See `Session`.
    """

    def __init__(self, document: Document, *, checker: Checker | None = None) -> None:
        super().__init__()
        self.settings = Settings()
        self.safe = Safekeeping()
        self.look = Look(self)
        self.settings.read_look(self.look)
        self.tasks = Tasks(self)
        self.document = document
        document.setParent(self)
        self.session = Session(document, self.tasks, checker, self)
        self.sheet = Sheet(self.session, self.look, self)
        self.builder = Builder(self.session, self)
        join_building(self)
        self.table = QScrollArea(self)
        self.table.setFrameShape(QScrollArea.Shape.NoFrame)
        self.table.setWidgetResizable(True)
        self.table.setWidget(self.sheet)
        self.setCentralWidget(self.table)
        for bar in (self.table.verticalScrollBar(), self.table.horizontalScrollBar()):
            bar.valueChanged.connect(lambda _at: self.sheet.keep_seen())
            bar.rangeChanged.connect(lambda _low, _high: self.sheet.keep_seen())
        self.setMinimumSize(960, 640)
        self.resize(*PLAIN_PX)
        view, self.sheet.swapped = self.settings.view
        self.sheet.show_view(view)
        geometry = self.settings.geometry
        if geometry is not None:
            self.restoreGeometry(geometry)
        self.saving = Saving(document, self.tasks, self.sheet.note, self.tell, self)
        self._keep_soon = QTimer(self)
        self._keep_soon.setSingleShot(True)
        self._keep_soon.setInterval(_KEEP_MS)
        self._keep_soon.timeout.connect(self._put_aside)
        self.session.job_changed.connect(self._on_job)
        self.session.withdrawn.connect(self._withdraw)
        self.files = FilesAsked(self.session, self.sheet.note, self.tell, self)
        self.sheet.actions.asked.connect(self.act)
        self.sheet.title.stop_asked.connect(self.session.stop)
        self.look.changed.connect(self._on_look)
        self._deeds: dict[str, Callable[[], object]] = {
            "new": self.new_job, "open": self.ask_open,
            "save": self.save, "report": self.ask_report,
            "undo": document.stack.undo, "redo": document.stack.redo,
            "dark": lambda: self.look.set(dark=not self.look.dark),
            "unit": lambda: self.look.set(inch=not self.look.inch),
            "keys": self.show_keys,
        }  # fmt: skip
        self._make_keys()
        self._on_look()
        self._on_job()

    def start(self) -> None:
        """Check the job, and offer what a crash left behind."""
        self.session.check_now()
        for kept in list(self.safe.left_behind())[:1]:
            self._offer(kept)

    def welcome(self) -> None:
        """Say the three sentences of the first start."""
        if not self.settings.welcomed:
            self.sheet.note.say(
                "A CORNER TO TRY", *WELCOME, CAUTION,
                choices=(Choice("go on", self.settings.keep_welcomed),),
            )  # fmt: skip

    # -- keys and words ---------------------------------------------------------------------

    def act(self, name: str) -> None:
        """Do what a word of the action line stands for."""
        self._deeds[name]()

    def _make_keys(self) -> None:
        for keys, deed in (
            ("Ctrl+N", self.new_job), ("Ctrl+O", self.ask_open),
            ("Ctrl+S", self.save), ("Ctrl+Shift+S", self.save_as),
            ("Ctrl+R", self.ask_report), ("Ctrl+Z", self.document.stack.undo),
            ("Ctrl+Y", self.document.stack.redo), ("Ctrl+Shift+Z", self.document.stack.redo),
            ("F5", self.session.check_now), ("F1", self.show_keys),
            ("Ctrl++", lambda: self.look.zoomed(1)), ("Ctrl+=", lambda: self.look.zoomed(1)),
            ("Ctrl+-", lambda: self.look.zoomed(-1)), ("Ctrl+Q", self.close),
        ):  # fmt: skip
            QShortcut(QKeySequence(keys), self).activated.connect(deed)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Do what a plain key stands for; places to write in take it first."""
        sheet = self.sheet
        if event.modifiers() & ~(
            Qt.KeyboardModifier.KeypadModifier | Qt.KeyboardModifier.ShiftModifier
        ):
            super().keyPressEvent(event)
            return
        deeds: dict[int, Callable[[], object]] = {
            Qt.Key.Key_D: lambda: self.act("dark"), Qt.Key.Key_U: lambda: self.act("unit"),
            Qt.Key.Key_S: sheet.swap, Qt.Key.Key_V: sheet.next_view,
            Qt.Key.Key_C: sheet.picture.toggle_cut, Qt.Key.Key_G: sheet.section.look_at_chosen,
            Qt.Key.Key_F: self._fit, Qt.Key.Key_M: self._move_parts,
            Qt.Key.Key_W: sheet.picture.rule.setFocus, Qt.Key.Key_Escape: self._step_back,
            Qt.Key.Key_Up: lambda: self.session.choose_next(-1),
            Qt.Key.Key_Down: lambda: self.session.choose_next(1),
        }  # fmt: skip
        number = (event.key() - Qt.Key.Key_1) % 10 if event.key() in _DIGITS else -1
        if 0 <= number < len(OPERATIONS):
            sheet.open_slip(number)
        elif event.key() in deeds:
            deeds[event.key()]()
        else:
            super().keyPressEvent(event)

    def _fit(self) -> None:
        picture = self.sheet.picture
        if picture.isVisible() and picture.underMouse():
            picture.fit()
        else:
            self.sheet.section.fit()

    def _move_parts(self) -> None:
        section = self.sheet.section
        if section.is_small:
            self.sheet.swap()  # there would be no room for the figures
        section.setFocus()
        section.moving.take_next()

    def _step_back(self) -> None:
        if self.sheet.section.moving.held:
            self.sheet.section.moving.give_up()
        elif self.session.work.goal is not None:
            self.builder.end_touching()
        elif self.session.seen.found is not None:
            self.session.seen.clear()
        elif self.sheet.slip.isVisible():
            self.sheet.slip.fold()
        elif self.sheet.note.isVisible():
            self.sheet.note.words[-1].click()
        else:
            self.session.stop()

    def show_keys(self) -> None:
        """List the keys on a note."""
        half = (len(KEYS) + 1) // 2
        rows = zip(KEYS[:half], [*KEYS[half:], ("", "")], strict=False)
        lines = ["\t".join((*left, *right)) for left, right in rows]
        self.sheet.note.say("KEYS", *lines, first=True)

    # -- files ------------------------------------------------------------------------------

    def new_job(self) -> bool:
        """Begin a job with nothing in it; return False if unsaved work is not to be left."""
        if not self._may_leave(self.new_job):
            return False
        self._take_up(empty_job(), Path.cwd(), None)
        self.sheet.open_slip(0, fold=False)
        return True

    def ask_open(self) -> None:
        """Ask for a job file and open it."""
        if not self._may_leave(self.ask_open):
            return
        start = str(self.document.folder)
        name, _ = QFileDialog.getOpenFileName(self, "Open a job", start, FILES)
        if name:
            self.open(Path(name))

    def open_asking(self, path: Path) -> None:
        """Open a job file that was dropped, asking about unsaved work first."""
        if self._may_leave(lambda: self.open(path)):
            self.open(path)

    def open(self, path: Path) -> bool:
        """Open a job file in place of the job that is there; say so if that cannot be."""
        try:
            job = load_job(path)
        except ClearturnError as error:
            self.tell(error)
            return False
        path = path.absolute()
        self._take_up(job, path.parent, path)
        return True

    def _take_up(self, job: Job, folder: Path, path: Path | None, *, unsaved: bool = False) -> None:
        # What is being read or looked for was wanted for the job that is left.
        self.tasks.cancel_all(but=("save", "report", "put aside"))
        self.sheet.note.forget_job()
        self.builder.forget_waiting()
        self.sheet.slip.fold()
        self.sheet.note.withdraw(WELCOME[0])  # it speaks of the demo
        self.session.stop()
        self.session.forget_result()
        self.builder.end_touching()
        self.sheet.slip.forget_drafts()
        self.session.is_being_built = path is None and not any(
            axle.corner.parts for axle in job.axles
        )
        self.document.replace(job, folder, path, unsaved=unsaved)
        if self.session.missing is None:
            self.session.check_now()

    def save(self, then: Callable[[], object] | None = None) -> None:
        """Save to the job's file, asking for one if it has none."""
        self._leave_field()
        if self.document.path is None:
            self.saving.save_as(then)
        else:
            self.saving.save_to(self.document.path, then)

    def save_as(self, then: Callable[[], object] | None = None) -> None:
        """Ask for a file and save to it."""
        self.saving.save_as(then)

    def ask_report(self) -> None:
        """Write the report beside the job's file, or into a folder asked for."""
        if not self.session.is_current or self.session.result is None:
            self.sheet.note.say(
                "NO REPORT YET", "A report is written for a job that has been checked as it stands."
            )
            return
        if self.document.path is not None:
            self.write_report(report_folder(self.document.path))
            return
        name = QFileDialog.getExistingDirectory(self, "Folder for the report", str(Path.cwd()))
        if name:
            self.write_report(Path(name))

    def write_report(self, folder: Path) -> None:
        """Write the report of the result into a folder, in the background."""
        result = self.session.result
        if result is None:
            return

        def done(files: ReportFiles) -> None:
            lines = [
                f"The clearance report is in {files.pdf}.",
                "Its verdict is the one on this sheet; its pages carry the job hash.",
            ]
            if files.pictures_missing:
                lines.append(files.pictures_missing)
            self.sheet.note.say("REPORT WRITTEN", *lines)

        self.tasks.start(
            "report", lambda progress: background.report(result, folder, progress), done=done,
            failed=self.tell, words="writing the report", shown=True,
        )  # fmt: skip

    # -- telling ----------------------------------------------------------------------------

    def _withdraw(self, error: BaseException) -> None:
        self.sheet.note.withdraw(sentence(error))

    def tell(self, error: BaseException) -> None:
        """Say what went wrong, in words; the one place for that."""
        if isinstance(error, ClearturnError):
            self.sheet.note.say("THIS CANNOT BE DONE AS IT STANDS", sentence(error), first=True,
                                of_job=True)  # fmt: skip
            return
        if isinstance(error, OSError):
            where = f" ({error.filename})" if error.filename else ""
            self.sheet.note.say("THIS CANNOT BE DONE", f"{error.strerror or error}{where}.",
                                first=True)  # fmt: skip
            return
        if isinstance(error, MemoryError):
            self.sheet.note.say(
                "THIS CANNOT BE DONE", "There is not enough memory for this job.", first=True
            )
            return
        log = write_crash_log(error)
        self._put_aside()
        self.sheet.note.say(
            "SOMETHING UNEXPECTED WENT WRONG",
            f"That is a fault of this program ({type(error).__name__}). The job as it stands was "
            "put aside and is not lost; save it before going on.",
            f"The details are in {log}." if log else "No log could be written.",
            first=True,
        )

    def _on_job(self) -> None:
        star = "" if self.document.is_clean else " *"
        self.setWindowTitle(f"{self.document.job.name}{star} – Clearturn")
        if self.document.is_clean:
            self._keep_soon.stop()
            self.safe.drop()
        elif not self._keep_soon.isActive():
            self._keep_soon.start()

    def _put_aside(self) -> None:
        if self.document.is_clean:
            return
        job, folder, path = self.document.job, self.document.folder, self.document.path
        self.tasks.start(
            "put aside", lambda progress: self.safe.put(job, folder, path, progress),
            done=self._on_put_aside, failed=lambda _error: None,
        )  # fmt: skip

    def _on_put_aside(self, _value: object) -> None:
        if self.document.is_clean:  # saved meanwhile
            self.safe.drop()

    def _offer(self, kept: Kept) -> None:
        when = time.strftime("%d %b %H:%M", time.localtime(kept.when))

        def take() -> None:
            self._take_up(kept.job, kept.folder, kept.path, unsaved=True)
            self.safe.put(kept.job, kept.folder, kept.path)
            kept.file.unlink(missing_ok=True)

        self.sheet.note.say(
            "A JOB WAS NOT SAVED",
            f"“{kept.job.name}” had unsaved changes when the program last ended, {when}.",
            choices=(
                Choice("take it up", take),
                Choice("drop it", lambda: kept.file.unlink(missing_ok=True)),
                Choice("later", lambda: None),
            ),
            first=True,
        )

    def _on_look(self) -> None:
        self.settings.keep_look(self.look)
        self.sheet.gaps.setStyleSheet(bar_style(self.look))
        palette = self.palette()
        palette.setColor(QPalette.ColorRole.Window, self.look.tone(Tone.PAPER))
        self.setPalette(palette)
        for bar in (self.table.verticalScrollBar(), self.table.horizontalScrollBar()):
            bar.setStyleSheet(bar_style(self.look))

    # -- leaving ----------------------------------------------------------------------------

    def _leave_field(self) -> None:
        # A number that is being written counts as written.
        self.sheet.setFocus()

    def _may_leave(self, then: Callable[[], object]) -> bool:
        """Ask about unsaved work; return whether it may be left now, or `then` after saving."""
        self._leave_field()
        if self.document.is_clean:
            return True
        answer = QMessageBox.question(
            self, "Unsaved changes", f"Save the changes to “{self.document.job.name}”?",
            QMessageBox.StandardButton.Save | QMessageBox.StandardButton.Discard
            | QMessageBox.StandardButton.Cancel,
        )  # fmt: skip
        if answer == QMessageBox.StandardButton.Discard:
            return True
        if answer == QMessageBox.StandardButton.Save:
            self.save(then=then)
        return False

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Ask, stop everything, wait, put the picture away."""
        if not self._may_leave(self.close):
            event.ignore()
            return
        self._keep_soon.stop()
        self.tasks.close()
        self.sheet.picture.close_process()
        self.settings.keep_view(self.sheet.view, self.sheet.swapped)
        self.settings.keep_geometry(self.saveGeometry())
        self.settings.sync()
        self.tasks.wait(10.0)
        self.sheet.picture.hand_over.close()
        self.safe.close()
        # It tells of its emptying when it is deleted; nobody is there to hear it then.
        self.document.stack.blockSignals(True)
        event.accept()


def first_document() -> tuple[Document, bool]:
    """Return the document of a start without a job, and whether it is the demo.

    The demo is taken up without its file, so that saving asks for a place of the user's own.
    """
    try:
        path = demo_job_file()
        return Document(load_job(path), path.parent), True
    except ClearturnError:
        return Document(empty_job(), Path.cwd()), False
