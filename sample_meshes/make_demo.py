"""Make the demo corner's two scans: scanner-like meshes of invented parts.

    python make_demo.py             writes knuckle_scan.stl and wheel_scan.stl
    python make_demo.py --remesh    first makes the clean base meshes in base/ anew (minutes)

`noisy_scan(name, seed)` gives the same scan with other noise and other specks, quickly: all seeds
share one base mesh, whose vertices lie on the true surface of `construction`.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import construction as c
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]
Faces = NDArray[np.int32]

HERE = Path(__file__).resolve().parent
SCANS = ("knuckle", "wheel")
SEED = {"knuckle": 20261, "wheel": 20262}  # of the two committed files
SIGMA = 0.03  # standard deviation of the noise along the normal, mm
KERNEL = 2.2  # width of the smoothing kernel, mm
CORRELATION_LENGTH = 2 * KERNEL  # where the correlation exp(-d^2 / (4 kernel^2)) is 1/e, mm
SPECKS = 40
QUANTUM = 1e-5  # the base meshes are kept as whole numbers of this, mm

# Where each scan lies: part_from_scan = [turn | shift], turn from a rotation vector in degrees.
POSES: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "knuckle": ((-38.0, 71.0, 112.0), (143.2, -88.7, -410.9)),
    "wheel": ((151.0, -24.0, 47.0), (-61.3, 212.8, 390.4)),
}


def part_from_scan(name: str) -> Array:
    """Pose that takes scan coordinates to the hub frame (knuckle) or wheel frame (wheel)."""
    turn, shift = POSES[name]
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_rotvec(turn, degrees=True).as_matrix()
    pose[:3, 3] = shift
    return pose


def to_scan(name: str, points: Array) -> Array:
    """Points of the hub frame (knuckle) or wheel frame (wheel) in the scan's coordinates."""
    pose = part_from_scan(name)
    return (np.asarray(points, float) - pose[:3, 3]) @ pose[:3, :3]


# --- base meshes ------------------------------------------------------------------------------


def _knuckle_limit(p: Array) -> Array:
    r = np.hypot(p[:, 0], p[:, 1])
    fine = np.linalg.norm(p - np.asarray(c.EYE_CENTRE), axis=1) < 24
    for clock in c.LUG_CLOCKS.values():
        lug = c.clock_point(c.LUG_RADIUS_TO_AXIS, clock, c.LUG_Z[1])
        fine |= np.linalg.norm(p - lug, axis=1) < 20
    fine |= (r < 40) & (p[:, 2] > -2)
    fine |= (r > 70) & (r < 90) & (p[:, 2] > c.HOUSING_Z[0] - 2)
    return np.where(fine, 2.0, 3.1)


def _tie_rod_limit(p: Array) -> Array:
    top = np.asarray(c.BALL_CENTRE) + np.array([0.0, 0.0, c.BALL_RADIUS])
    return np.where(np.linalg.norm(p - top, axis=1) < 7, 0.9, 2.1)


def _brake_side(z: Array) -> Array:
    """Radius of the barrel's brake side, roughly."""
    return np.interp(
        z,
        [-160, -151, -118, -94, -24, 24, 66, 90],
        [226, 225.4, 224, 213.8, 207.4, 214, 225, 236],
    )


def _wheel_limit(p: Array) -> Array:
    r, z = np.hypot(p[:, 0], p[:, 1]), p[:, 2]
    out = np.where(np.abs(z - c.BARREL_CREST[1]) < 15, 2.7, 5.0)
    out = np.where(z > 40, 6.5, out)
    out = np.where(r > _brake_side(z) + 2.5, 10.0, out)
    inner = r < 206
    out = np.where(inner & (z > 34), 8.0, out)
    out = np.where(inner & (z <= 34), 3.5, out)
    return np.where((np.abs(r - c.SPOKE_CREST[0]) < 12) & (z < 22), 2.2, out)


def make_base(name: str) -> dict[str, tuple[Array, Faces]]:
    """Closed clean meshes of the solids of one scan, in the part's own frame (takes minutes)."""
    from surface_mesh import mesh_of

    if name == "wheel":
        low, high = (-252, -252, -163), (252, 252, 88)
        return {"wheel": mesh_of(c.wheel, low, high, 2.5, _wheel_limit, 0.12, 1.8)}
    return {
        "knuckle": mesh_of(
            c.knuckle, (-130, -172, -140), (154, 172, 48), 2.0, _knuckle_limit, 0.07, 1.5
        ),
        "tie rod": mesh_of(
            c.tie_rod, (105, -45, -240), (160, 26, -50), 2.0, _tie_rod_limit, 0.04, 0.9
        ),
        "clamp": mesh_of(
            c.clamp, (-38, -232, -245), (50, -152, -78), 4.0, lambda p: np.full(len(p), 5.0), 0.3, 3
        ),
    }


