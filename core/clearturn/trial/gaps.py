"""The certified gaps of a part under trial."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.mirror import mirrored_part, mirrored_seat
from clearturn.corner.seats import excluded_faces, split_near
from clearturn.envelope import caliper_mesh
from clearturn.gap import Gap, State, turning_gap
from clearturn.job.edits import corner_of
from clearturn.job.model import Corner, Part, Seat
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check
from clearturn.result import CheckResult, PairResult, PlacedPart
from clearturn.trial.freedom import (
    Freedom,
    Vector,
    is_made,
    placed_part,
    spec_of,
    step_of_file,
    tried,
)
from clearturn.verdict.field import Pair, turning_side
from clearturn.verdict.judge import without_faces

FAR_MM = 12.0
"""A pair whose margin stays above this is not worked out: a move of s costs a gap at most s."""
_ON_FACE_MM = 1e-6
_NEAR_MM = 0.05


@dataclass(frozen=True, slots=True)
class TrialGap:
    """A pair's gap with a part moved.

    Attributes
    ----------
    before : PairResult
        The pair as last judged.
    gap : Gap
        Certified, for the place tried.
    estimate_mm : float or None
        Least gap as the gap list tells it: noise taken into account as last judged.
    margin_mm : float or None
        Margin if uncertainty and allowances stay as last judged; None where the parts meet (how
        deep is left to the check) and where the gap is not known.
    """

    before: PairResult
    gap: Gap
    estimate_mm: float | None
    margin_mm: float | None

    @property
    def ends_mm(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The closest places in the half plane, (z, r) each."""
        gap = self.gap
        found = []
        for rz, p in ((gap.first_rz_mm, gap.first_point_mm),
                      (gap.second_rz_mm, gap.second_point_mm)):  # fmt: skip
            r, z = (rz[0], rz[1]) if rz is not None else (np.hypot(p[0], p[1]), p[2])
            found.append((float(z), float(r)))
        return found[0], found[1]


@dataclass(frozen=True, slots=True)
class _Moved:
    """A part under trial: its mesh, and how far that is moved as a whole, mm."""

    part: PlacedPart
    shift: Vector


def trial_gaps(
    result: CheckResult, freedom: Freedom, by_mm: float, progress: Progress | None = None
) -> Iterator[TrialGap]:
    """Yield the gaps of the pairs that a freedom touches, least margin first.

    Parts that move as a whole keep their search trees; only what a number changes in its shape
    (the ring on its hat, a caliper from dimensions) is made anew.  Pairs far from mattering are
    left out, see `FAR_MM`.

    Raises
    ------
    InputError
        If the number makes no part.
    Cancelled
    """
    moved = _moved_parts(result, freedom, by_mm)
    reach = FAR_MM + abs(by_mm)
    for pair in sorted(result.pairs, key=lambda one: one.margin_mm):
        if not ({pair.first, pair.second} & set(moved)) or pair.margin_mm > reach:
            continue
        yield _tried_pair(result, freedom, pair, moved, by_mm, progress)


def _tried_pair(
    result: CheckResult,
    freedom: Freedom,
    pair: PairResult,
    moved: dict[str, _Moved],
    by_mm: float,
    progress: Progress | None,
) -> TrialGap:
    both = []
    for name in (pair.first, pair.second):
        both.append(moved.get(name) or _Moved(placed_part(result, name), np.zeros(3)))
    seats = seats_of(result, freedom.axle, pair)
    meshes = []
    for one in both:
        check(progress)
        meshes.append(without_faces(one.part, seated_faces(one.part, one.shift, seats))[0])
    check(progress)
    turns = turning_side(both[0].part, both[1].part)
    if turns is not None and _may_meet(pair, by_mm):
        # How deep they overlap takes long, and helps nobody under way.
        gap = turning_gap(
            meshes[0], meshes[1], turns=turns, depth=False,
            pose_first=_pose(both[0].shift), pose_second=_pose(both[1].shift), progress=progress,
        )  # fmt: skip
        if gap.state is State.TOUCHING:
            return TrialGap(pair, gap, 0.0, None)
    engine = Pair(meshes[0], meshes[1], turns)
    gap = engine.gap(progress, shift_first=both[0].shift, shift_second=both[1].shift)
    before, now, estimate = pair.gap.gap_mm.lower, gap.gap_mm.lower, pair.least_mm
    if before is None or now is None or estimate is None:
        return TrialGap(pair, gap, now, None)
    return TrialGap(pair, gap, estimate + now - before, pair.margin_mm + now - before)


