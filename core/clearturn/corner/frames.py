"""From touched points to frames: every datum fitted, the hub and wheel frames made of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.faces import patch_at
from clearturn.corner.pairs import FrameUncertainty
from clearturn.corner.sources import Source, transform
from clearturn.datum import (
    Fit,
    Frame,
    Patch,
    PlaneFit,
    fit_circle,
    fit_cone,
    fit_cylinder,
    fit_line,
    fit_plane,
    fit_sphere,
    hub_frame,
    wheel_frame,
)
from clearturn.errors import FitProblem, InputError, JobProblem
from clearturn.findings import Finding
from clearturn.job import model
from clearturn.progress import Progress, part, report
from clearturn.result import DatumResult
from clearturn.steps import KeptSteps, kept_step

Array = NDArray[np.float64]

_FITS = {
    "plane": fit_plane,
    "line": fit_line,
    "circle": fit_circle,
    "cylinder": fit_cylinder,
    "cone": fit_cone,
    "sphere": fit_sphere,
}
_UNKNOWN_MM, _UNKNOWN_RAD = 10.0, 0.1  # wider than any gap that matters
_UP_TOLERANCE_DEG = 30.0  # a stated "up" is a rough direction, a wrong clock angle is not


@dataclass(frozen=True, slots=True)
class Frames:
    """Where the scans of a corner sit, and how sure that is.

    Attributes
    ----------
    fits : mapping of str to Fit
        By datum name, in the coordinates of the datum's scan.
    hub_from_scan : mapping of str to (4, 4) ndarray
        By scan name; a wheel's scan at its seat in the stack.
    frame_from_scan : mapping of str to (4, 4) ndarray
        By scan name, into the frame its bands are given in: hub frame, or the wheel's own.
    wheel_scan : str or None
        Name of the scan placed by the wheel frame.
    uncertainty : mapping of str to FrameUncertainty
        "hub" and "wheel", about the hub frame's origin.
    findings : tuple of Finding
    """

    fits: Mapping[str, Fit]
    hub_from_scan: Mapping[str, Array]
    frame_from_scan: Mapping[str, Array]
    wheel_scan: str | None
    uncertainty: Mapping[str, FrameUncertainty]
    findings: tuple[Finding, ...]


def fit_datums(
    corner: model.Corner,
    sources: Mapping[str, Source],
    progress: Progress | None = None,
    steps: KeptSteps | None = None,
) -> dict[str, Fit]:
    """Fit every datum of a corner, in the coordinates of its scan.

    Parameters
    ----------
    steps : KeptSteps, optional
        What earlier checks fitted.

    Raises
    ------
    JobProblem
        If a patch does not determine its feature; the message names the datum.
    """
    fits = {}
    for i, datum in enumerate(corner.datums):
        here = part(progress, i / len(corner.datums), (i + 1) / len(corner.datums))
        report(here, 0.0, f"fitting {datum.name}")
        try:
            source = sources[datum.scan]
            work = partial(fit_datum, datum, source, here)
            fits[datum.name] = kept_step(steps, "datum", work, datum, source)
        except InputError as error:
            raise JobProblem(
                error.problem,
                place=f"datum {datum.name!r}",
                found=error.found,
                allowed=error.allowed,
                mend=error.mend or "touch another place or another feature",
            ) from None
    return fits


def fit_datum(datum: model.Datum, source: Source, progress: Progress | None = None) -> Fit:
    """Fit one datum through all its patches, in the coordinates of its scan.

    Raises
    ------
    FitProblem
        If its patches do not determine the feature.
    """
    return fit_patches(datum, source, patches_of(datum, source, progress))


def patches_of(
    datum: model.Datum, source: Source, progress: Progress | None = None
) -> tuple[Patch, ...]:
    """Grow the patches of a datum, one for each touched point."""
    return tuple(
        patch_at(source.mesh, seed, datum.normal_deg, datum.limit_mm, progress)
        for seed in datum.seeds_mm
    )


def fit_patches(datum: model.Datum, source: Source, patches: Sequence[Patch]) -> Fit:
    """Fit one datum through patches that are grown already; see `fit_datum`."""
    mesh = source.mesh
    chosen = np.zeros(len(mesh.vertices), dtype=np.bool_)
    for patch in patches:
        chosen[patch.vertices] = True
    left_out = np.ones(len(mesh.vertices), dtype=np.bool_)
    left_out[mesh.faces[source.kept]] = False
    points = mesh.vertices[chosen & ~left_out]
    if len(points) == 0:
        raise FitProblem("no surface was found at the touched points")
    fit: Fit = _FITS[datum.feature](points, robust=datum.robust)
    return fit


def hub_scan(corner: model.Corner) -> str | None:
    """Return the name of the scan that the hub frame's datums lie on, or None."""
    if corner.hub_frame is None:
        return None
    return next((d.scan for d in corner.datums if d.name == corner.hub_frame.plane), None)


