"""Make screenshots of every slip and view of the window, to be judged by eye.

Needs a display, real or virtual, as large as the largest picture::

    xvfb-run -s '-screen 0 2560x1440x24' .venv/bin/python docs/pictures/make_screens.py FOLDER

The demo corner is checked once and its result is shown in every scene, changed where a scene says
so (no pair, twelve pairs, long names).  A red-green blind copy (name ending in ``_deutan``) and a
grey one (``_grey``) are made of every scene of `SEEN_OTHERWISE` at 1280 x 800.

References
----------
Deuteranopia: Machado, Oliveira and Fernandes, A physiologically-based model for simulation of
color vision deficiency, IEEE Trans. Vis. Comput. Graph. 15(6), 2009, severity 1.0, applied to
linear RGB (its figures are from memory; each row sums to 1, so greys stay grey).
Grey: luminance as in WCAG 2.1, "relative luminance".
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from make_window_pictures import keep, settled, take_notes_off, wait_until_settled, work_for
from PIL import Image
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from clearturn.errors import InputError
from clearturn.job.building import with_mesh_part, with_mesh_placed
from clearturn.job.model import MeshFile
from clearturn.result import CheckResult, Verdict

SIZES = {"1280": (1280, 800), "2560": (2560, 1440)}
DEUTAN = np.array(
    [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ]
)
WORDS = (
    "Bremssattelhalterungsverschraubung", "Radnabenflanschdickenmessstelle",
    "Achsschenkelbolzenlagergehäuse", "Felgeninnenbettsicherheitshorn",
)  # fmt: skip
LONG = "caliper bridge bolt head, outboard upper, second from the trailing end, as scanned"
SEEN_OTHERWISE = ("sheet", "slip060_gaps", "twelve_pairs", "picture_whole")
PATIENCE = 60  # turns of 150 ms


class Shown:
    """Gives the demo's own result, another one in its place, an error, or none for long."""

    def __init__(self) -> None:
        self.real: CheckResult | None = None
        self.other: CheckResult | Exception | None = None
        self.gate = threading.Event()
        self.gate.set()

    def __call__(self, job: object, folder: Path, progress: object) -> CheckResult:
        """Return the result to show, as a check would."""
        from clearturn_app.window import background

        if self.real is None:
            self.real = background.checked(job, folder, progress)
        while not self.gate.wait(0.02):
            progress.report(0.42, "gap of caliper and wheel, barrel side")
        if isinstance(self.other, Exception):
            raise self.other
        return self.other or self.real


Scene = Callable[[object, Shown], None]


def scenes() -> dict[str, Scene]:
    """Return what is done before each picture is taken."""
    from clearturn_app.sheets.operations import OPERATIONS

    made: dict[str, Scene] = {"sheet": lambda _w, _s: None}
    for index, one in enumerate(OPERATIONS):
        word = one.name.split(" ")[0].lower().replace("-", "")
        made[f"slip{one.number:03}_{word}"] = lambda w, _s, at=index: w.sheet.open_slip(at)
    made |= {
        "section_whole": lambda w, _s: w.sheet.show_view("section"),
        "picture_whole": lambda w, _s: w.sheet.show_view("picture"),
        "swapped": lambda w, _s: w.sheet.swap(),
        "moving": _moving,
        "touched": _touched,
        "wheel_turned": lambda w, _s: w.session.turning.turn(
            w.session.result, w.session.chosen_pair, 130.0
        ),
        "touched_whole": lambda w, s: (
            w.sheet.show_view("picture"),
            w.sheet.picture.toggle_cut(),
            _settle(w, held=False),
            _touched(w, s),
        ),
        "keys": lambda w, _s: w.show_keys(),
        "inch": lambda w, _s: w.look.set(inch=True),
        "slip_by_hand": lambda w, _s: _form(w, 0, "sizes measured by hand", "hand size"),
        "slip_band": lambda w, _s: _form(w, 0, "knuckle: leave a band out", "band:knuckle"),
        "slip_mesh": lambda w, _s: _form(w, 3, "a part from a mesh", "mesh"),
        "slip_place": _place,
        "focus_card": lambda w, _s: w.sheet.card.setFocus(Qt.FocusReason.TabFocusReason),
        "focus_slip": _focus_slip,
        "first_start": lambda w, _s: w.welcome(),
        "not_saved": _not_saved,
        "twelve_pairs": lambda _w, s: setattr(s, "other", _pairs(s.real, 12)),
        "no_pair": lambda _w, s: setattr(s, "other", _pairs(s.real, 0)),
        "all_clear": lambda _w, s: setattr(s, "other", _all_clear(s.real)),
        "long_names": lambda w, s: _named(w, s, (LONG, LONG.replace("bolt", "nut")), LONG * 2),
        "long_words": lambda w, s: _named(w, s, WORDS, " ".join(WORDS[:2])),
        "running": lambda _w, s: s.gate.clear(),
        "error": _error,
        "empty_job": lambda w, _s: (w.new_job(), w.sheet.slip.fold()),
        "empty_slip": lambda w, _s: w.new_job(),
    }
    return made


