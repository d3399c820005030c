"""The page's sections on where it goes wrong, and safety."""
