"""A feature's numbers while it is being fitted, and the sums over points that move it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from clearturn import threads
from clearturn.datum import _kernels

Array = NDArray[np.float64]
ENOUGH_FOR_ARC = 18_000
SLICE = 32_768  # points a thread takes at a time; fixed, so results have the same bits everywhere


class Kind(IntEnum):
    """The features, numbered as in the kernels."""

    LINE = _kernels.LINE
    PLANE = _kernels.PLANE
    CIRCLE = _kernels.CIRCLE
    CYLINDER = _kernels.CYLINDER
    CONE = _kernels.CONE
    SPHERE = _kernels.SPHERE

    @property
    def parameters(self) -> int:
        """How many numbers determine the feature."""
        return (4, 3, 6, 5, 6, 4)[self]

    @property
    def two_residuals(self) -> bool:
        """Whether a point's distance has two components (line, circle)."""
        return self in (Kind.LINE, Kind.CIRCLE)


@dataclass(frozen=True, slots=True)
class Shape:
    """A feature in some frame: origin on it, unit rows e1, e2, axis; radius; half angle."""

    kind: Kind
    origin: Array
    axes: Array
    radius: float = 0.0
    half_angle: float = 0.0

    def moved(self, step: Array) -> Shape:
        """Return the shape after a step in its local parameters (order as in the kernels)."""
        e1, e2, axis = self.axes
        shift = np.zeros(3)
        turn = np.zeros(2)
        radius, half_angle = self.radius, self.half_angle
        match self.kind:
            case Kind.PLANE:
                shift[2] = step[0]
                turn = step[1:3]
            case Kind.LINE:
                shift[:2] = step[:2]
                turn = step[2:4]
            case Kind.CIRCLE:
                shift = step[:3]
                turn = step[3:5]
                radius += step[5]
            case Kind.CYLINDER:
                shift[:2] = step[:2]
                turn = step[2:4]
                radius += step[4]
            case Kind.CONE:
                shift[:2] = step[:2]
                turn = step[2:4]
                half_angle += step[4]
                radius += step[5]
            case Kind.SPHERE:
                shift = step[:3]
                radius += step[3]
        origin = self.origin + shift @ self.axes
        return Shape(
            self.kind,
            origin,
            frame_along(axis + turn[0] * e1 + turn[1] * e2, e1),
            float(radius),
            float(half_angle),
        )

    def nearest(self, point: Array) -> Shape:
        """Return the same feature with its origin next to `point` (planes, lines, axes)."""
        axis = self.axes[2]
        along = float((point - self.origin) @ axis)
        if self.kind is Kind.PLANE:
            return replace(self, origin=point - along * axis)
        if self.kind in (Kind.CIRCLE, Kind.SPHERE):
            return self
        radius = self.radius
        if self.kind is Kind.CONE:
            radius += along * math.tan(self.half_angle)
        return replace(self, origin=self.origin + along * axis, radius=radius)

    def flipped(self) -> Shape:
        """Return the same feature with its direction the other way."""
        e1, e2, axis = self.axes
        return replace(self, axes=np.stack([e1, -e2, -axis]), half_angle=-self.half_angle)

    def scaled(self, factor: float, shift: Array) -> Shape:
        """Return the shape after ``x * factor + shift``."""
        return replace(self, origin=self.origin * factor + shift, radius=self.radius * factor)

    def numbers(self) -> tuple[int, Array, Array, float, float, float]:
        """Return what the kernels take."""
        return (
            int(self.kind),
            np.ascontiguousarray(self.origin),
            np.ascontiguousarray(self.axes),
            self.radius,
            math.cos(self.half_angle),
            math.sin(self.half_angle),
        )


@dataclass(frozen=True, slots=True)
class Sums:
    """One pass over the points: normal equations and what the residuals look like."""

    normal: Array  # JᵀWJ
    gradient: Array  # JᵀWf
    cost: float
    weight: float
    used: int
    sum_square: float
    least: float
    greatest: float
    sum_psi_square: float
    sum_psi_slope: float


