"""Job files: read with every fault named at its place, written so that nothing is ever lost.

The classes of `clearturn.job.model` are the file's schema; pydantic reads JSON straight into them.
"""

from __future__ import annotations

import contextlib
import difflib
import hashlib
import json
import os
import re
import stat
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from clearturn.errors import JobProblem
from clearturn.job import model
from clearturn.job.fault import Fault
from clearturn.job.limits import MOST_VALUES, too_many_values
from clearturn.job.model import FORMAT, VERSION, Job
from clearturn.job.positions import JsonPath, Positions, shown, tokens
from clearturn.job.rules import faults

SUFFIX = ".clearturn.json"
_MOST_BYTES = 16 * 1024 * 1024  # a job names files, it does not hold them

# Lengths that may be negative: places and shifts, not sizes.
_SIGNED = frozenset(
    {
        "value_mm",
        "z_from_mm",
        "z_to_mm",
        "hat_offset_mm",
        "seeds_mm",
        "seed_mm",
        "from_mm",
        "to_mm",
        "point_mm",
    }
    | {"z_mm", "at_mm", "clearance_from_mm", "clearance_to_mm"}
)

_ADAPTER: TypeAdapter[Job] = TypeAdapter(Job)


@dataclass(frozen=True, slots=True)
class JobText:
    """A job with the text it came from, so that later faults can name their line too."""

    job: Job
    file: str
    positions: Positions

    def problem(self, fault: Fault) -> JobProblem:
        """Return a fault as the error to raise, with file, place and line."""
        return as_problem(fault, file=self.file, positions=self.positions)


def load_job(path: str | Path) -> Job:
    """Read a job file.

    Scan files are not opened; see `clearturn.job.scans`.

    Raises
    ------
    JobProblem
        If the file cannot be read, is no job, or its content does not make sense.
    """
    return load_job_text(path).job


def load_job_text(path: str | Path) -> JobText:
    """Read a job file and keep the lines of its keys.

    Raises
    ------
    JobProblem
        As `load_job`.
    """
    return parse_job(_read(Path(path)), file=str(path))


def parse_job(text: str, *, file: str = "") -> JobText:
    """Read a job from text; `file` is what errors call it.

    Raises
    ------
    JobProblem
        If the text is no job or its content does not make sense.
    """
    raw = _parse_json(text, file)
    if too_many_values(raw):
        raise JobProblem(
            "too much for a job file", file=file, allowed=f"at most {MOST_VALUES:,} values"
        )
    positions = Positions(text)
    for path in positions.repeated:
        raise as_problem(Fault(path, "this key stands twice"), file=file, positions=positions)
    for fault in _raw_faults(raw):
        raise as_problem(fault, file=file, positions=positions)
    try:
        job = _ADAPTER.validate_json(text)
    except ValidationError as error:
        fault = _reworded(error.errors(include_url=False)[0], raw)
        raise as_problem(fault, file=file, positions=positions) from None
    for fault in faults(job):
        raise as_problem(fault, file=file, positions=positions)
    return JobText(job, file, positions)


def as_problem(
    fault: Fault, *, file: str | Path | None = None, positions: Positions | None = None
) -> JobProblem:
    """Return a fault as the error to raise."""
    place = shown(fault.path)
    line = positions.line(fault.path) if positions is not None else None
    if line is not None:
        place = f"line {line}, {place}" if place else f"line {line}"
    return JobProblem(
        fault.problem,
        file=str(file) if file else None,
        place=place or None,
        found=fault.found,
        allowed=fault.allowed,
        mend=fault.mend,
    )


def check_job(job: Job) -> None:
    """Raise `JobProblem` for the first thing wrong with a job that was made in memory."""
    for fault in faults(job):
        raise as_problem(fault)


