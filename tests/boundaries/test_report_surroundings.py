"""The report on a bare machine: no renderer, no home, another user, another folder."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

UNIT = Path(__file__).parents[1] / "unit"

# Imports first, then the other user: the interpreter may lie where that user cannot read.  What is
# imported when it is first needed is there once a report was written.
SCRIPT = """
import os, sys
class Refuse:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in ("pyvista", "vtk", "vtkmodules", "PySide6", "matplotlib"):
            raise ImportError(name + " must not be needed")
sys.meta_path.insert(0, Refuse())
sys.path.insert(0, sys.argv[1])
import report_cases as cases
import clearturn.drawing
from datetime import datetime, UTC
from clearturn.report import write_report
result = cases.demo()
if sys.argv[3] != "same":
    write_report(result, sys.argv[2] + "-before")
    os.setgid(65534)
    os.setuid(65534)
files = write_report(result, sys.argv[2], written_at=datetime(2025, 11, 24, 9, 30, tzinfo=UTC))
print(files.pdf, os.getuid())
"""


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder every user can write, not below pytest's own private one."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        yield folder


def _write(folder: Path, user: str, **environment: str) -> bytes:
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(UNIT), str(folder / "out"), user],
        cwd="/",
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return (folder / "out/report.pdf").read_bytes()


def test_report_needs_no_renderer_no_home_and_no_place_of_its_own(open_folder: Path) -> None:
    plain = _write(open_folder / "a", "same")
    bare = _write(
        open_folder / "b",
        "same",
        HOME="/nonexistent",
        XDG_CACHE_HOME="/nonexistent",
        TMPDIR="/nonexistent",
        LC_ALL="C",
        TZ="Pacific/Auckland",
    )
    assert bare.startswith(b"%PDF-")
    assert bare == plain


@pytest.mark.skipif(
    not hasattr(os, "getuid") or os.getuid() != 0, reason="only root can become another user"
)
def test_another_user_writes_the_same_report(open_folder: Path) -> None:
    other = open_folder / "other"
    other.mkdir()
    other.chmod(0o777)
    pdf = _write(other, "nobody", HOME="/root")
    assert (other / "out/report.pdf").stat().st_uid == 65534
    assert pdf == _write(open_folder / "own", "same")
