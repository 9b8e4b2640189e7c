"""The scans as they lie on the bench: read, cleaned, looked at and touched before any datum is.

Meshes live here; what is decided about them lives in the job and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, Signal

from clearturn.errors import InputError
from clearturn.job import model
from clearturn.job.building import ROLES, Role, datum_for
from clearturn.progress import Progress
from clearturn_app.document import Document
from clearturn_app.tasks import Tasks
from clearturn_app.window.boxing import Boxing
from clearturn_app.window.look import Look

if TYPE_CHECKING:
    from clearturn.corner.sources import Source
    from clearturn.corner.touched import FeatureLines, Spin, Touched
    from clearturn.scan import Survey


Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A scan of the job in memory.

    Attributes
    ----------
    source : Source
    survey : Survey
    removed : tuple of str
        What each of its cleaning steps took away.
    left : tuple of int
        Triangles of each piece that is still there, the largest first.
    """

    source: Source
    survey: Survey
    removed: tuple[str, ...]
    left: tuple[int, ...]

    @classmethod
    def of(cls, source: Source, survey: Survey) -> Loaded:
        """Look at what the cleaning took and left."""
        from clearturn.corner.touched import pieces_left, removed_by

        return cls(source, survey, removed_by(source), pieces_left(source))


@dataclass(frozen=True, slots=True)
class Goal:
    """What a touch is wanted for.

    Attributes
    ----------
    scan : str
    ask : str
        The sentence that asks for it.
    take : str
        The word that takes what was touched.
    role : Role or None
        For a datum.
    joins : bool
        It is joined to the role's datum that is there, not put in its place.
    drops : bool
        The touched piece is left out of the scan.
    part : str
        Kind of the part the touched piece becomes.
    looks : bool
        Nothing is touched: the picture is turned until up is up.
    box : bool
        Nothing is touched: a box is drawn, and what it holds is left out of the scan.
    """

    scan: str
    ask: str
    take: str
    role: Role | None = None
    joins: bool = False
    drops: bool = False
    part: str = ""
    looks: bool = False
    box: bool = False

    @property
    def touches(self) -> bool:
        """Whether a surface is to be touched."""
        return not self.looks and not self.box

    @property
    def piece(self) -> bool:
        """Whether a whole piece is wanted, not a feature."""
        return self.role is None


