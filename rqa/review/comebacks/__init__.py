"""The page's sections on what came back and what it cost."""
