"""What the tests of the window share: leaving out with a reason, invented results, a document."""

from __future__ import annotations

import importlib.util
import os
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "sample_meshes" / "demo.clearturn.json"
SCANS = ("knuckle_scan.stl", "wheel_scan.stl")


def needs_window() -> None:
    """Leave a test file out, with the reason, where the window cannot be shown."""
    reason = _missing()
    if reason is None:
        return
    if os.environ.get("CLEARTURN_REQUIRE_WINDOW"):
        pytest.fail(f"the window's tests could not run: {reason}", pytrace=False)
    pytest.skip(reason, allow_module_level=True)


def _missing() -> str | None:
    for name in ("PySide6", "pytestqt"):
        if importlib.util.find_spec(name) is None:
            return f"{name} is not installed"
    shown = os.environ.get("QT_QPA_PLATFORM", "")
    on_linux = sys.platform.startswith("linux")
    if on_linux and shown in ("", "xcb") and not os.environ.get("DISPLAY"):
        return "there is no display"
    try:
        importlib.import_module("PySide6.QtWidgets")
    except ImportError as error:
        return f"the window's system libraries are missing ({error})"
    return None


def cases(name: str) -> ModuleType:
    """Return a module of tests/unit that makes cases."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, ROOT / "tests/unit" / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


def choose(window: Any, word: str) -> None:
    """Touch a word of the note that lies on the sheet."""
    next(one for one in window.sheet.note.words if one.text() == word).click()
