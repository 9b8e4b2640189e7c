"""Which feature a grown patch is, and why."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn.datum.cone import fit_cone
from clearturn.datum.cylinder import fit_cylinder
from clearturn.datum.grow import Patch
from clearturn.datum.model import ConeFit, CylinderFit, Fit, PlaneFit, SphereFit
from clearturn.datum.plane import fit_plane
from clearturn.datum.sphere import fit_sphere
from clearturn.datum.spin import SpinAxis, spin_axis
from clearturn.errors import FitProblem
from clearturn.mesh import Mesh

Array = NDArray[np.float64]

SAMPLE = 4000  # points the candidates are compared on
NEAR = 20  # neighbours whose common curved surface tells the noise
ROUGH = 3.0  # a fit within this many times the noise explains the surface
ROUGH_SHARE = 2e-3  # or within this share of the patch's spread: noise that hangs together
AS_GOOD = 1.25  # a simpler feature is taken if its scale is within this factor of the best one
SAME_DEG = 0.3  # a cone that opens by less is a cylinder


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a patch looks like.

    Attributes
    ----------
    feature : str
        "plane", "cylinder", "cone", "sphere", "revolution" or "free form".
    fit : Fit, SpinAxis or None
        On all points of the patch; None for a free form.
    reason : str
        One sentence with the numbers that decided.
    scales_mm : dict of str to float
        Robust standard deviation about each candidate.
    noise_mm : float
        Standard deviation of points about the curved surface of their neighbours.
    """

    feature: str
    fit: Fit | SpinAxis | None
    reason: str
    scales_mm: dict[str, float]
    noise_mm: float


def propose_feature(mesh: Mesh, patch: Patch) -> Proposal:
    """Propose the simplest feature that explains a patch down to its noise.

    Candidates are fitted robustly to a sample; in the order plane, cylinder, sphere, cone the
    first whose scale is within a quarter of the best is taken, then a surface of revolution.

    Raises
    ------
    FitProblem
        If the patch has fewer than six points or no extent.
    """
    points = patch.points_mm
    if len(points) < 6:
        raise FitProblem("the patch is too small to tell what it is", found=f"{len(points)} points")
    rng = np.random.default_rng(31)
    sample = points
    if len(points) > SAMPLE:
        sample = points[np.sort(rng.choice(len(points), SAMPLE, replace=False))]
    noise = _noise(points, rng)
    fits = _candidates(sample)
    if not fits:
        raise FitProblem("nothing can be fitted to this patch", mend="grow it from another point")
    scales = {name: float(fit.scale_mm or 0.0) for name, fit in fits.items()}
    spread = math.sqrt(float(sample.var(axis=0).sum()))
    floor = max(min(scales.values()), 0.5 * noise, 1e-6)
    for name in ("plane", "cylinder", "sphere", "cone"):
        if name in scales and scales[name] <= AS_GOOD * floor and _fills(fits[name]):
            if min(scales.values()) > max(ROUGH * noise, ROUGH_SHARE * spread):
                break  # even the best leaves more than noise: look for a free outline
            reason = _reason(name, fits[name], scales, noise)
            return Proposal(name, _again(name, points), reason, scales, noise)
    return _revolution(mesh, patch, scales, noise)


def _candidates(points: Array) -> dict[str, Fit]:
    found: dict[str, Fit] = {}
    makers: dict[str, Callable[[], Fit]] = {
        "plane": lambda: fit_plane(points, robust=True, correlation=False),
        "cylinder": lambda: fit_cylinder(points, robust=True, correlation=False),
        "sphere": lambda: fit_sphere(points, robust=True, correlation=False),
        "cone": lambda: fit_cone(points, robust=True, correlation=False),
    }
    for name, make in makers.items():
        try:
            fit = make()
        except FitProblem:
            continue
        if isinstance(fit, ConeFit):
            half = float(fit.half_angle_deg or 0.0)
            sure = math.degrees(fit.standard_uncertainty.half_angle_rad or 0.0)
            if half < max(SAME_DEG, 3.0 * sure) or half > 85.0:
                continue
        found[name] = fit
    return found


def _fills(fit: Fit) -> bool:
    # A feature through a minority of the points explains nothing.
    return fit.used >= 0.7 * fit.points


def _noise(points: Array, rng: np.random.Generator) -> float:
    """Return the standard deviation of points about the curved surface of their neighbours."""
    from scipy.spatial import cKDTree

    if len(points) < NEAR:
        return 0.0
    chosen = rng.permutation(len(points))[:200]
    _, near = cKDTree(points).query(points[chosen], k=NEAR)
    local = points[near] - points[near].mean(axis=1, keepdims=True)
    _, _, rows = np.linalg.svd(local, full_matrices=False)
    x, y, z = np.moveaxis(local @ rows.transpose(0, 2, 1), 2, 0)
    size = np.abs(local).max(axis=(1, 2))[:, None]
    x, y = x / size, y / size
    design = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    answer = np.linalg.pinv(design, rcond=1e-6) @ z[..., None]
    left = z - (design @ answer)[..., 0]
    return math.sqrt(float(np.median((left**2).sum(axis=1))) / (NEAR - 6))


def _again(name: str, points: Array) -> Fit:
    makers = {
        "plane": fit_plane,
        "cylinder": fit_cylinder,
        "sphere": fit_sphere,
        "cone": fit_cone,
    }
    fit: Fit = makers[name](points, robust=True)  # type: ignore[operator]
    return fit


def _reason(name: str, fit: Fit, scales: dict[str, float], noise: float) -> str:
    others = ", ".join(
        f"{other} {scale:.3f} mm" for other, scale in scales.items() if other != name
    )
    size = ""
    if isinstance(fit, CylinderFit | SphereFit):
        size = f" of radius {fit.radius_mm:.2f} mm"
    if isinstance(fit, ConeFit):
        size = f" of half angle {fit.half_angle_deg:.2f}°"
    if isinstance(fit, PlaneFit):
        size = ""
    text = (
        f"A {name}{size} leaves {scales[name]:.3f} mm (robust standard deviation), the surface's "
        f"own roughness is {noise:.3f} mm"
    )
    return text + (f"; {others}." if others else ".")


def _revolution(mesh: Mesh, patch: Patch, scales: dict[str, float], noise: float) -> Proposal:
    least = min(scales.values())
    name = min(scales, key=lambda key: scales[key])
    try:
        axis = spin_axis(mesh, patch.faces)
    except FitProblem:
        axis = None
    if axis is not None and axis.share > 0.8 and axis.scale_mm <= max(3.0 * noise, 0.5 * least):
        reason = (
            f"{axis.share:.0%} of the normals meet one axis and the outline repeats within "
            f"{axis.scale_mm:.3f} mm; the best simple feature, a {name}, leaves {least:.3f} mm."
        )
        return Proposal("revolution", axis, reason, scales, noise)
    reason = (
        f"The best simple feature, a {name}, leaves {least:.3f} mm where the surface's own "
        f"roughness is {noise:.3f} mm, and no axis of revolution stands out."
    )
    return Proposal("free form", None, reason, scales, noise)