def find_frames(corner: model.Corner, fits: Mapping[str, Fit]) -> Frames:
    """Make the frames of a corner from its fitted datums.

    Raises
    ------
    JobProblem
        If datums do not make a frame (parallel, without length …).
    """
    datums = {datum.name: datum for datum in corner.datums}
    hub_from: dict[str, Array] = {}
    frame_from: dict[str, Array] = {}
    uncertainty: dict[str, FrameUncertainty] = {}
    findings: list[Finding] = []
    for scan in corner.scans:
        if scan.hub_from_scan is not None:
            hub_from[scan.name] = frame_from[scan.name] = transform(scan.hub_from_scan)
    if corner.hub_frame is not None:
        name = datums[corner.hub_frame.plane].scan
        frame = _hub(corner.hub_frame, fits)
        hub_from[name] = frame_from[name] = np.asarray(frame.hub_from_scan)
        uncertainty["hub"] = FrameUncertainty(
            "hub", _finite(frame.covariance, "hub", findings), f"datums of the {name} scan"
        )
        findings += frame.findings
        findings += _up_findings(corner.hub_frame, np.asarray(frame.hub_from_scan))
    wheel_scan = None
    if corner.wheel_frame is not None and corner.seat_stack is not None:
        wheel_scan = datums[corner.wheel_frame.pad].scan
        frame = _wheel(corner.wheel_frame, fits)
        seat = np.eye(4)
        seat[2, 3] = corner.seat_stack.pad_z_mm
        frame_from[wheel_scan] = np.asarray(frame.hub_from_scan)
        hub_from[wheel_scan] = seat @ frame_from[wheel_scan]
        covariance = _finite(frame.covariance, "wheel", findings)
        uncertainty["wheel"] = FrameUncertainty(
            "wheel",
            about_origin(covariance, np.array([0.0, 0.0, corner.seat_stack.pad_z_mm])),
            f"datums of the {wheel_scan} scan",
        )
        findings += frame.findings
    return Frames(fits, hub_from, frame_from, wheel_scan, uncertainty, tuple(findings))


def about_origin(covariance: Array, centre: Array) -> Array:
    """Return a pose's covariance about the origin instead of about `centre`.

    A small move t and turn w about c moves a point p by t + w × (p − c) = (t + c × w) + w × p.

    Parameters
    ----------
    covariance : (6, 6) ndarray
        Order tx, ty, tz, wx, wy, wz.
    centre : (3,) ndarray
        mm.
    """
    x, y, z = centre
    jacobian = np.eye(6)
    jacobian[:3, 3:] = [[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]]
    return np.asarray(jacobian @ covariance @ jacobian.T)


def _hub(spec: model.HubFrame, fits: Mapping[str, Fit]) -> Frame:
    try:
        clocking = fits[spec.clocking]
        across = clocking.standard_uncertainty.point_mm
        return hub_frame(
            _plane(fits, spec.plane),
            fits[spec.axis],
            clocking.point_mm,
            spec.clock_deg,
            spec.outboard,
            clocking_standard_mm=across if across is not None and math.isfinite(across) else 0.0,
        )
    except InputError as error:
        raise JobProblem(
            error.problem, place="hub_frame", found=error.found, allowed=error.allowed,
            mend=error.mend,
        ) from None  # fmt: skip


def _wheel(spec: model.WheelFrame, fits: Mapping[str, Fit]) -> Frame:
    try:
        return wheel_frame(_plane(fits, spec.pad), fits[spec.bore], spec.outboard)
    except InputError as error:
        raise JobProblem(
            error.problem, place="wheel_frame", found=error.found, allowed=error.allowed,
            mend=error.mend,
        ) from None  # fmt: skip


