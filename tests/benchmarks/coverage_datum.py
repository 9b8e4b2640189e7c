"""How often the stated 95 % interval of a datum holds the truth, over simulated scans.

Run ``python tests/benchmarks/coverage_datum.py [scans]`` (2 000 by default, some minutes a case).
It prints, per case and parameter, the share covered by the stated interval and by σ/√N.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass

import numpy as np

from clearturn.datum import CylinderFit, PlaneFit, fit_cylinder, fit_plane

SIGMA_MM = 0.03  # scanner noise of the demo scans


@dataclass(frozen=True)
class Case:
    """One kind of scan: a cylinder over an arc, or a ring-shaped face."""

    name: str
    feature: str
    radius_mm: float
    length_mm: float
    arc_deg: float
    step_mm: float
    patch_mm: float  # radius of the disc the noise is averaged over
    white: float  # share of white noise in the variance


CASES = (
    Case("bore over 200°", "cylinder", 35.0, 18.0, 200.0, 0.9, 1.8, 0.3),
    Case("arc of 75°", "cylinder", 82.0, 34.0, 75.0, 1.3, 2.6, 0.2),
    Case("hub face", "plane", 74.0, 0.0, 360.0, 1.7, 4.0, 0.3),
)


@dataclass
class Count:
    """Scans whose interval held the truth."""

    stated: int = 0
    naive: int = 0


def noise(rng: np.random.Generator, shape: tuple[int, int], reach: int, white: float) -> np.ndarray:
    """Return a field of unit variance: white noise averaged over a disc, and white noise."""
    padded = rng.normal(size=(shape[0] + 2 * reach, shape[1] + 2 * reach))
    i, j = np.ogrid[-reach : reach + 1, -reach : reach + 1]
    disc = (i / (reach + 0.5)) ** 2 + (j / (reach + 0.5)) ** 2 <= 1
    kernel = np.zeros_like(padded)
    rows, columns = np.nonzero(disc)
    kernel[rows - reach, columns - reach] = 1.0 / math.sqrt(disc.sum())
    smooth = np.fft.irfft2(np.fft.rfft2(padded) * np.fft.rfft2(kernel), s=padded.shape)
    inner = smooth[reach : reach + shape[0], reach : reach + shape[1]]
    return math.sqrt(1 - white) * inner + math.sqrt(white) * rng.normal(size=shape)


def scan(case: Case, seed: int) -> np.ndarray:
    """Return the points of one simulated scan, the true feature along z through the origin."""
    rng = np.random.default_rng([seed, len(case.name)])
    reach = max(1, round(case.patch_mm / case.step_mm))
    if case.feature == "plane":
        line = np.arange(-case.radius_mm, case.radius_mm + 1e-9, case.step_mm)
        x, y = np.meshgrid(line, line, indexing="ij")
        z = SIGMA_MM * noise(rng, x.shape, reach, case.white)
        r = np.hypot(x, y)
        ring = (r < case.radius_mm) & (r > 0.5 * case.radius_mm)
        return np.column_stack([x[ring], y[ring], z[ring]])
    arc = math.radians(case.arc_deg)
    turn = np.arange(0.0, arc, case.step_mm / case.radius_mm)
    z = np.arange(0.0, case.length_mm, case.step_mm)
    r = case.radius_mm + SIGMA_MM * noise(rng, (len(turn), len(z)), reach, case.white)
    return np.stack(
        [r * np.cos(turn)[:, None], r * np.sin(turn)[:, None], np.broadcast_to(z, r.shape)], axis=2
    ).reshape(-1, 3)


def errors(fit: PlaneFit | CylinderFit, case: Case) -> tuple[dict[str, float], np.ndarray]:
    """Return the errors along x and y and the matrix that brings a covariance there.

    Not along the fit's own e1 and e2: these follow the error, so one of them is always smaller.
    """
    axis = fit.axes[2] * np.sign(fit.axes[2][2])
    turn = fit.axes[:2, :2].T
    if isinstance(fit, PlaneFit):
        move = np.eye(3)
        move[1:, 1:] = turn
        # The truth is z = 0: its height at the fit's point, along the normal.
        return {"height": -fit.point_mm[2] / axis[2], "tilt x": axis[0], "tilt y": axis[1]}, move
    move = np.eye(5)
    move[:2, :2] = move[2:4, 2:4] = turn
    x, y = fit.point_mm[:2]
    radius = float(fit.radius_mm or 0.0) - case.radius_mm
    return {"axis x": x, "axis y": y, "tilt x": axis[0], "tilt y": axis[1], "radius": radius}, move


def simulate(case: Case, scans: int) -> dict[str, Count]:
    """Fit `scans` simulated scans and count the intervals that hold the truth."""
    counts: dict[str, Count] = {}
    for seed in range(scans):
        points = scan(case, seed)
        fit: PlaneFit | CylinderFit
        if case.feature == "plane":
            fit = fit_plane(points)
        else:
            fit = fit_cylinder(points, axis_hint=(0, 0, 1))
        found, move = errors(fit, case)
        stated = np.sqrt(np.diag(move @ fit.covariance @ move.T)) * fit.coverage_factor
        plain = np.sqrt(np.diag(move @ fit.unit_covariance @ move.T)) * fit.rms_mm * 1.96
        for k, (name, error) in enumerate(found.items()):
            count = counts.setdefault(name, Count())
            count.stated += abs(error) <= stated[k]
            count.naive += abs(error) <= plain[k]
    return counts


def main() -> None:
    """Print the table."""
    scans = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print(f"{scans} scans a case; share of 95 % intervals that hold the truth")
    print(f"{'case':<16} {'parameter':<10} {'stated':>7} {'sigma/sqrt(N)':>14}")
    for case in CASES:
        for name, count in simulate(case, scans).items():
            shares = f"{count.stated / scans:7.3f} {count.naive / scans:14.3f}"
            print(f"{case.name:<16} {name:<10} {shares}", flush=True)


if __name__ == "__main__":
    main()
