"""Clearturn: does the wheel turn clear of the brake, by how much, and how sure is that number.

The library behind the program.  It needs no display and imports no window toolkit.
"""

from clearturn._kernel_cache import choose_cache_folder, drop_outdated

__all__ = ["__version__"]

__version__ = "0.1.0"

choose_cache_folder()
drop_outdated()
