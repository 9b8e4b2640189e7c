"""Kernels find a place to be kept, even where source and home are read-only."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from clearturn import _kernel_cache

ROOT = Path(__file__).resolve().parents[2]
KERNEL = """
from numba import njit
@njit(nogil=True, cache=True, error_model="numpy")
def twice(x):
    return 2 * x
"""
TRY = """
import clearturn, os
from clearturn.gap._kernels_of_a_test import twice
assert twice(21) == 42
print(os.environ.get("NUMBA_CACHE_DIR", ""))
print(sum(twice.stats.cache_hits.values()))
"""


def unprivileged() -> list[str]:
    """Words before a command that keep root from writing where nobody may."""
    if os.getuid() != 0:
        return []
    if shutil.which("setpriv") is None:
        pytest.skip("root without setpriv ignores write permissions")
    return ["setpriv", "--bounding-set=-all", "--inh-caps=-all"]


@pytest.fixture
def read_only_copy(tmp_path: Path) -> Iterator[Path]:
    """The library with one small kernel, nothing in it writable."""
    root = tmp_path / "library"
    package = root / "clearturn"
    (package / "gap").mkdir(parents=True)
    for name in ("__init__.py", "_kernel_cache.py"):
        shutil.copy(ROOT / "core" / "clearturn" / name, package / name)
    (package / "gap" / "__init__.py").write_text("")
    (package / "gap" / "_kernels_of_a_test.py").write_text(KERNEL)
    folders = [root, package, package / "gap"]
    for folder in folders:
        folder.chmod(0o555)
    yield root
    for folder in folders:
        folder.chmod(0o755)


def start(copy: Path, environment: dict[str, str]) -> list[str]:
    done = subprocess.run(
        [*unprivileged(), sys.executable, "-c", TRY],
        check=False,
        capture_output=True,
        text=True,
        env={"PATH": os.environ["PATH"], "PYTHONPATH": str(copy), **environment},
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_read_only_source_keeps_kernels_in_the_home(read_only_copy: Path, tmp_path: Path) -> None:
    environment = {"HOME": str(tmp_path / "home")}
    (tmp_path / "home").mkdir()
    folder, hits = start(read_only_copy, environment)
    assert folder == str(tmp_path / "home" / ".cache" / "clearturn" / "kernels")
    assert hits == "0"
    assert start(read_only_copy, environment) == [folder, "1"]


def test_without_a_home_kernels_are_kept_among_temporary_files(
    read_only_copy: Path, tmp_path: Path
) -> None:
    environment = {"HOME": "/proc/no-home", "TMPDIR": str(tmp_path)}
    folder, hits = start(read_only_copy, environment)
    assert Path(folder).parent == tmp_path
    assert hits == "0"
    assert start(read_only_copy, environment) == [folder, "1"]


def test_a_folder_the_user_chose_is_kept(read_only_copy: Path, tmp_path: Path) -> None:
    chosen = str(tmp_path / "chosen")
    assert start(read_only_copy, {"NUMBA_CACHE_DIR": chosen, "HOME": "/proc/no-home"})[0] == chosen


def test_writable_source_needs_no_other_place(read_only_copy: Path) -> None:
    for folder in (read_only_copy, read_only_copy / "clearturn", read_only_copy / "clearturn/gap"):
        folder.chmod(0o755)
    assert start(read_only_copy, {"HOME": "/proc/no-home"})[0] == ""


def test_code_is_never_loaded_from_a_folder_others_may_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_to_all = tmp_path / "open"
    open_to_all.mkdir()
    open_to_all.chmod(0o777)
    private = tmp_path / "private"
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(_kernel_cache, "_candidates", lambda: [open_to_all, private])
    monkeypatch.setattr(_kernel_cache, "_source_is_writable", lambda: False)
    _kernel_cache.choose_cache_folder()
    assert os.environ["NUMBA_CACHE_DIR"] == str(private)
    monkeypatch.delenv("NUMBA_CACHE_DIR")
