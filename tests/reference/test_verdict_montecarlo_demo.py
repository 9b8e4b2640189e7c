"""Monte Carlo on the demo corner: fast enough, and in step with the linear budget.

The budget is the independent method here: closed-form derivatives at one place (JCGM 100) against
trials on the exact engine (JCGM 101).
"""

from __future__ import annotations

import math
import time

import pytest

from clearturn.corner.assemble import assemble
from clearturn.job.file import load_job
from clearturn.samples import demo_job_file
from clearturn.verdict.montecarlo import TRIALS, Scatter, scatter_of

FEW = 1_000


@pytest.fixture(scope="module")
def demo() -> tuple[Scatter, float]:
    """The scatter of the demo, and the processor time of one trial."""
    path = demo_job_file()
    found = assemble(load_job(path).axles[0].corner, path.parent)

    def timed(trials: int) -> tuple[Scatter, float]:
        begin = time.process_time()
        scatter = scatter_of(
            found.placed.parts,
            found.pairs,
            found.settings,
            frames_uncertainty=found.placed.uncertainty,
            trials=trials,
        )
        return scatter, time.process_time() - begin

    timed(2)  # kernels and trees
    _, base = timed(2)
    scatter, all_of_them = timed(FEW)
    return scatter, (all_of_them - base) / FEW


@pytest.mark.slow
def test_ten_thousand_trials_of_the_demo_fit_into_a_minute_of_two_cores(
    demo: tuple[Scatter, float],
) -> None:
    _, seconds = demo
    assert TRIALS == 10_000
    # Processor time, since other work on the machine does not count; ten seconds are left for
    # judging the pairs once.
    assert TRIALS * seconds <= 2 * 50.0


@pytest.mark.slow
def test_scatter_agrees_with_the_linear_budget_where_it_should(
    demo: tuple[Scatter, float],
) -> None:
    scatter, _ = demo
    assert {(pair.first, pair.second) for pair in scatter.pairs} == {
        ("rotor", "caliper"),
        ("caliper", "spokes"),
    }
    for pair in scatter.pairs:
        # Four standard deviations of a standard deviation from so many trials, and a tenth for
        # places that compete.
        allowed = 4.0 / math.sqrt(2.0 * FEW) + 0.1
        assert pair.standard_mm == pytest.approx(pair.linear_standard_mm, rel=allowed)
    by_pair = {pair.second: pair for pair in scatter.pairs}
    # The planted fault: 1.9 mm net where 4 mm are asked; no trial reaches that.
    assert by_pair["spokes"].below_required == 1.0
    assert by_pair["caliper"].below_required < 0.01
    assert scatter.any_below == 1.0
