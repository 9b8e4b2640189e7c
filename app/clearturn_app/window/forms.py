"""Takes what was written into forms and puts it into the job, each as one undo step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from PySide6.QtCore import QObject

from clearturn.envelope.dimensions import (
    BoxDimensions,
    CaliperDimensions,
    RotorDimensions,
    ShieldDimensions,
)
from clearturn.errors import ClearturnError, InputError
from clearturn.job import building as edits
from clearturn.job import model
from clearturn.job.edits import with_corner, with_pair_rule
from clearturn.job.measured import with_hand_size, without_hand_size
from clearturn.job.positions import JsonPath
from clearturn.job.sum_edits import with_entry, without_entry
from clearturn_app.sheets.entering import entered_values, target_of, told_of
from clearturn_app.sheets.operations import signatures_lifted
from clearturn_app.window.session import Session
from clearturn_app.window.workpiece import Workpiece

if TYPE_CHECKING:
    from clearturn.corner.sources import Source


T = TypeVar("T", RotorDimensions, CaliperDimensions, ShieldDimensions)


class Forms(QObject):
    """Makes edits of the corner that is built.

    Parameters
    ----------
    session : Session
    parent : QObject
    """

    def __init__(self, session: Session, parent: QObject) -> None:
        super().__init__(parent)
        self.session = session
        self.work: Workpiece = session.work
        self._forms: dict[str, Callable[[dict[str, Any]], object]] = {
            "clock": self._clock,
            "rotor": lambda values: self._drawn("rotor", RotorDimensions, edits.with_rotor, values),
            "caliper": lambda values: self._drawn(
                "caliper", CaliperDimensions, edits.with_caliper, values
            ),
            "shield": lambda values: self._drawn(
                "shield", ShieldDimensions, edits.with_shield, values
            ),
            "box": self._box, "stack": self._stack, "studs": self._studs,
            "split knuckle": self._split_knuckle, "split wheel": self._split_wheel,
            "rule": self._rule, "hand size": self._hand_size,
        }  # fmt: skip

        self._refusal: ClearturnError | None = None  # of what was asked for last
        # What a form is about stands behind its name.
        self._about: dict[str, Callable[[str, dict[str, Any]], object]] = {
            "sum": self._sum, "band": self._band, "place": self._place,
        }  # fmt: skip

    @property
    def corner(self) -> model.Corner:
        """The corner that is built: that of the axle chosen."""
        corner = self.work.corner
        assert corner is not None  # nothing is offered in a job without axles
        return corner

    def given(self, deed: str, values: dict[str, Any]) -> None:
        """Take what was written into a form."""
        name, _, about = deed.partition(":")
        if name in self._about:
            self._guarded(lambda: self._about[name](about, values))
        else:
            self._guarded(lambda: self._forms[name](values))

    def _guarded(self, act: Callable[[], object]) -> None:
        if self._refusal is not None:
            self.session.withdrawn.emit(self._refusal)
        self._refusal = None
        try:
            act()
        except ClearturnError as error:
            self._refusal = error
            self.session.trouble.emit(error)

    def _edit(self, name: str, key: str, corner: model.Corner) -> None:
        document = self.session.document
        path: JsonPath = ("axles", self.work.axle, "corner", key)
        job = with_corner(document.job, document.job.axles[self.work.axle].name, corner)
        if job is not document.job:
            document.edit(name, signatures_lifted(job, path))

    def _stand(self) -> tuple[int, int]:
        """What an edit worked out in the background was asked for: this job, this axle."""
        return self.session.document.revision, self.work.axle

    def _edit_sum(self, name: str, key: str, job: model.Job) -> None:
        self.session.document.edit(name, signatures_lifted(job, ("sums", key)))

    def _band(self, scan: str, values: dict[str, Any]) -> None:
        band = model.Band(**values)
        if band == model.Band():
            raise InputError("a band without ends would leave everything out", mend="give one end")
        step = model.DropBand("drop band", band)
        self._edit(f"leave a band of {scan} out", "scans", edits.with_step(self.corner, scan, step))

    def _place(self, name: str, values: dict[str, Any]) -> None:
        shift = values["x_mm"], values["y_mm"], values["z_mm"]
        turn = values["x_deg"], values["y_deg"], values["z_deg"]
        self._edit(f"place {name}", "parts",
                   edits.with_mesh_placed(self.corner, name, shift, turn))  # fmt: skip

    def _sum(self, about: str, values: dict[str, Any]) -> None:
        job, deed = self.session.document.job, f"sum:{about}"
        name, path = target_of(deed)
        entered = entered_values(job, deed, values)
        if entered:
            self._edit_sum(f"numbers of {told_of(deed, job)}", name,
                           with_entry(job, name, path, entered))  # fmt: skip

    def _drop_sum(self, about: str) -> None:
        job, deed = self.session.document.job, f"drop sum:{about}"
        name, path = target_of(deed)
        self._edit_sum(f"take {told_of(deed, job)} away", name, without_entry(job, name, path))

    def _clock(self, values: dict[str, Any]) -> None:
        from clearturn.corner.touched import outward_at

        role = edits.ROLES[0]

        def work(source: Source) -> model.Corner:
            datum = edits.datum_for(self.corner, role)
            assert datum is not None  # the form is there only if it is
            outboard = outward_at(source, datum.seeds_mm[0])
            return edits.with_hub_frame(self.corner, values["clock_deg"], outboard)

        self._with_source("knuckle", "make the hub frame", "hub_frame", work)

    def _complete_wheel(self) -> None:
        from clearturn.corner.touched import outward_at

        corner = self.corner
        pad, bore = (edits.datum_for(corner, role) for role in edits.ROLES[-2:])
        if pad is None or bore is None or corner.seat_stack is None or corner.wheel_frame:
            return

        def work(source: Source) -> model.Corner:
            # The pad lies on the hat: it looks inboard.
            x, y, z = outward_at(source, pad.seeds_mm[0])
            return edits.with_wheel_frame(self.corner, (-x, -y, -z))

        self._with_source("wheel", "make the wheel frame", "wheel_frame", work)

    def _with_source(
        self, scan: str, name: str, key: str, work: Callable[[Source], model.Corner]
    ) -> None:
        """Make an edit that must look at a scan."""
        loaded, asked = self.work.loaded.get(scan), self._stand()
        if loaded is None:
            self.work.show(scan)
            raise InputError(f"the {scan} scan is being read", mend="try again when it is there")

        def done(corner: model.Corner) -> None:
            if asked == self._stand():
                self._guarded(lambda: self._edit(name, key, corner))

        self.session.tasks.start(
            key, lambda _progress: work(loaded.source), done=done,
            failed=self.session.trouble.emit, words=name,
        )  # fmt: skip

    def _drawn(
        self,
        name: str,
        dimensions: Callable[..., T],
        put: Callable[[model.Corner, T, float], model.Corner],
        values: dict[str, Any],
    ) -> None:
        """Put a part into the corner as its drawing's numbers make it."""
        tolerance = values.pop("tolerance_mm")
        made = dimensions(**values)
        made.check("")
        self._edit(f"{name} from dimensions", name, put(self.corner, made, tolerance))

    def _box(self, values: dict[str, Any]) -> None:
        box = BoxDimensions(**values)
        box.check("")
        self._edit(f"put {box.name} on the caliper", "caliper", edits.with_box(self.corner, box))

    def _stack(self, values: dict[str, Any]) -> None:
        self._edit("seat stack", "seat_stack", edits.with_stack(self.corner, **values))
        self._complete_wheel()

    def _studs(self, values: dict[str, Any]) -> None:
        self._edit("studs", "stud", replace(self.corner, stud=model.Stud(**values)))

    def _split_knuckle(self, values: dict[str, Any]) -> None:
        hub = model.Band(
            r_to_mm=values["hub_r_to_mm"],
            z_from_mm=values["hub_z_from_mm"],
            z_to_mm=values["hub_z_to_mm"],
        )
        housing = None
        if values["housing_r_to_mm"] > 0:
            housing = model.Band(
                r_to_mm=values["housing_r_to_mm"],
                z_from_mm=values["housing_z_from_mm"],
                z_to_mm=values["hub_z_from_mm"],
            )
        corner = edits.with_knuckle_split(self.corner, hub, housing)
        self._edit("split the knuckle", "parts", corner)

    def _split_wheel(self, values: dict[str, Any]) -> None:
        self._wheel_of(model.Band(**values))

    def _whole_wheel(self) -> None:
        self._wheel_of(None)

    def _wheel_of(self, spokes: model.Band | None) -> None:
        from clearturn.corner.faces import patch_at
        from clearturn.corner.touched import reach_mm
        from clearturn.datum import fit_cylinder

        pad, bore = (edits.datum_for(self.corner, role) for role in edits.ROLES[-2:])
        assert pad is not None  # the form is there only with a wheel frame
        assert bore is not None

        def work(source: Source) -> model.Corner:
            axis = fit_cylinder(patch_at(source.mesh, bore.seeds_mm[0]).points_mm, robust=True)
            # A little more than the pad: its rounded edge sits too.
            radius = float(np.ceil(reach_mm(source, pad.seeds_mm[0], axis) * 2.0)) / 2.0 + 0.5
            return edits.with_wheel_split(self.corner, spokes, radius)

        self._with_source("wheel", "what the wheel is made of", "parts", work)

    def _rule(self, values: dict[str, Any]) -> None:
        rule = model.PairRule(
            values["first"], values["second"], values["reason"], values["required_mm"]
        )
        self._edit(f"rule for {rule.first} – {rule.second}", "pairs",
                   with_pair_rule(self.corner, rule))  # fmt: skip

    def _hand_size(self, values: dict[str, Any]) -> None:
        self._edit(f"{values['size']} measured by hand", "scans",
                   with_hand_size(self.corner, **values))  # fmt: skip

    def _drop_size(self, scan: str, name: str) -> None:
        self._edit(f"{name} not measured", "scans", without_hand_size(self.corner, scan, name))
