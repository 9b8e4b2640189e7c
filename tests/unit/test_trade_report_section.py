"""The report's section of sums: what stands in it, and that it leaves the verdict alone."""

from __future__ import annotations

import importlib.util
import io
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import trimesh
from pypdf import PdfReader

from clearturn.drawing import Line
from clearturn.drawing.bracket_plan import bracket_figure
from clearturn.job.file import load_job
from clearturn.job.sums import job_bracket, job_sums
from clearturn.report import result_json, write_report
from clearturn.report.blocks import Context, Figure, Head, Section, Table, Text
from clearturn.report.pictures import Pictures
from clearturn.report.sections.sums import figure_files, sums
from clearturn.report.workshop import workshop_files
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
    assert figure_files(report_demo()) == {}


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
    assert {figure.file for figure in figures} == set(figure_files(result))
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
    for word in ("bracket.dxf", "dummy.stl", "caliper 1"):
        assert word in text
    assert (tmp_path / "sum-heat-1.svg").exists()
    assert {path.name for path in files.workshop} == {"bracket.dxf", "bracket.svg", "dummy.stl"}
    # Holes of Ø 14.5 at their places (lugs 139.43 apart: 2 · 128 · sin 33°), read back.
    lines = ezdxf.readfile(tmp_path / "bracket.dxf").modelspace().query("LWPOLYLINE")
    middles = [np.mean([p[:2] for p in line.get_points()], axis=0) for line in lines]
    for place in ((-69.715, 0.0), (69.715, 0.0)):
        assert min(np.hypot(*(m - place)) for m in middles) < 1e-2


def test_dummy_of_the_demo_is_plate_and_caliper_each_closed() -> None:
    files = workshop_files(load_job(demo_job_file()))
    dummy = trimesh.load(io.BytesIO(files["dummy.stl"]), file_type="stl")
    bodies = dummy.split(only_watertight=True)
    # As thick as the plate, 24 mm, and as wide as the caliper (the job's dimensions).
    heights = [float(np.ptp(body.vertices[:, 2])) for body in bodies]
    caliper = load_job(demo_job_file()).axles[0].corner.caliper
    assert caliper is not None
    wide = caliper.outboard_width_mm + caliper.inboard_width_mm
    assert len(bodies) == 2 + len(caliper.boxes)
    for wanted in (24.0, wide):
        assert min(abs(height - wanted) for height in heights) < 1e-3
    assert workshop_files(replace(load_job(demo_job_file()), sums={})) == {}


def test_result_of_a_check_with_readings_in_a_csv_shows_them(tmp_path: Path) -> None:
    (tmp_path / "r.csv").write_text("rotor_mm\n0\n0.01\n0.035\n0\n", encoding="utf-8")
    without = with_sums(run_out={"stud_count": 5, "readings_csv": "r.csv"})
    assert without.sums is None
    checked = replace(without, sums=job_sums(without.job, tmp_path))
    assert "sum-run-out-1.svg" in figure_files(checked)
    assert "sum-run-out-1.svg" not in figure_files(without)
    made = section(checked)
    assert made is not None
    told = [block.text for block in made.blocks if isinstance(block, Text)]
    assert any("r.csv" in text for text in told)


@pytest.mark.parametrize("direction", ["axial", "radial"])
def test_bracket_figure_keeps_its_holes_in_place_and_on_the_paper(direction: str) -> None:
    bracket = job_bracket(load_job(demo_job_file()))
    assert bracket is not None
    bracket = replace(bracket, caliper=replace(bracket.caliper, direction=direction))
    drawing = bracket_figure(bracket, 170.0, 90.0)
    # 210 mm into 170 less two edges of 7; the height would need 95 in 76.
    assert drawing.scale == pytest.approx(min(156.0 / 210.0, 76.0 / 95.0))
    lines = [mark for mark in drawing.marks if isinstance(mark, Line)]
    for line in lines:
        for x, y in line.points:
            assert 0 <= x <= drawing.bounds[2]
            assert 0 <= y <= drawing.bounds[3]
    middles = [np.mean([drawing.to_part(*p) for p in line.points], axis=0) for line in lines]
    assert min(np.hypot(*(m - (-69.715, 0.0))) for m in middles) < 1e-2