def write_base(name: str) -> None:
    """Make the base meshes and keep them, compressed, beside this file."""
    arrays = {}
    for piece, (vertices, faces) in make_base(name).items():
        key = piece.replace(" ", "_")
        arrays[key + "_v"] = np.rint(vertices / QUANTUM).astype(np.int32)
        arrays[key + "_f"] = faces
    (HERE / "base").mkdir(exist_ok=True)
    np.savez_compressed(HERE / "base" / f"{name}.npz", **arrays)


def base_pieces(name: str) -> dict[str, tuple[Array, Faces]]:
    """The kept base meshes of a scan: piece -> (vertices, faces), part's frame, closed."""
    with np.load(HERE / "base" / f"{name}.npz") as kept:
        return {
            key[:-2].replace("_", " "): (
                kept[key].astype(np.float64) * QUANTUM,
                kept[key[:-2] + "_f"],
            )
            for key in kept.files
            if key.endswith("_v")
        }


SOLIDS: dict[str, c.Solid] = {
    "knuckle": c.knuckle,
    "tie rod": c.tie_rod,
    "clamp": c.clamp,
    "wheel": c.wheel,
}


# --- what a scanner does to them --------------------------------------------------------------


@dataclass(frozen=True)
class Scan:
    """A scan without noise: what every seed starts from."""

    vertices: Array
    normals: Array
    faces: Faces
    labels: NDArray[np.str_]  # per face
    smoother: csr_matrix  # unit rows: white noise in, correlated unit noise out


def _wave(p: Array, size: float, seed: int) -> Array:
    """A smooth random field of about unit size with features of about `size` mm."""
    rng = np.random.default_rng(seed)
    k = rng.normal(size=(24, 3)) / size * 1.6
    phase = rng.uniform(0, 2 * np.pi, 24)
    return np.cos(p @ k.T + phase).sum(axis=1) / np.sqrt(12.0)


# Holes: centre and radius in the part's frame; the rims are made ragged.
HOLES: dict[str, list[tuple[tuple[float, float, float], float]]] = {
    "knuckle": [
        ((0.0, -62.0, -100.0), 7.0),
        ((20.0, 66.0, 0.0), 3.2),
        ((-62.0, 54.0, -34.0), 5.0),
        ((28.0, 108.0, -84.0), 6.0),
        ((-88.0, -55.0, -131.0), 5.0),
        ((60.0, 10.0, -110.0), 8.0),
        ((12.0, -140.0, -76.5), 4.0),
        ((25.0, -24.0, 6.0), 3.0),
        ((-30.0, 138.0, -82.0), 6.0),
    ],
    "wheel": [
        ((212.0, 12.0, -70.0), 9.0),
        ((-120.0, 170.0, -30.0), 7.0),
        ((-205.0, -75.0, -120.0), 14.0),
        ((30.0, -212.0, -90.0), 8.0),
        ((58.0, -34.0, 0.0), 3.5),
        ((150.0, -120.0, 20.0), 4.0),
        ((-28.0, 84.0, 12.0), 4.0),
        ((90.0, 188.0, 8.0), 6.0),
    ],
}

# Doubled skin: centre, radius and how far it floats above the first, mm.
DOUBLED: dict[str, list[tuple[tuple[float, float, float], float, float]]] = {
    "knuckle": [((-60.0, -20.0, -92.0), 14.0, 0.12), ((2.0, -100.0, -80.0), 11.0, 0.09)],
    "wheel": [((60.0, 212.0, -100.0), 16.0, 0.11), ((-30.0, -220.0, -120.0), 13.0, 0.08)],
}


