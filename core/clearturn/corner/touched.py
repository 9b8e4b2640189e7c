"""What was touched on a scan: the place, the smooth patch around it, and what that looks like."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.corner.faces import clean, patch_at, piece_of, same_piece
from clearturn.corner.frames import fit_datum, fit_patches, patches_of
from clearturn.corner.sources import Source
from clearturn.datum import (
    Fit,
    Patch,
    Proposal,
    SpinAxis,
    StandardUncertainty,
    fit_cylinder,
    fit_plane,
    propose_feature,
)
from clearturn.datum.shape import frame_along
from clearturn.errors import FitProblem
from clearturn.job.model import Datum, DropBand, FillHoles, TurnFlippedPieces, Vec3
from clearturn.progress import Progress, part
from clearturn.scan.ray import first_hit

Array = NDArray[np.float64]
_BEYOND_MM = 15.0  # a centre line goes beyond what it is of


@dataclass(frozen=True, slots=True)
class Touched:
    """One touch on a scan.

    Attributes
    ----------
    scan : str
    seed_mm : vector
        The touched place as the job keeps it, in the scan's coordinates, to a hundredth.
    patch : Patch
    proposal : Proposal or None
        What the patch is; None where a piece was asked for.
    faces : (k,) ndarray of int
        What lights up: those of the patch or of the piece.
    """

    scan: str
    seed_mm: Vec3
    patch: Patch
    proposal: Proposal | None
    faces: NDArray[np.int64]


def touch(
    source: Source,
    origin_mm: ArrayLike,
    direction: ArrayLike,
    *,
    piece: bool = False,
    progress: Progress | None = None,
) -> Touched | None:
    """Return what a line of sight touches on a scan, or None where it meets nothing.

    Parameters
    ----------
    source : Source
        What its cleaning left out cannot be touched.
    origin_mm, direction : (3,) array_like
        The line of sight, in the scan's coordinates.
    piece : bool
        Take the connected piece and ask for no feature.

    Raises
    ------
    FitProblem
        If the patch is too small to tell what it is.
    """
    hit = first_hit(source.mesh, origin_mm, direction, source.kept)
    if hit is None:
        return None
    # The middle of the triangle: growing starts at the face with the nearest centre.
    centre = source.mesh.vertices[source.mesh.faces[hit.face]].mean(axis=0)
    seed = _rounded(centre)
    patch = patch_at(source.mesh, seed, progress=part(progress, 0.0, 0.6))
    if piece:
        whole = np.flatnonzero(same_piece(source.mesh, seed) & source.kept)
        return Touched(source.scan.name, seed, patch, None, whole)
    proposal = propose_feature(source.mesh, patch)
    kept = patch.faces[source.kept[patch.faces]].astype(np.int64)
    return Touched(source.scan.name, seed, patch, proposal, kept)


def joined(touched: Touched, datum: Datum, source: Source) -> Touched:
    """Return a touch as what it is together with the patches of a datum it is to be joined to.

    Parameters
    ----------
    datum : Datum
        As it stands; another feature than the touched one leaves the touch as it is.

    Raises
    ------
    FitProblem
        If all patches together do not determine the feature.
    """
    if touched.proposal is None or touched.proposal.feature != datum.feature:
        return touched
    fit = fit_datum(replace(datum, seeds_mm=(*datum.seeds_mm, touched.seed_mm)), source)
    return replace(touched, proposal=replace(touched.proposal, fit=fit))


def _rounded(point: Array) -> Vec3:
    x, y, z = (round(float(value), 2) for value in point)
    return x, y, z


def outward_at(source: Source, seed_mm: ArrayLike) -> Vec3:
    """Return the mean unit normal of the smooth patch around a touched place, a face.

    Raises
    ------
    FitProblem
        If its normals look to all sides.
    """
    patch = patch_at(source.mesh, seed_mm)
    corners = source.mesh.vertices[source.mesh.faces[patch.faces]]
    total = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
    size = float(np.linalg.norm(total))
    if not size > 0.5 * patch.area_mm2:
        raise FitProblem("the touched patch looks to no side", mend="touch another place")
    x, y, z = (round(float(value), 4) for value in total / size)
    return x, y, z


def reach_mm(source: Source, seed_mm: ArrayLike, axis: Fit) -> float:
    """Return the greatest distance of a touched patch from an axis, mm: a pad's outer radius."""
    # All its corners: those a fit takes end a row of triangles before the rim.
    rim = source.mesh.faces[patch_at(source.mesh, seed_mm).faces]
    off = source.mesh.vertices[np.unique(rim)] - axis.point_mm
    if axis.direction is not None:
        off = off - np.outer(off @ axis.direction, axis.direction)
    return float(np.linalg.norm(off, axis=1).max())


