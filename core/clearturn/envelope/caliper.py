"""The caliper: a slotted section swept about the spin axis, with boxes."""

from __future__ import annotations

import math

import numpy as np

from clearturn.envelope.boxes import radial_box
from clearturn.envelope.dimensions import CaliperDimensions
from clearturn.envelope.sweep import (
    CHORD_ERROR_MM,
    Envelope,
    Floats,
    Indices,
    arc_segments,
    sagitta,
    section_triangles,
    subdivided,
    swept,
)
from clearturn.mesh import Mesh, join

_SIDE_MM = 8.0
Fan = tuple[Floats, int, int]


def caliper_mesh(
    dims: CaliperDimensions, ring_mid_z_mm: float = 0.0, *, place: str = "", name: str = "caliper"
) -> Envelope:
    """Return the caliper as closed bodies in the hub frame: the main body, then each box.

    Parameters
    ----------
    dims : CaliperDimensions
    ring_mid_z_mm : float
        Height of the ring's mid-plane in the hub frame (−hat_offset of the rotor).
    place : str
        Where the dimensions stand in the job, for messages.

    Raises
    ------
    InputError
        If the dimensions make no caliper.
    """
    dims.check(place)
    section, fans, section_error = _section(dims)
    arc = math.radians(dims.arc_deg)
    steps = arc_segments(dims.outer_radius_mm, arc, CHORD_ERROR_MM - section_error)
    sweep_error = sagitta(dims.outer_radius_mm, arc / steps)
    body = swept(
        section + np.array([0.0, ring_mid_z_mm]),
        (dims.clock_deg, dims.arc_deg),
        steps,
        _cap(section, fans, ring_mid_z_mm),
    )
    boxes = [
        radial_box(
            dims.clock_deg + box.clock_offset_deg,
            (box.r_from_mm, box.r_to_mm),
            (ring_mid_z_mm + box.z_from_mm, ring_mid_z_mm + box.z_to_mm),
            box.width_mm,
        )
        for box in dims.boxes
    ]
    return Envelope(join([body, *boxes], name), section_error + sweep_error)


def caliper_section(dims: CaliperDimensions) -> Floats:
    """Return the body's section, (k, 2): r and z' from the ring's mid-plane, counter-clockwise."""
    dims.check()
    return _section(dims)[0]


def caliper_bodies(mesh: Mesh, dims: CaliperDimensions) -> list[Mesh]:
    """Return the main body and each box of a mesh made by `caliper_mesh`."""
    counts = [len(radial_box(0.0, (b.r_from_mm, b.r_to_mm), (b.z_from_mm, b.z_to_mm),
                             b.width_mm).faces) for b in dims.boxes]  # fmt: skip
    ends = len(mesh.faces) - np.cumsum([0, *counts[::-1]])[::-1]
    starts = np.concatenate([[0], ends[:-1]])
    return [mesh.part(np.arange(a, b)) for a, b in zip(starts, ends, strict=True)]


def _cap(section: Floats, fans: list[Fan], z_mm: float) -> tuple[Floats, Indices]:
    extra, triangles = section_triangles(section, fans)
    return extra + np.array([0.0, z_mm]), triangles


def _section(dims: CaliperDimensions) -> tuple[Floats, list[Fan], float]:
    low, high = dims.inner_radius_mm, dims.outer_radius_mm
    bridge, slot = dims.bridge_inner_radius_mm, dims.slot_half_width_mm
    back, front = -dims.inboard_width_mm, dims.outboard_width_mm
    outer, inner = dims.corner_radius_mm, dims.inner_corner_radius_mm
    corners = [
        ((low, back), inner), ((high, back), outer), ((high, front), outer), ((low, front), inner),
        ((low, slot), 0.0), ((bridge, slot), 0.0), ((bridge, -slot), 0.0), ((low, -slot), 0.0),
    ]  # fmt: skip
    # Half the allowed error for the rounding, the rest for the sweep; they add on the torus.
    error = 0.0
    pieces: list[Floats] = []
    arcs: list[tuple[Floats, Floats, Floats]] = []
    for i, (corner, radius) in enumerate(corners):
        here = np.array(corner)
        if radius <= 0:
            pieces.append(here[None])
            continue
        back_dir = _unit(np.array(corners[i - 1][0]) - here)
        on_dir = _unit(np.array(corners[(i + 1) % len(corners)][0]) - here)
        steps = arc_segments(radius, math.pi / 2, CHORD_ERROR_MM / 2)
        error = max(error, sagitta(radius, math.pi / 2 / steps))
        centre = here + radius * (back_dir + on_dir)
        t = np.linspace(0.0, math.pi / 2, steps + 1)[:, None]
        nodes = centre - radius * (np.cos(t) * on_dir + np.sin(t) * back_dir)
        nodes[0], nodes[-1] = here + radius * back_dir, here + radius * on_dir
        pieces.append(nodes)
        arcs.append((centre, nodes[0], nodes[-1]))
    section = subdivided(_distinct(np.concatenate(pieces)), _SIDE_MM)
    fans = [(centre, _find(section, a), _find(section, b)) for centre, a, b in arcs]
    return section, [f for f in fans if f[1] < f[2]], error


def _distinct(points: Floats) -> Floats:
    gap = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
    kept: Floats = points[gap > 1e-9]
    return kept


def _find(points: Floats, wanted: Floats) -> int:
    return int(np.argmin(np.linalg.norm(points - wanted, axis=1)))


def _unit(v: Floats) -> Floats:
    out: Floats = v / float(np.hypot(*v))
    return out
