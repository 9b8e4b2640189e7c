"""Proposals on meshes nobody here made; where the folder is absent these tests are skipped."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from places import REAL_MESHES

from clearturn.errors import FitProblem
from clearturn.propose import DOUBTFUL, Proposals, propose_knuckle, propose_wheel
from clearturn.scan import read_scan

pytestmark = pytest.mark.skipif(
    not REAL_MESHES.exists(), reason="the real meshes are not on this machine"
)


def test_pad_and_bolt_circle_of_a_truck_rim() -> None:
    # chrono's rim (BSD-3-Clause), modelled in inches about y through x = z = 0.
    found = propose_wheel(read_scan(REAL_MESHES / "wheel_truck.obj", unit="m").mesh)
    outboard = found.part_from_scan[2, :3]
    assert abs(outboard[1]) == pytest.approx(1.0, abs=1e-4)
    origin = -found.part_from_scan[:3, :3].T @ found.part_from_scan[:3, 3]
    assert np.hypot(origin[0], origin[2]) < 0.15
    circle = found.named("bolt circle")
    assert circle is not None
    assert circle.values["count"] == 8
    # 8 3/4 inches: a round number of the unit it was drawn in.
    assert circle.values["circle_diameter_mm"] == pytest.approx(8.75 * 25.4, abs=0.05)
    # A rim with 15° bead seats: none of the specified 5° sizes is right, so none may be sure.
    rim = found.named("rim")
    assert rim is None or rim.confidence < DOUBTFUL


@pytest.mark.parametrize("propose", [propose_knuckle, propose_wheel])
@pytest.mark.parametrize(
    ("name", "unit"),
    [("knuckle_rover.stl", "mm"), ("caliper_tenth_scale.stl", "cm"), ("scan_of_a_drill.obj", "m")],
)
def test_parts_without_hub_or_pad_are_refused_by_name(
    name: str, unit: str, propose: Callable[..., Proposals]
) -> None:
    mesh = read_scan(REAL_MESHES / name, unit=unit).mesh
    with pytest.raises(FitProblem, match=r"goes round an axis|looks like|too small for a wheel"):
        propose(mesh)
