"""What is kept from one check to the next is never stale: every input is seen."""

from __future__ import annotations

import dataclasses
import enum
import importlib.util
import json
import math
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from gap_shapes import bits, box, sphere, together, tube

from clearturn.check import check
from clearturn.corner.pairs import FrameUncertainty, PairSpec
from clearturn.errors import Cancelled, ClearturnError, InputError
from clearturn.gap import Z_AXIS
from clearturn.gap.meridian import meridian_image
from clearturn.gap.turning import SMALL
from clearturn.job.file import job_json, parse_job
from clearturn.job.judging import AllowanceEntry, OwnAllowance, SeatStack, VerdictSettings
from clearturn.mesh import Mesh
from clearturn.progress import Progress
from clearturn.result import Motion, PlacedPart
from clearturn.steps import KeptSteps, fingerprint
from clearturn.verdict import every
from clearturn.verdict.every import judge_all
from clearturn.verdict.field import Pair

_spec = importlib.util.spec_from_file_location(
    "job_cases", Path(__file__).with_name("job_cases.py")
)
made: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(made)  # type: ignore[union-attr]


# --- the fingerprint ---------------------------------------------------------------------------


class Word(enum.Enum):
    ONE = "one"
    TWO = "two"


@dataclasses.dataclass(frozen=True)
class Hidden:
    shown: int
    hidden: int = dataclasses.field(compare=False, default=0)


def test_values_that_differ_in_anything_have_fingerprints_of_their_own():
    values = [
        None, True, 1, 1.0, "1", b"1", 0.0, -0.0, math.nan, math.nextafter(1.0, 2.0), "", b"",
        Word.ONE, Word.TWO, Path("1"), (), [], {}, frozenset(), ("a", "b"), ("ab",), ("a", ("b",)),
        (("a",), "b"), ["a", "b"], {"a": "b"}, {"b": "a"}, {"a": 1, "b": 2}, {"b": 2, "a": 1},
        np.float64(1), np.zeros(2), np.zeros(2, np.float32), np.zeros((2, 1)), np.zeros((1, 2)),
        np.array([0.0, -0.0]), np.zeros(0), Hidden(1), Hidden(1, 2), Hidden(2),
        box((0, 0, 0), (1, 1, 1), "a"), box((0, 0, 0), (1, 1, 1), "b"),
        box((0, 0, 0), (1, 1, math.nextafter(1.0, 2.0)), "a"),
    ]  # fmt: skip
    prints = [fingerprint(one) for one in values]
    assert len(set(prints)) == len(values)
    assert prints == [fingerprint(one) for one in values]


def test_equal_content_has_one_fingerprint():
    one, other = sphere((1, 2, 3), 4, 2), sphere((1, 2, 3), 4, 2)
    assert fingerprint((one, np.arange(6)[::2])) == fingerprint((other, np.array([0, 2, 4])))
    assert fingerprint(frozenset("abcdef")) == fingerprint(frozenset("fedcba"))


@pytest.mark.parametrize("value", [print, lambda: 1, object(), [object()], np.array([None])])
def test_what_has_no_content_is_refused(value):
    with pytest.raises(TypeError, match="no content"):
        fingerprint(value)


# --- keeping -----------------------------------------------------------------------------------


def test_step_is_done_once_for_the_same_and_anew_for_another():
    steps, calls = KeptSteps(), []

    def work(value):
        calls.append(value)
        return [value]

    one = steps.result("a", lambda: work(1), 1)
    assert steps.result("a", lambda: work(1), 1) is one
    assert steps.result("b", lambda: work(1), 1) is not one
    assert steps.result("a", lambda: work(2), 2) == [2]
    assert calls == [1, 1, 2]


def test_step_that_was_stopped_is_not_kept():
    steps = KeptSteps()

    def stopped():
        raise Cancelled

    with pytest.raises(Cancelled):
        steps.result("a", stopped, 1)
    assert steps.result("a", lambda: 5, 1) == 5


