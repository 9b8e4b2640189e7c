"""``clearturn fit``: one associated feature through points, by least squares."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearturn.errors import InputError
from clearturn_app.cli.options import add_json_option, add_unit_option, coordinate
from clearturn_app.cli.output import EXIT_DONE, naming, print_json, progress_bar, say_findings

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from clearturn.datum import Fit
    from clearturn.findings import Finding
    from clearturn.progress import Progress

FEATURES = ("plane", "line", "circle", "cylinder", "cone", "sphere")

_ABOUT = """\
Fit a feature by least squares of the distances, no point left out unless --robust is given.

POINTS is a text table with x, y, z in mm, or a mesh; a mesh is fitted whole, by its vertices,
or with --seed by the patch grown over smooth surface from the touched point.
"""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "fit",
        help="plane, line, circle, cylinder, cone or sphere through points",
        description=_ABOUT,
        epilog="Exit codes: 0 fitted, 2 bad input or points that do not determine the feature.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("feature", metavar="FEATURE", choices=FEATURES, help=", ".join(FEATURES))
    parser.add_argument("points", metavar="POINTS", help="text table or mesh file")
    parser.add_argument(
        "--seed",
        nargs=3,
        type=coordinate,
        metavar=("X", "Y", "Z"),
        help="grow a patch of the mesh from this point, mm",
    )
    parser.add_argument(
        "--robust", action="store_true", help="down-weight outliers from a consensus start"
    )
    add_unit_option(parser)
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Fit, print and return 0."""
    from clearturn import datum

    with progress_bar() as progress, naming(args.points):
        points, notes = _points(args, progress)
        fit: Fit = getattr(datum, f"fit_{args.feature}")(points, robust=args.robust)
    if args.json:
        answer = fit.as_json()
        answer["findings"] = [f.as_json() for f in (*notes, *fit.findings)]
        print_json(answer)
    else:
        print(_as_text(args.points, fit))
        say_findings((*notes, *fit.findings))
    return EXIT_DONE


def _points(
    args: argparse.Namespace, progress: Progress
) -> tuple[NDArray[np.float64], tuple[Finding, ...]]:
    from clearturn.datum import grow_patch
    from clearturn.datum.points import read_points
    from clearturn.scan.read import SUFFIXES, read_scan

    if Path(args.points).suffix.lower() not in SUFFIXES:
        for option, value in (("--seed", args.seed), ("--unit", args.unit)):
            if value is not None:
                raise InputError(
                    f"{option} is for meshes",
                    file=args.points,
                    found="a table of points",
                    mend=f"leave {option} out; tables are in mm",
                )
        return read_points(args.points), ()
    scan = read_scan(args.points, unit=args.unit, progress=progress.part(0.0, 0.6))
    if args.seed is None:
        return scan.mesh.vertices, scan.findings
    patch = grow_patch(scan.mesh, args.seed, progress=progress.part(0.6, 1.0))
    return patch.points_mm, scan.findings


def _as_text(name: str, fit: Fit) -> str:
    sure = fit.standard_uncertainty
    rows: list[tuple[str, str]] = [("points", _count(fit))]
    rows.append(("centre" if fit.feature in ("circle", "sphere") else "point", _row(fit.point_mm)))
    if fit.direction is not None:
        label = "normal" if fit.feature in ("plane", "circle") else "direction"
        rows.append((label, _row(fit.direction, 9, "")))
    if fit.radius_mm is not None:
        rows.append(("radius", f"{fit.radius_mm:.6f} mm"))
    if fit.half_angle_deg is not None:
        rows.append(("half angle", f"{fit.half_angle_deg:.6f}°"))
    rows.append(("rms", f"{fit.rms_mm:.6f} mm"))
    low, high = fit.min_residual_mm, fit.max_residual_mm
    rows.append(("form", f"{fit.form_mm:.6f} mm, from {low:.6f} to {high:.6f} mm"))
    if fit.arc_deg is not None:
        rows.append(("arc", f"{fit.arc_deg:.1f}°"))
    if fit.length_mm is not None:
        rows.append(("length", f"{fit.length_mm:.3f} mm"))
    rows.append(("standard uncertainty", _sure(sure.as_json())))
    rows.append(("effective points", f"{fit.effective_points:.0f}"))
    lines = [f"{fit.feature} through {name}"]
    return "\n".join(lines + [f"  {label:<21} {text}" for label, text in rows])


def _count(fit: Fit) -> str:
    if fit.scale_mm is None:
        return str(fit.points)
    return f"{fit.points}, of which {fit.used} agree; scale {fit.scale_mm:.6f} mm"


def _row(values: Any, digits: int = 6, unit: str = " mm") -> str:
    return ", ".join(f"{round(float(x), digits) + 0.0:.{digits}f}" for x in values) + unit


def _sure(parts: dict[str, float]) -> str:
    names = {
        "point_mm": ("place", "mm"),
        "direction_rad": ("direction", "rad"),
        "radius_mm": ("radius", "mm"),
        "half_angle_rad": ("half angle", "rad"),
    }
    return ", ".join(f"{names[k][0]} {v:.3g} {names[k][1]}" for k, v in parts.items())
