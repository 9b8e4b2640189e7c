"""Write the job file's JSON Schema: ``python -m clearturn.job.schema docs/job-schema.json``."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from clearturn.job.file import job_schema


def schema_text() -> str:
    """Return the schema as it is stored in docs."""
    return json.dumps(job_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(schema_text(), encoding="utf-8")
