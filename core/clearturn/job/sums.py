"""The sums of a job, checked against the dimensions of its corner."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from clearturn.errors import InputError
from clearturn.job.model import Axle, Job
from clearturn.trade.bracket import Bracket
from clearturn.trade.inputs import SumProblem, shown
from clearturn.trade.readings import COLUMNS, MOST_BYTES, readings_table
from clearturn.trade.sums import SumsResult, compute_sums, read_sum


def job_sums(job: Job, folder: str | Path | None = None) -> SumsResult:
    """Return every sum of a job.

    The sums are those of the job's first axle: its rotor and caliper must agree with them.

    Parameters
    ----------
    folder : path, optional
        Folder that the job's paths are relative to; without one a file of readings stays unread,
        and the sum says so.

    Raises
    ------
    SumProblem
        If a sum makes no sense; `load_job` has refused that already.
    InputError
        If a file of readings cannot be used.
    """
    axle = first_axle(job)
    corner = axle.corner if axle else None
    sums = job.sums if folder is None else with_readings(job.sums, Path(folder))
    return compute_sums(sums, corner.rotor if corner else None, corner.caliper if corner else None)


def with_readings(sums: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """Return the sums with the readings of their csv file in place.

    Raises
    ------
    InputError
        If the file cannot be read, makes no sense, or holds what the job holds too.
    """
    content = sums.get("run_out")
    name = content.get("readings_csv") if isinstance(content, dict) else None
    if not isinstance(content, dict) or not isinstance(name, str) or not name:
        return dict(sums)
    found = read_readings(folder / name, name)
    for column in found:
        if content.get(column):
            raise SumProblem(
                "these readings stand in the job too", "sums", "run_out", column,
                found=f"a column {column} in {name}", mend="keep one of them",
            )  # fmt: skip
    return {**sums, "run_out": {**content, **{key: list(found[key]) for key in found}}}


def with_readings_file(
    job: Job, folder: str | Path, name: str, numbers: Mapping[str, float]
) -> Job:
    """Return a job whose run-out is that of a file of readings, in place of those it held.

    Parameters
    ----------
    name : str
        Path of the csv file, relative to `folder`, that of the job file.
    numbers : mapping of str to float
        Other inputs of the sum, by key.

    Raises
    ------
    InputError
        If the file cannot be read, or makes no sense with the numbers.
    """
    held = job.sums.get("run_out")
    rest = {k: v for k, v in held.items() if k not in COLUMNS} if isinstance(held, dict) else {}
    content = {**rest, **numbers, "readings_csv": name}
    read_sum("run_out", with_readings({"run_out": content}, Path(folder))["run_out"])
    return replace(job, sums={**job.sums, "run_out": content})


def read_readings(path: Path, name: str | None = None) -> dict[str, tuple[float, ...]]:
    """Return the readings of a csv file by column; `name` is what errors call it.

    Raises
    ------
    InputError
        If it cannot be read or makes no sense, with its line and column.
    """
    named = name or str(path)
    if name is not None and path.exists() and not path.is_file():
        # A pipe would wait for a writer for ever; what the user names himself may be one.
        raise InputError("the readings are not in a file", file=named, mend="name a csv file")
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise InputError(
                "too long for a file of readings", file=named, allowed=f"{MOST_BYTES:,} bytes"
            )
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("not a text file", file=named, allowed="csv in UTF-8") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"the readings cannot be read: {reason}", file=named,
            mend="its path is relative to the job file" if name else None,
        ) from None  # fmt: skip
    return readings_of(text, named)


def readings_of(text: str, named: str) -> dict[str, tuple[float, ...]]:
    """Return the readings of a csv text by column; `named` is what errors call it.

    Raises
    ------
    InputError
        If it makes no sense, with its line and column.
    """
    try:
        return readings_table(text)
    except SumProblem as problem:
        raise InputError(
            problem.problem, file=named, place=", ".join(shown((step,)) for step in problem.path),
            found=problem.found, allowed=problem.allowed, mend=problem.mend,
        ) from None  # fmt: skip


def first_axle(job: Job) -> Axle | None:
    """Return the axle the sums belong to."""
    return job.axles[0] if job.axles else None


def job_bracket(job: Job) -> Bracket | None:
    """Return the bracket of a job's sums, or None if it has none."""
    if "bracket" not in job.sums:
        return None
    bracket: Bracket = read_sum("bracket", job.sums["bracket"])
    return bracket
