"""The job: one vehicle conversion in one file."""
