"""One thing wrong with a job, and where."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from clearturn.job.positions import JsonPath


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a job, at a path of its JSON."""

    path: JsonPath
    problem: str
    found: str | None = None
    allowed: str | None = None
    mend: str | None = None


def unknown(at: JsonPath, name: str, names: Iterable[str], what: str) -> Iterator[Fault]:
    """Yield a fault if `name` is none of `names`."""
    known = list(names)
    if name not in known:
        listed = ", ".join(repr(n) for n in known) or f"none, as the job has no {what}"
        yield Fault(at, f"there is no {what} of this name", found=repr(name), allowed=listed)


def twice(at: JsonPath, names: Sequence[str], what: str) -> Iterator[Fault]:
    """Yield a fault for every entry of the list `at` without a name or with one before it."""
    for i, name in enumerate(names):
        if not name.strip():
            yield Fault((*at, i, "name"), f"a {what} needs a name")
        elif name in names[:i]:
            yield Fault((*at, i, "name"), f"two of the name: each {what} needs its own", repr(name))
