"""Check that wheel and source archive hold what a user needs and nothing else."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FORBIDDEN = ("__pycache__", ".pyc", ".nbi", ".nbc", ".venv", "sample_meshes/")


def tracked() -> set[str]:
    """Return the files git knows, as paths from the root."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout
    return {name for name in listed.split("\0") if name}


def differences(held: set[str], wanted: set[str]) -> list[str]:
    """Return what is missing, too much or forbidden."""
    lines = [f"missing: {name}" for name in sorted(wanted - held)]
    lines += [f"not wanted: {name}" for name in sorted(held - wanted)]
    lines += [f"forbidden: {name}" for name in sorted(held) if any(f in name for f in FORBIDDEN)]
    return lines


def check_wheel(path: Path) -> list[str]:
    """Compare a wheel with the two source roots."""
    with zipfile.ZipFile(path) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
        notices = [name for name in archive.namelist() if name.endswith("licenses/LICENSE")]
    wanted = {name.partition("/")[2] for name in tracked() if name.startswith(("core/", "app/"))}
    return differences(held, wanted) + ([] if notices else ["missing: LICENSE"])


def check_source(path: Path) -> list[str]:
    """Compare a source archive with what is needed to build and test."""
    with tarfile.open(path) as archive:
        held = {name.partition("/")[2] for name in archive.getnames() if "/" in name}
    held -= {"PKG-INFO"}
    roots = ("core/", "app/")
    files = ("README.md", "LICENSE", "pyproject.toml", ".gitignore")
    return differences(held, {n for n in tracked() if n.startswith(roots) or n in files})


def main() -> int:
    """Check every archive named on the command line."""
    bad = 0
    for name in sys.argv[1:]:
        path = Path(name)
        lines = check_wheel(path) if path.suffix == ".whl" else check_source(path)
        print(f"{path.name}: {path.stat().st_size / 1e6:.2f} MB, {len(lines)} differences")
        for line in lines:
            print(f"  {line}")
        bad += len(lines)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
