"""The page's sections on people and places against their own mix of work."""
