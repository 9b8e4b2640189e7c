"""What flange and spacer leave of the wheel's thread and register."""

from __future__ import annotations

import math

from clearturn.findings import Finding
from clearturn.job import model

NOT_CHECKED = "thread left for the wheel nuts, register left for the wheel: no studs in the job"


def stack_findings(corner: model.Corner) -> tuple[Finding, ...]:
    """Return what is too short with the stack as the job has it.

    Parameters
    ----------
    corner : Corner
        One without stack or studs has no findings; see `stack_not_checked`.
    """
    stud, stack = corner.stud, corner.seat_stack
    if stud is None or stack is None:
        return ()
    found = []
    thread, register = stud.engagement_mm(stack.pad_z_mm), stud.register_mm(stack.pad_z_mm)
    if _short(thread, stud.needed_engagement_mm):
        found.append(
            Finding(
                "thread-short",
                "error",
                f"{_left(thread)} of {stud.thread} thread is left for the wheel nut with the "
                f"pad {stack.pad_z_mm:g} mm over the hub face, {stud.needed_engagement_mm:g} mm is "
                "needed: longer studs",
            )
        )
    if _short(register, stud.needed_register_mm):
        found.append(
            Finding(
                "register-short",
                "warning",
                f"{_left(register)} of register is left to centre the wheel with its pad "
                f"{stack.pad_z_mm:g} mm over the hub face, {stud.needed_register_mm:g} mm is "
                "needed: a spacer that centres both",
            )
        )
    return tuple(found)


def stack_not_checked(corner: model.Corner) -> tuple[str, ...]:
    """Return a sentence if a wheel sits on a stack whose studs the job does not name."""
    return (NOT_CHECKED,) if corner.seat_stack is not None and corner.stud is None else ()


def _short(left_mm: float, needed_mm: float) -> bool:
    return left_mm < needed_mm - 1e-9


def _left(mm: float) -> str:
    # Rounded down: 13.96 mm is not 14.
    return f"{max(math.floor(mm * 10.0 + 1e-6) / 10.0, 0.0):.1f} mm"
