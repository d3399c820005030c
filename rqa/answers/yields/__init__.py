"""What passed first time, what failed, and what was done again."""
