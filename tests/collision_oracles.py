"""Two general collision libraries from the registries, as oracles for distances."""

from __future__ import annotations

import math

import coal
import fcl
import numpy as np

from clearturn.mesh import Mesh


def coal_model(mesh: Mesh):
    model = coal.BVHModelOBBRSS()
    model.beginModel(len(mesh.faces), len(mesh.vertices))
    points = coal.StdVec_Vec3s()
    for p in mesh.vertices:
        points.append(p)
    triangles = coal.StdVec_Triangle()
    for a, b, c in mesh.faces:
        triangles.append(coal.Triangle(int(a), int(b), int(c)))
    model.addSubModel(points, triangles)
    model.endModel()
    return model


def coal_distance(first, second, turn=None, result=None):
    here, there = coal.Transform3s.Identity(), coal.Transform3s()
    if turn is not None:
        there.setRotation(turn)
    result = coal.DistanceResult() if result is None else result
    return coal.distance(first, here, second, there, coal.DistanceRequest(False), result)


def fcl_distance(first, second, turn=None):
    def model(mesh):
        m = fcl.BVHModel()
        m.beginModel(len(mesh.vertices), len(mesh.faces))
        m.addSubModel(mesh.vertices, mesh.faces)
        m.endModel()
        return m

    rotation = np.eye(3) if turn is None else turn
    a = fcl.CollisionObject(model(first), fcl.Transform())
    b = fcl.CollisionObject(model(second), fcl.Transform(rotation, np.zeros(3)))
    return fcl.distance(a, b, fcl.DistanceRequest(), fcl.DistanceResult())


def about_z(angle):
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
