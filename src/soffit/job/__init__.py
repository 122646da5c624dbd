"""The job on disk: read, check, write, remember and repair."""
