"""Where the demo corner lies: in the checkout, not in an installed wheel."""

from __future__ import annotations

from pathlib import Path

from clearturn.errors import InputError

DEMO_JOB = "demo.clearturn.json"


def samples_folder() -> Path:
    """Return the folder of the sample meshes.

    Raises
    ------
    InputError
        If this is an installed wheel, which does not carry them.
    """
    folder = Path(__file__).resolve().parents[2] / "sample_meshes"
    if (folder / DEMO_JOB).is_file():
        return folder
    raise InputError(
        "the demo's sample scans are not installed with the program",
        found=f"no {DEMO_JOB} in {folder}",
        mend="get the source checkout, which holds them in its folder sample_meshes, and run "
        "'clearturn check sample_meshes/demo.clearturn.json' or 'make demo' there",
    )


def demo_job_file() -> Path:
    """Return the demo's job file.

    Raises
    ------
    InputError
        If this is an installed wheel, which does not carry it.
    """
    return samples_folder() / DEMO_JOB
