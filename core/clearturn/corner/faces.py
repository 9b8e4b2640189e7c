"""Choosing faces of a scan: by patch, by a band about the axis, by piece; and cleaning."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.corner.band import Mask, in_band
from clearturn.datum import Patch, grow_patch, nearest_face
from clearturn.findings import Finding
from clearturn.job.model import (
    BandFaces,
    CleaningStep,
    DropBadTriangles,
    DropBand,
    DropBeyondPlane,
    DropBox,
    DropPiece,
    DropSmallPieces,
    FaceChoice,
    FillHoles,
    KeepBox,
    PatchFaces,
    PieceFaces,
    TurnFlippedPieces,
)
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.scan import piece_labels
from clearturn.scan._kernels_survey import GOOD
from clearturn.scan.cleaning import flipped_faces
from clearturn.scan.holes import close_holes
from clearturn.scan.inventory import triangle_states


def piece_of(mesh: Mesh) -> NDArray[np.int32]:
    """Return the label of every face's connected piece, (m,)."""
    return mesh.cached("piece labels", lambda: piece_labels(mesh))


def same_piece(mesh: Mesh, seed_mm: ArrayLike) -> Mask:
    """Return the faces of the piece nearest to a touched point, (m,)."""
    labels = piece_of(mesh)
    return np.asarray(labels == labels[nearest_face(mesh, seed_mm)[0]], dtype=np.bool_)


@dataclass(frozen=True, slots=True)
class Cleaned:
    """A scan as its recorded steps leave it.

    Attributes
    ----------
    mesh : Mesh
        Every face of the file in its order, flipped pieces turned; then the invented faces.
    kept : (m,) ndarray of bool
    invented : (m,) ndarray of bool
        Faces that close holes: surface nobody measured.
    findings : tuple of Finding
    """

    mesh: Mesh
    kept: Mask
    invented: Mask
    findings: tuple[Finding, ...] = ()


def clean(mesh: Mesh, steps: Iterable[CleaningStep], progress: Progress | None = None) -> Cleaned:
    """Apply the recorded steps; bands need a frame and are left out.

    Parameters
    ----------
    mesh : Mesh
        As the file has it, in the scan's own coordinates.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    now = Cleaned(mesh, _all(mesh, kept=True), _all(mesh, kept=False))
    for step in steps:
        match step:
            case DropBand():
                pass
            case TurnFlippedPieces():
                now = _turned(now, progress)
            case FillHoles():
                now = _filled(now, step.up_to_mm, progress)
            case _:
                now = replace(now, kept=now.kept & _left(now.mesh, step, progress))
    return now


def _all(mesh: Mesh, *, kept: bool) -> Mask:
    return np.full(len(mesh.faces), kept, dtype=np.bool_)


def _left(mesh: Mesh, step: CleaningStep, progress: Progress | None) -> Mask:
    match step:
        case DropSmallPieces():
            labels = piece_of(mesh)
            return np.asarray(np.bincount(labels)[labels] >= step.below_triangles)
        case DropPiece():
            return ~same_piece(mesh, step.seed_mm)
        case DropBadTriangles():
            return np.asarray(triangle_states(mesh, progress) == GOOD)
        case DropBeyondPlane():
            beyond = (mesh.vertices - np.asarray(step.point_mm)) @ np.asarray(step.normal) > 0.0
            return np.asarray(~beyond[mesh.faces].all(axis=1))
        case KeepBox():
            return _in_box(mesh, step)
        case DropBox():
            return ~_in_box(mesh, step)
        case _:
            return _all(mesh, kept=True)


def _turned(now: Cleaned, progress: Progress | None) -> Cleaned:
    mesh = now.mesh
    rows = np.flatnonzero(now.kept)
    rows = rows[flipped_faces(Mesh(mesh.vertices, mesh.faces[rows]), progress)]
    if len(rows) == 0:
        return now
    faces = mesh.faces.copy()
    faces[rows] = faces[rows][:, [0, 2, 1]]
    return replace(now, mesh=Mesh(mesh.vertices, faces, mesh.name))


def _filled(now: Cleaned, up_to_mm: float, progress: Progress | None) -> Cleaned:
    mesh = now.mesh
    made = close_holes(Mesh(mesh.vertices, mesh.faces[now.kept]), up_to_mm, progress)
    findings = list(now.findings)
    if made.holes:
        text = (
            f"{made.holes:,} holes of the scan are closed with {len(made.faces):,} triangles "
            f"({made.area_mm2:.4g} mm²) of invented surface: nobody measured it"
        )
        findings.append(Finding("invented-surface", "warning", text))
    if made.left:
        text = f"{made.left:,} holes of up to {up_to_mm:g} mm could not be closed"
        findings.append(Finding("holes-left", "note", text))
    more = np.ones(len(made.faces), dtype=np.bool_)
    return Cleaned(
        Mesh(mesh.vertices, np.concatenate([mesh.faces, made.faces]), mesh.name),
        np.concatenate([now.kept, more]),
        np.concatenate([now.invented, more]),
        tuple(findings),
    )


def clean_by_band(placed: Mesh, steps: Iterable[CleaningStep], kept: Mask) -> Mask:
    """Return `kept` without what the recorded bands drop; `placed` is in its frame."""
    kept = kept.copy()
    for step in steps:
        if isinstance(step, DropBand):
            inside = in_band(placed.vertices, step.band)
            kept &= ~inside[placed.faces].all(axis=1)
    return kept


def choose(
    mesh: Mesh,
    placed: Mesh,
    choice: FaceChoice,
    free: Mask,
    progress: Progress | None = None,
) -> Mask:
    """Return the faces one choice takes, (m,).

    Parameters
    ----------
    mesh : Mesh
        The scan in its own coordinates.
    placed : Mesh
        The same faces in their frame.
    choice : patch, band, piece or rest
    free : (m,) ndarray of bool
        Kept faces that no earlier part has taken.
    """
    match choice:
        case PatchFaces():
            patch = patch_at(mesh, choice.seed_mm, choice.normal_deg, choice.limit_mm, progress)
            taken = np.zeros(len(mesh.faces), dtype=np.bool_)
            taken[patch.faces] = True
            return taken & free
        case BandFaces():
            return in_band(placed.corners.mean(axis=1), choice.band) & free
        case PieceFaces():
            return same_piece(mesh, choice.seed_mm) & free
        case _:
            return free.copy()


def patch_at(
    mesh: Mesh,
    seed_mm: ArrayLike,
    normal_deg: float | None = None,
    limit_mm: float | None = None,
    progress: Progress | None = None,
) -> Patch:
    """Return the smooth patch around a touched point; None keeps the program's own limits."""
    if normal_deg is None:
        return grow_patch(mesh, seed_mm, limit_mm=limit_mm, progress=progress)
    return grow_patch(mesh, seed_mm, normal_deg=normal_deg, limit_mm=limit_mm, progress=progress)


def _in_box(mesh: Mesh, step: KeepBox | DropBox) -> Mask:
    above = mesh.vertices >= np.asarray(step.from_mm)
    below = mesh.vertices <= np.asarray(step.to_mm)
    inside = np.asarray((above & below).all(axis=1))
    return np.asarray(inside[mesh.faces].all(axis=1), dtype=np.bool_)
