"""The page's sections on what to act on, and whether it worked."""
