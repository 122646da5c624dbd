"""Ceilings as geometry and structure: tiles, tees, joists, voids, clearances and weight."""
