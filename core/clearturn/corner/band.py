"""Points in a band about the axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearturn.job.model import Band

Mask = NDArray[np.bool_]


def in_band(points: ArrayLike, band: Band) -> Mask:
    """Tell which points lie in a band about the z axis.

    Parameters
    ----------
    points : (n, 3) array_like
        mm.
    band : Band

    Returns
    -------
    (n,) ndarray of bool
    """
    p = np.asarray(points, dtype=np.float64)
    inside = np.ones(len(p), dtype=np.bool_)
    r = np.hypot(p[:, 0], p[:, 1])
    for value, low, high in (
        (r, band.r_from_mm, band.r_to_mm),
        (p[:, 2], band.z_from_mm, band.z_to_mm),
    ):
        if low is not None:
            inside &= value >= low
        if high is not None:
            inside &= value <= high
    if band.clock_from_deg is not None and band.clock_to_deg is not None:
        clock = np.degrees(np.arctan2(p[:, 0], p[:, 1]))
        span = (band.clock_to_deg - band.clock_from_deg) % 360.0 or 360.0
        inside &= (clock - band.clock_from_deg) % 360.0 <= span
    return inside
