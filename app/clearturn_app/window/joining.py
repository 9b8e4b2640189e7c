"""Ties the builder to the window: slips, picture, dropped files, proposals."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QObject
from PySide6.QtGui import QDragEnterEvent, QDropEvent

from clearturn.errors import InputError
from clearturn.job import model
from clearturn.job.file import SUFFIX
from clearturn_app.sheets.operations import OPERATIONS
from clearturn_app.window.builder import is_wanted
from clearturn_app.window.notes import Choice

if TYPE_CHECKING:
    from clearturn.propose import Proposals
    from clearturn_app.window.main import MainWindow


def join_building(window: MainWindow) -> None:
    """Let slips, picture and dropped files ask the builder."""
    builder, sheet = window.builder, window.sheet
    sheet.slip.asked.connect(builder.act)
    sheet.slip.given.connect(builder.given)
    bar = sheet.picture.bar
    bar.take_asked.connect(lambda: builder.take_touched(_up_of(window)))
    bar.skip_asked.connect(builder.skip)
    bar.end_asked.connect(builder.end_touching)
    builder.look_closely.connect(sheet.look_closely)
    builder.proposed.connect(lambda name, found, up: _offer(window, name, found, up))
    window.setAcceptDrops(True)
    window.installEventFilter(_Drops(window))


def _up_of(window: MainWindow) -> model.Vec3:
    x, y, z = (round(float(v), 3) for v in window.sheet.picture.camera.up)
    return x, y, z


def _offer(window: MainWindow, name: str, found: Proposals, up: model.Vec3) -> None:
    """Say what is proposed, how sure it is, and ask."""
    from clearturn.propose import DOUBTFUL

    wanted = [one for one in found.proposed if is_wanted(one)]
    lines = []
    for one in wanted:
        sure = f"confidence {one.confidence:.2f}"
        radius = one.values.get("radius_mm")
        if radius is not None:
            sure = f"Ø {window.look.length(2 * radius, 2)} {window.look.unit}, {sure}"
        doubt = f"; {one.doubts[0]}" if one.doubts else ""
        dropped = "" if one.confidence >= DOUBTFUL else " (doubtful, is not taken)"
        lines.append(f"{one.name}: {sure}{doubt}{dropped}")
    lines += [f"{one.name} was not found: {one.reason}." for one in found.not_found]
    if found.part == "knuckle":
        lines.append("The clock angle follows from the picture's up and is as rough as that: "
                     "write the true one into slip 20.")  # fmt: skip
    window.sheet.note.say(
        f"PROPOSED ON THE {name.upper()} SCAN", *lines,
        choices=(Choice("accept these", lambda: window.builder.accept(name, found, up)),
                 Choice("touch them myself", window.builder.end_touching)),
        first=True, of_job=True,
    )  # fmt: skip


class _Drops(QObject):
    """Files dropped on the window: a job is opened, a scan or a part's mesh taken in."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window = window

    def eventFilter(self, _watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Take files, leave everything else."""
        if isinstance(event, QDragEnterEvent) and event.mimeData().hasUrls():
            event.acceptProposedAction()
            return True
        if isinstance(event, QDropEvent) and event.mimeData().hasUrls():
            event.acceptProposedAction()
            paths = [Path(url.toLocalFile()) for url in event.mimeData().urls()]
            take_dropped(self._window, [path for path in paths if str(path) != "."])
            return True
        return False


def take_dropped(window: MainWindow, paths: list[Path]) -> None:
    """Do what files dropped on the sheet stand for."""
    jobs = [path for path in paths if path.name.endswith(SUFFIX)]
    if jobs:
        window.open_asking(jobs[0])
        return
    if not paths:
        return
    slip = window.sheet.slip
    job = window.document.job
    has_scans = any(axle.corner.scans for axle in job.axles)
    if slip.isVisible() and OPERATIONS[slip.index].number == 40 and has_scans:
        if len(paths) > 1:
            window.tell(InputError(
                "one part is taken in at a time here", found=f"{len(paths)} files",
                mend="drop them one after another",
            ))  # fmt: skip
            return
        window.builder.take_mesh(paths[0])
        return
    # The demo is there to be tried; a scan dropped on it begins a job of one's own.
    is_demo = job.invented and window.document.path is None
    if (is_demo or not job.axles) and not window.new_job():
        return
    window.builder.take_files(paths)
    window.sheet.open_slip(0, fold=False)
