"""Papers and drawings: they lay out what they are given and compute nothing."""
