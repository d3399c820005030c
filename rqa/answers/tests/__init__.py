"""The diagnostics as a measuring system: outcomes, retests, escapes, coverage, releases, readings, drift, limits."""
