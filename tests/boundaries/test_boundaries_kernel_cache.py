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


def chosen_folder(copy: Path, environment: dict[str, str]) -> str:
    """What the library chooses, without compiling anything."""
    choose = "import clearturn, os; print(os.environ.get('NUMBA_CACHE_DIR', ''))"
    return start(copy, environment, choose)[0]


def start(copy: Path, environment: dict[str, str], code: str = TRY) -> list[str]:
    done = subprocess.run(
        [*unprivileged(), sys.executable, "-c", code],
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
    folder = chosen_folder(read_only_copy, environment)
    assert folder == str(tmp_path / "home" / ".cache" / "clearturn" / "kernels")


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
    environment = {"NUMBA_CACHE_DIR": chosen, "HOME": "/proc/no-home"}
    assert chosen_folder(read_only_copy, environment) == chosen


def test_writable_source_needs_no_other_place(read_only_copy: Path) -> None:
    for folder in (read_only_copy, read_only_copy / "clearturn", read_only_copy / "clearturn/gap"):
        folder.chmod(0o755)
    assert chosen_folder(read_only_copy, {"HOME": "/proc/no-home"}) == ""


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


def test_a_package_is_cold_until_every_kernel_file_was_compiled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from clearturn import warmup

    package, cache = tmp_path / "gap", tmp_path / "gap" / "__pycache__"
    cache.mkdir(parents=True)
    for name in ("_kernels.py", "_kernels_more.py"):
        (package / name).write_text("")
    monkeypatch.setattr(warmup, "_HERE", tmp_path)
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    assert warmup.is_cold("gap")
    (cache / "_kernels.least-12.py311.nbi").write_text("")
    assert warmup.is_cold("gap")
    (cache / "_kernels_more.most-3.py311.nbi").write_text("")
    assert not warmup.is_cold("gap")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "elsewhere"))
    assert warmup.is_cold("gap")
    (tmp_path / "elsewhere").mkdir()
    cache.rename(tmp_path / "elsewhere" / "gap_0123456789abcdef")
    assert not warmup.is_cold("gap")


def test_a_compiled_kernel_is_seen_where_the_compiler_put_it(
    read_only_copy: Path, tmp_path: Path
) -> None:
    # The names of folders and files are the compiler's own business; this notices a change.
    package = read_only_copy / "clearturn"
    package.chmod(0o755)
    for name in ("warmup.py", "errors.py", "progress.py", "threads.py"):
        shutil.copy(ROOT / "core" / "clearturn" / name, package / name)
    see = "\nfrom clearturn.warmup import is_cold\nprint(is_cold('gap'))"
    done = subprocess.run(
        [*unprivileged(), sys.executable, "-c", see + TRY + see],
        check=False,
        capture_output=True,
        text=True,
        env={
            "PATH": os.environ["PATH"],
            "PYTHONPATH": str(read_only_copy),
            "HOME": "/proc/no-home",
            "TMPDIR": str(tmp_path),
        },
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert (lines[0], lines[-1]) == ("True", "False")


def test_warming_up_can_be_cancelled() -> None:
    from clearturn.errors import Cancelled
    from clearturn.progress import Progress
    from clearturn.warmup import warm_up

    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        warm_up(progress)


CALLEE = """
from numba import njit
@njit(nogil=True, cache=True, error_model="numpy")
def inner(x):
    return FACTOR * x
"""
CALLER = """
from numba import njit
from clearturn.gap._kernels_callee import inner
@njit(nogil=True, cache=True, error_model="numpy")
def outer(x):
    return inner(x) + 1
"""
ASK = """
import clearturn
from clearturn.gap._kernels_caller import outer
from clearturn.gap._kernels_of_a_test import twice
print(outer(10), sum(outer.stats.cache_hits.values()))
twice(1)
print(sum(twice.stats.cache_hits.values()))
"""


@pytest.mark.parametrize("place", ["beside the source", "elsewhere"])
def test_a_change_in_a_called_file_is_noticed(
    read_only_copy: Path, tmp_path: Path, place: str
) -> None:
    folder = read_only_copy / "clearturn" / "gap"
    environment = {"HOME": "/proc/no-home"}
    if place == "elsewhere":
        environment["NUMBA_CACHE_DIR"] = str(tmp_path / "chosen")
        (tmp_path / "chosen").mkdir()
    folder.chmod(0o755)
    (folder / "_kernels_caller.py").write_text(CALLER)
    (folder / "_kernels_callee.py").write_text(CALLEE.replace("FACTOR", "2"))
    assert start(read_only_copy, environment, ASK) == ["21 0", "0"]
    assert start(read_only_copy, environment, ASK) == ["21 1", "1"]
    (folder / "_kernels_callee.py").write_text(CALLEE.replace("FACTOR", "30"))
    # Compiled anew; what does not depend on it is kept.
    assert start(read_only_copy, environment, ASK) == ["301 0", "1"]
    assert start(read_only_copy, environment, ASK) == ["301 1", "1"]
