"""What the report says, its pages, and the files beside it."""

from __future__ import annotations

from clearturn.report.blocks import Context, Section, SectionMaker
from clearturn.report.exchange import gaps_csv, result_json
from clearturn.report.pictures import Picture, PictureMaker, Pictures
from clearturn.report.write import ReportFiles, write_report

__all__ = [
    "Context",
    "Picture",
    "PictureMaker",
    "Pictures",
    "ReportFiles",
    "Section",
    "SectionMaker",
    "gaps_csv",
    "result_json",
    "write_report",
]
