"""Where to touch a feature so that the patches grown from there give it, as the job will fit it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearturn.datum import Fit, fit_cylinder, fit_plane
from clearturn.datum.grow import STEP_DEG, grow_patch, surface
from clearturn.errors import FitProblem
from clearturn.propose.model import Vec3
from clearturn.propose.view import Array, Index, View

TRIES = 6  # seeds tried for a feature
MOST_SEEDS = 4
MANY_SEEDS = 12
SPILL = 1.6  # a patch larger than this many times the ring has run over its edge
AGREES_MM = 0.12  # of a patch's radius with that of its ring, whose faces are all looked at
ENOUGH = 0.45  # of the feature's faces in the patches
BENDS_DEG = (None, 8.0)  # how far a patch may bend at an edge: the usual bound, then a tight one


@dataclass(frozen=True, slots=True)
class Touched:
    """Seeds, the limits to grow with, and the fit they give."""

    seeds_mm: tuple[Vec3, ...]
    limit_mm: float | None
    normal_deg: float | None
    fit: Fit
    share: float


def touch(seen: View, faces: Index, feature: str, radius_mm: float | None = None) -> Touched | None:
    """Return seeds whose patches, joined, are a feature's faces and no others.

    Parameters
    ----------
    seen : View
    faces : (k,) ndarray of int
        The feature's faces, as places in the view.
    feature : str
        "plane" or "cylinder".
    radius_mm : float, optional
        What a cylinder's radius should be about: of several ways one that gives it is preferred.
    """
    wanted = np.zeros(len(seen.mesh.faces), dtype=bool)
    wanted[seen.faces[faces]] = True
    size = np.zeros(len(seen.mesh.faces))
    size[seen.faces] = seen.area
    best: Touched | None = None
    reach = float(np.linalg.norm(np.ptp(seen.centres[faces], axis=0)))
    ways = [(bend, limit, MOST_SEEDS) for bend in BENDS_DEG for limit in (None, reach)]
    # A narrow ring beside a low step: many small patches that stay on it.
    narrow = max(0.5 * float(np.ptp(seen.z[faces])), 1.3 * seen.edge_mm)
    ways.append((None, round(narrow, 1), MANY_SEEDS))
    for bend, limit, most in ways:
        found = _grown(seen, faces, feature, wanted, size, bend, limit, most)
        if found is not None and (best is None or _better(found, best, radius_mm)):
            best = found
        if best is not None and best.share >= ENOUGH and _agrees(best, radius_mm):
            break
    return best


def _agrees(one: Touched, radius_mm: float | None) -> bool:
    found = one.fit.radius_mm
    return radius_mm is None or found is None or abs(found - radius_mm) <= AGREES_MM


def _better(one: Touched, other: Touched, radius_mm: float | None) -> bool:
    if _agrees(one, radius_mm) != _agrees(other, radius_mm):
        return _agrees(one, radius_mm)
    return one.share > other.share + 0.1


def _grown(
    seen: View,
    faces: Index,
    feature: str,
    wanted: Array,
    size: Array,
    bend: float | None,
    limit: float | None,
    most: int,
) -> Touched | None:
    whole = float(size[wanted.astype(bool)].sum())
    covered = np.zeros(len(wanted), dtype=bool)
    chosen = np.zeros(len(seen.mesh.vertices), dtype=bool)
    seeds: list[Vec3] = []
    for at in _tries(seen, faces, max(TRIES, most)):
        face = int(seen.faces[at])
        if covered[face]:
            continue
        seed = surface(seen.mesh).centres[face].round(2)
        patch = grow_patch(seen.mesh, seed, normal_deg=bend or STEP_DEG, limit_mm=limit)
        gained = float(size[patch.faces][wanted[patch.faces]].sum())
        if patch.area_mm2 > SPILL * whole + 60.0 or gained < 0.55 * patch.area_mm2:
            continue
        covered[patch.faces] = True
        chosen[patch.vertices] = True
        seeds.append((float(seed[0]), float(seed[1]), float(seed[2])))
        if float(size[covered & wanted].sum()) > 0.85 * whole or len(seeds) == most:
            break
    if not seeds:
        return None
    try:
        points = seen.mesh.vertices[chosen]
        fit: Fit = (fit_plane if feature == "plane" else fit_cylinder)(points, robust=True)
    except FitProblem:
        return None
    share = float(size[covered & wanted].sum()) / max(whole, 1e-9)
    return Touched(tuple(seeds), limit, bend, fit, share)


def _tries(seen: View, faces: Index, most: int) -> list[int]:
    """Return faces to try as seeds: well inside, spread round the feature."""
    mine = np.zeros(len(seen.mesh.faces), dtype=bool)
    mine[seen.faces[faces]] = True
    across = surface(seen.mesh).across
    depth = mine.astype(np.int8)
    level = np.zeros(len(faces), dtype=np.int64)
    for _ in range(4):
        near = across[seen.faces[faces]]
        inside = np.where(near >= 0, depth[np.maximum(near, 0)], 0).min(axis=1)
        level += inside
        depth = np.zeros_like(depth)
        depth[seen.faces[faces]] = inside
    middle = seen.centres[faces].mean(axis=0)
    out = seen.centres[faces] - middle
    turn = np.arctan2(out[:, 1], out[:, 0])
    order = np.lexsort((-seen.area[faces], -level))
    picked: list[int] = []
    # The best inside of each sector about the feature's middle, then the best of all.
    for k in range(most):
        sector = order[np.floor((turn[order] + np.pi) / (2 * np.pi) * most) == k]
        if len(sector):
            picked.append(int(sector[0]))
    picked.sort(key=lambda k: -level[k])
    picked += [int(k) for k in order[:3] if int(k) not in picked]
    return [int(faces[k]) for k in picked]
