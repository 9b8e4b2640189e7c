"""Balance-weight band, shield, bracket and rim barrel: the simple envelopes."""

from __future__ import annotations

import math

import numpy as np

from clearturn.envelope.boxes import radial_box
from clearturn.envelope.dimensions import (
    BracketDimensions,
    RimDimensions,
    ShieldDimensions,
    WeightBand,
)
from clearturn.envelope.sweep import (
    CHORD_ERROR_MM,
    Envelope,
    Floats,
    arc_segments,
    full_circle_segments,
    revolved,
    sagitta,
    section_triangles,
    subdivided,
    swept,
)
from clearturn.errors import InputError
from clearturn.mesh import Mesh

_SIDE_MM = 12.0


def inner_profile(
    mesh: Mesh, z_from_mm: float, z_to_mm: float, *, least_radius_mm: float, step_mm: float = 1.0
) -> Floats:
    """Return the least radius of a barrel's scan at stations along z.

    Parameters
    ----------
    mesh : Mesh
        Wheel, axis on z.
    z_from_mm, z_to_mm : float
        Range of the band.
    least_radius_mm : float
        Nothing nearer the axis counts (spokes and centre lie below it).
    step_mm : float
        Length of the slices; each tells the least radius of the vertices in it.

    Returns
    -------
    profile : (k, 2) ndarray
        r and z at the slices' middles, and at both ends of the range.

    Raises
    ------
    InputError
        If a slice holds no vertex: the scan shows no barrel there.
    """
    r = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1])
    z = mesh.vertices[:, 2]
    count = max(1, math.ceil((z_to_mm - z_from_mm) / step_mm))
    chosen = (r >= least_radius_mm) & (z >= z_from_mm) & (z <= z_to_mm)
    slot = np.minimum(
        ((z[chosen] - z_from_mm) / (z_to_mm - z_from_mm) * count).astype(int), count - 1
    )
    least = np.full(count, np.inf)
    np.minimum.at(least, slot, r[chosen])
    seen = np.flatnonzero(np.isfinite(least))
    gaps = np.diff(np.concatenate([[-1], seen, [count]]))
    if len(seen) == 0 or (gaps.max() - 1) * (z_to_mm - z_from_mm) / count > 5.0:
        raise InputError(
            "the wheel's scan shows no barrel where the weight band lies",
            place=f"z {z_from_mm:.6g} … {z_to_mm:.6g} mm",
            found=f"{len(seen)} of {count} slices with points beyond r {least_radius_mm:.6g} mm",
            mend="scan the barrel there or move the band",
        )
    middle = z_from_mm + (np.arange(count) + 0.5) * (z_to_mm - z_from_mm) / count
    profile = np.stack([least[seen], middle[seen]], axis=1)
    ends = np.array([[profile[0, 0], z_from_mm], [profile[-1, 0], z_to_mm]])
    return np.concatenate([ends[:1], profile, ends[1:]])


def weight_band_mesh(
    band: WeightBand,
    barrel_profile: Floats,
    wheel_z_mm: float = 0.0,
    *,
    place: str = "",
    name: str = "balance weights",
) -> Envelope:
    """Return the band that balance weights sweep inside the barrel, as a closed ring.

    Parameters
    ----------
    band : WeightBand
    barrel_profile : (k, 2) array_like
        r and z of the barrel's inner surface in the wheel frame, z increasing, covering the band.
    wheel_z_mm : float
        Height of the wheel's pad plane in the hub frame.

    Raises
    ------
    InputError
        If the band's dimensions or the profile cannot be used.
    """
    band.check(place)
    profile = np.asarray(barrel_profile, dtype=np.float64)
    if profile.ndim != 2 or profile.shape[1] != 2 or len(profile) < 2:
        raise InputError("a barrel profile is a list of r and z", found=f"shape {profile.shape}")
    if not np.isfinite(profile).all() or (np.diff(profile[:, 1]) <= 0).any():
        raise InputError("a barrel profile must be finite, in order of z", place=place or None)
    if profile[0, 1] > band.z_from_mm or profile[-1, 1] < band.z_to_mm:
        raise InputError(
            "the weight band reaches beyond the barrel's profile",
            place=place or None,
            found=f"z {band.z_from_mm:.6g} … {band.z_to_mm:.6g} mm",
            allowed=f"z {profile[0, 1]:.6g} … {profile[-1, 1]:.6g} mm",
        )
    inside = (profile[:, 1] > band.z_from_mm) & (profile[:, 1] < band.z_to_mm)
    z = np.concatenate([[band.z_from_mm], profile[inside, 1], [band.z_to_mm]])
    r = np.interp(z, profile[:, 1], profile[:, 0])
    if r.min() <= band.thickness_mm:
        raise InputError("the barrel is smaller than its weights", found=f"r {r.min():.6g} mm")
    outer = np.stack([r, z + wheel_z_mm], axis=1)
    inner = np.stack([r - band.thickness_mm, z + wheel_z_mm], axis=1)[::-1]
    return _revolved(np.concatenate([outer, inner]), name)


def shield_mesh(dims: ShieldDimensions, *, place: str = "", name: str = "shield") -> Envelope:
    """Return the shield as a closed mesh in the hub frame; a full ring at 360°."""
    dims.check(place)
    low, high = dims.inner_radius_mm, dims.outer_radius_mm
    section = np.array(
        [(low, dims.z_from_mm), (high, dims.z_from_mm), (high, dims.z_to_mm), (low, dims.z_to_mm)]
    )
    if dims.arc_deg >= 360.0:
        return _revolved(section, name)
    section = subdivided(section, _SIDE_MM)
    arc = math.radians(dims.arc_deg)
    steps = arc_segments(high, arc, CHORD_ERROR_MM)
    cap = section_triangles(section, [])
    mesh = swept(section, (dims.clock_deg, dims.arc_deg), steps, cap, name)
    return Envelope(mesh, sagitta(high, arc / steps))


def bracket_mesh(dims: BracketDimensions, *, place: str = "", name: str = "bracket") -> Envelope:
    """Return the bracket's plate as a closed mesh in the hub frame."""
    dims.check(place)
    mesh = radial_box(
        dims.clock_deg, (dims.r_from_mm, dims.r_to_mm), (dims.z_from_mm, dims.z_to_mm),
        dims.width_mm, name,
    )  # fmt: skip
    return Envelope(mesh, 0.0)


def rim_mesh(
    dims: RimDimensions, wheel_z_mm: float = 0.0, *, place: str = "", name: str = "rim"
) -> Envelope:
    """Return the rim's barrel as a closed ring in the hub frame, the wall outside the stations."""
    dims.check(place)
    inner = np.array([(s.inner_radius_mm, s.z_mm + wheel_z_mm) for s in dims.stations])
    return _revolved(np.concatenate([inner + np.array([dims.wall_mm, 0.0]), inner[::-1]]), name)


def _revolved(section: Floats, name: str) -> Envelope:
    radius = float(section[:, 0].max())
    count = full_circle_segments(radius, CHORD_ERROR_MM)
    mesh = revolved(subdivided(section, _SIDE_MM), count, name)
    return Envelope(mesh, sagitta(radius, 2 * math.pi / count))
