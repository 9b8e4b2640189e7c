"""The report's 3D pictures, made in a process of their own.

Rendering without a display can end a process where there is no working OpenGL (tried), so it never
happens in ours: this module hands meshes and views to a child (`_report_pictures_child`) through a
folder, and takes what the child had finished before it ended.  A child that fails is tried again
with another kind of render window; if none works the report is told so in one sentence.

Each picture is cut through the closest place: the plane holds both closest points, one looks at
it square-on, radius upwards and outboard to the right, as in the turn section, from a little above.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from clearturn.progress import Progress
    from clearturn.report import Pictures
    from clearturn.result import CheckResult, PairResult

Floats = NDArray[np.float64]

HALF_HEIGHT_MM = 60.0
TILT = 0.28  # how far the eye stands above and outboard of square-on
START_SECONDS = 60.0
SECONDS_A_PICTURE = 45.0

# What VTK is told to draw into, in this order; an empty name leaves the choice to it.
WINDOWS = ("", "vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")


@dataclass(frozen=True, slots=True)
class View:
    """Where to cut and from where to look (hub frame, mm).

    Attributes
    ----------
    point, normal : lists of 3
        The cut: what lies on the side of `normal` is taken away.
    up, right : lists of 3
        Unit vectors of the picture's axes before the tilt.
    eye : list of 3
        Unit vector from `point` to the eye.
    turn_deg : float
        How far the turning parts are turned.
    half_height_mm : float
    """

    point: list[float]
    normal: list[float]
    up: list[float]
    eye: list[float]
    turn_deg: float
    half_height_mm: float


def view_of(pair: PairResult) -> View:
    """Return the view in which the gap of `pair` is seen in its true length but for the tilt."""
    first, second = pair.gap.first_point_mm, pair.gap.second_point_mm
    point = (first + second) / 2
    along = _unit(second - first, np.zeros(3))
    out = _unit(point * np.array([1.0, 1.0, 0.0]), np.array([0.0, 1.0, 0.0]))
    axial = np.array([0.0, 0.0, 1.0])
    tangent = np.cross(axial, out)
    normal = _unit(tangent - (tangent @ along) * along, out)
    up = _unit(out - (out @ normal) * normal, axial)
    right = np.cross(up, normal)
    eye = _unit(normal + TILT * up + TILT * right, normal)
    turn = pair.gap.turn_angle_deg if pair.motion == "turning" else None
    wide = 2.5 * float(np.linalg.norm(second - first))
    return View(
        point.tolist(),
        normal.tolist(),
        up.tolist(),
        eye.tolist(),
        0.0 if turn is None else float(turn),
        max(HALF_HEIGHT_MM, wide),
    )


def _unit(vector: Floats, otherwise: Floats) -> Floats:
    length = float(np.linalg.norm(vector))
    return vector / length if length > 1e-9 else otherwise


def seen_at(view: View, point: Floats, size_px: tuple[int, int]) -> tuple[float, float]:
    """Return where a point lies in the picture, as fractions from the top left."""
    eye, up = np.array(view.eye), np.array(view.up)
    upright = _unit(up - (up @ eye) * eye, up)
    right = np.cross(upright, eye)
    offset = np.asarray(point) - np.array(view.point)
    half_width = view.half_height_mm * size_px[0] / size_px[1]
    return (
        0.5 + float(offset @ right) / (2 * half_width),
        0.5 - float(offset @ upright) / (2 * view.half_height_mm),
    )


class ChildPictureMaker:
    """Makes the pictures of a report in a child process; a `clearturn.report.PictureMaker`.

    Parameters
    ----------
    windows : sequence of str
        Names of VTK render windows to try, in order.
    """

    def __init__(self, windows: Sequence[str] = WINDOWS) -> None:
        self._windows = tuple(windows)

    def __call__(
        self,
        result: CheckResult,
        pairs: Sequence[int],
        *,
        size_px: tuple[int, int],
        progress: Progress | None = None,
    ) -> Pictures:
        """Return the pictures of `pairs`; raises only `clearturn.errors.Cancelled`."""
        from clearturn.report import Pictures

        if not pairs:
            return Pictures()
        if not result.parts:
            return Pictures(missing=_sentence("the result holds no part to draw"))
        if importlib.util.find_spec("vtkmodules") is None:
            return Pictures(missing=_sentence("the packages that draw them are not installed"))
        try:
            with tempfile.TemporaryDirectory(
                prefix="clearturn-", ignore_cleanup_errors=True
            ) as name:
                return self._in_folder(Path(name), result, pairs, size_px, progress)
        except OSError as error:
            return Pictures(missing=_sentence(f"there is no room for them ({error.strerror})"))

    def _in_folder(
        self,
        folder: Path,
        result: CheckResult,
        pairs: Sequence[int],
        size_px: tuple[int, int],
        progress: Progress | None,
    ) -> Pictures:
        from clearturn.report import Picture, Pictures

        views = {index: view_of(result.pairs[index]) for index in pairs}
        _hand_over(folder, result, views, size_px)
        reason = "no renderer"
        for window in self._windows:
            reason = _run_child(folder, window, len(pairs), progress)
            if all((folder / f"{index}.png").exists() for index in pairs):
                break
        made = {}
        for index, view in views.items():
            path = folder / f"{index}.png"
            if path.exists():
                gap = result.pairs[index].gap
                made[index] = Picture(
                    path.read_bytes(),
                    *size_px,
                    first=seen_at(view, gap.first_point_mm, size_px),
                    second=seen_at(view, gap.second_point_mm, size_px),
                    view=_caption(result.pairs[index]),
                )
        if len(made) == len(pairs):
            return Pictures(made)
        what = "no renderer works on this machine" if not made else "the renderer failed on some"
        return Pictures(made, _sentence(f"{what} ({reason})"))


def _sentence(reason: str) -> str:
    return f"Pictures are left out: {reason}."


def _caption(pair: PairResult) -> str:
    turned = (
        f", turning parts at {pair.gap.turn_angle_deg:.1f}°"
        if pair.motion == "turning" and pair.gap.turn_angle_deg is not None
        else ""
    )
    return (
        f"Cut through the closest place{turned}; outboard to the right, radius upwards. "
        "Not to scale."
    )


def _hand_over(
    folder: Path, result: CheckResult, views: dict[int, View], size_px: tuple[int, int]
) -> None:
    arrays: dict[str, Any] = {}
    for k, part in enumerate(result.parts):
        arrays[f"vertices{k}"] = part.mesh.vertices
        arrays[f"faces{k}"] = part.mesh.faces
    names = [part.name for part in result.parts]
    scenes = []
    for index, view in views.items():
        pair = result.pairs[index]
        scene: dict[str, Any] = {"index": index, **asdict(view)}
        if pair.first in names and pair.places:
            scene["below_part"] = names.index(pair.first)
            arrays[f"below{index}"] = np.concatenate([p.faces for p in pair.places])
        scenes.append(scene)
    np.savez(folder / "parts.npz", **arrays)
    task = {
        "motions": [str(part.motion) for part in result.parts],
        "size_px": size_px,
        "scenes": scenes,
    }
    (folder / "task.json").write_text(json.dumps(task))


def _run_child(folder: Path, window: str, pictures: int, progress: Progress | None) -> str:
    """Run the child to its end and return how it ended."""
    environment = dict(os.environ)
    # Nothing is written outside the folder: home may not be there or not be ours.
    environment["XDG_CACHE_HOME"] = str(folder)  # shaders
    if window:
        environment["VTK_DEFAULT_OPENGL_WINDOW"] = window
        environment.pop("DISPLAY", None)
    command = [
        sys.executable,
        "-P",
        str(Path(__file__).with_name("_report_pictures_child.py").resolve()),
        str(folder),
    ]
    child = subprocess.Popen(
        command,
        cwd=folder,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    deadline = time.monotonic() + START_SECONDS + SECONDS_A_PICTURE * pictures
    try:
        while child.poll() is None:
            if time.monotonic() > deadline:
                return "it took too long"
            if progress is not None:
                done = len(list(folder.glob("*.png")))
                progress.report(done / (pictures + 1), "pictures")
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(0.1)
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
    return _ending(child.returncode)


def _ending(code: int) -> str:
    if code < 0:
        with contextlib.suppress(ValueError):
            return f"the picture process ended by {signal.Signals(-code).name}"
    return f"the picture process ended with code {code}"
