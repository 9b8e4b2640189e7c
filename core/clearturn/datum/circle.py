"""Least squares for a circle in space."""

from __future__ import annotations

from numpy.typing import ArrayLike

from clearturn.datum.fit import REFUSED_ARC_DEG, Options, fit_feature
from clearturn.datum.model import CircleFit
from clearturn.datum.shape import Kind


def fit_circle(
    points: ArrayLike,
    *,
    robust: bool = False,
    least_arc_deg: float = REFUSED_ARC_DEG,
    correlation: bool = True,
) -> CircleFit:
    """Fit a circle in space by least squares of distances.

    Parameters
    ----------
    points : (n, 3) array_like
        mm.  Distances in space, so the plane and the circle are found together.  At least 3 points.
    robust : bool
        Start from a consensus and down-weight outliers (Tukey's weights).
    least_arc_deg : float
        Shorter arcs are refused.
    correlation : bool
        Judge how residuals hang together and widen the uncertainty by it; else every point
        counts as independent.

    Returns
    -------
    CircleFit

    Raises
    ------
    FitProblem
        If the points do not determine a circle in space.
    """
    options = Options(
        robust=robust,
        least_arc_deg=least_arc_deg,
        correlation=correlation,
    )
    return fit_feature(CircleFit, Kind.CIRCLE, points, options)
