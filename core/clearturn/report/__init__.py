"""What the report says, its pages, and the files beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clearturn.lazily import lazily

if TYPE_CHECKING:
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

__getattr__ = lazily(
    __name__,
    {
        "blocks": (
            "Context",
            "Section",
            "SectionMaker",
        ),
        "exchange": (
            "gaps_csv",
            "result_json",
        ),
        "pictures": (
            "Picture",
            "PictureMaker",
            "Pictures",
        ),
        "write": (
            "ReportFiles",
            "write_report",
        ),
    },
)
