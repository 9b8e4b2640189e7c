"""Nothing left behind: what a window hands to its picture is removed, and nothing of another's."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from window_support import DEMO, cases, needs_window

needs_window()

from PySide6.QtWidgets import QMessageBox  # noqa: E402

from clearturn_app.document import opened  # noqa: E402
from clearturn_app.views.handing_over import HandOver, sweep  # noqa: E402
from clearturn_app.window import background  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402

pytestmark = pytest.mark.gui

RESULT = cases("report_cases").demo()

HANDS = """
import os, signal, sys
from pathlib import Path
sys.path[:0] = sys.argv[3:]
from window_support import cases
from clearturn_app.views.handing_over import HandOver
hand = HandOver(Path(sys.argv[1]))
hand.result(cases("report_cases").demo())
print(hand.folder, flush=True)
if sys.argv[2] == "dies":
    os.kill(os.getpid(), signal.SIGKILL)
sys.stdin.read()
hand.close()
"""


def other_window(base: Path, how: str) -> tuple[subprocess.Popen[str], Path]:
    """Another process that has handed something over, and its folder."""
    child = subprocess.Popen(
        [sys.executable, "-c", HANDS, str(base), how, *sys.path],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    return child, Path(child.stdout.readline().strip())


def test_folder_of_a_killed_window_is_swept_by_the_next_one(tmp_path: Path) -> None:
    child, folder = other_window(tmp_path, "dies")
    child.communicate()
    assert child.returncode == -signal.SIGKILL
    assert (folder / "scene-1" / "parts.npz").exists()
    hand = HandOver(tmp_path)
    hand.result(RESULT)
    assert not folder.exists()
    assert hand.folder is not None
    assert hand.folder.exists()
    hand.close()
    assert list(tmp_path.iterdir()) == []


def test_folder_of_a_window_that_is_open_is_left_alone(tmp_path: Path) -> None:
    child, folder = other_window(tmp_path, "lives")
    try:
        sweep(tmp_path)
        assert (folder / "scene-1" / "parts.npz").exists()
    finally:
        child.communicate("")
    assert child.returncode == 0
    assert list(tmp_path.iterdir()) == []


def test_two_windows_of_one_process_leave_each_other_alone(tmp_path: Path) -> None:
    one, two = HandOver(tmp_path), HandOver(tmp_path)
    first, second = one.result(RESULT), two.result(RESULT)
    assert first.exists()
    one.close()
    assert not first.exists()
    assert second.exists()
    two.close()
    assert list(tmp_path.iterdir()) == []


def test_sweeping_touches_nothing_that_is_not_surely_a_dead_windows(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "file").write_text("mine")
    (tmp_path / "clearturn-corner-abcdefgh").mkdir()  # made before windows told their owner
    (tmp_path / "clearturn-corner-1-0123456789abcdef").mkdir()  # no lock: nothing is known
    (tmp_path / "clearturn-corner-notes.lock").write_text("")  # somebody else's name
    link = tmp_path / "clearturn-corner-1-00112233445566aa"
    link.symlink_to(kept)
    child, folder = other_window(tmp_path, "dies")
    child.communicate()
    # The dead window's lock, beside a folder that is a link to somewhere else.
    Path(f"{folder}.lock").rename(f"{link}.lock")
    before = sorted(tmp_path.iterdir())
    sweep(tmp_path)
    assert (kept / "file").read_text() == "mine"
    gone = set(before) - set(tmp_path.iterdir())
    assert gone == {link, Path(f"{link}.lock")}


def test_old_scenes_go_and_later_ones_stay(tmp_path: Path) -> None:
    hand = HandOver(tmp_path)
    scenes = [hand.result(RESULT) for _ in range(12)]
    hand.drop_before(scenes[9])
    assert [scene.exists() for scene in scenes] == [False] * 9 + [True] * 3
    hand.close()
    with pytest.raises(FileNotFoundError):
        hand.result(RESULT)  # a task that ends after the window: it makes no new folder
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_window_keeps_one_scene_and_leaves_nothing(
    qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    base = tmp_path / "temporary"
    base.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(base))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(background, "section", lambda *_a: None)
    monkeypatch.setattr(background, "strip", lambda *_a: None)
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    window = MainWindow(opened(DEMO), checker=lambda *_a, **_k: RESULT)
    qtbot.addWidget(window)
    window.show()
    window.start()
    picture = window.sheet.picture
    qtbot.waitUntil(lambda: picture.hand_over.folder is not None, timeout=60_000)
    for _ in range(5):
        with qtbot.waitSignal(picture.process.taken, timeout=120_000):
            picture._take_result()
    qtbot.waitUntil(lambda: not window.tasks.running("hand over"), timeout=60_000)
    folder = picture.hand_over.folder
    assert folder is not None
    assert f"-{os.getpid()}-" in folder.name
    qtbot.waitUntil(lambda: len(list(folder.iterdir())) == 1, timeout=60_000)
    window.close()
    assert window.tasks.wait(60)
    assert list(base.iterdir()) == []
