"""Choosing faces of a scan: by patch, by a band about the axis, by piece; and cleaning."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.corner.band import Mask, in_band
from clearturn.datum import Patch, grow_patch, nearest_face
from clearturn.job.model import (
    BandFaces,
    CleaningStep,
    DropBand,
    DropBox,
    DropPiece,
    DropSmallPieces,
    FaceChoice,
    KeepBox,
    PatchFaces,
    PieceFaces,
)
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.scan import piece_labels


def piece_of(mesh: Mesh) -> NDArray[np.int32]:
    """Return the label of every face's connected piece, (m,)."""
    return mesh.cached("piece labels", lambda: piece_labels(mesh))


def same_piece(mesh: Mesh, seed_mm: ArrayLike) -> Mask:
    """Return the faces of the piece nearest to a touched point, (m,)."""
    labels = piece_of(mesh)
    return np.asarray(labels == labels[nearest_face(mesh, seed_mm)[0]], dtype=np.bool_)


def clean(mesh: Mesh, steps: Iterable[CleaningStep]) -> Mask:
    """Return which faces the recorded steps keep, (m,); bands need a frame and are left out.

    Parameters
    ----------
    mesh : Mesh
        In the scan's own coordinates.
    """
    kept = np.ones(len(mesh.faces), dtype=np.bool_)
    for step in steps:
        match step:
            case DropSmallPieces():
                labels = piece_of(mesh)
                kept &= np.bincount(labels)[labels] >= step.below_triangles
            case DropPiece():
                kept &= ~same_piece(mesh, step.seed_mm)
            case KeepBox():
                kept &= _in_box(mesh, step)
            case DropBox():
                kept &= ~_in_box(mesh, step)
            case DropBand():
                pass
    return kept


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
