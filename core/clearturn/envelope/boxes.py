"""Boxes with small faces, as closed outward meshes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clearturn.mesh import Mesh

# Long thin triangles slow the search for the closest place; a box is cut into cells of this size.
_CELL_MM = 12.0


def radial_box(
    clock_deg: float,
    r_mm: tuple[float, float],
    z_mm: tuple[float, float],
    width_mm: float,
    name: str = "",
) -> Mesh:
    """Return a box about the radial direction at a clock position.

    Parameters
    ----------
    clock_deg : float
        Clock position of the box's middle plane.
    r_mm, z_mm : (from, to)
        Along the radial direction from the axis, and along the axis.
    width_mm : float
        Across, half to each side.
    """
    low = np.array([r_mm[0], z_mm[0], -width_mm / 2])
    high = np.array([r_mm[1], z_mm[1], width_mm / 2])
    local, faces = _lattice_box(low, high)
    clock = math.radians(clock_deg % 360.0)
    # columns: radial, axial and clockwise direction; in this order a right-handed system
    radial = np.array([math.sin(clock), math.cos(clock), 0.0])
    across = np.array([math.cos(clock), -math.sin(clock), 0.0])
    basis = np.stack([radial, np.array([0.0, 0.0, 1.0]), across])
    return Mesh(local @ basis, faces, name)


def _lattice_box(
    low: NDArray[np.float64], high: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    cells = [max(1, math.ceil(length / _CELL_MM - 1e-9)) for length in high - low]
    steps = [np.linspace(low[k], high[k], cells[k] + 1) for k in range(3)]
    number = np.arange((cells[0] + 1) * (cells[1] + 1) * (cells[2] + 1)).reshape(
        cells[0] + 1, cells[1] + 1, cells[2] + 1
    )
    faces = []
    for axis in range(3):
        for end in (0, -1):
            sheet = np.take(number, end, axis=axis)
            if axis == 1:  # the two remaining axes in cyclic order
                sheet = sheet.T
            a, b = sheet[:-1, :-1], sheet[1:, :-1]
            c, d = sheet[1:, 1:], sheet[:-1, 1:]
            pair = np.concatenate(
                [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
            )
            faces.append(pair if end == -1 else pair[:, ::-1])
    used, inverse = np.unique(np.concatenate(faces), return_inverse=True)
    points = np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1).reshape(-1, 3)
    return points[used], inverse.reshape(-1, 3)
