"""What reading a file gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearturn.findings import Finding
from clearturn.mesh import Mesh


@dataclass(frozen=True, slots=True)
class Raw:
    """Triangles as one format's reader delivers them, in the file's own unit.

    Attributes
    ----------
    format : str
        "STL, binary", "STL, text", "PLY", "OBJ", "3MF", "GLB", "STEP", "IGES".
    vertices : (n, 3) float64
        Welded, finite.
    faces : (m, 3) int32
    unit : str or None
        The unit the file or its format states.
    bits : int
        Precision the coordinates were stored with: 24 for single, 53 for double.
    chord_error : float
        How far the triangles may lie from the surface they stand for, in the file's unit; 0 where
        the triangles are the data.
    """

    format: str
    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    findings: tuple[Finding, ...] = ()
    unit: str | None = None
    bits: int = 53
    chord_error: float = 0.0


@dataclass(frozen=True, slots=True)
class Scan:
    """One file's mesh, in mm, and where it comes from.

    Attributes
    ----------
    mesh : Mesh
        Welded: equal coordinates are one vertex.
    file : str
        The name it was read from.
    format : str
    sha256 : str
        Hash of the file's bytes.
    unit : str
        Unit of the file's numbers.
    unit_source : {"given", "file", "assumed"}
    chord_error_mm : float
        Largest distance of the triangles from the surface they stand for, as far as the reader
        knows: the deflection asked for when a solid was cut into triangles; 0 for meshes.
    findings : tuple of Finding
    """

    mesh: Mesh
    file: str
    format: str
    sha256: str
    unit: str
    unit_source: str
    chord_error_mm: float = 0.0
    findings: tuple[Finding, ...] = ()

    @property
    def triangles(self) -> int:
        """Triangles in the file, degenerate and duplicate ones included."""
        return len(self.mesh.faces)

    @property
    def vertices(self) -> int:
        """Points after welding equal coordinates."""
        return len(self.mesh.vertices)
