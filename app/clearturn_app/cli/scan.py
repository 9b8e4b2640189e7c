"""``clearturn scan``: what a mesh or solid file holds, and what is doubtful about it."""

from __future__ import annotations

import argparse
import os
from typing import TYPE_CHECKING, Any

from clearturn_app.cli.options import add_json_option, add_unit_option
from clearturn_app.cli.output import EXIT_DONE, print_json, progress_bar, say_findings

if TYPE_CHECKING:
    from clearturn.findings import Finding
    from clearturn.mesh import Mesh
    from clearturn.progress import Progress
    from clearturn.scan import Scan, Survey

_ABOUT = """\
What a file holds: triangles, pieces, holes, bad triangles, size.  Reads STL (binary and text),
PLY, OBJ, 3MF, GLB, STEP and IGES.  The file is never changed.
"""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command with its options."""
    parser = subparsers.add_parser(
        "scan",
        help="what a scan or mesh file holds",
        description=_ABOUT,
        epilog="Exit codes: 0 done, 2 bad input.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", metavar="FILE", help="mesh or solid file")
    add_unit_option(parser)
    parser.add_argument(
        "--clean",
        action="store_true",
        help="show it without degenerate and duplicate triangles, flipped pieces turned",
    )
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Read the file, take stock of it and print that; return 0."""
    from clearturn.scan import read_scan, survey

    with progress_bar() as progress:
        scan = read_scan(args.file, unit=args.unit, progress=progress.part(0.0, 0.5))
        mesh = scan.mesh
        cleaned: tuple[Finding, ...] = ()
        if args.clean:
            mesh, cleaned = _cleaned(mesh, progress.part(0.5, 0.7))
        found = survey(mesh, progress.part(0.7, 1.0))
    findings = (*scan.findings, *cleaned, *found.findings)
    if args.json:
        print_json(as_json(scan, mesh, found, findings))
    else:
        print(_as_text(scan, mesh, found))
        say_findings(findings)
    return EXIT_DONE


def as_json(scan: Scan, mesh: Mesh, found: Survey, findings: tuple[Finding, ...]) -> dict[str, Any]:
    """Return the answer as the contract's JSON object (docs/schema/scan.schema.json)."""
    return {
        "file": _shown(scan.file),
        "format": scan.format,
        "sha256": scan.sha256,
        "unit": scan.unit,
        "unit_source": scan.unit_source,
        "triangles": len(mesh.faces),
        "vertices": len(mesh.vertices),
        "pieces": found.pieces,
        "open_edges": found.open_edges,
        "non_manifold_edges": found.non_manifold_edges,
        "degenerate_triangles": found.degenerate_triangles,
        "duplicate_triangles": found.duplicate_triangles,
        "flipped_pieces": found.flipped_pieces,
        "bounds_mm": mesh.bounds,
        "area_mm2": found.area_mm2,
        "volume_mm3": found.volume_mm3,
        "mean_edge_mm": found.mean_edge_mm,
        "findings": [finding.as_json() for finding in findings],
    }


def _cleaned(mesh: Mesh, progress: Progress) -> tuple[Mesh, tuple[Finding, ...]]:
    from clearturn.scan import STANDARD_STEPS, clean

    result = clean(mesh, STANDARD_STEPS, progress)
    return result.mesh, result.findings


def _shown(name: str | os.PathLike[str]) -> str:
    # A name may hold bytes that are no text; they are shown as \xNN.
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _as_text(scan: Scan, mesh: Mesh, found: Survey) -> str:
    (x0, y0, z0), (x1, y1, z1) = mesh.bounds.tolist()
    volume = "not closed" if found.volume_mm3 is None else f"{found.volume_mm3 / 1000:.4g} cm³"
    source = {"given": "as given", "file": "as the file says", "assumed": "assumed"}
    name = _shown(scan.file)
    rows = [
        ("format", scan.format),
        ("sha256", scan.sha256),
        ("unit", f"{scan.unit} ({source[scan.unit_source]})"),
        ("triangles", f"{len(mesh.faces):,}"),
        ("vertices", f"{len(mesh.vertices):,}"),
        ("pieces", f"{found.pieces:,}, {found.flipped_pieces:,} inside out"),
        ("open edges", f"{found.open_edges:,}"),
        ("non-manifold", f"{found.non_manifold_edges:,} edges"),
        ("degenerate", f"{found.degenerate_triangles:,} triangles"),
        ("duplicate", f"{found.duplicate_triangles:,} triangles"),
        ("size", f"{x1 - x0:.3f} × {y1 - y0:.3f} × {z1 - z0:.3f} mm"),
        ("from", f"{x0:.3f}, {y0:.3f}, {z0:.3f} mm"),
        ("to", f"{x1:.3f}, {y1:.3f}, {z1:.3f} mm"),
        ("area", f"{found.area_mm2 / 100:.4g} cm²"),
        ("volume", volume),
        ("mean edge", f"{found.mean_edge_mm:.3f} mm"),
    ]
    lines = ["".join(c if c.isprintable() else repr(c)[1:-1] for c in name)]
    return "\n".join(lines + [f"  {label:<13} {value}" for label, value in rows])
