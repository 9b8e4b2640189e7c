"""What every test folder shares."""

from __future__ import annotations

import contextlib
import io
import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parent.parent

# hypothesis: no deadline, since the machine may be busy; the same examples on every run.
from hypothesis import HealthCheck, settings  # noqa: E402

settings.register_profile(
    "steady",
    deadline=None,
    derandomize=True,
    max_examples=int(os.environ.get("CLEARTURN_EXAMPLES", "50")),
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("steady")


@dataclass(frozen=True)
class Answer:
    """What a command gave back."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one JSON object on stdout; fails on NaN, Infinity or anything around it."""
        return json.loads(self.out, parse_constant=_refuse_constant)


def _refuse_constant(name: str) -> None:
    raise AssertionError(f"{name} in JSON")


@pytest.fixture
def clearturn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Answer]:
    """Run a command in this process, in an empty folder, and return its answer."""
    from clearturn_app.cli.main import main

    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))

    def run(*arguments: object) -> Answer:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main([str(argument) for argument in arguments])
        return Answer(code, out.getvalue(), err.getvalue())

    return run


@pytest.fixture
def write_stl() -> Callable[..., Path]:
    """Write triangles (m, 3, 3) as a binary STL and return the path."""

    def write(path: Path, corners: Any) -> Path:
        triangles = np.asarray(corners, dtype="<f4")
        record = np.zeros(
            len(triangles), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("", "<u2")]
        )
        record["corners"] = triangles
        path.write_bytes(
            b"triangles of a test".ljust(80)
            + np.uint32(len(triangles)).tobytes()
            + record.tobytes()
        )
        return path

    return write
