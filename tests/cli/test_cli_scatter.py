"""``clearturn scatter``: its answer, its exit codes, bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from clearturn.samples import demo_job_file
from clearturn.verdict.montecarlo import PairScatter, Scatter
from clearturn_app.cli.main import main
from clearturn_app.cli.scatter import exit_code

ROOT = Path(__file__).resolve().parents[2]


def scatter(*shares: float, any_below: float = 0.0, not_apart: tuple[str, ...] = ()) -> Scatter:
    import numpy as np

    pairs = tuple(
        PairScatter("a", "b", "k", np.zeros(1), 1.0, 0.1, 0.8, 1.2, share, 0.1, ())
        for share in shares
    )
    return Scatter(pairs, any_below, (), not_apart)


@pytest.mark.parametrize(
    ("found", "code"),
    [
        (scatter(), 0),
        (scatter(0.02, any_below=0.025), 0),
        (scatter(0.02, 0.02, any_below=0.04), 3),
        (scatter(0.5, any_below=0.5), 3),
        (scatter(0.98, any_below=0.98), 1),
        (scatter(not_apart=("a and b",)), 1),
    ],
)
def test_exit_code_follows_the_share_below(found: Scatter, code: int) -> None:
    assert exit_code(found) == code


@pytest.mark.slow
def test_demo_fits_its_schema_and_fails(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["scatter", str(demo_job_file()), "--trials", "40", "--json"])
    answer = json.loads(capsys.readouterr().out)
    schema = json.loads((ROOT / "docs/schema/scatter.schema.json").read_text(encoding="utf-8"))
    assert list(Draft202012Validator(schema).iter_errors(answer)) == []
    assert code == 1  # the planted spokes
    spokes = next(p for p in answer["axles"][0]["pairs"] if p["second"] == "spokes")
    assert spokes["below_required"] == 1.0
    assert sum(place["share"] for place in spokes["places"]) <= 1.0 + 1e-9


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (("nowhere.clearturn.json",), "nowhere.clearturn.json: there is no such file"),
        ((str(demo_job_file()), "--trials", "1"), "not from 10 to 1000000"),
        ((str(demo_job_file()), "--trials", "many"), "not a whole number"),
        ((str(demo_job_file()), "--seed", "-1"), "--seed"),
    ],
)
def test_bad_input_is_one_sentence(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], named: str
) -> None:
    assert main(["scatter", *words]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert named in err
