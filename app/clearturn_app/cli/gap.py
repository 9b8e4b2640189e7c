"""``clearturn gap``: the least gap of two meshes, over a full turn or standing still."""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from clearturn.errors import InputError
from clearturn.findings import Finding
from clearturn.tolerances import GAP_TOLERANCE_MM, LEAST_GAP_TOLERANCE_MM, MOST_GAP_TOLERANCE_MM
from clearturn_app.cli.options import (
    LARGEST_MM,
    add_json_option,
    add_unit_option,
    coordinate,
    positive,
    scale,
)
from clearturn_app.cli.output import (
    EXIT_DONE,
    EXIT_FAILS,
    EXIT_NOT_PROVEN,
    print_json,
    progress_bar,
    say_findings,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from clearturn.gap import Gap, Interference, Interval
    from clearturn.mesh import Mesh
    from clearturn.progress import Progress

_MOST_TOLD = 4  # ranges of angles
_ABOUT = """\
Least gap between two meshes, as an interval that provably holds it for the meshes as given.

With --turns one of them turns once about the axis, and the gap is the least over the whole turn.
Each mesh is brought into mm first, then scaled, then posed.
"""


@dataclass(frozen=True, slots=True)
class _Side:
    mesh: Mesh
    pose: NDArray[np.float64] | None
    findings: tuple[Finding, ...]


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "gap",
        help="least gap between two meshes, turning or still",
        description=_ABOUT,
        epilog="Exit codes: 0 apart or touching, 1 interfering, 3 sign unknown, 2 bad input.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("first", metavar="FIRST", help="mesh file")
    parser.add_argument("second", metavar="SECOND", help="mesh file")
    parser.add_argument(
        "--turns",
        choices=("none", "first", "second"),
        default="none",
        help="which of the two turns (default: none)",
    )
    parser.add_argument(
        "--axis-point",
        nargs=3,
        type=coordinate,
        metavar=("X", "Y", "Z"),
        help="a point on the axis, mm (default: 0 0 0)",
    )
    parser.add_argument(
        "--axis-direction",
        nargs=3,
        type=coordinate,
        metavar=("X", "Y", "Z"),
        help="direction of the axis, any length (default: 0 0 1)",
    )
    for side in ("first", "second"):
        add_unit_option(parser, f"--unit-{side}")
        parser.add_argument(
            f"--scale-{side}", type=scale, default=1.0, metavar="S", help="factor (default: 1)"
        )
        parser.add_argument(
            f"--pose-{side}", metavar="FILE", help="rigid 4 × 4 matrix, row-major, text or JSON"
        )
    parser.add_argument(
        "--tolerance-mm",
        type=positive,
        default=GAP_TOLERANCE_MM,
        metavar="T",
        help=f"width of the interval when apart, mm (default: {GAP_TOLERANCE_MM:g})",
    )
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Answer and return 0 (apart, touching), 1 (interfering) or 3 (sign unknown)."""
    from clearturn.gap import Axis, State, still_gap, turning_gap
    from clearturn.warmup import warm_up_if_cold

    axis = Axis.through(args.axis_point or (0, 0, 0), args.axis_direction or (0, 0, 1))
    if not LEAST_GAP_TOLERANCE_MM <= args.tolerance_mm <= MOST_GAP_TOLERANCE_MM:
        raise InputError(
            "the tolerance cannot be kept",
            place="--tolerance-mm",
            found=f"{args.tolerance_mm:g}",
            allowed=f"{LEAST_GAP_TOLERANCE_MM:g} to {MOST_GAP_TOLERANCE_MM:g} mm",
        )
    with progress_bar() as progress:
        warm_up_if_cold(("scan", "gap"), progress)
        start = time.perf_counter()
        first = _read(args, "first", progress.part(0.0, 0.35))
        second = _read(args, "second", progress.part(0.35, 0.7))
        work = progress.part(0.7, 1.0)
        common: dict[str, Any] = {
            "tolerance_mm": args.tolerance_mm,
            "pose_first": first.pose,
            "pose_second": second.pose,
            "freeing": True,
            "progress": work,
        }
        if args.turns == "none":
            gap = still_gap(first.mesh, second.mesh, **common)
        else:
            gap = turning_gap(first.mesh, second.mesh, turns=args.turns, axis=axis, **common)
        seconds = time.perf_counter() - start
    findings = (*first.findings, *second.findings, *_own_findings(args, gap), *gap.findings)
    if args.json:
        print_json(as_json(gap, seconds, findings))
    else:
        print(_as_text(args, gap, seconds))
        say_findings(findings)
    if gap.state is State.INTERFERING:
        return EXIT_FAILS
    return EXIT_NOT_PROVEN if gap.state is State.SIGN_UNKNOWN else EXIT_DONE


def as_json(gap: Gap, seconds: float, findings: tuple[Finding, ...]) -> dict[str, Any]:
    """Return the answer as the contract's JSON object (docs/schema/gap.schema.json)."""
    hit = gap.interference
    return {
        "state": gap.state,
        "gap_mm": gap.gap_mm.as_json(),
        "first_point_mm": gap.first_point_mm,
        "second_point_mm": gap.second_point_mm,
        "turn_angle_deg": gap.turn_angle_deg,
        "first_rz_mm": gap.first_rz_mm,
        "second_rz_mm": gap.second_rz_mm,
        "direction": gap.direction if gap.direction.any() else None,
        "interference": None
        if hit is None
        else {
            "crossing": hit.crossing,
            "contained": hit.contained,
            "depth_mm": None if hit.depth_mm is None else hit.depth_mm.as_json(),
            "freeing_direction": hit.freeing_direction,
            "shifts": [one.as_json() for one in hit.shifts],
            "hits_deg": [list(one) for one in hit.hits_deg],
        },
        "seconds": round(seconds, 4),
        "findings": [finding.as_json() for finding in findings],
    }


def _read(args: argparse.Namespace, side: str, progress: Progress) -> _Side:
    from clearturn.mesh import Mesh
    from clearturn.pose import read_pose
    from clearturn.scan import read_scan

    path = getattr(args, side)
    # Small and quickly refused, so before the mesh.
    pose_file = getattr(args, f"pose_{side}")
    pose = None if pose_file is None else read_pose(pose_file)
    scan = read_scan(path, unit=getattr(args, f"unit_{side}"), progress=progress)
    mesh = scan.mesh
    factor = getattr(args, f"scale_{side}")
    if factor != 1.0:
        mesh = Mesh(mesh.vertices * factor, mesh.faces, mesh.name)
        farthest = float(abs(mesh.bounds).max())
        if farthest > LARGEST_MM:
            raise InputError(
                "the scale makes this mesh too large for a part", file=path,
                place=f"--scale-{side}", found=f"{farthest:.3g} mm",
                allowed=f"at most {LARGEST_MM:g} mm", mend="check scale and unit",
            )  # fmt: skip
    findings = tuple(Finding(f.code, f.severity, f"{path}: {f.text}") for f in scan.findings)
    return _Side(mesh, pose, findings)


def _own_findings(args: argparse.Namespace, gap: Gap) -> list[Finding]:
    findings = []
    if args.turns == "none" and (args.axis_point or args.axis_direction):
        text = "an axis was given, but nothing turns: say --turns first or --turns second"
        findings.append(Finding("axis-not-used", "warning", text))
    if not gap.direction.any():
        text = "the closest points coincide, so there is no direction from one to the other"
        findings.append(Finding("no-direction", "note", text))
    return findings


def _as_text(args: argparse.Namespace, gap: Gap, seconds: float) -> str:
    turning = "standing still" if args.turns == "none" else f"the {args.turns} turning"
    lines = [
        f"{args.first} against {args.second}, {turning}",
        f"  state         {gap.state}",
        f"  gap           {_interval(gap.gap_mm)}",
        f"  first point   {_vector(gap.first_point_mm)}",
        f"  second point  {_vector(gap.second_point_mm)}",
    ]
    if gap.turn_angle_deg is not None:
        lines.append(f"  turned by     {gap.turn_angle_deg:.3f}°")
    for name, rz in (("first", gap.first_rz_mm), ("second", gap.second_rz_mm)):
        if rz is not None:
            lines.append(f"  {name + ' r, z':<13} {rz[0]:.3f}, {rz[1]:.3f} mm")
    hit = gap.interference
    if hit is not None:
        lines.append(f"  surfaces      {'cross' if hit.crossing else 'do not cross'}")
        lines.append(f"  contained     {hit.contained}")
        if hit.depth_mm is not None:
            lines.append(f"  depth         {_interval(hit.depth_mm)}")
        if hit.freeing_direction is not None:
            # What stands is moved, so that what turns keeps running true.
            moved, sign = ("second", -1.0) if args.turns == "first" else ("first", 1.0)
            way = _vector(sign * hit.freeing_direction, unit="")
            lines.append(f"  freed along   {way}, moving the {moved}")
        lines += _moving_and_angles(hit)
    lines.append(f"  in            {seconds:.2f} s")
    return "\n".join(lines)


def _moving_and_angles(hit: Interference) -> list[str]:
    lines = [
        f"  free if       the {one.moves} moves {one.way} by {_interval(one.shift_mm)}"
        for one in hit.shifts
    ]
    told = [f"{start:.2f}° to {end:.2f}°" for start, end in hit.hits_deg[:_MOST_TOLD]]
    if len(hit.hits_deg) > _MOST_TOLD:
        told.append(f"{len(hit.hits_deg) - _MOST_TOLD} more")
    if told:
        lines.append(f"  hits          turned by {', '.join(told)}")
    return lines


def _interval(interval: Interval) -> str:
    if interval.lower is None:
        return f"at most {interval.upper:.4f} mm" if interval.upper is not None else "not known"
    if interval.upper is None:
        return f"at least {interval.lower:.4f} mm"
    return f"{interval.lower:.4f} to {interval.upper:.4f} mm"


def _vector(values: NDArray[np.float64], unit: str = " mm") -> str:
    return ", ".join(f"{round(float(x), 4) + 0.0:.4f}" for x in values) + unit
