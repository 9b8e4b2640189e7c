"""Least squares for a sphere."""

from __future__ import annotations

from numpy.typing import ArrayLike

from clearturn.datum.fit import REFUSED_ARC_DEG, Options, fit_feature
from clearturn.datum.model import SphereFit
from clearturn.datum.shape import Kind


def fit_sphere(
    points: ArrayLike,
    *,
    robust: bool = False,
    least_arc_deg: float = REFUSED_ARC_DEG,
    correlation: bool = True,
) -> SphereFit:
    """Fit a sphere by least squares of distances.

    Parameters
    ----------
    points : (n, 3) array_like
        mm.  At least 4 points, not in one plane.
    robust : bool
        Start from a consensus and down-weight outliers (Tukey's weights).
    least_arc_deg : float
        Shorter caps are refused.
    correlation : bool
        Judge how residuals hang together and widen the uncertainty by it; else every point
        counts as independent.

    Returns
    -------
    SphereFit

    Raises
    ------
    FitProblem
        If the points do not determine a sphere.
    """
    options = Options(
        robust=robust,
        least_arc_deg=least_arc_deg,
        correlation=correlation,
    )
    return fit_feature(SphereFit, Kind.SPHERE, points, options)
