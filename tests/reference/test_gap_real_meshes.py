"""The gap engine on meshes nobody here made (sources in the folder's own README)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from collision_oracles import about_z, coal_distance, coal_model
from places import REAL_MESHES
from scipy.spatial import cKDTree

from clearturn.gap import Axis, State, still_gap, turning_gap
from clearturn.mesh import Mesh

pytestmark = pytest.mark.skipif(not REAL_MESHES.is_dir(), reason=f"no {REAL_MESHES}")


def read(name, scale):
    import trimesh

    loaded = trimesh.load(REAL_MESHES / name, force="mesh", process=False)
    return Mesh(np.asarray(loaded.vertices) * scale, np.asarray(loaded.faces))


@pytest.fixture(scope="module")
def corner():
    """Truck wheel with its axis (y) laid along z, and a caliper put inside its barrel."""
    wheel = read("wheel_truck.obj", 1000.0)
    v = wheel.vertices
    wheel = Mesh(np.c_[v[:, 2], v[:, 0], v[:, 1]], wheel.faces)
    part = read("caliper_tenth_scale.stl", 10.0)
    middle = part.bounds.mean(axis=0)
    return wheel, Mesh(part.vertices - middle, part.faces)


def test_caliper_in_the_truck_wheel_agrees_with_coal_stepped(corner):
    wheel, part = corner
    inner = np.hypot(wheel.vertices[:, 0], wheel.vertices[:, 1])
    pose = np.eye(4)
    pose[0, 3] = 0.3 * inner.max()
    gap = turning_gap(part, wheel, pose_first=pose)
    a, b = coal_model(part.moved(pose)), coal_model(wheel)
    best = min(coal_distance(a, b, about_z(2 * math.pi * k / 720)) for k in range(720))
    if gap.state is State.INTERFERING:
        assert best <= 1e-3
        return
    reach = float(np.hypot(*(part.moved(pose).vertices[:, :2].T)).max())
    assert gap.gap_mm.lower <= best + 1e-9
    assert gap.gap_mm.upper >= best - reach * math.pi / 720


def test_truck_wheel_turns_about_its_own_axis_clear_of_a_part_above_it(corner):
    wheel, part = corner
    top = wheel.vertices[:, 2].max()
    pose = np.eye(4)
    pose[:3, 3] = (150, 40, top + 30 - part.vertices[:, 2].min())
    gap = turning_gap(part, wheel, pose_first=pose)
    assert gap.state is State.APART
    assert gap.gap_mm.upper >= 30 - 1e-6
    # Vertices alone in the meridian plane can only read more, never less.
    moved = part.moved(pose).vertices
    rz = np.c_[np.hypot(moved[:, 0], moved[:, 1]), moved[:, 2]]
    wz = np.c_[np.hypot(wheel.vertices[:, 0], wheel.vertices[:, 1]), wheel.vertices[:, 2]]
    assert gap.gap_mm.lower <= cKDTree(wz).query(rz)[0].min() + 1e-9


def test_scanned_drill_beside_the_rover_knuckle_still_and_turning():
    drill, knuckle = read("scan_of_a_drill.obj", 1000.0), read("knuckle_rover.stl", 1.0)
    pose = np.eye(4)
    pose[0, 3] = knuckle.bounds[1, 0] - drill.bounds[0, 0] + 5
    still = still_gap(drill, knuckle, pose_first=pose)
    theirs = coal_distance(coal_model(drill.moved(pose)), coal_model(knuckle))
    assert still.gap_mm.upper == pytest.approx(theirs, abs=1e-9)
    axis = Axis.through(knuckle.bounds.mean(axis=0), (0, 0, 1))
    turning = turning_gap(knuckle, drill, turns="first", axis=axis, pose_second=pose)
    assert turning.gap_mm.lower <= still.gap_mm.upper + 1e-9
