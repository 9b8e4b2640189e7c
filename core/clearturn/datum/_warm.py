"""A tiny call of every kernel of this package, so that they are compiled and cached."""

from __future__ import annotations

import numpy as np

from clearturn.datum import fit_circle, fit_cone, fit_cylinder, fit_plane, grow_patch
from clearturn.mesh import Mesh


def warm_up() -> None:
    """Compile every kernel."""
    turn = np.linspace(0.0, 6.0, 12)
    ring = np.stack([np.cos(turn), np.sin(turn), np.zeros(12)], axis=1)
    tube = np.concatenate([ring, ring * 1.1 + [0.0, 0.0, 1.0], ring * 1.2 + [0.0, 0.0, 2.0]])
    for robust in (False, True):
        fit_plane(ring, robust=robust)
        fit_circle(ring, robust=robust)
        fit_cylinder(tube, robust=robust)
        fit_cone(tube, robust=robust)
    # Enough points for their residuals' correlation to be looked at.
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(16.0), np.arange(16.0)))
    fit_plane(np.stack([x, y, 0.01 * np.sin(x + 2.0 * y)], axis=1))
    corner = Mesh(np.vstack([np.zeros(3), np.eye(3)]), [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    grow_patch(corner, (0.3, 0.3, 0.3))