@dataclass(frozen=True, slots=True)
class Spin:
    """Where radii and heights on a scan are counted from.

    Attributes
    ----------
    origin_mm : (3,) ndarray
        Where the axis meets the hub face or the wheel's pad.
    outboard : (3,) ndarray
        Unit vector.
    """

    origin_mm: Array
    outboard: Array

    def r_z(self, point_mm: ArrayLike) -> tuple[float, float]:
        """Return radius and height of a place on the scan, mm."""
        off = np.asarray(point_mm, dtype=np.float64) - self.origin_mm
        z = float(off @ self.outboard)
        return float(np.linalg.norm(off - z * self.outboard)), z


def spin_of(source: Source, face_mm: ArrayLike, axis_mm: ArrayLike, *, wheel: bool) -> Spin:
    """Return the axis of a touched round surface, from the flat it stands on.

    Parameters
    ----------
    face_mm, axis_mm : (3,) array_like
        Where hub face (or pad) and register (or bore) were touched.
    wheel : bool
        The pad of a wheel looks inboard, a hub face outboard.

    Raises
    ------
    FitProblem
        If they make no axis that meets a plane.
    """
    face = fit_plane(patch_at(source.mesh, face_mm).points_mm, robust=True)
    axis = fit_cylinder(patch_at(source.mesh, axis_mm).points_mm, robust=True)
    outward = np.asarray(outward_at(source, face_mm)) * (-1.0 if wheel else 1.0)
    slope = float(axis.axes[2] @ face.axes[2])
    if abs(slope) < 0.2:
        raise FitProblem("the axis lies along the plane", mend="touch one of them anew")
    along = float((face.point_mm - axis.point_mm) @ face.axes[2]) / slope
    way = axis.axes[2] * np.sign(axis.axes[2] @ outward)
    return Spin(axis.point_mm + along * axis.axes[2], way)


def pieces_left(source: Source) -> tuple[int, ...]:
    """Return how many triangles each piece keeps that the cleaning left, the largest first."""
    counts = np.bincount(piece_of(source.mesh)[source.kept])
    return tuple(int(count) for count in -np.sort(-counts[counts > 0]))


def removed_by(source: Source) -> tuple[str, ...]:
    """Return in words what each cleaning step of a scan took away."""
    steps, mesh = source.scan.cleaning, source.file_mesh or source.mesh
    labels = piece_of(mesh)
    before = clean(mesh, ())
    told = []
    for count, step in enumerate(steps, 1):
        if isinstance(step, DropBand):
            told.append("taken away where the scan's frame is known")
            continue
        after = clean(mesh, steps[:count])
        if isinstance(step, FillHoles):
            made = len(after.kept) - len(before.kept)
            many = "s" * (made != 1)
            told.append(f"{made:,} triangle{many} of invented surface added: nobody measured it")
        elif isinstance(step, TurnFlippedPieces):
            turned = (after.mesh.faces[: len(labels)] != before.mesh.faces[: len(labels)]).any(1)
            told.append(f"{int(turned.sum()):,} triangles turned")
        else:
            kept = after.kept[: len(labels)]
            gone = before.kept[: len(labels)] & ~kept
            pieces = len(np.setdiff1d(np.unique(labels[gone]), np.unique(labels[kept])))
            told.append(
                f"{int(gone.sum()):,} triangles left out, {pieces} whole piece{'s' * (pieces != 1)}"
            )
        before = after
    return tuple(told)


