"""Sizes measured by hand, written into the window: taken in, changed, taken away, judged."""

from __future__ import annotations

import json
import math
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from window_support import cases, needs_window

needs_window()

from PySide6.QtCore import QPoint, Qt  # noqa: E402
from PySide6.QtGui import QImage  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QFileDialog, QMessageBox  # noqa: E402
from window_hand import Hand  # noqa: E402

from clearturn.check import check  # noqa: E402
from clearturn.drawing import Tone  # noqa: E402
from clearturn.job.edits import with_corner  # noqa: E402
from clearturn.job.file import load_job, parse_job, save_job  # noqa: E402
from clearturn.job.model import SeatStack, Stud  # noqa: E402
from clearturn.result import Verdict  # noqa: E402
from clearturn_app.document import Document  # noqa: E402
from clearturn_app.sheets.rows import FactBlock  # noqa: E402
from clearturn_app.views.camera import Camera  # noqa: E402
from clearturn_app.views.picture_asked import asked  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.window.joining import take_dropped  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402

pytestmark = pytest.mark.gui

MADE: Any = cases("job_cases")
REGISTER = "register, diameter"


@pytest.fixture
def hand(qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    job = parse_job(json.dumps(MADE.write_corner(tmp_path))).job

    def checker(job, folder, progress):
        return check(job, folder=folder, progress=progress)

    window = MainWindow(Document(job, tmp_path), checker=checker)
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow, timeout=60_000)
    window.start()
    hand = Hand(window, qtbot, monkeypatch)
    hand.wait(lambda: window.session.is_current)
    yield hand
    window.close()
    assert window.tasks.wait(60)


def sizes(hand: Hand):
    return hand.corner.scans[0].size_check


def take_in(hand: Hand, size: str, value: str, room: str = "0.02", tool: str = "micrometer"):
    hand.operation(0)
    hand.fill("hand size", {"measured": size, "size as read": value, "± of it": room, "with": tool})


def test_size_measured_by_hand_is_taken_in_judged_changed_and_taken_away(
    hand: Hand, tmp_path: Path
) -> None:
    document = hand.window.document
    before = document.job
    take_in(hand, REGISTER, f"{2 * MADE.SPIGOT_RADIUS:g}")
    (one,) = sizes(hand)
    assert (one.kind, one.datums, one.value_mm) == ("diameter", ("register",), 70.0)
    assert (one.uncertainty_mm, one.instrument) == (0.02, "micrometer")
    assert document.stack.undoText().endswith("measured by hand")
    hand.wait(lambda: hand.window.session.is_current)
    (found,) = hand.window.session.result.size_checks
    assert found.state == "agrees"
    # A scan a hundredth too small is off, and leaves the job not proven at best.
    hand.set_number(REGISTER, "70.7")
    assert sizes(hand)[0].value_mm == 70.7
    hand.wait(lambda: hand.window.session.is_current)
    (found,) = hand.window.session.result.size_checks
    assert found.state == "off"
    assert hand.window.session.result.verdict is not Verdict.CLEARS
    path = tmp_path / "corner.clearturn.json"
    save_job(document.job, path)
    assert load_job(path).axles[0].corner.scans[0].size_check == sizes(hand)
    hand.deed(f"drop size:knuckle:{REGISTER}")
    assert sizes(hand) == ()
    for _ in range(3):
        document.stack.undo()
    assert document.job == before


def test_second_size_of_one_feature_gets_a_number(hand: Hand) -> None:
    take_in(hand, REGISTER, "70")
    QTest.qWait(50)
    take_in(hand, REGISTER, "70.01", tool="bore gauge")
    assert [one.name for one in sizes(hand)] == [REGISTER, f"{REGISTER} 2"]


def test_size_without_its_instrument_is_refused_in_words(hand: Hand) -> None:
    take_in(hand, REGISTER, "70", tool=" ")
    assert sizes(hand) == ()
    fault = hand.slip.forms["hand size"].faults["instrument"]
    assert fault.isVisible()
    assert fault.text().startswith("Nothing is written here yet")


