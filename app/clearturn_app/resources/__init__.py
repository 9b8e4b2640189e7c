"""Colours and words of the window."""
