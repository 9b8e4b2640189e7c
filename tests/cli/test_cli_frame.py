"""The frame of the command line: exit codes, one sentence a fault, quiet pipes."""

from __future__ import annotations

import argparse
import json
import math
import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from clearturn.errors import Cancelled, InputError
from clearturn_app.cli import main as frame
from clearturn_app.cli import output

Run = Callable[..., SimpleNamespace]


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[[], int]], None]:
    """Put a command "work" into the frame that does what it is given."""

    def put(work: Callable[[], int]) -> None:
        def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
            subparsers.add_parser("work")

        module = SimpleNamespace(add_parser=add_parser, run=lambda args: work())
        monkeypatch.setattr(frame, "COMMANDS", ("work",))
        monkeypatch.setattr(frame, "_load", lambda name: module)

    return put


def failing(error: BaseException) -> Callable[[], int]:
    def work() -> int:
        raise error

    return work


def in_process_of_its_own(code: str, **options: object) -> subprocess.Popen[str]:
    """Start Python with `code`, in which ``frame`` runs a command "work" defined by it."""
    head = """
import sys, types
from clearturn_app.cli import main as frame, output
def answer(work):
    add = lambda subparsers: subparsers.add_parser("work")
    frame.COMMANDS = ("work",)
    frame._load = lambda name: types.SimpleNamespace(add_parser=add, run=lambda args: work())
    sys.exit(frame.main(["work"]))
"""
    return subprocess.Popen([sys.executable, "-c", head + code], text=True, **options)  # type: ignore[call-overload,no-any-return]


def test_version_is_the_package_s(clearturn: Run) -> None:
    from importlib.metadata import version

    answer = clearturn("--version")
    assert (answer.code, answer.out) == (0, f"clearturn {version('clearturn')}\n")


def test_help_names_every_command(clearturn: Run) -> None:
    answer = clearturn("--help")
    assert answer.code == 0
    for name in frame.COMMANDS:
        assert f"\n    {name} " in answer.out, name


def test_every_module_that_is_a_command_is_listed() -> None:
    folder = Path(frame.__file__).parent
    modules = {p.stem for p in folder.glob("*.py") if "def add_parser(" in p.read_text("utf-8")}
    assert modules - {"main"} == set(frame.COMMANDS)


@pytest.mark.parametrize("name", frame.COMMANDS)
def test_every_command_has_help(clearturn: Run, name: str) -> None:
    answer = clearturn(name, "--help")
    assert answer.code == 0
    assert answer.out.startswith(f"usage: clearturn {name} ")
    assert answer.err == ""


@pytest.mark.parametrize(
    "arguments",
    [["nonsense"], ["--nonsense"], ["gap"], ["gap", "a", "b", "--turns", "both"], ["--vers"]],
)
def test_wrong_arguments_are_told_in_one_sentence(clearturn: Run, arguments: list[str]) -> None:
    answer = clearturn(*arguments)
    assert answer.code == 2
    assert answer.out == ""
    assert answer.err.count("\n") == 1
    assert "--help" in answer.err


def test_an_unknown_option_points_to_the_help_of_its_command(clearturn: Run) -> None:
    answer = clearturn("gap", "a.stl", "b.stl", "--turn", "second")
    assert answer.code == 2
    assert "found --turn second" in answer.err
    assert "see clearturn gap --help" in answer.err


def test_no_command_prints_the_help_where_it_spoils_no_pipe(clearturn: Run) -> None:
    answer = clearturn()
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith("usage: clearturn")


@pytest.mark.parametrize("code", [0, 1, 3])
def test_exit_code_is_the_command_s(
    clearturn: Run, command: Callable[..., None], code: int
) -> None:
    command(lambda: code)
    assert clearturn("work").code == code


def test_bad_input_is_one_sentence_with_place_and_mend(
    clearturn: Run, command: Callable[..., None]
) -> None:
    command(failing(InputError("no", file="a\nb.stl", place="line 3", found="x", mend="do y")))
    answer = clearturn("work")
    assert answer.code == 2
    assert answer.err == "clearturn: a\\nb.stl, line 3: no, found x; do y\n"


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Cancelled()])
def test_cancelling_ends_with_130(
    clearturn: Run, command: Callable[..., None], error: BaseException
) -> None:
    command(failing(error))
    answer = clearturn("work")
    assert (answer.code, answer.out, answer.err) == (130, "", "cancelled\n")


@pytest.mark.parametrize("error", [OSError(28, "No space left on device", "x.pdf"), MemoryError()])
def test_what_the_machine_lacks_is_told_without_traceback(
    clearturn: Run, command: Callable[..., None], error: BaseException
) -> None:
    command(failing(error))
    answer = clearturn("work")
    assert answer.code == 2
    assert answer.err.count("\n") == 1
    assert "Traceback" not in answer.err


def test_a_bug_is_said_plainly_and_written_down(
    clearturn: Run, command: Callable[..., None], tmp_path: Path
) -> None:
    command(failing(ZeroDivisionError("the inner matter")))
    answer = clearturn("work")
    assert answer.code == 70
    assert answer.err.count("\n") == 1
    assert "the inner matter" not in answer.err
    (log,) = (tmp_path / "state" / "clearturn").glob("crash-*.log")
    assert str(log) in answer.err
    assert "the inner matter" in log.read_text()
    assert "Traceback" in log.read_text()


