"""Make the figures of cleaning, patches, datums, size check, proposals and registration anew.

    python docs/pictures/make_datum_pictures.py

Dots are triangle centres of the demo's scans, drawn at random; what is coloured is what the
program itself took, proposed or found.  The coverage bars are the table of datum-uncertainty.md.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(ROOT / "sample_meshes"))
import make_demo  # noqa: E402

from clearturn.corner.differences import differences  # noqa: E402
from clearturn.corner.faces import clean, patch_at, piece_of  # noqa: E402
from clearturn.corner.registration import register  # noqa: E402
from clearturn.corner.sizes import check_sizes  # noqa: E402
from clearturn.corner.sources import read_sources  # noqa: E402
from clearturn.datum import SizePair, check_scale  # noqa: E402
from clearturn.gap.surface_map import surface_distances  # noqa: E402
from clearturn.job.file import load_job  # noqa: E402
from clearturn.job.model import DropSmallPieces  # noqa: E402
from clearturn.mesh import Mesh  # noqa: E402
from clearturn.propose import propose_knuckle  # noqa: E402
from clearturn.samples import demo_job_file, samples_folder  # noqa: E402
from clearturn.scan import read_scan  # noqa: E402

GREY, RED, BLUE, GREEN = "#9aa5ad", "#a8321e", "#1f5f8b", "#2f7d4f"
MOST = 2600  # dots of one colour


class Sheet:
    """A drawing in mm with y upward."""

    def __init__(self, low: tuple[float, float], high: tuple[float, float], width: int) -> None:
        self.low, self.high = low, high
        self.scale = width / (high[0] - low[0])
        self.size = (width, round((high[1] - low[1]) * self.scale))
        self.parts: list[str] = []

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return a point of the page."""
        return (x - self.low[0]) * self.scale, (self.high[1] - y) * self.scale

    def dots(self, points: np.ndarray, colour: str, size: float = 1.4, most: int = MOST) -> None:
        """Draw some of the points."""
        rng = np.random.default_rng(2)
        inside = (points >= self.low).all(axis=1) & (points <= self.high).all(axis=1)
        points = points[inside]
        points = points[rng.permutation(len(points))[:most]]
        path = "".join("M{:.0f} {:.0f}h0".format(*self.at(*p)) for p in points)
        self.parts.append(
            f'<path d="{path}" stroke="{colour}" stroke-width="{size}" stroke-linecap="round"/>'
        )

    def line(self, a: tuple[float, float], b: tuple[float, float], colour: str) -> None:
        """Draw a thick line."""
        (x, y), (u, v) = self.at(*a), self.at(*b)
        self.parts.append(
            f'<path d="M{x:.1f} {y:.1f}L{u:.1f} {v:.1f}" stroke="{colour}" stroke-width="3"/>'
        )

    def word(self, x: float, y: float, text: str, colour: str = "#222") -> None:
        """Write at a point."""
        u, v = self.at(x, y)
        self.parts.append(f'<text x="{u:.0f}" y="{v:.0f}" fill="{colour}">{text}</text>')

    def write(self, name: str, title: str) -> None:
        """Write the drawing beside this script."""
        w, h = self.size
        text = "\n".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" '
                f'viewBox="0 0 {w} {h}" font-family="sans-serif" font-size="13" fill="none">',
                f"  <title>{title}</title>",
                *(f"  {part}" for part in self.parts),
                "</svg>\n",
            ]
        )
        (HERE / name).write_text(text, encoding="utf-8")


def in_frame(points: np.ndarray, pose: np.ndarray) -> np.ndarray:
    """Return points in another frame."""
    return points @ pose[:3, :3].T + pose[:3, 3]


def meridian(points: np.ndarray) -> np.ndarray:
    """Return (z, r)."""
    return np.column_stack([points[:, 2], np.hypot(points[:, 0], points[:, 1])])


def cleaning(mesh: Mesh, pose: np.ndarray) -> None:
    """What small pieces and the bench are."""
    centres = in_frame(mesh.corners.mean(axis=1), pose)[:, [2, 0]]
    labels = piece_of(mesh)
    kept = clean(mesh, [DropSmallPieces("drop small pieces", 300)])
    largest = labels == np.argmax(np.bincount(labels))
    sheet = Sheet((-290.0, -190.0), (70.0, 190.0), 520)
    sheet.dots(centres[kept & ~largest], GREEN)
    sheet.dots(centres[largest], GREY)
    sheet.dots(centres[~kept], RED, 3.0)
    sheet.word(-285, 178, "kept: the knuckle", "#5d6a73")
    sheet.word(
        -285, 164, "other large pieces: bench, clamp, tie rod, to be dropped by piece", GREEN
    )
    sheet.word(-285, 150, "dropped: pieces below 300 triangles", RED)
    sheet.write("cleaning.svg", "What cleaning takes from the demo's knuckle scan, seen from above")