AGAIN = ("twelve_pairs", "no_pair", "all_clear", "long_names", "long_words", "running", "error")


def _moving(window: object, _shown: Shown) -> None:
    moving = window.sheet.section.moving
    moving.take(next(one for one in moving.choice if one.name == "spacer"))
    moving.move_to(2.5, 0.1)


def _touched(window: object, _shown: Shown) -> None:
    """A place touched on the checked corner."""
    picture = window.sheet.picture
    at = QPoint(round(picture.width() * 0.5), round(picture.height() * 0.5))
    QTest.mouseClick(picture, Qt.MouseButton.LeftButton, pos=at)


def _form(window: object, at: int, heading: str, deed: str) -> None:
    """A form within a slip, its section unfolded."""
    window.sheet.open_slip(at)
    slip = window.sheet.slip
    QTest.mouseClick(slip._heads[heading], Qt.MouseButton.LeftButton)
    QTest.qWait(50)
    slip._area.ensureWidgetVisible(slip.forms[deed].word)


def _place(window: object, _shown: Shown) -> None:
    """The place of a part from a mesh, here one that is never read."""
    corner = window.builder.corner
    mesh = MeshFile("parts/brake_hose_as_drawn.stl", "0" * 64, "mm")
    turned = with_mesh_part(corner, "hose as drawn", "hose", "posed", mesh)
    turned = with_mesh_placed(turned, "hose as drawn", (12.5, -40.0, 180.25), (0.0, 0.0, 30.0))
    window.builder._edit("hose as drawn", "parts", turned)
    _form(window, 3, "hose as drawn: what it is and where", "place:hose as drawn")


def _focus_slip(window: object, _shown: Shown) -> None:
    window.sheet.open_slip(2)
    for _ in range(3):
        QTest.keyClick(window.focusWidget() or window, Qt.Key.Key_Tab)


def _not_saved(window: object, _shown: Shown) -> None:
    window.sheet.note.say(
        "A JOB WAS NOT SAVED", f"“{LONG}” had unsaved changes when the program last ended.",
    )  # fmt: skip


def _pairs(result: CheckResult, count: int) -> CheckResult:
    found = (result.pairs * 12)[:count]
    verdict = result.verdict if count else Verdict.NOT_PROVEN
    hub, access = (result.hub, result.access) if count else ((), ())
    return replace(result, pairs=found, hub=hub, access=access, verdict=verdict)


def _all_clear(result: CheckResult) -> CheckResult:
    pairs = tuple(one for one in result.pairs if one.verdict is Verdict.CLEARS)
    hub = tuple(one for one in result.hub if one.verdict is Verdict.CLEARS)
    access = tuple(one for one in result.access if one.verdict is Verdict.CLEARS)
    return replace(result, pairs=pairs, hub=hub, access=access, verdict=Verdict.CLEARS)


def _named(window: object, shown: Shown, names: tuple[str, ...], job: str) -> None:
    turn = {part.name: names[n % len(names)] for n, part in enumerate(shown.real.parts)}
    pairs = tuple(
        replace(one, first=turn.get(one.first, one.first), second=turn.get(one.second, one.second))
        for one in shown.real.pairs
    )
    parts = tuple(replace(part, name=turn[part.name]) for part in shown.real.parts)
    shown.other = replace(shown.real, pairs=pairs, parts=parts)
    document = window.document
    long = replace(document.job, name=job, vehicle=job, kit=job)
    document.replace(long, document.folder, document.folder / f"{job[:60]}.clearturn.json")


