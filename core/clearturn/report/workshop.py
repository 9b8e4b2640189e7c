"""What the workshop takes from a job's sums: the bracket's plan and a dummy to print."""

from __future__ import annotations

from clearturn.job.model import Job

PLAN_DXF = "bracket.dxf"
PLAN_SVG = "bracket.svg"
DUMMY_STL = "dummy.stl"


def workshop_files(job: Job) -> dict[str, bytes]:
    """Return the files of a job's bracket by name; none if its sums hold no bracket.

    The dummy is bracket plate and caliper envelope, hub frame, to print and try on before metal
    is cut.
    """
    from clearturn.drawing import to_dxf, to_svg
    from clearturn.drawing.bracket_plan import bracket_plan
    from clearturn.job.sums import first_axle, job_bracket
    from clearturn.trade.dummy import dummy_mesh, stl_bytes

    bracket = job_bracket(job)
    if bracket is None:
        return {}
    plan = bracket_plan(bracket, words=job.name)
    axle = first_axle(job)
    caliper = axle.corner.caliper if axle else None
    mesh = dummy_mesh(bracket, caliper, bracket.ring_mid_z_mm)
    return {
        PLAN_DXF: to_dxf(plan).encode(),
        PLAN_SVG: to_svg(plan).encode(),
        DUMMY_STL: stl_bytes([mesh]),
    }