def patches(mesh: Mesh, pose: np.ndarray) -> None:
    """Three patches grown on the hub, seen from outboard."""
    found = propose_knuckle(mesh)
    centres = in_frame(mesh.corners.mean(axis=1), pose)
    sheet = Sheet((-100.0, -100.0), (100.0, 100.0), 420)
    front = centres[:, 2] > -14.0
    sheet.dots(centres[front][:, :2], GREY, most=1500)
    for k, (name, colour) in enumerate((("hub face", BLUE), ("register", RED), ("stud 1", GREEN))):
        one = found.named(name)
        if one is None:
            raise SystemExit(f"no {name} on the demo's knuckle")
        patch = patch_at(mesh, one.seeds_mm[0], one.normal_deg, one.limit_mm)
        sheet.dots(centres[patch.faces][:, :2], colour, 2.0)
        x, y = in_frame(np.array([one.seeds_mm[0]]), pose)[0][:2]
        u, v = sheet.at(x, y)
        sheet.parts.append(f'<circle cx="{u:.0f}" cy="{v:.0f}" r="5" stroke="#222"/>')
        sheet.word(-97, 92 - 7 * k, f"{name}: {len(patch.faces)} triangles", colour)
    sheet.write("patches.svg", "Patches grown from touched points (rings) on the demo's hub")


def proposals(mesh: Mesh) -> None:
    """What is proposed on the knuckle, in the half plane of the spin axis."""
    found = propose_knuckle(mesh)
    centres = meridian(in_frame(mesh.corners.mean(axis=1), found.part_from_scan))
    sheet = Sheet((-150.0, 0.0), (60.0, 150.0), 700)
    sheet.dots(centres, GREY)

    def value(name: str, key: str) -> float:
        one = found.named(name)
        if one is None:
            raise SystemExit(f"no {name} on the demo's knuckle")
        return float(one.values[key])

    face = value("hub face", "inner_radius_mm"), value("hub face", "outer_radius_mm")
    sheet.line((0, face[0]), (0, face[1]), BLUE)
    sheet.word(2, 61, "hub face", BLUE)
    for name, dx, dy in (("register", 2, -6), ("hub flange rim", -8, 2), ("bearing housing", 0, 3)):
        r, low, high = (value(name, key) for key in ("radius_mm", "z_from_mm", "z_to_mm"))
        sheet.line((low, r), (high, r), RED)
        sheet.word(low + dx, r + dy, name, RED)
    r, around = value("stud 1", "distance_mm"), value("stud 1", "radius_mm")
    sheet.line((0, r - around), (42, r - around), GREEN)
    sheet.line((0, r + around), (42, r + around), GREEN)
    sheet.word(44, r - 1, "studs", GREEN)
    r, around = value("lug 1 bore", "distance_mm"), value("lug 1 bore", "radius_mm")
    low, high = value("lug 1 inboard face", "height_mm"), value("lug 1 outboard face", "height_mm")
    for at in (r - around, r + around):
        sheet.line((low, at), (high, at), GREEN)
    sheet.word(low - 2, r + 11, "caliper lug", GREEN)
    z = value("turning faces", "z_from_mm")
    sheet.line((z, 0), (z, value("turning faces", "r_to_mm")), "#222")
    sheet.word(z - 76, 6, "fixed to the left, turning to the right")
    sheet.write(
        "proposals.svg", "Proposals on the demo's knuckle in the half plane of its spin axis"
    )


def rescan(mesh: Mesh, pose: np.ndarray) -> None:
    """The knuckle scanned again after its housing was turned down by 1.2 mm."""
    points, faces = make_demo.noisy_scan("knuckle", 77)
    hub = in_frame(points, pose)
    r = np.hypot(hub[:, 0], hub[:, 1])
    housing = (np.abs(r - 82.4) < 0.6) & (hub[:, 2] > -50) & (hub[:, 2] < -18)
    hub[housing, :2] *= ((r[housing] - 1.2) / r[housing])[:, None]
    second = Mesh((hub - pose[:3, 3]) @ pose[:3, :3], faces)
    laid = register(mesh, second, np.eye(4))
    found = differences(mesh, second, laid)
    moved = second.moved(laid.first_from_second)
    near = surface_distances(moved.vertices, mesh, limit_mm=15.0, signed=False)
    far = near.distance_mm > max(0.1, 5 * laid.scale_mm)
    at = meridian(in_frame(moved.vertices, pose))
    sheet = Sheet((-150.0, 0.0), (60.0, 150.0), 700)
    sheet.dots(at[~far], GREY)
    sheet.dots(at[far], RED, 2.0)
    largest = next(one for one in found if one.on == "second" and not one.alone)
    text = f"{largest.area_mm2:.0f} mm² lie {largest.mean_mm:+.2f} mm from the first scan"
    sheet.word(-60, 92, text, RED)
    told = f"unchanged: {laid.unchanged:.0%}, residual {laid.rms_mm:.3f} mm rms"
    sheet.word(-146, 142, told, "#5d6a73")
    sheet.write("rescan.svg", "The demo's knuckle again, its housing turned down by 1.2 mm")


