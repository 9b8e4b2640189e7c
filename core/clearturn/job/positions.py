"""Where a key stands in a JSON text, so that an error can name the line."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence

PathPart = str | int
JsonPath = tuple[PathPart, ...]

_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[{}\[\]:,]|[^\s{}\[\]:,"]+')


def tokens(text: str) -> Iterator[tuple[str, int]]:
    """Yield every token of a JSON text and where it starts."""
    for match in _TOKEN.finditer(text):
        yield match.group(), match.start()


def shown(path: Sequence[PathPart]) -> str:
    """Return a path as the user reads it: ``axles[0].corner.rotor.bore_diameter_mm``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


class Positions:
    """Line of every key and list entry of a JSON text that is known to be valid.

    Attributes
    ----------
    lines : dict of path to int
        Counted from 1.
    repeated : list of path
        Keys that stand twice in one object.
    """

    def __init__(self, text: str) -> None:
        self.lines: dict[JsonPath, int] = {}
        self.repeated: list[JsonPath] = []
        self._scan(text)

    def line(self, path: Sequence[PathPart]) -> int | None:
        """Return the line of `path`, or of the nearest thing above it that is there."""
        here = tuple(path)
        while here:
            if here in self.lines:
                return self.lines[here]
            here = here[:-1]
        return self.lines.get((), None)

    def _scan(self, text: str) -> None:
        path: list[PathPart] = []
        in_list: list[bool] = []
        awaits_key = False
        line, last = 1, 0
        for token, start in tokens(text):
            line += text.count("\n", last, start)
            last = start
            if token in "{[":
                self._note(tuple(path), line, in_list)
                in_list.append(token == "[")
                path.append(0 if token == "[" else "")
                awaits_key = token == "{"
            elif token in "}]":
                in_list.pop()
                path.pop()
                awaits_key = False
            elif token == ",":
                if in_list[-1]:
                    path[-1] = int(path[-1]) + 1
                awaits_key = not in_list[-1]
            elif token == ":":
                awaits_key = False
            elif awaits_key:
                path[-1] = str(json.loads(token))
                if tuple(path) in self.lines:
                    self.repeated.append(tuple(path))
                self.lines[tuple(path)] = line
            else:
                self._note(tuple(path), line, in_list)

    def _note(self, path: JsonPath, line: int, in_list: list[bool]) -> None:
        # A key's own line stands already; list entries and the whole text get theirs here.
        if not in_list or in_list[-1]:
            self.lines[path] = line
