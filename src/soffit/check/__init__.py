"""Checks: compare a number with a limit and word the finding."""