def test_readings_of_the_dial_gauge_are_taken_from_a_file(hand: Hand, tmp_path: Path) -> None:
    ring = [0.03 * math.cos(math.radians(30 * k)) for k in range(12)]
    file = tmp_path / "ring.csv"
    file.write_text("rotor_mm\n" + "".join(f"{one:.6f}\n" for one in ring))
    hand.patch.setattr(QFileDialog, "getOpenFileName", lambda *_a, **_k: (str(file), ""))
    document = hand.window.document
    before = document.job
    hand.operation(8)
    hand.fill("readings", {"studs": "5", "ring, read at radius": "150"})
    assert document.job.sums["run_out"] == {
        "stud_count": 5, "rotor_radius_mm": 150.0, "readings_csv": "ring.csv",
    }  # fmt: skip
    assert document.stack.undoText() == "run-out from ring.csv"
    hand.wait(lambda: hand.window.session.is_current)
    (sheet,) = hand.window.session.result.sums.sheets
    # Twice the amplitude of a sine: 0.060 of total run-out.
    assert any(ruling.found.startswith("0.060") for ruling in sheet.rulings)
    document.stack.undo()
    assert document.job == before


def test_file_of_readings_that_makes_no_sense_changes_nothing(hand: Hand, tmp_path: Path) -> None:
    file = tmp_path / "ring.csv"
    file.write_text("rotor_mm\n0.01\nabout two\n0.02\n0.01\n")
    hand.patch.setattr(QFileDialog, "getOpenFileName", lambda *_a, **_k: (str(file), ""))
    before = hand.window.document.job
    hand.operation(8)
    hand.fill("readings", {"studs": "5"})
    assert hand.window.document.job is before
    told = " ".join(hand.window.sheet.note.lines)
    assert "ring.csv" in told
    assert "about two" in told


def test_shield_is_made_from_its_drawing_and_its_gap_to_the_rotor_judged(hand: Hand) -> None:
    document = hand.window.document
    before = document.job
    hand.operation(3)
    hand.fill("shield", {
        "inner radius": "100", "outer radius": "170", "from z": "-64", "to z": "-62",
        "arc": "200", "middle of the arc": "90", "made to ±": "0.5",
    })  # fmt: skip
    (part,) = [one for one in hand.corner.parts if one.kind == "shield"]
    assert (part.motion, part.tolerance_mm) == ("fixed", 0.5)
    hand.wait(lambda: hand.window.session.is_current)
    pair = next(
        pair for pair in hand.window.session.result.pairs
        if {pair.first, pair.second} == {"rotor", "shield"}
    )  # fmt: skip
    # The ring's inboard face lies at hat offset and half its thickness of 34 inboard.
    true = 62.0 - (MADE.HAT_OFFSET_MM + 17.0)
    assert pair.gap.gap_mm.upper == pytest.approx(true, abs=2e-3)
    hand.deed("drop shield")
    assert hand.corner == before.axles[0].corner
    document.stack.undo()
    document.stack.undo()
    assert document.job == before


def test_second_axle_is_added_and_built_beside_the_first(hand: Hand, tmp_path: Path) -> None:
    document, session = hand.window.document, hand.window.session
    before = document.job
    hand.operation(0)
    hand.deed("add axle:rear")
    assert [axle.name for axle in document.job.axles] == ["front", "rear"]
    assert document.job.axles[0] == before.axles[0]
    assert session.missing is not None
    assert session.missing.startswith("rear axle: ")
    hand.choose_files("choose scans", tmp_path / "knuckle.stl")
    hand.wait(lambda: bool(document.job.axles[1].corner.scans))
    assert document.job.axles[0] == before.axles[0]
    hand.settle()
    hand.operation(3)
    hand.fill("shield", {
        "inner radius": "100", "outer radius": "170", "from z": "-64", "to z": "-62",
        "arc": "200", "middle of the arc": "90", "made to ±": "0.5",
    })  # fmt: skip
    assert document.job.axles[1].corner.shield is not None
    assert document.job.axles[0].corner.shield is None
    hand.operation(0)
    hand.deed("axle:0")
    assert hand.window.session.work.axle == 0
    assert set(hand.window.session.work.scans()) == {"knuckle", "wheel"}
    take_in(hand, REGISTER, "70")
    assert document.job.axles[0].corner.scans[0].size_check
    assert not document.job.axles[1].corner.scans[0].size_check
    while document.stack.canUndo():
        document.stack.undo()
    assert document.job == before
    assert hand.window.session.work.axle == 0


