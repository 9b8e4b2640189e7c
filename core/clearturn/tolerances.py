"""Every tolerance of the program with its unit and the reason for its size.

A module that needs a threshold takes it from here, so that they can be read in one place.
"""

from __future__ import annotations

GAP_TOLERANCE_MM = 0.001
"""Width of a certified gap by default, mm: far below what scan or machine can hold (0.02 mm)."""

LEAST_GAP_TOLERANCE_MM = 1e-6
"""Narrowest width one may ask for, mm: at coordinates of some metres, double precision leaves
about 1e-9 mm after the few hundred roundings of a distance, and the rest is a margin."""

MOST_GAP_TOLERANCE_MM = 10.0
"""Widest width one may ask for, mm: beyond it the answer would say nothing about a brake."""

POSE_RIGID = 1e-6
"""How far the columns of a pose may be from unit length and square to each other, no unit: the
rounding of a matrix written with seven digits; 0.5 µm at a radius of 500 mm."""
