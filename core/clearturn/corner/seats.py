"""Declared contacts: which faces a seat takes out of the gap of its two parts.

Left out are the seated faces and those wholly within 3 mm of the seat, on both parts, for that pair
only.  A mesh from dimensions may have faces far larger than that; they are split first, so that
leaving one out never leaves out more than the seat and its rim.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearturn.corner.band import Mask, in_band
from clearturn.job.model import Band, Seat
from clearturn.mesh import Mesh

RIM_MM = 3.0
EDGE_MM = 1.5  # longest edge near a seat: small against the rim
_SPLITS = 12  # 1500 mm / 2^12 is below the edge wanted

Faces = NDArray[np.int64]


def grown(band: Band, by_mm: float) -> Band:
    """Return a band wider by `by_mm` in r and z; open ends stay open, clock ends too."""
    return replace(
        band,
        r_from_mm=None if band.r_from_mm is None else band.r_from_mm - by_mm,
        r_to_mm=None if band.r_to_mm is None else band.r_to_mm + by_mm,
        z_from_mm=None if band.z_from_mm is None else band.z_from_mm - by_mm,
        z_to_mm=None if band.z_to_mm is None else band.z_to_mm + by_mm,
        clock_from_deg=None,
        clock_to_deg=None,
    )


def split_near(mesh: Mesh, seat: Seat) -> Mesh:
    """Split faces across a seat's rim until no edge exceeds 1.5 mm; the mesh stays closed.

    Parameters
    ----------
    mesh : Mesh
        In the hub frame.

    Returns
    -------
    Mesh
        The same surface; the mesh itself where nothing is too large.
    """
    near = _around(mesh, seat.band)
    vertices, faces = mesh.vertices, mesh.faces[near]
    fixed = _border(faces)
    for _ in range(_SPLITS):
        edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
        ends = vertices[edges]
        long = np.linalg.norm(ends[:, :, 0] - ends[:, :, 1], axis=2) > EDGE_MM
        long &= _at_rim(vertices, faces, seat.band)[:, None]
        # The faces beyond must not learn of a split.
        long &= ~np.isin(_keys(edges), fixed)
        if not long.any():
            break
        vertices, faces = _halved(vertices, faces, edges, long)
    if vertices is mesh.vertices:
        return mesh
    return Mesh(vertices, np.concatenate([mesh.faces[~near], faces]), mesh.name)


def _around(mesh: Mesh, band: Band) -> Mask:
    # The faces at the rim and two rings of neighbours: all that a split can reach.
    chosen = _at_rim(mesh.vertices, mesh.faces, band)
    for _ in range(2):
        touched = np.zeros(len(mesh.vertices), dtype=np.bool_)
        touched[mesh.faces[chosen]] = True
        chosen = np.asarray(touched[mesh.faces].any(axis=1), dtype=np.bool_)
    return chosen


def _keys(edges: NDArray[np.int32]) -> NDArray[np.int64]:
    return edges[..., 0].astype(np.int64) << 32 | edges[..., 1]


def _border(faces: NDArray[np.int32]) -> NDArray[np.int64]:
    keys = _keys(np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)).ravel()
    found, times = np.unique(keys, return_counts=True)
    return np.asarray(found[times == 1])


def _at_rim(vertices: NDArray[np.float64], faces: NDArray[np.int32], band: Band) -> Mask:
    # Faces that reach into the band or its rim without lying in the band as a whole.
    near = grown(band, RIM_MM + EDGE_MM)
    corners = vertices[faces]
    middles = (corners + np.roll(corners, 1, axis=1)) / 2
    centres = corners.mean(axis=1)
    reaches = in_band(vertices, near)[faces].any(axis=1) | in_band(centres, near)
    reaches |= in_band(middles.reshape(-1, 3), near).reshape(-1, 3).any(axis=1)
    seated = in_band(vertices, band)[faces].all(axis=1)
    return np.asarray(reaches & ~seated, dtype=np.bool_)


def _halved(
    vertices: NDArray[np.float64],
    faces: NDArray[np.int32],
    edges: NDArray[np.int32],
    long: Mask,
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    # Every marked edge gets one middle point that both its faces use: no cracks open.
    wanted = _keys(edges)
    keys = np.unique(wanted[long])
    middles = (vertices[keys >> 32] + vertices[keys & 0xFFFFFFFF]) / 2
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    is_marked = keys[at] == wanted
    middle = np.where(is_marked, at + len(vertices), -1).astype(np.int32)
    pieces = [faces[~is_marked.any(axis=1)]]
    count = is_marked.sum(axis=1)
    for turn in range(3):
        f, m = np.roll(faces, -turn, axis=1), np.roll(middle, -turn, axis=1)
        k = np.roll(is_marked, -turn, axis=1)
        one = (count == 1) & k[:, 0]
        pieces += _rows(f, m, one, ("a", "p", "c"), ("p", "b", "c"))
        two = (count == 2) & ~k[:, 2]
        pieces += _rows(f, m, two, ("p", "b", "q"), ("a", "p", "q"), ("a", "q", "c"))
    three = count == 3
    pieces += _rows(
        faces, middle, three, ("a", "p", "r"), ("p", "b", "q"), ("r", "q", "c"), ("p", "q", "r")
    )
    return np.concatenate([vertices, middles]), np.concatenate(pieces)


def _rows(
    faces: NDArray[np.int32], middle: NDArray[np.int32], chosen: Mask, *templates: tuple[str, ...]
) -> list[NDArray[np.int32]]:
    # a, b, c: corners; p, q, r: middles of ab, bc, ca.
    names = dict(zip("abc", faces[chosen].T, strict=True))
    names |= dict(zip("pqr", middle[chosen].T, strict=True))
    return [np.stack([names[letter] for letter in t], axis=1) for t in templates]


def excluded_faces(mesh: Mesh, seat: Seat) -> Faces:
    """Return the faces of one part that a seat leaves out: seated, or within 3 mm of the seat.

    Parameters
    ----------
    mesh : Mesh
        In the hub frame, split near the seat.
    """
    seated = in_band(mesh.vertices, seat.band)
    if not seated.any():
        return np.zeros(0, np.int64)
    tree = cKDTree(mesh.vertices[seated])
    close = in_band(mesh.vertices, grown(seat.band, RIM_MM)) & ~seated
    distance, _ = tree.query(mesh.vertices[close], distance_upper_bound=RIM_MM)
    out = seated.copy()
    out[np.flatnonzero(close)[np.isfinite(distance)]] = True
    return np.flatnonzero(out[mesh.faces].all(axis=1))