def _seen(name: str, piece: str, middle: Array) -> NDArray[np.bool_]:
    """Faces the scanner saw: ragged holes, and shade in deep places."""
    keep = np.ones(len(middle), dtype=bool)
    ragged = _wave(middle, 5.0, 11)
    for centre, radius in HOLES[name] if piece == name else []:
        keep &= np.linalg.norm(middle - centre, axis=1) > radius * (1 + 0.22 * ragged)
    r, z = np.hypot(middle[:, 0], middle[:, 1]), middle[:, 2]
    if piece == "knuckle":
        clock = np.arctan2(middle[:, 0], middle[:, 1])
        slit = (r < 70 + 2 * ragged) & (z < -12.5) & (z > -15.5)
        keep &= ~(slit & (np.sin(2 * clock + 0.4) + 0.5 * ragged > -0.55))
        deep = (r < 44) & (z < -92 + 4 * ragged) & (z > -120)  # in the drive shaft's bore
        keep &= ~(deep & (np.cos(3 * clock) + 0.4 * ragged > -0.3))
    if piece == "tie rod":
        keep &= ~(z < -212 + 2 * ragged)  # the cut end
    if piece == "clamp":
        keep &= z > -231 + ragged
    if piece == "wheel":
        tyre = (r > _brake_side(z) + 3.0) & (z > -154) & (z < 75)
        keep &= ~(tyre & (_wave(middle, 60.0, 12) + 0.3 * ragged > -1.5))
        bolt = np.zeros(len(middle), dtype=bool)
        for k in range(5):
            centre = c.clock_point(56.0, c.WHEEL_BOLT_CLOCK + 72.0 * k, 0.0)
            bolt |= np.hypot(middle[:, 0] - centre[0], middle[:, 1] - centre[1]) < 8.2
        keep &= ~(bolt & (z > 4 + ragged) & (z < 40))
    return keep


def _sheet(
    corner: tuple[float, float, float], sides: tuple[float, float], step: float, up: float
) -> tuple[Array, Array, Faces]:
    """A flat piece of bench with a ragged outline: vertices, normals, faces."""
    nx, ny = (round(s / step) for s in sides)
    x, y = np.meshgrid(np.arange(nx + 1), np.arange(ny + 1), indexing="ij")
    p = np.c_[x.ravel(), y.ravel(), np.zeros(x.size)] * step + corner
    p[:, :2] += 0.12 * step * np.c_[_wave(p, step, 21), _wave(p, step, 22)]
    i = (np.arange(nx)[:, None] * (ny + 1) + np.arange(ny)).ravel()
    quads = np.stack([i, i + ny + 1, i + ny + 2, i + 1], axis=1)
    middle = p[quads].mean(axis=1)
    edge = np.minimum(middle - p.min(axis=0), p.max(axis=0) - middle)[:, :2].min(axis=1)
    quads = quads[edge > 10.0 + 8.0 * _wave(middle, 40.0, 23)]
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32)
    return p, np.tile([0.0, 0.0, up], (len(p), 1)), faces if up > 0 else faces[:, ::-1]


BENCH = {
    "knuckle": ((-150.0, -240.0, -236.5), (330.0, 300.0), 7.0, 1.0),
    "wheel": ((-300.0, -70.0, 86.0), (260.0, 330.0), 14.0, -1.0),
}


def _normals(solid: c.Solid, p: Array) -> Array:
    corners = np.array([(1, -1, -1), (-1, -1, 1), (-1, 1, -1), (1, 1, 1)], dtype=float)
    g = sum(k * solid(p + 1e-4 * k)[:, None] for k in corners)
    return np.asarray(g / np.linalg.norm(g, axis=1, keepdims=True))


def _smoother(points: Array, normals: Array) -> csr_matrix:
    """Kernel exp(-d^2 / (2 kernel^2)) between vertices of the same skin, rows of unit length."""
    pairs = cKDTree(points).query_pairs(2.5 * KERNEL, output_type="ndarray")
    i, j = pairs.T
    same = (normals[i] * normals[j]).sum(axis=1) > 0.2
    i, j = i[same], j[same]
    w = np.exp(-((points[i] - points[j]) ** 2).sum(axis=1) / (2 * KERNEL**2))
    n = np.arange(len(points))
    rows, columns = np.concatenate([i, j, n]), np.concatenate([j, i, n])
    matrix = coo_matrix((np.concatenate([w, w, np.ones(len(n))]), (rows, columns))).tocsr()
    size = np.sqrt(np.asarray(matrix.multiply(matrix).sum(axis=1)).ravel())
    matrix.sort_indices()
    matrix.data /= np.repeat(size, np.diff(matrix.indptr))
    return matrix


