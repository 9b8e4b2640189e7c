"""Does what the slips, the picture and dropped files ask for to build a job up."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import Signal
from PySide6.QtWidgets import QFileDialog, QWidget

from clearturn.errors import InputError
from clearturn.job import building as edits
from clearturn.job import model
from clearturn.job.edits import with_corner, without
from clearturn.job.sums import with_readings_file
from clearturn.progress import Progress
from clearturn_app.sheets.building import SMALL_HOLE_MM, specks_of
from clearturn_app.window.forms import Forms
from clearturn_app.window.session import Session
from clearturn_app.window.workpiece import Goal

if TYPE_CHECKING:
    from clearturn.corner.sources import Source
    from clearturn.corner.touched import FeatureLines
    from clearturn.propose import Proposals, Proposed
    from clearturn.propose.model import PartWord
    from clearturn.scan import Survey


SUFFIXES = (".stl", ".ply", ".obj", ".3mf", ".glb", ".gltf", ".step", ".stp", ".iges", ".igs")
_FILES = f"Meshes and solids (*{' *'.join(SUFFIXES)});;All files (*)"


_OF_SCAN = ("take back", "shows", "drop size")


class Builder(Forms):
    """Deeds by name, each one undo step.

    Parameters
    ----------
    session : Session
    owner : QWidget
        Over which files are asked for.
    """

    look_closely = Signal(bool)
    """The picture is wanted on the whole sheet for touching, or no more."""
    proposed = Signal(str, object, object)
    """A scan's name, the proposals made on it, and what was up."""

    def __init__(self, session: Session, owner: QWidget) -> None:
        super().__init__(session, owner)
        self.owner = owner
        self._all = False
        self._looked_on: tuple[object, ...] = ()  # axle and scan datums were proposed for last
        self._forms |= {"readings": self._readings, "mesh": self._choose_mesh}
        self._waiting: list[Path] = []
        self.work.goal_changed.connect(self._on_goal)
        self._deeds: dict[str, Callable[..., object]] = {
            "choose scans": self.choose_scans, "choose caliper": self.choose_caliper,
            "show": self.work.show, "specks": self._specks,
            "close holes": self._close_holes,
            "drop piece": self._drop_piece, "drop box": self._drop_box,
            "take back": self._take_back, "shows": self._shows, "drop scan": self._drop_scan,
            "touch": self._touch, "join": self._join, "touch all": self._touch_all,
            "look": self._look, "read": self._read_places, "part": self._part,
            "drop part": self._drop_part, "drop size": self._drop_size, "drop sum": self._drop_sum,
            "whole wheel": self._whole_wheel,
            "allowances": lambda: self._edit(
                "take the usual allowances", "allowances", edits.with_usual_allowances(self.corner)
            ),
            "axle": lambda number: self._turn_to(int(number)),
            "add axle": self._add_axle,
            "drop shield": lambda: self._edit(
                "no shield", "shield", edits.without_shield(self.corner)
            ),
            "diameters": lambda: self._edit(
                "check the touched diameters", "hub_checks",
                edits.with_touched_diameters(self.corner),
            ),
        }  # fmt: skip

    def act(self, deed: str) -> None:
        """Do what a word of a slip stands for: its name and what it is about, with colons."""
        name, _, rest = deed.partition(":")
        # A scan's name may hold a colon itself.
        about = rest.rsplit(":", 1) if name in _OF_SCAN else [rest] * bool(rest)
        self._guarded(lambda: self._deeds[name](*about))

    def _turn_to(self, axle: int) -> None:
        self._need_nothing_read()
        self.work.build_axle(axle)

    def _need_nothing_read(self) -> None:
        if any(self.session.tasks.running(kind) for kind in ("take scan", "take mesh")):
            raise InputError(
                "a file is being read for this axle", mend="try again when it is there"
            )

    def _add_axle(self, name: Literal["front", "rear"]) -> None:
        self._need_nothing_read()
        document = self.session.document
        side = self.corner.side
        job = with_corner(document.job, name, model.Corner(side=side))
        # It lacks everything yet; a check would only say so.
        self.session.is_being_built = True
        document.edit(f"add the {name} axle", job)
        self.work.build_axle(len(job.axles) - 1)

    # -- scans ------------------------------------------------------------------------------

    def choose_scans(self) -> None:
        """Ask for scan files and take them in."""
        start = str(self.session.document.folder)
        names, _ = QFileDialog.getOpenFileNames(self.owner, "Scans", start, _FILES)
        self.take_files([Path(name) for name in names])

    def take_files(self, paths: list[Path]) -> None:
        """Take files in as scans, one after another."""
        self._waiting += paths
        if not self.session.tasks.running("take scan"):
            self._next_file()

    def forget_waiting(self) -> None:
        """Read none of the files that still wait: another job was taken up."""
        self._waiting.clear()

    def _next_file(self) -> None:
        if not self._waiting:
            return
        path = self._waiting.pop(0).absolute()

        def done(value: tuple[Source, Survey]) -> None:
            self._guarded(lambda: self._take_scan(path, *value))
            self._next_file()

        def failed(error: BaseException) -> None:
            self.session.trouble.emit(error)
            self._next_file()

        self.session.tasks.start(
            "take scan", lambda progress: _read(path, progress), done=done, failed=failed,
            words=f"reading {path.name}", shown=True,
        )  # fmt: skip

    def _take_scan(self, path: Path, source: Source, found: Survey) -> None:
        document, corner = self.session.document, self.corner
        empty = all(not one.corner.scans and not one.corner.parts for one in document.job.axles)
        if document.path is None and empty:
            document.settle(path.parent)
        name = edits.name_for(corner, path.stem)
        scan = replace(source.scan, name=name, path=self._relative(path))
        after = edits.with_scan(corner, scan)
        self._edit(f"take in {path.name}", "scans", after)
        self.work.take(scan, replace(source, scan=scan), found)

    def _readings(self, values: dict[str, Any]) -> None:
        document = self.session.document
        name, _ = QFileDialog.getOpenFileName(
            self.owner, "Readings of the dial gauge", str(document.folder),
            "Readings (*.csv *.txt);;All files (*)",
        )  # fmt: skip
        if name:
            path = Path(name).absolute()
            given = {key: value for key, value in values.items() if value is not None}
            job = with_readings_file(document.job, document.folder, self._relative(path), given)
            self._edit_sum(f"run-out from {path.name}", "run_out", job)

    def _relative(self, path: Path) -> str:
        try:
            return Path(os.path.relpath(path, self.session.document.folder)).as_posix()
        except ValueError:
            raise InputError(
                "a job on another drive cannot name this file", found=str(path),
                mend="save the job on the drive its scans are on",
            ) from None  # fmt: skip

    def _specks(self, name: str) -> None:
        count, below = specks_of(self.work.loaded[name])
        step = model.DropSmallPieces("drop small pieces", below)
        self._edit(f"leave out {count} specks of {name}", "scans",
                   edits.with_step(self.corner, name, step))  # fmt: skip

    def _close_holes(self, name: str) -> None:
        step = model.FillHoles("fill holes", SMALL_HOLE_MM)
        self._edit(f"close small holes of {name}", "scans",
                   edits.with_step(self.corner, name, step))  # fmt: skip

    def _take_back(self, name: str, index: str) -> None:
        self._edit(f"take back a cleaning step of {name}", "scans",
                   edits.without_step(self.corner, name, int(index)))  # fmt: skip

    def _shows(self, name: str, other: str) -> None:
        self._edit(f"{name} is {other}", "scans", edits.renamed_scan(self.corner, name, other))

    def _drop_scan(self, name: str) -> None:
        self._edit(f"drop scan {name}", "scans", without(self.corner, "scans", name))

    # -- touching ---------------------------------------------------------------------------

    def _drop_piece(self, name: str) -> None:
        ask = f"Touch the piece of the {name} scan that shall be left out."
        self._begin(Goal(name, ask, "leave it out", drops=True))

    def _drop_box(self, name: str) -> None:
        ask = f"Drag a box over what shall be left out of the {name} scan; the arrow keys turn "
        self._begin(Goal(name, f"{ask}to another side.", "leave it out", box=True))

    def _part(self, kind: str) -> None:
        ask = f"Touch the {kind if kind != 'other' else 'piece'}."
        self._begin(Goal("knuckle", ask, f"it is the {kind}", part=kind))

    def _touch(self, name: str) -> None:
        self._all = False
        self._ask_role(next(role for role in edits.ROLES if role.name == name))

    def _join(self, name: str) -> None:
        role = next(role for role in edits.ROLES if role.name == name)
        ask = f"Touch another patch of the {name}: what is fitted runs through all of them."
        self._begin(Goal(role.shows, ask, f"join it to the {name}", role=role, joins=True))

    def _touch_all(self, shows: str) -> None:
        self._all = True
        todo = self._todo(shows)
        self._ask_role(todo[0] if todo else next(r for r in edits.ROLES if r.shows == shows))

    def _todo(self, shows: str) -> list[edits.Role]:
        return [role for role in edits.ROLES
                if role.shows == shows and edits.datum_for(self.corner, role) is None]  # fmt: skip

    def _ask_role(self, role: edits.Role) -> None:
        extra = "" if role.needed else " (for its diameter; may be skipped)"
        ask = f"Touch the {role.name}: {role.help}{extra}."
        self._begin(Goal(role.shows, ask, f"take as {role.name}", role=role))

    def _begin(self, goal: Goal) -> None:
        self.work.begin(goal)
        self.look_closely.emit(True)

    def end_touching(self) -> None:
        """Touch no more, and show nothing that is proposed."""
        self._all = False
        self.session.tasks.cancel("propose")
        self.work.end()

    def _on_goal(self) -> None:
        if self.work.goal is None and not self.work.offered:  # ended here, or by an undo
            self.look_closely.emit(False)

    def skip(self) -> None:
        """Leave what is asked for untouched, and ask for the next."""
        goal = self.work.goal
        if goal is not None and goal.role is not None:
            self._go_on(goal.role)

    def take_touched(self, up: model.Vec3) -> None:
        """Put what was touched into the job, as what it was wanted for; `up` is the picture's."""
        goal = self.work.goal
        if goal is None or not self.work.serves:
            return
        if goal.looks:
            self._guarded(lambda: self._propose(goal.scan, up))
        elif goal.box:
            self._guarded(lambda: self._take_box(goal.scan))
        else:
            self._guarded(self._take_touched)

    def _take_touched(self) -> None:
        goal, touched = self.work.goal, self.work.touched
        if goal is None or touched is None:
            return
        if goal.joins and goal.role is not None and touched.proposal is not None:
            corner = edits.with_joined(
                self.corner, goal.role, touched.proposal.feature, touched.seed_mm
            )
            self.end_touching()
            self._edit(f"join a patch to {goal.role.name}", "datums", corner)
        elif goal.role is not None and touched.proposal is not None:
            role, feature = goal.role, touched.proposal.feature
            corner = edits.with_touched(
                self.corner, role, touched.scan, feature, (touched.seed_mm,)
            )
            self.work.lines[role.name] = self.work.touched_lines
            self._edit(f"touch {role.name}", "datums", corner)
            self._complete_wheel()
            self._go_on(role)
        elif goal.drops:
            step = model.DropPiece("drop piece", touched.seed_mm)
            self._edit(f"leave a piece of {goal.scan} out", "scans",
                       edits.with_step(self.corner, goal.scan, step))  # fmt: skip
            self.work.begin(goal)  # the next piece, until it is ended
        else:
            if goal.part:
                self._take_part(goal.part, touched.seed_mm)
            self.end_touching()

    def _take_box(self, name: str) -> None:
        step = self.work.boxing.step
        self.end_touching()
        if step is not None:
            self._edit(f"leave a box of {name} out", "scans",
                       edits.with_step(self.corner, name, step))  # fmt: skip

    def _take_part(self, kind: Any, seed: model.Vec3) -> None:
        name = edits.free_name(self.corner, kind)
        faces = model.PieceFaces("piece", seed)
        corner = edits.with_part_of(self.corner, name, kind, "posed", "knuckle", faces)
        self._edit(f"{name}, posed", "parts", corner)

    def _go_on(self, role: edits.Role) -> None:
        order = [one for one in edits.ROLES if one.shows == role.shows]
        later = order[order.index(role) + 1 :]
        todo = [one for one in later if edits.datum_for(self.corner, one) is None]
        if self._all and todo:
            self._ask_role(todo[0])
        else:
            self.end_touching()

    def _look(self, name: str) -> None:
        ask = "Turn the picture until what is up in the vehicle is up here, then let it propose."
        if name == "wheel":
            ask = "Let it propose; which way the wheel is turned does not matter."
        self._begin(Goal(name, ask, "propose", looks=True))

    def _read_places(self, name: str) -> None:
        ask = "Touch any place: its r and z are told. Nothing is changed by it."
        self._begin(Goal(name, ask, "done"))

    def _propose(self, name: str, up: model.Vec3) -> None:
        from clearturn.propose import propose

        loaded, corner = self.work.loaded[name], self.corner
        self._looked_on = self._seen_on(name)
        shows: PartWord | None = {"knuckle": "knuckle", "wheel": "wheel"}.get(name)  # type: ignore[assignment]

        def work(progress: Progress) -> tuple[Proposals, Drawn]:
            found = propose(loaded.source, corner, shows, up=up, progress=progress.part(0.0, 0.9))
            return found, _drawn(found, loaded.source, progress.part(0.9, 1.0))

        def done(answer: tuple[Proposals, Drawn]) -> None:
            found, drawn = answer
            self.work.offer(*drawn)  # to be looked over, until it is accepted or not
            self.proposed.emit(name, found, up)

        def failed(error: BaseException) -> None:
            self.end_touching()
            self.session.trouble.emit(error)

        self.session.tasks.start(
            "propose", work, done=done, failed=failed, words=f"looking for the {name}'s datums",
            shown=True,
        )  # fmt: skip

    def _seen_on(self, name: str) -> tuple[object, ...]:
        scan = self.work.scans().get(name)
        return self.work.axle, scan and (scan.sha256, scan.unit)

    def accept(self, name: str, found: Proposals, up: model.Vec3) -> None:
        """Take what was proposed and is wanted into the job."""
        from clearturn.propose import accept

        shown = self.work.offered
        self.end_touching()

        def act() -> None:
            if self._seen_on(name)[:1] != self._looked_on[:1]:
                raise InputError(
                    "this was proposed on the other axle", mend="turn back to it, or look again"
                )
            if self._seen_on(name) != self._looked_on:
                raise InputError(
                    "the scan this was proposed on is not there any more", mend="look again"
                )
            wanted = tuple(one for one in found.proposed if is_wanted(one))
            self.work.lines |= shown
            taken = accept(self.corner, name, replace(found, proposed=wanted), up=up)
            self._edit(f"accept what was proposed on {name}", "datums", taken.corner)
            self._complete_wheel()

        self._guarded(act)

    # -- parts ------------------------------------------------------------------------------

    def choose_caliper(self) -> None:
        """Ask for a mesh of the caliper."""
        start = str(self.session.document.folder)
        name, _ = QFileDialog.getOpenFileName(self.owner, "Caliper", start, _FILES)
        if name:
            self.take_mesh(Path(name))

    def take_mesh(self, path: Path) -> None:
        """Take a mesh or solid file in: as the caliper, or where there is one as another part."""
        there = any(part.kind == "caliper" for part in self.corner.parts)
        kind: model.PartKind = "other" if there else "caliper"
        self._take_mesh(path, kind, "fixed", 0.0)

    def _choose_mesh(self, values: dict[str, Any]) -> None:
        start = str(self.session.document.folder)
        found, _ = QFileDialog.getOpenFileName(self.owner, "Mesh of a part", start, _FILES)
        kind = values["kind"]
        if found:
            self._take_mesh(Path(found), kind, values["motion"], values["tolerance_mm"])

    def _take_mesh(
        self, path: Path, kind: model.PartKind, motion: model.MotionWord, tolerance_mm: float
    ) -> None:
        from clearturn.scan import read_scan

        def take(read: Any) -> None:
            mesh = model.MeshFile(
                self._relative(path.absolute()), read.sha256, read.unit, read.chord_error_mm
            )
            name = edits.free_name(self.corner, kind)
            corner = edits.with_mesh_part(self.corner, name, kind, motion, mesh, tolerance_mm)
            self._edit(f"{name} from {path.name}", "parts", corner)

        def done(read: Any) -> None:
            self._guarded(lambda: take(read))

        self.session.tasks.start(
            "take mesh", lambda progress: read_scan(path, progress=progress), done=done,
            failed=self.session.trouble.emit, words=f"reading {path.name}", shown=True,
        )  # fmt: skip

    def _drop_part(self, name: str) -> None:
        self._edit(f"drop part {name}", "parts", without(self.corner, "parts", name))


