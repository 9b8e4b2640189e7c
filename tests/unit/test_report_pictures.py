"""The picture maker without a renderer: views, and what it says when the child process fails."""

from __future__ import annotations

import importlib.util
import math
import stat
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from clearturn.errors import Cancelled
from clearturn.progress import Progress
from clearturn_app.views import report_pictures
from clearturn_app.views.report_pictures import ChildPictureMaker, seen_at, view_of

HERE = Path(__file__).parent
SIZE = (1040, 780)


def _load_cases() -> ModuleType:
    if "report_cases" not in sys.modules:
        spec = importlib.util.spec_from_file_location("report_cases", HERE / "report_cases.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["report_cases"] = module
        spec.loader.exec_module(module)
    return sys.modules["report_cases"]


cases = _load_cases()


@pytest.mark.parametrize("clock_deg", [0.0, 45.0, 137.0, 271.4])
def test_cut_holds_both_closest_points_and_the_axis(clock_deg: float) -> None:
    pair = cases.pair("a", "b", "k", 2.0, 3.0, clock_deg=clock_deg)
    view = view_of(pair)
    normal = np.array(view.normal)
    for point in (pair.gap.first_point_mm, pair.gap.second_point_mm, np.zeros(3)):
        assert normal @ (point - np.array(view.point)) == pytest.approx(0, abs=1e-9)
    assert normal @ np.array([0, 0, 1]) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("clock_deg", [0.0, 45.0, 137.0, 271.4])
def test_outboard_is_to_the_right_and_radius_upwards(clock_deg: float) -> None:
    view = view_of(cases.pair("a", "b", "k", 2.0, 3.0, clock_deg=clock_deg))
    centre = np.array(view.point)
    outboard = seen_at(view, centre + np.array([0, 0, 5.0]), SIZE)
    angle = math.radians(clock_deg)
    further = seen_at(view, centre + 5 * np.array([math.sin(angle), math.cos(angle), 0]), SIZE)
    assert seen_at(view, centre, SIZE) == pytest.approx((0.5, 0.5))
    assert outboard[0] > 0.51
    assert further[1] < 0.49
    assert further[0] == pytest.approx(0.5, abs=0.01)


def test_wide_gap_still_fits_into_the_picture() -> None:
    pair = cases.pair("a", "b", "k", 90.0, 3.0)
    view = view_of(pair)
    for point in (pair.gap.first_point_mm, pair.gap.second_point_mm):
        assert all(0.02 < at < 0.98 for at in seen_at(view, point, SIZE))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ((0, 0, 0), (0, 0, 0)),  # on the axis and in one place
        ((0, 0, -3), (0, 0, 3)),  # along the axis
        ((0, 200, 10), (0, 200, 10)),  # touching
        ((0, 200, 10), (5, 200, 10)),  # along the tangent
    ],
)
def test_view_is_defined_for_degenerate_gaps(
    first: tuple[float, ...], second: tuple[float, ...]
) -> None:
    pair = cases.pair("a", "b", "k", 2.0, 3.0)
    points = {"first_point_mm": np.array(first, float), "second_point_mm": np.array(second, float)}
    view = view_of(replace(pair, gap=replace(pair.gap, **points)))
    for vector in (view.normal, view.eye, view.up):
        assert np.linalg.norm(vector) == pytest.approx(1)
    assert np.array(view.up) @ np.array(view.normal) == pytest.approx(0, abs=1e-12)
    assert all(math.isfinite(at) for at in seen_at(view, np.array(second, float), SIZE))


def _child(tmp_path: Path, script: str) -> str:
    """Return a program that stands in for the Python that draws."""
    program = tmp_path / "child"
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    return str(program)


def test_child_that_crashes_is_told_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(report_pictures.sys, "executable", _child(tmp_path, "kill -SEGV $$"))
    pictures = ChildPictureMaker()(cases.demo(), [1, 2], size_px=SIZE)
    assert pictures.made == {}
    assert pictures.missing == (
        "Pictures are left out: no renderer works on this machine "
        "(the picture process ended by SIGSEGV)."
    )


def test_each_kind_of_window_is_tried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = tmp_path / "log"
    script = f'echo "[$VTK_DEFAULT_OPENGL_WINDOW]" >> {log}; exit 3'
    monkeypatch.setattr(report_pictures.sys, "executable", _child(tmp_path, script))
    monkeypatch.delenv("VTK_DEFAULT_OPENGL_WINDOW", raising=False)
    ChildPictureMaker()(cases.demo(), [1], size_px=SIZE)
    assert log.read_text().split() == [f"[{name}]" for name in report_pictures.WINDOWS]


def test_pictures_made_before_a_crash_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = 'printf abc > "$3/1.png"; kill -ABRT $$'  # $1 is -P, $2 the module, $3 the folder
    monkeypatch.setattr(report_pictures.sys, "executable", _child(tmp_path, script))
    pictures = ChildPictureMaker()(cases.demo(), [1, 2], size_px=SIZE)
    assert list(pictures.made) == [1]
    assert pictures.made[1].png == b"abc"
    assert "failed on some (the picture process ended by SIGABRT)" in str(pictures.missing)


def test_child_that_hangs_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_pictures.sys, "executable", _child(tmp_path, "exec sleep 60"))
    monkeypatch.setattr(report_pictures, "START_SECONDS", 0.2)
    monkeypatch.setattr(report_pictures, "SECONDS_A_PICTURE", 0.1)
    start = time.monotonic()
    pictures = ChildPictureMaker(("",))(cases.demo(), [1], size_px=SIZE)
    assert time.monotonic() - start < 20
    assert "took too long" in str(pictures.missing)


def test_cancelling_ends_the_child(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pid = tmp_path / "pid"
    script = f"echo $$ > {pid}; exec sleep 60"
    monkeypatch.setattr(report_pictures.sys, "executable", _child(tmp_path, script))

    def stop(fraction: float, text: str) -> None:
        if pid.exists():
            progress.cancel()

    progress = Progress(stop)
    with pytest.raises(Cancelled):
        ChildPictureMaker()(cases.demo(), [1], size_px=SIZE, progress=progress)
    assert not Path(f"/proc/{pid.read_text().strip()}/cmdline").exists()


def test_no_room_for_the_meshes_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_pictures.tempfile, "tempdir", str(tmp_path / "none"))
    pictures = ChildPictureMaker()(cases.demo(), [1], size_px=SIZE)
    assert "there is no room for them" in str(pictures.missing)


def test_nothing_is_drawn_where_nothing_is_asked() -> None:
    assert ChildPictureMaker()(cases.demo(), [], size_px=SIZE).missing is None
    assert ChildPictureMaker()(cases.demo(parts=()), [0], size_px=SIZE).made == {}
