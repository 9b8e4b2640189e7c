"""Clean a scan by recorded steps: a pure function, so that any step can be undone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearturn.errors import InputError
from clearturn.findings import Finding
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report
from clearturn.scan import _kernels_clean as kernels
from clearturn.scan._kernels_survey import GOOD
from clearturn.scan.holes import close_holes
from clearturn.scan.inventory import label_pieces, survey, triangle_states
from clearturn.scan.steps import (
    ChangeUnit,
    DropBadTriangles,
    DropBand,
    DropBeyondPlane,
    DropBox,
    DropPiece,
    DropSmallPieces,
    FillHoles,
    KeepBox,
    Step,
    TurnFlippedPieces,
)
from clearturn.threads import run, spans
from clearturn.units import mm_per

SLICE = 1 << 17
INVENTED = -1

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class StepResult:
    """What one step did.

    Attributes
    ----------
    removed_triangles, removed_pieces : int
        `removed_pieces` only for steps that take whole pieces.
    turned_triangles : int
    filled_holes, invented_triangles, holes_left : int
        `holes_left`: holes small enough that could not be closed without crossing the mesh.
    invented_area_mm2 : float
    """

    step: Step
    removed_triangles: int = 0
    removed_pieces: int = 0
    turned_triangles: int = 0
    filled_holes: int = 0
    invented_triangles: int = 0
    holes_left: int = 0
    invented_area_mm2: float = 0.0

    @property
    def did_something(self) -> bool:
        """Whether the mesh is another after this step."""
        counts = (self.removed_triangles, self.turned_triangles, self.invented_triangles)
        return any(counts) or isinstance(self.step, ChangeUnit)


@dataclass(frozen=True, slots=True)
class CleanResult:
    """A cleaned mesh and where each of its triangles comes from.

    Attributes
    ----------
    mesh : Mesh
    face_origin : (m,) int32
        Triangle of the mesh that went in; −1 for invented surface.
    invented : (m,) bool
        Surface nobody measured: a gap whose witness lies on it proves nothing.
    steps : tuple of StepResult
    findings : tuple of Finding
    """

    mesh: Mesh
    face_origin: NDArray[np.int32]
    invented: Mask
    steps: tuple[StepResult, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class _Now:
    """The mesh between two steps; `vertices` may hold unused ones.  All arrays are read-only."""

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    origin: NDArray[np.int32]

    def __post_init__(self) -> None:
        for array in (self.vertices, self.faces, self.origin):
            array.flags.writeable = False

    def mesh(self) -> Mesh:
        return Mesh(self.vertices, self.faces)


def clean(mesh: Mesh, steps: Iterable[Step], progress: Progress | None = None) -> CleanResult:
    """Apply the steps one after the other.

    Parameters
    ----------
    mesh : Mesh
        Stays as it is.
    steps : iterable of Step
    progress : Progress, optional

    Returns
    -------
    CleanResult

    Raises
    ------
    InputError
        If a step leaves nothing.
    Cancelled
        If `progress` was cancelled.
    """
    todo = list(steps)
    now = _Now(mesh.vertices, mesh.faces, np.arange(len(mesh.faces), dtype=np.int32))
    results: list[StepResult] = []
    for number, step in enumerate(todo):
        share = part(progress, number / len(todo), (number + 1) / len(todo))
        report(share, 0.0, "cleaning")
        now, result = _apply(now, step, share)
        results.append(result)
        if len(now.faces) == 0 and len(mesh.faces) > 0:
            raise InputError(
                "cleaning leaves nothing of the mesh",
                place=f"step {number + 1} ({type(step).__name__})",
                mend="change or leave out that step",
            )
    return _result(mesh, now, results)


def _apply(now: _Now, step: Step, progress: Progress | None) -> tuple[_Now, StepResult]:
    match step:
        case ChangeUnit():
            factor = mm_per(step.is_) / mm_per(step.was)
            return replace(now, vertices=now.vertices * factor), StepResult(step)
        case DropBadTriangles():
            states = triangle_states(now.mesh(), progress)
            return _drop(now, step, states != GOOD)
        case DropSmallPieces():
            return _drop_small(now, step, progress)
        case DropPiece():
            return _drop_piece(now, step, progress)
        case TurnFlippedPieces():
            return _turn(now, step, progress)
        case FillHoles():
            return _fill(now, step, progress)
        case KeepBox():
            return _drop(now, step, ~_wholly(now, _in_box(now, step), progress))
        case DropBox():
            return _drop(now, step, _wholly(now, _in_box(now, step), progress))
        case DropBeyondPlane():
            return _drop(now, step, _wholly(now, _beyond(now, step), progress))
        case DropBand():
            return _drop(now, step, _wholly(now, _in_band(now, step), progress))


def _drop(now: _Now, step: Step, bad: Mask, pieces: int = 0) -> tuple[_Now, StepResult]:
    removed = int(np.count_nonzero(bad))
    result = StepResult(step, removed_triangles=removed, removed_pieces=pieces)
    if removed == 0:
        return now, result
    faces = np.empty((len(bad) - removed, 3), np.int32)
    origin = np.empty(len(faces), np.int32)
    kernels.keep_faces(now.faces, now.origin, ~bad, faces, origin)
    return replace(now, faces=faces, origin=origin), result


def _wholly(now: _Now, inside: Mask, progress: Progress | None) -> Mask:
    out = np.empty(len(now.faces), np.bool_)
    run(
        lambda first, last: kernels.all_inside(now.faces, inside, first, last, out),
        spans(len(now.faces), SLICE),
        progress,
    )
    return out


def _in_box(now: _Now, step: KeepBox | DropBox) -> Mask:
    inside = np.ones(len(now.vertices), np.bool_)
    for k in range(3):
        x = now.vertices[:, k]
        inside &= (x >= step.from_mm[k]) & (x <= step.to_mm[k])
    return inside


def _beyond(now: _Now, step: DropBeyondPlane) -> Mask:
    normal = np.asarray(step.normal, np.float64)
    return np.asarray((now.vertices - np.asarray(step.point_mm)) @ normal > 0.0)


def _in_band(now: _Now, step: DropBand) -> Mask:
    along = np.asarray(step.axis_direction, np.float64)
    along = along / np.linalg.norm(along)
    away = now.vertices - np.asarray(step.axis_point_mm)
    z = away @ along
    r = np.linalg.norm(np.cross(away, along), axis=1)
    inside = np.ones(len(z), np.bool_)
    for value, low, high in ((r, step.r_from_mm, step.r_to_mm), (z, step.z_from_mm, step.z_to_mm)):
        if low is not None:
            inside &= value >= low
        if high is not None:
            inside &= value <= high
    return inside


def _labels(now: _Now, progress: Progress | None) -> tuple[int, NDArray[np.int32]]:
    mesh = now.mesh()
    # All triangles count alike here, so that a speck of bad ones is a piece as well.
    states = np.full(len(mesh.faces), GOOD, np.uint8)
    count, labels, _ = label_pieces(mesh, states, progress)
    return count, labels


def _drop_small(
    now: _Now, step: DropSmallPieces, progress: Progress | None
) -> tuple[_Now, StepResult]:
    count, labels = _labels(now, progress)
    small = np.zeros(count, np.bool_)
    if step.below_triangles is not None:
        small |= np.bincount(labels, minlength=count) < step.below_triangles
    if step.below_mm is not None:
        small |= _diagonals(now, labels, count) < step.below_mm
    return _drop(now, step, small[labels], int(small.sum()))


def _diagonals(now: _Now, labels: NDArray[np.int32], count: int) -> NDArray[np.float64]:
    low = np.full((count, 3), np.inf)
    high = np.full((count, 3), -np.inf)
    for k in range(3):
        for corner in range(3):
            x = now.vertices[now.faces[:, corner], k]
            np.minimum.at(low[:, k], labels, x)
            np.maximum.at(high[:, k], labels, x)
    return np.asarray(np.linalg.norm(high - low, axis=1))


def _drop_piece(now: _Now, step: DropPiece, progress: Progress | None) -> tuple[_Now, StepResult]:
    _, labels = _labels(now, progress)
    nearest = _nearest_face(now, step.seed_mm)
    return _drop(now, step, labels == labels[nearest], 1)


def _nearest_face(now: _Now, seed_mm: tuple[float, float, float]) -> int:
    """Return the triangle nearest to a point, by its surface."""
    seed = np.asarray(seed_mm, np.float64)
    best = np.full(len(now.faces), np.inf)
    run(
        lambda a, b: kernels.squared_distances(now.vertices, now.faces, seed, a, b, best),
        spans(len(now.faces), SLICE),
    )
    return int(np.argmin(best))


def flipped_faces(mesh: Mesh, progress: Progress | None = None) -> Mask:
    """Return the triangles of pieces that are inside out for certain, (m,)."""
    found = survey(mesh, progress)
    if found.flipped_pieces == 0:
        return np.zeros(len(mesh.faces), np.bool_)
    flipped = np.zeros(int(found.labels.max()) + 1, np.bool_)
    flipped[: found.pieces] = found.piece.flipped
    return np.asarray(flipped[found.labels])


def _turn(now: _Now, step: TurnFlippedPieces, progress: Progress | None) -> tuple[_Now, StepResult]:
    turned = flipped_faces(now.mesh(), progress)
    if not turned.any():
        return now, StepResult(step)
    faces = now.faces.copy()
    faces[turned] = faces[turned][:, [0, 2, 1]]
    return replace(now, faces=faces), StepResult(step, turned_triangles=int(turned.sum()))


def _fill(now: _Now, step: FillHoles, progress: Progress | None) -> tuple[_Now, StepResult]:
    filling = close_holes(now.mesh(), step.up_to_mm, progress)
    faces = np.concatenate([now.faces, filling.faces])
    origin = np.concatenate([now.origin, np.full(len(filling.faces), INVENTED, np.int32)])
    result = StepResult(
        step,
        filled_holes=filling.holes,
        invented_triangles=len(filling.faces),
        holes_left=filling.left,
        invented_area_mm2=filling.area_mm2,
    )
    return replace(now, faces=faces, origin=origin), result


def _result(mesh: Mesh, now: _Now, results: list[StepResult]) -> CleanResult:
    if not any(result.did_something for result in results):
        cleaned = mesh
    else:
        new = np.empty(len(now.vertices), np.int32)
        used = kernels.number_used(now.faces, new)
        vertices = np.empty((used, 3))
        faces = now.faces.copy()
        kernels.move_used(now.vertices, faces, new, vertices)
        vertices.flags.writeable = False
        faces.flags.writeable = False
        cleaned = Mesh(vertices, faces, mesh.name)
    invented = now.origin == INVENTED
    invented.flags.writeable = False
    return CleanResult(cleaned, now.origin, invented, tuple(results), tuple(_findings(results)))


def _findings(results: list[StepResult]) -> list[Finding]:
    findings = []
    for number, result in enumerate(results, 1):
        name = f"Step {number} ({type(result.step).__name__})"
        if not result.did_something and not result.holes_left:
            findings.append(Finding("step-without-effect", "note", f"{name} changed nothing."))
        if result.removed_triangles:
            pieces = f" in {result.removed_pieces:,} pieces" if result.removed_pieces else ""
            text = f"{name} left out {result.removed_triangles:,} triangles{pieces}."
            findings.append(Finding("triangles-left-out", "note", text))
        if result.turned_triangles:
            turned = f"{result.turned_triangles:,} triangles of pieces that were inside out"
            text = f"{name} turned {turned}."
            findings.append(Finding("pieces-turned", "note", text))
        if result.filled_holes:
            text = (
                f"{name} closed {result.filled_holes:,} holes with {result.invented_triangles:,} "
                f"triangles ({result.invented_area_mm2:.4g} mm²) of invented surface: nobody "
                "measured it."
            )
            findings.append(Finding("invented-surface", "warning", text))
        if result.holes_left:
            text = f"{name} could not close {result.holes_left:,} holes of that size."
            findings.append(Finding("holes-left", "note", text))
        if isinstance(result.step, ChangeUnit):
            text = f"{name} took the numbers in {result.step.is_} instead of {result.step.was}."
            findings.append(Finding("unit-changed", "note", text))
    return findings
