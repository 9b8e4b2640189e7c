"""Simple closed meshes for tests of the gap engine; nothing here is the library's own."""

from __future__ import annotations

import numpy as np

from clearturn.mesh import Mesh


def box(low, high, name="box") -> Mesh:
    """Closed box, outward."""
    x0, y0, z0 = low
    x1, y1, z1 = high
    v = [(x, y, z) for z in (z0, z1) for y in (y0, y1) for x in (x0, x1)]
    f = [
        (0, 2, 3), (0, 3, 1), (4, 5, 7), (4, 7, 6), (0, 1, 5), (0, 5, 4),
        (2, 6, 7), (2, 7, 3), (0, 4, 6), (0, 6, 2), (1, 3, 7), (1, 7, 5),
    ]  # fmt: skip
    return Mesh(v, f, name)


def lathe(profile, segments, *, start=0.0, name="lathe") -> Mesh:
    """Closed profile (k, 2) of (r, z), r > 0, turned about z in flat segments.

    The profile runs so that the solid lies to its left (counter-clockwise in r, z).
    """
    p = np.asarray(profile, float)
    k = len(p)
    angle = start + np.arange(segments) * 2 * np.pi / segments
    ring = np.stack(
        [
            np.outer(np.cos(angle), p[:, 0]),
            np.outer(np.sin(angle), p[:, 0]),
            np.broadcast_to(p[:, 1], (segments, k)),
        ],
        axis=2,
    ).reshape(-1, 3)
    faces = []
    for s in range(segments):
        t = (s + 1) % segments
        for i in range(k):
            j = (i + 1) % k
            a, b, c, d = s * k + i, t * k + i, t * k + j, s * k + j
            faces += [(a, b, c), (a, c, d)]
    return Mesh(ring, faces, name)


def tube(inner, outer, low, high, segments, **kw) -> Mesh:
    """Closed tube about z."""
    return lathe([(outer, low), (outer, high), (inner, high), (inner, low)], segments, **kw)


def sphere(centre, radius, level=3, name="sphere") -> Mesh:
    """Closed sphere from an icosahedron cut `level` times; corners lie on the sphere."""
    g = (1 + 5**0.5) / 2
    v = [
        (-1, g, 0), (1, g, 0), (-1, -g, 0), (1, -g, 0), (0, -1, g), (0, 1, g),
        (0, -1, -g), (0, 1, -g), (g, 0, -1), (g, 0, 1), (-g, 0, -1), (-g, 0, 1),
    ]  # fmt: skip
    f = [
        (0, 11, 5), (0, 5, 1), (0, 1, 7), (0, 7, 10), (0, 10, 11), (1, 5, 9), (5, 11, 4),
        (11, 10, 2), (10, 7, 6), (7, 1, 8), (3, 9, 4), (3, 4, 2), (3, 2, 6), (3, 6, 8),
        (3, 8, 9), (4, 9, 5), (2, 4, 11), (6, 2, 10), (8, 6, 7), (9, 8, 1),
    ]  # fmt: skip
    v = [np.array(p) / np.linalg.norm(p) for p in v]
    for _ in range(level):
        middle: dict[tuple[int, int], int] = {}
        out = []

        def mid(i, j, middle=middle):
            key = (min(i, j), max(i, j))
            if key not in middle:
                m = v[i] + v[j]
                middle[key] = len(v)
                v.append(m / np.linalg.norm(m))
            return middle[key]

        for a, b, c in f:
            x, y, z = mid(a, b), mid(b, c), mid(c, a)
            out += [(a, x, z), (b, y, x), (c, z, y), (x, y, z)]
        f = out
    return Mesh(np.array(v) * radius + np.asarray(centre, float), f, name)


def spoked_wheel(radius, spokes, width, z0, z1, hub=40.0) -> Mesh:
    """Rim tube and box spokes as separate closed pieces."""
    parts = [tube(radius, radius + 8, z0 - 60, z1 + 20, 180), tube(10, hub, z0, z1, 60)]
    for k in range(spokes):
        a = 2 * np.pi * k / spokes
        spoke = box((hub - 5, -width / 2, z0), (radius + 2, width / 2, z1))
        c, s = np.cos(a), np.sin(a)
        pose = np.eye(4)
        pose[:2, :2] = [[c, -s], [s, c]]
        parts.append(spoke.moved(pose))
    return together(parts)


def together(meshes) -> Mesh:
    """All meshes as one, pieces kept apart."""
    offset = np.cumsum([0] + [len(m.vertices) for m in meshes])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + o for m, o in zip(meshes, offset, strict=False)]),
    )


def pose(rotation_vector=(0, 0, 0), shift=(0, 0, 0)) -> np.ndarray:
    """Rigid (4, 4) pose from a rotation vector (rad) and a shift."""
    from scipy.spatial.transform import Rotation

    m = np.eye(4)
    m[:3, :3] = Rotation.from_rotvec(rotation_vector).as_matrix()
    m[:3, 3] = shift
    return m


def random_soup(rng, count, centre, spread, size) -> Mesh:
    """Loose triangles round a centre."""
    c = np.asarray(centre) + rng.uniform(-spread, spread, (count, 3))
    v = c[:, None, :] + rng.uniform(-size, size, (count, 3, 3))
    return Mesh(v.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))


def bits(value) -> object:
    """A frozen result as nested tuples that compare bit by bit."""
    import dataclasses

    if isinstance(value, Mesh):
        return value.name, value.sha256
    if dataclasses.is_dataclass(value):
        return tuple(bits(getattr(value, f.name)) for f in dataclasses.fields(value))
    if isinstance(value, np.ndarray):
        return value.shape, value.tobytes()
    if isinstance(value, float):
        return float(value).hex()
    if isinstance(value, tuple | list):
        return tuple(bits(one) for one in value)
    return value