def test_result_of_nothing_is_kept_too():
    steps, calls = KeptSteps(), []
    for _ in range(2):
        assert steps.result("a", lambda: calls.append(1), 1) is None
    assert calls == [1]


def test_what_several_checks_did_not_ask_for_is_dropped():
    steps = KeptSteps()
    steps.begin()
    steps.result("old", lambda: 1, 1)
    ball = steps.mesh(sphere((0, 0, 0), 1, 1))
    for _ in range(3):
        steps.begin()
        steps.result("new", lambda: 2, 2)
    assert len(steps) == 2
    assert steps.mesh(sphere((0, 0, 0), 1, 1)) is ball
    steps.begin()
    assert len(steps) == 1
    for _ in range(4):
        steps.begin()
    assert len(steps) == 0
    assert steps.mesh(sphere((0, 0, 0), 1, 1)) is not ball


# --- pairs -------------------------------------------------------------------------------------


def corner():
    """Parts, pairs, settings and frames with something in every field."""
    noise = np.random.default_rng(1).normal(0, 0.02, (642, 3))
    ball = sphere((180, 0, 5), 9, 3)
    rough = Mesh(ball.vertices + noise[: len(ball.vertices)], ball.faces, "rough")
    parts = [
        PlacedPart("lug", "knuckle", Motion.FIXED, rough, "scan a.stl", 0.02),
        PlacedPart("caliper", "caliper", Motion.FIXED, box((150, -9, -30), (168, 9, -8)), "dim"),
        PlacedPart("barrel", "barrel", Motion.TURNS, tube(195, 205, -40, 40, 90), "scan b.stl",
                   0.01, 0.5),
        PlacedPart("rod", "tie rod", Motion.POSED, box((150, 20, 0), (160, 30, 9)), "dim",
                   invented=box((150, 20, 0), (160, 30, 9))),
    ]  # fmt: skip
    pairs = [
        PairSpec("lug", "barrel", "turning–fixed", "turning", 5.0),
        PairSpec("caliper", "barrel", "caliper–barrel", "turning", 3.0, seats=("a",),
                 excluded_first=np.array([0, 1])),
        PairSpec("lug", "caliper", "other fixed pair", "still", 2.0),
        PairSpec("rod", "barrel", "turning–posed", "turning", 5.0),
    ]  # fmt: skip
    settings = VerdictSettings(
        allowances=(
            AllowanceEntry("heat", 0.2, "gap", "always costs", "hand", part="barrel"),
            OwnAllowance("chord", 0.02, "gap", "random", "hand", part="caliper"),
            AllowanceEntry("play", 0.1, "radial", "shift", "hand", part="wheel"),
            AllowanceEntry("all", 0.01, "gap", "random", "hand"),
        ),
        seat_stack=SeatStack(7.0, 0.0),
        wheel_parts=("barrel",),
    )
    frames = {
        "lug": FrameUncertainty("hub", np.eye(6) * 1e-6, "datums a"),
        "barrel": FrameUncertainty("wheel", np.eye(6) * 2e-6, "datums b"),
    }
    return parts, pairs, settings, frames


