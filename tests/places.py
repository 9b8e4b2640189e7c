"""Where things beside the checkout are, if they are there."""

from __future__ import annotations

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

#: Meshes nobody here made; not part of the repository.  Tests that use them skip without.
REAL_MESHES = Path(
    os.environ.get("CLEARTURN_REAL_MESHES", str(ROOT.parent / "shared" / "real_meshes"))
)
