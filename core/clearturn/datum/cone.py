"""Least squares for a cone."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from clearturn.datum.fit import REFUSED_ARC_DEG, Options, fit_feature
from clearturn.datum.model import ConeFit
from clearturn.datum.shape import Kind


def fit_cone(
    points: ArrayLike,
    *,
    robust: bool = False,
    axis_hint: ArrayLike | None = None,
    least_arc_deg: float = REFUSED_ARC_DEG,
    correlation: bool = True,
) -> ConeFit:
    """Fit a cone by least squares of distances.

    Parameters
    ----------
    points : (n, 3) array_like
        mm.  At least 6 points, not in one plane.
    robust : bool
        Start from a consensus and down-weight outliers (Tukey's weights).
    axis_hint : (3,) array_like, optional
        About where the axis points; saves the search for it.
    least_arc_deg : float
        Shorter arcs are refused.
    correlation : bool
        Judge how residuals hang together and widen the uncertainty by it; else every point
        counts as independent.

    Returns
    -------
    ConeFit

    Raises
    ------
    FitProblem
        If the points do not determine a cone.
    """
    options = Options(
        robust=robust,
        axis_hint=None if axis_hint is None else np.asarray(axis_hint, dtype=np.float64),
        least_arc_deg=least_arc_deg,
        correlation=correlation,
    )
    return fit_feature(ConeFit, Kind.CONE, points, options)
