"""Plan files to survey proposals, each with what was assumed and how sure it is."""
