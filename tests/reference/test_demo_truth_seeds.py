"""The bookkeeping of the seed study: it can fail, and its seeds give scans of their own."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest
from scipy.stats import binom

PATH = Path(__file__).with_name("seed_study.py")
spec = importlib.util.spec_from_file_location("seed_study", PATH)
seed_study = importlib.util.module_from_spec(spec)
sys.modules["seed_study"] = seed_study
spec.loader.exec_module(seed_study)
Row = seed_study.Row


def rows(pair, misses, n=200, error=0.01, uncertainty=0.02):
    bad = [Row(s, pair, 5.5, 5.4, 5.5 + 2 * uncertainty, uncertainty) for s in range(misses)]
    return bad + [Row(s, pair, 5.5, 5.4, 5.5 + error, uncertainty) for s in range(n - misses)]


def all_pairs(misses, n=200):
    return [row for pair in seed_study.COUNTED for row in rows(pair, misses, n)]


def test_there_are_200_seeds_none_of_them_a_committed_file():
    assert len(set(seed_study.SEEDS)) == 200
    assert not set(seed_study.SEEDS) & set(seed_study.make_demo.SEED.values())


def test_the_bound_of_200_is_a_half_percent_quantile():
    # Binomial(200, 0.95), by its own distribution function
    assert binom.cdf(180, 200, 0.95) < 0.006
    assert binom.cdf(181, 200, 0.95) > 0.005


@pytest.mark.parametrize(("misses", "good"), [(0, True), (19, True), (20, False), (200, False)])
def test_nineteen_misses_pass_and_twenty_fail(misses, good):
    text, answer = seed_study.summary(all_pairs(misses))
    assert answer is good
    assert text.count("miss:") == misses * len(seed_study.COUNTED)


def test_a_pair_that_is_not_judged_fails_the_study():
    text, good = seed_study.summary(rows("caliper–barrel", 0))
    assert not good
    assert "not judged" in text
    assert not seed_study.summary([])[1]


def test_the_counted_pairs_have_true_gaps():
    true = seed_study.true_gaps()
    assert set(seed_study.COUNTED) <= set(true)
    assert set(seed_study.PAIRS.values()) <= set(true)


def test_a_seed_writes_both_scans_with_their_hashes(tmp_path):
    import hashlib

    hashes = seed_study.write_scans(seed_study.SEEDS[0], tmp_path)
    assert set(hashes) == {"knuckle_scan.stl", "wheel_scan.stl"}
    for name, value in hashes.items():
        data = (tmp_path / name).read_bytes()
        assert hashlib.sha256(data).hexdigest() == value
        assert data != (seed_study.SAMPLES / name).read_bytes()
