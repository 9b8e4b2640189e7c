"""What the head of the report says about the job."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from clearturn.job.model import Corner, Job

#: So many letters of a job's notes are printed.
NOTES_LETTERS = 1200


@dataclass(frozen=True, slots=True)
class SourceFile:
    """One file the job rests on."""

    name: str
    what: str
    sha256: str
    unit: str


@dataclass(frozen=True, slots=True)
class JobCard:
    """The job in a few words.

    Attributes
    ----------
    corners : tuple of str
        "front axle, left side", one per axle.
    files : tuple of SourceFile
        Scans and mesh files with the hash of their bytes.
    coverage_factors : tuple of float
        k of U = k u, each once.
    """

    name: str
    vehicle: str
    kit: str
    author: str
    notes: str
    invented: bool
    corners: tuple[str, ...]
    files: tuple[SourceFile, ...]
    coverage_factors: tuple[float, ...]
    sign_offs: tuple[tuple[str, str, str], ...]


def _judged_side(corner: Corner) -> str:
    if not corner.mirror:
        return f"{corner.side} side"
    other = "right" if corner.side == "left" else "left"
    return f"{other} side, mirrored from the {corner.side} side's scans"


def _files(corner: Corner) -> list[SourceFile]:
    scans = [
        SourceFile(PurePosixPath(s.path).name, f"scan “{s.name}”", s.sha256, s.unit)
        for s in corner.scans
    ]
    meshes = [
        SourceFile(
            PurePosixPath(p.mesh.path).name, f"mesh of “{p.name}”", p.mesh.sha256, p.mesh.unit
        )
        for p in corner.parts
        if p.mesh is not None
    ]
    return scans + meshes


def job_card(job: Job) -> JobCard:
    """Return what the report says about `job`."""
    corners = [axle.corner for axle in job.axles]
    return JobCard(
        name=job.name,
        vehicle=job.vehicle,
        kit=job.kit,
        author=job.author,
        notes=job.notes,
        invented=job.invented,
        corners=tuple(f"{a.name} axle, {_judged_side(a.corner)}" for a in job.axles),
        files=tuple(file for corner in corners for file in _files(corner)),
        coverage_factors=tuple(dict.fromkeys(c.coverage_factor for c in corners)),
        sign_offs=tuple((s.operation, s.name, s.date) for s in job.sign_offs),
    )
