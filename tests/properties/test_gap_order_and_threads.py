"""The same answer whichever part is named first, and the same bits on one and two threads."""

from __future__ import annotations

import numpy as np
import pytest
from gap_shapes import bits, box, pose, sphere, together, tube

from clearturn.gap import Axis, State, still_gap, turning_gap
from clearturn.mesh import Mesh

AXIS = Axis.through((2.0, -3.0, 1.0), (0.1, 0.05, 1.0))
KINDS = ("apart", "touching", "interfering", "contained")
pytestmark = pytest.mark.slow
SEEDS = range(15)  # of every kind, so 60 pairs turning and 60 still, in each test


def pair_of(kind: str, seed: int) -> tuple[Mesh, Mesh, np.ndarray, np.ndarray]:
    """Two meshes and poses that stand to each other as `kind` says; still, and over a turn."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    size = rng.uniform(6, 14, 3)
    block = box(np.array([60, 0, 0]) - size / 2, np.array([60, 0, 0]) + size / 2)
    common = pose(rng.uniform(-1, 1, 3), rng.uniform(-20, 20, 3))
    shape = int(rng.integers(3))
    if kind == "apart":
        other = [
            sphere((60 + rng.uniform(24, 40), *rng.uniform(-5, 5, 2)), rng.uniform(4, 10), 3),
            box((75, -9, -9), (88, rng.uniform(2, 9), 12)),
            together([sphere((82, 3, k * 9), 3, 2) for k in range(-2, 3)]),
        ][shape]
        return block, other, pose(rng.uniform(-0.2, 0.2, 3)), np.eye(4)
    if kind == "touching":
        # Faces in one plane, shifted along it so that corners lie in the other's face.
        x = 60 + size[0] / 2
        other = box((x, -3 + rng.uniform(-1, 1), -2), (x + rng.uniform(3, 9), 2, 2))
        return block, other, common, common.copy()
    if kind == "interfering":
        other = [
            sphere((60 + size[0] / 2, 0, 0), rng.uniform(2, 5), 3),
            box((60 + size[0] / 2 - 1, -4, -4), (80, rng.uniform(2, 9), 12)),
            tube(60, 75, -3, 3, 90),
        ][shape]
        return block, other, pose(rng.uniform(-0.02, 0.02, 3)), np.eye(4)
    inner = sphere((60, *rng.uniform(-0.3, 0.3, 2)), rng.uniform(1, 2.5), 2)
    return inner, block, common, common.copy()


def gap_of(motion: str, first, second, p, q, *, swapped: bool = False):
    if motion == "still":
        return still_gap(first, second, pose_first=p, pose_second=q)
    # The turning one is always the same of the two, whatever its place.
    turns = "first" if swapped else "second"
    return turning_gap(first, second, turns=turns, axis=AXIS, pose_first=p, pose_second=q)


def fresh(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices, mesh.faces, mesh.name)


@pytest.mark.parametrize("motion", ["still", "turning"])
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_same_answer_up_to_sign_in_either_order(seed, kind, motion):
    a, b, p, q = pair_of(kind, seed)
    one = gap_of(motion, fresh(a), fresh(b), p, q)
    other = gap_of(motion, fresh(b), fresh(a), q, p, swapped=True)
    assert one.state is other.state
    # Poses are multiplied the other way round: what that rounds is 10⁻¹² mm of 100.
    width = 2e-6 if motion == "still" else 1e-3
    assert one.gap_mm.upper == pytest.approx(other.gap_mm.upper, abs=width)
    assert (one.gap_mm.lower is None) == (other.gap_mm.lower is None)
    deep = [-1e9 if g.gap_mm.lower is None else g.gap_mm.lower for g in (one, other)]
    assert deep[0] == pytest.approx(deep[1], abs=width)
    if one.gap_mm.lower is not None:
        assert one.gap_mm.lower <= other.gap_mm.upper
        assert other.gap_mm.lower <= one.gap_mm.upper
    assert [f.code for f in one.findings] == [f.code for f in other.findings]
    if one.state is State.APART:
        assert one.direction == pytest.approx(-other.direction, abs=1e-3) or one.gap_mm.upper < 0.1
    inside, outside = one.interference, other.interference
    assert (inside is None) == (outside is None)
    if inside is not None:
        assert inside.crossing == outside.crossing
        turned = {"first in second": "second in first", "second in first": "first in second"}
        assert turned.get(inside.contained, "none") == outside.contained
        assert (inside.freeing_direction is None) == (outside.freeing_direction is None)
        if inside.freeing_direction is not None:
            assert inside.freeing_direction == pytest.approx(-outside.freeing_direction, abs=1e-6)


@pytest.mark.parametrize("motion", ["still", "turning"])
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", SEEDS)
def test_same_bits_on_one_and_two_threads(seed, kind, motion, monkeypatch):
    a, b, p, q = pair_of(kind, seed)
    answers = []
    for count in ("1", "2"):
        monkeypatch.setenv("CLEARTURN_THREADS", count)
        answers.append(bits(gap_of(motion, fresh(a), fresh(b), p, q)))
    assert answers[0] == answers[1]


@pytest.mark.parametrize("motion", ["still", "turning"])
@pytest.mark.parametrize("kind", KINDS)
def test_pairs_stand_as_they_are_meant_to(kind, motion):
    # Else the tests above would look at less than they say.
    states = {
        "apart": {State.APART},
        "touching": {State.TOUCHING} | ({State.INTERFERING} if motion == "turning" else set()),
        "interfering": {State.INTERFERING},
        "contained": {State.INTERFERING},
    }[kind]
    for seed in SEEDS:
        assert gap_of(motion, *pair_of(kind, seed)).state in states, seed


@pytest.mark.parametrize("motion", ["still", "turning"])
def test_same_bits_on_two_threads_where_work_is_cut_up(motion, monkeypatch):
    # Above, most is done in one piece; here trees are sorted and searched in several.
    rng = np.random.default_rng(0)
    large = sphere((40, 0, 0), 30, 6)
    large = Mesh(large.vertices + rng.normal(0, 0.03, large.vertices.shape), large.faces)
    ball = sphere((86, 4, 2), 9, 6)
    answers = []
    for count in ("1", "2", "2"):
        monkeypatch.setenv("CLEARTURN_THREADS", count)
        answers.append(bits(gap_of(motion, fresh(ball), fresh(large), np.eye(4), np.eye(4))))
    assert answers[0] == answers[1] == answers[2]
