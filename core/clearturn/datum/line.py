"""Least squares for a straight line."""

from __future__ import annotations

from numpy.typing import ArrayLike

from clearturn.datum.fit import Options, fit_feature
from clearturn.datum.model import LineFit
from clearturn.datum.shape import Kind


def fit_line(
    points: ArrayLike,
    *,
    robust: bool = False,
    correlation: bool = True,
) -> LineFit:
    """Fit a straight line by least squares of distances.

    Parameters
    ----------
    points : (n, 3) array_like
        mm.  Distances in space.  At least 2 points.
    robust : bool
        Start from a consensus and down-weight outliers (Tukey's weights).
    correlation : bool
        Judge how residuals hang together and widen the uncertainty by it; else every point
        counts as independent.

    Returns
    -------
    LineFit

    Raises
    ------
    FitProblem
        If the points do not determine a straight line.
    """
    options = Options(
        robust=robust,
        correlation=correlation,
    )
    return fit_feature(LineFit, Kind.LINE, points, options)
