"""result.json and gaps.csv."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
import math
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import jsonschema
import pytest

from clearturn.report import gaps_csv, result_json

HERE = Path(__file__).parent
SCHEMA = json.loads((HERE.parents[1] / "docs/schema/check.schema.json").read_text())


def load_cases() -> ModuleType:
    if "report_cases" not in sys.modules:
        spec = importlib.util.spec_from_file_location("report_cases", HERE / "report_cases.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["report_cases"] = module
        spec.loader.exec_module(module)
    return sys.modules["report_cases"]


cases = load_cases()
NUMBERS = (
    "noise_bias_mm",
    "estimate_mm",
    "allowances_mm",
    "net_gap_mm",
    "expanded_uncertainty_mm",
    "required_mm",
    "margin_mm",
    "clock_deg",
    "r_mm",
    "z_mm",
)
CASES = ("demo", "clearing", "empty", "many", "unknowns")


def _strict(result: Any) -> Any:
    text = json.dumps(result_json(result), allow_nan=False)
    return json.loads(text)


@pytest.mark.parametrize("name", CASES)
def test_result_holds_to_the_schema(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(_strict(getattr(cases, name)()), SCHEMA, jsonschema.Draft202012Validator)


def test_schema_refuses_what_the_contract_does_not_name() -> None:
    good = _strict(cases.demo())
    for spoil in (
        lambda r: r | {"more": 1},
        lambda r: r | {"verdict": "ok"},
        lambda r: {k: v for k, v in r.items() if k != "hub"},
        lambda r: r | {"pairs": [r["pairs"][0] | {"motion": "posed"}]},
    ):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(spoil(good), SCHEMA)


def test_margin_is_net_less_uncertainty_less_required() -> None:
    for pair in _strict(cases.demo())["pairs"]:
        assert pair["net_gap_mm"] == pytest.approx(pair["estimate_mm"] - pair["allowances_mm"])
        margin = pair["net_gap_mm"] - pair["expanded_uncertainty_mm"] - pair["required_mm"]
        assert pair["margin_mm"] == pytest.approx(margin)


def test_unknown_numbers_are_null_and_a_finding_names_them() -> None:
    found = _strict(cases.unknowns())
    pair = found["pairs"][0]
    assert pair["gap_mm"] == {"lower": None, "upper": 0.0}
    assert pair["margin_mm"] is None
    assert pair["noise_bias_mm"] is None
    texts = [f["text"] for f in found["findings"] if f["code"] == "unknown-number"]
    assert len(texts) == 1
    assert "pairs[0].margin_mm" in texts[0]
    assert "pairs[0].gap_mm.lower" in texts[0]


def test_hub_diameter_without_machining_raises_no_doubt() -> None:
    codes = [f["code"] for f in _strict(cases.demo())["findings"]]
    assert codes == ["open-edges", "posed-part", "short-arc"]  # each once


def test_csv_rows_agree_with_json() -> None:
    result = cases.demo()
    rows = list(csv.DictReader(io.StringIO(gaps_csv(result).decode())))
    pairs = _strict(result)["pairs"]
    assert [int(row["item"]) for row in rows] == list(range(1, len(pairs) + 1))
    for row, pair in zip(rows, pairs, strict=True):
        assert float(row["gap_lower_mm"]) == pair["gap_mm"]["lower"]
        assert float(row["gap_upper_mm"]) == pair["gap_mm"]["upper"]
        for key in ("first", "second", "motion", "verdict"):
            assert row[key] == pair[key]
        for key in NUMBERS:
            assert float(row[key]) == pair[key]


def test_csv_leaves_unknowns_blank_and_survives_any_name() -> None:
    rows = list(csv.DictReader(io.StringIO(gaps_csv(cases.unknowns()).decode(), newline="")))
    assert rows[0]["margin_mm"] == ""
    assert rows[0]["gap_lower_mm"] == ""
    rows = list(csv.DictReader(io.StringIO(gaps_csv(cases.many()).decode(), newline="")))
    assert [row["first"].removeprefix("'") for row in rows] == list(cases.FOREIGN_NAMES)


def test_csv_keeps_a_spreadsheet_from_running_a_name() -> None:
    text = gaps_csv(cases.many()).decode()
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    for cell in cells:
        if cell[:1] in ("=", "+", "@"):
            pytest.fail(f"a formula: {cell}")
        if cell[:1] == "-":
            float(cell)  # a number, not a name
    assert '\'=HYPERLINK("x")' in cells


def test_empty_job_gives_empty_lists() -> None:
    found = _strict(cases.empty())
    assert (found["pairs"], found["hub"], found["verdict"]) == ([], [], "not proven")
    assert gaps_csv(cases.empty()).decode().count("\r\n") == 1


def test_json_holds_plain_numbers_only() -> None:
    def walk(value: Any) -> None:
        if isinstance(value, dict):
            for item in value.values():
                walk(item)
        elif isinstance(value, list):
            for item in value:
                walk(item)
        else:
            assert value is None or type(value) in (str, bool, int, float)
            assert not isinstance(value, float) or math.isfinite(value)

    walk(result_json(cases.demo()))
    walk(result_json(cases.unknowns()))
