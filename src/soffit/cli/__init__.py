"""The command line: one module per command; each turns arguments into one call of ``work``."""
