"""A dummy to print before metal is cut: bracket plate and caliper envelope as one STL."""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from clearturn.envelope import CaliperDimensions, caliper_mesh
from clearturn.mesh import Mesh, join
from clearturn.trade.bracket import Bracket, holes, plate_frame, plate_z_mm

_HOLE_SIDES = 64
_HEADER = b"dummy for trying on, mm, not for driving"


def bracket_mesh(inputs: Bracket) -> Mesh:
    """Return the plate with its axial holes as a closed mesh in the hub frame.

    Radial holes are left out: they do not matter for trying on.
    """
    plate = inputs.plate
    half = plate.width_mm / 2.0
    outline = shapely.box(-half, plate.v_from_mm, half, plate.v_to_mm)
    for hole in holes(inputs):
        if hole.direction == "axial":
            outline = outline.difference(_disc(hole.u_mm, hole.v_mm, hole.diameter_mm / 2.0))
    frame = plate_frame(inputs.lugs)
    low, high = plate_z_mm(inputs)
    flat, faces = _extruded(outline, high - low)
    xy = np.array([frame.to_xy(u, v) for u, v, _ in flat])
    vertices = np.column_stack([xy, flat[:, 2] + low])
    # The plate's frame may be left-handed seen along the spin axis; faces must look outwards.
    return Mesh(vertices, faces if frame.right_handed else faces[:, ::-1], "bracket")


def _disc(u: float, v: float, radius: float) -> shapely.Polygon:
    # Vertices outside the true circle, so that a bolt goes in.
    out = radius / math.cos(math.pi / _HOLE_SIDES)
    angles = math.tau * np.arange(_HOLE_SIDES) / _HOLE_SIDES
    return shapely.Polygon(np.column_stack([u + out * np.cos(angles), v + out * np.sin(angles)]))


def _extruded(
    outline: shapely.Polygon, height: float
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    shape = shapely.geometry.polygon.orient(outline)
    triangles = []
    for part in shapely.constrained_delaunay_triangles(shape).geoms:
        a, b, c = shapely.get_coordinates(shapely.geometry.polygon.orient(part))[:3]
        triangles.append([(*a, height), (*b, height), (*c, height)])
        triangles.append([(*c, 0.0), (*b, 0.0), (*a, 0.0)])
    for ring in (shape.exterior, *shape.interiors):
        points = shapely.get_coordinates(ring)
        for a, b in pairwise(points):
            triangles.append([(*a, 0.0), (*b, 0.0), (*b, height)])
            triangles.append([(*a, 0.0), (*b, height), (*a, height)])
    corners = np.asarray(triangles, dtype=np.float64).reshape(-1, 3)
    vertices, index = np.unique(corners.round(9), axis=0, return_inverse=True)
    return vertices, index.reshape(-1, 3).astype(np.int32)


def dummy_mesh(
    inputs: Bracket, caliper: CaliperDimensions | None = None, ring_mid_z_mm: float = 0.0
) -> Mesh:
    """Return bracket and caliper envelope together, hub frame; each a closed body of its own."""
    plate = bracket_mesh(inputs)
    if caliper is None:
        return plate
    return join([plate, caliper_mesh(caliper, ring_mid_z_mm).mesh], "dummy")


def stl_bytes(meshes: Iterable[Mesh]) -> bytes:
    """Return meshes as one binary STL, mm."""
    corners = np.concatenate([mesh.vertices[mesh.faces] for mesh in meshes])
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    record = np.dtype([("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")])
    rows = np.zeros(len(corners), record)
    rows["n"], rows["p"] = normal, corners
    return _HEADER.ljust(80, b" ") + struct.pack("<I", len(rows)) + rows.tobytes()
