"""Hand a result's meshes over to the corner picture's process."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from clearturn.result import CheckResult, Motion

if TYPE_CHECKING:
    from clearturn.corner.sources import Source
    from clearturn.corner.touched import Touched


def hand_over(result: CheckResult) -> Path:
    """Write parts and places below the requirement into a new folder and return it."""
    folder = Path(tempfile.mkdtemp(prefix="clearturn-corner-"))
    arrays: dict[str, Any] = {}
    names = [part.name for part in result.parts]
    for k, part in enumerate(result.parts):
        arrays[f"vertices{k}"] = part.mesh.vertices.astype(np.float32)
        arrays[f"faces{k}"] = part.mesh.faces
    below: dict[int, int] = {}
    for index, pair in enumerate(result.pairs):
        faces = [place.faces for place in pair.places if len(place.faces)]
        if faces and pair.first in names:
            below[index] = names.index(pair.first)
            arrays[f"below{index}"] = np.concatenate(faces)
    np.savez(folder / "parts.npz", **arrays)
    told = {"motions": [str(part.motion) for part in result.parts], "below": below}
    (folder / "scene.json").write_text(json.dumps(told))
    return folder


def hand_over_scan(source: Source) -> Path:
    """Write the cleaned faces of a scan, in its own pose, into a new folder and return it."""
    folder = Path(tempfile.mkdtemp(prefix="clearturn-corner-"))
    mesh = source.cleaned
    np.savez(folder / "parts.npz", vertices0=mesh.vertices.astype(np.float32), faces0=mesh.faces)
    told = {"motions": [str(Motion.FIXED)], "below": {}}
    (folder / "scene.json").write_text(json.dumps(told))
    return folder


def hand_over_touched(source: Source, touched: Touched) -> Path:
    """Write the faces that light up into a file in a new folder and return it."""
    folder = Path(tempfile.mkdtemp(prefix="clearturn-corner-"))
    mesh = source.mesh.part(touched.faces)
    np.savez(folder / "lit.npz", vertices=mesh.vertices.astype(np.float32), faces=mesh.faces)
    return folder / "lit.npz"
