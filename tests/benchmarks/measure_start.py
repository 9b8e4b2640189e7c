"""How soon ``clearturn open`` stands and answers, by the clock, from the start of its process.

    xvfb-run .venv/bin/python tests/benchmarks/measure_start.py [--starts N]

Each start is a process of its own with the demo corner, its files read before (a warm start); the
first one works the demo out if no earlier run kept it and is not counted.  Told are: the sheet
painted and idle; the verdict on it; the longest time after that in which the window was not
reached.  Least and median of the starts.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time

NAMES = ("painted_s", "verdict_s", "longest_wait_s")
_SETTLE_S = 1.5


def child() -> int:
    """Open the window as the command does, and print what was measured."""
    from PySide6.QtCore import QTimer

    from clearturn_app.cli.main import main
    from clearturn_app.window.main import MainWindow

    began = float(os.environ["CLEARTURN_BEGAN"])
    start = MainWindow.start
    found: dict[str, float] = {}

    def measured(window: MainWindow) -> None:
        start(window)
        last = [time.time()]
        pulse = QTimer(window)

        def look() -> None:
            now = time.time()
            if "painted_s" not in found:
                found["painted_s"] = now - began
            else:
                longest = max(found.get("longest_wait_s", 0.0), now - last[0])
                found["longest_wait_s"] = longest
            last[0] = now
            if "verdict_s" not in found and window.session.result is not None:
                window.grab()
                found["verdict_s"] = time.time() - began
                last[0] = time.time()
            if now - began > found.get("verdict_s", 1e9) + _SETTLE_S:
                pulse.stop()
                print(json.dumps(found), flush=True)
                window.close()

        pulse.timeout.connect(look)
        pulse.start(5)

    MainWindow.start = measured  # type: ignore[method-assign]
    return main(["open"])


def one_start() -> dict[str, float]:
    """Return what one process measured."""
    environment = os.environ | {"CLEARTURN_BEGAN": repr(time.time())}
    done = subprocess.run(
        [sys.executable, __file__, "--child"],
        env=environment, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    lines = [line for line in done.stdout.splitlines() if line.startswith("{")]
    if not lines:
        raise SystemExit(done.stderr or "the window told nothing")
    found: dict[str, float] = json.loads(lines[-1])
    return found


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--starts", type=int, default=5)
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.child:
        return child()
    one_start()
    found = [one_start() for _ in range(given.starts)]
    for name in NAMES:
        values = [one[name] for one in found]
        print(f"{name}: least {min(values):.2f}, median {statistics.median(values):.2f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
