"""Write the JSON Schema of a job file's sums: ``python -m clearturn.trade.schema FILE``."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from clearturn.trade.sums import schema


def main(target: str) -> None:
    """Write the schema to a file."""
    text = json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"
    Path(target).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
