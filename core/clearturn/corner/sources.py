"""The files a corner is made from: found, unchanged, read, and cleaned as the job records."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearturn.corner.band import Mask
from clearturn.corner.faces import clean
from clearturn.errors import JobProblem
from clearturn.findings import Finding
from clearturn.job import model
from clearturn.job.fault import Fault
from clearturn.job.file import as_problem
from clearturn.job.positions import JsonPath, Positions
from clearturn.mesh import Mesh
from clearturn.progress import Progress, check, part, report
from clearturn.scan import read_scan
from clearturn.steps import KeptSteps, kept_step

_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Source:
    """A scan as read: every face of the file, and which of them the cleaning kept.

    Attributes
    ----------
    scan : model.Scan
        As the job names it.
    mesh : Mesh
        In the scan's own coordinates, mm: the file's faces, then those that close holes.
    kept : (m,) ndarray of bool
        Faces that the cleaning steps left; those by a band are applied later.
    findings : tuple of Finding
        Of reading the file.
    invented : (m,) ndarray of bool or None
        Faces that close holes.
    file_mesh : Mesh or None
        As the file has it, where cleaning made another of it.
    cleaning : tuple of Finding
        Of the cleaning steps.
    """

    scan: model.Scan
    mesh: Mesh
    kept: Mask
    findings: tuple[Finding, ...] = ()
    invented: Mask | None = None
    file_mesh: Mesh | None = None
    cleaning: tuple[Finding, ...] = ()

    @property
    def cleaned(self) -> Mesh:
        """The kept faces as a mesh of their own."""
        return self.mesh.cached(("cleaned", self.kept.tobytes()), lambda: self.mesh.part(self.kept))


def files_of(corner: model.Corner) -> Iterator[tuple[JsonPath, str, str]]:
    """Yield place in the corner, path and hash of every file a corner needs."""
    for i, scan in enumerate(corner.scans):
        yield ("scans", i), scan.path, scan.sha256
    for i, item in enumerate(corner.parts):
        if item.mesh is not None:
            yield ("parts", i, "mesh"), item.mesh.path, item.mesh.sha256


def check_files(
    job: model.Job,
    folder: Path,
    *,
    file: str | None = None,
    positions: Positions | None = None,
    progress: Progress | None = None,
) -> None:
    """Check that every file of a job is there and unchanged.

    Parameters
    ----------
    folder : path
        Folder of the job file.
    file, positions
        Name and lines of the job file, for the message.

    Raises
    ------
    JobProblem
        If a file is missing or its hash is not the job's.
    """
    for a, axle in enumerate(job.axles):
        for place, path, sha256 in files_of(axle.corner):
            at = ("axles", a, "corner", *place)
            fault = _file_fault(at, folder / path, path, sha256, progress)
            if fault is not None:
                raise as_problem(fault, file=file, positions=positions)


@dataclass(frozen=True, slots=True)
class FileTrouble:
    """A file of a job that is missing, or is another one now.

    Attributes
    ----------
    place : path into the job
        Of what names the file: it has ``path`` and ``sha256``.
    path, sha256 : str
        As the job has them.
    found : str or None
        Hash of the file that is there now; None if there is none that can be read.
    """

    place: JsonPath
    path: str
    sha256: str
    found: str | None


def troubled_files(
    job: model.Job, folder: Path, progress: Progress | None = None
) -> tuple[FileTrouble, ...]:
    """Return the files of a job that are missing or changed, in the job's order.

    Raises
    ------
    Cancelled
    """
    troubles = []
    for a, axle in enumerate(job.axles):
        for place, path, sha256 in files_of(axle.corner):
            full = folder / path
            try:
                found = file_sha256(full, progress) if full.is_file() else None
            except (OSError, ValueError):
                found = None
            if found != sha256:
                at = ("axles", a, "corner", *place)
                troubles.append(FileTrouble(at, path, sha256, found))
    return tuple(troubles)


def _file_fault(
    at: JsonPath, full: Path, path: str, sha256: str, progress: Progress | None
) -> Fault | None:
    try:
        if not full.is_file():
            missing = "not a file" if full.exists() else "there is no such file"
            return Fault((*at, "path"), missing, path, mend="put it there or correct the path")
        found = file_sha256(full, progress)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        return Fault((*at, "path"), f"the file cannot be read: {reason}", path)
    if found != sha256:
        return Fault(
            (*at, "sha256"),
            f"{path} has changed since it was taken into the job",
            found=found,
            allowed=sha256,
            mend="put the old file back, or take the new one into the job and check its datums",
        )
    return None


def file_sha256(path: str | Path, progress: Progress | None = None) -> str:
    """Return the SHA-256 of a file's bytes."""
    digest = hashlib.sha256()
    with Path(path).open("rb") as stream:
        while block := stream.read(_CHUNK):
            check(progress)
            digest.update(block)
    return digest.hexdigest()


def read_sources(
    corner: model.Corner,
    folder: Path,
    progress: Progress | None = None,
    steps: KeptSteps | None = None,
) -> dict[str, Source]:
    """Read and clean the scans of a corner; of files that `check_files` found unchanged.

    Parameters
    ----------
    steps : KeptSteps, optional
        What earlier checks read.

    Raises
    ------
    InputError
        If a file cannot be read, or cleaning leaves nothing.
    """
    sources = {}
    for i, scan in enumerate(corner.scans):
        low, high = i / len(corner.scans), (i + 1) / len(corner.scans)
        here = part(progress, low, high)
        report(here, 0.0, f"reading {scan.path}")
        # The file's content stands in the job by its hash.
        work = partial(_read_source, scan, folder, here)
        sources[scan.name] = kept_step(steps, "scan", work, scan, folder)
    return sources


def _read_source(scan: model.Scan, folder: Path, progress: Progress | None) -> Source:
    read = read_scan(folder / scan.path, unit=scan.unit, progress=progress)
    return cleaned_source(scan, read.mesh, read.findings, progress)


def cleaned_source(
    scan: model.Scan,
    mesh: Mesh,
    findings: tuple[Finding, ...] = (),
    progress: Progress | None = None,
) -> Source:
    """Return a scan with its recorded steps applied.

    Parameters
    ----------
    mesh : Mesh
        As the file has it.
    findings : tuple of Finding
        Of reading the file.

    Raises
    ------
    JobProblem
        If cleaning leaves nothing.
    """
    made = clean(mesh, scan.cleaning, progress)
    if not made.kept.any():
        raise JobProblem(
            "cleaning leaves nothing of the scan",
            place=f"scan {scan.name!r}, cleaning",
            mend="change or take back the last step",
        )
    told = tuple(replace(one, text=f"{scan.name}: {one.text}") for one in made.findings)
    return Source(scan, made.mesh, made.kept, findings, made.invented, mesh, told)


def transform(pose: model.Pose) -> NDArray[np.float64]:
    """Return a pose of the job as a (4, 4) array."""
    return np.array(pose, dtype=np.float64)
