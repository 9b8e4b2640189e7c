"""Nothing lost: processes that are killed leave whole files and a job that is offered back."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from window_support import DEMO, needs_window

needs_window()

from clearturn.job.edits import path_of, value_at  # noqa: E402
from clearturn.job.file import load_job  # noqa: E402
from clearturn_app.window.recovery import Safekeeping  # noqa: E402

pytestmark = pytest.mark.gui

SPACER = path_of("axles[0].corner.seat_stack.spacer_mm")

PUTS_ASIDE = """
import os, signal, sys
from pathlib import Path
from clearturn.job.edits import path_of, with_value
from clearturn.job.file import load_job
from clearturn_app.window.recovery import Safekeeping
job = load_job(sys.argv[2])
job = with_value(job, path_of("axles[0].corner.seat_stack.spacer_mm"), 3.0)
safe = Safekeeping(Path(sys.argv[1]))
safe.put(job, Path(sys.argv[2]).parent, Path(sys.argv[2]))
if sys.argv[3] == "dies":
    os.kill(os.getpid(), signal.SIGKILL)
print("put", flush=True)
sys.stdin.read()
safe.close()
"""

SAVES = """
import sys
from clearturn.job.edits import path_of, with_value
from clearturn.job.file import load_job, save_job
job = load_job(sys.argv[1])
k = 0
while True:
    k += 1
    save_job(with_value(job, path_of("axles[0].corner.seat_stack.spacer_mm"), float(k % 7)),
             sys.argv[2])
    if k == 1:
        print("saving", flush=True)
"""


def run(code: str, *arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip


def test_job_of_a_killed_window_is_offered_back(tmp_path: Path) -> None:
    child = run(PUTS_ASIDE, tmp_path, DEMO, "dies")
    child.communicate()
    assert child.returncode == -signal.SIGKILL
    kept = list(Safekeeping(tmp_path).left_behind())
    assert len(kept) == 1
    assert value_at(kept[0].job, SPACER) == 3.0
    assert kept[0].path == DEMO
    assert kept[0].folder == DEMO.parent


def test_job_of_a_window_that_is_open_is_not_offered(tmp_path: Path) -> None:
    child = run(PUTS_ASIDE, tmp_path, DEMO, "lives")
    assert child.stdout is not None
    assert child.stdout.readline() == "put\n"
    mine = Safekeeping(tmp_path)
    try:
        assert list(mine.left_behind()) == []
    finally:
        child.communicate("")
    assert child.returncode == 0
    assert list(mine.left_behind()) == []
    assert not list(tmp_path.glob("*.unsaved.json"))


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"job": {}, "path": 3, "folder": ".", "when": 0}'])  # fmt: skip  # noqa: E501
def test_file_put_aside_that_cannot_be_read_is_left_alone(tmp_path: Path, text: str) -> None:
    (tmp_path / "1-a.unsaved.json").write_text(text)
    assert list(Safekeeping(tmp_path).left_behind()) == []


@pytest.mark.slow
def test_file_is_whole_whenever_saving_is_killed(tmp_path: Path) -> None:
    target = tmp_path / "job.clearturn.json"
    for round_number in range(5):
        child = run(SAVES, DEMO, target)
        assert child.stdout is not None
        assert child.stdout.readline() == "saving\n"
        time.sleep(0.013 * round_number)  # each time somewhere else in the work
        os.kill(child.pid, signal.SIGKILL)
        child.communicate()
        assert value_at(load_job(target), SPACER) in {float(k) for k in range(7)}
        json.loads(target.read_text(encoding="utf-8"))
