"""The hub frame: handed as agreed, placed as known, as uncertain as its scatter."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from clearturn.datum import CylinderFit, PlaneFit, fit_cylinder, fit_plane, hub_frame, wheel_frame
from clearturn.errors import FitProblem, InputError

TURN = Rotation.from_euler("zyx", [0.4, 1.1, -2.0]).as_matrix()  # scan axes of the hub frame
PLACE = np.array([10.0, -200.0, 55.0])


def posed(points: Any) -> np.ndarray:
    return np.asarray(points, dtype=float) @ TURN.T + PLACE


def face_and_spigot(
    rng: np.random.Generator, noise: float, tilt_rad: float = 0.0
) -> tuple[PlaneFit, CylinderFit]:
    turn = rng.uniform(0, 2 * math.pi, (2, 150))
    r = rng.uniform(40, 74, 150)
    face = np.column_stack([r * np.sin(turn[0]), r * np.cos(turn[0]), rng.normal(0, noise, 150)])
    radius = 35 + rng.normal(0, noise, 150)
    z = rng.uniform(0, 18, 150)
    spigot = np.column_stack([radius * np.sin(turn[1]) + tilt_rad * z, radius * np.cos(turn[1]), z])
    return fit_plane(posed(face)), fit_cylinder(posed(spigot), axis_hint=TURN[:, 2])


def clock(degrees: float, radius: float, z: float) -> np.ndarray:
    turn = math.radians(degrees)
    return posed([radius * math.sin(turn), radius * math.cos(turn), z])


@pytest.mark.parametrize("clock_deg", [0.0, 37.0, 90.0, 250.0, -110.0])
@pytest.mark.parametrize("outboard", [(0, 0, 1.0), (0.4, -0.3, 2.0)])
def test_hub_frame_of_exact_datums_is_the_true_pose(
    clock_deg: float, outboard: tuple[float, float, float]
) -> None:
    plane, axis = face_and_spigot(np.random.default_rng(1), 0.0)
    frame = hub_frame(plane, axis, clock(clock_deg, 90, -31), clock_deg, TURN @ outboard)
    truth = np.eye(4)
    truth[:3, :3] = TURN.T
    truth[:3, 3] = -TURN.T @ PLACE
    assert frame.hub_from_scan == pytest.approx(truth, abs=1e-9)
    assert frame.hub_from_scan @ frame.scan_from_hub == pytest.approx(np.eye(4), abs=1e-12)
    assert np.linalg.det(frame.hub_from_scan[:3, :3]) == pytest.approx(1.0)
    assert frame.findings == ()


def test_the_other_outboard_turns_z_and_x_but_keeps_the_clock() -> None:
    plane, axis = face_and_spigot(np.random.default_rng(1), 0.0)
    point = clock(20.0, 90, -31)
    frame = hub_frame(plane, axis, point, 250.0, -TURN[:, 2])
    x, y, z, _ = frame.hub_from_scan @ np.append(point, 1.0)
    # As agreed: a point at clock φ stands at (r sin φ, r cos φ); inboard is now +31.
    expected = (90 * math.sin(math.radians(250)), 90 * math.cos(math.radians(250)), 31)
    assert (x, y, z) == pytest.approx(expected, abs=1e-9)
    assert np.linalg.det(frame.hub_from_scan[:3, :3]) == pytest.approx(1.0)


def _small(frame_pose: np.ndarray) -> np.ndarray:
    error = frame_pose @ np.vstack([np.column_stack([TURN, PLACE]), [0, 0, 0, 1.0]])
    r = error[:3, :3]
    return np.array([*error[:3, 3], r[2, 1] - r[1, 2], r[0, 2] - r[2, 0], r[1, 0] - r[0, 1]]) * (
        [1.0] * 3 + [0.5] * 3
    )


def test_frame_covariance_matches_the_scatter_of_repeated_scans() -> None:
    rng = np.random.default_rng(7)
    errors = []
    for _ in range(100):
        plane, axis = face_and_spigot(rng, 0.03)
        point = clock(250.0, 100, -30) + TURN @ [0.0, rng.normal(0, 0.05), 0.0]
        frame = hub_frame(plane, axis, point, 250.0, TURN[:, 2], clocking_standard_mm=0.05)
        errors.append(_small(frame.hub_from_scan))
    spread = np.std(errors, axis=0)
    # The clocking error above has only its part across the radius: cos 70° of 0.05 along Y.
    stated = frame.standard_uncertainty.copy()
    variance = stated[5] ** 2 + (0.05**2 * math.sin(math.radians(250)) ** 2 - 0.05**2) / 100**2
    stated[5] = math.sqrt(variance)
    assert stated == pytest.approx(spread, rel=0.25)
    correlation = np.corrcoef(np.array(errors).T)
    told = frame.covariance / np.outer(frame.standard_uncertainty, frame.standard_uncertainty)
    assert told[1, 4] == pytest.approx(correlation[1, 4], abs=0.3)


def test_uncertainty_of_a_point_grows_with_its_lever() -> None:
    plane, axis = face_and_spigot(np.random.default_rng(3), 0.03)
    frame = hub_frame(plane, axis, clock(0, 100, 0), 0.0, TURN[:, 2])
    near = frame.point_covariance([0, 0, 0])
    far = frame.point_covariance([0, 0, 150])
    assert near == pytest.approx(frame.covariance[:3, :3])
    # x at height z is moved by x + z·ry.
    c = frame.covariance
    expected = c[0, 0] + 2 * 150 * c[0, 4] + 150**2 * c[4, 4]
    assert far[0, 0] == pytest.approx(expected)


def test_a_leaning_axis_is_told() -> None:
    plane, axis = face_and_spigot(np.random.default_rng(3), 0.001, tilt_rad=0.01)
    frame = hub_frame(plane, axis, clock(0, 100, 0), 0.0, TURN[:, 2])
    assert [f.code for f in frame.findings] == ["face-not-square"]
    assert frame.hub_from_scan[2, :3] == pytest.approx(TURN[:, 2], abs=1e-4)  # the face rules


def test_wheel_frame_stands_on_pad_and_bore() -> None:
    pad, bore = face_and_spigot(np.random.default_rng(5), 0.0)
    frame = wheel_frame(pad, bore, -TURN[:, 2])
    assert frame.hub_from_scan @ np.append(PLACE, 1.0) == pytest.approx([0, 0, 0, 1], abs=1e-9)
    assert frame.hub_from_scan[2, :3] == pytest.approx(-TURN[:, 2], abs=1e-9)
    assert np.linalg.det(frame.hub_from_scan[:3, :3]) == pytest.approx(1.0)
    assert frame.standard_uncertainty[5] == pytest.approx(0.0, abs=1e-9)


def test_datums_that_do_not_belong_together_are_refused() -> None:
    plane, axis = face_and_spigot(np.random.default_rng(1), 0.0)
    with pytest.raises(InputError, match="outboard"):
        hub_frame(plane, axis, clock(0, 90, 0), 0.0, TURN[:, 0])
    with pytest.raises(InputError, match="outboard"):
        hub_frame(plane, axis, clock(0, 90, 0), 0.0, [0, 0, 0])
    with pytest.raises(FitProblem, match="lies on the axis"):
        hub_frame(plane, axis, clock(0, 0.2, 30), 0.0, TURN[:, 2])
    with pytest.raises(InputError, match="clocking point"):
        hub_frame(plane, axis, [0, float("nan"), 0], 0.0, TURN[:, 2])
    turn = np.linspace(0, 6, 50)
    across = np.column_stack([np.tile([0.0, 10.0], 25), 35 * np.cos(turn), 35 * np.sin(turn)])
    with pytest.raises(FitProblem, match="belong together"):
        hub_frame(plane, fit_cylinder(posed(across)), clock(0, 90, 0), 0.0, TURN[:, 2])


def test_datums_without_redundancy_make_a_frame_of_unknown_uncertainty() -> None:
    plane = fit_plane(posed([[40, 0, 0.0], [0, 40, 0], [-40, 0, 0]]))
    _, axis = face_and_spigot(np.random.default_rng(1), 0.0)
    frame = hub_frame(plane, axis, clock(10, 90, 0), 10.0, TURN[:, 2])
    assert frame.hub_from_scan @ np.append(PLACE, 1.0) == pytest.approx([0, 0, 0, 1], abs=1e-9)
    assert np.isnan(frame.covariance).any()
