"""Every part of a corner where it sits in the hub frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from clearturn.corner.band import Mask, in_band
from clearturn.corner.faces import choose, clean_by_band
from clearturn.corner.frames import Frames, hub_scan, noise_of
from clearturn.corner.mirror import mirror_finding, mirrored_covariance, mirrored_part
from clearturn.corner.pairs import WHEEL_KINDS, FrameUncertainty
from clearturn.corner.seats import split_near
from clearturn.corner.sources import Source, transform
from clearturn.envelope import Envelope, bracket_mesh, caliper_mesh, rotor_mesh, shield_mesh
from clearturn.errors import InputError, JobProblem
from clearturn.findings import Finding
from clearturn.job import model
from clearturn.job.judging import AllowanceEntry
from clearturn.mesh import Mesh
from clearturn.progress import Progress, part, report
from clearturn.result import Motion, PlacedPart
from clearturn.scan import read_scan

WEIGHTS_NAME = "balance weights"
WEIGHTS_ALLOWED = ", weights allowed"


@dataclass(frozen=True, slots=True)
class Placed:
    """The parts of a corner, and what follows from how they are known.

    Attributes
    ----------
    parts : tuple of PlacedPart
    body_of : mapping of str to str
        Name of a placed part to the job's part: a barrel is cut where weights may sit.
    uncertainty : mapping of str to FrameUncertainty
        By part name; parts that hang on no datum are not in it.
    allowances : tuple of AllowanceEntry
        What a scanner's statement, a chord error, a tolerance and balance weights add.
    wheel_parts : tuple of str
        Names of the parts a spacer moves.
    findings : tuple of Finding
    """

    parts: tuple[PlacedPart, ...]
    body_of: Mapping[str, str]
    uncertainty: Mapping[str, FrameUncertainty]
    allowances: tuple[AllowanceEntry, ...]
    wheel_parts: tuple[str, ...]
    findings: tuple[Finding, ...]


@dataclass(slots=True)
class _Builder:
    """Collects parts in the order of the job."""

    corner: model.Corner
    sources: Mapping[str, Source]
    frames: Frames
    folder: Path
    own: Mapping[str, Mesh]  # each scan in the frame its bands are given in
    taken: dict[str, Mask]
    parts: list[PlacedPart]
    body_of: dict[str, str]
    allowances: list[AllowanceEntry]
    findings: list[Finding]

    def add(
        self,
        spec: model.Part,
        mesh: Mesh,
        source: str,
        noise: tuple[float, float | None] = (0.0, None),
        invented: Mesh | None = None,
    ) -> None:
        """Add one part, its mesh in the hub frame."""
        for seat in self.corner.seats:
            if spec.name in (seat.part, seat.on):
                mesh = split_near(mesh, seat)
        placed = PlacedPart(
            spec.name, spec.kind, Motion(spec.motion), mesh, source, *noise, invented
        )
        self.parts.append(placed)
        self.body_of[spec.name] = spec.name
        if spec.tolerance_mm > 0:
            self.random(f"tolerance of {spec.name}", spec.tolerance_mm, "stated for the part", spec)
        if spec.motion == "posed":
            self.findings.append(
                Finding(
                    "posed-part",
                    "warning",
                    f"{spec.name} was scanned in one steering and suspension position; gaps to it "
                    "hold for that position only",
                )
            )

    def random(self, name: str, limit_mm: float, source: str, spec: model.Part) -> None:
        """Add a limit ± of a part to the allowances."""
        self.allowances.append(
            AllowanceEntry(name, limit_mm, "gap", "random", source, part=spec.name)
        )


def place_parts(
    corner: model.Corner,
    sources: Mapping[str, Source],
    frames: Frames,
    folder: Path,
    progress: Progress | None = None,
) -> Placed:
    """Place every part of a corner in the hub frame.

    Raises
    ------
    JobProblem
        If a part takes no faces.
    InputError
        If dimensions or a mesh file cannot be used.
    """
    own = {
        name: source.mesh.moved(frames.frame_from_scan[name])
        for name, source in sources.items()
        if name in frames.frame_from_scan
    }
    taken = {
        name: ~clean_by_band(mesh, sources[name].scan.cleaning, sources[name].kept)
        for name, mesh in own.items()
    }
    builder = _Builder(corner, sources, frames, folder, own, taken, [], {}, [], [])
    for i, spec in enumerate(corner.parts):
        here = part(progress, i / len(corner.parts), (i + 1) / len(corner.parts))
        report(here, 0.0, f"placing {spec.name}")
        if spec.scan is not None:
            _from_scan(builder, spec, spec.scan, here)
        elif spec.mesh is not None:
            _from_file(builder, spec, spec.mesh, here)
        else:
            _from_dimensions(builder, spec)
    _cut_at_weights(builder)
    return _finish(builder)


def _from_scan(
    builder: _Builder, spec: model.Part, faces: model.ScanFaces, progress: Progress | None
) -> None:
    source = builder.sources[faces.scan]
    taken = builder.taken[faces.scan]
    placed = builder.own[faces.scan]
    chosen = np.zeros(len(taken), dtype=np.bool_)
    for choice in faces.take:
        chosen |= choose(source.mesh, placed, choice, ~taken, progress)
    for choice in faces.leave:
        chosen &= ~choose(source.mesh, placed, choice, ~taken, progress)
    if not chosen.any():
        raise JobProblem(
            "the part has no faces: nothing of the scan is left for it",
            place=f"part {spec.name!r}",
            mend="check its bands and seeds, and the parts listed before it",
        )
    taken |= chosen
    hub_from_scan = builder.frames.hub_from_scan[faces.scan]
    mesh = source.mesh.part(chosen, spec.name).moved(hub_from_scan)
    invented = None
    if source.invented is not None and (chosen & source.invented).any():
        invented = source.mesh.part(chosen & source.invented, spec.name).moved(hub_from_scan)
    noise = noise_of(source.scan, builder.corner, builder.frames.fits)
    builder.add(spec, mesh, f"scan {source.scan.path}", noise, invented)
    if source.scan.scanner_error_mm > 0:
        builder.random(
            f"scanner, {spec.name}",
            source.scan.scanner_error_mm,
            f"stated for scan {source.scan.path}",
            spec,
        )


def _from_file(
    builder: _Builder, spec: model.Part, file: model.MeshFile, progress: Progress | None
) -> None:
    read = read_scan(builder.folder / file.path, unit=file.unit, progress=progress)
    if len(read.mesh.faces) == 0:
        raise JobProblem("the part has no faces", place=f"part {spec.name!r}", found=file.path)
    mesh = Mesh(read.mesh.vertices, read.mesh.faces, spec.name)
    builder.add(spec, mesh.moved(transform(file.hub_from_mesh)), f"file {file.path}")
    builder.findings += read.findings
    chord = max(file.chord_error_mm, read.chord_error_mm)
    if chord > 0:
        builder.random(f"triangles of {spec.name}", chord, f"chord error of {file.path}", spec)


def _from_dimensions(builder: _Builder, spec: model.Part) -> None:
    corner = builder.corner
    envelope: Envelope
    if spec.dimensions == "rotor" and corner.rotor is not None:
        envelope = rotor_mesh(corner.rotor, place="rotor", name=spec.name)
    elif spec.dimensions == "caliper" and corner.caliper is not None:
        if corner.rotor is None:
            raise JobProblem(
                "a caliper from dimensions is placed by the ring's mid-plane",
                place=f"part {spec.name!r}",
                mend="give the rotor's dimensions",
            )
        envelope = caliper_mesh(
            corner.caliper, ring_mid_z_mm=corner.rotor.ring_mid_z_mm, name=spec.name
        )
    elif spec.dimensions == "shield" and corner.shield is not None:
        envelope = shield_mesh(corner.shield, place="shield", name=spec.name)
    elif spec.dimensions == "bracket" and corner.bracket is not None:
        envelope = bracket_mesh(corner.bracket, place="bracket", name=spec.name)
    else:  # the rules of the job file refuse it before
        raise InputError("a part has no dimensions", place=f"part {spec.name!r}")
    builder.add(spec, envelope.mesh, "dimensions")
    if envelope.chord_error_mm > 0:
        builder.random(
            f"triangles of {spec.name}",
            envelope.chord_error_mm,
            "chord error of the mesh from dimensions",
            spec,
        )


def _cut_at_weights(builder: _Builder) -> None:
    """Cut the barrel where weights may sit and where not, so that each is judged by its own.

    One barrel with one nearest place would hide a farther place that carries weights.  A face
    that reaches into both belongs to the side where weights may sit.
    """
    weights = builder.corner.weights
    for index, placed in reversed(list(enumerate(builder.parts))):
        if placed.kind not in ("barrel", "wheel"):
            continue
        carries = _may_carry(placed, builder.corner)
        pieces = [(placed.name + WEIGHTS_ALLOWED, carries), (placed.name, ~carries)]
        if carries.all() or not carries.any():
            pieces = [(placed.name, np.ones_like(carries))]
        made = []
        for name, mask in pieces:
            mesh = placed.mesh if mask.all() else placed.mesh.part(mask, name)
            made.append(replace(placed, name=name, mesh=mesh))
            builder.body_of[name] = placed.name
        builder.parts[index : index + 1] = made
        if carries.any() and weights.thickness_mm > 0:
            builder.allowances.append(
                AllowanceEntry(
                    WEIGHTS_NAME,
                    weights.thickness_mm,
                    "gap",
                    "always costs",
                    f"declared: weights {weights.where}",
                    part=made[0].name,
                )
            )


def _may_carry(placed: PlacedPart, corner: model.Corner) -> Mask:
    weights, stack = corner.weights, corner.seat_stack
    everywhere = np.ones(len(placed.mesh.faces), dtype=np.bool_)
    if weights.where == "anywhere" or weights.z_from_mm is None or weights.z_to_mm is None:
        return everywhere
    pad_z = stack.pad_z_mm if stack is not None else 0.0
    band = model.Band(z_from_mm=weights.z_from_mm + pad_z, z_to_mm=weights.z_to_mm + pad_z)
    inside = in_band(placed.mesh.vertices, band)[placed.mesh.faces]
    if weights.where == "only in band":
        # A coarse face may reach across the band without a corner in it.
        z = placed.mesh.vertices[:, 2][placed.mesh.faces]
        across = (z.min(axis=1) <= band.z_to_mm) & (z.max(axis=1) >= band.z_from_mm)
        return np.asarray(across, dtype=np.bool_)
    return np.asarray(~inside.all(axis=1), dtype=np.bool_)


def _finish(builder: _Builder) -> Placed:
    corner, frames = builder.corner, builder.frames
    parts = tuple(builder.parts)
    uncertainty = dict(frames.uncertainty)
    findings = builder.findings
    if corner.mirror:
        parts = tuple(mirrored_part(placed) for placed in parts)
        uncertainty = {
            name: replace(one, covariance=mirrored_covariance(one.covariance))
            for name, one in uncertainty.items()
        }
        findings.append(mirror_finding(corner.side))
    of_part = {}
    for placed in parts:
        frame = _frame_of(placed, builder)
        if frame in uncertainty:
            of_part[placed.name] = uncertainty[frame]
    wheel_parts = tuple(
        placed.name
        for placed in parts
        if placed.kind in WHEEL_KINDS or _frame_of(placed, builder) == "wheel"
    )
    return Placed(
        parts,
        builder.body_of,
        of_part,
        tuple(builder.allowances),
        wheel_parts,
        (*frames.findings, *findings),
    )


def _frame_of(placed: PlacedPart, builder: _Builder) -> str:
    # What is bolted to the knuckle carries the error of the datums it was scanned or laid out by;
    # what turns rides on the real hub and carries none, unless it was placed by its own datums.
    spec = next(p for p in builder.corner.parts if p.name == builder.body_of[placed.name])
    if spec.scan is not None:
        if spec.scan.scan == builder.frames.wheel_scan:
            return "wheel"
        # A second wheel of stated pose is not laid out by the knuckle's datums.
        if placed.motion is not Motion.TURNS or spec.scan.scan == hub_scan(builder.corner):
            return "hub"
    return "" if placed.motion is Motion.TURNS else "hub"
