"""A tiny call of every kernel of this package, so that they are compiled and cached."""

from __future__ import annotations

import numpy as np

from clearturn.drawing._kernels import image, splat


def warm_up() -> None:
    """Compile every kernel."""
    image(
        np.zeros((3, 3)), np.zeros((1, 3), np.int32), 1.0, np.zeros((1, 6)), np.zeros(1, np.bool_)
    )
    splat(np.zeros((1, 6)), np.full((2, 2), 9.0), 0.0, 0.0, 1.0, 1.0, 0, 2)
