"""The other end of the corner picture's process: asks, waits without waiting, hands on images."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QProcess, QProcessEnvironment, Signal
from PySide6.QtGui import QImage

from clearturn_app.views.report_pictures import WINDOWS

_CHILD = Path(__file__).with_name("_corner_picture_child.py")


class PictureProcess(QObject):
    """Keeps a child that draws; one request is under way at a time, the newest next.

    If the child ends, it is started again with another kind of render window; if none works,
    `failed` says so once.
    """

    drawn = Signal(QImage, dict)
    """A picture, and the request it answers."""
    taken = Signal(Path)
    """The scene that was read: those before it are read no more."""
    failed = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._process: QProcess | None = None
        self._windows = list(WINDOWS)
        self._scene: str | None = None
        self._waiting: dict[str, Any] | None = None
        self._under_way: dict[str, Any] | None = None
        self._buffer = bytearray()
        self._head: dict[str, Any] | None = None
        self._count = 0
        self._closing = False

    def set_scene(self, folder: Path) -> None:
        """Draw from now on what was handed over in a folder."""
        self._scene = str(folder)
        if self._process is None:
            self._start()
        else:
            self._send({"do": "scene", "folder": self._scene})
            # Answers to older requests show the scene before.
            if self._under_way is not None and self._waiting is None:
                self._waiting = self._under_way

    def ask(self, want: dict[str, Any]) -> None:
        """Ask for a picture; one that waits is replaced."""
        if self._scene is None or self._closing:
            return
        self._waiting = want
        self._next()

    @property
    def is_idle(self) -> bool:
        """Whether no picture is under way or waited for."""
        return self._under_way is None and self._waiting is None

    def close(self) -> None:
        """End the child."""
        self._closing = True
        process, self._process = self._process, None
        if process is None:
            return
        process.readyReadStandardOutput.disconnect(self._read)
        process.finished.disconnect(self._on_end)
        process.closeWriteChannel()
        if not process.waitForFinished(300):
            process.kill()
            process.waitForFinished(2000)
        process.deleteLater()

    def _start(self) -> None:
        if importlib.util.find_spec("vtkmodules") is None:
            self.failed.emit("the packages that draw it are not installed")
            return
        if not self._windows:
            self.failed.emit("no renderer works on this machine")
            return
        environment = QProcessEnvironment.systemEnvironment()
        window = self._windows.pop(0)
        if window:
            environment.insert("VTK_DEFAULT_OPENGL_WINDOW", window)
            environment.remove("DISPLAY")
        self._buffer.clear()
        self._head = self._under_way = None
        process = QProcess(self)
        process.setProcessEnvironment(environment)
        process.setStandardErrorFile(QProcess.nullDevice())
        process.readyReadStandardOutput.connect(self._read)
        process.finished.connect(self._on_end)
        self._process = process
        process.start(sys.executable, ["-P", str(_CHILD)])
        self._send({"do": "scene", "folder": self._scene})
        self._next()

    def _on_end(self) -> None:
        if self._closing:
            return
        if self._under_way is not None and self._waiting is None:
            self._waiting = self._under_way
        if self._process is not None:
            self._process.deleteLater()
            self._process = None
        self._start()

    def _send(self, request: dict[str, Any]) -> None:
        if self._process is not None:
            self._process.write(json.dumps(request).encode() + b"\n")

    def _next(self) -> None:
        if self._under_way is not None or self._waiting is None or self._process is None:
            return
        self._count += 1
        self._under_way, self._waiting = {**self._waiting, "id": self._count}, None
        self._send({"do": "draw", **self._under_way})

    def _read(self) -> None:
        if self._process is None:
            return
        self._buffer += self._process.readAllStandardOutput().data()
        while self._take_answer():
            pass

    def _take_answer(self) -> bool:
        if self._head is None:
            end = self._buffer.find(b"\n")
            if end < 0:
                return False
            self._head = json.loads(self._buffer[:end])
            del self._buffer[: end + 1]
        head = self._head
        if "bytes" not in head:
            self._head = None
            self.taken.emit(Path(head["scene"]))
            return True
        if len(self._buffer) < head["bytes"]:
            return False
        data = bytes(self._buffer[: head["bytes"]])
        del self._buffer[: head["bytes"]]
        self._head = None
        asked, self._under_way = self._under_way, None
        image = QImage(data, head["w"], head["h"], 4 * head["w"], QImage.Format.Format_RGBX8888)
        if asked is not None and asked["id"] == head["id"]:
            self.drawn.emit(image.copy(), {**asked, "seconds": head["seconds"]})
        self._next()
        return True
