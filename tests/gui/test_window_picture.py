"""The corner picture's view, and the process that draws it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from window_support import DEMO, cases, needs_window

needs_window()

from PySide6.QtCore import QEvent, QPoint, QPointF, Qt  # noqa: E402
from PySide6.QtGui import QImage, QMouseEvent, QWheelEvent  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402

from clearturn.gap import surface_distances  # noqa: E402
from clearturn.job.file import load_job  # noqa: E402
from clearturn.mesh import Mesh  # noqa: E402
from clearturn.result import Motion, PlacedPart  # noqa: E402
from clearturn_app.document import Document  # noqa: E402
from clearturn_app.tasks import Tasks  # noqa: E402
from clearturn_app.views.camera import Camera  # noqa: E402
from clearturn_app.views.corner_picture import CornerPicture  # noqa: E402
from clearturn_app.views.handing_over import HandOver  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.window.look import Look  # noqa: E402
from clearturn_app.window.session import Session  # noqa: E402

pytestmark = pytest.mark.gui

COLOURS = {
    "paper": "#ffffff", "ink": "#000000", "alert": "#ff0000",
    "turns": "#f0e2c2", "turns inside": "#806000",
    "fixed": "#b3c3cf", "fixed inside": "#004080",
    "posed": "#e0eadb", "posed inside": "#008000",
}  # fmt: skip


def test_centre_is_seen_in_the_middle_and_half_the_height_at_the_edge() -> None:
    camera = Camera.looking((10, 20, 30), (0, 0, 1), (0, 1, 0), 50.0)
    assert camera.seen_at((10, 20, 30), 400, 200) == pytest.approx((200, 100))
    assert camera.seen_at((10, 70, 30), 400, 200) == pytest.approx((200, 0))
    # Seen from +z with y up, x runs to the right.
    assert camera.seen_at((60, 20, 30), 400, 200) == pytest.approx((300, 100))
    # Depth changes nothing in a parallel view.
    assert camera.seen_at((60, 20, -500), 400, 200) == pytest.approx((300, 100))


def test_turning_the_view_keeps_its_axes_square_and_the_centre_where_it_is() -> None:
    camera = Camera.looking((1, 2, 3), (0.3, 0.2, 0.9), (0, 1, 0), 80.0)
    for step in range(40):
        camera = camera.orbited(17.0 * math.sin(step), 11.0)
        axes = np.stack([camera.right, camera.up, camera.eye])
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
        assert np.linalg.det(axes) == pytest.approx(1.0)
        assert camera.seen_at((1, 2, 3), 300, 300) == pytest.approx((150, 150))


def test_what_is_dragged_stays_under_the_pointer() -> None:
    camera = Camera.looking((1, 2, 3), (0.3, 0.2, 0.9), (0, 1, 0), 80.0)
    point = (25.0, -12.0, 8.0)
    x, y = camera.seen_at(point, 640, 480)
    moved = camera.moved(31.0, -12.0, 480)
    assert moved.seen_at(point, 640, 480) == pytest.approx((x + 31.0, y - 12.0))


@pytest.mark.parametrize("up", [(0, 0, 1), (0, 1, 0)])
def test_view_along_its_own_upward_direction_is_still_a_view(up) -> None:
    camera = Camera.looking((0, 0, 0), (0, 0, 1), up, 10.0)
    axes = np.stack([camera.right, camera.up, camera.eye])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)


@pytest.fixture
def process(qtbot):
    one = PictureProcess()
    yield one
    one.close()


def asked(**changes: object) -> dict[str, object]:
    base = {
        "w": 200, "h": 160, "centre": [0, 0, 0], "eye": [0, 0, 1], "up": [0, 1, 0], "half": 260.0,
        "turn": 0.0, "cut": None, "below": None, "pixel": 1.0, "colours": COLOURS,
    }  # fmt: skip
    return {**base, **changes}


@pytest.mark.slow
def test_parts_are_drawn_in_the_tone_of_their_motion_and_cut_where_asked(
    process, qtbot, tmp_path: Path
) -> None:
    seen: list[QImage] = []
    process.drawn.connect(lambda image, _asked: seen.append(image))
    process.set_scene(HandOver(tmp_path).result(cases("report_cases").demo()))
    with qtbot.waitSignal(process.drawn, timeout=300_000):
        process.ask(asked())
    # The corner of the picture shows paper, the wheel's pad in the middle the tone of what turns.
    assert seen[-1].pixelColor(2, 2).name() == "#ffffff"
    middle = seen[-1].pixelColor(100, 80)
    assert middle.red() > middle.blue() + 15
    # Cut the outboard half away: from outboard one now looks into parts, at their insides.
    with qtbot.waitSignal(process.drawn, timeout=300_000):
        process.ask(asked(cut=[0, 0, -38.0, 0, 0, -1.0]))
    # At clock 270° and radius 190 the caliper's bridge is cut: the flat tone of its inside.
    x = 100 - 190 * 80 / 260
    inside = seen[-1].pixelColor(round(x), 80)
    assert abs(inside.red() - 0x00) < 12
    assert abs(inside.blue() - 0x80) < 12


@pytest.mark.slow
def test_killed_picture_comes_back(process, qtbot, tmp_path: Path) -> None:
    process.set_scene(HandOver(tmp_path).result(cases("report_cases").demo()))
    with qtbot.waitSignal(process.drawn, timeout=300_000):
        process.ask(asked())
    process._process.kill()
    qtbot.waitUntil(lambda: process._process is not None or process.is_idle, timeout=60_000)
    with qtbot.waitSignals([process.drawn], timeout=300_000):
        process.ask(asked(w=120, h=90))


def test_machine_without_a_renderer_is_told_once(qtbot, tmp_path: Path) -> None:
    process = PictureProcess()
    process._windows = []
    told: list[str] = []
    process.failed.connect(told.append)
    process.set_scene(tmp_path)
    process.ask(asked())
    assert told == ["no renderer works on this machine"]
    process.close()


def test_lines_of_whole_millimetres_are_handed_over_for_what_fails(tmp_path: Path) -> None:
    # A flat face within a barrel: gaps over a turn from 20 in its middle to 10.3 at its ends.
    box = trimesh.creation.box(bounds=[(150.0, -60.0, 0.0), (180.0, 60.0, 20.0)])
    block = PlacedPart("block", "other", Motion.FIXED, Mesh(box.vertices, box.faces), "made up")
    ring = trimesh.creation.annulus(200.0, 205.0, 100.0, sections=720)
    barrel = PlacedPart("barrel", "other", Motion.TURNS, Mesh(ring.vertices, ring.faces), "made up")
    face = np.flatnonzero((block.mesh.corners[:, :, 0] > 179.9).all(axis=1))
    demo = cases("report_cases").demo()
    like = next(one for one in demo.pairs if one.places)
    pair = replace(
        like, first="block", second="barrel", motion="turning", required_mm=14.0,
        allowances_mm=0.5, expanded_uncertainty_mm=0.3,
        places=(replace(like.places[0], faces=face),),
    )  # fmt: skip
    folder = HandOver(tmp_path).result(replace(demo, parts=(block, barrel), pairs=(pair,)))
    with np.load(folder / "parts.npz") as arrays:
        lines = arrays["bands0"]
    gaps = surface_distances(
        lines.reshape(-1, 3), barrel.mesh, turning=True, signed=False
    ).distance_mm
    assert sorted(set(np.round(gaps).tolist())) == [11.0, 12.0, 13.0, 14.0]  # below 14.8
    assert np.abs(gaps - np.round(gaps)).max() < 0.02


@pytest.mark.slow
def test_a_large_part_is_drawn_thinned_while_the_view_moves(process, qtbot, tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=7, radius=200.0)
    part = PlacedPart(
        "ball", "other", Motion.FIXED, Mesh(ball.vertices, ball.faces.astype(np.int32)), "made up"
    )
    result = replace(cases("report_cases").demo(), parts=(part,), pairs=())
    assert len(part.mesh.faces) > 100_000
    seen: list[np.ndarray] = []

    def keep(image: QImage, _asked: object) -> None:
        seen.append(np.frombuffer(image.constBits(), np.uint8).reshape(160, 200, 4)[..., :3].copy())

    process.drawn.connect(keep)
    process.set_scene(HandOver(tmp_path).result(result))
    for moving in (False, True, False):
        with qtbot.waitSignal(process.drawn, timeout=300_000):
            process.ask(asked(moving=moving))
    whole, thinned, again = (image.astype(int) for image in seen)
    # The same ball in the same tones, but not the same triangles; and whole once it rests.
    assert (whole == again).all()
    assert (whole != thinned).any()
    apart = np.abs(whole - thinned).max(axis=2)
    assert np.median(apart) <= 3
    assert (apart > 40).mean() < 0.02


def test_the_picture_asks_for_less_while_it_is_dragged_and_for_all_of_it_after(
    qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    wanted: list[bool] = []
    monkeypatch.setattr(PictureProcess, "ask", lambda self, want: wanted.append(want["moving"]))
    job = load_job(DEMO)
    session = Session(Document(job, tmp_path), Tasks())
    picture = CornerPicture(session, Look())
    qtbot.addWidget(picture)
    picture.resize(400, 300)
    picture.show()
    session.take_result(cases("report_cases").demo())
    qtbot.waitUntil(lambda: bool(wanted) and not picture.is_moving, timeout=60_000)
    assert wanted[-1] is False
    del wanted[:]
    at = QPoint(200, 150)
    QTest.mousePress(picture, Qt.MouseButton.LeftButton, pos=at)
    for k in range(1, 6):
        event = QMouseEvent(
            QEvent.Type.MouseMove, QPointF(200 + 12 * k, 150), QPointF(200 + 12 * k, 150),
            Qt.MouseButton.NoButton, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier,
        )  # fmt: skip
        picture.mouseMoveEvent(event)
    assert wanted
    assert all(wanted)
    QTest.mouseRelease(picture, Qt.MouseButton.LeftButton, pos=QPoint(260, 150))
    qtbot.waitUntil(lambda: wanted[-1] is False, timeout=10_000)
    # The wheel of the mouse too, and the wheel of the vehicle.
    for move in (
        lambda: picture.wheelEvent(_wheel()),
        lambda: session.turning.turn(session.result, session.chosen_pair, 40.0),
    ):
        move()
        assert wanted[-1] is True
        qtbot.waitUntil(lambda: wanted[-1] is False, timeout=10_000)
    picture.close_process()
    assert session.tasks.wait(60)
    picture.hand_over.close()


def _wheel() -> QWheelEvent:
    return QWheelEvent(
        QPointF(200, 150), QPointF(200, 150), QPoint(0, 0), QPoint(0, 120),
        Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase,
        False,
    )  # fmt: skip
