"""Finding room for labels on the paper."""

from __future__ import annotations

import math
from copy import copy

import numpy as np
import shapely
from numpy.typing import NDArray

_CELL_MM = 0.75


class Room:
    """What is taken on the paper, on a raster, and where a label still fits.

    Parameters
    ----------
    bounds : (x from, y from, x to, y to)
        The paper that labels may use, mm.
    """

    def __init__(self, bounds: tuple[float, float, float, float]) -> None:
        self._x0, self._y0 = bounds[0], bounds[1]
        self._shape = (
            max(1, math.floor((bounds[3] - bounds[1]) / _CELL_MM)),
            max(1, math.floor((bounds[2] - bounds[0]) / _CELL_MM)),
        )
        self._taken = np.zeros(self._shape, dtype=np.float64)

    def take(self, shape: shapely.Geometry, weight: float = 1.0) -> None:
        """Mark a shape as taken.

        A label may lie on a weight below 1 but had better not; a leader may cross anything, at
        its weight.
        """
        if shape.is_empty:
            return
        grown = shapely.buffer(shape, 0.7 * _CELL_MM)
        low_x, low_y, high_x, high_y = shapely.bounds(grown)
        columns = self._span(low_x - self._x0, high_x - self._x0, self._shape[1])
        rows = self._span(low_y - self._y0, high_y - self._y0, self._shape[0])
        x = self._x0 + _CELL_MM * (np.arange(columns.start, columns.stop) + 0.5)
        y = self._y0 + _CELL_MM * (np.arange(rows.start, rows.stop) + 0.5)
        if x.size == 0 or y.size == 0:
            return
        shapely.prepare(grown)
        inside = shapely.contains_xy(grown, *np.meshgrid(x, y))
        part = self._taken[rows, columns]
        part[inside] = np.maximum(part[inside], weight)

    @staticmethod
    def _span(low: float, high: float, most: int) -> slice:
        first = min(max(math.floor(low / _CELL_MM), 0), most)
        return slice(first, max(first, min(math.ceil(high / _CELL_MM) + 1, most)))

    def copy(self) -> Room:
        """Return a room of which as much is taken, to try something in."""
        other = copy(self)
        other._taken = self._taken.copy()
        return other

    def become(self, other: Room) -> None:
        """Take what is taken of a copy."""
        self._taken = other._taken

    def take_box(
        self, low: tuple[float, float], high: tuple[float, float], weight: float = 1.0
    ) -> None:
        """Mark a box as taken."""
        self.take(shapely.box(low[0], low[1], high[0], high[1]), weight)

    def crossed(self, start: NDArray[np.float64], ends: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the length times weight that straight lines from one place run over, mm.

        Parameters
        ----------
        start : (2,) ndarray
        ends : (n, 2) ndarray
        """
        rows, columns = self._shape
        longest = float(np.hypot(*(ends - start).T).max(initial=0.0))
        count = max(2, math.ceil(longest / (0.7 * _CELL_MM)))
        t = (np.arange(count) + 0.5) / count
        p = start + t[None, :, None] * (ends - start)[:, None, :]
        j = np.floor((p[..., 0] - self._x0) / _CELL_MM).astype(int)
        i = np.floor((p[..., 1] - self._y0) / _CELL_MM).astype(int)
        on = (i >= 0) & (i < rows) & (j >= 0) & (j < columns)
        weight = np.where(on, self._taken[np.clip(i, 0, rows - 1), np.clip(j, 0, columns - 1)], 0.0)
        out: NDArray[np.float64] = weight.mean(axis=1) * np.hypot(*(ends - start).T)
        return out

    def costs(self, size: tuple[float, float]) -> tuple[NDArray[np.float64], ...]:
        """Return the lower left corners of every box of a size, and what lies under it.

        Returns
        -------
        x, y, under : ndarrays of one shape
            ``under`` is the greatest weight times area taken, mm²; infinite where anything of
            weight 1 is covered.
        """
        rows, columns = self._shape
        high, wide = (math.ceil(s / _CELL_MM) for s in (size[1], size[0]))
        if high > rows or wide > columns:
            empty = np.zeros((0, 0))
            return empty, empty, empty
        hard = _box_sums((self._taken >= 1.0).astype(float), high, wide)
        soft = _box_sums(np.minimum(self._taken, 1.0), high, wide) * _CELL_MM**2
        y, x = np.mgrid[0 : hard.shape[0], 0 : hard.shape[1]]
        under = np.where(hard > 0.5, np.inf, soft)
        return self._x0 + _CELL_MM * x, self._y0 + _CELL_MM * y, under


def _box_sums(grid: NDArray[np.float64], high: int, wide: int) -> NDArray[np.float64]:
    total = np.zeros((grid.shape[0] + 1, grid.shape[1] + 1))
    total[1:, 1:] = grid.cumsum(axis=0).cumsum(axis=1)
    out: NDArray[np.float64] = (
        total[high:, wide:] - total[:-high, wide:] - total[high:, :-wide] + total[:-high, :-wide]
    )
    return out
