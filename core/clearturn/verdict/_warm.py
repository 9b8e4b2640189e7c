"""A tiny call of every kernel of this package."""

from __future__ import annotations

import numpy as np

from clearturn.mesh import Mesh
from clearturn.verdict.surface import correlation_length, fit_surfaces, noise_rows


def warm_up() -> None:
    """Compile the local surface fits."""
    x, y = np.meshgrid(np.arange(6.0), np.arange(6.0), indexing="ij")
    corner = np.arange(36).reshape(6, 6)
    a, b = corner[:-1, :-1].ravel(), corner[1:, :-1].ravel()
    c, d = corner[1:, 1:].ravel(), corner[:-1, 1:].ravel()
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    mesh = Mesh(np.stack([x.ravel(), y.ravel(), 0.0 * x.ravel()], axis=1), faces)
    surfaces = fit_surfaces(mesh, np.arange(36, dtype=np.int64), 0.01)
    rows = np.array([14], np.int64)
    up = np.array([[0.0, 0.0, 1.0]])
    noise_rows(mesh, surfaces, rows, up, sigma_mm=0.01, correlation_mm=0.0)
    correlation_length([mesh], 0.01)