@dataclass(frozen=True, slots=True)
class FeatureLines:
    """How a feature is drawn in space.

    Attributes
    ----------
    axis : (2, 3) ndarray or None
        Ends of its axis, a little beyond the patch.
    outline : (5, 3) ndarray or None
        Closed rectangle on a plane, around the patch.
    """

    axis: Array | None
    outline: Array | None


def feature_lines(proposal: Proposal, patch: Patch) -> FeatureLines:
    """Return the axis line of a round feature, or the outline of a plane."""
    return _lines(proposal.feature, proposal.fit, patch.points_mm)


def _lines(feature: str, fit: Fit | SpinAxis | None, points: Array) -> FeatureLines:
    if fit is None or fit.direction is None:
        return FeatureLines(None, None)
    off = points - fit.point_mm
    if feature != "plane":
        along = off @ fit.direction
        ends = np.array([along.min() - _BEYOND_MM, along.max() + _BEYOND_MM])
        return FeatureLines(fit.point_mm + np.outer(ends, fit.direction), None)
    frame = frame_along(fit.direction)
    u, v = off @ frame[0], off @ frame[1]
    corners = np.array([(u.min(), v.min()), (u.max(), v.min()), (u.max(), v.max()),
                        (u.min(), v.max()), (u.min(), v.min())])  # fmt: skip
    return FeatureLines(None, fit.point_mm + corners @ frame[:2])


def datum_drawn(
    datum: Datum, source: Source, progress: Progress | None = None
) -> tuple[FeatureLines, NDArray[np.int64]]:
    """Return how a datum is drawn, fitted as a check fits it, and the faces of its patches.

    Raises
    ------
    FitProblem
        If its patches do not determine the feature.
    """
    patches = patches_of(datum, source, progress)
    fit = fit_patches(datum, source, patches)
    points = np.concatenate([patch.points_mm for patch in patches])
    faces = np.unique(np.concatenate([patch.faces for patch in patches])).astype(np.int64)
    return _lines(datum.feature, fit, points), faces[source.kept[faces]]


def feature_words(proposal: Proposal, *, exact: bool = False) -> str:
    """Return what a patch is, with its size and how well it fits, in one line.

    Parameters
    ----------
    exact : bool
        It was drawn, not measured: nothing is told of its fit.
    """
    fit = proposal.fit
    if fit is None:
        return "a free form: no simple feature fits it"
    words = [proposal.feature]
    radius = getattr(fit, "radius_mm", None)
    # U = 2 u, radii told as diameters
    sure = getattr(fit, "standard_uncertainty", None)
    if radius is not None:
        words = [f"{proposal.feature} Ø {2.0 * radius:.2f}{_u(sure, 'radius_mm', 4.0, 'mm')}"]
        if exact:
            return f"{proposal.feature} Ø {2.0 * radius:.2f} mm"
    if exact:
        return proposal.feature
    if proposal.feature == "plane":
        words.append(f"place{_u(sure, 'point_mm', 2.0, 'mm') or ' unsure'}")
    words.append(f"direction{_u(sure, 'direction_rad', 2e3, 'mrad') or ' unsure'}")
    half = getattr(fit, "half_angle_deg", None)
    if half is not None:
        words[0] += f", half angle {half:.2f}°"
    rms = getattr(fit, "rms_mm", None)
    if rms is not None:
        words.append(f"rms {rms:.3f}, form {fit.form_mm:.3f} mm")  # type: ignore[union-attr]
    return ", ".join(words)


def _u(sure: StandardUncertainty | None, name: str, factor: float, unit: str) -> str:
    value = getattr(sure, name, None)
    if value is None or not math.isfinite(value):
        return ""
    return f" ±{factor * value:.3f} {unit}"
