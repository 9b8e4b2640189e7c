"""How soon a dragged part is drawn, and how soon its gaps are told, on the demo and a large job.

    xvfb-run .venv/bin/python tests/benchmarks/measure_dragging.py [--triangles 1000000]

The large job is the demo corner with its scans' triangles split in four until there are enough; the
surfaces are the same.  Times are from the pointer's event to the painted view, and to the certified
gap of the pair with the least margin; the median and the worst of the steps.  With them stands the
processor time a step takes in the painting thread, which other work on the machine does not change.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from PySide6.QtCore import QEvent, QEventLoop, QPoint, QPointF, Qt, QTimer
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication

from clearturn.job.file import load_job
from clearturn.kept import kept_check
from clearturn.mesh import Mesh
from clearturn.result import CheckResult
from clearturn.samples import demo_job_file

STEPS = 12
PLACES = {"caliper in and out": (0.0, 190.0), "rotor offset": (-38.0, 150.0),
          "spacer": (45.0, 150.0)}  # fmt: skip


def finer(mesh: Mesh) -> Mesh:
    """Split every triangle in four at the middles of its edges; edges stay shared."""
    faces = mesh.faces.astype(np.int64)
    edges = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
    keys = (edges[..., 0] * len(mesh.vertices) + edges[..., 1]).ravel()
    unique, inverse = np.unique(keys, return_inverse=True)
    ends = np.stack([unique // len(mesh.vertices), unique % len(mesh.vertices)], axis=1)
    middle = len(mesh.vertices) + inverse.reshape(-1, 3)
    a, b, c = faces.T
    p, q, r = middle.T
    made = [np.stack(t, axis=1) for t in ((a, p, r), (p, b, q), (r, q, c), (p, q, r))]
    vertices = np.concatenate([mesh.vertices, mesh.vertices[ends].mean(axis=1)])
    return Mesh(vertices, np.concatenate(made), mesh.name)


def enlarged(result: CheckResult, triangles: int) -> CheckResult:
    """Return the result with its scanned parts split until there are enough triangles."""
    while True:
        total = sum(len(part.mesh.faces) for part in result.parts)
        scanned = [p for p in result.parts if p.source.startswith("scan")]
        if total >= triangles or not scanned:
            return result
        least = {p.name for p in sorted(scanned, key=lambda p: len(p.mesh.faces))[:2]}
        result = replace(
            result,
            parts=tuple(
                replace(p, mesh=finer(p.mesh)) if p.name in least else p for p in result.parts
            ),
        )


def wait(until, seconds: float = 300.0) -> None:
    """Let the window work until something holds."""
    end = time.monotonic() + seconds
    while not until():
        if time.monotonic() > end:
            raise SystemExit("the window did not settle")
        loop = QEventLoop()
        QTimer.singleShot(1, loop.quit)
        loop.exec()


def point(section, kind: QEvent.Type, at: QPoint) -> None:
    left, none = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton
    button = none if kind == QEvent.Type.MouseMove else left
    held = none if kind == QEvent.Type.MouseButtonRelease else left
    event = QMouseEvent(kind, QPointF(at), QPointF(section.mapToGlobal(at)), button, held,
                        Qt.KeyboardModifier.NoModifier)  # fmt: skip
    QApplication.sendEvent(section, event)


def measured(window, name: str, place: tuple[float, float]) -> None:
    """Drag one part and print what it took."""
    section, moving = window.sheet.section, window.sheet.section.moving
    at = section.window().to_px(*window.session.drawing.to_paper(*place)).toPoint()
    along = QPoint(1, 0) if name != "caliper in and out" else QPoint(0, -1)
    point(section, QEvent.Type.MouseButtonPress, at)
    drawn, cpu, told = [], [], []
    for k in range(STEPS):
        step = 4 + (k % 5)
        start, own = time.perf_counter(), time.thread_time()
        point(section, QEvent.Type.MouseMove, at + along * step)
        section.repaint()
        drawn.append(time.perf_counter() - start)
        cpu.append(time.thread_time() - own)
        assert moving.freedom is not None
        assert moving.freedom.name == name
        wait(lambda: any(f.by_mm == moving.by_mm for f in moving.figures.values()))
        told.append(time.perf_counter() - start)
    moving.give_up()
    point(section, QEvent.Type.MouseButtonRelease, at)
    wait(lambda: not window.tasks.running("move"))
    words = [f"{1e3 * np.median(x):6.1f} {1e3 * max(x):7.1f}" for x in (drawn, cpu, told)]
    print(f"{name:20} drawn {words[0]}   processor {words[1]}   gap told {words[2]} ms")


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=1_000_000)
    args = parser.parse_args()
    os.environ["XDG_STATE_HOME"] = tempfile.mkdtemp()
    from clearturn_app.document import Document
    from clearturn_app.views.picture_process import PictureProcess
    from clearturn_app.window.main import MainWindow

    application = QApplication([])
    application.setStyle("Fusion")
    PictureProcess._start = lambda self: None  # the 3D picture is measured elsewhere
    file: Path = demo_job_file()
    job = load_job(file)
    demo = kept_check(job, folder=file.parent)
    for result in (demo, enlarged(demo, args.triangles)):
        window = MainWindow(Document(job, file.parent), checker=lambda *_a, r=result: r)
        window.show()
        window.start()
        wait(lambda w=window: w.session.drawing is not None)
        total = sum(len(part.mesh.faces) for part in result.parts)
        print(f"{total} triangles")
        for name, place in PLACES.items():
            measured(window, name, place)
        window.close()


if __name__ == "__main__":
    main()
