"""Results kept between runs, so that a job that has not changed is not worked out again.

A result depends on the job (which names the hash of every scan) and on the program; both make up
its key.  The folder is the user's own cache; it may be deleted at any time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import pickle
import secrets
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import scipy

from clearturn.corner.sources import check_files
from clearturn.job.file import check_job, job_sha256
from clearturn.job.model import Job
from clearturn.job.sums import job_sums
from clearturn.progress import Progress
from clearturn.result import CheckResult
from clearturn.steps import KeptSteps

MOST_KEPT = 8
_SUFFIX = ".result"


def kept_check(
    job: Job,
    *,
    folder: str | Path,
    progress: Progress | None = None,
    fresh: bool = False,
    steps: KeptSteps | None = None,
) -> CheckResult:
    """Return `clearturn.check.check` of a job, from an earlier run if there was the same.

    Parameters
    ----------
    fresh : bool
        Work it out in any case.
    steps : KeptSteps, optional
        As `check`.

    Raises
    ------
    InputError, Cancelled
        As `check`; a kept result is only used after the job and its files were checked again.
    """
    check_job(job)
    check_files(job, Path(folder), progress=progress)
    place = _place(_key(job))
    if place is not None and not fresh:
        found = _read(place)
        if found is not None:
            # Readings may have changed in their file, which the key does not hold.
            return replace(found, sums=job_sums(job, folder) if job.sums else None)
    from clearturn.check import check  # brings the engine in, which a kept result does without

    result = check(job, folder=folder, progress=progress, steps=steps)
    if place is not None:
        _write(place, result)
    return result


def _key(job: Job) -> str:
    digest = hashlib.sha256(b"clearturn result 1")
    for text in (job_sha256(job), program_sha256(), np.__version__, scipy.__version__):
        digest.update(text.encode())
    return digest.hexdigest()


@lru_cache(maxsize=1)
def program_sha256() -> str:
    """Return a hash of the library's own source."""
    digest = hashlib.sha256()
    root = Path(__file__).resolve().parent
    for file in sorted(root.rglob("*.py")):
        digest.update(str(file.relative_to(root)).encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()


def _place(key: str) -> Path | None:
    base = os.environ.get("XDG_CACHE_HOME", "")
    try:
        home = Path(base) if base else Path.home() / ".cache"
        folder = home / "clearturn" / "results"
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except (OSError, RuntimeError):  # RuntimeError: no home at all
        return None
    return folder / f"{key}{_SUFFIX}" if _ours(folder) else None


def _ours(folder: Path) -> bool:
    # A kept result is unpickled, which may run code: never from a folder others can write into.
    if not os.access(folder, os.W_OK):
        return False
    if not hasattr(os, "getuid"):
        return True
    state = folder.stat()
    return state.st_uid == os.getuid() and not state.st_mode & 0o022


def _read(place: Path) -> CheckResult | None:
    try:
        found = pickle.loads(place.read_bytes())
        place.touch()
    except FileNotFoundError:
        return None
    except Exception:  # cut short, or from another version: as if it were not there
        return None
    return found if isinstance(found, CheckResult) else None


def _write(place: Path, result: CheckResult) -> None:
    # Not being able to keep it is no fault: the disk may be full.
    temporary = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
    with contextlib.suppress(OSError):
        try:
            temporary.write_bytes(pickle.dumps(result, pickle.HIGHEST_PROTOCOL))
            temporary.replace(place)
        finally:
            temporary.unlink(missing_ok=True)
        kept = sorted(place.parent.glob(f"*{_SUFFIX}"), key=lambda p: p.stat().st_mtime)
        for old in kept[:-MOST_KEPT]:
            old.unlink(missing_ok=True)