def test_a_bug_where_nothing_can_be_written_is_still_said(
    clearturn: Run, command: Callable[..., None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from clearturn_app import crash_log

    (tmp_path / "taken").write_text("a file where a folder should be")
    monkeypatch.setattr(crash_log, "_folders", lambda: [tmp_path / "taken" / "x"])
    command(failing(ZeroDivisionError()))
    answer = clearturn("work")
    assert answer.code == 70
    assert "no log could be written" in answer.err


def test_a_closed_pipe_is_quiet() -> None:
    read, write = os.pipe()
    os.close(read)
    code = "answer(lambda: print('x' * 100) or 0)"
    process = in_process_of_its_own(code, stdout=write, stderr=subprocess.PIPE)
    os.close(write)
    assert process.communicate()[1] == ""
    assert process.returncode == 141


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_a_full_disk_behind_stdout_is_one_sentence() -> None:
    with open("/dev/full", "w") as full:  # noqa: PTH123
        process = in_process_of_its_own(
            "answer(lambda: print('x') or 0)", stdout=full, stderr=subprocess.PIPE
        )
        err = process.communicate()[1]
    assert err.startswith("clearturn: No space left on device")
    assert process.returncode == 2


def test_no_stdout_at_all_is_no_bug() -> None:
    code = "sys.stdout = None\nanswer(lambda: output.print_json({'a': 1}) or 0)"
    process = in_process_of_its_own(code, stderr=subprocess.PIPE)
    assert process.communicate()[1] == ""
    assert process.returncode == 0


def test_interrupt_stops_our_threads_too() -> None:
    # The main thread sleeps where it checks nothing; the worker checks its Progress.  A test run
    # in the background of a shell ignores the signal, and so would its children.
    code = """
import signal, threading, time
signal.signal(signal.SIGINT, signal.default_int_handler)
from clearturn.errors import Cancelled
def work():
    with output.progress_bar() as progress:
        def busy():
            try:
                while True:
                    progress.check()
                    time.sleep(0.01)
            except Cancelled:
                print("worker stopped", flush=True)
        thread = threading.Thread(target=busy)
        thread.start()
        print("ready", flush=True)
        try:
            time.sleep(60)
        finally:
            thread.join(10)
    return 0
answer(work)
"""
    process = in_process_of_its_own(code, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    start = time.monotonic()
    process.send_signal(signal.SIGINT)
    try:
        out, err = process.communicate(timeout=30)
    finally:
        process.kill()
    assert time.monotonic() - start < 5
    assert (process.returncode, out, err) == (130, "worker stopped\n", "cancelled\n")


def test_progress_is_drawn_on_a_terminal_and_wiped() -> None:
    ours, theirs = pty.openpty()
    code = """
def work():
    with output.progress_bar() as progress:
        progress.report(0.5, "half way")
    return 0
answer(work)
"""
    process = in_process_of_its_own(code, stderr=theirs, stdout=subprocess.PIPE)
    os.close(theirs)
    process.communicate()
    drawn = b""
    try:
        while block := os.read(ours, 4096):
            drawn += block
    except OSError:  # how Linux reports the end of a terminal
        pass
    os.close(ours)
    assert b"50% half way" in drawn
    assert drawn.endswith(b"\r\x1b[K")


def test_progress_is_quiet_in_a_pipe(capsys: pytest.CaptureFixture[str]) -> None:
    with output.progress_bar() as progress:
        progress.report(0.5, "half way")
    assert capsys.readouterr() == ("", "")


def test_start_needs_no_compiled_kernels_for_help() -> None:
    code = "frame.main(['gap', '--help']); sys.exit('numba' in sys.modules)"
    process = in_process_of_its_own(code, stdout=subprocess.DEVNULL)
    assert process.wait() == 0


class _Word(StrEnum):
    APART = "apart"


def test_json_is_made_of_plain_things(capsys: pytest.CaptureFixture[str]) -> None:
    output.print_json(
        {
            "array": np.eye(2),
            "number": np.float64(1.5),
            "integer": np.int32(3),
            "flag": np.True_,
            "word": _Word.APART,
            "zero": -0.0,
            "nothing": None,
            "text": "caliper–barrel",
            "list": ({"a": 1},),
        }
    )
    text = capsys.readouterr().out
    assert json.loads(text) == {
        "array": [[1.0, 0.0], [0.0, 1.0]],
        "number": 1.5,
        "integer": 3,
        "flag": True,
        "word": "apart",
        "zero": 0.0,
        "nothing": None,
        "text": "caliper–barrel",
        "list": [{"a": 1}],
    }
    assert "-0.0" not in text


@pytest.mark.parametrize("value", [math.nan, math.inf, np.float32("nan"), np.array([1, np.inf])])
def test_json_refuses_what_is_no_number(value: object) -> None:
    with pytest.raises(ValueError, match="no place in JSON"):
        output.print_json({"deep": [{"x": value}]})


def test_json_survives_names_that_are_no_text(capsys: pytest.CaptureFixture[str]) -> None:
    name = os.fsdecode(b"caliper\xff.stl")
    output.print_json({"file": name})
    assert json.loads(capsys.readouterr().out) == {"file": name}


def test_table_lines_up_whatever_the_alphabet() -> None:
    text = output.table([["item", "mm"], ["étrier", "5.5"], ["制动", "12.25"]], right=[1])
    assert text.splitlines() == [
        "item       mm",
        "------  -----",
        "étrier    5.5",
        "制动    12.25",
    ]


def test_table_of_nothing_is_empty() -> None:
    assert output.table([]) == ""
