"""Published tables as data, and the rows of settings and limits."""
