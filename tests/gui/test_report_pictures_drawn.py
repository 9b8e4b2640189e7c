"""Pictures drawn by a real renderer, in the child process."""

from __future__ import annotations

import importlib.util
import io
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from clearturn.errors import Cancelled
from clearturn.progress import Progress
from clearturn_app.views.report_pictures import ChildPictureMaker

pytestmark = [pytest.mark.gui, pytest.mark.slow]

CASES = Path(__file__).parents[1] / "unit/report_cases.py"
SIZE = (520, 390)


@pytest.fixture(scope="module")
def result():
    if "report_cases" not in sys.modules:
        spec = importlib.util.spec_from_file_location("report_cases", CASES)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["report_cases"] = module
        spec.loader.exec_module(module)
    return sys.modules["report_cases"].demo()


def test_pictures_show_both_parts_and_a_gap_between_the_closest_points(
    result, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", "/nonexistent")
    pictures = ChildPictureMaker()(result, [1], size_px=SIZE)
    assert pictures.missing is None
    picture = pictures.made[1]
    image = np.asarray(Image.open(io.BytesIO(picture.png)).convert("RGB")).astype(int)
    assert image.shape == (SIZE[1], SIZE[0], 3)

    def tone(at: tuple[float, float], step: float) -> np.ndarray:
        first, second = np.array(picture.first), np.array(picture.second)
        along = (second - first) / np.linalg.norm(second - first)
        x, y = (np.array(at) + step * along) * SIZE
        return image[round(y), round(x)]

    # Cut faces are flat: the caliper's tone before its point, the wheel's behind its own.
    fixed, turns = np.array([0xB9, 0xC8, 0xD0]), np.array([0xE7, 0xD6, 0xB3])
    assert np.abs(tone(picture.first, -0.03) - fixed).max() < 12
    assert np.abs(tone(picture.second, 0.03) - turns).max() < 12
    middle = (np.array(picture.first) + picture.second) / 2
    between = tone(tuple(middle), 0.0)
    assert np.abs(between - fixed).max() > 12
    assert np.abs(between - turns).max() > 12


def test_drawing_can_be_cancelled(result) -> None:
    progress = Progress()
    progress.cancel()
    with pytest.raises(Cancelled):
        ChildPictureMaker()(result, [1], size_px=SIZE, progress=progress)
