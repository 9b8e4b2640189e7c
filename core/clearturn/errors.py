"""What can go wrong, as one small tree.

    ClearturnError                 anything the program says in one sentence
    ├── InputError                 a file, a number or an option that cannot be used (exit 2)
    │   ├── FileProblem            a file that cannot be read as what it claims to be
    │   ├── JobProblem             a job file whose content does not make sense
    │   └── FitProblem             points that do not determine the feature asked for
    ├── GeometryProblem            valid input for which the sum has no answer
    └── Cancelled                  the user stopped the work (exit 130)

Anything else that is raised is a bug of ours.
"""

from __future__ import annotations

from pathlib import Path

_LONGEST = 500  # signs of one part of a message; the longest list of allowed words has 330


class ClearturnError(Exception):
    """Base of everything that is told to the user in one sentence."""


class InputError(ClearturnError):
    """Bad input, told as what, where, found, allowed and what to do.

    Parameters
    ----------
    problem : str
        What is wrong, as the head of the sentence.
    file : path, optional
        The file it was found in.
    place : str, optional
        Where in the file or the command ("line 12", "triangle 4001", "parts[2].motion").
    found : str, optional
        What stands there.
    allowed : str, optional
        What may stand there.
    mend : str, optional
        What the user can do.
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str | Path | None = None,
        place: str | None = None,
        found: str | None = None,
        allowed: str | None = None,
        mend: str | None = None,
    ) -> None:
        self.problem = problem
        self.file = None if file is None else str(file)
        self.place = place
        self.found = found
        self.allowed = allowed
        self.mend = mend
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Return the whole message as one line."""
        where = ", ".join(_clipped(part) for part in (self.file, self.place) if part)
        text = f"{where}: {self.problem}" if where else self.problem
        if self.found is not None:
            text += f", found {_clipped(self.found)}"
        if self.allowed is not None:
            text += f", allowed: {_clipped(self.allowed)}"
        if self.mend is not None:
            text += f"; {self.mend}"
        # File names and foreign text may hold control characters; the message stays one line.
        return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def _clipped(text: str) -> str:
    # Names and numbers of thousands of signs would bury the sentence.
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 20]}…{text[-19:]}"


class FileProblem(InputError):
    """A file that cannot be read as what it claims to be."""


class JobProblem(InputError):
    """A job file whose content does not make sense."""


class FitProblem(InputError):
    """Points that do not determine the feature asked for."""


class GeometryProblem(ClearturnError):
    """Valid input for which the sum has no answer."""


class Cancelled(ClearturnError):
    """The user stopped the work."""

    def __init__(self) -> None:
        super().__init__("cancelled")