_WANTED = ("hub face", "register", "rotor register", "lug 1 bore", "bearing housing",
           "hub flange rim", "wheel pad", "wheel bore", "turning faces")  # fmt: skip


Drawn = tuple[dict[str, "FeatureLines"], NDArray[np.int64]]


def _drawn(found: Proposals, source: Source, progress: Progress) -> Drawn:
    """Return how what is proposed and may be taken is drawn, and its faces."""
    from clearturn.corner.touched import datum_drawn
    from clearturn.propose import DOUBTFUL, proposed_datum

    lines: dict[str, FeatureLines] = {}
    faces = [np.empty(0, np.int64)]
    for one in found.proposed:
        if is_wanted(one) and one.feature is not None and one.confidence >= DOUBTFUL:
            datum = proposed_datum(one, source.scan.name)
            lines[one.name], patch = datum_drawn(datum, source, progress)
            faces.append(patch)
    return lines, np.unique(np.concatenate(faces))


def is_wanted(one: Proposed) -> bool:
    """Return whether a proposal serves a frame, a hub diameter or the split."""
    return one.name in _WANTED


def _read(path: Path, progress: Progress) -> tuple[Source, Survey]:
    from clearturn.corner.sources import Source
    from clearturn.datum.grow import surface
    from clearturn.scan import read_scan, survey

    read = read_scan(path, progress=progress.part(0.0, 0.6))
    found = survey(read.mesh, progress.part(0.6, 0.9))
    surface(read.mesh, progress.part(0.9, 1.0))  # so that the first touch does not wait for it
    scan = model.Scan("", path.name, read.sha256, unit=_unit(read.unit))
    return Source(scan, read.mesh, np.ones(len(read.mesh.faces), np.bool_), read.findings), found


def _unit(word: str) -> model.Unit:
    units: dict[str, model.Unit] = {"mm": "mm", "cm": "cm", "m": "m", "in": "in"}
    if word not in units:
        raise InputError("this unit cannot stand in a job", found=word, allowed=", ".join(units))
    return units[word]
