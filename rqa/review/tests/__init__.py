"""The page's sections on the diagnostics as a measuring system."""