def job_json(job: Job) -> str:
    """Return the text of a job file; keys that are null are left out."""
    plain = _ADAPTER.dump_python(job, mode="json", exclude_none=True)
    return json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def job_sha256(job: Job) -> str:
    """Return the job's hash: SHA-256 of its content in one fixed form.

    Layout of the file, order of keys and defaults written or left out do not change it.
    """
    plain = _ADAPTER.dump_python(job, mode="json")
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the job file, with a title and the dialect."""
    schema = _ADAPTER.json_schema()
    described = _described(schema)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **described,
        "title": "Clearturn job",
    }


def save_job(job: Job, path: str | Path) -> None:
    """Write a job file: complete or not at all.

    The text goes to a temporary file in the same folder, to the disk, and takes the old file's
    name in one step; the old file's permissions are kept, and a link stays a link.

    Raises
    ------
    JobProblem
        If the job has a fault or the file cannot be written.
    """
    check_job(job)
    target = Path(path)
    try:
        target = target.resolve() if target.is_symlink() else target
        _replace(target, job_json(job).encode())
    except (OSError, ValueError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobProblem(f"the job cannot be saved: {reason}", file=path) from None


def _replace(target: Path, data: bytes) -> None:
    try:
        mode = stat.S_IMODE(target.stat().st_mode)
        if not target.is_file():
            raise ValueError("there is something else of this name")
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        mode = 0o666 & ~mask
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:60]}.", suffix="~")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(mode)
        temporary.replace(target)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    with contextlib.suppress(OSError, AttributeError):  # not every system opens a folder
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _read(path: Path) -> str:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise JobProblem("not a file", file=path, allowed=f"a job file (*{SUFFIX})")
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        raise JobProblem("there is no such file", file=path) from None
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise JobProblem(f"cannot be read: {reason}", file=path) from None
    if len(data) > _MOST_BYTES:
        raise JobProblem("too long for a job file", file=path, allowed="at most 16 MB")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise JobProblem("not a text file", file=path, allowed="JSON in UTF-8") from None


def _parse_json(text: str, file: str) -> Any:
    try:
        return json.loads(text, parse_constant=lambda name: _no_constant(name, text))
    except json.JSONDecodeError as error:
        raise JobProblem(
            f"not valid JSON: {error.msg}",
            file=file,
            place=f"line {error.lineno}",
            mend=_json_mend(text, error.lineno),
        ) from None
    except RecursionError:
        raise JobProblem("not a job file: nested too deeply", file=file) from None
    except ValueError as error:  # a number of thousands of digits
        raise JobProblem(f"not valid JSON: {error}", file=file) from None


def _json_mend(text: str, line: int) -> str | None:
    """Return what to do where the line has what comes with a copied sample."""
    # The reader may stop on the line after the comment.
    near = text.split("\n")[max(line - 2, 0) : line]
    if any(re.search(r"(?:^|\s)(?://|/\*)", each) for each in near):
        return "JSON has no comments: take out // and what follows it"
    return None


def _no_constant(name: str, text: str) -> None:
    # Python's reader takes the word and does not say where it stood.
    at = next((start for token, start in tokens(text) if token.startswith(name)), 0)
    raise json.JSONDecodeError(f"{name} is not a number a job can use", text, at)


def _raw_faults(raw: Any) -> Iterator[Fault]:
    # What a user is told first, before types: is it a job at all, and one we can read?
    if not isinstance(raw, dict) or raw.get("format") != FORMAT:
        found = _shown_value(raw.get("format") if isinstance(raw, dict) else raw)
        yield Fault(
            ("format",) if isinstance(raw, dict) and "format" in raw else (),
            "not a job file",
            found=f"format {found}" if isinstance(raw, dict) else found,
            allowed=f'an object with "format": "{FORMAT}"',
        )
        return
    version = raw.get("version")
    if isinstance(version, int) and not isinstance(version, bool) and version > VERSION:
        yield Fault(
            ("version",),
            "written by a newer program",
            found=_shown_value(version),
            allowed=str(VERSION),
            mend="update this program",
        )
    elif version != VERSION or isinstance(version, bool):
        yield Fault(
            ("version",), "not a version of the job file", _shown_value(version), str(VERSION)
        )
    yield from _negative({key: item for key, item in raw.items() if key != "sums"}, ())


def _negative(value: Any, path: JsonPath) -> Iterator[Fault]:
    key = next((step for step in reversed(path) if isinstance(step, str)), "")
    if isinstance(value, dict):
        for name, item in value.items():
            yield from _negative(item, (*path, str(name)))
    elif isinstance(value, list):
        for i, item in enumerate(value):
            yield from _negative(item, (*path, i))
    elif isinstance(value, int | float) and not isinstance(value, bool) and value < 0:
        size_value = key == "value_mm" and "hub_checks" in path
        if key.endswith("_mm") and (key not in _SIGNED or size_value):
            yield Fault(path, "a size cannot be negative", found=f"{value:g}", allowed="0 or more")


def _reworded(error: Any, raw: Any) -> Fault:
    """Return pydantic's first error in our words, at the path as it stands in the file."""
    kind: str = error["type"]
    path = _path_in_file(error["loc"], raw, keep_last=kind in ("missing", "missing_argument"))
    found = _shown_value(error.get("input"))
    context = error.get("ctx", {})
    if kind == "json_invalid":
        # Python's reader took the text, so it is one of these two.
        deep = "recursion" in str(context.get("error", ""))
        return Fault(
            (), "nested too deeply" if deep else "half of a two-part \\u sign stands alone"
        )
    if kind in ("unexpected_keyword_argument", "extra_forbidden"):
        return _unknown_key(path)
    if kind in ("missing", "missing_argument"):
        if path and isinstance(path[-1], int):
            return Fault(path[:-1], "too few numbers", found=found)
        return Fault(path, "a key is missing")
    if kind == "union_tag_not_found":
        key = str(context.get("discriminator", "")).strip("'")
        return Fault((*path, key), "a key is missing")
    if kind in ("literal_error", "union_tag_invalid"):
        allowed = context.get("expected") or context.get("expected_tags")
        if kind == "union_tag_invalid":
            path = (*path, str(context.get("discriminator", "")).strip("'"))
            found = repr(context.get("tag"))
        return Fault(path, "not one of the words that may stand here", found, str(allowed))
    wanted = {
        "float": "a number",
        "finite": "a finite number",
        "int": "a whole number",
        "string": "a text in quotes",
        "bool": "true or false",
        "tuple": "a list in [ ]",
        "dict": "an object in { }",
        "dataclass": "an object in { }",
    }
    what = wanted.get(kind.split("_", maxsplit=1)[0])
    if kind in ("too_long", "too_short"):
        most = context.get("max_length", context.get("min_length"))
        return Fault(path, "the number of entries does not fit", found, str(most))
    if what is None:
        return Fault(path, f"does not fit: {error['msg'].lower()}", found)
    unit = re.fullmatch(r"'([-+0-9.,]+) ?([a-z\"]{1,4})'", found)
    mend = "lengths are plain numbers in mm, angles in degrees" if unit else None
    return Fault(path, f"{what} must stand here", found, mend=mend)


