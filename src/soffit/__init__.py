"""Plans, papers, proof and fault finding for ceiling loudspeakers on constant-voltage lines."""

__version__ = "0.1.0"
