"""The outputs the README shows are those of the program."""

from __future__ import annotations

import importlib.util
import re
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
NUMBER = re.compile(r"\d+(?:\.\d+)?")


@pytest.fixture
def maker() -> ModuleType:
    """The script of `make docs`."""
    spec = importlib.util.spec_from_file_location(
        "make_pictures", ROOT / "docs" / "pictures" / "make_pictures.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def block(name: str) -> str:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(rf"<!-- output of: {name} -->\n```text\n(.*?)```\n", text, re.DOTALL)
    assert found is not None
    return found[1]


def same(shown: str, real: str) -> None:
    """Equal words, and numbers that a reader would take for the same.

    The README is made anew with a release, not with every refinement of an uncertainty.  Whole
    degrees may be the next ones: one that is rounded at a half goes either way.
    """
    assert NUMBER.sub("#", shown) == NUMBER.sub("#", real)
    for a, b in zip(NUMBER.finditer(shown), NUMBER.finditer(real), strict=True):
        whole_degrees = shown[a.end() : a.end() + 1] == "°" and "." not in a[0]
        room = 1.0 if whole_degrees else 0.1
        assert float(a[0]) == pytest.approx(float(b[0]), abs=room), (a[0], b[0])


def test_gap(maker: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    same(block("clearturn gap"), maker.gap_output())


@pytest.mark.slow
def test_demo(maker: ModuleType, clearturn: Callable[..., Any]) -> None:
    answer = clearturn("demo")
    assert answer.code == 1
    real = maker.shortened(f"$ clearturn demo\n{answer.out.strip()}\n")
    same(block("clearturn demo"), real)


def test_the_comparison_can_fail() -> None:
    with pytest.raises(AssertionError):
        same("gap 5.47 mm", "gap 5.67 mm")
    with pytest.raises(AssertionError):
        same("caliper clears", "caliper fails")
    with pytest.raises(AssertionError):
        same("at 233°", "at 235°")
    same("at 233°", "at 234°")
