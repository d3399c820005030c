"""The page's sections on what was loaded, and how the page was made."""