def test_what_was_begun_for_one_axle_never_ends_in_the_other(hand: Hand, tmp_path: Path) -> None:
    document, tasks = hand.window.document, hand.window.tasks
    hand.operation(0)
    hand.deed("show:knuckle")
    hand.wait(lambda: "knuckle" in hand.window.session.work.loaded)
    hand.settle()
    go = threading.Event()

    def read_till_told(progress) -> None:
        while not go.is_set():
            progress.check()
            time.sleep(0.005)

    # While a file is read for this axle there is no turning to the other, nor adding it.
    tasks.start("take scan", read_till_told, done=lambda _v: None, failed=lambda _e: None)
    before = document.job
    hand.deed("add axle:rear")
    assert document.job is before
    assert "being read" in " ".join(hand.window.sheet.note.lines)
    go.set()
    hand.wait(lambda: not tasks.running("take scan"))
    hand.deed("add axle:rear")
    hand.deed("axle:0")
    hand.deed("show:knuckle")
    hand.wait(lambda: "knuckle" in hand.window.session.work.loaded)
    hand.settle()
    # An edit that is worked out meanwhile is dropped once the other axle is built.
    go.clear()

    def slow(_source):
        assert go.wait(60)
        return replace(hand.corner, side="right")

    builder = hand.window.builder
    builder._with_source("knuckle", "turn it round", "hub_frame", slow)
    two = document.job
    hand.deed("axle:1")
    go.set()
    hand.wait(lambda: not tasks.running("hub_frame"))
    QTest.qWait(50)
    assert document.job is two


