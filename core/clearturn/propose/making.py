"""What every kind of scan needs to turn what was found into proposals."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.datum import PlaneFit, SpinAxis, spin_axis
from clearturn.errors import FitProblem, InputError
from clearturn.findings import Finding
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report
from clearturn.propose.model import NotFound, Proposed, Scales
from clearturn.propose.touch import AGREES_MM, Touched, touch
from clearturn.propose.view import Array, Index, Ring, View, Wall, components, view

SPECK = 2e-3  # pieces below this share of the surface are left out
FIT_OFF_MM = 0.5  # a fit this far from what the ring said has gone elsewhere


def axis_of(
    mesh: Mesh, kept: ArrayLike | None, progress: Progress | None = None
) -> tuple[SpinAxis, Index]:
    """Return the spin axis of a scan and the faces worth looking at.

    Raises
    ------
    FitProblem
        If the scan holds no surface of revolution.
    """
    chosen: NDArray[np.bool_] = np.ones(len(mesh.faces), dtype=np.bool_)
    if kept is not None:
        chosen = np.asarray(kept, dtype=np.bool_)
    every = np.flatnonzero(chosen)
    if len(every) == 0:
        raise FitProblem("the scan has no triangles to look at")
    report(progress, 0.0, "leaving out specks")
    whole = view(mesh, every, np.zeros(3), np.array([0.0, 0.0, 1.0]))
    least = SPECK * float(whole.area.sum())
    pieces = components(whole, np.ones(len(whole.faces), dtype=np.bool_))
    large = [piece for piece in pieces if float(whole.area[piece].sum()) >= least]
    faces = np.sort(whole.faces[np.concatenate(large)]) if large else whole.faces
    return spin_axis(mesh, faces, progress=part(progress, 0.1, 1.0)), faces


def unit_of(vector: ArrayLike, name: str) -> Array:
    """Return a unit vector.

    Raises
    ------
    InputError
        If `vector` has no direction.
    """
    v = np.asarray(vector, dtype=np.float64)
    if v.shape != (3,) or not np.isfinite(v).all() or not np.linalg.norm(v) > 0.0:
        raise InputError(f"{name} must be a vector of three finite numbers, not zero")
    answer: Array = v / np.linalg.norm(v)
    return answer


def ways_of(axis: SpinAxis, outboard: ArrayLike | None) -> list[Array]:
    """Return the directions outboard may be: both, or the one on the side given."""
    ways = [axis.direction, -axis.direction]
    if outboard is None:
        return ways
    side = unit_of(outboard, "outboard")
    if abs(float(side @ axis.direction)) < 0.2:
        raise InputError(
            "the outboard vector lies square to the spin axis and does not tell its side",
            mend="give a vector that points away from the vehicle along the axle",
        )
    return [way for way in ways if float(way @ side) > 0.0]


def frame_of(seen: View, face: Touched | None, up: ArrayLike | None) -> tuple[Array, list[Finding]]:
    """Return the pose of a part, (4, 4): origin where the axis meets its face, Z outboard.

    Parameters
    ----------
    seen : View
        With its place on the face.
    face : Touched or None
        The face as fitted.
    up : (3,) array_like, optional
    """
    normal, origin = seen.axes[2], seen.place
    if face is not None and isinstance(face.fit, PlaneFit):
        normal = face.fit.axes[2] * np.sign(face.fit.axes[2] @ normal)
        slope = float(normal @ seen.axes[2])
        origin = origin + float(normal @ (face.fit.point_mm - origin)) / slope * seen.axes[2]
    findings = []
    y = seen.axes[1]
    if up is not None:
        y = unit_of(up, "up")
    else:
        findings.append(
            Finding("up-not-given", "note", "Up was not given: clock angles start anywhere.")
        )
    across = y - (y @ normal) * normal
    if np.linalg.norm(across) < 0.2:
        raise InputError(
            "up lies along the axle and tells no clock angle", mend="give another direction"
        )
    y = across / np.linalg.norm(across)
    rows = np.stack([np.cross(y, normal), y, normal])
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = rows, -rows @ origin
    return pose, findings


class Maker:
    """Turns rings and walls into proposals with seeds and fits."""

    def __init__(self, seen: View) -> None:
        self.seen = seen
        self.found: list[Proposed] = []
        self.missing: list[NotFound] = []

    def miss(self, name: str, reason: str) -> None:
        """Say that a feature was looked for in vain."""
        self.missing.append(NotFound(name, reason))

    def ring(
        self, name: str, feature: str, ring: Ring, scales: Scales, values: dict[str, Any]
    ) -> Touched | None:
        """Propose a ring."""
        radius = None if ring.flat else ring.at_mm
        touched = self._touched(name, feature, ring.faces, self.seen, radius)
        if touched is None:
            return None
        return self.put(name, feature, touched, scales, values, radius)

    def wall(
        self,
        name: str,
        wall: Wall,
        scales: Scales,
        values: dict[str, Any],
        looking: View | None = None,
    ) -> Touched | None:
        """Propose the wall of a hole or pin."""
        touched = self._touched(name, "cylinder", wall.faces, looking or self.seen, wall.radius_mm)
        if touched is None:
            return None
        return self.put(name, "cylinder", touched, scales, values, wall.radius_mm)

    def _touched(
        self, name: str, feature: str, faces: Index, looking: View, radius_mm: float | None
    ) -> Touched | None:
        touched = touch(looking, faces, feature, radius_mm)
        if touched is None:
            self.miss(name, "seen, but no patch grown on it can be fitted: touch it yourself")
        return touched

    def put(
        self,
        name: str,
        feature: str,
        touched: Touched,
        scales: Scales,
        values: dict[str, Any],
        radius_mm: float | None = None,
    ) -> Touched:
        """Propose what was touched; `radius_mm` is what a cylinder's should be about."""
        mine = scales.copy()
        values = dict(values)
        found = touched.fit.radius_mm
        if found is not None:
            values["radius_mm"] = float(found)
            if radius_mm is not None and abs(found - radius_mm) > AGREES_MM:
                factor = 0.7 if abs(found - radius_mm) <= FIT_OFF_MM else 0.4
                mine.weigh(factor, f"the patch gives radius {found:.2f} mm, not {radius_mm:.2f} mm")
        if touched.share < 0.3:
            mine.weigh(0.85, f"only {touched.share:.0%} of it hangs together as one patch")
        self.found.append(
            Proposed(
                name, feature, touched.seeds_mm, touched.limit_mm, touched.normal_deg,
                touched.fit, values, mine.result, tuple(mine.why), tuple(mine.doubts),
            )
        )  # fmt: skip
        return touched

    def note(self, name: str, scales: Scales, values: dict[str, Any]) -> None:
        """Propose what is no datum of its own."""
        self.found.append(
            Proposed(
                name, None, (), None, None, None, values, scales.result,
                tuple(scales.why), tuple(scales.doubts),
            )
        )  # fmt: skip


def heights(ring: Ring) -> dict[str, Any]:
    """Return radius and ends of a round ring."""
    return {"radius_mm": ring.at_mm, "z_from_mm": ring.from_mm, "z_to_mm": ring.to_mm}
