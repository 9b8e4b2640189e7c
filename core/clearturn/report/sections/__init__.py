"""The report's sections, in the order they stand on the pages.

A new section is a function ``Context -> Section | None`` in a file of its own and its place in
`SECTIONS`; the template needs no change as long as the section is made of the blocks there are.
"""

from __future__ import annotations

from clearturn.report.blocks import SectionMaker
from clearturn.report.sections.access import access
from clearturn.report.sections.before_driving import before_driving
from clearturn.report.sections.cautions import cautions, signatures
from clearturn.report.sections.declared import declared
from clearturn.report.sections.gaps import gap_list
from clearturn.report.sections.hub import hub_diameters
from clearturn.report.sections.limits import limits
from clearturn.report.sections.pairs import pair_sheets
from clearturn.report.sections.section_figure import turn_section
from clearturn.report.sections.sources import datums, files_and_parts, findings, not_checked
from clearturn.report.sections.sums import sums
from clearturn.report.sections.uncertainty import allowances, uncertainty

SECTIONS: tuple[SectionMaker, ...] = (
    gap_list,
    hub_diameters,
    turn_section,
    pair_sheets,
    limits,
    access,
    allowances,
    uncertainty,
    sums,
    declared,
    files_and_parts,
    datums,
    findings,
    not_checked,
    before_driving,
    cautions,
    signatures,
)
