"""The certificate test can fail: builds with a planted fault are caught by it.

The gap package is copied, one line is changed, and the same check that the real package passes is
run on the copy in a process of its own.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from places import ROOT

CHECK = textwrap.dedent(
    """
    import sys
    import numpy as np
    from clearturn.gap import turning_gap, still_gap
    from clearturn.mesh import Mesh

    rng = np.random.default_rng(11)
    worst = 0.0
    for round_ in range(40):
        # Pins under a disc of triangles whose heights differ by less than a float32 can tell at
        # that radius: cutting a box short by one such step loses the lowest of them.
        count = 60
        angle = rng.uniform(0, 2 * np.pi, count)
        r = rng.uniform(150, 250, count)
        z = 180.0 + rng.uniform(0, 2e-5, count)
        c = np.c_[r * np.cos(angle), r * np.sin(angle), z]
        plate = np.stack([c, c + [3, 0, 4], c + [0, 3, 4]], axis=1)
        pins = np.c_[r * np.cos(angle + 1), r * np.sin(angle + 1), np.full(count, 177.0)]
        pins[:, 2] += rng.uniform(-2e-5, 0, count)
        pin = np.stack([pins, pins - [1, 0, 3], pins - [0, 1, 3]], axis=1)
        first = Mesh(pin.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))
        second = Mesh(plate.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))
        # Every pin has one triangle of the plate at its own radius: the tip pairs are the least.
        truth = np.min(z - pins[:, 2])
        both = [(p, q) for p in range(count) for q in range(count)]
        dr = r[:, None] - r[None, :]
        dz = pins[:, 2][:, None] - z[None, :]
        truth = float(np.sqrt(dr**2 + dz**2).min())
        gap = turning_gap(first, second, tolerance_mm=1e-9)
        worst = max(worst, gap.gap_mm.lower - truth, truth - gap.gap_mm.upper)
        turned = np.c_[r * np.cos(angle), r * np.sin(angle), pins[:, 2]]
        pin = np.stack([turned, turned - [1, 0, 3], turned - [0, 1, 3]], axis=1)
        first = Mesh(pin.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))
        d = turned[:, None, :] - c[None, :, :]
        truth = float(np.sqrt((d**2).sum(axis=2)).min())
        gap = still_gap(first, second, tolerance_mm=1e-9)
        worst = max(worst, gap.gap_mm.lower - truth, truth - gap.gap_mm.upper)
    print(worst)
    sys.exit(0 if worst < 1e-8 else 1)
    """
)

FAULTS = {
    "low side of a box rounded inward": (
        "return np.float32(x - abs(x) * 1.2e-7 - 1e-37)",
        "return np.float32(x + abs(x) * 1.2e-7 + 1e-37)",
        "_kernels_tree.py",
    ),
    "high side of a box rounded inward": (
        "return np.float32(x + abs(x) * 1.2e-7 + 1e-37)",
        "return np.float32(x - abs(x) * 1.2e-7 - 1e-37)",
        "_kernels_tree.py",
    ),
}


def run_check(package_root: Path, cache: Path | None) -> subprocess.CompletedProcess[str]:
    environment = {
        **os.environ,
        "PYTHONPATH": str(package_root),
        "PYTHONSAFEPATH": "1",
    }
    if cache is not None:
        environment["NUMBA_CACHE_DIR"] = str(cache)
    return subprocess.run(
        [sys.executable, "-c", CHECK],
        env=environment, capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip


def test_the_real_package_passes_the_certificate_check():
    done = run_check(ROOT / "core", None)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_caught(tmp_path, fault):
    right, wrong, name = FAULTS[fault]
    shutil.copytree(ROOT / "core", tmp_path / "core", ignore=shutil.ignore_patterns("__pycache__"))
    path = tmp_path / "core" / "clearturn" / "gap" / name
    text = path.read_text()
    assert text.count(right) == 1
    path.write_text(text.replace(right, wrong))
    done = run_check(tmp_path / "core", tmp_path / "cache")
    assert done.returncode == 1, done.stdout + done.stderr
    assert float(done.stdout) > 1e-7