def _error(_window: object, shown: Shown) -> None:
    shown.other = InputError(
        "the hub face cannot be fitted", file="scans/knuckle_left.stl", place="datum hub_face",
        found="11 points", allowed="at least 50", mend="touch a larger patch of the face",
    )  # fmt: skip


def _reset(window: object, shown: Shown, start: tuple[object, Path, Path | None]) -> None:
    shown.other = None
    shown.gate.set()
    sheet = window.sheet
    take_notes_off(window)
    sheet.slip.fold()
    sheet.section.moving.give_up()
    window.session.seen.clear()
    window.session.turning.clear()
    if sheet.swapped:
        sheet.swap()
    sheet.show_view("both")
    if not sheet.picture.cut:
        sheet.picture.toggle_cut()
    window.look.set(inch=False)
    sheet.setFocus()
    if window.document.job is not start[0] or window.session.missing is not None:
        window._take_up(*start)  # the way a file is opened, without a file


def _settle(window: object, *, held: bool) -> None:
    work_for(300)  # what is drawn for another size begins a little after it
    for _ in range(4 if held else PATIENCE):
        work_for(150)
        if (
            not held
            and (settled(window) or window.session.drawing is None)
            and not any(
                window.tasks.running(kind)
                for kind in ("check", "sums", "section", "strip", "move", "touch", "light", "turn")
            )
            and (window.sheet.picture.is_settled or window.sheet.picture.trouble)
        ):
            work_for(300)
            return


def _otherwise(file: Path) -> None:
    """Write the red-green blind and the grey copy of a picture."""
    seen = np.asarray(Image.open(file).convert("RGB")) / 255.0
    linear = np.where(seen <= 0.04045, seen / 12.92, ((seen + 0.055) / 1.055) ** 2.4)
    grey = (linear @ [0.2126, 0.7152, 0.0722])[..., None].repeat(3, axis=2)
    for name, other in (("deutan", linear @ DEUTAN.T), ("grey", grey)):
        made = np.clip(other, 0.0, 1.0)
        told = np.where(made <= 0.0031308, 12.92 * made, 1.055 * made ** (1 / 2.4) - 0.055)
        image = Image.fromarray(np.round(told * 255).astype(np.uint8))
        image.save(file.with_name(f"{file.stem}_{name}.png"))


def main() -> int:
    """Make the pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("names", nargs="*", help="scenes; all of them without")
    parser.add_argument("--sizes", nargs="+", choices=sorted(SIZES), default=sorted(SIZES))
    parser.add_argument("--grounds", nargs="+", choices=("light", "dark"),
                        default=("light", "dark"))  # fmt: skip
    parser.add_argument("--zooms", nargs="+", type=float, default=(1.0, 2.0))
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_STATE_HOME"] = folder
        from clearturn_app.window.main import MainWindow, first_document

        application = QApplication(sys.argv[:1])
        application.setStyle("Fusion")
        document, _ = first_document()
        start, shown = (document.job, document.folder, document.path), Shown()
        window = MainWindow(document, checker=shown)
        window.show()
        window.start()
        wait_until_settled(window)
        made = scenes()
        for name in args.names or made:
            _reset(window, shown, start)
            if not window.session.is_current:
                window.session.check_now()
            _settle(window, held=False)
            window.activateWindow()
            work_for(100)
            made[name](window, shown)
            if name in AGAIN:
                window.session.check_now()
            for size in args.sizes:
                for zoom in args.zooms:
                    for ground in args.grounds:
                        window.resize(*SIZES[size])
                        window.look.set(dark=ground == "dark", zoom=zoom)
                        _settle(window, held=name == "running")
                        file = args.out / f"{name}_{size}_{zoom * 100:.0f}_{ground}.png"
                        keep(window.grab().toImage(), file)
                        if name in SEEN_OTHERWISE and (size, zoom) == ("1280", 1.0):
                            _otherwise(file)
            window.look.set(dark=False, zoom=1.0)
            print(name, flush=True)
            if name in AGAIN:
                shown.other = None
                shown.gate.set()
                take_notes_off(window)
                window.session.check_now()
        _reset(window, shown, start)  # nothing changed is left to be asked about
        window.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
