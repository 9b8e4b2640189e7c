"""Open scans: which side a part is on, told from outer sides that face each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from clearturn.corner.facing import settled_by_facing
from clearturn.gap import State, still_gap, turning_gap
from clearturn.mesh import Mesh
from clearturn.result import Motion, PlacedPart


def shell(radius: float, *, inward: bool) -> Mesh:
    """An open cylinder wall about the z axis, 200 mm long, its outer side in or out."""
    turns, rows = 180, 41
    a = 2 * np.pi * np.arange(turns) / turns
    z = np.linspace(-100, 100, rows)
    grid = np.stack(
        [
            np.repeat(radius * np.sin(a), rows),
            np.repeat(radius * np.cos(a), rows),
            np.tile(z, turns),
        ],
        axis=1,
    )
    i, j = np.meshgrid(np.arange(turns), np.arange(rows - 1), indexing="ij")
    p, q = i * rows + j, (i + 1) % turns * rows + j
    quads = np.stack([p, p + 1, q + 1, q], axis=-1).reshape(-1, 4)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    normal = np.cross(*(grid[faces[0, k]] - grid[faces[0, 0]] for k in (1, 2)))
    points_in = float(normal[:2] @ grid[faces[0, 0], :2]) < 0
    return Mesh(grid, faces if points_in == inward else faces[:, ::-1])


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    v = [(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    faces = [(0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1),
             (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)]  # fmt: skip
    return Mesh(v, faces)


CALIPER = PlacedPart("caliper", "caliper", Motion.FIXED, box((150, -30, -20), (190, 30, 20)), "t")


def barrel(*, inward: bool) -> PlacedPart:
    return PlacedPart("barrel", "barrel", Motion.TURNS, shell(208.0, inward=inward), "t")


@pytest.mark.parametrize("turning", [True, False])
@pytest.mark.parametrize("swap", [True, False])
def test_open_barrel_round_a_caliper_is_apart_when_its_inside_was_scanned(
    turning: bool, swap: bool
) -> None:
    parts = (CALIPER, barrel(inward=True))
    first, second = parts[::-1] if swap else parts
    turns = ("first" if swap else "second") if turning else None
    if turns is not None:
        gap = turning_gap(first.mesh, second.mesh, turns=turns)
    else:
        gap = still_gap(first.mesh, second.mesh)
    assert gap.state is State.SIGN_UNKNOWN
    settled = settled_by_facing(gap, first.mesh, second.mesh, turns)
    assert settled.state is State.APART
    assert settled.gap_mm == gap.gap_mm
    # corner at (190, 30): its radius, and the wall's chords stand up to 0.032 mm inside 208
    assert settled.gap_mm.upper == pytest.approx(208.0 - np.hypot(190, 30), abs=0.035)
    codes = [finding.code for finding in settled.findings]
    assert "sign-by-facing" in codes
    assert "sign-unknown" not in codes


def test_barrel_that_turns_its_back_stays_unknown() -> None:
    parts = (CALIPER, barrel(inward=False))
    gap = turning_gap(parts[0].mesh, parts[1].mesh)
    assert gap.state is State.SIGN_UNKNOWN
    assert settled_by_facing(gap, parts[0].mesh, parts[1].mesh, "second") is gap


def test_caliper_turned_inside_out_stays_unknown() -> None:
    inside_out = replace(CALIPER, mesh=Mesh(CALIPER.mesh.vertices, CALIPER.mesh.faces[:, ::-1]))
    parts = (inside_out, barrel(inward=True))
    gap = replace(turning_gap(parts[0].mesh, parts[1].mesh), state=State.SIGN_UNKNOWN)
    assert settled_by_facing(gap, parts[0].mesh, parts[1].mesh, "second") is gap


def test_known_states_are_left_alone() -> None:
    other = PlacedPart("o", "other", Motion.FIXED, box((300, 0, 0), (310, 10, 10)), "t")
    gap = still_gap(CALIPER.mesh, other.mesh)
    assert gap.state is State.APART
    assert settled_by_facing(gap, CALIPER.mesh, other.mesh) is gap
    through = PlacedPart("p", "other", Motion.FIXED, box((180, 0, 0), (310, 10, 10)), "t")
    gap = still_gap(CALIPER.mesh, through.mesh)
    assert gap.state is State.INTERFERING
    assert settled_by_facing(gap, CALIPER.mesh, through.mesh) is gap
