"""Decisions: where speakers go, on which tap, in which order, on which line."""
