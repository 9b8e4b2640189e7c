"""The gap engine against elementary closed forms (Euclidean geometry, derived in each test)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from gap_shapes import box, lathe, pose, sphere, tube

from clearturn.gap import Axis, State, still_gap, turning_gap

MICRON = 1e-3


def facet(radius, count):
    """How much a bore of `count` chords reads short of its radius: R(1 - cos(pi/n))."""
    return radius * (1 - math.cos(math.pi / count))


def holds(gap, value, width=MICRON):
    assert gap.gap_mm.lower - 1e-9 <= value <= gap.gap_mm.upper + 1e-9, (gap.gap_mm, value)
    assert gap.gap_mm.width <= width + 1e-9


@pytest.mark.parametrize("count", [90, 360])
def test_point_in_a_bore_reads_radius_minus_its_own_radius_less_the_chords(count):
    # Turning bore of n chords: its least radius is R cos(pi/n), wherever it stands.
    bore = tube(220, 230, -50, 50, count)
    tip = lathe([(0.001, -1), (0.002, 0), (0.001, 1)], 3)
    placed = tip.moved(pose(shift=(120, 90, 5)))
    reach = float(np.hypot(placed.vertices[:, 0], placed.vertices[:, 1]).max())
    gap = turning_gap(placed, bore)
    assert gap.state is State.APART
    holds(gap, 220 - facet(220, count) - reach)


def test_box_corner_in_a_barrel_is_nearest_by_its_corner_not_its_face():
    # Corner at (a, b): R - sqrt(a² + b²), not R - a.
    bore = tube(220, 230, -50, 50, 360)
    gap = turning_gap(box((150, -40, -10), (200, 40, 10)), bore)
    holds(gap, 220 - facet(220, 360) - math.hypot(200, 40))
    assert math.hypot(*gap.first_point_mm[:2]) == pytest.approx(math.hypot(200, 40), abs=1e-9)


def test_eccentric_cylinder_in_a_bore_reads_difference_of_radii_less_eccentricity():
    # R - r - e, both sets of chords with a corner on the line of centres.
    bore = tube(220, 230, -50, 50, 720)
    plug = tube(10, 60, -20, 20, 720).moved(pose(shift=(30, 0, 0)))
    holds(turning_gap(plug, bore), 220 - facet(220, 720) - 60 - 30)


def test_sphere_under_a_turning_disc_reads_its_height_less_its_radius():
    disc = tube(20, 150, 40, 50, 90)
    ball = sphere((80, 30, 10), 12, level=3)
    holds(turning_gap(ball, disc), 40 - (ball.vertices[:, 2].max()))


@pytest.mark.parametrize("half_angle", [5, 15, 30])
def test_cone_barrel_reads_across_its_slope(half_angle):
    # Turning cone r(z) = 200 + z tan t: from (rho, z) the distance is (r(z) - rho) cos t, and the
    # barrel's own corners lie on the cone, its chords R(1 - cos) inside it.
    t = math.radians(half_angle)
    n = 720
    low, high = 200 - 60 * math.tan(t), 200 + 60 * math.tan(t)
    barrel = lathe([(260, -60), (260, 60), (high, 60), (low, -60)], n)
    pin = lathe([(0.001, -1), (0.002, 0), (0.001, 1)], 3).moved(pose(shift=(180, 0, 0)))
    corners = np.c_[np.hypot(pin.vertices[:, 0], pin.vertices[:, 1]), pin.vertices[:, 2]]
    # The chord's middle is nearest: there the cone's radius is r cos(pi/n) at every height.
    shrink = math.cos(math.pi / n)
    slope = math.tan(t) * shrink
    best = min(((200 * shrink + z * slope) - r) / math.hypot(1, slope) for r, z in corners)
    holds(turning_gap(pin, barrel), best)


def test_facets_alone_read_a_tenth_of_a_millimetre_short_on_a_coarse_barrel():
    # R 220, n 90 reads 0.134 mm short; n 360 reads 0.0084 (R(1 - cos(pi/n))).
    assert facet(220, 90) == pytest.approx(0.134, abs=5e-4)
    assert facet(220, 360) == pytest.approx(0.0084, abs=5e-5)


def test_still_boxes_read_their_corner_distance():
    a = box((0, 0, 0), (1, 1, 1))
    b = box((4, 5, 13), (6, 7, 15))
    gap = still_gap(a, b)
    holds(gap, math.sqrt(9 + 16 + 144), 1e-5)
    assert np.allclose(gap.direction, np.array([3, 4, 12]) / 13)


def test_still_edges_that_cross_at_a_height_read_that_height():
    a = box((-10, -1, 0), (10, 1, 2))
    b = box((-1, -10, 5), (1, 10, 7))
    holds(still_gap(a, b), 3.0, 1e-5)


def test_answer_is_the_same_about_any_line_in_space():
    bore, part = tube(220, 230, -50, 50, 180), box((150, -40, -10), (200, 40, 10))
    straight = turning_gap(part, bore)
    move = pose((0.4, -0.9, 0.3), (800, -1200, 3000))
    axis = Axis.through(move[:3, 3], move[:3, 2] * 7)
    slanted = turning_gap(part, bore, axis=axis, pose_first=move, pose_second=move)
    reach, chord = math.hypot(200, 40), 220 * math.cos(math.pi / 180)
    holds(straight, chord - reach)
    holds(slanted, chord - reach)
    assert slanted.first_rz_mm[0] == pytest.approx(straight.first_rz_mm[0], abs=1e-3)


def test_wheel_angle_brings_the_two_points_together():
    wheel = box((60, -2, 20), (200, 2, 30))
    part = box((100, -10, -30), (150, 10, 15))
    for turns, sign in (("second", 1), ("first", -1)):
        gap = turning_gap(part, wheel, turns=turns)
        d = float(np.linalg.norm(gap.first_point_mm - gap.second_point_mm))
        assert d == pytest.approx(gap.gap_mm.upper, abs=1e-9)
        assert 0 <= gap.turn_angle_deg < 360
        a = math.radians(gap.turn_angle_deg) * sign
        moved = pose((0, 0, a))
        still = still_gap(part, wheel, pose_second=moved)
        assert gap.gap_mm.lower <= still.gap_mm.upper <= gap.gap_mm.upper + 1e-6