def coverage() -> None:
    """Bars of the coverage table."""
    page = (ROOT / "docs/methods/datum-uncertainty.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([^|]+) \| ([^|]+) \| (0\.\d+) \| (0\.\d+) \|$", page, re.MULTILINE)
    if not rows:
        raise SystemExit("no coverage table in datum-uncertainty.md")
    sheet = Sheet((0.0, 0.0), (560.0, 18.0 * len(rows) + 40.0), 560)
    top = 18.0 * len(rows) + 10.0
    for k, (case, parameter, stated, naive) in enumerate(rows):
        y = top - 18.0 * (k + 1)
        sheet.word(4, y + 2, f"{case}, {parameter}")
        sheet.line((180, y + 8), (180 + 360 * float(stated), y + 8), BLUE)
        sheet.line((180, y + 3), (180 + 360 * float(naive), y + 3), RED)
    for share in (0.93, 0.97):
        x, y = sheet.at(180 + 360 * share, 0)
        sheet.parts.append(f'<path d="M{x:.1f} {y:.0f}V24" stroke="#222" stroke-dasharray="3 3"/>')
    sheet.word(180, top + 14, "stated interval", BLUE)
    sheet.word(290, top + 14, "σ/√N", RED)
    sheet.word(440, top + 14, "93 % and 97 %")
    sheet.write("coverage.svg", "Share of 95 % intervals that hold the truth over 2 000 scans")


def size_check() -> None:
    """Hand less scan against size, of the demo's knuckle as it is and made 0.2 % smaller."""
    corner = load_job(demo_job_file()).axles[0].corner
    checks, _ = check_sizes(corner, read_sources(corner, samples_folder()))
    sizes = next(one for one in checks if one.scan == "knuckle").sizes
    longest, unit = 250.0, 300.0  # mm; height of 1 mm of difference
    sheet = Sheet((-40.0, -75.0), (620.0, 235.0), 660)

    def at(size: float, difference: float) -> tuple[float, float]:
        return 30.0 + 2.2 * size, unit * difference

    sheet.line(at(0, 0), at(longest, 0), GREY)
    for mm in (50, 100, 150, 200, 250):
        sheet.word(at(mm, 0)[0] - 10, -68, str(mm), "#5d6a73")
    for difference in (-0.2, 0.2, 0.4, 0.6):
        sheet.word(-38, unit * difference - 4, f"{difference:+.1f}", "#5d6a73")
    sheet.word(-38, 220, "hand less scan, mm", "#5d6a73")
    sheet.word(500, -52, "size, mm", "#5d6a73")
    for shrunk, colour, name in ((1.0, BLUE, "as scanned"), (0.998, RED, "made 0.2 % smaller")):
        pairs = [
            SizePair(
                one.name, shrunk * one.scan_mm, one.scan_uncertainty_mm / 2.0, one.hand_mm,
                one.hand_uncertainty_mm / 2.0,
            )
            for one in sizes
        ]  # fmt: skip
        found = check_scale(pairs)
        off, spread = found.factor - 1.0, found.expanded_uncertainty
        sheet.line(at(0, 0), at(longest, off * longest), colour)
        for edge in (off - spread, off + spread):
            (x, y), (u, v) = sheet.at(*at(0, 0)), sheet.at(*at(longest, edge * longest))
            sheet.parts.append(
                f'<path d="M{x:.1f} {y:.1f}L{u:.1f} {v:.1f}" stroke="{colour}" '
                'stroke-dasharray="5 4"/>'
            )
        for pair in pairs:
            bar = 2.0 * float(np.hypot(pair.scan_standard_mm, pair.hand_standard_mm))
            apart = pair.hand_mm - pair.scan_mm
            sheet.line(at(pair.scan_mm, apart - bar), at(pair.scan_mm, apart + bar), colour)
            x, y = sheet.at(*at(pair.scan_mm, apart))
            sheet.parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{colour}"/>')
        told = f"{name}: {found.factor:.5f} ±{spread:.5f}"
        sheet.word(at(0, 0)[0] + 20, 150 if shrunk < 1.0 else -40, told, colour)
    sheet.write("size-check.svg", "Hand measurements against the demo's knuckle scan")


def main() -> None:
    """Make all."""
    mesh = read_scan(ROOT / "sample_meshes" / "knuckle_scan.stl").mesh
    pose = make_demo.part_from_scan("knuckle")
    cleaning(mesh, pose)
    patches(mesh, pose)
    proposals(mesh)
    rescan(mesh, pose)
    coverage()
    size_check()


if __name__ == "__main__":
    main()
