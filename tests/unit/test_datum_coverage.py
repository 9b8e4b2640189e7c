"""The stated 95 % interval holds the truth in about 95 % of simulated scans.

The noise is a moving average over a disc with white noise on top: its correlation (nearly linear
in distance, zero beyond the disc) is neither of the two the estimator knows.  The full run of
2 000 scans a case is `python tests/benchmarks/coverage_datum.py`; here fewer, with the bounds a
binomial count of them may reach.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))
from coverage_datum import CASES, Case, simulate

SCANS = 80
# Each interval covers with 93 to 97 %; the count leaves these bounds once in 10 000 tests.
LEAST = int(binom.ppf(5e-5, SCANS, 0.93))
MOST = int(binom.ppf(1 - 5e-5, SCANS, 0.97))


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_stated_interval_covers_and_the_naive_one_does_not(case: Case) -> None:
    counts = simulate(case, SCANS)
    for name, count in counts.items():
        assert LEAST <= count.stated <= MOST, (name, count)
        # σ/√N of all points: far below, so that a return to it cannot pass.
        assert count.naive < 0.75 * SCANS, (name, count)
    assert LEAST > 0.75 * SCANS
