"""Make the pictures of the window anew, each of the real window at work on the demo corner.

Needs a display, real or virtual::

    xvfb-run -s '-screen 0 2560x1440x24' .venv/bin/python docs/pictures/make_window_pictures.py

Nothing is touched up; the colours are counted down to 256, which keeps the files small.
Without names the scenes that docs/manual shows are made; ``--all`` makes every one, ``--out``
writes elsewhere.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from PIL import Image
from PySide6.QtCore import QEventLoop, QTimer
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication

HERE = Path(__file__).resolve().parent
PATIENCE_S = 600.0
SMALL, LARGE = (1280, 800), (2560, 1440)
SHOWN = ("window_light_1280", "window_dark_1280", "window_slip_1280", "window_whole_1280",
         "window_moving_1280")  # fmt: skip


def scenes() -> dict[str, tuple[tuple[int, int], Callable[[object], None]]]:
    """Return size and preparation of each picture."""
    return {
        "window_light_1280": (SMALL, _plain),
        "window_welcome_1280": (SMALL, _welcome),
        "window_dark_1280": (SMALL, _dark),
        "window_slip_1280": (SMALL, lambda w: _slip(w, 3)),
        "window_hub_1280": (SMALL, lambda w: _slip(w, 6)),
        "window_sums_1280": (SMALL, lambda w: _slip(w, 7)),
        "window_whole_1280": (SMALL, _whole),
        "window_moving_1280": (SMALL, _moving),
        "window_inch_1280": (SMALL, _inch),
        "window_large_letters_1280": (SMALL, _large),
        "window_light_2560": (LARGE, _plain),
        "window_dark_2560": (LARGE, _dark),
    }


def _plain(_window: object) -> None:
    pass


def _welcome(window: object) -> None:
    window.welcome()


def _dark(window: object) -> None:
    window.look.set(dark=True)


def _large(window: object) -> None:
    window.look.set(zoom=2.0)


def _inch(window: object) -> None:
    window.look.set(inch=True)


def _slip(window: object, index: int) -> None:
    window.sheet.open_slip(index)


def _moving(window: object) -> None:
    wait_until_settled(window)
    moving = window.sheet.section.moving
    moving.take(next(one for one in moving.choice if one.name == "spacer"))
    moving.move_to(2.5, 0.1)


def _whole(window: object) -> None:
    window.sheet.swap()
    window.sheet.picture.toggle_cut()


def settled(window: object) -> bool:
    """Return whether everything that is shown has been drawn."""
    sheet, tasks = window.sheet, window.tasks
    busy = any(tasks.running(kind) for kind in ("check", "sums", "section", "strip", "hand over",
                                                "move"))  # fmt: skip
    picture = sheet.picture
    drawn = picture.is_settled or bool(picture.trouble)
    return not busy and window.session.drawing is not None and drawn


def work_for(milliseconds: int) -> None:
    """Let the window work; a wait of QTest would keep its threads from running meanwhile."""
    loop = QEventLoop()
    QTimer.singleShot(milliseconds, loop.quit)
    loop.exec()


def wait_until_settled(window: object) -> None:
    """Let the window work until nothing moves any more."""
    end, calm = time.monotonic() + PATIENCE_S, 0
    while calm < 5:
        if time.monotonic() > end:
            raise SystemExit("the window did not settle")
        work_for(150)
        calm = calm + 1 if settled(window) else 0


def take_notes_off(window: object) -> None:
    """Take off every note that lies on the sheet or waits."""
    while window.sheet.note.isVisible():
        window.sheet.note.put_away()


def keep(image: QImage, file: Path) -> None:
    """Write a picture in 256 colours."""
    image = image.convertToFormat(QImage.Format.Format_RGB888)
    size = (image.width(), image.height())
    grabbed = Image.frombuffer("RGB", size, image.constBits(), "raw", "RGB", image.bytesPerLine())
    grabbed.quantize(256, dither=Image.Dither.NONE).save(file, optimize=True)


def main() -> int:
    """Make the pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--out", type=Path, default=HERE)
    args = parser.parse_args()
    wanted = set(scenes()) if args.all else set(args.names or SHOWN)
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_STATE_HOME"] = folder
        from clearturn_app.window.main import MainWindow, first_document

        application = QApplication(sys.argv[:1])
        application.setStyle("Fusion")
        document, _ = first_document()
        window = MainWindow(document)
        window.show()
        window.start()
        for name, (size, prepare) in scenes().items():
            if name not in wanted:
                continue
            take_notes_off(window)
            window.sheet.slip.fold()
            window.sheet.section.moving.give_up()
            if window.sheet.swapped:
                window.sheet.swap()
            window.look.set(dark=False, inch=False, zoom=1.0)
            if not window.sheet.picture.cut:
                window.sheet.picture.toggle_cut()
            window.resize(*size)
            prepare(window)
            wait_until_settled(window)
            keep(window.grab().toImage(), args.out / f"{name}.png")
            print(name)
        window.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