def frame_along(axis: Array, near: Array | None = None) -> Array:
    """Return rows e1, e2, axis, right-handed, with e1 as close to `near` as can be."""
    # Written out: numpy's own cross product costs more than a whole pass over a thousand points.
    x, y, z = (float(v) for v in axis)
    size = math.sqrt(x * x + y * y + z * z)
    x, y, z = x / size, y / size, z / size
    if near is None:
        least = min(range(3), key=lambda k: abs((x, y, z)[k]))
        p, q, r = (1.0 if k == least else 0.0 for k in range(3))
    else:
        p, q, r = (float(v) for v in near)
    along = p * x + q * y + r * z
    p, q, r = p - along * x, q - along * y, r - along * z
    size = math.sqrt(p * p + q * q + r * r)
    p, q, r = p / size, q / size, r / size
    return np.array(
        [[p, q, r], [y * r - z * q, z * p - x * r, x * q - y * p], [x, y, z]], dtype=np.float64
    )


def sums(points: Array, shape: Shape, bound: float = math.inf) -> Sums:
    """Return the normal equations of `points` about `shape`; Tukey weights below `bound`."""
    size = shape.kind.parameters
    pieces = threads.spans(len(points), SLICE)
    normal = np.zeros((len(pieces), size, size + 1))
    out = np.zeros((len(pieces), 8))
    out[:, 4] = math.inf
    out[:, 5] = -math.inf
    numbers = shape.numbers()

    def work(start: int, stop: int) -> None:
        k = start // SLICE
        _kernels.accumulate(points, start, stop, *numbers, bound, size, normal[k], out[k])

    threads.run(work, pieces)
    total = normal.sum(axis=0)
    upper = np.triu(total[:, :size])
    o = out.sum(axis=0)
    return Sums(
        normal=upper + np.triu(upper, 1).T,
        gradient=total[:, size],
        cost=float(o[0]),
        weight=float(o[1]),
        used=int(o[2]),
        sum_square=float(o[3]),
        least=float(out[:, 4].min()),
        greatest=float(out[:, 5].max()),
        sum_psi_square=float(o[6]),
        sum_psi_slope=float(o[7]),
    )


def residuals(points: Array, shape: Shape) -> Array:
    """Return the distance of every point from the shape, (n,); signed but for line and circle."""
    out = np.empty(len(points))
    numbers = shape.numbers()

    def work(start: int, stop: int) -> None:
        _kernels.residuals(points, start, stop, *numbers, out)

    threads.run(work, threads.spans(len(points), SLICE))
    return out


def jacobian(points: Array, shape: Shape) -> tuple[Array, Array]:
    """Return derivatives by the local parameters (n, k) and residuals (n,).

    Line and circle have two rows a point: (2 n, k) and (2 n,).
    """
    size = shape.kind.parameters
    out = np.empty((len(points) * (2 if shape.kind.two_residuals else 1), size + 1))
    _kernels.jacobian(points, *shape.numbers(), size, out)
    return out[:, :size], out[:, size]


def coverage(points: Array, shape: Shape) -> tuple[float, float, float]:
    """Return the arc covered about the axis in degrees and least and greatest height along it.

    The arc is the whole turn less the largest gap between azimuths; a ring whose gaps are all
    alike counts as whole.
    """
    occupied = np.zeros(3600, dtype=np.bool_)
    extent = np.array([math.inf, -math.inf])
    some = points
    if len(points) > 2 * ENOUGH_FOR_ARC:
        # Five points a mark are enough; the ends are looked for among all.
        some = np.ascontiguousarray(points[:: len(points) // ENOUGH_FOR_ARC])
        height = points @ shape.axes[2] - float(shape.origin @ shape.axes[2])
        extent[:] = height.min(), height.max()
    _kernels.mark_angles(some, 0, len(some), *shape.numbers()[1:3], occupied, extent)
    marks = np.flatnonzero(occupied)
    gaps = np.diff(np.append(marks, marks[0] + 3600)) * 0.1
    largest = float(gaps.max())
    # Marks within half a degree are one direction: rings stacked along the axis.
    coarse = gaps[gaps > 0.5]
    others = (360.0 - largest) / max(len(coarse) - 1, 1)
    arc = 360.0 if largest <= 2.5 * others and len(coarse) > 2 else 360.0 - largest
    if len(coarse) == 0:
        arc = 360.0
    return arc, float(extent[0]), float(extent[1])