def _path_in_file(loc: Sequence[str | int], raw: Any, *, keep_last: bool) -> JsonPath:
    # pydantic adds the names of the alternatives it tried; they are no keys of the file.
    path: list[str | int] = []
    here = raw
    for number, step in enumerate(loc):
        if isinstance(here, dict) and step in here:
            here = here[str(step)]
        elif isinstance(here, list) and isinstance(step, int) and step < len(here):
            here = here[step]
        elif not (keep_last and number == len(loc) - 1):
            continue
        path.append(step)
    return tuple(path)


def _shown_value(value: Any) -> str:
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _unknown_key(path: JsonPath) -> Fault:
    key = str(path[-1]) if path else ""
    close = difflib.get_close_matches(key, sorted(known_keys()), n=1, cutoff=0.75)
    mend = f"did you mean {close[0]!r}?" if close else "docs/job-file.md lists every key"
    unit = re.search(r"_(in|inch|cm|m|ft|deg|rad)$", key)
    stem = key[: unit.start()] if unit else key
    if f"{stem}_mm" in known_keys():
        mend = f"lengths are in mm: write {stem}_mm"
    return Fault(path, "this key is not known", found=repr(key), mend=mend)


def model_classes() -> list[type]:
    """Return every dataclass that a job file may hold, in the order of first use."""
    found: list[type] = []
    names = {**vars(model)}
    schema = _ADAPTER.json_schema()
    for name in ["Job", *schema.get("$defs", {})]:
        kind = names.get(name) or _dimension_class(name)
        if kind is not None and is_dataclass(kind) and isinstance(kind, type):
            found.append(kind)
    return found


def _dimension_class(name: str) -> Any:
    from clearturn.envelope import dimensions

    return getattr(dimensions, name, None)


def known_keys() -> set[str]:
    """Return every key that may stand in a job file."""
    return {entry.name for kind in model_classes() for entry in fields(kind)}


def _described(schema: dict[str, Any]) -> dict[str, Any]:
    # Titles made from key names say nothing; the first sentence of the class does.
    def clean(node: Any) -> Any:
        if isinstance(node, dict):
            return {
                key: clean(item)
                for key, item in node.items()
                if not (key == "title" and isinstance(item, str))
            }
        if isinstance(node, list):
            return [clean(item) for item in node]
        return node

    cleaned: dict[str, Any] = clean(schema)
    for kind in model_classes():
        text = (kind.__doc__ or "").strip().split("\n\n")[0]
        target = cleaned if kind is Job else cleaned["$defs"][kind.__name__]
        target["description"] = " ".join(text.split())
    return cleaned
