"""Least squares for a plane."""

from __future__ import annotations

from numpy.typing import ArrayLike

from clearturn.datum.fit import Options, fit_feature
from clearturn.datum.model import PlaneFit
from clearturn.datum.shape import Kind


def fit_plane(
    points: ArrayLike,
    *,
    robust: bool = False,
    correlation: bool = True,
) -> PlaneFit:
    """Fit a plane by least squares of distances.

    Parameters
    ----------
    points : (n, 3) array_like
        mm.  At least 3 points, not on one line.
    robust : bool
        Start from a consensus and down-weight outliers (Tukey's weights).
    correlation : bool
        Judge how residuals hang together and widen the uncertainty by it; else every point
        counts as independent.

    Returns
    -------
    PlaneFit

    Raises
    ------
    FitProblem
        If the points do not determine a plane.
    """
    options = Options(
        robust=robust,
        correlation=correlation,
    )
    return fit_feature(PlaneFit, Kind.PLANE, points, options)
