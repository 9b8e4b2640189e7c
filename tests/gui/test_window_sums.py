"""Sums begun from nothing in the window, added to, changed and taken away again."""

from __future__ import annotations

import json
import threading
from pathlib import Path
from typing import Any

import pytest
from window_support import cases, needs_window

needs_window()

from PySide6.QtCore import Qt  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QComboBox, QMessageBox  # noqa: E402
from window_hand import Hand  # noqa: E402

from clearturn.check import check  # noqa: E402
from clearturn.job.edits import path_of, with_value  # noqa: E402
from clearturn.job.file import load_job, parse_job  # noqa: E402
from clearturn.job.sums import job_sums  # noqa: E402
from clearturn.samples import demo_job_file  # noqa: E402
from clearturn.trade.inputs import shown  # noqa: E402
from clearturn.trade.places import given, objects, places  # noqa: E402
from clearturn.trade.sums import SUMS, read_sum  # noqa: E402
from clearturn_app.document import Document  # noqa: E402
from clearturn_app.sheets.operations import OPERATIONS  # noqa: E402
from clearturn_app.views.picture_process import PictureProcess  # noqa: E402
from clearturn_app.window import background  # noqa: E402
from clearturn_app.window.main import MainWindow  # noqa: E402

pytestmark = pytest.mark.gui

MADE: Any = cases("job_cases")
BALANCE = {
    "wheelbase": "2720", "old front, piston diameters": "60", "old front, friction": "0.38",
    "old front, effective radius": "124", "old front, tyre radius": "320",
    "old rear, piston diameters": "38", "old rear, friction": "0.38",
    "old rear, effective radius": "112", "old rear, tyre radius": "320",
    "loading 1, name": "unladen", "loading 1, mass": "1620", "loading 1, front axle": "930",
    "loading 1, height of centre of gravity": "540",
}  # fmt: skip

PARKING = {"mass_kg": 2050.0, "tyre_radius_mm": 320.0, "radius_mm": 112.0}