def _may_meet(pair: PairResult, by_mm: float) -> bool:
    # A gap shrinks by no more than the move.
    upper = pair.gap.gap_mm.upper
    return upper is None or upper <= abs(by_mm) + _NEAR_MM


def _pose(shift: Vector) -> Vector:
    pose = np.eye(4)
    pose[:3, 3] = shift
    return pose


def _moved_parts(result: CheckResult, freedom: Freedom, by_mm: float) -> dict[str, _Moved]:
    corner = corner_of(tried(result, result.job, freedom, by_mm), freedom.axle)
    found = {}
    for name in freedom.parts:
        part, spec = placed_part(result, name), spec_of(result, freedom.axle, name)
        shift = np.array([0.0, 0.0, by_mm])
        if freedom.along == "r" and not is_made(spec):
            shift = step_of_file(result, freedom, by_mm)
        reshaped = is_made(spec) and (freedom.along == "r" or part.kind == "rotor")
        if reshaped and spec is not None and by_mm != 0:
            found[name] = _Moved(_made_anew(corner, part, spec, by_mm), np.zeros(3))
        else:
            found[name] = _Moved(part, shift)
    return found


def _made_anew(corner: Corner, part: PlacedPart, spec: Part, by_mm: float) -> PlacedPart:
    """Return a part as its changed dimensions make it, split at its seats and mirrored."""
    assert corner.rotor is not None
    corner.rotor.check("rotor")
    if spec.dimensions == "rotor":
        # The same surface as made anew, and sooner: only what lies inboard of the flange moves.
        points = part.mesh.vertices.copy()
        points[points[:, 2] < -_ON_FACE_MM, 2] += by_mm
        return replace(part, mesh=Mesh(points, part.mesh.faces, part.mesh.name))
    assert corner.caliper is not None
    mid = corner.rotor.ring_mid_z_mm
    mesh = caliper_mesh(corner.caliper, ring_mid_z_mm=mid, place="caliper", name=spec.name).mesh
    for seat in corner.seats:
        if spec.name in (seat.part, seat.on):
            mesh = split_near(mesh, seat)
    made = replace(part, mesh=mesh)
    return replace(mirrored_part(made), source=part.source) if corner.mirror else made


def seats_of(result: CheckResult, axle: str, pair: PairResult) -> list[Seat]:
    """Return the intended contacts of a pair, as the checked parts lie."""
    corner = corner_of(result.job, axle)
    specs = [spec_of(result, axle, name) for name in (pair.first, pair.second)]
    names = {spec.name for spec in specs if spec is not None}
    seats = [seat for seat in corner.seats if {seat.part, seat.on} == names]
    return [mirrored_seat(seat) for seat in seats] if corner.mirror else seats


def seated_faces(part: PlacedPart, shift: Vector, seats: list[Seat]) -> NDArray[np.int64]:
    """Return the faces that seats leave out of a part where it is moved to."""
    found = [np.zeros(0, np.int64)]
    for seat in seats:
        mesh, band, step = part.mesh, seat.band, float(shift[2])
        if shift[:2].any():
            mesh = Mesh(mesh.vertices + shift, mesh.faces)
        elif step:
            low, high = band.z_from_mm, band.z_to_mm
            band = replace(
                band,
                z_from_mm=None if low is None else low - step,
                z_to_mm=None if high is None else high - step,
            )
        found.append(excluded_faces(mesh, replace(seat, band=band)))
    return np.unique(np.concatenate(found))
