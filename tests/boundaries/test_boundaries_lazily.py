"""Packages fetch their names at first use (PEP 562), and the window stands before the engine."""

from __future__ import annotations

import importlib
import pkgutil
import subprocess
import sys

import pytest

import clearturn

LAZY = ("datum", "drawing", "envelope", "gap", "propose", "report", "scan", "trial", "verdict")
ENGINE = ("numba", "scipy", "contourpy", "trimesh")


@pytest.mark.parametrize("name", LAZY)
def test_every_name_a_package_offers_is_there_and_hides_no_module(name: str) -> None:
    package = importlib.import_module(f"clearturn.{name}")
    modules = {found.name for found in pkgutil.iter_modules(package.__path__)}
    assert package.__all__
    for one in package.__all__:
        assert one not in modules
        found = getattr(package, one)
        assert package.__dict__[one] is found  # looked up once


def test_a_name_that_is_not_offered_is_named() -> None:
    with pytest.raises(AttributeError, match=r"'clearturn\.gap' has no attribute 'nothing'"):
        _ = importlib.import_module("clearturn.gap").nothing


def test_packages_that_offer_names_are_all_looked_at() -> None:
    offering = {
        found.name
        for found in pkgutil.iter_modules(clearturn.__path__)
        if found.ispkg and hasattr(importlib.import_module(f"clearturn.{found.name}"), "__all__")
    }
    assert offering == set(LAZY)


def test_the_window_is_read_without_the_engine() -> None:
    pytest.importorskip("PySide6.QtCore", exc_type=ImportError)
    code = (
        "import sys, clearturn_app.window.main; "
        f"print([name for name in {ENGINE!r} if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    if "ImportError" in done.stderr and ".so" in done.stderr:
        pytest.skip("the system lacks what Qt needs")
    assert (done.stdout.strip(), done.stderr) == ("[]", "")
