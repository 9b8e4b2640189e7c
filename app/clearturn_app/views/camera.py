"""From where the corner picture is looked at; a parallel view, as on a drawing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Camera:
    """A parallel view.

    Attributes
    ----------
    centre : (3,) ndarray
        Seen in the middle, hub frame, mm.
    eye, up : (3,) ndarray
        Unit vectors from the centre to the eye, and upwards in the picture.
    half_mm : float
        Half the height of what is seen.
    """

    centre: Floats
    eye: Floats
    up: Floats
    half_mm: float

    @classmethod
    def looking(cls, centre: ArrayLike, eye: ArrayLike, up: ArrayLike, half_mm: float) -> Camera:
        """Return the view with `eye` made a unit vector and `up` square to it."""
        e = _unit(np.asarray(eye, dtype=np.float64))
        u = np.asarray(up, dtype=np.float64)
        u = u - (u @ e) * e
        if np.linalg.norm(u) < 1e-6:
            u = np.cross(e, [1.0, 0.0, 0.0])
        return cls(np.asarray(centre, dtype=np.float64), e, _unit(u), float(half_mm))

    @property
    def right(self) -> Floats:
        """Unit vector to the right in the picture."""
        return np.cross(self.up, self.eye)

    def seen_at(self, point: ArrayLike, wide: float, high: float) -> tuple[float, float]:
        """Return the pixel at which a point is seen in a picture of a size."""
        offset = np.asarray(point, dtype=np.float64) - self.centre
        scale = high / (2.0 * self.half_mm)
        return (
            wide / 2 + float(offset @ self.right) * scale,
            high / 2 - float(offset @ self.up) * scale,
        )

    def sight_at(self, x: float, y: float, wide: float, high: float) -> tuple[Floats, Floats]:
        """Return start and direction of the line of sight through a pixel."""
        mm = 2.0 * self.half_mm / max(1.0, high)
        start = self.centre + 5000.0 * self.eye
        start = start + (x - wide / 2) * mm * self.right - (y - high / 2) * mm * self.up
        return start, -self.eye

    def orbited(self, across_px: float, down_px: float, deg_per_px: float = 0.4) -> Camera:
        """Return the view after a drag turned the corner under the pointer."""
        a, b = math.radians(-across_px * deg_per_px), math.radians(-down_px * deg_per_px)
        eye, up = _turned(self.eye, self.up, a), self.up
        right = np.cross(up, eye)
        return Camera.looking(self.centre, _turned(eye, right, b), _turned(up, right, b),
                              self.half_mm)  # fmt: skip

    def rolled(self, across_px: float, deg_per_px: float = 0.4) -> Camera:
        """Return the view after a drag to the right rolled the picture clockwise."""
        up = _turned(self.up, self.eye, math.radians(across_px * deg_per_px))
        return Camera.looking(self.centre, self.eye, up, self.half_mm)

    def moved(self, across_px: float, down_px: float, high: float) -> Camera:
        """Return the view after a drag moved the corner with the pointer."""
        mm = 2.0 * self.half_mm / max(1.0, high)
        centre = self.centre - across_px * mm * self.right + down_px * mm * self.up
        return Camera(centre, self.eye, self.up, self.half_mm)

    def magnified(self, factor: float) -> Camera:
        """Return a nearer (factor > 1) or wider view."""
        return Camera(self.centre, self.eye, self.up,
                      min(max(self.half_mm / factor, 2.0), 800.0))  # fmt: skip

    def towards(self, other: Camera, part: float) -> Camera:
        """Return the view a part (0 … 1) of the way to another."""
        mix = lambda a, b: (1 - part) * a + part * b  # noqa: E731
        half = math.exp(mix(math.log(self.half_mm), math.log(other.half_mm)))
        eye = mix(self.eye, other.eye)
        if np.linalg.norm(eye) < 1e-3:  # straight through the middle has no direction
            eye = other.eye
        return Camera.looking(mix(self.centre, other.centre), eye, mix(self.up, other.up), half)


def _unit(vector: Floats) -> Floats:
    return vector / max(1e-12, float(np.linalg.norm(vector)))


def _turned(vector: Floats, axis: Floats, angle: float) -> Floats:
    # Rodrigues' rotation
    c, s = math.cos(angle), math.sin(angle)
    turned: Floats = c * vector + s * np.cross(axis, vector) + (1 - c) * (axis @ vector) * axis
    return turned