class Workpiece(QObject):
    """The scans in memory, which of them is shown, and what was touched.

    Attributes
    ----------
    loaded : dict of str to Loaded
        By the scan's name.
    shown : str or None
        The scan in the picture; None for the corner as checked.
    goal : Goal or None
    touched : Touched or None
    boxing : Boxing
        The box drawn, where one is wanted.
    lines, offered : dict of str to FeatureLines
        How the datums taken, and those proposed and not taken yet, are drawn, by name.
    """

    changed = Signal()
    """Another scan is shown, or the one shown was cleaned."""
    touched_changed = Signal()
    goal_changed = Signal()
    loaded_changed = Signal()
    trouble = Signal(object)

    def __init__(self, document: Document, tasks: Tasks, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.document, self.tasks = document, tasks
        self.loaded: dict[str, Loaded] = {}
        self._axle = 0
        self._asked: str | None = None  # it may still be read
        self.shown: str | None = None
        self.goal: Goal | None = None
        self._goal_axle = 0
        self.touched: Touched | None = None
        self.lines: dict[str, FeatureLines] = {}
        self.offered: dict[str, FeatureLines] = {}
        self._offered_faces: NDArray[np.int64] | None = None
        self.boxing = Boxing(tasks, self)
        self.boxing.changed.connect(self.touched_changed)
        self.boxing.trouble.connect(self.trouble)
        self._missed = ""
        self._place: tuple[float, float] | None = None
        self._spins: dict[object, Spin] = {}
        document.changed.connect(self._follow)

    @property
    def source(self) -> Source | None:
        """The scan shown."""
        return self.loaded[self.shown].source if self.shown in self.loaded else None

    @property
    def is_ready(self) -> bool:
        """Whether the scan that is wanted is the one shown; another stays while it is read."""
        return self.goal is not None and self.goal.scan == self.shown and self.source is not None

    @property
    def axle(self) -> int:
        """Which axle of the job is built, by its place in the job."""
        return min(self._axle, max(0, len(self.document.job.axles) - 1))

    @property
    def corner(self) -> model.Corner | None:
        """The corner that is built; None in a job without axles."""
        axles = self.document.job.axles
        return axles[self.axle].corner if axles else None

    def build_axle(self, axle: int) -> None:
        """Turn to another axle; the scans of the one left are put away."""
        self._axle = axle
        self._follow()

    def scans(self) -> dict[str, model.Scan]:
        """Return the job's scans by name, those of the axle that is built."""
        corner = self.corner
        return {scan.name: scan for scan in corner.scans} if corner is not None else {}

    # -- reading ----------------------------------------------------------------------------

    def take(self, scan: model.Scan, source: Source, found: Survey) -> None:
        """Keep a scan that was just read, and show it."""
        self.loaded[scan.name] = Loaded.of(source, found)
        self.loaded_changed.emit()
        if self.goal is None:  # else another is being touched
            self.show(scan.name)

    def show(self, name: str | None) -> None:
        """Show a scan, reading it first if need be, or the corner."""
        self._asked = name
        if name is not None and name not in self.loaded:
            self._read(name)
        else:
            self._show(name)

    def _show(self, name: str | None) -> None:
        self.shown = name
        self.boxing.clear()
        self.changed.emit()

    def _read(self, name: str) -> None:
        scan, folder = self.scans().get(name), self.document.folder
        if scan is None:
            return

        def done(value: Loaded) -> None:
            if self.scans().get(name) == scan:
                self.loaded[name] = value
                self.loaded_changed.emit()
                if self._asked == name:  # else another was asked for meanwhile
                    self._show(name)

        self.tasks.start(
            "read scan", lambda progress: _loaded(scan, folder, progress), done=done,
            failed=self.trouble.emit, words=f"reading {scan.path}", shown=True,
        )  # fmt: skip

    def _follow(self) -> None:
        """Forget what the job no longer holds; clean anew what it cleans otherwise."""
        scans = self.scans()
        for name, one in list(self.loaded.items()):
            scan = scans.get(name)
            was = one.source.scan
            if scan is not None and replace(scan, size_check=()) == replace(was, size_check=()):
                # What was measured by hand changes nothing of the scan.
                self.loaded[name] = replace(one, source=replace(one.source, scan=scan))
                continue
            same = next((s for s in scans.values()
                         if (s.sha256, s.unit) == (was.sha256, was.unit)), None)  # fmt: skip
            if same is None or same.name != name:
                del self.loaded[name]
            if same is None:
                if self.shown == name:
                    self.end()
                    self.show(None)
                continue
            self._clean(replace(one.source, scan=same), one.survey, name)
        if self.goal is not None and (self.goal.scan not in scans or self._goal_axle != self.axle):
            self.end()
        self.loaded_changed.emit()

    def _clean(self, source: Source, found: Survey, was: str) -> None:
        from clearturn.corner.sources import cleaned_source

        name = source.scan.name

        def work(progress: Progress) -> Loaded:
            mesh = source.file_mesh or source.mesh
            fresh = cleaned_source(source.scan, mesh, source.findings, progress)
            return Loaded.of(fresh, found)

        def done(value: Loaded) -> None:
            if self.scans().get(name) == source.scan:
                self.loaded[name] = value
                self.loaded_changed.emit()
                if self.shown in (name, was):
                    self._show(name)

        self.tasks.start(f"clean {name}", work, done=done, failed=self.trouble.emit)

    # -- touching ---------------------------------------------------------------------------

    def begin(self, goal: Goal) -> None:
        """Ask for a touch."""
        self.goal, self.touched, self._missed = goal, None, ""
        self._goal_axle = self.axle
        self.boxing.clear()
        if self.shown != goal.scan:
            self.show(goal.scan)
        self.goal_changed.emit()
        self.touched_changed.emit()

    def end(self) -> None:
        """Ask for nothing any more, and show nothing that is proposed."""
        self._leave({}, None)

    def offer(self, lines: dict[str, FeatureLines], faces: NDArray[np.int64]) -> None:
        """Ask for nothing any more, and show what is proposed on the scan shown, until `end`."""
        self._leave(lines, faces)

    def _leave(self, lines: dict[str, FeatureLines], faces: NDArray[np.int64] | None) -> None:
        self.tasks.cancel("touch")
        had = self.goal is not None or bool(self.offered)
        self.goal = self.touched = None
        self.boxing.clear()
        self.offered, self._offered_faces = lines, faces
        if had:
            self.goal_changed.emit()
            self.touched_changed.emit()

    def touch(self, origin: Floats, direction: Floats) -> None:
        """Touch what a line of sight meets on the scan shown."""
        from clearturn.corner.touched import joined, touch

        source, goal, corner = self.source, self.goal, self.corner
        if source is None or goal is None or not self.is_ready:
            return

        def work(progress: Progress) -> tuple[Touched | None, tuple[float, float] | None]:
            found = touch(source, origin, direction, piece=goal.piece, progress=progress)
            if found is None or corner is None:
                return found, None
            datum = datum_for(corner, goal.role) if goal.joins and goal.role is not None else None
            if datum is not None:
                found = joined(found, datum, source)
            spin = self._spin(source, corner)
            return found, None if spin is None else spin.r_z(found.seed_mm)

        def done(answer: tuple[Touched | None, tuple[float, float] | None]) -> None:
            if self.goal is not goal:
                return
            self.touched, self._place = answer
            self._missed = ""
            if self.touched is None:
                self._missed = "There is no surface under the pointer; touch the scan itself."
            self.touched_changed.emit()

        def failed(error: BaseException) -> None:
            from clearturn_app.sheets.rows import told

            self.touched = None
            self._missed = told(error) if isinstance(error, InputError) else ""
            self.touched_changed.emit()
            if not self._missed:
                self.trouble.emit(error)

        self.tasks.start(
            "touch", work, done=done, failed=failed, words="growing the patch", shown=True
        )

    def _spin(self, source: Source, corner: model.Corner) -> Spin | None:
        """Return the scan's axis once its face and axis are touched."""
        from clearturn.corner.touched import spin_of

        name = source.scan.name
        roles = [role for role in ROLES if role.shows == name and role.needed][:2]
        found = [datum_for(corner, role) for role in roles]
        seeds = [datum.seeds_mm[0] for datum in found if datum is not None]
        if len(seeds) < 2:
            return None
        key = (source.scan.sha256, source.scan.unit, *seeds)
        if key not in self._spins:
            self._spins[key] = spin_of(source, seeds[0], seeds[1], wheel=name == "wheel")
        return self._spins[key]

    @property
    def lit(self) -> NDArray[np.int64] | None:
        """The faces that light up: what was touched or is proposed, or a box would leave out."""
        if self.touched is not None:
            return self.touched.faces
        if self._offered_faces is not None:
            return self._offered_faces
        return self.boxing.found.faces if self.boxing.found is not None else None

    @property
    def touched_lines(self) -> FeatureLines:
        """How the touched feature is drawn."""
        from clearturn.corner.touched import FeatureLines, feature_lines

        if self.touched is None or self.touched.proposal is None:
            return FeatureLines(None, None)
        return feature_lines(self.touched.proposal, self.touched.patch)

    def touched_words(self, look: Look) -> str:
        """Return what was touched, in words."""
        from clearturn.corner.touched import feature_words

        touched, goal = self.touched, self.goal
        if goal is not None and goal.box:
            return self.boxing.words(look)
        if touched is None or goal is None:
            return self._missed if goal is not None else ""
        told = f"a piece of {len(touched.faces):,} triangles"
        if touched.proposal is not None:
            told = feature_words(touched.proposal)
            if goal.joins and self.serves:
                told = f"together with what is there: {told}"
            else:
                told += f", {len(touched.patch.points_mm):,} points"
        if self._place is not None:
            r, z = (look.length(value, 1) for value in self._place)
            told += f"; r {r}, z {z} {look.unit}"
        told = told[:1].upper() + told[1:] + "."
        if goal.role is not None and not self.serves:
            told += f" A {goal.role.name} is a {' or a '.join(self._wanted(goal.role))}."
        return told

    @property
    def serves(self) -> bool:
        """Whether what is asked for was given."""
        touched, goal = self.touched, self.goal
        if goal is None or not self.is_ready:
            return False
        if goal.looks:
            return True
        if goal.box:
            return self.boxing.serves
        if touched is None:
            return False
        return goal.role is None or (
            touched.proposal is not None and touched.proposal.feature in self._wanted(goal.role)
        )

    def _wanted(self, role: Role) -> tuple[str, ...]:
        """What may be touched for a role: what joins a datum must be the same feature."""
        if self.goal is not None and self.goal.joins and self.corner is not None:
            datum = datum_for(self.corner, role)
            return () if datum is None else (datum.feature,)
        return role.features


def _loaded(scan: model.Scan, folder: Path, progress: Progress) -> Loaded:
    from clearturn.corner.sources import read_sources
    from clearturn.datum.grow import surface
    from clearturn.scan import survey

    corner = model.Corner("left", scans=(scan,))
    source = read_sources(corner, folder, progress.part(0.0, 0.6))[scan.name]
    found = survey(source.mesh, progress.part(0.6, 0.9))
    surface(source.mesh, progress.part(0.9, 1.0))  # so that the first touch does not wait for it
    return Loaded.of(source, found)
