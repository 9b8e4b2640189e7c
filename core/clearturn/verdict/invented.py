"""Surface that nobody measured: what closes the holes of a scan may warn, but proves nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.pairs import PairSpec
from clearturn.findings import Finding
from clearturn.gap.still import query
from clearturn.gap.tree import space_tree
from clearturn.mesh import Mesh
from clearturn.result import PairResult, PlacedPart, Verdict

#: A face's middle lies on the invented surface it is part of, up to rounding.
_SAME_MM = 1e-6


def invented_faces(placed: PlacedPart, mesh: Mesh, rows: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return which faces of a part are invented, (len(rows),).

    Parameters
    ----------
    placed : PlacedPart
    mesh : Mesh
        The part's mesh, or what seats leave of it.
    rows : (k,) ndarray of int
        Faces asked for.
    """
    if placed.invented is None or len(rows) == 0:
        return np.zeros(len(rows), np.bool_)
    middle = mesh.vertices[mesh.faces[rows]].mean(axis=1)
    distance, _, _ = query(middle, space_tree(placed.invented), np.inf)
    return np.asarray(distance <= _SAME_MM)


def without_invented(spec: PairSpec, first: PlacedPart, second: PlacedPart) -> PairSpec:
    """Return the pair with the invented faces of both parts left out."""

    def out(placed: PlacedPart, excluded: NDArray[np.int64]) -> NDArray[np.int64]:
        rows = np.arange(len(placed.mesh.faces), dtype=np.int64)
        made = rows[invented_faces(placed, placed.mesh, rows)]
        return np.union1d(np.asarray(excluded, np.int64), made)

    return replace(
        spec,
        excluded_first=out(first, spec.excluded_first),
        excluded_second=out(second, spec.excluded_second),
    )


def with_doubt(found: PairResult, measured: PairResult | None, names: list[str]) -> PairResult:
    """Return a pair's result that says its closest place lies on invented surface.

    Parameters
    ----------
    measured : PairResult or None
        The same pair by measured surface only; None if nothing is left of it.
    names : list of str
        Parts on whose invented surface the closest place lies.
    """
    text = (
        f"{' and '.join(names)}: the closest place lies on surface invented to close a hole of the "
        "scan; nobody measured it"
    )
    verdict, settle = found.verdict, found.settle_by
    if verdict is Verdict.FAILS and (measured is None or measured.verdict is not Verdict.FAILS):
        verdict = Verdict.NOT_PROVEN
        settle = (
            f"scan the hole at {found.clock_deg:.0f}°, r {found.r_mm:.1f}, z {found.z_mm:.1f} mm "
            "again, or feel the gap there"
        )
        text += "; by the measured surface alone the pair does not fail"
    doubt = Finding("witness-invented", "warning", text)
    return replace(found, verdict=verdict, settle_by=settle, findings=(*found.findings, doubt))
