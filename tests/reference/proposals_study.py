"""How often proposals are right on invented knuckles and wheels, by the generator's own truth.

    python tests/reference/proposals_study.py [knuckles] [wheels] [outboard]   all seeds, minutes

"outboard": knuckles of which only what looks outboard or sideways was scanned.

What counts as a hit was fixed before the first run and stands in `judge_knuckle`, `judge_wheel`.
Seeds below `HELD_BACK` were looked at while the detector was written; the others only at the end.
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
import generated_corners as made

from clearturn.errors import FitProblem
from clearturn.mesh import Mesh
from clearturn.propose import Proposals, Proposed, propose_knuckle, propose_wheel

HELD_BACK = {"knuckle": 5009, "wheel": 6006, "outboard": 5001}
PLACE_MM = 0.1  # of faces, axes and radii
CENTRE_MM = 0.3  # of single studs and holes
TILT_RAD = math.radians(0.05)
TURNING_SHARE = 0.995  # of the surface on the right side of the split


@dataclass(frozen=True, slots=True)
class Judged:
    """One feature: found and right, found and wrong, or not found."""

    feature: str
    word: str
    confidence: float | None
    note: str = ""


def _judge(feature: str, one: Proposed | None, faults: list[str]) -> Judged:
    if one is None:
        return Judged(feature, "missing", None)
    return Judged(feature, "wrong" if faults else "right", one.confidence, "; ".join(faults))


def _plane(one: Proposed | None, pose: np.ndarray) -> list[str]:
    if one is None or one.fit is None:
        return ["no fit"]
    point = pose[:3, :3] @ one.fit.point_mm + pose[:3, 3]
    normal = pose[:3, :3] @ one.fit.axes[2]
    height = float(normal @ point / normal[2])
    tilt = math.acos(min(1.0, abs(float(normal[2]))))
    return [f"height off {height:.3f}"] * (abs(height) > PLACE_MM) + [
        f"tilted {math.degrees(tilt):.3f} deg"
    ] * (tilt > TILT_RAD)


def _round(one: Proposed | None, pose: np.ndarray, radius: float) -> list[str]:
    if one is None or one.fit is None:
        return ["no fit"]
    point = pose[:3, :3] @ one.fit.point_mm + pose[:3, 3]
    off, wide = float(np.hypot(*point[:2])), abs(float(one.fit.radius_mm or 0.0) - radius)
    return [f"axis off {off:.3f}"] * (off > PLACE_MM) + [f"radius off {wide:.3f}"] * (
        wide > PLACE_MM
    )


def _circle(found: Proposals, word: str, true: dict, pose: np.ndarray) -> list[str]:
    one = found.named("bolt circle")
    if one is None:
        return ["none"]
    faults = []
    if one.values["count"] != true["count"]:
        faults.append(f"{one.values['count']} of {true['count']}")
    if "shape" in true and one.values["kind"] != true["shape"]:
        faults.append(f"{one.values['kind']} for {true['shape']}")
    if abs(one.values["circle_diameter_mm"] - true["circle_diameter_mm"]) > 2 * PLACE_MM:
        faults.append(f"circle {one.values['circle_diameter_mm']:.2f}")
    centres = np.array(true["centres_mm"])[:, :2]
    for single in found.proposed:
        if not single.name.startswith(word) or single.fit is None:
            continue
        at = pose[:3, :3] @ single.fit.point_mm + pose[:3, 3]
        off = float(np.linalg.norm(centres - at[:2], axis=1).min())
        wide = abs(float(single.fit.radius_mm or 0.0) - true["radius_mm"])
        if max(off, wide) > CENTRE_MM:
            faults.append(f"{single.name} off {off:.2f}, radius {wide:.2f}")
    return faults


def _lugs(found: Proposals, true: dict, pose: np.ndarray) -> list[str]:
    faults = []
    centres = np.array(true["centres_mm"])
    taken = set()
    for number in (1, 2):
        bore = found.named(f"lug {number} bore")
        if bore is None or bore.fit is None:
            return [f"lug {number} has no bore"]
        at = pose[:3, :3] @ bore.fit.point_mm + pose[:3, 3]
        off = np.linalg.norm(centres[:, :2] - at[:2], axis=1)
        taken.add(int(np.argmin(off)))
        wide = abs(float(bore.fit.radius_mm or 0.0) - true["bore_radius_mm"])
        if off.min() > CENTRE_MM or wide > CENTRE_MM:
            faults.append(f"lug {number} off {off.min():.2f}, radius {wide:.2f}")
        face = found.named(f"lug {number} outboard face")
        if face is None or face.fit is None:
            faults.append(f"lug {number} has no outboard face")
            continue
        at = pose[:3, :3] @ face.fit.point_mm + pose[:3, 3]
        if abs(at[2] - true["face_z_mm"]) > 2 * PLACE_MM:
            faults.append(f"lug {number} face off {at[2] - true['face_z_mm']:.2f}")
    return faults if len(taken) == 2 else [*faults, "one lug twice"]


def _turning(found: Proposals, one: made.Generated) -> list[str]:
    band = found.named("turning faces")
    if band is None:
        return ["none"]
    corners = one.vertices[one.faces]
    pose = found.part_from_scan
    at = corners.mean(axis=1) @ pose[:3, :3].T + pose[:3, 3]
    r = np.hypot(at[:, 0], at[:, 1])
    v = band.values
    inside = (r < v["r_to_mm"]) & (at[:, 2] > v["z_from_mm"]) & (at[:, 2] < v["z_to_mm"])
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1) * ~one.stray
    share = float(area[inside == one.turns].sum() / area.sum())
    return [f"{share:.4f} on the right side"] * (share < TURNING_SHARE)


def judge_knuckle(one: made.Generated) -> list[Judged]:
    """Judge the proposals on one knuckle."""
    names = [
        "hub face", "rotor register", "wheel register", "hub flange rim", "bearing housing",
        "bolt circle", "caliper lugs", "turning faces",
    ]  # fmt: skip
    try:
        found = propose_knuckle(Mesh(one.vertices, one.faces))
    except FitProblem as problem:
        return [Judged(name, "missing", None, str(problem)) for name in names]
    pose, true = one.part_from_scan, one.features
    outboard = float(pose[2, :3] @ found.part_from_scan[2, :3])
    side = ["outboard the wrong way"] * (outboard < 0.0)

    def register(name: str) -> Proposed | None:
        return found.named(name) or found.named("register")

    face = found.named("hub face")
    answer = [_judge("hub face", face, side + _plane(face, pose))]
    for name in ("rotor register", "wheel register"):
        cylinder = register(name)
        radius = true[name]["radius_mm"]
        answer.append(_judge(name, cylinder, side + _round(cylinder, pose, radius)))
    for name in ("hub flange rim", "bearing housing"):
        cylinder = found.named(name)
        radius = true[name]["radius_mm"]
        answer.append(_judge(name, cylinder, side + _round(cylinder, pose, radius)))
    word = "stud" if true["fixings"]["shape"] == "studs" else "wheel bolt hole"
    faults = side + _circle(found, word, true["fixings"], pose)
    answer.append(_judge("bolt circle", found.named("bolt circle"), faults))
    faults = side + _lugs(found, true["lugs"], pose)
    answer.append(_judge("caliper lugs", found.named("caliper lugs"), faults))
    answer.append(_judge("turning faces", found.named("turning faces"), _turning(found, one)))
    return answer


def judge_wheel(one: made.Generated) -> list[Judged]:
    """Judge the proposals on one wheel."""
    names = ["wheel pad", "wheel bore", "bolt circle", "barrel", "rim size", "rim width", "inset"]
    try:
        found = propose_wheel(Mesh(one.vertices, one.faces))
    except FitProblem as problem:
        return [Judged(name, "missing", None, str(problem)) for name in names]
    pose, true = one.part_from_scan, one.features
    outboard = float(pose[2, :3] @ found.part_from_scan[2, :3])
    side = ["outboard the wrong way"] * (outboard < 0.0)
    pad, bore = found.named("wheel pad"), found.named("wheel bore")
    faults = side + _circle(found, "bolt hole", true["bolt holes"], pose)
    answer = [
        _judge("wheel pad", pad, side + _plane(pad, pose)),
        _judge("wheel bore", bore, side + _round(bore, pose, true["centre bore"]["radius_mm"])),
        _judge("bolt circle", found.named("bolt circle"), faults),
    ]
    rim, barrel = found.named("rim"), found.named("barrel")
    point = pose[:3, :3] @ found.axis.point_mm + pose[:3, 3]
    line = pose[:3, :3] @ found.axis.direction
    off = float(np.hypot(*(point - point[2] / line[2] * line)[:2]))
    faults = [f"axis off {off:.3f}"] * (off > PLACE_MM)
    ends = true["barrel"]["z_mm"]
    if rim is not None and "z_from_mm" in rim.values:
        low, high = rim.values["z_from_mm"] - ends[0], rim.values["z_to_mm"] - ends[1]
        faults += [f"ends off {low:.2f}, {high:.2f}"] * (max(abs(low), abs(high)) > 1.0)
    answer.append(_judge("barrel", barrel, side + faults))
    v = {} if rim is None else rim.values
    for name, key, right, room in (
        ("rim size", "specified_diameter_mm", true["rim"]["specified_diameter_mm"], 0.01),
        ("rim width", "width_in", true["rim"]["width_in"], 0.01),
        ("inset", "inset_mm", true["rim"]["inset_mm"], 0.3),
    ):
        wrong = rim is not None and abs(v[key] - right) > room
        answer.append(_judge(name, rim, side + [f"{v.get(key)} for {right}"] * wrong))
    return answer


def from_outboard(one: made.Generated) -> made.Generated:
    """Return a knuckle of which nothing was scanned that looks inboard."""
    corners = one.vertices[one.faces] @ one.part_from_scan[:3, :3].T
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    keep = normal[:, 2] > -0.2 * np.linalg.norm(normal, axis=1)
    return replace(one, faces=one.faces[keep], turns=one.turns[keep], stray=one.stray[keep])


def study(kind: str, seeds: tuple[int, ...], say: bool = True) -> dict[int, list[Judged]]:
    """Judge many; return what was found by seed."""
    make, judge = (made.wheel, judge_wheel) if kind == "wheel" else (made.knuckle, judge_knuckle)
    answer = {}
    for seed in seeds:
        one = make.__wrapped__(seed)  # without the cache: 24 of these are large
        if kind == "outboard":
            one = from_outboard(one)
        start = time.perf_counter()
        answer[seed] = judge(one)
        took = time.perf_counter() - start
        if say:
            bad = [f"{j.feature}: {j.word} {j.note}" for j in answer[seed] if j.word != "right"]
            print(f"{kind} {seed} {took:.1f} s  {'; '.join(bad) or 'all right'}", flush=True)
    return answer


def table(kind: str, found: dict[int, list[Judged]]) -> str:
    """Return the hit rates by feature, seeds looked at and held back apart."""
    lines = [f"{'feature':<18} {'looked at':>12} {'held back':>12} {'wrong':>6} {'missing':>8}"]
    names = list(dict.fromkeys(j.feature for one in found.values() for j in one))
    for name in names:
        rows = {seed: j for seed, one in found.items() for j in one if j.feature == name}
        parts = []
        for late in (False, True):
            mine = [j for seed, j in rows.items() if (seed >= HELD_BACK[kind]) == late]
            parts.append(f"{sum(j.word == 'right' for j in mine)} of {len(mine)}")
        wrong = sum(j.word == "wrong" for j in rows.values())
        missing = sum(j.word == "missing" for j in rows.values())
        lines.append(f"{name:<18} {parts[0]:>12} {parts[1]:>12} {wrong:>6} {missing:>8}")
    every = [j for one in found.values() for j in one if j.confidence is not None]
    for low, high in ((0.8, 1.0), (0.5, 0.8), (0.0, 0.5)):
        mine = [j for j in every if low <= (j.confidence or 0.0) < high]
        right = sum(j.word == "right" for j in mine)
        lines.append(f"confidence {low:.1f} to {high:.1f}: {right} of {len(mine)} right")
    return "\n".join(lines)


def main() -> None:
    """Print everything."""
    wanted = sys.argv[1:] or ["knuckles", "wheels", "outboard"]
    if "knuckles" in wanted:
        print(table("knuckle", study("knuckle", made.KNUCKLE_SEEDS)))
    if "wheels" in wanted:
        print(table("wheel", study("wheel", made.WHEEL_SEEDS)))
    if "outboard" in wanted:
        print(table("outboard", study("outboard", made.KNUCKLE_SEEDS)))


if __name__ == "__main__":
    main()
