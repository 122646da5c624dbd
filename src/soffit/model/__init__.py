"""Frozen records in the trade's words; no algorithms."""
