"""Caliper lugs in the ways scans show them: pins screwed in, threads seen by their rims only, holes
square to the spin axis.

An invented knuckle of tests/reference/generated_corners.py with its lug holes plugged and others
added; places and sizes are those put in.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from clearturn.mesh import Mesh
from clearturn.propose import Proposals, propose_knuckle

sys.path.insert(0, str(Path(__file__).resolve().parent))
import generated_corners as made

SEED, SPACING = 5013, 2.8
PIN_RADIUS, PIN_LENGTH = 5.9, 22.0
SIDE_PLACES = ((-62.0, -66.0), (62.0, -66.0))  # x and z of holes along y
SIDE_RADIUS, SIDE_FACE_Y = 6.2, -118.0


def drawn() -> dict:
    return made.draw_knuckle(np.random.default_rng(SEED))


def plugged(d: dict) -> Callable[[np.ndarray], np.ndarray]:
    base = made.knuckle_solid(d)
    middle = d["lug_face"] - d["lug_length"] / 2

    def solid(p: np.ndarray) -> np.ndarray:
        f = base(p)
        for lug in made.lug_centres(d):
            at = lug + np.array([0.0, 0.0, middle])
            half = d["lug_length"] / 2
            plug = made.c.cylinder(p, at, 2, d["lug_bore_radius"] + 2.5, half, 0.2)
            f = np.minimum(f, plug)
        return f

    return solid


def with_pins(d: dict) -> Callable[[np.ndarray], np.ndarray]:
    base = plugged(d)

    def solid(p: np.ndarray) -> np.ndarray:
        f = base(p)
        for lug in made.lug_centres(d):
            at = lug + np.array([0.0, 0.0, d["lug_face"] + PIN_LENGTH / 2 - 3.0])
            f = np.minimum(f, made.c.cylinder(p, at, 2, PIN_RADIUS, PIN_LENGTH / 2 + 3.0, 0.8))
        return f

    return solid


def with_side_holes(d: dict) -> Callable[[np.ndarray], np.ndarray]:
    base = plugged(d)

    def solid(p: np.ndarray) -> np.ndarray:
        f = base(p)
        for x, z in SIDE_PLACES:
            at = np.array([x, SIDE_FACE_Y + 12.0, z])
            f = np.minimum(f, made.c.cylinder(p, at, 1, 15.0, 12.0, 0.8))
            f = made.c.cut(f, made.c.cylinder(p, at, 1, SIDE_RADIUS, 40.0, 0.5), 0.5)
        return f

    return solid


@lru_cache
def scan(kind: str) -> made.Generated:
    d = drawn()
    solid = {"pins": with_pins, "side": with_side_holes, "plain": made.knuckle_solid}[kind](d)
    reach = 175.0
    low, high = np.array([-reach, -reach, d["housing_back"] - 66]), np.array([reach, reach, 54.0])
    return made._scan(
        31, np.random.default_rng(31), solid, (low, high), SPACING, d, made.knuckle_features(d)
    )


def places(found: Proposals, one: made.Generated, word: str) -> np.ndarray:
    """Return the lugs' places in the part's own frame."""
    fits = [found.named(f"lug {k} {word}") for k in (1, 2)]
    assert all(fit is not None and fit.fit is not None for fit in fits)
    pose = one.part_from_scan
    return np.array([pose[:3, :3] @ fit.fit.point_mm + pose[:3, 3] for fit in fits])


@pytest.mark.slow
def test_screwed_in_pins_tell_the_threads() -> None:
    one = scan("pins")
    found = propose_knuckle(Mesh(one.vertices, one.faces))
    lugs = found.named("caliper lugs")
    assert lugs is not None
    assert lugs.values["kind"] == "pins"
    true = np.array([x[:2] for x in made.lug_centres(drawn())])
    for place in places(found, one, "pin"):
        assert np.linalg.norm(true - place[:2], axis=1).min() < 0.15
    for k in (1, 2):
        pin = found.named(f"lug {k} pin")
        assert pin is not None
        assert pin.values["radius_mm"] == pytest.approx(PIN_RADIUS, abs=0.1)


@pytest.mark.slow
def test_threads_whose_walls_were_not_seen_are_told_by_their_rims() -> None:
    one = scan("plain")
    d = drawn()
    corners = one.vertices[one.faces] @ one.part_from_scan[:3, :3].T + one.part_from_scan[:3, 3]
    middle = corners.mean(axis=1)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    upright = np.abs(normal[:, 2]) > 0.9 * np.linalg.norm(normal, axis=1)
    keep = np.ones(len(one.faces), dtype=bool)
    for lug in made.lug_centres(d):
        off = np.linalg.norm(middle[:, :2] - lug[:2], axis=1)
        keep &= ~(
            (off < d["lug_bore_radius"] + 0.8) & ~upright & (middle[:, 2] < d["lug_face"] + 1)
        )
    found = propose_knuckle(Mesh(one.vertices, one.faces[keep]))
    lugs = found.named("caliper lugs")
    assert lugs is not None
    true = [np.array([*x[:2], d["lug_face"]]) for x in made.lug_centres(d)]
    spacing = float(np.linalg.norm(true[0] - true[1]))
    assert lugs.values["spacing_mm"] == pytest.approx(spacing, abs=0.5)
    # Without a wall there is no cylinder to fit, and that is said; the faces are there.
    assert {"lug 1 bore", "lug 2 bore"} <= {one.name for one in found.not_found}
    face = found.named("lug 1 outboard face")
    assert face is not None
    assert face.fit is not None


@pytest.mark.slow
def test_holes_square_to_the_spin_axis_are_found() -> None:
    one = scan("side")
    found = propose_knuckle(Mesh(one.vertices, one.faces))
    lugs = found.named("caliper lugs")
    assert lugs is not None
    assert lugs.values["along"] == "square to the spin axis"
    assert lugs.values["spacing_mm"] == pytest.approx(124.0, abs=0.3)
    true = np.array(SIDE_PLACES)
    for place in places(found, one, "bore"):
        assert np.linalg.norm(true - place[[0, 2]], axis=1).min() < 0.2