@pytest.fixture
def hand(qtbot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(PictureProcess, "_start", lambda self: None)
    monkeypatch.setattr(
        QMessageBox, "question", lambda *_a, **_k: QMessageBox.StandardButton.Discard
    )
    job = parse_job(json.dumps(MADE.write_corner(tmp_path))).job
    window = MainWindow(
        Document(job, tmp_path),
        checker=lambda job, folder, progress: check(job, folder=folder, progress=progress),
    )
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


def slip_with(name: str) -> int:
    return next(i for i, one in enumerate(OPERATIONS) if name in one.sums)


def told(hand: Hand) -> str:
    return " ".join(hand.window.sheet.note.lines)


def test_brake_balance_is_begun_added_to_and_taken_away_by_hand(hand: Hand) -> None:
    document, session = hand.window.document, hand.window.session
    before = document.job
    assert not before.sums
    hand.operation(slip_with("brake_balance"))
    hand.deed("enter:brake_balance:")
    hand.fill("sum:brake_balance:", BALANCE)
    held = document.job.sums["brake_balance"]
    assert held["old_front"] == {
        "piston_diameters_mm": [60.0], "friction": 0.38, "effective_radius_mm": 124.0,
        "tyre_radius_mm": 320.0,
    }  # fmt: skip
    assert held["states"] == [
        {"name": "unladen", "mass_kg": 1620.0, "front_axle_kg": 930.0, "cg_height_mm": 540.0}
    ]
    # Nothing that was left as the sum takes it anyway is written into the job.
    assert "anti_lock" not in held
    assert "line_share" not in held["old_rear"]
    assert document.stack.undoText() == "numbers of brake balance"
    hand.wait(lambda: session.sums is not None)
    (sheet,) = session.sums.sheets
    assert sheet.gist == job_sums(document.job).sheets[0].gist
    assert "sum:brake_balance:" not in hand.slip.forms

    # The new front brake stands on the old one's tyre unless another is written.
    hand.deed("enter:brake_balance:new_front")
    form = hand.slip.forms["sum:brake_balance:new_front"]
    assert form.editors["tyre radius"].text() == "320"
    hand.fill(
        "sum:brake_balance:new_front",
        {"piston diameters": "28, 30; 34", "friction": "0.42", "effective radius": "144.5"},
    )
    assert document.job.sums["brake_balance"]["new_front"]["piston_diameters_mm"] == [28, 30, 34]
    hand.deed("enter:brake_balance:states[1]")
    hand.fill(
        "sum:brake_balance:states[1]",
        {
            "name": "laden",
            "mass": "2050",
            "front axle": "1010",
            "height of centre of gravity": "560",
        },
    )
    assert [one["name"] for one in document.job.sums["brake_balance"]["states"]] == [
        "unladen", "laden",
    ]  # fmt: skip

    # What the sum cannot be without has no word that takes it away; the rest has one.
    assert "drop sum:brake_balance:old_front" not in hand.slip.deeds
    hand.deed("drop sum:brake_balance:states[0]")
    hand.deed("drop sum:brake_balance:new_front")
    held = document.job.sums["brake_balance"]
    assert [one["name"] for one in held["states"]] == ["laden"]
    assert "new_front" not in held
    hand.deed("drop sum:brake_balance:states[0]")
    assert "loading is needed" in told(hand)
    assert document.job.sums["brake_balance"] == held
    hand.deed("drop sum:brake_balance:")
    assert not document.job.sums
    while document.stack.canUndo():
        document.stack.undo()
    assert document.job == before


def test_form_of_a_sum_says_what_is_wrong_and_keeps_what_was_written(hand: Hand) -> None:
    document = hand.window.document
    hand.operation(slip_with("heat"))
    hand.deed("enter:heat:")
    form = hand.slip.forms["sum:heat:"]
    # The corner's rotor is of iron.
    assert form.editors["ring material"].currentText() == "grey iron"
    hand.fill("sum:heat:", {"mass": "2050", "speed at first": "1e9", "ring mass": "9.6"})
    assert "out of range" in form.faults["from_km_h"].text().lower()
    assert not document.job.sums
    # Places that go together are told by the sum itself.
    hand.fill("sum:heat:", {"speed at first": "100", "speed at last": "120"})
    assert "ends slower than it began" in told(hand)
    assert not document.job.sums
    # Another word closes it, and it opens again as it was left.
    hand.deed("enter:heat:")
    assert "sum:heat:" not in hand.slip.forms
    hand.deed("enter:heat:")
    form = hand.slip.forms["sum:heat:"]
    assert form.editors["mass"].text() == "2050"
    hand.fill("sum:heat:", {"speed at last": "0"})
    held = document.job.sums["heat"]
    assert held == {
        "mass_kg": 2050.0, "from_km_h": 100.0, "ring_mass_kg": 9.6, "ring_material": "grey iron",
        "to_km_h": 0.0,
    }  # fmt: skip
    # Later numbers, several at a time.
    hand.deed("enter:heat:")
    hand.fill("sum:heat:", {"stops": "10", "paint kept": "430 540"})
    held = document.job.sums["heat"]
    assert (held["stops"], held["paint_kept_c"]) == (10, [430.0, 540.0])
    hand.deed("enter:heat:")
    hand.fill("sum:heat:", {"paint kept": " "})
    assert document.job.sums["heat"]["paint_kept_c"] == []


def test_words_and_choices_of_a_sum_can_be_changed_where_they_stand(hand: Hand) -> None:
    document = hand.window.document
    hand.operation(slip_with("bolts"))
    hand.deed("enter:bolts:joints[0]")
    hand.fill("sum:bolts:joints[0]", {
        "name": "bracket bolt", "thread": "M14×1.5", "property class": "10.9", "torque": "180",
    })  # fmt: skip
    (joint,) = document.job.sums["bolts"]["joints"]
    assert joint == {
        "name": "bracket bolt", "thread": "M14×1.5", "property_class": "10.9", "torque_nm": 180.0,
    }  # fmt: skip
    hand.slip.open_section("numbers of: ")
    QTest.qWait(30)
    hand.set_number("bolt “bracket bolt”, thread", "M12×1.5")
    assert document.job.sums["bolts"]["joints"][0]["thread"] == "M12×1.5"
    row = hand.slip.rows["bolt “bracket bolt”, property class"]
    assert isinstance(row.editor, QComboBox)
    row.editor.setCurrentText("12.9")
    row.editor.activated.emit(row.editor.currentIndex())
    assert document.job.sums["bolts"]["joints"][0]["property_class"] == "12.9"
    # Whether the sum that was just changed is worked out before or after, the refusal stays.
    hand.set_number("bolt “bracket bolt”, thread", "M12×9")
    hand.wait(lambda: hand.window.session.sums is not None)
    QTest.qWait(50)
    row = hand.slip.rows["bolt “bracket bolt”, thread"]
    assert row.fault.text()
    assert document.job.sums["bolts"]["joints"][0]["thread"] == "M12×1.5"


def test_what_is_being_written_outlives_a_slip_that_is_built_anew(hand: Hand) -> None:
    document, session = hand.window.document, hand.window.session
    hand.operation(slip_with("heat"))
    hand.deed("enter:heat:")
    hand.fill("sum:heat:", {"mass": "2050", "speed at first": "100", "ring mass": "9.6"})
    hand.wait(lambda: session.sums is not None)
    hand.slip.open_section("numbers of: ")
    QTest.qWait(30)
    row = hand.slip.rows["ring mass"]
    hand.slip._area.ensureWidgetVisible(row)
    QTest.mouseClick(row.editor, Qt.MouseButton.LeftButton)
    row.editor.selectAll()
    QTest.keyClicks(row.editor, "8.")
    gist = session.sums.sheets[0].gist
    document.edit("another mass", with_value(document.job, ("sums", "heat", "mass_kg"), 1000.0))
    hand.wait(lambda: session.sums is not None and session.sums.sheets[0].gist != gist)
    hand.wait(lambda: hand.slip.rows["ring mass"] is not row)
    again = hand.slip.rows["ring mass"]
    assert again.editor.text() == "8."
    assert hand.slip.focusWidget() is again.editor
    assert document.job.sums["heat"]["ring_mass_kg"] == 9.6  # nothing half written is taken
    QTest.keyClicks(again.editor, "25")
    QTest.keyClick(again.editor, Qt.Key.Key_Return)
    assert document.job.sums["heat"]["ring_mass_kg"] == 8.25
    assert document.job.sums["heat"]["mass_kg"] == 1000.0
    # A form too keeps the place where one writes.
    hand.deed("enter:heat:")
    editor = hand.slip.forms["sum:heat:"].editors["stops"]
    hand.write(editor, "1")
    document.edit("hold it", with_value(document.job, ("sums", "parking_brake"), PARKING))
    hand.wait(lambda: hand.slip.forms["sum:heat:"].editors["stops"] is not editor)
    editor = hand.slip.forms["sum:heat:"].editors["stops"]
    assert hand.slip.focusWidget() is editor
    QTest.keyClicks(editor, "0")
    assert editor.text() == "10"


def test_what_is_unfolded_and_refused_stays_while_the_sum_is_worked_out(
    hand: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Its headings tell what was worked out, so they read otherwise meanwhile.
    session = hand.window.session
    hand.operation(slip_with("heat"))
    hand.deed("enter:heat:")
    hand.fill("sum:heat:", {"mass": "2050", "speed at first": "100", "ring mass": "9.6"})
    hand.wait(lambda: session.sums is not None)
    hand.slip.open_section("numbers of: ")
    QTest.qWait(30)
    before = list(hand.slip._heads)
    go, compute = threading.Event(), background.sums
    monkeypatch.setattr(background, "sums", lambda job: go.wait(60) and compute(job))
    hand.set_number("ring mass", "9.7")
    hand.wait(lambda: session.sums is None and list(hand.slip._heads) != before)
    hand.set_number("ring mass", "nonsense")
    assert hand.slip.rows["ring mass"].fault.text()
    meanwhile = hand.slip.rows["ring mass"]
    go.set()
    hand.wait(lambda: session.sums is not None and hand.slip.rows["ring mass"] is not meanwhile)
    assert hand.slip.rows["ring mass"].fault.text()
    assert hand.slip.rows["ring mass"].editor.text() == "nonsense"


def value_at(entered: Any, path: tuple[Any, ...]) -> Any:
    here = entered
    for step in path:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            return None
    return here


def write_object(hand: Hand, name: str, path: tuple[Any, ...], entered: Any) -> None:
    """Open the form of an object of a sum and write in what `entered` holds."""
    hand.deed(f"enter:{name}:{shown(path)}")
    deed = f"sum:{name}:{shown(path)}"
    values = {}
    for blank in hand.slip.forms[deed]._form.blanks:
        value = value_at(entered, path_of(blank.key))
        if isinstance(value, bool):
            value = "yes" if value else "no"
        if isinstance(value, list):
            value = " ".join(str(one) for one in value)
        if value is not None:
            values[blank.field.label] = str(value)
    hand.fill(deed, values)


def test_every_sum_of_the_demo_can_be_written_into_a_job_that_has_none(hand: Hand) -> None:
    document = hand.window.document
    demo = load_job(demo_job_file()).sums
    for name, content in demo.items():
        hand.operation(slip_with(name))
        inputs = SUMS[name].inputs
        if any(place.needed for place in places(inputs)):
            write_object(hand, name, (), content)
        for path, _, entered in objects(inputs, content):
            if path and value_at(document.job.sums.get(name), path) is None:
                write_object(hand, name, path, entered)
        held = document.job.sums[name]
        if {p.path for p in given(inputs, content)} - {p.path for p in given(inputs, held)}:
            write_object(hand, name, (), content)
        assert read_sum(name, document.job.sums[name]) == read_sum(name, content), told(hand)
    hand.wait(lambda: hand.window.session.sums is not None)
    assert hand.window.session.sums.as_json() == job_sums(document.job).as_json()
