"""The window: one drawing sheet."""
