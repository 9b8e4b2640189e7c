"""Proposals on invented knuckles and wheels whose generator and seeds were fixed beforehand.

Some of the seeds; `proposals_study.py` runs all of them, docs/methods/proposals.md has its table.
The truth is the generator's own numbers; what counts as a hit stands in the study.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))
import generated_corners as made
import proposals_study as study

# 5004: a short stepped register; 5020: bolt holes that open into the hub's neck; 6001: 60° unseen.
KNUCKLES = (5004, 5013, 5020)
WHEELS = (6001, 6015)


@pytest.mark.slow
@pytest.mark.parametrize("seed", KNUCKLES)
def test_knuckle_is_proposed_as_it_was_made(seed: int) -> None:
    assert seed in made.KNUCKLE_SEEDS
    found = study.study("knuckle", (seed,), say=False)[seed]
    assert [(one.feature, one.note) for one in found if one.word != "right"] == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", WHEELS)
def test_wheel_is_proposed_as_it_was_made(seed: int) -> None:
    assert seed in made.WHEEL_SEEDS
    found = study.study("wheel", (seed,), say=False)[seed]
    assert [(one.feature, one.note) for one in found if one.word != "right"] == []


@pytest.mark.slow
def test_what_is_wrong_on_a_half_scanned_knuckle_is_not_called_sure() -> None:
    found = study.study("outboard", (5013,), say=False)[5013]
    assert any(one.word == "right" for one in found)
    assert all((one.confidence or 0.0) < 0.8 for one in found if one.word == "wrong")