def altered(value):
    """Another value of the same type that may stand in the same place."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, enum.Enum):
        every = list(type(value))
        return every[(every.index(value) + 1) % len(every)]
    if isinstance(value, float):
        return value * 1.01 + 0.003
    if isinstance(value, str):
        return value + "x"
    if isinstance(value, np.ndarray):
        return value[:0] if value.ndim == 1 else value * 1.5
    if isinstance(value, Mesh):
        return Mesh(value.vertices + 0.01, value.faces, value.name)
    if isinstance(value, tuple):
        return value[:-1] if value else None
    return None


def one_change_each(value):
    """Yield (name, value with one thing changed) for everything inside a frozen dataclass."""
    for field in dataclasses.fields(value):
        held = getattr(value, field.name)
        if isinstance(held, tuple):
            for k, one in enumerate(held):
                if dataclasses.is_dataclass(one):
                    for name, new in one_change_each(one):
                        parts = (*held[:k], new, *held[k + 1 :])
                        yield f"{field.name}[{k}].{name}", _with(value, field.name, parts)
        elif dataclasses.is_dataclass(held) and not isinstance(held, Mesh):
            for name, new in one_change_each(held):
                yield f"{field.name}.{name}", _with(value, field.name, new)
            continue
        new = altered(held)
        if new is not None:
            yield field.name, _with(value, field.name, new)


def _with(value, name, new):
    return dataclasses.replace(value, **{name: new})


def changes():
    """Yield (name, whole input) with one thing changed each."""
    parts, pairs, settings, frames = corner()
    for k, one in enumerate(parts):
        for name, new in one_change_each(one):
            yield (
                f"parts[{k}].{name}",
                ([*parts[:k], new, *parts[k + 1 :]], pairs, settings, frames),
            )
    for k, one in enumerate(pairs):
        for name, new in one_change_each(one):
            yield (
                f"pairs[{k}].{name}",
                (parts, [*pairs[:k], new, *pairs[k + 1 :]], settings, frames),
            )
    for name, new in one_change_each(settings):
        yield f"settings.{name}", (parts, pairs, new, frames)
    for key, one in frames.items():
        for name, new in one_change_each(one):
            yield f"frames[{key}].{name}", (parts, pairs, settings, {**frames, key: new})
        left = {name: frame for name, frame in frames.items() if name != key}
        yield f"without frames[{key}]", (parts, pairs, settings, left)


def told(work):
    """What a step gives: its result bit by bit, or what it refuses."""
    try:
        return bits(work())
    except ClearturnError as error:
        return type(error).__name__, str(error)


CHANGES = dict(changes())


@pytest.fixture(scope="module")
def before():
    steps = KeptSteps()
    steps.begin()
    judge_all(*corner(), steps=steps)
    return steps


def test_every_field_is_among_the_changes():
    names = " ".join(CHANGES)
    for of in (PlacedPart, PairSpec, VerdictSettings, AllowanceEntry, FrameUncertainty):
        missing = [f.name for f in dataclasses.fields(of) if f".{f.name}" not in names]
        # What is not given at all in this corner bears on no pair (cures alone look at it).
        assert set(missing) <= {"stud", "rotor", "caliper"}
    assert len(CHANGES) > 90


@pytest.mark.parametrize("name", CHANGES)
def test_pairs_kept_from_before_are_as_judged_anew_whatever_changed(name, before):
    given = CHANGES[name]
    assert told(lambda: judge_all(*given, steps=before)) == told(lambda: judge_all(*given))


@pytest.mark.parametrize(
    ("name", "again"),
    [
        ("parts[0].mesh", {"lug barrel", "lug caliper"}),
        ("parts[1].mesh", {"caliper barrel", "lug caliper"}),
        ("pairs[1].required_mm", {"caliper barrel"}),
        ("settings.allowances[1].value_mm", {"caliper barrel", "lug caliper"}),
        ("frames[lug].covariance", {"lug barrel", "lug caliper"}),
        ("settings.cures.trim_most_mm", set()),
        ("settings.seat_stack.old_flange_mm", set()),
    ],
)
def test_only_what_a_change_bears_on_is_judged_again(name, again, monkeypatch):
    steps, seen = KeptSteps(), []
    judge_all(*corner(), steps=steps)
    real = every.judge_one

    def counted(spec, *args):
        seen.append(f"{spec.first} {spec.second}")
        return real(spec, *args)

    monkeypatch.setattr(every, "judge_one", counted)
    judge_all(*corner(), steps=steps)
    assert seen == []
    assert name in CHANGES, sorted(CHANGES)
    judge_all(*CHANGES[name], steps=steps)
    assert set(seen) == again


def test_missing_part_is_refused_with_all_that_are_there():
    parts, _, settings, frames = corner()
    wrong = [PairSpec("lug", "nut", "x", "still", 1.0)]
    with pytest.raises(InputError, match="barrel, caliper, lug, rod"):
        judge_all(parts, wrong, settings, frames, steps=KeptSteps())


def test_gap_of_a_pair_does_not_hang_on_what_was_asked_before():
    # 80 equal lumps all round: what the search finds first among them is up to its way.
    angles = np.radians(np.arange(80) * 4.5)
    lumps = together([sphere((90 * math.sin(a), 90 * math.cos(a), 0), 3, 3) for a in angles])
    ring = tube(100, 110, -9, 9, 720)
    answers = []
    for asked_before in (False, True):
        pair = Pair(Mesh(lumps.vertices, lumps.faces), Mesh(ring.vertices, ring.faces), "second")
        if asked_before:
            meridian_image(pair.first, Z_AXIS, np.eye(4))
            meridian_image(pair.second, Z_AXIS, np.eye(4))
        answers.append(bits(pair.gap()))
    assert len(lumps.faces) > SMALL
    assert answers[0] == answers[1]


# --- a whole job -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def job_and_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("steps")
    return parse_job(json.dumps(made.write_corner(folder))).job, folder


def test_second_check_of_a_job_asks_the_engine_nothing(job_and_folder, monkeypatch):
    job, folder = job_and_folder
    steps = KeptSteps()
    first = check(job, folder=folder, steps=steps)
    monkeypatch.setattr(every, "judge_one", None)  # would fail if it were called
    again = check(dataclasses.replace(job, notes="another word"), folder=folder, steps=steps)
    assert bits(again.pairs) == bits(first.pairs)
    assert [one.mesh for one in again.parts] == [one.mesh for one in first.parts]
    assert again.job.notes == "another word"


def test_changed_file_is_refused_however_much_is_kept(job_and_folder):
    job, folder = job_and_folder
    steps = KeptSteps()
    check(job, folder=folder, steps=steps)
    file = folder / job.axles[0].corner.scans[0].path
    held = file.read_bytes()
    try:
        file.write_bytes(held + b"\0")
        with pytest.raises(InputError, match="changed"):
            check(job, folder=folder, steps=steps)
    finally:
        file.write_bytes(held)


class _Stopper:
    """Cancels when it was told something for the n-th time."""

    progress: Progress

    def __init__(self, left):
        self.left = left

    def __call__(self, _fraction, _text):
        self.left -= 1
        if self.left <= 0:
            self.progress.cancel()


def test_check_that_was_stopped_leaves_what_it_found(job_and_folder):
    job, folder = job_and_folder
    steps = KeptSteps()
    for stop in (3, 9, 20):
        stopper = _Stopper(stop)
        stopper.progress = progress = Progress(stopper)
        with pytest.raises(Cancelled):
            check(job, folder=folder, progress=progress, steps=steps)
    found = check(job, folder=folder, steps=steps)
    assert bits(found.pairs) == bits(check(job, folder=folder).pairs)


def corner_changes(job):
    """Yield (name, job with one thing of its corner changed) that a job file may hold."""
    (axle,) = job.axles
    for name, new in one_change_each(axle.corner):
        edited = _with(job, "axles", (_with(axle, "corner", new),))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of words that are none
            try:
                parse_job(job_json(edited))
            except ClearturnError:
                continue
        yield name, edited


@pytest.mark.slow
@pytest.mark.parametrize("share", range(2))
def test_kept_check_of_an_edited_job_is_that_of_a_fresh_one(share, job_and_folder):
    job, folder = job_and_folder
    every = dict(corner_changes(job))
    names = sorted(every)[share::20]
    assert len(names) >= 4
    steps = KeptSteps()
    check(job, folder=folder, steps=steps)
    for name in names:
        mine = told(lambda n=name: check(every[n], folder=folder, steps=steps))
        fresh = told(lambda n=name: check(every[n], folder=folder))
        assert mine == fresh, name
