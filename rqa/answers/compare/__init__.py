"""People and places against what their own mix of work explains."""