def test_part_from_a_mesh_is_taken_in_placed_and_judged(hand: Hand, tmp_path: Path) -> None:
    document, session = hand.window.document, hand.window.session
    # A block of 20 mm in a frame of its own.
    block = trimesh.creation.box((20.0, 20.0, 20.0))
    block.apply_translation((10.0, 10.0, 10.0))
    file = tmp_path / "hose end.stl"
    block.export(file)
    hand.operation(3)
    hand.patch.setattr(QFileDialog, "getOpenFileName", lambda *_a, **_k: (str(file), ""))
    hand.fill("mesh", {"it is a": "hose", "its motion": "posed", "made to ±": "0.5"})
    hand.wait(lambda: any(part.name == "hose" for part in hand.corner.parts))
    part = next(part for part in hand.corner.parts if part.name == "hose")
    assert (part.kind, part.motion, part.tolerance_mm) == ("hose", "posed", 0.5)
    assert part.mesh.path == "hose end.stl"
    hand.settle()
    # Turned by 90° about z it lies at x −20 to 0; shifted, its face stands 5 mm off the ring.
    hand.fill("place:hose", {
        "shifted along x": "200", "shifted along y": "-10", "shifted along z": "-48",
        "turned about x": "0", "turned about y": "0", "turned about z": "90",
    })  # fmt: skip
    pose = np.array(next(p for p in hand.corner.parts if p.name == "hose").mesh.hub_from_mesh)
    assert np.allclose(pose[:3, :3], [[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    assert pose[:3, 3].tolist() == [200.0, -10.0, -48.0]
    form = hand.slip.forms["place:hose"]
    assert form.editors["turned about z"].text() == "90"
    assert document.stack.undoText() == "place hose"
    hand.wait(lambda: session.is_current)
    pair = next(one for one in session.result.pairs if {one.first, one.second} == {"hose", "rotor"})
    # 180 mm less the ring's 175 mm; a ring of facets reaches a little less far than a round one.
    assert pair.gap.gap_mm.lower - 0.05 <= 5.0 <= pair.gap.gap_mm.upper + 0.01
    # Another of its kind gets a name of its own.
    hand.fill("mesh", {"it is a": "hose", "its motion": "fixed", "made to ±": "0.5"})
    hand.wait(lambda: any(part.name == "hose 2" for part in hand.corner.parts))
    # One dropped where there is a caliper leaves it alone; what it is is said in the slip.
    before = next(one for one in hand.corner.parts if one.kind == "caliper")
    take_dropped(hand.window, [file, file])
    assert "one part is taken in at a time" in " ".join(hand.window.sheet.note.lines)
    assert not hand.window.tasks.running("take mesh")
    hand.window.sheet.note.put_away()
    take_dropped(hand.window, [file])
    hand.wait(lambda: any(part.name == "other" for part in hand.corner.parts))
    assert before in hand.corner.parts
    hand.slip.open_section("other: what it is")
    QTest.qWait(30)
    rows = hand.slip.rows
    hand.write(rows["other: it is a"].editor, "damper")
    rows["other: it is a"].editor.activated.emit(0)
    other = next(one for one in hand.corner.parts if one.name == "other")
    assert (other.kind, other.motion) == ("damper", "fixed")
    hand.write(rows["other: its motion"].editor, "turns")
    rows["other: its motion"].editor.activated.emit(0)
    assert "does not fit the kind" in rows["other: its motion"].fault.text()
    assert other in hand.corner.parts
    hand.deed("drop part:other")
    hand.deed("drop part:hose 2")
    hand.deed("drop part:hose")
    assert not any(part.mesh for part in hand.corner.parts)


def test_band_of_a_scan_is_left_out_and_its_ends_can_be_changed(hand: Hand) -> None:
    document = hand.window.document
    hand.operation(0)
    hand.fill("band:knuckle", {"from radius": " "})
    assert "without ends" in " ".join(hand.window.sheet.note.lines)
    assert not hand.corner.scans[0].cleaning
    hand.fill("band:knuckle", {"from radius": "145", "from clock position": "90"})
    assert "clock" in " ".join(hand.window.sheet.note.lines)  # both or neither
    note = hand.window.sheet.note
    assert "line " not in " ".join(note.lines)  # of a file that is not there yet
    hand.fill("band:knuckle", {"to clock position": "140"})
    assert not note.isVisible()  # what was refused stands no more
    (step,) = hand.corner.scans[0].cleaning
    assert step.step == "drop band"
    assert (step.band.r_from_mm, step.band.r_to_mm) == (145.0, None)
    assert (step.band.clock_from_deg, step.band.clock_to_deg) == (90.0, 140.0)
    QTest.qWait(50)
    hand.set_number("band left out, from radius", "150")
    assert hand.corner.scans[0].cleaning[0].band.r_from_mm == 150.0
    while document.stack.canUndo():
        document.stack.undo()
    assert not hand.corner.scans[0].cleaning


def test_another_patch_is_joined_to_a_datum_if_it_is_the_same_feature(hand: Hand) -> None:
    document, work = hand.window.document, hand.window.session.work
    hand.operation(0)
    hand.deed("show:knuckle")
    hand.wait(lambda: "knuckle" in work.loaded)
    hand.settle()
    datums = {one.name: one for one in hand.corner.datums}
    face, register = datums["hub face"], datums["register"]
    outboard = np.array(hand.corner.hub_frame.outboard)
    axis = np.array(register.seeds_mm[0])
    before = document.job
    hand.operation(1)
    hand.deed("join:hub face")
    assert not hand.window.sheet.picture.bar.skip.isVisible()

    def touch(place: Any, way: Any) -> None:
        work.touch(place - 200.0 * way, way)
        QTest.qWait(30)
        hand.wait(lambda: not hand.window.tasks.running("touch"))
        QTest.qWait(30)

    # The hub's bore from inside: no plane, so it cannot be joined.
    seed = np.array(face.seeds_mm[0])
    inward = axis - seed
    inward -= outboard * (inward @ outboard)
    touch(np.array(datums["housing"].seeds_mm[0]), inward / np.linalg.norm(inward))
    if work.touched is not None and work.touched.proposal.feature != "plane":
        assert not work.serves
        hand.window.builder.take_touched((0.0, 1.0, 0.0))
        assert document.job is before
    # The other side of the same face.
    touch(seed, -outboard)
    assert work.serves, hand.window.sheet.picture.bar.accessibleDescription()
    # What is told before it is taken is the fit through both, that of the check after it.
    told = hand.window.sheet.picture.bar.accessibleDescription()
    assert "ogether with what is there: plane" in told
    both = work.touched.proposal.fit
    hand.window.builder.take_touched((0.0, 1.0, 0.0))
    joined = next(one for one in hand.corner.datums if one.name == "hub face")
    assert len(joined.seeds_mm) == 2
    assert joined.seeds_mm[0] == face.seeds_mm[0]
    assert joined.feature == "plane"
    assert work.goal is None
    hand.operation(1)
    hand.wait(lambda: "join:hub face" in hand.slip.deeds)
    hand.wait(lambda: hand.window.session.is_current)
    fitted = {one.name: one for one in hand.window.session.result.datums}
    assert fitted["hub face"].rms_mm < 0.01
    assert fitted["hub face"].rms_mm == pytest.approx(both.rms_mm)


def test_click_on_the_checked_corner_says_what_is_there_and_what_is_near(hand: Hand) -> None:
    window, session = hand.window, hand.window.session
    picture, document = window.sheet.picture, window.document
    window.sheet.show_view("picture")
    # The process draws no picture here.
    picture._image = QImage(8, 8, QImage.Format.Format_RGB32)
    picture._image_paper = window.look.tone(Tone.PAPER).name()
    picture.toggle_cut()
    rotor = next(part for part in session.result.parts if part.name == "rotor")
    ring_r = float(np.hypot(*rotor.mesh.vertices[:, :2].T).max())
    # Seen square from inboard, on the ring at clock 90°.
    picture.camera = Camera.looking((0.0, 0.0, 0.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0), 220.0)
    picture._way = []
    session.seen.clear()
    before = document.revision
    at = QPoint(*(round(v) for v in picture.camera.seen_at(
        np.array([ring_r - 8.0, 0.0, 0.0]), picture.width(), picture.height())))  # fmt: skip
    picture._image_camera = picture.camera
    hand.click(picture, at)
    hand.wait(lambda: session.seen.found is not None)
    found = session.seen.found
    head, near, what = session.seen.words(window.look)
    assert found.part.name in head
    assert found.r_mm == pytest.approx(ring_r - 8.0, abs=1.0)
    assert found.clock_deg == pytest.approx(90.0, abs=1.0)
    assert f"r {window.look.length(found.r_mm)}" in head
    assert "nothing" in near
    assert what
    window.look.set(inch=True)
    assert session.seen.words(window.look)[0].endswith(" in")
    window.look.set(inch=False)
    picture.repaint()
    # Nothing was done to the job; Escape puts it away, and so does another gap.
    assert document.revision == before
    QTest.keyClick(window, Qt.Key.Key_Escape)
    assert session.seen.found is None
    hand.click(picture, at)
    hand.wait(lambda: session.seen.found is not None)
    session.choose(next(k for k in range(len(session.result.pairs)) if k != session.chosen))
    assert session.seen.found is None
    # A click beside everything says nothing.
    hand.click(picture, QPoint(3, picture.height() // 2))
    hand.wait(lambda: not window.tasks.running("touch"))
    assert session.seen.found is None


def test_notes_take_several_lines_and_are_given_when_left(hand: Hand) -> None:
    document = hand.window.document
    hand.operation(9)
    row = hand.slip.rows["notes"]
    hand.click(row.editor.viewport())
    row.editor.selectAll()
    QTest.keyClicks(row.editor, "Two lines:")
    QTest.keyClick(row.editor, Qt.Key.Key_Return)
    QTest.keyClicks(row.editor, "this is the second.")
    assert document.job.notes != "Two lines:\nthis is the second."
    QTest.keyClick(row.editor, Qt.Key.Key_Tab)
    assert not row.editor.hasFocus()
    assert document.job.notes == "Two lines:\nthis is the second."
    # Escape brings back what stood there; what is undone shows.
    hand.click(row.editor.viewport())
    QTest.keyClicks(row.editor, "no, ")
    QTest.keyClick(row.editor, Qt.Key.Key_Escape)
    assert row.editor.text() == "Two lines:\nthis is the second."
    document.stack.undo()
    QTest.qWait(50)
    assert hand.slip.rows["notes"].editor.text() == document.job.notes
    assert "second" not in document.job.notes


def test_wheel_is_turned_by_hand_and_the_gap_there_is_told_beside_the_least(hand: Hand) -> None:
    window, session = hand.window, hand.window.session
    picture, rule, turning = window.sheet.picture, window.sheet.picture.rule, session.turning
    pairs = session.result.pairs
    index = next(
        k for k, one in enumerate(pairs) if {one.first, one.second} == {"caliper", "spokes"}
    )
    session.choose(index)
    pair = pairs[index]
    assert rule.isVisible()
    least = window.look.length(pair.least_mm)
    assert f"over the turn {least} mm, least here" in rule.words()
    # By keys: W takes the rule, the arrows turn by a degree, with Shift by ten.
    QTest.keyClick(window, Qt.Key.Key_W)
    assert rule.hasFocus()
    start = round(pair.gap.turn_angle_deg)
    QTest.keyClick(rule, Qt.Key.Key_Right)
    assert turning.turn_deg == (start + 1) % 360
    QTest.keyClick(rule, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert turning.turn_deg == (start - 9) % 360
    hand.wait(lambda: turning.found is not None)
    assert turning.found.turn_deg == (start - 9) % 360  # the last one, not one on the way
    here = turning.found.estimate_mm
    assert f"here {window.look.length(here)} mm · over the turn {least} mm" in rule.words()
    assert here >= pair.least_mm - 2e-3
    assert (
        asked(session, window.look, picture.camera, (100, 100), 1.0, cut=True)["turn"]
        == (start - 9) % 360
    )
    rule.repaint()
    # By dragging along it, to its end; a touch of the picture is not meant by it.
    QTest.mousePress(rule, Qt.MouseButton.LeftButton, pos=QPoint(rule.width() // 2, 25))
    QTest.mouseMove(rule, QPoint(rule.width() - 2, 25))
    QTest.mouseRelease(rule, Qt.MouseButton.LeftButton, pos=QPoint(rule.width() - 2, 25))
    assert turning.turn_deg in (359.0, 180.0)  # a virtual screen may keep the pointer's moves
    assert session.seen.found is None
    assert not window.tasks.running("touch")
    # Home brings it back, another gap too; nothing of it is in the job.
    QTest.keyClick(rule, Qt.Key.Key_Home)
    assert turning.turn_deg is None
    QTest.keyClick(rule, Qt.Key.Key_Right)
    session.choose(next(k for k, one in enumerate(pairs) if one.motion == "still"))
    assert turning.turn_deg is None
    assert not rule.isVisible()
    assert window.document.is_clean or not window.document.stack.canUndo()


def test_studs_are_written_and_tell_what_a_spacer_leaves_of_them(hand: Hand) -> None:
    document = hand.window.document
    stack = SeatStack(6.0, 8.0, 3.0)
    job = with_corner(document.job, "front", replace(hand.corner, seat_stack=stack, stud=None))
    document.edit("seat stack", job)
    hand.operation(4)
    hand.fill("studs", {
        "thread": "M14×1.5", "stud length": "52", "wheel at the nut's seat": "24",
        "thread needed": "14", "register length": "18", "register needed": "5",
    })  # fmt: skip
    assert hand.corner.stud == Stud(52.0, "M14×1.5", 24.0, 14.0, 18.0, 5.0)
    assert document.stack.undoText() == "studs"
    assert "studs" not in hand.slip.forms
    hand.slip.open_section("studs")
    QTest.qWait(30)
    told = {one.text for block in hand.slip.findChildren(FactBlock) for one in block._facts}
    # 52 less flange 8, spacer 3 and the wheel's 24; 18 less 8 and 3.
    assert "17.0 of 14.0 mm needed" in told
    assert "7.0 of 5.0 mm needed" in told
    document.stack.undo()
    assert hand.corner.stud is None
    hand.slip.open_section("studs: what a spacer leaves of them")
    QTest.qWait(30)
    assert hand.slip.forms["studs"].editors["register needed"].text() == "5"
