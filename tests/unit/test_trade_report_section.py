"""The report's section of sums: what stands in it, and that it leaves the verdict alone."""

from __future__ import annotations

import importlib.util
import io
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from pypdf import PdfReader

from clearturn.job.file import load_job
from clearturn.report import result_json, write_report
from clearturn.report.blocks import Context, Figure, Head, Section, Table
from clearturn.report.pictures import Pictures
from clearturn.report.sections.sums import plot_files, sums
from clearturn.result import CheckResult
from clearturn.samples import demo_job_file
from clearturn.trade.sums import SUMS

HERE = Path(__file__).resolve().parent


@cache
def report_demo() -> CheckResult:
    if "report_cases" not in sys.modules:
        spec = importlib.util.spec_from_file_location("report_cases", HERE / "report_cases.py")
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["report_cases"] = module
        spec.loader.exec_module(module)
    found: CheckResult = sys.modules["report_cases"].demo()
    return found


def with_sums(**changes: object) -> CheckResult:
    result = report_demo()
    entered = {**load_job(demo_job_file()).sums, **changes}
    return replace(result, job=replace(result.job, sums=entered))


def section(result: CheckResult) -> Section | None:
    return sums(Context(result, Pictures(), 170.0, 250.0))


def test_job_without_sums_has_no_section() -> None:
    assert section(report_demo()) is None
    assert plot_files(report_demo()) == {}


def test_every_sum_has_its_heading_and_every_figure_its_file() -> None:
    result = with_sums()
    made = section(result)
    assert made is not None
    heads = [
        block
        for outer in made.blocks
        for block in getattr(outer, "blocks", (outer,))
        if isinstance(block, Head)
    ]
    assert len(heads) == len(SUMS)
    figures = [block for block in made.blocks if isinstance(block, Figure)]
    assert [figure.file for figure in figures] == list(plot_files(result))
    assert "do not replace" in getattr(made.blocks[0], "text", "")


def test_rows_fit_their_columns() -> None:
    made = section(with_sums())
    assert made is not None
    tables = [
        block
        for outer in made.blocks
        for block in getattr(outer, "blocks", (outer,))
        if isinstance(block, Table)
    ]
    assert tables
    for table in tables:
        assert all(len(row) == len(table.columns) for row in table.rows)


def test_failing_sum_leaves_the_verdict_and_the_result_file_alone() -> None:
    failing = with_sums(kit={"rim_code": 18, "ring_diameter_mm": 440.0})
    made = section(failing)
    assert made is not None
    assert failing.verdict is report_demo().verdict
    assert result_json(failing) == result_json(report_demo())


@pytest.mark.slow
def test_pages_hold_the_sums(tmp_path: Path) -> None:
    files = write_report(with_sums(), tmp_path)
    text = "".join(
        page.extract_text() for page in PdfReader(io.BytesIO(files.pdf.read_bytes())).pages
    )
    for word in ("Brake balance and pedal", "Run-out on the car", "Hole axes", "from memory"):
        assert word in text
    assert (tmp_path / "sum-heat-1.svg").exists()
