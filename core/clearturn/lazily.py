"""Packages whose names are fetched when they are asked for.

A window that is to stand within a second or two cannot wait for the engine's compiler; so what a
package offers is imported at the first use of its name (PEP 562).
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any


def lazily(package: str, names: Mapping[str, Sequence[str]]) -> Callable[[str], Any]:
    """Return a package's ``__getattr__``.

    Parameters
    ----------
    package : str
        Its ``__name__``.
    names : mapping of str to sequence of str
        For each of its modules the names it offers.  No name may be that of a module, which would
        hide it once that module is imported.

    Returns
    -------
    callable
        Raises `AttributeError` for a name that is not offered.
    """
    where = {name: module for module, offered in names.items() for name in offered}

    def fetch(name: str) -> Any:
        if name not in where:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        found = getattr(importlib.import_module(f"{package}.{where[name]}"), name)
        setattr(sys.modules[package], name, found)
        return found

    return fetch
