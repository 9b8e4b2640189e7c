"""A search that is asked to stop ends within its kernel, and what it had is never taken."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest
from gap_shapes import lathe

from clearturn.errors import Cancelled
from clearturn.gap import Z_AXIS, _kernels_still, _kernels_turning, still_gap, turning_gap
from clearturn.gap.meridian import meridian_image
from clearturn.gap.still import space_tree
from clearturn.mesh import Mesh
from clearturn.progress import Progress, stop_of


def rough_tube(inner, outer, seed) -> Mesh:
    """A finely meshed tube, all of whose walls nearly tie with a coaxial one's."""
    walls = [(inner, 0), (outer, 0), (outer, 40), (inner, 40)]
    profile = []
    for (r0, z0), (r1, z1) in zip(walls, walls[1:] + walls[:1], strict=True):
        profile += [(r0 + (r1 - r0) * k / 60, z0 + (z1 - z0) * k / 60) for k in range(60)]
    tube = lathe(profile, 400)
    step = np.random.default_rng(seed).normal(0, 0.02, tube.vertices.shape)
    return Mesh(tube.vertices + step, tube.faces)


INNER, OUTER = rough_tube(40, 50, 1), rough_tube(60, 70, 2)


def searched_in_space(stop, counts):
    a, b = space_tree(INNER), space_tree(OUTER)
    _kernels_still.search_space(
        a.vertices, a.faces, a.boxes, a.level_start, np.eye(3), np.zeros(3), True,
        a.levels - 1, 0, b.vertices, b.faces, b.boxes, b.level_start,
        30.0, 1e-6, 1e-10, np.zeros(6), np.zeros(2, np.int64), counts, stop,
    )  # fmt: skip


def searched_in_the_half_plane(stop, counts):
    a, b = meridian_image(INNER, Z_AXIS), meridian_image(OUTER, Z_AXIS)
    _kernels_turning.search(
        a.xyz, a.faces, a.boxes, a.level_start, len(a.level_start) - 2, 0,
        b.xyz, b.faces, b.boxes, b.level_start,
        30.0, 1e-3, 1e-10, np.zeros(6), np.zeros(2, np.int64), counts, stop,
    )  # fmt: skip


@pytest.mark.parametrize("searched", [searched_in_space, searched_in_the_half_plane])
def test_search_ends_soon_after_it_is_told_to_stop(searched):
    progress, counts = Progress(), np.zeros(2, np.int64)
    searched(stop_of(None), counts)
    whole = counts[0]
    counts[:] = 0
    searched(progress.part(0.2, 0.4).stop, counts)
    assert counts[0] == whole > 1000
    counts[:] = 0

    def stop_when_under_way():
        while counts[0] == 0:
            time.sleep(0)
        progress.cancel()

    other = threading.Thread(target=stop_when_under_way)
    other.start()
    searched(progress.part(0.2, 0.4).stop, counts)
    other.join()
    assert 0 < counts[0] < whole
    counts[:] = 0
    searched(progress.silent().stop, counts)
    assert counts[0] == 1


@pytest.mark.parametrize("gap", [still_gap, turning_gap])
@pytest.mark.parametrize("silent", [False, True])
def test_answer_of_a_search_that_was_stopped_is_never_given(gap, silent, monkeypatch):
    module = _kernels_still if gap is still_gap else _kernels_turning
    name = "search_space" if gap is still_gap else "search"
    search, calls = getattr(module, name), []
    progress = Progress()

    def stopped_by_another_thread(*given):
        calls.append(given[-1])
        # In the last search of all, after which no piece is begun.
        if len(calls) == last:
            progress.cancel()
        return search(*given)

    last = 0
    monkeypatch.setattr(module, name, stopped_by_another_thread)
    monkeypatch.setenv("CLEARTURN_THREADS", "1")
    near = Mesh(OUTER.vertices + np.array([5.0, 0, 0]), OUTER.faces)
    assert gap(INNER, near).gap_mm.lower > 0
    last, calls = len(calls), []
    with pytest.raises(Cancelled):
        gap(INNER, near, progress=progress.silent() if silent else progress)
    assert len(calls) == last
    assert all(flag[0] for flag in calls)


def test_flag_is_set_only_once_the_task_counts_as_cancelled():
    progress = Progress()
    child = progress.part(0, 0.5).silent()
    assert not child.stop[0]
    progress.cancel()
    assert child.stop[0]
    assert child.cancelled
    assert not stop_of(None)[0]


def test_piece_of_work_is_cancelled_by_itself_or_with_the_whole():
    whole = Progress()
    one, other = whole.part(0, 0.5).within(), whole.within()
    one.cancel()
    assert one.silent().stop[0]
    assert not whole.stop[0]
    assert not other.cancelled
    whole.cancel()
    assert other.part(0, 1).stop[0]
    assert other.cancelled
    assert whole.within().cancelled