def _plane(fits: Mapping[str, Fit], name: str) -> PlaneFit:
    fit = fits[name]
    if not isinstance(fit, PlaneFit):  # the rules of the job file refuse it before
        raise JobProblem("a frame needs a plane", place=f"datum {name!r}", found=fit.feature)
    return fit


def _finite(covariance: Array, frame: str, findings: list[Finding]) -> Array:
    if np.isfinite(covariance).all():
        return covariance
    findings.append(
        Finding(
            "frame-uncertainty-unknown",
            "error",
            f"the datums of the {frame} frame have too few points to judge their uncertainty; "
            f"it is taken as {_UNKNOWN_MM:g} mm and {_UNKNOWN_RAD:g} rad, so that nothing near is "
            "proven: touch more places",
        )
    )
    return np.diag([_UNKNOWN_MM**2] * 3 + [_UNKNOWN_RAD**2] * 3)


def _up_findings(spec: model.HubFrame, hub_from_scan: Array) -> list[Finding]:
    if spec.up is None:
        return []
    up = hub_from_scan[:3, :3] @ np.asarray(spec.up, dtype=np.float64)
    off = math.degrees(math.atan2(up[0], up[1]))
    if abs(off) <= _UP_TOLERANCE_DEG:
        return []
    return [
        Finding(
            "up-disagrees",
            "error",
            f"the stated up points to clock {off % 360.0:.0f}° of the frame that the clock angle "
            f"{spec.clock_deg:g}° of {spec.clocking!r} makes; one of the two is wrong, or the side",
        )
    ]


def datum_results(corner: model.Corner, fits: Mapping[str, Fit]) -> tuple[DatumResult, ...]:
    """Return every fitted datum as it stands in the result."""
    return tuple(
        DatumResult(
            part=datum.scan,
            name=datum.name,
            feature=datum.feature,
            rms_mm=fits[datum.name].rms_mm,
            form_mm=fits[datum.name].form_mm,
            points=fits[datum.name].points,
            effective_points=fits[datum.name].effective_points,
            standard_uncertainty=_in_words(fits[datum.name]),
            findings=fits[datum.name].findings,
        )
        for datum in corner.datums
    )


def _in_words(fit: Fit) -> str:
    u = fit.standard_uncertainty
    words = [
        ("place", u.point_mm, 1.0, "mm"),
        ("direction", u.direction_rad, 1e3, "mrad"),
        ("radius", u.radius_mm, 1.0, "mm"),
        ("half angle", u.half_angle_rad, 1e3, "mrad"),
    ]
    told = [
        f"{name} ±{value * factor:.4f} {unit}"
        for name, value, factor, unit in words
        if value is not None and math.isfinite(value)
    ]
    return ", ".join(told) or "not known: too few points"


def noise_of(
    scan: model.Scan, corner: model.Corner, fits: Mapping[str, Fit]
) -> tuple[float, float | None]:
    """Return the standard deviation of a scan's surface and its correlation length L, mm.

    Where the job does not state it: the least of the scan's datum fits, since the form errors of
    the part can only add to it.  A small feature follows the noise, so only fits with many
    effective points are asked if there are any, and what the fit has taken up is given back.  L is
    that of ρ(d) = exp(−d²/2L²), which falls to 1/e at √2 L; None if no fit tells it.
    """
    own = [(d.feature, fits[d.name]) for d in corner.datums if d.scan == scan.name]
    many = [one for one in own if one[1].effective_points >= _MANY_POINTS] or own
    found = min(
        (
            (_given_back(fit.rms_mm, fit.effective_points, _UNKNOWNS[feature]), fit)
            for feature, fit in many
        ),
        key=lambda one: one[0],
        default=None,
    )
    if found is None:
        return scan.noise_mm or 0.0, None
    wide = max((fit for _, fit in many), key=lambda fit: fit.effective_points).correlation_mm
    sigma = found[0] if scan.noise_mm is None else scan.noise_mm
    return sigma, None if wide is None else wide / math.sqrt(2.0)


_MANY_POINTS = 50.0
_UNKNOWNS = {"plane": 3, "line": 4, "cylinder": 5, "circle": 6, "cone": 6, "sphere": 4}


def _given_back(rms_mm: float, effective_points: float, unknowns: int) -> float:
    return rms_mm * math.sqrt(effective_points / max(effective_points - unknowns, 1.0))
