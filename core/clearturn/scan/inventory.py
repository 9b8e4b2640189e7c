"""Take stock of a mesh: pieces, edges, bad triangles, sides.

How things are counted:

- *degenerate*: two corners are one point, or twice the area is below 1e-12 of the longest side
  squared (a needle without width);
- *duplicate*: every triangle beyond the first with the same three corners, in either winding;
- *open edge*: used by one triangle; *non-manifold*: by more than two; *turned edge*: by two that
  run along it the same way, so one of them shows its back.  Duplicates and triangles with a
  repeated corner are left out of these counts; needles stay in, because they close seams;
- *piece*: triangles joined through common points.  Pieces of degenerate triangles only do not
  count;
- *flipped piece*: encloses a negative volume for certain, whatever closes its holes, and is not a
  cavity inside another piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn.findings import Finding
from clearturn.mesh import Mesh
from clearturn.progress import Progress, report
from clearturn.scan import _kernels_survey as kernels
from clearturn.threads import run, spans

SLICE = 1 << 17
# Triangles whose table (16 bytes each) just fits the second cache.
SHARE_FACES = 1 << 17
MOST_SHARES = 16
# Pieces whose side is looked into with a winding number; each costs a pass over the mesh.
MOST_CAVITIES = 32


@dataclass(frozen=True, slots=True)
class Pieces:
    """The pieces of a mesh, numbered by their first triangle.

    Attributes
    ----------
    triangles : (k,) int64
        Triangles with an area, duplicates counted once.
    area_mm2, volume_mm3 : (k,) float64
        The volume is signed and means something only where the piece is closed.
    open_length_mm : (k,) float64
        Length of the open edges.
    bounds_mm : (k, 2, 3) float64
    flipped : (k,) bool
        Turned inside out for certain.
    """

    triangles: NDArray[np.int64]
    area_mm2: NDArray[np.float64]
    volume_mm3: NDArray[np.float64]
    open_length_mm: NDArray[np.float64]
    bounds_mm: NDArray[np.float64]
    flipped: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Survey:
    """What a mesh holds; the module says how each thing is counted.

    Attributes
    ----------
    volume_mm3 : float or None
        None if an edge is open or triangles are wound against each other.
    states : (m,) uint8
        Per triangle: 0 good, 1 a repeated corner (or no area, and seen before), 2 no area, 3 a
        duplicate.
    labels : (m,) int32
        Piece of each triangle; degenerate triangles by themselves get numbers from `pieces` on.
    """

    pieces: int
    open_edges: int
    non_manifold_edges: int
    turned_edges: int
    degenerate_triangles: int
    duplicate_triangles: int
    flipped_pieces: int
    area_mm2: float
    volume_mm3: float | None
    mean_edge_mm: float
    open_length_mm: float
    piece: Pieces
    states: NDArray[np.uint8]
    labels: NDArray[np.int32]
    findings: tuple[Finding, ...]


def survey(mesh: Mesh, progress: Progress | None = None) -> Survey:
    """Take stock of a mesh.  Made once for a mesh and kept.

    Raises
    ------
    Cancelled
        If `progress` was cancelled.
    """
    return mesh.cached("scan.survey", lambda: _survey(mesh, progress))


def piece_labels(mesh: Mesh) -> NDArray[np.int32]:
    """Return the piece each triangle belongs to, (m,) int32, numbered by first triangle.

    Degenerate triangles that touch no piece are numbered after the pieces.
    """
    return survey(mesh).labels


def triangle_states(mesh: Mesh, progress: Progress | None = None) -> NDArray[np.uint8]:
    """Return per triangle 0 good, 1 a repeated corner, 2 no area, 3 a duplicate; (m,) uint8."""
    count = len(mesh.faces)
    states = np.empty(count, np.uint8)
    hashes = np.empty(count, np.uint64)
    run(
        lambda a, b: kernels.mark_flat(mesh.vertices, mesh.faces, a, b, states, hashes),
        spans(count, SLICE),
        progress,
    )
    shares = min(MOST_SHARES, 1 << (count // SHARE_FACES).bit_length())
    counts = np.zeros(shares, np.int64)
    kernels.count_shares(hashes, counts)

    def work(share: int, _: int) -> None:
        # at most half full
        table = np.full(1 << (2 * int(counts[share]) + 1).bit_length(), ~np.uint64(0))
        kernels.mark_duplicates(mesh.faces, hashes, shares, share, table, states)

    run(work, spans(shares, 1), progress)
    return states


def label_pieces(
    mesh: Mesh, states: NDArray[np.uint8], progress: Progress | None = None
) -> tuple[int, NDArray[np.int32], NDArray[np.int32]]:
    """Return the number of pieces, the piece of each face (m,) and of each vertex (n,)."""
    parent = np.arange(len(mesh.vertices), dtype=np.int32)
    labels = np.empty(len(mesh.faces), np.int32)
    for first, last in spans(len(mesh.faces), SLICE):
        report(progress, first / len(mesh.faces), "finding pieces")
        kernels.join_corners(mesh.faces, first, last, parent)
    count = int(kernels.number_pieces(mesh.faces, states, parent, labels))
    return count, labels, parent


def _survey(mesh: Mesh, progress: Progress | None) -> Survey:
    report(progress, 0.0, "looking for bad triangles")
    states = triangle_states(mesh, progress)
    report(progress, 0.3, "finding pieces")
    count, labels, vertex_piece = label_pieces(mesh, states)
    report(progress, 0.5, "looking at edges")
    edge = _edges(mesh, states, progress)
    report(progress, 0.8, "measuring")
    piece = _pieces(
        mesh, states, labels, vertex_piece, edge.open_length_mm, count=count, progress=progress
    )
    findings: list[Finding] = []
    flipped = _flipped(mesh, states, labels, piece, findings=findings, progress=progress)
    piece = Pieces(
        piece.triangles, piece.area_mm2, piece.volume_mm3, piece.open_length_mm,
        piece.bounds_mm, flipped,
    )  # fmt: skip
    closed = edge.open == 0 and edge.turned == 0 and count > 0
    found = Survey(
        pieces=count,
        open_edges=edge.open,
        non_manifold_edges=edge.shared,
        turned_edges=edge.turned,
        degenerate_triangles=int(((states == kernels.REPEATED) | (states == kernels.FLAT)).sum()),
        duplicate_triangles=int((states == kernels.DUPLICATE).sum()),
        flipped_pieces=int(flipped.sum()),
        area_mm2=float(piece.area_mm2.sum()),
        volume_mm3=float(piece.volume_mm3.sum()) if closed else None,
        mean_edge_mm=edge.total_mm / edge.edges if edge.edges else 0.0,
        open_length_mm=float(edge.open_length_mm.sum()),
        piece=piece,
        states=states,
        labels=labels,
        findings=(),
    )
    states.flags.writeable = False
    labels.flags.writeable = False
    return _with_findings(found, findings)


@dataclass(frozen=True, slots=True)
class _Edges:
    edges: int
    open: int
    shared: int
    turned: int
    total_mm: float
    open_length_mm: NDArray[np.float64]  # by lower vertex
    start: NDArray[np.int32]
    entries: NDArray[np.uint32]  # sorted in each bin


def sorted_edges(
    mesh: Mesh, states: NDArray[np.uint8], progress: Progress | None = None
) -> tuple[NDArray[np.int32], NDArray[np.uint32], int]:
    """Return the edges in bins by lower vertex, sorted in each bin, and how many are open."""
    found = _edges(mesh, states, progress)
    return found.start, found.entries, found.open


def _edges(mesh: Mesh, states: NDArray[np.uint8], progress: Progress | None) -> _Edges:
    points = len(mesh.vertices)
    start = np.zeros(points + 2, np.int32)
    entries = np.empty(3 * len(mesh.faces), np.uint32)
    kernels.bin_edges(mesh.faces, states, start, entries)
    open_length = np.zeros(points)
    cuts = spans(points, SLICE)
    sums: dict[int, tuple[int, int, int, int, float]] = {}

    def work(first: int, last: int) -> None:
        sums[first] = kernels.count_edges(mesh.vertices, start, entries, first, last, open_length)

    run(work, cuts, progress)
    parts = [sums[first] for first, _ in cuts]  # in fixed order: the same bits on any threads
    edges, single, shared, turned = (int(sum(p[k] for p in parts)) for k in range(4))
    total = float(sum(p[4] for p in parts))
    return _Edges(edges, single, shared, turned, total, open_length, start, entries)


def _pieces(
    mesh: Mesh,
    states: NDArray[np.uint8],
    labels: NDArray[np.int32],
    vertex_piece: NDArray[np.int32],
    open_length: NDArray[np.float64],
    *,
    count: int,
    progress: Progress | None,
) -> Pieces:
    triangles = np.zeros(count, np.int64)
    sums = np.zeros((count, 2))
    bounds = np.empty((count, 2, 3))
    bounds[:, 0] = np.inf
    bounds[:, 1] = -np.inf
    origin = mesh.bounds.mean(axis=0)
    for first, last in spans(len(mesh.faces), SLICE):
        report(progress, 0.8 + 0.1 * first / len(mesh.faces), "measuring")
        kernels.sum_pieces(
            mesh.vertices, mesh.faces, states, labels, first, last, origin, triangles, sums, bounds
        )
    inside = (vertex_piece >= 0) & (vertex_piece < count)
    rim = np.bincount(vertex_piece[inside], open_length[inside], count).astype(np.float64)
    return Pieces(triangles, sums[:, 0], sums[:, 1], rim, bounds, np.zeros(count, np.bool_))


def _flipped(
    mesh: Mesh,
    states: NDArray[np.uint8],
    labels: NDArray[np.int32],
    piece: Pieces,
    *,
    findings: list[Finding],
    progress: Progress | None,
) -> NDArray[np.bool_]:
    """Tell which pieces are inside out for certain.

    A rim of length L can be closed with a skin of at most L²/4π (isoperimetric inequality, which
    holds for area-minimising discs); seen from the middle of the mesh it adds at most a third of
    that times the farthest distance to the volume.
    """
    reach = float(np.linalg.norm(np.diff(mesh.bounds, axis=0))) / 2.0
    doubt = piece.open_length_mm**2 / (4.0 * np.pi) * reach / 3.0
    # A sheet's volume is rounding; a thousandth of a micron of skin is not a solid.
    doubt = doubt + 1e-6 * piece.area_mm2
    flipped: NDArray[np.bool_] = piece.volume_mm3 < -doubt
    cavities = 0
    for p in np.flatnonzero(flipped & _boxed(piece))[:MOST_CAVITIES]:
        report(progress, 0.9, "looking at sides")
        corner = mesh.vertices[mesh.faces[int(np.argmax(labels == p)), 0]]
        cuts = spans(len(mesh.faces), SLICE)
        parts: dict[int, float] = {}

        def work(
            first: int, last: int, parts: dict[int, float] = parts, p: int = int(p),
            corner: NDArray[np.float64] = corner,
        ) -> None:  # fmt: skip
            parts[first] = kernels.winding_number(
                mesh.vertices, mesh.faces, states, labels, p, corner, first, last
            )

        run(work, cuts, progress)
        if sum(parts[first] for first, _ in cuts) > 0.5:
            flipped[p] = False
            cavities += 1
    if cavities:
        findings.append(
            Finding("cavities", "note", f"{cavities} pieces are cavities inside another piece.")
        )
    return flipped


def _boxed(piece: Pieces) -> NDArray[np.bool_]:
    """Tell which pieces lie in the box of a larger one with a positive volume."""
    boxed = np.zeros(len(piece.triangles), np.bool_)
    for p in np.flatnonzero(piece.volume_mm3 < 0.0):
        low, high = piece.bounds_mm[p]
        holds = (piece.bounds_mm[:, 0] <= low).all(axis=1) & (piece.bounds_mm[:, 1] >= high).all(
            axis=1
        )
        boxed[p] = bool((holds & (piece.volume_mm3 > 0.0)).any())
    return boxed


def _with_findings(found: Survey, findings: list[Finding]) -> Survey:
    values = {name: getattr(found, name) for name in Survey.__slots__}
    values["findings"] = tuple(findings + _findings(found))
    return Survey(**values)


def _rounded(length_mm: float) -> str:
    """Four figures, as a length is written: never as a power of ten."""
    return f"{length_mm:,.0f}" if length_mm >= 1000.0 else f"{length_mm:.4g}"


def _findings(found: Survey) -> list[Finding]:
    rows = [
        (found.open_edges, "open-edges", "note",
         f"{found.open_edges:,} edges are open ({_rounded(found.open_length_mm)} mm in all): the "
         "scan has holes or rims, and it encloses no volume."),
        (found.non_manifold_edges, "non-manifold-edges", "warning",
         f"{found.non_manifold_edges:,} edges are shared by more than two triangles."),
        (found.turned_edges, "mixed-winding", "warning",
         f"At {found.turned_edges:,} edges neighbours are wound against each other, so the "
         "outside is not known there."),
        (found.degenerate_triangles, "degenerate-triangles", "note",
         f"{found.degenerate_triangles:,} triangles have no area."),
        (found.duplicate_triangles, "duplicate-triangles", "note",
         f"{found.duplicate_triangles:,} triangles lie on another with the same corners."),
        (found.flipped_pieces, "flipped-pieces", "warning",
         f"{found.flipped_pieces:,} of {found.pieces:,} pieces are turned inside out."),
    ]  # fmt: skip
    listed = [Finding(code, severity, text) for count, code, severity, text in rows if count]  # type: ignore[arg-type]
    specks = _specks(found)
    if specks:
        listed.append(
            Finding(
                "specks", "note",
                f"{specks:,} of {found.pieces:,} pieces hold less than a thousandth of the "
                "triangles each: specks that cleaning can remove.",
            )
        )  # fmt: skip
    return listed


def _specks(found: Survey) -> int:
    triangles = found.piece.triangles
    return int((triangles * 1000 < triangles.sum()).sum())