@lru_cache(maxsize=2)
def base_scan(name: str) -> Scan:
    """The scan before noise and specks, in the part's frame."""
    vertices, normals, faces, labels, count = [], [], [], [], 0

    def put(p: Array, n: Array, f: Faces, label: str) -> None:
        nonlocal count
        used, f = np.unique(f, return_inverse=True)
        f = f.reshape(-1, 3)
        vertices.append(p[used])
        normals.append(n[used])
        faces.append(f + count)
        labels.append(np.full(len(f), label, dtype="U12"))
        count += len(used)

    for piece, (p, f) in base_pieces(name).items():
        n = _normals(SOLIDS[piece], p)
        f_seen = f[_seen(name, piece, p[f].mean(axis=1))]
        put(p, n, f_seen, piece)
        if piece != name:
            continue
        middle = p[f].mean(axis=1)
        for centre, radius, above in DOUBLED[name]:
            distance = np.linalg.norm(middle - centre, axis=1) * (1 + 0.2 * _wave(middle, 8.0, 31))
            put(p + above * n, n, f[distance < radius], "doubled")
    put(*_sheet(*BENCH[name]), "bench")  # type: ignore[arg-type]
    v, n = np.concatenate(vertices), np.concatenate(normals)
    f, label = np.concatenate(faces).astype(np.int32), np.concatenate(labels)
    # What scanner software leaves behind: faces twice, twice with the other winding, no area.
    main = np.flatnonzero(label == name)
    twice = main[:: max(1, len(main) // 24)][:24]
    extra = np.concatenate(
        [f[twice[:12]], f[twice[12:18]][:, ::-1], np.repeat(f[twice[18:], :1], 3, axis=1)]
    )
    f = np.concatenate([f, extra])
    label = np.concatenate([label, np.full(len(extra), "faulty")])
    return Scan(v, n, f, label, _smoother(v, n))


def _specks(rng: np.random.Generator, low: Array, high: Array) -> tuple[Array, Faces]:
    """Small loose flakes in the air round the part."""
    centre = rng.uniform(low - 15, high + 15, size=(SPECKS, 3))
    size = rng.uniform(0.4, 1.6, size=(SPECKS, 1, 1))
    corners = centre[:, None, :] + size * rng.normal(size=(SPECKS, 4, 3))
    first = 4 * np.arange(SPECKS)[:, None, None]
    faces = first + np.array([[0, 1, 2], [0, 2, 3]])
    return corners.reshape(-1, 3), faces.reshape(-1, 3).astype(np.int32)


def noisy_scan(name: str, seed: int) -> tuple[Array, Faces]:
    """A scan of the demo corner in its scan pose.

    Parameters
    ----------
    name : {"knuckle", "wheel"}
    seed : int
        Of the noise and the specks; everything else is the same for all seeds.

    Returns
    -------
    vertices : (n, 3) float64, mm, scan coordinates
    faces : (m, 3) int32; `face_labels(name)` says what each is
    """
    base = base_scan(name)
    rng = np.random.default_rng([seed, SCANS.index(name)])
    offset = SIGMA * (base.smoother @ rng.standard_normal(len(base.vertices)))
    points = base.vertices + offset[:, None] * base.normals
    loose, flakes = _specks(rng, base.vertices.min(axis=0), base.vertices.max(axis=0))
    faces = np.concatenate([base.faces, flakes + len(points)])
    return to_scan(name, np.concatenate([points, loose])), faces


def face_labels(name: str) -> NDArray[np.str_]:
    """What each face of `noisy_scan` belongs to: the part, or what a scanner added."""
    return np.concatenate([base_scan(name).labels, np.full(2 * SPECKS, "speck")])


def stl_bytes(vertices: Array, faces: Faces, title: str) -> bytes:
    """Binary STL."""
    corners = vertices.astype("<f4")[faces]
    a, b, d = (corners[:, i].astype(np.float64) for i in range(3))
    normal = np.cross(b - a, d - a)
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["n"] = np.divide(normal, size, out=np.zeros_like(normal), where=size > 0)
    record["v"] = corners
    head = title.encode("ascii").ljust(80, b" ")
    return head + np.array([len(faces)], "<u4").tobytes() + record.tobytes()


def scan_file(name: str) -> bytes:
    """The bytes of the committed scan."""
    vertices, faces = noisy_scan(name, SEED[name])
    return stl_bytes(vertices, faces, f"{name} scan, invented demo part, millimetres")


def main() -> None:
    parser = argparse.ArgumentParser(description="Make the demo corner's scans.")
    parser.add_argument("--remesh", action="store_true", help="make the base meshes anew first")
    arguments = parser.parse_args()
    for name in SCANS:
        if arguments.remesh:
            write_base(name)
        path = HERE / f"{name}_scan.stl"
        path.write_bytes(scan_file(name))
        print(f"{path.name}: {path.stat().st_size} bytes")


if __name__ == "__main__":
    main()
