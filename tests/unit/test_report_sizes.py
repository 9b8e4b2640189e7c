"""Hand measurements of the scans on the report's pages and in its result file; numbers invented."""

from __future__ import annotations

import importlib.util
import io
import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jsonschema
import pypdf

from clearturn.report import result_json, write_report
from clearturn.report.content import to_do, verdict_sentence
from clearturn.result import ComparedSize, SizeCheck, Verdict

HERE = Path(__file__).parent
_spec = importlib.util.spec_from_file_location("report_cases", HERE / "report_cases.py")
cases: Any = importlib.util.module_from_spec(_spec)  # type: ignore[arg-type]
_spec.loader.exec_module(cases)  # type: ignore[union-attr]

GOOD = SizeCheck(
    "knuckle", "agrees", 1.00012, 0.00031, 232.0,
    (
        ComparedSize("spigot", "diameter", ("register",), "micrometer 50–75 mm", 69.99, 0.01,
                     69.98, 0.015, 0.0016),
        ComparedSize("height", "distance", ("spigot end", "back"), "depth gauge", 70.02, 0.04,
                     70.01, 0.02, 0.0016),
    ),
)  # fmt: skip
BAD = SizeCheck(
    "wheel", "off", 1.002, 0.0002, 230.0,
    (ComparedSize("rim", "diameter", ("rim",), "caliper", 432.0, 0.08, 431.138, 0.02, 0.0),),
)  # fmt: skip


def text_of(result: Any, folder: Path) -> str:
    files = write_report(result, folder, written_at=datetime(2025, 11, 24, 9, 30, tzinfo=UTC))
    pages = pypdf.PdfReader(io.BytesIO(files.pdf.read_bytes())).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def test_sizes_stand_under_the_datums_with_factor_and_what_it_does(tmp_path: Path) -> None:
    text = text_of(cases.demo(size_checks=(GOOD, BAD)), tmp_path)
    for said in (
        "Size of the scan knuckle",
        "diameter of register; micrometer 50–75 mm",
        "distance of spigot end and back; depth gauge",
        "69.990 ±0.010",
        "69.980 ±0.015",
        "−0.01",
        # 0.00012 and 0.00031 of 232 mm.
        "Factor 1.00012 ±0.00031: +0.03 ±0.07 mm at 232 mm from the scan’s middle.",
        "Size of the scan wheel",
        # 0.002 and 0.0002 of 230 mm.
        "Factor 1.00200 ±0.00020: +0.46 ±0.05 mm at 230 mm",
        "no gap to this scan holds",
        "Mend the scan wheel.",
    ):
        assert said in text
    assert text.index("least squares fits".capitalize()) < text.index("Size of the scan knuckle")


def test_report_says_that_nobody_measured(tmp_path: Path) -> None:
    assert "No size was measured by hand" in text_of(cases.demo(), tmp_path)


def test_wrong_size_is_named_in_the_verdict_of_a_corner_that_else_clears() -> None:
    result = replace(cases.clearing(), size_checks=(GOOD, BAD), verdict=Verdict.NOT_PROVEN)
    assert verdict_sentence(result) == (
        "Nothing fails, but not all is proven; to settle the size of the scan wheel: hand "
        "measurements differ."
    )
    assert to_do(result)[0][0] == "Mend the scan wheel."


def test_result_file_fits_the_schema_and_carries_every_number() -> None:
    schema = json.loads((HERE.parents[1] / "docs/schema/check.schema.json").read_text("utf-8"))
    found = result_json(cases.demo(size_checks=(GOOD, BAD)))
    jsonschema.Draft202012Validator(schema).validate(found)
    good, bad = found["size_checks"]
    assert (good["state"], bad["state"]) == ("agrees", "off")
    assert abs(bad["off_mm"] - 0.46) < 1e-9
    assert good["sizes"][1]["datums"] == ["spigot end", "back"]
    assert abs(good["sizes"][0]["difference_mm"] + 0.01) < 1e-9
