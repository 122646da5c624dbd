"""Measurements: what to expect, what they prove, and which loudspeaker is the bad one."""
